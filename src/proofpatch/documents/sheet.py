"""The printed frame of a strip: laid round its patches for the photo, with what to dial in on its second page."""

from __future__ import annotations

import datetime
import json
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import cv2
import typst

from proofpatch.cli_show import KNOB_WORDS, pace_words
from proofpatch.documents.survey import FONTS, breakable
from proofpatch.errors import InputError
from proofpatch.photos.flat import Box
from proofpatch.photos.frame import MM, MODULES, OVERLAP, RULER, Frame, Marker
from proofpatch.photos.light import to_srgb
from proofpatch.shop.by_photo import sheet_of
from proofpatch.shop.settings import PAPERS
from proofpatch.units import show

TEMPLATE = Path(__file__).with_name("sheet.typ")
HAIRLINE = 0.02  # mm that two black modules of a marker share, so that no printer leaves a gap between them
KNOBS = (
    "average_power_W", "repetition_rate_Hz", "pulse_width_s", "spot_radius_m", "sweep_width_m", "sweep_speed_m_s",
    "travel_speed_m_s",
)  # fmt: skip
ALWAYS_SAID = ("average_power_W", "travel_speed_m_s")  # of a strip whose steps are all alike
LONGEST_TITLE = 60
STOP = (
    "Stop: paper burns. Lay this sheet only when the beam is off and locked out, the piece is cool to the hand and "
    "the dust is wiped off. Take it away before the beam is on again."
)
DUST = (
    "Take dust off with a damp cloth or with the extraction running. Never brush or blow it dry.",
    "What the dust holds, the cloth and a soiled sheet hold too: bag them with the waste of this job.",
    "The same eyes, gloves and mask as the hazards page asks for, until the dust is gone.",
)


def sheet_pdf(
    steps: Sequence[tuple[str, Mapping[str, Any]]], strip: str, title: str, code: str, paper: str = "us-letter",
    day: datetime.date | None = None,
) -> bytes:  # fmt: skip
    """Two pages of PDF: the frame true to scale, and what to dial in.

    Args:
        steps: (name, setting) of each step in order, 1 to 12; settings as in the records. strip: its name.
        title, code: of the job. paper: a4 or us-letter. day: on it; None: today.

    Raises:
        InputError: no or too many steps, or another paper.
    """
    return bytes(typst.compile(str(TEMPLATE), format="pdf", sys_inputs=_inputs(steps, strip, title, code, paper, day),
                               **FONTS))  # fmt: skip


def frame_for(steps: Sequence[tuple[str, Mapping[str, Any]]], paper: str = "us-letter") -> Frame:
    """The frame that `sheet_pdf` prints for these steps: windows narrower than the narrowest sweep. Errors as there."""
    return sheet_of([setting for _, setting in steps], paper)


def modules(marker: int) -> list[list[int]]:
    """The black of a marker as upright bars [row, first column, columns], in modules from its upper left."""
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    drawn = cv2.aruco.generateImageMarker(family, marker, MODULES)
    bars = []
    for row, line in enumerate(drawn < 128):
        ends = [n for n in range(MODULES + 1) if (n < MODULES and line[n]) != (n > 0 and line[n - 1])]
        bars += [[row, first, end - first] for first, end in zip(ends[::2], ends[1::2], strict=True)]
    return bars


def _inputs(
    steps: Sequence[tuple[str, Mapping[str, Any]]], strip: str, title: str, code: str, paper: str,
    day: datetime.date | None,
) -> dict[str, str]:  # fmt: skip
    if paper not in PAPERS:
        raise InputError("paper", f"The paper {paper!r} is not known.", f"Use one of: {', '.join(PAPERS)}.")
    if not steps:
        raise InputError("steps", "There is no step to print.", "Plan a strip first.")
    found, day = frame_for(steps, paper), day or datetime.date.today()
    settings = [setting for _, setting in steps]
    differing = [key for key in KNOBS if len({one[key] for one in settings}) > 1]
    passes = len({one["passes"] for one in settings}) > 1
    said = differing or ([] if passes else [*ALWAYS_SAID])
    across, along = (show(math.ceil((size + 2 * OVERLAP) / MM - 1e-6) * MM, "length") for size in _largest(found))
    alike = [_said(key, settings[0]) for key in KNOBS if key not in differing]
    data = {
        "paper": paper, "strip": strip, "title": _short(title), "code": code, "day": day.isoformat(),
        "date": [day.year, day.month, day.day], "stop": STOP, "dust": list(DUST), "frame": _drawn(found),
        "labels": [[name, ", ".join([*(_said(key, one) for key in said), *_passes(one, passes)])]
                   for name, one in steps],
        "alike": [*alike, *([] if passes else _passes(settings[0], True))],
        "heads": ["step", *(_name(key) for key in differing), *(["passes"] if passes else []), "pace"],
        "rows": [[name, *(_value(key, one) for key in differing), *([str(one["passes"])] if passes else []),
                  pace_words(one)] for name, one in steps],
        "patch": f"{across} by {along}", "overlap": show(OVERLAP, "length"), "ruler": f"{RULER / MM:.0f} mm",
    }  # fmt: skip
    return {"data": json.dumps(breakable(data))}


def _short(title: str) -> str:
    return title if len(title) <= LONGEST_TITLE else f"{title[: LONGEST_TITLE - 1].rstrip()}…"


def _largest(found: Frame) -> tuple[float, float]:
    return max(one.box.width for one in found.windows), max(one.box.height for one in found.windows)


def _name(key: str) -> str:
    return KNOB_WORDS[key][0].replace("radius", "diameter").replace("hand speed", "hand")


def _value(key: str, setting: Mapping[str, Any]) -> str:
    kind = KNOB_WORDS[key][1]
    return show(2 * setting[key], "spot") if key == "spot_radius_m" else show(setting[key], kind)


def _said(key: str, setting: Mapping[str, Any]) -> str:
    return f"{_name(key)} {_value(key, setting)}"


def _passes(setting: Mapping[str, Any], wanted: bool) -> list[str]:
    return [f"{setting['passes']} pass{'es' if setting['passes'] != 1 else ''}"] if wanted else []


def _drawn(found: Frame) -> dict[str, Any]:
    """The frame in millimetres."""
    return {
        "width": found.width / MM, "height": found.height / MM,
        "markers": [_marker(one) for one in found.markers],
        "windows": [{"cut": _mm(one.box), "label": _mm(one.label)} for one in found.windows],
        "untouched": _mm(found.untouched), "bare": _mm(found.bare),
        "greys": [[*_mm(one.box), _tone(one.reflectance)] for one in found.greys],
        "ruler": _mm(found.ruler), "notes": _mm(found.notes) if found.notes else None,
    }  # fmt: skip


def _marker(one: Marker) -> list[list[float]]:
    """Its bars [left, top, width, height] in mm; no bar reaches past the marker's own edge."""
    left, top, width, _ = _mm(one.box)
    module = width / MODULES
    return [
        [left + first * module, top + row * module, count * module,
         module + (HAIRLINE if row < MODULES - 1 else 0.0)]
        for row, first, count in modules(one.id)
    ]  # fmt: skip


def _mm(box: Box | None) -> list[float]:
    assert box is not None
    return [box.left / MM, box.top / MM, box.width / MM, box.height / MM]


def _tone(reflectance: float) -> float:
    """The share of full white of an sRGB grey that throws back so much (IEC 61966-2-1)."""
    return float(to_srgb(reflectance))
