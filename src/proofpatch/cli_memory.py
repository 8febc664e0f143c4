"""The command about what a shop has learned: of each kind of work, how much, and whether new jobs start from it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from proofpatch.cli_answer import as_json, say
from proofpatch.cli_read import argument
from proofpatch.cli_show import wrapped
from proofpatch.cli_store import SHOP, said_of
from proofpatch.errors import InputError
from proofpatch.learn.memory.population import counted
from proofpatch.shop.memory import Pair, learned
from proofpatch.shop.settings import keep_settings, settings_of
from proofpatch.shop.store import FILE, Store

WARNING = (
    "Whether a start from memory forecasts better than one from published data has been tried on simulated shops only. "
    "Test patches are laid either way."
)


@click.command("memory")
@argument("folder", required=False)
@click.option("--use", type=click.Choice(["on", "off"]), help="whether a job starts from what other jobs taught")
@as_json
def memory_command(folder: str | None, use: str | None, json_: bool) -> None:
    """What a shop has learned of each kind of work: jobs, patches, how far the belief moved from published data.

    Example: proofpatch memory shop
    """
    where = Path(folder or SHOP)
    with said_of({"folder": "FOLDER"}):
        if not (where / FILE).is_file():
            said = f"There is no shop in {where}."
            raise InputError("folder", said, "Name the folder that proofpatch serve was given.")
        store = Store.open(where)
    try:
        if use:
            _, entry = settings_of(store)
            keep_settings(store, {"memory": use == "on"}, entry.version if entry else 0)
        on, rows = settings_of(store)[0].memory, learned(store)
    finally:
        store.close()
    say(memory_record(on, rows), json_, lambda: memory_lines(on, rows))


def memory_record(on: bool, rows: Sequence[Pair]) -> dict[str, Any]:
    """What was learned, as JSON has it."""
    return {
        "used": on, "jobs": sum(row.jobs for row in rows), "patches": sum(row.patches for row in rows),
        "pairs": [
            {"name": row.name, "jobs": row.jobs, "patches": row.patches, "waiting": row.waiting,
             "first_job": row.first, "moved_nats": row.nats, "moved": row.moved,
             "most": [{"property": name, "spreads": shift} for name, shift in row.most], "because": row.because}
            for row in rows
        ],
        "warning": WARNING,
    }  # fmt: skip


def memory_lines(on: bool, rows: Sequence[Pair]) -> list[str]:
    """The same in words."""
    if not rows:
        return wrapped("The shop has no job yet, so there is nothing to remember.")
    jobs, patches = sum(row.jobs for row in rows), sum(row.patches for row in rows)
    state = "New jobs start from it." if on else "No forecast uses it: memory is off."
    head = f"{counted(jobs, 'job')} with {counted(patches, 'graded patch', 'es')} are remembered. {state}"
    lines = wrapped(head)
    for row in rows:
        lines += ["", *wrapped(f"{row.name[:1].upper()}{row.name[1:]}")]
        if row.jobs:
            lines += wrapped(
                f"{counted(row.jobs, 'job')}, {counted(row.patches, 'graded patch', 'es')}, the first job taken in on "
                f"{row.first}.", "  ",
            )  # fmt: skip
        else:
            lines += wrapped(f"{counted(row.waiting, 'job')} without a graded patch yet.", "  ")
        if row.jobs or row.nats > 0:
            most = "; most: " + ", ".join(f"{name} {shift:+.2f}" for name, shift in row.most) if row.most else ""
            unit = ", in spreads of published data" if row.most else ""
            lines += wrapped(
                f"What jobs say of a piece has {row.moved} from published data ({row.nats:.2f} nats{most}{unit}).",
                "  ",
            )
        start = row.because if on else f"With memory on: {row.because[:1].lower()}{row.because[1:]}"
        lines += wrapped(start, "  ")
    return [*lines, "", *wrapped(WARNING)]
