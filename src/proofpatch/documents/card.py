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
from proofpatch.shop.settings import PAPERS
from proofpatch.survey.identify import chance_words
from proofpatch.units import show

TEMPLATE = Path(__file__).with_name("card.typ")
SHOWN = ("average_power_W", "repetition_rate_Hz", "pulse_width_s", "sweep_width_m", "travel_speed_m_s")
UNCONFIRMED = "Stop: not confirmed. Lay one patch at this very setting before the piece."
UNCOVERED = "Stop: as described no protection covers this job: do not start."


def card_pdf(
    record: Mapping[str, Any], margins: Sequence[str], title: str, covered: bool, paper: str = "a4",
    day: datetime.date | None = None,
) -> bytes:  # fmt: skip
    """One page of PDF.

    Args:
        record: of `records.recipe_record`, with a setting. margins: of `cli_show.margin_words`. title: of the job.
        covered: whether the protection described covers the job. paper: a4 or us-letter. day: on it; None: today.

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
    knobs.append(_knob("passes", str(setting["passes"]), rooms))
    data = {
        "paper": paper, "title": title, "day": day.isoformat(), "date": [day.year, day.month, day.day], "knobs": knobs,
        "stops": [*([] if record["confirmed"] else [UNCONFIRMED]), *([] if covered else [UNCOVERED])],
        "chances": f"Clean {chance_words(record['p_clean'])}, harm {chance_words(record['p_harm'])} of the finished "
        f"surface under your hand, {show(record['area_rate_m2_s'], 'area rate')} beam on. "
        f"Stand-off {rooms.get('stand-off', 'in focus')}.",
        "because": f"{record['because']} {record['binds']}", "cautions": list(record["cautions"]),
        "gentler": setting_words(record["gentler"]) if record["gentler"] else "",
    }  # fmt: skip
    inputs = {"data": json.dumps(breakable(data))}
    return bytes(typst.compile(str(TEMPLATE), format="pdf", sys_inputs=inputs, **FONTS))


def _knob(name: str, said: str, rooms: Mapping[str, str]) -> dict[str, str]:
    value, _, unit = said.partition(" ")
    return {"name": name.capitalize(), "value": value, "unit": unit, "room": rooms.get(name, "leave it")}
