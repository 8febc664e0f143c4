"""The commands about what a shop has learned: of each kind of work how much, and jobs like one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from proofpatch.cli_answer import NO, Answer, as_json, say
from proofpatch.cli_folder import job_named
from proofpatch.cli_read import argument
from proofpatch.cli_show import setting_words, wrapped
from proofpatch.cli_store import SHOP, said_of
from proofpatch.learn.memory.population import counted
from proofpatch.phrases import raised
from proofpatch.records_memory import alike_record, memory_record, start_words
from proofpatch.shop.confirmed import counts_of
from proofpatch.shop.database import refuse_none
from proofpatch.shop.foretold import Told, told_of
from proofpatch.shop.learned import learned
from proofpatch.shop.likeness import alike_of, stop_of
from proofpatch.shop.lots import lots_of
from proofpatch.shop.many import form_anew
from proofpatch.shop.memory import formed
from proofpatch.shop.settings import settings_of
from proofpatch.shop.starts import switch
from proofpatch.shop.store import Store

PLACE_TO_BEGIN = "A recipe of another piece is a place to begin patches, never one to work by."


@contextmanager
def shop_at(folder: str | None) -> Iterator[Store]:
    """The shop of a folder that is there already.

    Raises:
        InputError: there is none.
    """
    where = Path(folder or SHOP)
    with said_of({"folder": "FOLDER"}):
        refuse_none(where)
        store = Store.open(where)
    try:
        yield store
    finally:
        store.close()


@click.command("memory")
@argument("folder", required=False)
@click.option("--use", type=click.Choice(["on", "off"]), help="whether a job starts from what other jobs taught")
@click.option("--form-anew", "anew", is_flag=True, help="form what each job taught anew from where all jobs lie")
@as_json
def memory_command(folder: str | None, use: str | None, anew: bool, json_: bool) -> None:
    """What a shop has learned of each kind of work, how its forecasts came out, and what others gave.

    Example: proofpatch memory shop
    """
    with shop_at(folder) as store:
        if use:
            _, entry = settings_of(store)
            switch(store, use == "on", entry.version if entry else 0)
        if anew:
            form_anew(store)
        record = record_of(store)
    say(record, json_, lambda: memory_lines(record))


def record_of(store: Store, told: Told | None = None) -> dict[str, Any]:
    """All that a shop learned, as it stands. told: forecasts against outcomes, where they were looked up already."""
    on, seen = settings_of(store)[0].memory, counts_of(store)
    return memory_record(on, learned(store), told or told_of(store), lots_of(store), formed(store), seen)


@click.command("alike")
@argument("job", required=True)
@click.option("--folder", help="of the shop; shop if left out")
@as_json
def alike_command(job: str, folder: str | None, json_: bool) -> None:
    """Jobs of a shop like one of them, by what coating and substrate do under the beam.

    JOB: its id, or words of its title.

    Example: proofpatch alike "chest lid" --folder shop
    """
    with shop_at(folder) as store, said_of({"job": "JOB"}):
        entry = job_named(store, job)
        record = alike_record(*alike_of(store, entry), stop_of(store, entry))
    say(record, json_, lambda: alike_lines(record))
    if not record["jobs"]:
        raise Answer(NO)


def alike_lines(record: Mapping[str, Any]) -> list[str]:
    """Jobs like one, in words."""
    lines = [*wrapped(record["because"]), *(wrapped(record["stop"]) if record["stop"] else [])]
    for one in record["jobs"]:
        of = f" of {one['from']}" if one["from"] else ""
        whose = f" (for {one['customer']})" if one["customer"] else ""
        called = f"{one['title'] or 'A job'}{whose}{of}"
        lines += ["", *wrapped(f"{called}: {one['near']} ({one['distance']:.2f})")]
        lines += wrapped(f"{raised(one['kind'])}. {one['outcome']}", "  ")
        if one["recipe"]:
            lines += wrapped(f"Worked by {setting_words(one['recipe'])}.", "  ")
        if one["source"]:
            lines += wrapped(f"Published: {one['source']}", "  ")
    return [*lines, "", *wrapped(PLACE_TO_BEGIN)] if record["jobs"] else lines


def memory_lines(record: Mapping[str, Any]) -> list[str]:
    """What was learned, in words."""
    rows, on = record["pairs"], record["used"]
    if not rows:
        return wrapped("The shop has no job yet, so there is nothing to remember.")
    state = "New jobs start from it." if on else "No forecast uses it: memory is off."
    lines = wrapped(f"{record['because']} {state}")
    if record["teaches_most"]:
        lines += wrapped(f"The next patch teaches most on {record['teaches_most']}.")
    for row in rows:
        lines += ["", *_pair_lines(row, on)]
    lines += ["", *wrapped(record["skill"]["because"])]
    late, all_ = record["skill"]["worked_out_afterwards"], record["skill"]["forecasts"]
    if late:
        lines += wrapped(f"{late} of {all_} forecasts were worked out after the grade, from what was known before it.")
    done = record["formed_anew"]
    if done["day"]:
        lines += wrapped(
            f"What {done['jobs']} of {counted(done['of'], 'job')} taught was formed anew on {done['day']}."
        )
    lines += ["", *wrapped(record["confirmed"]["because"])]
    for one in record["confirmed"]["moved"]:
        lines += wrapped(one["said"], "  ")
    for lot in record["lots"]:
        lines += ["", *lot_lines(lot)]
    return [*lines, "", *wrapped(record["warning"])]


def _pair_lines(row: Mapping[str, Any], on: bool) -> list[str]:
    lines = wrapped(raised(row["name"]))
    if row["jobs"]:
        graded = f"{counted(row['jobs'], 'job')}, {counted(row['patches'], 'graded patch', 'es')}"
        lines += wrapped(f"{graded}, the first job taken in on {row['first_job']}.", "  ")
    if row["waiting"]:
        lines += wrapped(f"{counted(row['waiting'], 'job')} without a graded patch yet.", "  ")
    if row["lent_jobs"]:
        of = f", {row['published_jobs']} of them published data" if row["published_jobs"] else ""
        given = f"{counted(row['lent_jobs'], 'job')} with {counted(row['lent_patches'], 'graded patch', 'es')}"
        lines += wrapped(f"Others lent {given}{of}.", "  ")
    if row["jobs"] or row["moved_nats"] > 0:
        most = "; most: " + "; ".join(one["said"] for one in row["most"]) if row["most"] else ""
        said = f"What jobs say of a piece has {row['moved']} from published data ({row['moved_nats']:.2f} nats){most}."
        lines += wrapped(said, "  ")
    lines += wrapped(row["next"], "  ")
    return lines + wrapped(start_words(row, on), "  ")


def lot_lines(lot: Mapping[str, Any]) -> list[str]:
    """A lot that was brought in, in words."""
    said = (
        f"Lot {lot['id'][:8]} of {lot['shop']}, {lot['made']}, {lot['origin']}: {counted(lot['jobs'], 'job')}, "
        f"{counted(lot['patches'], 'graded patch', 'es')}, {counted(lot['recipes'], 'recipe')}"
        f"{', ' + counted(lot['photos'], 'photo') if lot['photos'] else ''}. "
        f"Counts {lot['weight']:.2g}; {lot['counting']} of its jobs are counted. Signed with the key {lot['key']}."
    )
    kinds: Sequence[Mapping[str, Any]] = lot["kinds"]
    return wrapped(said) + [f"  {one['name']}: {one['jobs']}, {one['patches']}" for one in kinds]
