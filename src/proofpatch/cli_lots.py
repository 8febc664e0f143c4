"""The commands about graded patches from shop to shop: a file of one's own, one of another shop, how much it counts."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from proofpatch.cli_answer import NO, Answer, as_json, say
from proofpatch.cli_memory import lot_lines, shop_at
from proofpatch.cli_read import argument
from proofpatch.cli_show import wrapped
from proofpatch.cli_store import said_of
from proofpatch.errors import InputError
from proofpatch.learn.memory.exchange import MOST_BYTES
from proofpatch.learn.memory.population import counted
from proofpatch.records_memory import lot_record, preview_record
from proofpatch.shop.lots import KIND, WEIGHT, Lot, bring_in, given, given_file, lots_of, own_name, preview, weigh
from proofpatch.shop.store import Store

shop_option = click.option("--folder", help="of the shop; shop if left out")


@click.command("lend")
@argument("file", required=True)
@shop_option
@click.option("--job", "jobs", multiple=True, help="id of a job; all with graded patches if left out")
@as_json
def lend_command(file: str, folder: str | None, jobs: tuple[str, ...], json_: bool) -> None:
    """Write graded patches and decided recipes to FILE for another shop, signed; no customer, name, note or photo.

    Example: proofpatch lend ours.jsonl --folder shop
    """
    with shop_at(folder) as store, said_of({"file": "FILE", "jobs": "--job"}):
        chosen = list(jobs) or None
        found = given(store, chosen)
        if not found:
            words = "No job of your own has a graded patch yet, so there is nothing to lend."
            say({"file": None, "because": words}, json_, lambda: wrapped(words))
            raise Answer(NO)
        data = given_file(store, chosen)
        record: dict[str, Any] = {
            "file": file, "bytes": len(data), "jobs": len(found), "key": own_name(store),
            "patches": sum(len(one.graded) for _, one in found),
            "recipes": sum(one.recipe is not None for _, one in found),
        }  # fmt: skip
        try:
            with Path(file).open("xb") as out:
                out.write(data)
        except OSError as trouble:
            said = f"The file {file[-60:]!r} cannot be written: {trouble.strerror}."
            raise InputError("file", said, "Name one that is not there yet.") from None
    told = (
        f"{counted(record['jobs'], 'job')} with {counted(record['patches'], 'graded patch', 'es')} and "
        f"{counted(record['recipes'], 'recipe')} are in {file}, signed with the key {record['key']}."
    )
    say(record, json_, lambda: wrapped(told))


@click.command("borrow")
@argument("file", required=True)
@shop_option
@click.option("--weight", type=float, default=WEIGHT, show_default=True, help="how much it counts, 0 to 1")
@click.option("--look", is_flag=True, help="only say what it holds")
@as_json
def borrow_command(file: str, folder: str | None, weight: float, look: bool, json_: bool) -> None:
    """Bring in the graded patches of another shop from FILE, or only look at them.

    Example: proofpatch borrow theirs.jsonl --folder shop --look
    """
    with shop_at(folder) as store, said_of({"file": "FILE", "weight": "--weight"}):
        data = _read(file)
        if look:
            record = preview_record(preview(store, data))
            say(record, json_, lambda: preview_lines(record))
            return
        key = bring_in(store, data, weight, most=None).id
        record = lot_record(next(one for one in lots_of(store) if one.entry.id == key))
    say(record, json_, lambda: lot_lines(record))


@click.command("lots")
@argument("folder", required=False)
@click.option("--lot", "which", help="the lot that is meant, by the beginning of its id")
@click.option("--weight", type=float, help="how much it counts from now on, 0 to 1")
@click.option("--take-out", is_flag=True, help="it counts no more")
@click.option("--bring-back", is_flag=True, help="one that was taken out counts again")
@as_json
def lots_command(
    folder: str | None, which: str | None, weight: float | None, take_out: bool, bring_back: bool, json_: bool
) -> None:
    """What was brought in of other shops, and how much each of it counts.

    Example: proofpatch lots shop
    """
    with shop_at(folder) as store, said_of({"lot": "--lot", "weight": "--weight"}):
        if sum((weight is not None, take_out, bring_back)) != (which is not None):
            raise InputError("lot", "One lot is changed in one way at a time.", "Name it, and one change.")
        if which is not None:
            found = _named(store, which, bring_back).entry
            if weight is not None:
                weigh(store, found.id, found.version, weight)
            elif take_out:
                store.delete(KIND, found.id, found.version)
            else:
                store.restore(KIND, found.id, found.version)
        record = {"lots": [lot_record(one) for one in lots_of(store)],
                  "taken_out": [lot_record(one) for one in lots_of(store, True)]}  # fmt: skip
    say(record, json_, lambda: lots_lines(record))


def preview_lines(record: Mapping[str, Any]) -> list[str]:
    """What a file would bring, in words."""
    return wrapped(record["because"]) + [
        f"  {one['name']}: {counted(one['jobs'], 'job')}, {counted(one['patches'], 'graded patch', 'es')}"
        for one in record["kinds"]
    ]


def lots_lines(record: Mapping[str, Any]) -> list[str]:
    """What was brought in, in words."""
    lines: list[str] = []
    for lot in record["lots"]:
        lines += [*lot_lines(lot), ""]
    lines = lines[:-1] or wrapped("Nothing of other shops was brought in.")
    for lot in record["taken_out"]:
        lines += ["", *wrapped(f"Taken out: lot {lot['id'][:8]} of {lot['shop']}, {lot['made']}.")]
    return lines


def _read(file: str) -> bytes:
    try:
        with Path(file).open("rb") as found:
            return found.read(MOST_BYTES + 1)
    except OSError as trouble:
        said = f"The file {file[-60:]!r} cannot be read: {trouble.strerror}."
        raise InputError("file", said, "Name a file that another shop gave you.") from None


def _named(store: Store, which: str, taken_out: bool) -> Lot:
    found = [one for one in lots_of(store, taken_out) if which and one.entry.id.startswith(which)]
    if len(found) != 1:
        said = f"{'No' if not found else 'More than one'} lot begins with {which[:32]!r}."
        raise InputError("lot", said, "Look at the list.")
    return found[0]
