"""What each version of a job came to, kept: its answers, what the list says of it, the belief from patch to patch."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Mapping
from typing import Any

from proofpatch.bench_levels import levels
from proofpatch.learn.forecast import Window
from proofpatch.learn.rows import setting_rows
from proofpatch.physics.sweep import mean_dose
from proofpatch.shop.foretold import keep_foretold
from proofpatch.shop.log import setting_from, setting_to
from proofpatch.shop.sites import keep_site
from proofpatch.shop.starts import keep_start
from proofpatch.shop.store import Entry, Overtaken, Store, plain
from proofpatch.shop.strips import strips_of
from proofpatch.shop.took import keep_took
from proofpatch.web.road import BEGUN, DONE, STOPPED, TO_DO, Road


def keep(store: Store, found: Road) -> None:
    """What a version of a job came to, as it was then; and what the list says of it."""
    entry = found.entry
    strips = strips_of(store, entry.id, found.patches) if found.closed is None else []
    due = strips[-1].due if strips else ()
    then, at = found.next, "survey"
    if found.closed is None and not found.declined:
        if due and not (found.best and found.best.confirmed):
            then, at = f"Lay and grade {due[0].name}", "patches"
        elif found.best is not None:
            at = "recipe" if found.best.confirmed else "patches"
        if (due or found.best is not None) and found.unguarded:
            then, at = "Cover the hazards first", "hazards"
        then, at = _last(found) or (then, at)
    about = {
        "version": entry.version, "laser": found.laser, "next": then[:80], "at": at,
        "states": [one.state for one in found.steps], "found": found.steps[0].finding[:60],
    }  # fmt: skip
    answers: dict[str, dict[str, Any]] = {
        "survey": {"record": found.survey, "stop": found.stop}, "forecast": {"record": found.forecast},
        "hazards": {"record": found.hazards},
    }  # fmt: skip
    if found.window is not None:
        answers["belief"] = _belief(store, found, found.window)
        keep_start(store, entry, found.window.belief)
        keep_site(store, entry, found.window.belief)
        keep_foretold(store, entry, found.window.belief, found.laid)
        if found.work is not None and any(one.name == "run" and one.state == DONE for one in found.steps):
            keep_took(store, entry, found.work, found.window.belief)
    for kind, answer in answers.items():
        data = {**answer, "job_version": entry.version, "laser_version": found.laser}
        title, earlier = json.dumps(about), store.all(kind, entry.id, most=1)
        if not earlier:
            store.add(kind, data, entry.id, title)
        elif (earlier[0].data, earlier[0].title) != (plain(data), title):
            # Computed from the job itself: whoever writes last or first, the next change writes it anew.
            with contextlib.suppress(Overtaken):
                store.change(kind, earlier[0].id, earlier[0].version, data, title)


def _last(found: Road) -> tuple[str, str] | None:
    """(what is next, its step) from the first zone on; None before, or where nobody may go on.

    A record that was written or signed ends the job though a zone stayed as it is: it says so itself.
    """
    run, record = (next(one for one in found.steps if one.name == name) for name in ("run", "record"))
    said = {STOPPED: "Look at the record", DONE: "The record is signed", BEGUN: "Have the record signed"}
    if record.state in said:
        return said[record.state], "record"
    if run.state == DONE:
        return "Write the record", "record"
    return None if found.unguarded or run.state == TO_DO else ("Go on with the run", "run")


def _belief(store: Store, found: Road, window: Window) -> dict[str, Any]:
    """What is believed after these patches, at one setting of the job that stays the same."""
    earlier = store.all("belief", found.entry.id, most=1)
    reference = earlier[0].data["reference"] if earlier else setting_to(window.settings[window.best])
    setting = setting_from(reference)
    row = setting_rows([setting], window.belief.laser)[0]
    dose = mean_dose(setting.average_power, setting.sweep_width, setting.travel_speed)
    return {
        "patches": [one.id for one in (*found.patches, *found.seen)], "chance": window.chance, "reference": reference,
        "levels": levels(window.belief, row, float(dose)), "effective_draws": window.belief.effective_draws,
    }  # fmt: skip


def beliefs(store: Store, found: Road) -> list[tuple[Entry | None, Mapping[str, Any]]]:
    """(patch, what was believed after it) from before any to the last one; what was never computed is left out."""
    kept = store.all("belief", found.entry.id, most=1)
    past = [one.data for one in store.history("belief", kept[0].id)] if kept else []
    ids = [one.id for one in found.patches]
    rows: list[tuple[Entry | None, Mapping[str, Any]]] = []
    for count in range(len(ids) + 1):
        said = [data for data in past if data["patches"] == ids[:count] and data["reference"] == past[-1]["reference"]]
        if said:
            rows.append((found.patches[count - 1] if count else None, said[-1]))
    return rows
