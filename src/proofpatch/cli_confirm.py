"""The command that puts on record what a piece of the shop turned out to be."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any

import click

from proofpatch.cli_answer import NO, Answer, as_json, say
from proofpatch.cli_folder import job_named
from proofpatch.cli_memory import shop_at
from proofpatch.cli_read import argument
from proofpatch.cli_show import listed, wrapped
from proofpatch.cli_store import said_of
from proofpatch.errors import InputError
from proofpatch.shop.confirmed import (
    HOW,
    KIND,
    bring_back,
    confirm,
    confirmed_from,
    confirmed_of,
    history_of,
    taken_back,
)
from proofpatch.shop.store import Store

FIELDS = ("finish", "ground", "how", "test", "who", "day")
NOTHING = "Nothing is on record of what it turned out to be."


@click.command("confirm")
@argument("job", required=True)
@click.option("--finish", help="what it turned out to be: an id as the survey names them, or unlisted")
@click.option("--ground", help="what lay under it, where somebody looked: an id")
@click.option("--how", type=click.Choice(list(HOW)), help="how it is known")
@click.option("--test", help="with --how 'spot test': which one decided")
@click.option("--who", help="who knows it")
@click.option("--day", help="of the record or the test, like 2026-03-11; today if left out")
@click.option("--take-back", "back", is_flag=True, help="take the record back")
@click.option("--bring-back", "again", is_flag=True, help="the record that was taken back stands again")
@click.option("--folder", help="of the shop; shop if left out")
@as_json
def confirm_command(job: str, folder: str | None, back: bool, again: bool, json_: bool, **given: str | None) -> None:
    """What a piece turned out to be, after the fact. JOB: its id, or words of its title. It settles no hazard.

    Example: proofpatch confirm "chest lid" --finish shellac --how laboratory --who "A. Reed" --folder shop
    """
    fields = {name: f"--{name}" for name in FIELDS}
    with shop_at(folder) as store, said_of({"job": "JOB", KIND: "JOB", **fields}):
        key = job_named(store, job).id
        _change(store, key, {name: value for name, value in given.items() if value is not None}, back, again)
        record = _record(store, key)
    say(record, json_, lambda: _lines(record))
    if record["confirmed"] is None and not back:
        raise Answer(NO)


def _change(store: Store, key: str, given: Mapping[str, str], back: bool, again: bool) -> None:
    """What the options ask for; without any nothing is changed."""
    if back + again + bool(given) > 1:
        raise InputError("--take-back", "Two things are asked for at once.", "Ask for one after the other.")
    now, gone = confirmed_of(store, key), taken_back(store, key)
    if back:
        if now is None:
            raise InputError("--take-back", NOTHING, "There is nothing to take back.")
        store.delete(KIND, now.id, now.version)
    elif again:
        if gone is None:
            raise InputError("--bring-back", "Nothing was taken back.", "Put it on record anew.")
        bring_back(store, key, gone.id, gone.version)
    elif given:
        data = {"day": datetime.date.today().isoformat(), **given}
        confirm(store, key, data, now.version if now else 0, given.get("who", ""))


def _record(store: Store, key: str) -> dict[str, Any]:
    now = confirmed_of(store, key)
    past = [{**row, "at": row["at"].isoformat()} for row in history_of(store, key)]
    return {"job": key, "confirmed": dict(now.data) if now else None, "history": past,
            "because": confirmed_from(now.data).said if now else NOTHING}  # fmt: skip


def _lines(record: Mapping[str, Any]) -> list[str]:
    rows = [
        f"{row['at'][:10]}, {row['what']}{', ' + row['by'] if row['by'] else ''}. {row['said']}"
        for row in record["history"]
    ]
    return wrapped(record["because"]) + listed("What was said of it:", rows)
