"""Takes the invented workshop in while the pages stay open."""

from __future__ import annotations

from threading import Lock

from proofpatch.demo_shop import missing, prices, take_in
from proofpatch.errors import InputError
from proofpatch.shop.invented import furnish
from proofpatch.shop.store import Store
from proofpatch.web.desk import Desk


class Filling:
    """Takes the invented pieces in, one after another, while the pages stay open. trouble: why it ended early."""

    def __init__(self, store: Store, desk: Desk) -> None:
        self.store, self.desk = store, desk
        self.going, self.trouble = False, ""
        self._lock = Lock()

    def left(self) -> int:
        """Pieces that may still be taken in."""
        return len(missing(self.store))

    def begin(self) -> None:
        """Starts, unless it is on or the shop has something of its own."""
        with self._lock:
            if self.going or not self.left():
                return
            furnish(self.store, prices())
            self.going, self.trouble = True, ""
            self.desk.later(self._next)

    def stop(self) -> None:
        """The piece at hand ends at its next patch, and no other follows."""
        self.going = False

    def _next(self) -> None:
        try:
            found = missing(self.store) if self.going else []
            if found:
                take_in(self.store, found[0], lambda: self.going)
            # A turn for each piece: pages that are asked for meanwhile come between.
            if self.going and found[1:]:
                self.desk.later(self._next)
                return
        except InputError as trouble:
            self.trouble = str(trouble)
        except RuntimeError:  # the program ends
            pass
        self.going = False
