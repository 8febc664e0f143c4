"""Computes what the pages show, one job after another, on a thread of its own.

The kernels may not be called from two threads at once, and what takes longer than a page may take is said to be at
work instead of being waited for.
"""

from __future__ import annotations

import contextvars
import math
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from threading import Lock
from typing import Any, Generic, TypeVar

from proofpatch.physics.elementwise import numba
from proofpatch.shop.store import Entry, Store
from proofpatch.web.come_to import keep
from proofpatch.web.road import Inputs, Road, inputs, road_of, settled

PATIENCE = 0.12  # s a page waits before it says that it is at work
KEPT = 64  # answers held in memory
RETRY = 30.0  # s after which what failed is tried again
LEFT = 5.0  # s; a page that waits looks again every second, so nobody looks any more (common practice, no source)
BEAMS = ("strip", "recipe", "proof")  # parts that only a job has which nothing stops
Found = TypeVar("Found")


def shares() -> bool:
    """Whether this machine's kernels may run in two threads at once, which a worker may then do for its own work."""
    try:
        known = numba is not None and numba.threading_layer()  # type: ignore[attr-defined]  # not among its exports
        return known in ("omp", "tbb")
    except ValueError:  # nothing ran in parallel yet
        return False


class Working(Exception):
    """The answer is not there yet; it is being computed. title: of the job, or what it is about."""

    def __init__(self, title: str, typed: bool = True) -> None:
        super().__init__(f"Working out {title}.")
        self.title, self.typed = title, typed


class _Left(Exception):
    """Nobody waits for it any more."""


@dataclass
class _Turn(Generic[Found]):
    """Something to be worked out in its turn. until: when it is left out, unless it is looked for again."""

    until: float = 0.0
    future: Future[Found] = field(init=False)


class Desk:
    """The roads of a store's jobs. patience: s a page waits for one, None as long as it takes."""

    def __init__(self, store: Store, patience: float | None = PATIENCE) -> None:
        self.store, self.patience = store, patience
        self._worker = ThreadPoolExecutor(1, "desk")
        self._asked: OrderedDict[Any, _Turn[Road]] = OrderedDict()
        self._told: OrderedDict[Hashable, _Turn[Any]] = OrderedDict()
        self._lock = Lock()
        self._failed: dict[Any, float] = {}
        self.turn = Lock()  # of whoever looks at a strip and then writes: one at a time

    def look(self, key: str, part: str = "") -> Road:
        """The road of a job, one of its lazy parts computed too, for a page.

        Raises:
            Working: it takes longer than a page may.
            InputError: there is no such job.
        """
        return self._answer(self.store.get("job", key), part, self.patience)

    def wait(self, key: str, part: str = "") -> Road:
        """The same, however long it takes."""
        return self._answer(self.store.get("job", key), part, None)

    def begin(self, entry: Entry) -> None:
        """Starts on a job that was changed; what it comes to is kept in the store."""
        self._ask(entry, "", None)

    def remember(self, found: Road) -> None:
        """What the list says of a job anew, though the job itself is what it was."""
        self.run(lambda: keep(self.store, found))

    def run(self, work: Callable[[], Found]) -> Found:
        """Something else that calls the kernels, in its turn."""
        return self._worker.submit(contextvars.copy_context().run, work).result()

    def later(self, work: Callable[[], object]) -> None:
        """The same without waiting for it, in nobody's units and language."""
        self._worker.submit(work)

    def tell(self, about: Hashable, title: str, work: Callable[[], Found], waits: bool = False) -> Found:
        """Something else that takes longer than a page may: worked out once as long as `about` is the same.

        Args:
            about: all it depends on. title: what the page says it is working out. waits: as long as it takes.

        Raises:
            Working: it takes longer than a page may.
        """
        with self._lock:
            turn = self._told.get(about)
            if turn is None or (turn.future.done() and turn.future.exception() is not None):
                turn = self._submit(self._told, about, work)
                while len(self._told) > KEPT:
                    self._told.popitem(last=False)
            patience = None if waits else self.patience
            future = _looked(turn, patience)
        found: Found = _result(future, patience, Working(title, typed=False))
        return found

    def _answer(self, entry: Entry, part: str, patience: float | None) -> Road:
        return _result(self._ask(entry, part, patience), patience, Working(entry.title))

    def _ask(self, entry: Entry, part: str, patience: float | None) -> Future[Road]:
        if part:
            self._ask(entry, "", patience)
        given = inputs(self.store, entry)
        with self._lock:
            turn = self._asked.get((given, part))
            if turn is not None and turn.future.done() and turn.future.exception() is not None:
                # What failed is said, not tried at every look: a page that looks again would do so for ever.
                failed = self._failed.setdefault((given, part), time.monotonic())
                if time.monotonic() - failed > RETRY:
                    del self._failed[given, part]
                    turn = None
            if turn is None:
                turn = self._submit(self._asked, (given, part), lambda: self._compute(given, part))
                while len(self._asked) > KEPT:
                    gone, _ = self._asked.popitem(last=False)
                    self._failed.pop(gone, None)
            return _looked(turn, patience)

    def _submit(self, book: OrderedDict[Any, _Turn[Found]], key: Any, work: Callable[[], Found]) -> _Turn[Found]:
        """A turn into the book; what is left when it comes is struck out, and asked again it begins anew."""

        def in_turn() -> Found:
            with self._lock:
                if turn.until < time.monotonic():
                    if book.get(key) is turn:
                        del book[key]
                    raise _Left
            return work()

        turn: _Turn[Found] = _Turn()
        turn.future = self._worker.submit(contextvars.copy_context().run, in_turn)
        book[key] = turn
        return turn

    def _compute(self, given: Inputs, part: str) -> Road:
        found = road_of(settled(self.store, given))
        if not part:
            keep(self.store, found)
        elif found.closed is None or part not in BEAMS:
            getattr(found, part)
        return found


def _looked(turn: _Turn[Found], patience: float | None) -> Future[Found]:
    """What comes of it, for somebody who waits so long for it; None: as long as it takes."""
    turn.until = max(turn.until, math.inf if patience is None else time.monotonic() + LEFT)
    return turn.future


def _result(future: Future[Found], patience: float | None, working: Working) -> Found:
    """What came of it, or `working` if that takes longer."""
    try:
        return future.result(patience)
    except _Left:
        raise working from None
    except TimeoutError:
        if future.done():  # the work itself ran out of time
            raise
        raise working from None
