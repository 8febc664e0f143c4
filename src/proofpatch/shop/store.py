"""The shop's own database: every write on disk before it is answered, nothing overwritten, nothing lost.

Where the records lie is `database.py`'s: the same code runs on SQLite and on PostgreSQL. A change names the version it
was made on: if another device was faster, its change stands, this one is kept aside, and the caller is told.
"""

from __future__ import annotations

import datetime
import errno
import json
import os
import sqlite3
import threading
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from proofpatch.errors import InputError
from proofpatch.shop.database import PHOTOS, Lowered, engine_of, unusable
from proofpatch.shop.setting import named, setting_of
from proofpatch.shop.tables import FROZEN, KINDS, Change, Once, Thing
from proofpatch.shop.upgrade import bring_up

LARGEST = 2_000_000  # bytes of one thing's data
LONGEST_TITLE, LONGEST_BY = 300, 80
OURS = 0o700  # of a new folder: no other user of the machine looks into it


@dataclass(frozen=True)
class Entry:
    """One thing of the shop as it was read. made, latest: numbers of its first and its last change, its order."""

    id: str
    kind: str
    job: str | None
    version: int
    title: str
    data: Mapping[str, Any] = field(hash=False)
    created: datetime.datetime
    changed: datetime.datetime
    by: str
    deleted: datetime.datetime | None
    made: int = 0
    latest: int = 0


@dataclass(frozen=True)
class Past:
    """What a thing said at one version; what: made, changed, deleted, restored or aside."""

    number: int
    version: int
    what: str
    data: Mapping[str, Any]
    at: datetime.datetime
    by: str


class Overtaken(Exception):
    """Somebody else changed the thing first. now: as it stands; aside: number of this change, kept in its history."""

    def __init__(self, now: Entry, aside: int) -> None:
        who = f" by {now.by}" if now.by else ""
        super().__init__(
            f"It was changed{who} meanwhile (version {now.version}); your change is kept beside it, not over it."
        )
        self.now, self.aside = now, aside


class Repeated(Exception):
    """What was sent was sent before and stands already; nothing was changed."""


def by_the_clock() -> datetime.datetime:
    """Now, in UTC."""
    return datetime.datetime.now(datetime.UTC)


class Store:
    """One shop's things. Open it with `Store.open`; it may be used from several threads and processes."""

    def __init__(self, engine: sa.Engine, folder: Path, clock: Callable[[], datetime.datetime] = by_the_clock) -> None:
        self.engine, self.folder, self.clock = engine, folder, clock
        self._joint = threading.local()

    @classmethod
    def open(cls, folder: str | Path, clock: Callable[[], datetime.datetime] = by_the_clock) -> Store:
        """The store in a folder, made or brought up to date.

        Args:
            folder: of the shop; holds the photos, and the records or the setting that says where they are.
            clock: what time it is, in UTC.

        Raises:
            InputError: the folder or its database cannot be read or written, is newer than this program, or is of an
                earlier one and open elsewhere.
        """
        place = Path(folder)
        _prepare(place)
        engine = engine_of(place)
        try:
            bring_up(engine, place, clock())
        except InputError:
            engine.dispose()
            raise
        except (sa.exc.DatabaseError, sqlite3.DatabaseError, OSError) as trouble:
            engine.dispose()
            raise unusable(trouble, engine.url) from None
        if engine.dialect.name == "sqlite" and setting_of(place) is not None:  # it was moved while it was waited for
            engine.dispose()
            return cls.open(place, clock)
        return cls(engine, place, clock)

    def close(self) -> None:
        """Gives the database back; a thread that still reads, or asks once more, gives it back when it is done."""
        sa.event.listen(self.engine.pool, "checkin", lambda _, record: record.invalidate())
        self.engine.dispose()

    @property
    def server(self) -> tuple[str, str] | None:
        """(database, host) of the records; None: they lie in the folder."""
        return None if self.engine.dialect.name == "sqlite" else named(self.engine.url)

    @contextmanager
    def session(self, reads: bool = False) -> Iterator[Session]:
        """A session that is on disk when it ends well, and never was when it does not. reads: it only looks.

        Raises:
            InputError: the database cannot be read or written.
        """
        joint: Session | None = getattr(self._joint, "session", None)
        if joint is not None:
            yield joint
            return
        engine = self.engine.execution_options(reads=reads)
        try:
            with Session(engine, expire_on_commit=False) as session, session.begin():
                yield session
        except sa.exc.DatabaseError as trouble:
            raise unusable(trouble, self.engine.url) from None

    @contextmanager
    def together(self, sent: str = "") -> Iterator[None]:
        """All that is written inside is on disk at its end, or none of it; other threads are not part of it.

        Inside another one, without an id, it is part of that one.

        Args:
            sent: id of what a phone sent; it stands beside what it changed, in the same transaction.

        Raises:
            Repeated: it was sent before.
            Overtaken: raised inside; what is kept aside stays, and the same id may come again.
        """
        if not sent and getattr(self._joint, "session", None) is not None:
            yield
            return
        late = None
        with self.session() as session:
            mark = _marked(session, sent, self.clock()) if sent else None
            self._joint.session = session
            try:
                yield
            except Overtaken as overtaken:
                late = overtaken
                if mark is not None:
                    session.delete(mark)
            finally:
                self._joint.session = None
        if late is not None:
            raise late

    def stands(self, sent: str) -> bool:
        """Whether what a phone sent under this id was made."""
        with self.session(reads=True) as session:
            return session.get(Once, sent) is not None

    def add(self, kind: str, data: Mapping[str, Any], job: str | None = None, title: str = "", by: str = "") -> Entry:
        """A new thing, on disk.

        Raises:
            InputError: an unknown kind or job, or data that is no record.
        """
        if kind not in KINDS:
            raise InputError("kind", f"The kind {kind[:20]!r} is not known.", f"Use one of: {', '.join(KINDS)}.")
        content, now = plain(data), self.clock()
        with self.session() as session:
            if job is not None:
                self._found(session, "job", job)
            thing = Thing(
                id=uuid.uuid4().hex, kind=kind, job=job, version=1, data=content, title=_short(title, LONGEST_TITLE),
                created=now, changed=now, by=_short(by, LONGEST_BY), deleted=None,
            )  # fmt: skip
            session.add(thing)
            session.flush()
            _remember(session, thing, "made", now)
            return entry_from(thing)

    def get(self, kind: str, key: str) -> Entry:
        """One thing, deleted or not.

        Raises:
            InputError: there is none.
        """
        with self.session(reads=True) as session:
            return entry_from(self._found(session, kind, key))

    def all(
        self, kind: str, job: str | None = None, words: str = "", deleted: bool = False, most: int | None = None
    ) -> list[Entry]:
        """Things of a kind, the last changed first, by the number of that change and not by the clock.

        Args:
            job: only what belongs to it. words: only those with all of these words in their title. deleted: only
                deleted ones. most: so many of them.
        """
        query = sa.select(Thing).where(*_asked(kind, words, deleted)).limit(most)
        if job is not None:
            query = query.where(Thing.job == job)
        with self.session(reads=True) as session:
            return [entry_from(one) for one in session.scalars(query.order_by(Thing.latest.desc(), Thing.id))]

    def in_order(self, kind: str, job: str | None = None, deleted: bool = False) -> list[Entry]:
        """The same, the first made first."""
        return sorted(self.all(kind, job, deleted=deleted), key=lambda one: (one.made, one.id))

    def count(self, kind: str, words: str = "") -> int:
        """How many things of a kind there are, with all of these words in their title."""
        query = sa.select(sa.func.count()).select_from(Thing).where(*_asked(kind, words))
        with self.session(reads=True) as session:
            return int(session.scalar(query) or 0)

    def state(self, *kinds: str) -> tuple[int, int, str]:
        """What is another whenever a thing of these kinds was made, changed, put away or brought back."""
        query = sa.select(sa.func.count(), sa.func.sum(Thing.version), sa.func.max(Thing.changed))
        with self.session(reads=True) as session:
            many, versions, last = session.execute(query.where(Thing.kind.in_(kinds))).one()
        return int(many), int(versions or 0), str(last)

    def titles(self, kind: str, jobs: Sequence[str]) -> dict[str, str]:
        """{job: title} of the things of a kind of these jobs, without their data; of several the last changed."""
        query = sa.select(Thing.job, Thing.title).where(*_asked(kind), Thing.job.in_(jobs))
        with self.session(reads=True) as session:
            rows = session.execute(query.order_by(Thing.latest)).all()
        return {job: title for job, title in rows if job is not None}

    def names(self, kind: str, words: str = "", most: int | None = None) -> list[tuple[str, str | None, str]]:
        """(id, job, title) of things as `all` has them, without their data: a large shop has much of it."""
        query = sa.select(Thing.id, Thing.job, Thing.title).where(*_asked(kind, words)).limit(most)
        with self.session(reads=True) as session:
            return [(row[0], row[1], row[2]) for row in session.execute(query.order_by(Thing.latest.desc(), Thing.id))]

    def told(self, kind: str, *paths: str) -> list[tuple[str | None, ...]]:
        """(job, the text at each path of its data, as "quote.number"; None where there is none) of things of a kind."""
        data: Any = Thing.data
        if self.server:  # which reads no text with a NUL anywhere in it
            data = sa.cast(sa.func.replace(sa.cast(data, sa.Text), r"\u0000", r"\u0001"), sa.JSON)
        columns = [data[tuple(path.split("."))].as_string() for path in paths]
        with self.session(reads=True) as session:
            return [tuple(row) for row in session.execute(sa.select(Thing.job, *columns).where(*_asked(kind)))]

    def made_by(self, kind: str, by: str, keys: Sequence[str] | None = None) -> set[str]:
        """Ids of the things of a kind that were first made by somebody, deleted or not. keys: only of these."""
        query = sa.select(Change.thing).join(Thing, Thing.id == Change.thing)
        query = query.where(Thing.kind == kind, Change.version == 1, Change.what == "made", Change.by == by)
        if keys is not None:
            query = query.where(Change.thing.in_(keys))
        with self.session(reads=True) as session:
            return set(session.scalars(query))

    def change(
        self, kind: str, key: str, version: int, data: Mapping[str, Any], title: str | None = None, by: str = ""
    ) -> Entry:
        """A thing with other data, on disk.

        Args:
            version: the change was made on. title: None leaves it.

        Raises:
            Overtaken: somebody changed it meanwhile; both are kept.
            InputError: there is no such thing, or data that is no record.
        """
        content = plain(data)
        with self.session() as session:
            thing = self._found(session, kind, key, changes=True)
            if thing.version != version:
                late = _remember(session, thing, "aside", self.clock(), content, by)
                overtaken = Overtaken(entry_from(thing), late.number)
            else:
                overtaken = None
                thing.data = content
                if title is not None:
                    thing.title = _short(title, LONGEST_TITLE)
                _step(session, thing, "changed", self.clock(), by)
                found = entry_from(thing)
        # Raised only when what came late is on disk.
        if overtaken is not None:
            raise overtaken
        return found

    def delete(self, kind: str, key: str, version: int, by: str = "") -> Entry:
        """A thing out of sight; `restore` brings it back. Errors as `change`."""
        return self._hide(kind, key, version, by, self.clock(), "deleted")

    def restore(self, kind: str, key: str, version: int, by: str = "") -> Entry:
        """A deleted thing back in sight. Errors as `change`."""
        return self._hide(kind, key, version, by, None, "restored")

    def _hide(self, kind: str, key: str, version: int, by: str, deleted: datetime.datetime | None, what: str) -> Entry:
        with self.session() as session:
            thing = self._found(session, kind, key, changes=True)
            if thing.version != version:
                raise Overtaken(entry_from(thing), 0)
            thing.deleted = deleted
            _step(session, thing, what, self.clock(), by)
            return entry_from(thing)

    def undo(self, kind: str, key: str, version: int, by: str = "") -> Entry:
        """A thing as it was before its last change of data, as a new version; twice undoes the undoing.

        Raises:
            InputError: it never was otherwise.
            Overtaken: as `change`.
        """
        earlier = [past for past in self.history(kind, key) if past.what != "aside" and past.version < version]
        now = self.get(kind, key)
        before = next((past for past in reversed(earlier) if past.data != now.data), None)
        if before is None:
            raise InputError("version", "There is nothing to undo.", "It never was otherwise.")
        return self.change(kind, key, version, before.data, by=by)

    def history(self, kind: str, key: str) -> list[Past]:
        """Everything a thing ever said, the first first."""
        with self.session(reads=True) as session:
            self._found(session, kind, key)
            rows = session.scalars(sa.select(Change).where(Change.thing == key).order_by(Change.number))
            return [Past(one.number, one.version, one.what, one.data, _aware(one.at), one.by) for one in rows]

    def _found(self, session: Session, kind: str, key: str, changes: bool = False) -> Thing:
        thing = None if "\0" in key else session.get(Thing, key, with_for_update=changes)
        if thing is None or thing.kind != kind:
            raise InputError(kind, f"There is no {kind} {key[:40]!r}.", "Look it up in the list.")
        if changes and kind in FROZEN:
            raise InputError(kind, f"The {kind} was sent or signed and stays as it is.", "Write a new one instead.")
        return thing


def _prepare(place: Path) -> None:
    """The folder of a shop, made if it is not there.

    Raises:
        InputError: it cannot be written.
    """
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        place.mkdir(mode=OURS, exist_ok=True)
        (place / PHOTOS).mkdir(exist_ok=True)
        # SQLite would only say that it cannot open its file.
        if not os.access(place, os.W_OK):
            raise OSError(errno.EROFS, os.strerror(errno.EROFS))
    except OSError as trouble:
        raise InputError(
            "folder", f"The folder {str(place)[-60:]!r} cannot be written: {trouble.strerror}.", "Name another."
        ) from None


def of_job(store: Store, kind: str, key: str, job: str) -> Entry:
    """A thing that belongs to that job.

    Raises:
        InputError: it does not, or there is none.
    """
    found = store.get(kind, key)
    if found.job != job:
        raise InputError(kind, f"There is no such {kind} in this job.", "Look it up in the job.")
    return found


def _asked(kind: str, words: str = "", deleted: bool = False) -> list[sa.ColumnElement[bool]]:
    """What a thing of a kind must fulfil."""
    gone = Thing.deleted.is_not(None) if deleted else Thing.deleted.is_(None)
    # No title holds a NUL, and PostgreSQL takes none.
    asked = words.replace("\0", " ").lower().split()
    return [Thing.kind == kind, gone, *(Lowered(Thing.title).contains(word, autoescape=True) for word in asked)]


def _marked(session: Session, sent: str, now: datetime.datetime) -> Once:
    """The id of what a phone sent, written down; a second writer waits for the first and then finds it."""
    if session.get(Once, sent) is not None:
        raise Repeated
    mark = Once(id=sent, at=now)
    session.add(mark)
    try:
        session.flush()
    except sa.exc.IntegrityError:
        raise Repeated from None
    return mark


def _step(session: Session, thing: Thing, what: str, now: datetime.datetime, by: str) -> None:
    """One version on, remembered."""
    thing.version, thing.changed, thing.by = thing.version + 1, now, _short(by, LONGEST_BY)
    session.flush()
    _remember(session, thing, what, now)


def _remember(
    session: Session, thing: Thing, what: str, now: datetime.datetime, data: dict[str, object] | None = None,
    by: str | None = None,
) -> Change:  # fmt: skip
    past = Change(
        thing=thing.id, version=thing.version, what=what, data=thing.data if data is None else data, at=now,
        by=thing.by if by is None else _short(by, LONGEST_BY),
    )  # fmt: skip
    session.add(past)
    session.flush()
    number(thing, past)
    session.flush()
    return past


def number(thing: Thing, past: Change) -> None:
    """A thing takes its place by the number of a change of it."""
    if past.what == "made":
        thing.made = past.number
    if past.what != "aside":
        thing.latest = past.number


def plain(data: Mapping[str, Any]) -> dict[str, object]:
    """A record as the store gives it back: a plain copy that JSON can hold.

    Raises:
        InputError: it is none, or too large.
    """
    if not isinstance(data, Mapping):
        raise InputError("data", "What is to be kept is no record.", "Give names with their values.")
    try:
        text = json.dumps(data, ensure_ascii=False, allow_nan=False)
        text.encode("utf-8")
    except (TypeError, ValueError):
        raise InputError("data", "The record holds something that cannot be kept.", "Give plain values.") from None
    if len(text) > LARGEST:
        raise InputError("data", "The record is too large.", "Keep photos as photos.")
    content: dict[str, object] = json.loads(text)
    return content


def _short(text: str, most: int) -> str:
    return " ".join("".join(c if c.isprintable() else " " for c in str(text)).split())[:most]


def _aware(time: datetime.datetime) -> datetime.datetime:
    """SQLite gives times back without their zone."""
    return time if time.tzinfo else time.replace(tzinfo=datetime.UTC)


def entry_from(thing: Thing) -> Entry:
    """A row as it is handed out."""
    return Entry(
        thing.id, thing.kind, thing.job, thing.version, thing.title, dict(thing.data), _aware(thing.created),
        _aware(thing.changed), thing.by, None if thing.deleted is None else _aware(thing.deleted),
        thing.made, thing.latest,
    )  # fmt: skip
