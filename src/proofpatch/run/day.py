"""The start of a day: what is looked at before the first beam, what is missing still, and what stops.

A check answered with a value is judged by the value, never by the tick beside it. What was not looked at counts as
missing; nothing here is a clearance.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from proofpatch.errors import InputError
from proofpatch.lasers.readings import Reading
from proofpatch.lasers.watch import watched
from proofpatch.lasers.wording import advice, percent
from proofpatch.physics.setting import finite_number
from proofpatch.run.piece import Piece, cited, holds, table
from proofpatch.sources import Datum, cite, read_table
from proofpatch.units import ZERO_CELSIUS, show

# (lowest, highest) of what a check reads [SI]: beyond them the figure is a slip of the pen.
READS = {"share": (0.0, 1.0), "temperature": (223.15, 373.15), "speed": (0.0, 60.0), "power": (1e-2, 1e5)}
DRIEST = 1e-3  # relative humidity, under any that is read; what is drier counts as this (common practice, no source)
WATER = (17.625, 243.04)  # of (1): 1, °C


@dataclass(frozen=True)
class Check:
    """One thing to look at. reads: kind of quantity written down, or None; most: what it may be at most.

    stop: what holds until it is right. cause: where to look when it is not, or "". source: as the interface says it.
    """

    name: str
    group: str
    title: str
    ask: str
    why: str
    stop: str
    cause: str
    reads: str | None
    most: Datum | None
    source: str


@dataclass(frozen=True)
class Stop:
    """Why nobody begins. name: of the check. what: is wrong. then: what holds, and where to look."""

    name: str
    what: str
    then: str


@dataclass(frozen=True)
class Morning:
    """The state of a day. missing: not looked at yet, in order. stops: what was looked at and is not right."""

    checks: tuple[Check, ...]
    missing: tuple[Check, ...]
    stops: tuple[Stop, ...]

    @property
    def ready(self) -> bool:
        """Whether the control patch may be laid. Not a clearance."""
        return not self.missing and not self.stops

    @property
    def words(self) -> str:
        """The answer in a sentence."""
        if self.stops:
            return f"Not today as it stands. {self.stops[0].what} {self.stops[0].then}"
        if self.missing:
            count = len(self.missing)
            return f"{count} of {len(self.checks)} checks are open. Next: {self.missing[0].title}."
        return "All is looked at. Now lay a control patch at the recipe, where it shows least."


@lru_cache(maxsize=1)
def figures() -> dict[str, Datum]:
    """Every row of figures.csv by property."""
    return {row.keys["property"]: row.datum for row in read_table(Path(__file__).with_name("figures.csv"))}


def checks_of(piece: Piece) -> tuple[Check, ...]:
    """What this job has looked at before the first beam of a day, in order."""
    return tuple(_check(name, row, piece) for name, row in table("checks.toml").items() if holds(row, piece))


def _check(name: str, row: Mapping[str, Any], piece: Piece) -> Check:
    ask = row["ask"]
    if name == "focus" and piece.focus_cue:
        ask = " ".join((ask, f"This head: {piece.focus_cue.rstrip('.')}."))
    most = figures()[row["most"]] if "most" in row else None
    return Check(
        name, row["group"], row["title"], ask, row["why"], row["stop"], row.get("cause", ""), row.get("reads"), most,
        cited(row),
    )  # fmt: skip


def bounds_of(check: Check, reads: str) -> tuple[float, float]:
    """(lowest, highest) figure of a check that reads such a kind [SI]; of air there is a driest."""
    low, high = READS[reads]
    return (DRIEST if check.name == "humidity" else low), high


def read_answer(piece: Piece, name: str, ok: Any, value: Any = None) -> dict[str, Any]:
    """An answer to a check as the day keeps it: {"ok", "value"}; a value decides for itself.

    Args:
        name: of a check of this piece. ok: true, false, or None for not looked at. value: in SI, where it reads one.

    Raises:
        InputError: no such check, no such answer, or a value that none can be.
    """
    check = next((one for one in checks_of(piece) if one.name == name), None)
    if check is None:
        raise InputError("check", f"There is no check {str(name)[:40]!r} today.", "Take one of the list.")
    if ok is not None and not isinstance(ok, bool):
        raise InputError("ok", "The answer is neither yes nor no.", "Say yes, no, or leave it open.")
    if value is None:
        return {"ok": ok, "value": None}
    if check.reads is None:
        raise InputError("value", f"{check.title} is looked at, not measured.", "Say yes or no.")
    low, high = bounds_of(check, check.reads)
    number = finite_number("value", check.title, value, -math.inf, math.inf, "")
    if not low <= number <= high:
        said, lowest, highest = (show(one, check.reads) for one in (number, low, high))
        raise InputError(
            "value", f"{check.title}: {said} is outside {lowest} to {highest}.", "Check the value and its unit."
        )
    if check.most is not None:
        return {"ok": number <= check.most.value and ok is not False, "value": number}
    # A reading that is held against others (power, temperatures) says by itself that it was looked at.
    return {"ok": True if ok is None else ok, "value": number}


def morning(
    piece: Piece, answers: Mapping[str, Mapping[str, Any]], readings: Iterable[Reading] = (),
    on: datetime.date | None = None,
) -> Morning:  # fmt: skip
    """What is missing and what stops.

    Args:
        answers: {name of a check: {"ok", "value", …}} as the day keeps them.
        readings: of the laser, all of them. on: the day; with it a power reading or burn card of that day answers the
            power check: a fall stops whatever the tick says, and a no stays no. A value of the check counts as such a
            reading, at the dial of `piece`.
    """
    checks = checks_of(piece)
    given = {name: dict(answer) for name, answer in answers.items()}
    stops = [Stop("survey-settled", said, "No beam before it is settled.") for said in piece.open_gates]
    read, fallen = _power(piece, given.get("power", {}).get("value"), list(readings), on)
    if read or fallen:
        said = given.get("power", {})
        given["power"] = {**said, "ok": fallen is None and said.get("ok") is not False}
    missing = []
    for check in checks:
        answer = given.get(check.name, {})
        ok, value = answer.get("ok"), answer.get("value")
        if check.most is not None and value is not None:
            ok = bool(ok) and value <= check.most.value
        if ok is None:
            missing.append(check)
        elif not ok:
            stops.append(fallen if check.name == "power" and fallen else _stopped(check, value))
    return Morning(checks, tuple(missing), (*stops, *_damp(given)))


def _power(
    piece: Piece, value: float | None, readings: list[Reading], on: datetime.date | None
) -> tuple[bool, Stop | None]:
    """(whether the power was read today, what stops): against the history, and without one against the dial."""
    if on is None:
        return False, None
    past = [one for one in readings if one.date <= on]
    today = [one for one in past if one.date == on and (one.power or one.cards)]
    if value is not None and piece.power is not None and not any(one.power for one in today):
        try:
            today.append(Reading(on, power=((piece.power, value),)))
        except InputError as error:  # no beam of that dial
            return True, Stop("power", error.problem, f"{error.remedy} {_row('power')['stop']}")
        past.append(today[-1])
    fallen = power_stop(past, on)
    alone = not any(one.power or one.cards for one in past if one.date < on)
    if fallen is None and alone and piece.power is not None and value is not None:
        fallen = power_below(value, piece.power)
    return bool(today), fallen


def power_falls(piece: Piece, value: float, readings: Iterable[Reading], on: datetime.date | None) -> bool:
    """Whether this power at the work [W], read that day at the dial of `piece`, would stop the day."""
    return _power(piece, value, list(readings), on)[1] is not None


def _stopped(check: Check, value: float | None) -> Stop:
    what = f"{check.title}: not right."
    if check.most is not None and value is not None and check.reads and value > check.most.value:
        most = show(check.most.value, check.reads)
        what = f"{check.title}: {show(value, check.reads)}, and {most} is the most ({cite(check.most)})."
    return Stop(check.name, what, f"{check.stop} {check.cause}".strip())


def _damp(given: Mapping[str, Mapping[str, Any]]) -> tuple[Stop, ...]:
    """The stop of metal too near the dew point, once all three figures are there."""
    air, humidity, metal = (given.get(name, {}).get("value") for name in ("air", "humidity", "metal"))
    if air is None or humidity is None or metal is None:
        return ()
    above, least = metal - dew_point(air, max(humidity, DRIEST)), figures()["above_dew"]
    if above >= least.value:
        return ()
    what = f"The metal is {above:.1f} °C above the dew point, and {least.value:g} °C is the least ({cite(least)})."
    return (Stop("metal", what, table("checks.toml")["metal"]["stop"]),)


def dew_point(temperature: float, humidity: float) -> float:
    """Dew point of air.

        T_d = c γ/(b − γ),   γ = ln h + b t/(c + t),   b = 17.625, c = 243.04 °C        (1)

    Args:
        temperature: of the air [K], t in °C. humidity: h, relative, above 0 [1].

    Returns:
        T_d [K]; above −40 to 50 °C within 0.4 K.

    Raises:
        InputError: a figure that no air has.

    Source: Alduchov & Eskridge, J. Appl. Meteorol. 35 (1996) 601 (coefficients from memory).
    """
    kelvin = finite_number("temperature", "The air temperature", temperature, *READS["temperature"], "K")
    h = finite_number("humidity", "The humidity", humidity, DRIEST, 1.0, "")
    (b, c), t = WATER, kelvin - ZERO_CELSIUS
    gamma = math.log(h) + b * t / (c + t)
    return c * gamma / (b - gamma) + ZERO_CELSIUS  # (1)


def power_stop(readings: Iterable[Reading], on: datetime.date) -> Stop | None:
    """The stop of a power reading or burn card of that day that fell below the laser's history beyond its error.

    A reading alone has no history: then nothing is compared, and nothing stopped here.
    """
    for entry in watched(readings):
        said = advice(entry)
        if entry.trend.latest == on and said:
            return Stop("power", said, f"{_row('power')['stop']} {_row('power')['cause']}")
    return None


def power_below(measured: float, dialled: float) -> Stop | None:
    """The stop of one reading without any history, against what the dial says.

    Raises:
        InputError: a power that none is.
    """
    got = finite_number("measured", "The power measured", measured, *READS["power"], "W")
    asked = finite_number("dialled", "The power dialled", dialled, *READS["power"], "W")
    least = figures()["power_share"]
    if got >= least.value * asked:
        return None
    what = f"{percent(got / asked)} of the dialled power arrives; under {percent(least.value)} ({cite(least)}) stops."
    return Stop("power", what, f"{_row('power')['stop']} {_row('power')['cause']}")


def _row(name: str) -> Mapping[str, Any]:
    return table("checks.toml")[name]
