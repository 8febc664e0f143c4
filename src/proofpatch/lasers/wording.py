"""Findings about a laser in sentences; every figure from the finding."""

from __future__ import annotations

import calendar
import datetime
import math

from proofpatch.lasers import Laser
from proofpatch.lasers.estimate import Estimate
from proofpatch.lasers.findings import Finding
from proofpatch.lasers.lift import AGREES, CANNOT_TELL, FASTER, SLOWER
from proofpatch.lasers.trend import DRIFT, STEP
from proofpatch.lasers.watch import Watched
from proofpatch.units import show

VERDICTS = {
    AGREES: "agrees with the numbers so far",
    FASTER: "it grows faster than the numbers so far say",
    SLOWER: "it grows slower than the numbers so far say, which are kept as the careful side",
    CANNOT_TELL: "the growth lies within the reading error, so this cannot tell",
}


def interval(estimate: Estimate, kind: str, factor: float = 1.0) -> str:
    """The 90 % interval in words."""
    low, high = estimate.low * factor, estimate.high * factor
    if low <= 0 and kind != "signed":
        return "not bounded" if math.isinf(high) else f"up to {_shown(high, kind)}"
    return f"{_shown(low, kind)} or more" if math.isinf(high) else f"{_shown(low, kind)} to {_shown(high, kind)}"


def _shown(value: float, kind: str) -> str:
    if kind == "signed":
        return show(value, "length") if value >= 0 else f"-{show(-value, 'length')}"
    if kind == "factor":
        return percent(value)
    return f"{value:.3g}" if kind == "plain" else show(value, kind)


def percent(value: float) -> str:
    """A share in whole percent."""
    return f"{100 * value:.0f} %"


def sentence(finding: Finding, file: Laser) -> str:
    """What a finding says, with its interval, what it was made of, and what the file says."""
    f, day = finding.figures, finding.date.isoformat()
    made = f"from {finding.made_of}, {day}"
    if finding.kind == "power":
        share = f["power_factor"]
        return f"{percent(share.value)} of the dialled power arrives ({interval(share, 'factor')}), {made}"
    if finding.kind == "card":
        d = f["mark_diameter"]
        return f"burn card {show(d.value, 'length')} ({interval(d, 'length')}), {made}"
    if finding.kind == "growth":
        g, z = f["growth"], f["rayleigh_range"]
        grew = f"the spot grows by a factor {g.value:.3g} ({interval(g, 'plain')})"
        return f"{grew}, Rayleigh range {interval(z, 'length')}, {made}; {VERDICTS[finding.verdict]}"
    spot = f["spot_radius"]
    words = f"spot {show(2 * spot.value, 'length')} across ({interval(spot, 'length', 2)})"
    if finding.kind == "caustic":
        z = f["rayleigh_range"]
        words += (
            f", M² {f['m2'].value:.3g} ({interval(f['m2'], 'plain')}), Rayleigh range {show(z.value, 'length')} "
            f"({interval(z, 'length')}), focus {_off(f['focus'])}"
        )
        return f"{words}, {made}; the file says {show(2 * file.spot_radius, 'spot')} and M² {file.m2:.3g}"
    share = f["top_hat_share"]
    said = percent(share.value) + (f" ({interval(share, 'factor')})" if share.low < share.high else "")
    return f"{words}, read with a top-hat share of {said}, {made}; the file says {show(2 * file.spot_radius, 'spot')}"


def _off(focus: Estimate) -> str:
    if focus.holds(0.0):
        return f"where the cue shows ({interval(focus, 'signed')})"
    way = "farther than" if focus.value > 0 else "nearer than"
    return f"{show(abs(focus.value), 'length')} {way} the cue shows ({interval(focus, 'signed')})"


def advice(entry: Watched) -> str | None:
    """What to do about a fall, or None where there is none beyond the reading error.

    Never to turn up the power: a window that takes a share of it heats and may crack (common practice, no source).
    """
    course = entry.trend
    if not course.fallen:
        return None
    c, day = course.change, _day(course.since)
    by = f"{percent(-c.value)} ({percent(-c.high)} to {percent(-c.low)})"
    clean = "clean or change the protective window, then read again."
    if entry.what == "power":
        said = f"The power at the work is down {by} since {day}: {clean}"
    else:
        said = f"The mark on {entry.material} is {by} smaller than on {day}, by less power or another spot: {clean}"
    if course.shape == STEP and course.between:
        first, then = (_day(day) for day in course.between)
        return f"{said} It fell at once, between {first} and {then}, as when a window is dirtied or damaged."
    return f"{said} It fell slowly, as when a window soils or a source ages." if course.shape == DRIFT else said


def _day(date: datetime.date) -> str:
    return f"{date.day} {calendar.month_name[date.month]} {date.year}"
