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
from proofpatch.records_memory import giving_record, lot_record, named, preview_record, starter_record
from proofpatch.shop.lots import (
    KIND,
    WEIGHT,
    Lot,
    bring_in,
    every_lot,
    given,
    lots_of,
    own_name,
    preview,
    signed_file,
    weigh,
)
from proofpatch.shop.starter import WEIGHT as STARTER
from proofpatch.shop.starter import starter_file, starter_offered
from proofpatch.shop.store import Store

shop_option = click.option("--folder", help="of the shop; shop if left out")


@click.command("lend")
@argument("file", required=True)
@shop_option
@click.option("--job", "jobs", multiple=True, help="id of a job; all with graded patches if left out")
@click.option("--photos", is_flag=True, help="with small photos of patches and strips, without place or camera")
@click.option("--names", is_flag=True, help="with what the pieces are called and whose they are")
@click.option("--look", is_flag=True, help="only say what would go along")
@as_json
def lend_command(
    file: str, folder: str | None, jobs: tuple[str, ...], photos: bool, names: bool, look: bool, json_: bool
) -> None:
    """Write graded patches and decided recipes to FILE for another shop, signed; no note, name or photo unless chosen.

    Example: proofpatch lend ours.jsonl --folder shop
    """
    with shop_at(folder) as store, said_of({"file": "FILE", "jobs": "--job"}):
        found = [one for _, one in given(store, list(jobs) or None, photos, names)]
        if not found:
            words = "No job of your own has a graded patch yet, so there is nothing to lend."
            say({"file": None, "because": words}, json_, lambda: wrapped(words))
            raise Answer(NO)
        record: dict[str, Any] = giving_record(found)
        if look:
            say(record, json_, lambda: wrapped(record["because"]))
            return
        data = signed_file(store, found)
        record |= {"file": file, "bytes": len(data), "key": own_name(store)}
        try:
            with Path(file).open("xb") as out:
                out.write(data)
        except OSError as trouble:
            said = f"The file {file[-60:]!r} cannot be written: {trouble.strerror}."
            raise InputError("file", said, "Name one that is not there yet.") from None
    told = f"In {file}, signed with the key {record['key']}: {record['because']}"
    say(record, json_, lambda: wrapped(told))


@click.command("borrow")
@argument("file", required=False)
@shop_option
@click.option(
    "--weight",
    type=float,
    help=f"how much it counts, 0 to 1; {WEIGHT:g} if left out, {STARTER:g} of --starter (common practice, no source)",
)
@click.option("--photos", is_flag=True, help="take its photos too, where it has any")
@click.option("--starter", is_flag=True, help="the published data that came with proofpatch, in place of FILE")
@click.option("--look", is_flag=True, help="only say what it holds")
@as_json
def borrow_command(
    file: str | None, folder: str | None, weight: float | None, photos: bool, starter: bool, look: bool, json_: bool
) -> None:
    """Bring in the graded patches of another shop from FILE, or only look at them.

    Example: proofpatch borrow theirs.jsonl --folder shop --look
    """
    with shop_at(folder) as store, said_of({"file": "FILE", "weight": "--weight"}):
        if starter == (file is not None):
            raise InputError("file", "Either a file is brought in or the starter.", "Name FILE, or give --starter.")
        data = _read(file) if file is not None else starter_file()
        if look:
            record = preview_record(preview(store, data))
            say(record, json_, lambda: preview_lines(record))
            return
        share = (STARTER if starter else WEIGHT) if weight is None else weight
        key = bring_in(store, data, share, most=None, photos=photos).id
        record = lot_record(next(one for one in every_lot(store) if one.entry.id == key))
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
        both = every_lot(store)
        record = {"starter": starter_record(starter_offered(store)),
                  "lots": [lot_record(one) for one in both if not one.taken_out],
                  "taken_out": [lot_record(one) for one in both if one.taken_out]}  # fmt: skip
    say(record, json_, lambda: lots_lines(record))


def preview_lines(record: Mapping[str, Any]) -> list[str]:
    """What a file would bring, in words."""
    return wrapped(record["because"]) + [
        f"  {one['name']}: {counted(one['jobs'], 'job')}, {counted(one['patches'], 'graded patch', 'es')}"
        for one in record["kinds"]
    ] + [line for one in record["names"] for line in wrapped(f"Named: {named(one)}.", "  ")] + [
        line for one in record["sources"] for line in wrapped(f"Source: {one}", "  ")
    ]  # fmt: skip


def lots_lines(record: Mapping[str, Any]) -> list[str]:
    """What was brought in, in words."""
    lines: list[str] = []
    for lot in record["lots"]:
        lines += [*lot_lines(lot), ""]
    lines = lines[:-1] or wrapped("Nothing of other shops was brought in.")
    if record["starter"] and not record["lots"]:
        lines += ["", *wrapped(f"{record['starter']['because']} To take it in: proofpatch borrow --starter.")]
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
