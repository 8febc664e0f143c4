"""The recipe as a card to hang beside the work."""

from __future__ import annotations

import datetime
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import typst

from proofpatch.cli_show import KNOB_WORDS, setting_words
from proofpatch.documents.survey import FONTS, breakable
from proofpatch.errors import InputError
from proofpatch.learn.surface import Layer
from proofpatch.materials import coating, substrate
from proofpatch.phrases import chance_words, raised
from proofpatch.shop.job import Job
from proofpatch.shop.settings import PAPERS
from proofpatch.units import show

TEMPLATE = Path(__file__).with_name("card.typ")
SHOWN = ("average_power_W", "repetition_rate_Hz", "pulse_width_s", "sweep_width_m", "travel_speed_m_s")
UNCONFIRMED = "Stop: not confirmed. Lay one patch at this very setting before the piece."
SIZES = (12.5, 11.75, 11.0, 10.25, 9.5)  # pt, the largest that fits one page
MOST_COATINGS = 3  # named of one coat


def card_pdf(
    record: Mapping[str, Any], margins: Sequence[str], work: Job, title: str, unguarded: str | None, paper: str = "a4",
    day: datetime.date | None = None,
) -> bytes:  # fmt: skip
    """One page of PDF.

    Args:
        record: of `records.recipe_record`, with a setting. margins: of `cli_show.margin_words`. work: the job.
        title: of it, as it heads the page. unguarded: why nobody may start as it is described, or None.
        paper: a4 or us-letter. day: on it; None: today.

    Raises:
        InputError: another paper, or there is no recipe.
    """
    if paper not in PAPERS:
        raise InputError("paper", f"The paper {paper!r} is not known.", f"Use one of: {', '.join(PAPERS)}.")
    if record["setting"] is None:
        raise InputError("recipe", "There is no recipe to print.", "Lay test patches first.")
    setting, day = record["setting"], day or datetime.date.today()
    rooms = dict(line.split(": ", 1) for line in margins)
    knobs = [_knob(KNOB_WORDS[key][0], show(setting[key], KNOB_WORDS[key][1]), rooms) for key in SHOWN]
    # Passes are work to do, not a knob to leave.
    in_turn = "lay them one after another" if setting["passes"] > 1 else ""
    knobs.append(_knob("passes", str(setting["passes"]), {"passes": in_turn}))
    focus = rooms.get("stand-off", "hold it in focus").removeprefix("none: ")
    data = {
        "paper": paper, "title": title, "day": day.isoformat(), "date": [day.year, day.month, day.day], "knobs": knobs,
        "laser": work.laser.title, "surface": _surface(work),
        "held": [
            ["Spot", show(2 * setting["spot_radius_m"], "spot")],
            ["Sweep speed", f"{show(setting['sweep_speed_m_s'], 'speed')} along the line"],
            ["Stand-off", f"{show(work.laser.handpiece.stand_off, 'length')}; {focus}"],
        ],
        "stops": [*([] if record["confirmed"] else [UNCONFIRMED]), *([unguarded] if unguarded else [])],
        "chances": f"Clean {chance_words(record['p_clean'])}, harm {chance_words(record['p_harm'])} of the finished "
        f"surface under your hand, {show(record['area_rate_m2_s'], 'area rate')} beam on.",
        "because": f"{record['because']} {record['binds']}", "cautions": list(record["cautions"]),
        "gentler": setting_words(record["gentler"]) if record["gentler"] else "",
    }  # fmt: skip
    for size in SIZES:
        inputs = {"data": json.dumps(breakable({**data, "size": size}))}
        pages = typst.compile(str(TEMPLATE), format="svg", sys_inputs=inputs, **FONTS)
        if isinstance(pages, bytes) or len(pages) == 1:
            break
    return bytes(typst.compile(str(TEMPLATE), format="pdf", sys_inputs=inputs, **FONTS))


def _surface(work: Job) -> str:
    """The coats, top first, over the substrate, and who says so."""
    coats = " over ".join(_coat(one) for one in work.surface.coats)
    said = "as the survey has it" if work.surveyed else "as described"
    return f"{raised(coats)} on {substrate(work.surface.substrate).title.lower()}, {said}"


def _coat(coat: Layer) -> str:
    likeliest = sorted(coat.shares, key=lambda key: -coat.shares[key])
    names = [coating(key).title.lower() for key in likeliest[:MOST_COATINGS]]
    return " or ".join([*names, *(["another"] if len(likeliest) > MOST_COATINGS else [])])


def _knob(name: str, said: str, rooms: Mapping[str, str]) -> dict[str, str]:
    value, _, unit = said.partition(" ")
    return {"name": name.capitalize(), "value": value, "unit": unit, "room": rooms.get(name, "leave it")}
