"""The records and the text of `proofpatch measure-laser`, and of the history in `proofpatch lasers`."""

from __future__ import annotations

import shlex
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from proofpatch.cli_readings import at_flag, read_measurement
from proofpatch.cli_show import cautions_of, listed, wrapped
from proofpatch.hazards import CAUTIONS
from proofpatch.lasers import Laser
from proofpatch.lasers.estimate import Estimate
from proofpatch.lasers.findings import Finding
from proofpatch.lasers.history import Course, follow
from proofpatch.lasers.lift import CANNOT_TELL
from proofpatch.lasers.plan import plan
from proofpatch.lasers.readings import Reading
from proofpatch.lasers.watch import watched
from proofpatch.lasers.wording import advice, sentence
from proofpatch.phrases import raised
from proofpatch.shop.job import find_any_laser
from proofpatch.shop.laser_log import Own, append_reading, course_of, read_readings, readings_path
from proofpatch.shop.log import stamp
from proofpatch.units import show

# figure of a finding -> (its key in a record, factor to it)
FIGURES = {
    "spot_radius": ("spot_diameter_m", 2.0), "threshold_energy": ("threshold_energy_J", 1.0),
    "threshold_fluence": ("threshold_fluence_J_m2", 1.0), "top_hat_share": ("top_hat_share", 1.0), "m2": ("m2", 1.0),
    "rayleigh_range": ("rayleigh_range_m", 1.0), "focus": ("focus_lift_m", 1.0), "growth": ("growth", 1.0),
    "power_factor": ("power_factor", 1.0), "mark_diameter": ("mark_diameter_m", 1.0),
    "pulse_energy": ("pulse_energy_J", 1.0),
}  # fmt: skip
# What a reading can change: words, key, kind of quantity, and where it stands.
NUMBERS: tuple[tuple[str, str, str, Callable[[Laser], float]], ...] = (
    ("spot", "spot_diameter_m", "length", lambda laser: 2 * laser.spot_radius),
    ("M²", "m2", "plain", lambda laser: laser.m2),
    ("top-hat share", "top_hat_share", "share", lambda laser: laser.top_hat_share),
    ("stand-off", "stand_off_m", "length", lambda laser: laser.handpiece.stand_off),
    ("share of the dialled power that arrives", "power_factor", "share", lambda laser: laser.power_factor),
)
RANGES = "Ranges in brackets hold 9 times in 10; those from marks if the beam has the profile they are read with."


@dataclass(frozen=True)
class Answered:
    """A record, the lines that show it, and whether it says anything."""

    record: dict[str, Any]
    lines: Callable[[], list[str]]
    told: bool


def read_own(name: str, field: str) -> Own:
    """The laser of that id or file with its readings.

    Raises:
        InputError: there is none, or its readings cannot be believed.
    """
    laser = find_any_laser(name, field=field, measured=False)
    if not name.endswith(".toml"):
        return Own(laser, Course(laser, ()), kept=False)
    path = readings_path(Path(name))
    readings, complaints = read_readings(path)
    return Own(laser, course_of(laser, readings, path), tuple(readings), path, tuple(complaints))


def with_reading(own: Own, reading: Reading) -> Own:
    """The same laser after one more reading.

    Raises:
        InputError: the reading says nothing, or contradicts the others; `field` is the list it stands in.
    """
    readings = (*own.readings, reading)
    return replace(own, readings=readings, course=follow(own.file, readings))


def figure_record(estimate: Estimate, factor: float) -> dict[str, float | None]:
    """Value, low and high; an end that nothing bounds is null."""
    times = estimate.times(factor)
    ends = {"value": times.value, "low": times.low, "high": times.high}
    return {key: value if abs(value) < float("inf") else None for key, value in ends.items()}


def finding_record(finding: Finding, file: Laser) -> dict[str, Any]:
    """What one day's readings say of one thing."""
    figures = {FIGURES[name][0]: figure_record(found, FIGURES[name][1]) for name, found in finding.figures.items()}
    head: dict[str, Any] = {"date": finding.date.isoformat(), "kind": finding.kind, "because": sentence(finding, file)}
    if finding.verdict:
        head["verdict"] = finding.verdict
    return head | figures


def history_record(own: Own) -> dict[str, Any]:
    """What `proofpatch lasers` adds for a laser of one's own: its readings by date, and what to do."""
    if not own.kept:
        return {}
    todo = advices(own.readings)
    record: dict[str, Any] = {
        "measured": list(own.course.laser.measured),
        "readings": [finding_record(finding, own.file) for finding in own.course.findings],
        "advice": todo,
    }
    return record | ({"cautions": list(CAUTIONS)} if todo else {})


def advices(readings: Iterable[Reading]) -> list[str]:
    """A sentence for each thing that has fallen."""
    return [said for entry in watched(readings) if (said := advice(entry)) is not None]


def history_lines(record: Mapping[str, Any]) -> list[str]:
    """The history in text, the newest first."""
    if not record:
        return []
    lines = [line for said in record["advice"] for line in ("", *wrapped(said))]
    lines += listed("Measured, and used in forecasts:", record["measured"])
    read = newest_first(record)
    lines += listed("All readings, newest first:", read)
    lines += ["", *wrapped(RANGES)] if read else []
    return lines + (cautions_of(record) if record["advice"] else [])


def newest_first(record: Mapping[str, Any]) -> list[str]:
    """What each day's readings said, the newest first."""
    return [one["because"] for one in sorted(record["readings"], key=lambda one: one["date"], reverse=True)]


def measured(name: str, given: Mapping[str, Any], warn: Callable[[str], None]) -> Answered:
    """The reading of the options, kept beside the laser's file if it tells something; without one, what to lay.

    Raises:
        InputError: an option, or a reading, that cannot be used; nothing is written.
    """
    own = read_own(name, "LASER")
    for complaint in own.complaints:
        warn(complaint)
    reading = read_measurement(given)
    if reading is None:
        laser = own.course.laser
        plan_ = plan_record(laser)
        return Answered(plan_, lambda: plan_lines(plan_, laser, name), True)
    with at_flag():
        after = with_reading(own, reading)
    record = measured_record(own, after, reading)
    told = tells(record)
    if own.path is not None and told:
        append_reading(own.path, reading, stamp())
        record["written"] = str(own.path)
    return Answered(record, lambda: measured_lines(record, after, told), told)


def measured_record(before: Own, after: Own, reading: Reading) -> dict[str, Any]:
    """What one more reading taught; `written` is set where it is kept."""
    old, new = before.course.laser, after.course.laser
    changed = {key: {"before": of(old), "after": of(new)} for _, key, _, of in NUMBERS if of(old) != of(new)}
    earlier, findings = list(before.course.findings), []
    for finding in after.course.findings:
        if finding in earlier:
            earlier.remove(finding)
        elif finding.date == reading.date:
            findings.append(finding_record(finding, after.file))
    return {
        "laser": after.file.id,
        "written": None,
        "findings": findings,
        "changed": changed,
        "because": " ".join([*(raised(f["because"]) + "." for f in findings), _change(changed, after)]),
        "advice": advices(after.readings),
        "cautions": list(CAUTIONS),
    }


def tells(record: Mapping[str, Any]) -> bool:
    """Whether a reading taught anything; one that does not is not kept."""
    return any(finding.get("verdict") != CANNOT_TELL for finding in record["findings"])


def untold(laser: Laser) -> str:
    """Why a reading is not kept, and how to lay one that tells."""
    more = show(1.5 * laser.rayleigh_range, "length")
    return f"Not kept: it tells nothing. Lift by {more} or so, and lay three marks in each place."


def _change(changed: Mapping[str, Any], after: Own) -> str:
    """What forecasts take now."""
    if not changed:
        return "Forecasts take the same numbers as before."
    words = [
        f"{name} {figure_words(changed[key]['after'], kind)} instead of {figure_words(changed[key]['before'], kind)}"
        for name, key, kind, _ in NUMBERS
        if key in changed
    ]
    who = "Forecasts with this laser now take" if after.kept else "Forecasts would take"
    return f"{who} {' and '.join(words)}."


def figure_words(value: float, kind: str) -> str:
    """A figure of `NUMBERS` as people read it."""
    return f"{value:.3g}" if kind == "plain" else show(value, kind)


def measured_lines(record: Mapping[str, Any], own: Own, told: bool) -> list[str]:
    """The answer, where it was written, what to do."""
    lines = [*wrapped(record["because"]), *wrapped(RANGES)]
    if not told:
        lines += wrapped(untold(own.course.laser))
    elif record["written"]:
        lines += ["", *wrapped(f"Written to {record['written']}.")]
    else:
        lines += ["", *wrapped("Not kept: a built-in laser has no file; copy it into one of your own.")]
    for said in record["advice"]:
        lines += ["", *wrapped(said)]
    return lines + cautions_of(record)


def plan_record(laser: Laser) -> dict[str, Any]:
    """What to lay and read, for this laser."""
    p = plan(laser)
    return {
        "laser": laser.id,
        "pulse_width_s": p.pulse_width,
        "repetition_rate_Hz": p.repetition_rate,
        "sweep_speed_m_s": p.sweep_speed,
        "average_powers_W": list(p.powers),
        "pulse_energies_J": list(p.pulse_energies),
        "mark_pitch_m": p.mark_pitch,
        "marks_apart": p.apart,
        "lifts_m": list(p.lifts),
        "quick_lift_m": p.quick_lift,
        "meter_power_W": p.meter_power,
        "cautions": list(CAUTIONS),
    }


def signed(lift: float) -> str:
    """A lift with its side: away from the work positive."""
    return f"{'+' if lift > 0 else '-'}{show(abs(lift), 'length')}"


def plan_steps(record: Mapping[str, Any]) -> list[str]:
    """What to lay and read, in this order."""
    energies, powers = record["pulse_energies_J"], record["average_powers_W"]
    pitch, rate = show(record["mark_pitch_m"], "length"), show(record["repetition_rate_Hz"], "frequency")
    meter, quick = show(record["meter_power_W"], "power"), show(record["quick_lift_m"], "length")
    apart = (
        f"the marks then lie {pitch} apart, one pulse each"
        if record["marks_apart"]
        else f"the marks then lie only {pitch} apart: use single pulses, if the panel has them"
    )
    lifts = ", ".join(signed(z) for z in record["lifts_m"])
    return [
        "A matt, dark, even card that burns cleanly: no PVC or other chlorinated plastic, nothing that mirrors. Behind "
        "it a plate that takes the beam.",
        f"Marks in focus: {show(record['pulse_width_s'], 'time')}, {rate}, sweep "
        f"{show(record['sweep_speed_m_s'], 'speed')}, one stroke; {apart}. Power "
        f"{', '.join(show(power, 'power') for power in powers)}, that is {show(energies[0], 'energy')} to "
        f"{show(energies[-1], 'energy')} a pulse; stop at the first that leaves no mark. Read each with a loupe.",
        f"Lifts, with the strongest pulse: the head moved by {lifts} from where the focus cue shows. In a hurry: three "
        f"marks in focus and three at {quick}.",
        f"Power: set {meter}, or what the meter bears, the same each time; read it when it has settled.",
        "Burn card: one of the marks above, on the same kind of card, every week.",
    ]


def plan_lines(record: Mapping[str, Any], laser: Laser, name: str) -> list[str]:
    """The same as steps, with the command that takes the readings."""
    rate, meter = show(record["repetition_rate_Hz"], "frequency"), show(record["meter_power_W"], "power")
    strongest, quick = record["average_powers_W"][0], show(record["quick_lift_m"], "length")
    words = [
        "proofpatch", "measure-laser", shlex.quote(name), '--material "black card"',
        f'--mark "{show(strongest, "power")}/{rate}, ? mm"',
        f'--lift "{quick}, {show(record["pulse_energies_J"][0], "energy")}, ? mm"',
        f'--power-reading "{meter}, ? W"',
    ]  # fmt: skip
    command = " ".join(words)
    head = f"{laser.title}: lay single marks, read them, and write down what you read."
    said = [*wrapped(head), *listed("In this order:", plan_steps(record))]
    return [*said, "", "Then, with your readings where the ? stand:", f"  {command}", *cautions_of(record)]
