"""The command that works over all jobs of a shop at once, on this machine's cores or on a cluster."""

from __future__ import annotations

from collections import Counter
from typing import Any

import click

from proofpatch.cli_answer import as_json, say
from proofpatch.cli_memory import shop_at
from proofpatch.cli_read import argument, read_laser
from proofpatch.cli_show import wrapped
from proofpatch.cli_store import said_of
from proofpatch.errors import InputError
from proofpatch.learn.forecast import DECLINE, WORTH_IT
from proofpatch.learn.memory.population import counted


@click.command("rework")
@click.argument("what", type=click.Choice(["sites", "photos", "laser"]))
@argument("folder", required=False)
@click.option("--laser", help="for `laser`: the one that is asked of every piece")
@click.option("--cluster", help="address of a Dask scheduler, like tcp://10.0.0.5:8786; this machine if left out")
@as_json
def rework(what: str, folder: str | None, laser: str | None, cluster: str | None, json_: bool) -> None:
    """Over all jobs: what each taught formed anew (sites), photos graded again (photos), another laser asked (laser).

    Example: proofpatch rework sites shop
    """
    from proofpatch.pool import each_on
    from proofpatch.shop import many, regraded

    wished = read_laser({"laser": laser})
    if (wished is None) is (what == "laser"):
        raise InputError(
            "--laser", "Another laser is asked by `rework laser`, and only there.", "Name it with --laser."
        )
    with shop_at(folder) as store, said_of({"cluster": "--cluster"}), each_on(cluster) as each:
        if what == "sites":
            record: dict[str, Any] = {"formed": many.form_anew(store, each)}
        elif what == "photos":
            record = regraded_record(list(regraded.regrade(store, each)))
        else:
            assert wished is not None
            record = chances_record(list(many.with_laser(store, each, wished)), wished.id)
    say(record, json_, lambda: LINES[what](record))


def regraded_record(found: list[Any]) -> dict[str, Any]:
    """What grading all photos again came to, as JSON has it."""
    return {
        "steps": len(found), "moved": sum(one.moved for one in found),
        "grades": [
            {"job": one.job, "step": one.step,
             **{f"{name}_{when}": (grade or {}).get(name) for when, grade in (("before", one.before), ("now", one.now))
                for name in ("residue", "harm", "fraction_left")}}
            for one in found if one.moved
        ],
    }  # fmt: skip


def chances_record(found: list[Any], laser: str) -> dict[str, Any]:
    """The chances of all pieces with another laser, as JSON has it."""
    return {
        "laser": laser, "jobs": [{"job": one.job, "chance": one.own, "chance_with_it": one.other} for one in found],
        "answers": _answers(one.own for one in found), "answers_with_it": _answers(one.other for one in found),
    }  # fmt: skip


def _answers(chances: Any) -> dict[str, int]:
    many = Counter("worth it" if p >= WORTH_IT else "decline" if p <= DECLINE else "test first" for p in chances)
    return {name: many[name] for name in ("worth it", "test first", "decline")}


def _formed_lines(record: dict[str, Any]) -> list[str]:
    return wrapped(f"What {counted(record['formed'], 'job')} taught is formed anew from what all others say.")


def _regraded_lines(record: dict[str, Any]) -> list[str]:
    many = counted(record["steps"], "step")
    if not record["moved"]:
        return wrapped(f"{many} graded by photo; each gets the same grade today.")
    lines = wrapped(f"Of {many} graded by photo {record['moved']} get another grade today. Nothing was changed.")
    for one in record["grades"]:
        then, now = (
            f"{one[f'residue_{when}'] or 'share not told'}, {one[f'harm_{when}'] or 'harm not told'}"
            for when in ("before", "now")
        )
        lines += wrapped(f"- {one['job']}, {one['step']}: {then} then; {now} now", "  ", "  ")
    return lines


def _chances_lines(record: dict[str, Any]) -> list[str]:
    own, other = (
        ", ".join(f"{many} {name}" for name, many in record[key].items()) for key in ("answers", "answers_with_it")
    )
    lines = wrapped(
        f"Before any patch, of {counted(len(record['jobs']), 'job')}: {own}. With {record['laser']}: {other}."
    )
    for one in record["jobs"]:
        lines += wrapped(
            f"- {one['job']}: {100 * one['chance']:.0f} in 100, with it {100 * one['chance_with_it']:.0f}", "  ", "  "
        )
    return lines


LINES = {"sites": _formed_lines, "photos": _regraded_lines, "laser": _chances_lines}
