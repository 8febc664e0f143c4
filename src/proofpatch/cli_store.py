"""The commands about a shop's folder: whether it is whole, a backup of it, and bringing one back."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from proofpatch.cli_answer import NO, Answer, as_json, say
from proofpatch.cli_read import argument
from proofpatch.cli_show import wrapped
from proofpatch.errors import InputError
from proofpatch.shop.backup import Made, back_up, beside, restore
from proofpatch.shop.check import Checked, check

SHOP = "shop"
keep_option = click.option(
    "--keep", type=click.IntRange(1, 1000), help="so many backups; older ones are taken away; all if left out"
)  # fmt: skip


@click.command("check")
@argument("folder", required=False)
@as_json
def check_command(folder: str | None, json_: bool) -> None:
    """Whether a shop's folder is whole: its database, the history of every thing, what they name, every photo's file.

    Example: proofpatch check shop
    """
    with said_of({"folder": "FOLDER"}):
        found = check(folder or SHOP)
    say(record_of(found), json_, lambda: lines_of(found))
    if not found.whole:
        raise Answer(NO)


@click.command("backup")
@argument("folder", required=False)
@click.option("--to", "place", help="folder of the backups, best on another drive; beside the shop's if left out")
@keep_option
@as_json
def backup_command(folder: str | None, place: str | None, keep: int | None, json_: bool) -> None:
    """Copy a shop, open or not, into its folder of backups, and try the copy by restoring and checking it.

    Example: proofpatch backup shop --keep 14
    """
    shop = folder or SHOP
    with said_of({"folder": "FOLDER", "to": "--to"}):
        made = back_up(shop, place or beside(shop), keep)
    say(made_record(made), json_, lambda: made_lines(made))
    if not made.checked.whole:
        raise Answer(NO)


@click.command("restore")
@argument("backups", required=True)
@click.option("--folder", required=True, help="where the shop is brought back; one that is not there yet, or empty")
@as_json
def restore_command(backups: str, folder: str, json_: bool) -> None:
    """Bring a shop back from a folder of backups, or from one backup of it, and check what came.

    Example: proofpatch restore shop-backups --folder shop-again
    """
    with said_of({"backups": "BACKUPS", "folder": "--folder"}):
        one, found = restore(backups, folder)
    record = {"folder": str(Path(folder).resolve()), "backup": str(one.path), "at": one.at.isoformat(),
              "checked": record_of(found)}  # fmt: skip
    head = f"The shop as it was on {one.at.astimezone():%d %b %Y, %H:%M} stands in {record['folder']}."
    say(record, json_, lambda: [*wrapped(head), *lines_of(found)])
    if not found.whole:
        raise Answer(NO)


@click.command("move")
@argument("folder", required=False)
@click.option("--to", "address", required=True, help="of an empty PostgreSQL database; passwords belong in ~/.pgpass")
@as_json
def move_command(folder: str | None, address: str, json_: bool) -> None:
    """Move a shop's records into PostgreSQL, all of them or none; photos stay in the folder, and the file is kept.

    Example: proofpatch move shop --to postgresql+psycopg://shop@localhost/shop
    """
    from proofpatch.shop.move import move

    with said_of({"folder": "FOLDER", "to": "--to"}):
        moved = move(folder or SHOP, address)
    kept = str(moved.kept) if moved.kept else None
    head = (
        f"The records of the shop are in {moved.where}: {moved.rows['thing']} things, {moved.rows['change']} changes."
    )
    file = f"They are compared and checked; what they came from is kept as {kept}." if kept else ""
    say({"where": moved.where, "rows": moved.rows, "kept": kept}, json_, lambda: [*wrapped(head), *wrapped(file)])


@contextmanager
def said_of(names: Mapping[str, str]) -> Iterator[None]:
    """Names the option that a sentence is about; the sentence itself speaks of folders."""
    try:
        yield
    except InputError as error:
        raise InputError(names.get(error.field, error.field), error.problem, error.remedy) from None


def record_of(found: Checked) -> dict[str, Any]:
    """What a check came to, as JSON has it."""
    return {
        "whole": found.whole, "folder": str(found.folder), "schema": found.schema, "things": dict(found.things),
        "changes": found.changes, "photos": found.photos, "photos_bytes": found.size,
        "troubles": [{"where": one.where, "said": one.said, "do": one.do} for one in found.troubles],
        "leftovers": list(found.leftovers),
    }  # fmt: skip


def lines_of(found: Checked) -> list[str]:
    """The same in words."""
    many = sum(found.things.values())
    inside = f"{many} things with {found.changes} changes, {found.photos} photos ({found.size / 1e6:.1f} MB)"
    if found.whole:
        head = f"The shop is whole: {inside}."
    else:
        head = f"Something is wrong with the shop ({inside}); {len(found.troubles)} found:"
    lines = wrapped(head)
    for one in found.troubles:
        lines += wrapped(f"- {one}", "  ", "  ")
    for left in found.leftovers:
        lines += wrapped(left)
    return lines


def made_record(made: Made) -> dict[str, Any]:
    """A backup as JSON has it."""
    return {
        "backup": str(made.backup.path), "at": made.backup.at.isoformat(), "after_change": made.backup.after,
        "photos_copied": made.photos, "taken_away": [str(path) for path in made.gone], "further_on": made.further,
        "checked": record_of(made.checked),
    }  # fmt: skip


def made_lines(made: Made) -> list[str]:
    """The same in words."""
    lines = wrapped(f"Backed up to {made.backup.path}; {made.photos} photos were new. Restored on trial:")
    lines += lines_of(made.checked)
    if made.gone:
        lines += wrapped(f"Taken away: {', '.join(path.name for path in made.gone)}.")
    if made.further:
        lines += wrapped(
            "Backups stand there that are further on than this shop, as after bringing back an older one. "
            "None was taken away; name another --to, so that the two are not mixed."
        )
    return lines
