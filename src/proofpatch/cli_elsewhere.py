"""The commands about another laser: a job carried to it, and what past jobs would have taken with it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import click

from proofpatch import cli_work
from proofpatch.cli_answer import NO, Answer, as_json, say
from proofpatch.cli_read import argument
from proofpatch.errors import InputError


@click.command("carry")
@argument("job", required=True)
@click.option("--laser", "lasers", multiple=True, help="built-in one, or a TOML file; all built-in ones if left out")
@as_json
def carry_command(job: str, lasers: tuple[str, ...], json_: bool) -> None:
    """What a job would be with another laser: the setting to try, the time, how far inside the limits.

    Example: proofpatch carry chest.toml --laser pulsed-300
    """
    import proofpatch as pp
    from proofpatch.lasers import laser_ids
    from proofpatch.shop.elsewhere import elsewhere, elsewhere_record
    from proofpatch.shop.job import find_any_laser

    work = cli_work.read_work("recipe", job, {}, json_)
    wanted = [find_any_laser(name, field="--laser") for name in lasers or laser_ids()]
    belief = cli_work.believe(work, cli_work.patches_of(work))
    here = pp.recipe(belief, work.limits)
    rows = [elsewhere(belief, work.limits, here, one, work=work) for one in wanted if one.id != work.laser.id]
    rows.sort(key=lambda one: -one.found.there.area_rate)
    record = {"lasers": [elsewhere_record(one) for one in rows]}
    say(record, json_, lambda: carried_lines(record))
    if not any(one["setting"] for one in record["lasers"]):
        raise Answer(NO)


@click.command("would")
@argument("laser", required=True)
@argument("folder", required=False)
@as_json
def would_command(laser: str, folder: str | None, json_: bool) -> None:
    """Would this laser do? What the newest jobs of a shop would have taken with it, in hours and money.

    Example: proofpatch would pulsed-300 shop
    """
    from proofpatch.cli_memory import shop_at
    from proofpatch.shop.elsewhere import past_words
    from proofpatch.web.desk import Desk
    from proofpatch.web.elsewhere import past_of

    with shop_at(folder) as store:
        try:
            record = past_of(store, Desk(store, None), laser, waits=True)
        except InputError as error:
            raise InputError("LASER", error.problem, error.remedy) from None
    say(record, json_, lambda: past_lines(record, past_words(record)))
    if not record["compared"]:
        raise Answer(NO)


def carried_lines(record: Mapping[str, Any]) -> list[str]:
    """A job with other lasers, in words."""
    from proofpatch.cli_show import wrapped
    from proofpatch.shop.elsewhere import OWN_HAZARDS

    lines: list[str] = []
    for one in record["lasers"]:
        lines += wrapped(f"{one['because']} {one['start']}".strip())
        if one["here"] and one["there"]:
            told = f"The whole job: about {_taken(one['there'])}; with its own laser about {_taken(one['here'])}."
            lines += wrapped(told, "  ")
        lines.append("")
    return [*lines, *wrapped(OWN_HAZARDS)] if lines else wrapped("There is no other laser.")


def past_lines(record: Mapping[str, Any], said: str) -> list[str]:
    """Past jobs with another laser, in words."""
    from proofpatch.cli_show import wrapped
    from proofpatch.shop.elsewhere import OWN_HAZARDS

    lines = wrapped(f"{record['title']}: {said}")
    if record["seconds_here"] is not None:
        sums = [
            {"seconds": {"p50": record[f"seconds_{n}"]}, "cost": record[f"cost_{n}"], "currency": record["currency"]}
            for n in ("there", "here")
        ]
        lines += wrapped(f"Together about {_taken(sums[0])} in place of {_taken(sums[1])}. {record['start']}")
    for one in record["jobs"]:
        both = [_taken(one[n]) if one[n] else "no telling" for n in ("here", "there")]
        lines += wrapped(f"{one['job']}: {both[0]}; with this laser {both[1]}.", "  ")
    return lines + (wrapped(OWN_HAZARDS) if record["jobs"] else [])


def _taken(one: Mapping[str, Any]) -> str:
    from decimal import Decimal

    from proofpatch.offer.money import shown
    from proofpatch.pictures.outcomes import clock

    cost = "" if one["cost"] is None else f", {shown(Decimal(round(one['cost'])), one['currency'])}"
    return f"{clock(one['seconds']['p50'] / 3600)}{cost}"
