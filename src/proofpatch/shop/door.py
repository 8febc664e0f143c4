"""Who may open the shop from the shop's network: one passphrase, and the devices that once gave it.

The passphrase is kept as argon2id leaves it (RFC 9106, the library's own defaults); of a device's token only the
SHA-256, so that a copy of the database opens nothing.
"""

from __future__ import annotations

import datetime
import hashlib
import secrets
import unicodedata
import uuid
from dataclasses import dataclass

import argon2
import sqlalchemy as sa

from proofpatch.errors import InputError
from proofpatch.shop.roles import BY_PASSPHRASE, ROLES, read_role
from proofpatch.shop.store import Store, _aware, _short
from proofpatch.shop.tables import Device, Secret

PASSPHRASE = "passphrase"
SHORTEST, LONGEST = 12, 200  # characters (our choice; common practice, no source)
LONGEST_NAME = 80
UNSEEN = datetime.timedelta(days=30)  # after which a device has to sign in again; ours
SEEN_EVERY = datetime.timedelta(minutes=1)  # a look is written down no more often
MOST_DEVICES = 50  # ours
TOKEN_BYTES = 32
NAMELESS = "a device without a name"
HASHER = argon2.PasswordHasher()


@dataclass(frozen=True)
class Known:
    """A device as the shop knows it. why: it was signed out, empty while it is not."""

    id: str
    name: str
    address: str
    created: datetime.datetime
    seen: datetime.datetime
    ended: datetime.datetime | None
    why: str
    role: str


def set_passphrase(store: Store, said: str) -> None:
    """Keeps another passphrase and signs every device out.

    Raises:
        InputError: it is too short or too long, or says one thing over and over.
    """
    if not SHORTEST <= len(said) <= LONGEST:
        raise InputError(
            PASSPHRASE,
            f"The passphrase has {len(said)} characters.",
            f"Use {SHORTEST} to {LONGEST}; four or five unrelated words are easy to type with gloves.",
        )
    if len(set(said)) < SHORTEST // 2:
        raise InputError(PASSPHRASE, "The passphrase repeats a few characters.", "Use four or five unrelated words.")
    hashed = HASHER.hash(_bytes(said))
    with store.session() as session:
        session.merge(Secret(name=PASSPHRASE, value=hashed, changed=store.clock()))
        session.execute(
            sa.update(Device)
            .where(Device.ended.is_(None))
            .values(ended=store.clock(), why="the passphrase was changed")
        )


def passphrase_set(store: Store) -> datetime.datetime | None:
    """When the passphrase was last changed; None: there is none yet."""
    with store.session(reads=True) as session:
        found = session.get(Secret, PASSPHRASE)
        return _aware(found.changed) if found else None


def passphrase_fits(store: Store, said: str) -> bool:
    """Whether this is the passphrase. Takes its time on purpose."""
    with store.session(reads=True) as session:
        found = session.get(Secret, PASSPHRASE)
    if found is None or len(said) > LONGEST:
        return False
    try:
        return HASHER.verify(found.value, _bytes(said))
    except (argon2.exceptions.VerificationError, argon2.exceptions.InvalidHashError):
        return False


def sign_in(store: Store, name: str, address: str, role: str = BY_PASSPHRASE) -> str:
    """A new device's token, which is kept nowhere else. role: what it may do.

    Raises:
        InputError: too many devices are signed in, or the role is none.
    """
    _check_role(role)
    token, now = secrets.token_urlsafe(TOKEN_BYTES), store.clock()
    with store.session() as session:
        signed_in = session.scalar(sa.select(sa.func.count()).select_from(Device).where(*_open(now)))
        if (signed_in or 0) >= MOST_DEVICES:
            raise InputError("device", f"{MOST_DEVICES} devices are signed in.", "Sign some out on the laptop.")
        session.add(
            Device(
                id=uuid.uuid4().hex, digest=_digest(token), name=_short(name, LONGEST_NAME) or NAMELESS,
                address=address[:64], created=now, seen=now, ended=None, why="", role=role,
            )
        )  # fmt: skip
    return token


def device_of(store: Store, token: str, address: str | None = None) -> Known | None:
    """The signed-in device with this token, or None.

    Args:
        address: it has to come from where it signed in, else it is signed out: over plain http a token can be read on
            the way, and a thief is somewhere else. None: from anywhere, where nobody can read along.
    """
    now = store.clock()
    with store.session(reads=True) as session:
        found = session.scalar(sa.select(Device).where(Device.digest == _digest(token), *_open(now)))
        if found is None:
            return None
        known = _known(found)
    if address is not None and known.address != address:
        sign_out(store, known.id, "its key was shown from another address")
        return None
    if abs(now - known.seen) > SEEN_EVERY:  # either way: the clock may have been put back
        with store.session() as session:
            session.execute(sa.update(Device).where(Device.id == known.id).values(seen=now))
    return known


def give_role(store: Store, key: str, role: str) -> None:
    """What a device may do from now on.

    Raises:
        InputError: the role is none, or the device is not signed in.
    """
    _check_role(role)
    with store.session() as session:
        found = session.scalar(sa.select(Device).where(Device.id == key, *_open(store.clock())))
        if found is None:
            raise InputError("device", "This device is not signed in.", "Look at the list again.")
        found.role = role


def _check_role(role: str) -> None:
    if role not in ROLES:
        raise InputError("role", f"The role {role[:20]!r} is not known.", f"Choose one of: {', '.join(ROLES)}.")


def sign_out(store: Store, key: str | None = None, why: str = "") -> None:
    """Ends one device's stay, or that of all."""
    query = sa.update(Device).where(Device.ended.is_(None))
    if key is not None:
        query = query.where(Device.id == key)
    with store.session() as session:
        session.execute(query.values(ended=store.clock(), why=why[:80]))


def devices(store: Store, ended: int = 5) -> list[Known]:
    """Those signed in, the last seen first, then the last `ended` that are no more."""
    now = store.clock()
    with store.session(reads=True) as session:
        here = session.scalars(sa.select(Device).where(*_open(now)).order_by(Device.seen.desc())).all()
        gone = session.scalars(
            sa.select(Device).where(sa.not_(sa.and_(*_open(now)))).order_by(Device.seen.desc()).limit(ended)
        ).all()
    return [_known(one) for one in (*here, *gone)]


def stays(store: Store, device: Known) -> bool:
    """Whether it is still signed in."""
    return device.ended is None and store.clock() - device.seen <= UNSEEN


def seen_by_now(store: Store) -> int:
    """How many devices were seen later than now, by a clock that has been put back since: they count as seen now.

    A lost phone would else stay signed in until the clock comes there again.
    """
    now = store.clock()
    with store.session() as session:
        late = session.scalars(sa.select(Device).where(*_open(now), Device.seen > now)).all()
        for one in late:
            one.seen = now
    return len(late)


def _open(now: datetime.datetime) -> list[sa.ColumnElement[bool]]:
    """What a device must fulfil to be signed in."""
    return [Device.ended.is_(None), Device.seen >= now - UNSEEN]


def _bytes(said: str) -> bytes:
    """One spelling of what different keyboards send for the same letters (NIST SP 800-63B: NFKC, from memory)."""
    return unicodedata.normalize("NFKC", said).encode("utf-8", "surrogatepass")


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()


def _known(one: Device) -> Known:
    ended = None if one.ended is None else _aware(one.ended)
    return Known(
        one.id, one.name, one.address, _aware(one.created), _aware(one.seen), ended, one.why, read_role(one.role)
    )
