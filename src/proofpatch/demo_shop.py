"""An invented workshop with a piece at every step of the road, for whoever opens the pages for the first time.

The pieces are described in words; what came of their patches is drawn from the same simulated pieces as `demo`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from proofpatch.cli_read import read_setting
from proofpatch.demo import Piece, draw_piece
from proofpatch.learn.evidence import ADVISED_WAIT
from proofpatch.materials import substrate
from proofpatch.shop.charges import charges_of
from proofpatch.shop.invented import BY, NAME, furnish
from proofpatch.shop.log import graded_to, stamp
from proofpatch.shop.settings import settings_of
from proofpatch.shop.store import Entry, Store
from proofpatch.shop.strips import lay_out, strips_of
from proofpatch.web.come_to import keep
from proofpatch.web.road import Road, road

PIECES = Path(__file__).with_suffix(".toml")
Going = Callable[[], bool]


def fill(store: Store, say: Callable[[str], Any]) -> None:
    """The workshop's jobs into a shop that holds nothing of its own; one that does is left as it is."""
    wanted = missing(store)
    if wanted:
        furnish(store, prices())
    for tables in wanted:
        say(f"Taking in: {tables['job']['title']}.")
        take_in(store, tables)


def missing(store: Store) -> list[dict[str, Any]]:
    """The tables of the pieces still to be taken in; none where the shop has a job, a name or prices of its own."""
    every, here = pieces(), store.count("job")
    if here > len(every):
        return []
    made_up = store.made_by("job", BY)
    own = here and any(one.id not in made_up for one in store.all("job"))
    if own or settings_of(store)[0].name not in ("", NAME) or charges_of(store)[0] not in ({}, prices()):
        return []
    return every[len(made_up) :]


def prices() -> dict[str, Any]:
    """What the workshop asks, and the head of its paper."""
    found: dict[str, Any] = _tables()["shop"]
    return found


def pieces() -> list[dict[str, Any]]:
    """The tables of every piece, the last of them the next to be worked on."""
    found: list[dict[str, Any]] = _tables()["piece"]
    return found


def take_in(store: Store, tables: Mapping[str, Any], going: Going = lambda: True) -> Entry:
    """The job of a piece, with as many patches laid on it as its tables say, as long as it is still wanted."""
    said = dict(tables)
    patches, seed = said.pop("patches", 0), said.pop("seed", 0)
    entry = store.add("job", {"limits": {"preset": "ordinary"}, **said}, title=said["job"]["title"], by=BY)
    found = road(store, entry)
    keep(store, found)
    if patches and found.closed is None:
        _test(store, found, patches, seed, going)
    return entry


def _tables() -> dict[str, Any]:
    return tomllib.loads(PIECES.read_text(encoding="utf-8"))


def _test(store: Store, found: Road, patches: int, seed: int, going: Going) -> None:
    """Strips laid on the simulated piece until its recipe is confirmed, or so many patches are graded."""
    assert found.work is not None
    entry, work = found.entry, found.work
    piece = draw_piece(seed, work.surface, work.laser.id)
    left = patches
    while left and going() and not found.recipe[0].get("confirmed"):
        record, dialled = found.strip
        if not record["patches"]:
            break
        lay_out(store, entry.id, record["patches"], dialled)
        for step in strips_of(store, entry.id, found.patches)[-1].steps[:left]:
            left -= 1
            if not going() or not _grade(store, entry, found, piece, step.name, step.dialled):
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
    data |= {"grader": BY, "waited": waited}
    store.add("patch", data, entry.id, f"{name}: {graded.residue}, {graded.harm}", by=BY)
    return graded.harm == "none"
