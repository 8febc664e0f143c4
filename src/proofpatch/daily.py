"""A backup a day while the shop is open, made by a process of its own so that no page waits for it."""

from __future__ import annotations

import contextlib
import datetime
import json
import os
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

from proofpatch.errors import InputError
from proofpatch.shop.backup import Backup, backups_in, is_due

KEPT = 7  # backups; common practice, no source
FIRST, EVERY = 30.0, 1800.0  # s after the shop opened, and between two looks whether one is due
POLITE = 10  # steps behind everybody else's work, where a system knows them


class Daily:
    """Looks now and then whether a backup is due, and has it made. said: what was wrong with the last one, or empty."""

    def __init__(self, folder: str | Path, place: str | Path, keep: int, say: Callable[[str], object]) -> None:
        self.folder, self.place, self.keep, self.say = Path(folder), Path(place), keep, say
        self.said = ""
        self._over = threading.Event()

    def start(self) -> None:
        """From now on, until `stop`."""
        threading.Thread(target=self._run, name="daily backup", daemon=True).start()

    def stop(self) -> None:
        """No further one."""
        self._over.set()

    @property
    def last(self) -> Backup | None:
        """The backup that is furthest on."""
        return next(iter(backups_in(self.place)), None)

    def once(self, now: datetime.datetime | None = None) -> bool:
        """Makes the backup if it is due: whether one was made. What goes wrong is said and kept in `said`."""
        try:
            if not is_due(self.folder, self.place, now or datetime.datetime.now(datetime.UTC)):
                return False
        except (InputError, OSError) as trouble:
            return self._tell(str(trouble))
        words = ["backup", str(self.folder), "--to", str(self.place), "--keep", str(self.keep), "--json"]
        with subprocess.Popen(
            [sys.executable, "-m", "proofpatch.cli", *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        ) as work:  # fmt: skip
            with contextlib.suppress(AttributeError, OSError):
                os.setpriority(os.PRIO_PROCESS, work.pid, POLITE)
            out, wrong = work.communicate()
        if work.returncode == 0:
            self.said = ""
            return True
        with contextlib.suppress(ValueError):
            wrong = " ".join(f"{one['said']} {one['do']}" for one in json.loads(out)["checked"]["troubles"][:2])
        return self._tell(wrong.strip().splitlines()[-1] if wrong.strip() else "It was cut off.")

    def _tell(self, said: str) -> bool:
        if said != self.said:
            self.say(f"The daily backup: {said}")
        self.said = said
        return False

    def _run(self) -> None:
        wait = FIRST
        while not self._over.wait(wait):
            self.once()
            wait = EVERY
