"""What the readings of a laser say, day by day, and what the laser is after them.

Dates decide, not the order in which they were written; the newest of each kind holds. Pulse energies are dialled ones:
from the first power reading on they are taken times the measured power over the dialled.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass, replace

from proofpatch.errors import InputError
from proofpatch.lasers import Laser
from proofpatch.lasers.estimate import Estimate
from proofpatch.lasers.findings import Finding, check_dialled, findings_of
from proofpatch.lasers.lift import FASTER
from proofpatch.lasers.readings import Reading
from proofpatch.lasers.wording import sentence


@dataclass(frozen=True)
class Course:
    """Where the readings led: the laser as measured, and every finding in the order of its date."""

    laser: Laser
    findings: tuple[Finding, ...]


def laser_as_measured(laser: Laser, readings: Iterable[Reading], on: datetime.date | None = None) -> Laser:
    """The laser of the file with the numbers the newest readings put in their place.

    Args:
        laser: as its file says.
        readings: any order.
        on: the day to look at it from; None: after all of them.

    Raises:
        InputError: readings that say nothing or contradict themselves.
    """
    return follow(laser, [r for r in readings if on is None or r.date <= on]).laser


def follow(laser: Laser, readings: Iterable[Reading]) -> Course:
    """All findings by date, each read with the laser as it was known by then.

    Raises:
        InputError: readings that say nothing or contradict themselves; `field` is the list they stand in.
    """
    now, found = laser, list[Finding]()
    thresholds: dict[str, tuple[Estimate, Estimate]] = {}
    said: dict[str, str] = {}
    for reading in sorted(readings, key=lambda r: r.date):
        try:
            check_dialled(laser, reading)
            for finding in findings_of(now, reading, thresholds):
                found.append(finding)
                figures = finding.figures
                if "threshold_fluence" in figures and reading.material:
                    thresholds[reading.material] = figures["threshold_fluence"], figures["threshold_energy"]
                now = _replaced(laser, now, finding, said)
        except InputError as error:
            problem = f"Read on {reading.date.isoformat()}: {error.problem}"
            raise InputError(error.field, problem, error.remedy) from None
    return Course(replace(now, measured=tuple(dict.fromkeys(said.values()))), tuple(found))


def _replaced(file: Laser, now: Laser, finding: Finding, said: dict[str, str]) -> Laser:
    """The laser after one finding; `said` gets its sentence."""
    f = finding.figures
    if finding.kind == "power":
        said["power"] = sentence(finding, file)
        return replace(now, power_factor=f["power_factor"].value)
    if finding.kind == "spot":
        said["spot"] = sentence(finding, file)
        share = now.top_hat_share if finding.share is None else finding.share
        return replace(now, spot_radius=f["spot_radius"].value, top_hat_share=share)
    if finding.kind == "caustic":
        said["spot"] = said["m2"] = sentence(finding, file)
        off = 0.0 if f["focus"].holds(0.0) else f["focus"].value
        stand_off = file.handpiece.stand_off + off
        if stand_off <= 0:
            raise InputError(
                "lifts", "By these lifts the focus lies inside the head.", "Count lifts from the focus cue."
            )
        head = replace(now.handpiece, stand_off=stand_off)
        return replace(now, spot_radius=f["spot_radius"].value, m2=max(f["m2"].value, 1.0), handpiece=head)
    if finding.kind == "growth" and finding.verdict == FASTER:
        said["m2"] = sentence(finding, file)
        return replace(now, m2=max(f["m2"].value, 1.0))
    # A spot that seems to grow slower, or a card, moves nothing: the numbers so far are the careful side.
    return now
