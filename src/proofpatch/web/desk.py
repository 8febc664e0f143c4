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
from threading import Lock
from typing import Any, TypeVar

from proofpatch.physics.elementwise import numba
from proofpatch.shop.store import Entry, Store
from proofpatch.web.come_to import keep
from proofpatch.web.road import Inputs, Road, inputs, road_of, settled

PATIENCE = 0.12  # s a page waits before it says that it is at work
KEPT = 64  # answers held in memory
RETRY = 30.0  # s after which what failed is tried again
LEFT = 5.0  # s; a page that waits looks again every second, so nobody looks any more
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


class Desk:
    """The roads of a store's jobs. patience: s a page waits for one, None as long as it takes."""

    def __init__(self, store: Store, patience: float | None = PATIENCE) -> None:
        self.store, self.patience = store, patience
        self._worker = ThreadPoolExecutor(1, "desk")
        self._asked: OrderedDict[Any, Future[Road]] = OrderedDict()
        self._told: OrderedDict[Hashable, Future[Any]] = OrderedDict()
        self._lock = Lock()
        self._failed: dict[Any, float] = {}
        self._until: dict[Any, float] = {}  # when each that waits for its turn is left, unless it is looked for again
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
        self._ask(entry, "", math.inf)

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
            future = self._told.get(about)
            if future is None or (future.done() and future.exception() is not None):
                future = self._submit(self._told, about, work)
                while len(self._told) > KEPT:
                    self._told.popitem(last=False)
            self._looked(self._told, about, math.inf if waits else LEFT)
        try:
            found: Found = future.result(None if waits else self.patience)
        except (TimeoutError, _Left):
            if future.done() and not isinstance(future.exception(), _Left):
                raise
            raise Working(title, typed=False) from None
        return found

    def _answer(self, entry: Entry, part: str, patience: float | None) -> Road:
        future = self._ask(entry, part, math.inf if patience is None else LEFT)
        try:
            return future.result(patience)
        except (TimeoutError, _Left):
            if future.done() and not isinstance(future.exception(), _Left):  # the work itself ran out of time
                raise
            raise Working(entry.title) from None

    def _ask(self, entry: Entry, part: str, last: float) -> Future[Road]:
        """last: s for which somebody waits."""
        if part:
            self._ask(entry, "", last)
        given = inputs(self.store, entry)
        with self._lock:
            future = self._asked.get((given, part))
            if future is not None and future.done() and future.exception() is not None:
                # What failed is said, not tried at every look: a page that looks again would do so for ever.
                failed = self._failed.setdefault((given, part), time.monotonic())
                if time.monotonic() - failed > RETRY:
                    del self._failed[given, part]
                    future = None
            if future is None:
                future = self._submit(self._asked, (given, part), lambda: self._compute(given, part))
                while len(self._asked) > KEPT:
                    gone, _ = self._asked.popitem(last=False)
                    self._failed.pop(gone, None)
            self._looked(self._asked, (given, part), last)
        return future

    def _submit(self, book: OrderedDict[Any, Future[Any]], key: Any, work: Callable[[], Found]) -> Future[Found]:
        """Its turn comes; what is left by then is struck from the book, and asked again it begins anew."""

        def in_turn() -> Found:
            with self._lock:
                if self._until.get((id(book), key), math.inf) < time.monotonic():
                    del self._until[id(book), key]
                    book.pop(key, None)
                    raise _Left
            try:
                return work()
            finally:
                with self._lock:
                    self._until.pop((id(book), key), None)

        book[key] = future = self._worker.submit(contextvars.copy_context().run, in_turn)
        return future

    def _looked(self, book: OrderedDict[Any, Future[Any]], key: Any, last: float) -> None:
        if not book[key].done():
            self._until[id(book), key] = max(self._until.get((id(book), key), 0.0), time.monotonic() + last)

    def _compute(self, given: Inputs, part: str) -> Road:
        found = road_of(settled(self.store, given))
        if not part:
            keep(self.store, found)
        elif found.closed is None or part not in BEAMS:
            getattr(found, part)
        return found
