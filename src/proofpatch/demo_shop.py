"""An invented workshop with a piece at every step of the road, for whoever opens the pages for the first time.

The pieces are described in words; what came of their patches is drawn from the same simulated pieces as `demo`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from proofpatch.cli_read import read_setting
from proofpatch.demo import WORKSHOP, Piece, draw_piece
from proofpatch.learn.evidence import ADVISED_WAIT
from proofpatch.materials import substrate
from proofpatch.shop.charges import keep_charges
from proofpatch.shop.log import graded_to, stamp
from proofpatch.shop.settings import keep_settings, settings_of
from proofpatch.shop.store import Entry, Store
from proofpatch.shop.strips import lay_out, strips_of
from proofpatch.web.come_to import keep
from proofpatch.web.road import Road, road

PIECES = Path(__file__).with_suffix(".toml")
GRADER = "the invented workshop"


def fill(store: Store, say: Callable[[str], Any]) -> None:
    """The workshop's jobs into an empty store; a shop that holds anything is left as it is."""
    if store.count("job") or settings_of(store)[1] is not None:
        return
    keep_settings(store, {"name": f"{WORKSHOP} (invented)"}, 0)
    keep_charges(store, tomllib.loads(PIECES.read_text(encoding="utf-8"))["shop"], 0)
    for tables in pieces():
        say(f"Taking in: {tables['job']['title']}.")
        take_in(store, tables)


def pieces() -> list[dict[str, Any]]:
    """The tables of every piece, the last of them the next to be worked on."""
    found: list[dict[str, Any]] = tomllib.loads(PIECES.read_text(encoding="utf-8"))["piece"]
    return found


def take_in(store: Store, tables: Mapping[str, Any]) -> Entry:
    """The job of a piece, with as many patches laid on it as its tables say."""
    said = dict(tables)
    patches, seed = said.pop("patches", 0), said.pop("seed", 0)
    entry = store.add("job", {"limits": {"preset": "ordinary"}, **said}, title=said["job"]["title"])
    found = road(store, entry)
    keep(store, found)
    if patches and found.closed is None:
        _test(store, found, patches, seed)
    return entry


def _test(store: Store, found: Road, patches: int, seed: int) -> None:
    """Strips laid on the simulated piece until its recipe is confirmed, or so many patches are graded."""
    assert found.work is not None
    entry, work = found.entry, found.work
    piece = draw_piece(seed, work.surface, work.laser.id)
    left = patches
    while left and not found.recipe[0].get("confirmed"):
        record, dialled = found.strip
        if not record["patches"]:
            break
        lay_out(store, entry.id, record["patches"], dialled)
        for step in strips_of(store, entry.id, found.patches)[-1].steps[:left]:
            left -= 1
            if not _grade(store, entry, found, piece, step.name, step.dialled):
                break
            found = road(store, entry)
            keep(store, found)
        found = road(store, entry)
        keep(store, found)


def _grade(store: Store, entry: Entry, found: Road, piece: Piece, name: str, dialled: Mapping[str, str]) -> bool:
    """One step laid and graded; False if it did harm."""
    assert found.work is not None
    setting, _ = read_setting({**dict.fromkeys(("spot_diameter", "sweep_width"), None), **dialled}, found.work.laser)
    graded = piece.grade(setting)
    data = graded_to(graded, stamp())
    waited = ADVISED_WAIT.get(substrate(found.work.surface.substrate).family, 600.0)
    data |= {"grader": GRADER, "waited": waited}
    store.add("patch", data, entry.id, f"{name}: {graded.residue}, {graded.harm}", by=GRADER)
    return graded.harm == "none"
