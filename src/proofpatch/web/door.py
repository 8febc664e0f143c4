"""The door to the shop's network: who may pass, and how tries are slowed down.

Over plain http anyone on the network can read along, a device's key included; so a key works only from the address it
signed in from, and the page says so. With TLS it works from anywhere.
"""

from __future__ import annotations

import ipaddress
import secrets
import threading
import time
from collections import OrderedDict, deque
from dataclasses import dataclass, field

from fastapi import Request, Response

from proofpatch.shop.certificate import this_machine
from proofpatch.shop.door import UNSEEN, Known, device_of, passphrase_fits
from proofpatch.shop.roles import OPERATOR
from proofpatch.shop.store import Store

COOKIE = "proofpatch-device"
HERE = ("127.0.0.1", "localhost")
# What a device that has not signed in may ask for: the door itself and what the page is drawn with.
OPEN, OPEN_BELOW = ("/door", "/appearance", "/trust", "/sw.js"), ("/static/", "/join/", "/trust/")
# How tries are slowed down and how long a code is good: ours (common practice, no source).
FREE_TRIES, LONGEST_WAIT = 3, 900.0  # then 1, 2, 4 ... s
MOST_TRIES, SPAN = 30, 900.0  # wrong ones of all addresses together within so many s
MOST_ADDRESSES = 1000
CODE_SECONDS = 300.0
LETTERS, CODE_LENGTH = "abcdefghjkmnpqrstuvwxyz23456789", 10  # none that looks like another; 8e14 codes


class Tries:
    """Wrong passphrases, by address and together; nothing of it outlives the process."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._by: OrderedDict[str, tuple[int, float]] = OrderedDict()
        self._all: deque[float] = deque(maxlen=MOST_TRIES)

    def wait(self, address: str, now: float | None = None) -> float:
        """s before the next try from there is looked at."""
        now = time.monotonic() if now is None else now
        with self._lock:
            count, last = self._by.get(address, (0, -LONGEST_WAIT))
            own = 0.0 if count < FREE_TRIES else last + min(2.0 ** (count - FREE_TRIES), LONGEST_WAIT) - now
            full = len(self._all) == MOST_TRIES
            return max(own, self._all[0] + SPAN - now if full else 0.0, 0.0)

    def wrong(self, address: str, now: float | None = None) -> None:
        """One more."""
        now = time.monotonic() if now is None else now
        with self._lock:
            self._by[address] = (self._by.pop(address, (0, 0.0))[0] + 1, now)
            while len(self._by) > MOST_ADDRESSES:
                self._by.popitem(last=False)
            self._all.append(now)

    def right(self, address: str) -> None:
        """That address begins anew; its last try, counted before it was looked at, was not wrong."""
        with self._lock:
            self._by.pop(address, None)
            if self._all:
                self._all.pop()


class Codes:
    """The code on the laptop's screen: it opens the shop for one device, within five minutes."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._code, self._until, self._role = "", 0.0, OPERATOR

    def make(self, role: str = OPERATOR) -> str:
        """Another code; the one before is worth nothing any more. role: of the device that it opens the shop for."""
        with self._lock:
            self._role = role
            self._code = "".join(secrets.choice(LETTERS) for _ in range(CODE_LENGTH))
            self._until = time.monotonic() + CODE_SECONDS
            return self._code

    def now(self) -> tuple[str, float]:
        """(the code that is good, "" if there is none; for so many s)."""
        with self._lock:
            left = self._until - time.monotonic()
            return (self._code, left) if left > 0 else ("", 0.0)

    def good(self, said: str) -> bool:
        """Whether it is that one."""
        code, _ = self.now()
        return bool(code) and secrets.compare_digest(code.encode(), said.encode("utf-8", "replace"))

    @property
    def role(self) -> str:
        """Of the device that the code is for."""
        return self._role

    def spend(self, said: str) -> str:
        """The role it gives, and it is used up; "" of one that is not good."""
        with self._lock:
            good = self._until > time.monotonic() and secrets.compare_digest(
                self._code.encode(), said.encode("utf-8", "replace")
            )
            self._until = 0.0 if good else self._until
            return self._role if good else ""


@dataclass(frozen=True)
class Door:
    """The shop's door to its network. port: where it listens. names: of this machine, beside its addresses."""

    store: Store
    port: int
    names: tuple[str, ...] = ()
    tries: Tries = field(default_factory=Tries)
    codes: Codes = field(default_factory=Codes)
    one_at_a_time: threading.Lock = field(default_factory=threading.Lock)

    def fits(self, said: str) -> bool:
        """Whether this is the passphrase; one look at a time, for each takes 64 MB on purpose."""
        with self.one_at_a_time:
            return passphrase_fits(self.store, said)

    def knows(self, name: str, request: Request) -> bool:
        """Whether a request may come under this name: an address it really reached, or a name of this machine.

        A page elsewhere can point a name of its own at this machine, but not an address.
        """
        reached = request.scope.get("server") or ("", None)
        return name.lower() in self.names or name == reached[0]

    def device(self, request: Request) -> Known | None:
        """The signed-in device that asks, or None."""
        token = request.cookies.get(COOKIE, "")
        if not token or len(token) > 100:
            return None
        return device_of(self.store, token, None if request.url.scheme == "https" else address_of(request))


def open_to_all(request: Request) -> bool:
    """Whether a device that has not signed in may ask for this."""
    return request.url.path in OPEN or request.url.path.startswith(OPEN_BELOW)


def host_of(request: Request) -> str:
    """The name a request came under, without its port."""
    host = request.headers.get("host", "")
    name, colon, port = host.rpartition(":")
    return name if colon and port.isascii() and port.isdigit() else host


def address_of(request: Request) -> str:
    """Where a request comes from; nothing a sender can write himself is read."""
    return request.client.host if request.client else ""


def is_here(request: Request, door: Door | None) -> bool:
    """Whether it is asked on this machine itself."""
    if door is None:
        return True
    try:
        own = ipaddress.ip_address(address_of(request)).is_loopback
    except ValueError:
        return False
    return own and host_of(request) in HERE


def keep_key(answer: Response, request: Request, token: str) -> Response:
    """The answer with a device's key, which no script can read."""
    answer.set_cookie(
        COOKIE, token, max_age=int(UNSEEN.total_seconds()), httponly=True, samesite="lax",
        secure=request.url.scheme == "https",
    )  # fmt: skip
    return answer


def own_addresses() -> list[str]:
    """Addresses of this machine in its networks, as a phone types them; none where there is no network."""
    return [str(one) for one in this_machine().addresses if one.version == 4 and not one.is_loopback]


def own_names() -> tuple[str, ...]:
    """Names under which others may know this machine."""
    return tuple(one for one in this_machine().names if one != "localhost")
