"""Shops of earlier versions are upgraded, and killed meanwhile: python benchmarks/upgraded.py --write

tests/shop/old holds a small shop as the code of each earlier version wrote it. Each is opened by this program, once
whole and then once for every statement, commit, file and name that the upgrade meets, with a SIGKILL at that one. Asked
after each kill: `check` finds the old shop or the new one whole; opened again, every row is what it was.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from stamp import keep, stamp

from proofpatch.shop.check import check
from proofpatch.shop.database import FILE
from proofpatch.shop.store import Store
from proofpatch.shop.versions import revisions

OLD = Path(__file__).resolve().parent.parent / "tests" / "shop" / "old"
NAMES = sorted(path.parent.name for path in OLD.glob("*/shop.sql"))
NEW = {("thing", "made"), ("thing", "latest"), ("device", "role")}  # columns that newer versions added
Rows = dict[str, list[tuple[object, ...]]]
# Upgrades the first folder and says how many moments that had; then each of the others, in a fork of its own that is
# killed at one of them: all in turn, or spread evenly.
KILLED = """
import os, signal, sys
import sqlalchemy as sa
from proofpatch.shop.store import Store

sys.dont_write_bytecode = True  # a module compiled for the first time is named into its cache: no moment of an upgrade
met, number = 0, 0
def meet(*_):
    global met
    met += 1
    if met == number:
        os.kill(os.getpid(), signal.SIGKILL)
for event in ("before_cursor_execute", "after_cursor_execute", "commit"):
    sa.event.listen(sa.Engine, event, meet)
sa.event.listen(sa.Pool, "close", meet)
sys.addaudithook(lambda event, _: meet() if event in ("sqlite3.connect", "os.rename", "os.remove") else None)
Store.open(sys.argv[1]).close()
many, ends = met, []
for turn, place in enumerate(sys.argv[2:]):
    met, number = 0, 1 + round(turn * (many - 1) / max(len(sys.argv) - 3, 1))
    child = os.fork()
    if child == 0:
        Store.open(place)
        os._exit(0)
    ends.append(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]))
print(many, set(ends) <= {-9})
"""


def old_shop(name: str, place: Path) -> Path:
    """The shop as the code of its time left it."""
    place.mkdir()
    for part in OLD.joinpath(name).iterdir():
        if part.is_dir():
            shutil.copytree(part, place / part.name)
    with contextlib.closing(sqlite3.connect(place / FILE)) as base:
        base.executescript(OLD.joinpath(name, "shop.sql").read_text(encoding="utf-8"))
        base.execute("PRAGMA journal_mode=WAL")
    return place


def rows_of(place: Path) -> Rows:
    """{table: its rows}, but for the columns that newer versions added."""
    with contextlib.closing(sqlite3.connect(place / FILE)) as base:
        names = [str(name) for (name,) in base.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        found: Rows = {}
        for name in sorted(set(names) - {"alembic_version", "sqlite_sequence"}):
            columns = [row[1] for row in base.execute(f"PRAGMA table_info({name})")]
            kept = ", ".join(f'"{one}"' for one in columns if (name, one) not in NEW)
            found[name] = sorted(base.execute(f"SELECT {kept} FROM {name}"), key=repr)
        return found


def killed(whole: Path, places: Sequence[Path]) -> int:
    """Upgrades `whole`; kills an upgrade of each of `places`, from the first moment to the last: how many there are."""
    done = subprocess.run(
        [sys.executable, "-c", KILLED, str(whole), *map(str, places)], capture_output=True, text=True, check=True
    ).stdout.split()  # fmt: skip
    assert done[1] == "True", "an upgrade ran past its kill"
    return int(done[0])


def troubles_after(place: Path, before: Rows) -> tuple[str, list[str]]:
    """(the version it stands at after the kill, what is wrong with it, then and once it is opened again)."""
    found = check(place)
    wrong = [str(one) for one in found.troubles]
    rows = rows_of(place)
    wrong += [f"{table} is not what it was" for table in before if rows[table] != before[table]]
    Store.open(place).close()
    again, rows = check(place), rows_of(place)
    wrong += [str(one) for one in again.troubles]
    wrong += [f"{table} is not what it was" for table in before if rows[table] != before[table]]
    return found.schema, wrong


def main() -> None:
    """Runs and says; --write keeps it in docs/reliability.md."""
    reader = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    reader.add_argument("--every", type=int, default=1, help="a kill at every so many moments")
    reader.add_argument("--write", action="store_true")
    given = reader.parse_args()
    began, met, kills, old, wrong, counted = time.monotonic(), 0, 0, 0, list[str](), []
    for name in NAMES:
        with tempfile.TemporaryDirectory() as made:
            place = Path(made)
            moments = killed(old_shop(name, place / "whole"), [])
            met += moments
            places = [old_shop(name, place / str(number)) for number in range(-(-moments // given.every))]
            before = rows_of(places[0])
            killed(old_shop(name, place / "again"), places)
            for one in places:
                schema, said = troubles_after(one, before)
                kills, old = kills + 1, old + (schema != revisions()[0])
                wrong += said
            counted.append(f"{name} ({len(before['thing'])} things, {len(before['change'])} changes)")
    minutes = (time.monotonic() - began) / 60
    lines = [
        f"Shops: {', '.join(counted)}, upgraded to {revisions()[0]}: every row what it was.",
        f"{kills} kills, spread evenly over the {met} statements, commits, files and names of all; {minutes:.1f} min. "
        f"{old} left the old tables, {kills - old} the new ones, none anything between.",
        f"Lost, changed, or a check that was not passed, then or opened again: {len(wrong)}.",
    ]
    print("\n".join([*lines, *wrong[:10]]))
    if given.write and not wrong:
        keep("reliability.md", "upgrades", lines,
             stamp(f"--every {given.every}").partition("; engine")[0] + f", {os.cpu_count()} cores.")  # fmt: skip
    sys.exit(bool(wrong))


if __name__ == "__main__":
    main()
