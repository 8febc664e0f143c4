"""The tables of the store. One row is one thing of the shop; its `data` is a record as the faces show it."""

from __future__ import annotations

import datetime

from sqlalchemy import JSON, DateTime, ForeignKey, Index, Integer, LargeBinary, MetaData, String, Text
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

# Kinds of things. What belongs to a job carries its id; its surface and zones stand in the job's own tables.
KINDS = (
    "shop", "customer", "item", "job", "survey", "laser", "belief", "forecast", "strip", "patch", "photo", "recipe",
    "hazards", "note", "seen", "prices", "quote", "paper", "acceptance", "approval", "invoice", "payment",
    "day", "run", "pair", "record", "scan", "site", "start", "foretold", "lot", "lent", "took", "confirmed",
)  # fmt: skip
# What a customer was sent or signed: it stays as it is, a mistake is put right by a new one.
FROZEN = ("quote", "paper", "acceptance", "approval", "invoice", "record")
NAMES = {
    "ix": "ix_%(column_0_label)s", "uq": "uq_%(table_name)s_%(column_0_name)s",
    "ck": "ck_%(table_name)s_%(column_0_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s", "pk": "pk_%(table_name)s",
}  # fmt: skip


class Base(DeclarativeBase):
    """All tables; constraints have names, so that migrations can speak of them."""

    metadata = MetaData(naming_convention=NAMES)


class Thing(Base):
    """One thing as it is now. deleted: when, or None. version: counts its changes, from 1.

    made, latest: numbers of its first and its last change, which are its order: a clock may jump.
    """

    __tablename__ = "thing"
    # The first holds titles, so that a search reads no data; without the second a shop would be looked through for
    # what belongs to a job.
    __table_args__ = (
        Index("ix_thing_of_kind", "kind", "deleted", "latest", "title"),
        Index("ix_thing_of_job", "job", "kind", "deleted", "latest"),
    )

    id: Mapped[str] = mapped_column(String(32), primary_key=True)
    kind: Mapped[str] = mapped_column(String(16))
    job: Mapped[str | None] = mapped_column(ForeignKey("thing.id"))
    version: Mapped[int] = mapped_column(Integer)
    data: Mapped[dict[str, object]] = mapped_column(JSON)
    title: Mapped[str] = mapped_column(Text, default="")
    created: Mapped[datetime.datetime] = mapped_column(DateTime(timezone=True))
    changed: Mapped[datetime.datetime] = mapped_column(DateTime(timezone=True))
    by: Mapped[str] = mapped_column(String(80), default="")
    deleted: Mapped[datetime.datetime | None] = mapped_column(DateTime(timezone=True))
    made: Mapped[int] = mapped_column(Integer, default=0, server_default="0")
    latest: Mapped[int] = mapped_column(Integer, default=0, server_default="0")


class Change(Base):
    """What a thing said at one version, when and by whom; `aside` is a change that came too late and was kept."""

    __tablename__ = "change"
    __table_args__ = (Index("ix_change_of", "thing", "version"),)

    number: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=True)
    thing: Mapped[str] = mapped_column(ForeignKey("thing.id"))
    version: Mapped[int] = mapped_column(Integer)
    what: Mapped[str] = mapped_column(String(16))  # made, changed, deleted, restored, aside
    data: Mapped[dict[str, object]] = mapped_column(JSON)
    at: Mapped[datetime.datetime] = mapped_column(DateTime(timezone=True))
    by: Mapped[str] = mapped_column(String(80), default="")


class Picture(Base):
    """A photo's file, by what is in it. The bytes stand in a file of that name; here is what is known of them."""

    __tablename__ = "picture"

    digest: Mapped[str] = mapped_column(String(64), primary_key=True)
    size: Mapped[int] = mapped_column(Integer)
    kind: Mapped[str] = mapped_column(String(16))
    width: Mapped[int] = mapped_column(Integer)
    height: Mapped[int] = mapped_column(Integer)
    thumbnail: Mapped[bytes | None] = mapped_column(LargeBinary)
    added: Mapped[datetime.datetime] = mapped_column(DateTime(timezone=True))


class Device(Base):
    """A phone or tablet that may open the shop. digest: of its token, which only the device itself has."""

    __tablename__ = "device"

    id: Mapped[str] = mapped_column(String(32), primary_key=True)
    digest: Mapped[str] = mapped_column(String(64), unique=True, index=True)
    name: Mapped[str] = mapped_column(String(80))
    address: Mapped[str] = mapped_column(String(64))  # from where it signed in
    created: Mapped[datetime.datetime] = mapped_column(DateTime(timezone=True))
    seen: Mapped[datetime.datetime] = mapped_column(DateTime(timezone=True))
    ended: Mapped[datetime.datetime | None] = mapped_column(DateTime(timezone=True))
    why: Mapped[str] = mapped_column(String(80), default="")  # it ended
    role: Mapped[str] = mapped_column(String(16))  # one of shop/roles.py


class Secret(Base):
    """What must not be read back: the passphrase as argon2 leaves it."""

    __tablename__ = "secret"

    name: Mapped[str] = mapped_column(String(16), primary_key=True)
    value: Mapped[str] = mapped_column(Text)
    changed: Mapped[datetime.datetime] = mapped_column(DateTime(timezone=True))


class Once(Base):
    """What a phone kept and sent: its id stands here once the change it asked for is made, so that it is made once."""

    __tablename__ = "once"

    id: Mapped[str] = mapped_column(String(36), primary_key=True)
    at: Mapped[datetime.datetime] = mapped_column(DateTime(timezone=True))
