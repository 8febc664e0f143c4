"""Readings by date → what the laser is now, and the sentences that say so."""

import datetime
import math
import re

import numpy as np
import pytest

import proofpatch as pp
from proofpatch.errors import InputError
from proofpatch.lasers.history import follow, laser_as_measured
from proofpatch.lasers.lift import AGREES, CANNOT_TELL, FASTER, SLOWER
from proofpatch.lasers.readings import Reading
from proofpatch.learn.rows import setting_rows
from proofpatch.physics.beam import threshold_radius
from proofpatch.physics.rows import POWER

FILE = pp.laser("pulsed-300")
SPOT, QUALITY, THRESHOLD = 0.42e-3, 40.0, 1e-3  # of the simulated laser: 0.84 mm across, not the file's 0.7 mm
UM, MM = 1e-6, 1e-3


def day(month, of=2):
    return datetime.date(2026, month, of)


def diameter(energy, lift=0.0, focus=0.0, quality=QUALITY, share=0.7, factor=1.0):
    """Mark of a dialled pulse energy, of which `factor` arrives."""
    fluence = (2 - share) * THRESHOLD / (math.pi * SPOT**2)
    rayleigh = math.pi * SPOT**2 / (quality * FILE.wavelength)
    there = SPOT * math.sqrt(1 + ((lift - focus) / rayleigh) ** 2)
    return 2 * float(threshold_radius(fluence, factor * energy, there, share))


def marks(rng=None, **how):
    noise = (lambda: 10 * UM * rng.standard_normal()) if rng else (lambda: 0.0)
    return [(e, diameter(e, **how) + noise()) for e in 12e-3 / 1.5 ** np.arange(6)]


def lifts(*away, rng=None, **how):
    noise = (lambda: 10 * UM * rng.standard_normal()) if rng else (lambda: 0.0)
    return [(z * MM, 12e-3, diameter(12e-3, z * MM, **how) + noise()) for z in away]


def test_without_readings_it_is_the_file():
    assert laser_as_measured(FILE, []) == FILE
    assert (FILE.power_factor, FILE.measured) == (1.0, ())


def test_marks_move_the_spot_and_say_so():
    course = follow(FILE, [Reading(day(3), marks=marks(np.random.default_rng(1)), material="black card")])
    (finding,) = course.findings
    assert (finding.kind, finding.date) == ("spot", day(3))
    assert finding.figures["spot_radius"].holds(SPOT)
    assert course.laser.spot_radius == finding.figures["spot_radius"].value
    assert (course.laser.m2, course.laser.top_hat_share) == (FILE.m2, FILE.top_hat_share)
    (said,) = course.laser.measured
    assert re.fullmatch(
        r"spot 0\.8\d* mm across \(0\.8\d* mm to 0\.8\d* mm\), read with a top-hat share of 70 %, from 6 marks on "
        r"black card, 2026-03-02; the file says 0\.7 mm",
        said,
    )


def test_a_whole_caustic_moves_spot_m2_and_stand_off():
    rng = np.random.default_rng(2)
    how = {"rng": rng, "focus": 2 * MM}
    reading = Reading(day(3), marks=marks(**how), lifts=lifts(-24, -12, -6, 6, 12, 24, **how), material="card")
    course = follow(FILE, [reading])
    assert [finding.kind for finding in course.findings] == ["spot", "caustic"]
    figures = course.findings[1].figures
    assert figures["spot_radius"].holds(SPOT)
    assert figures["m2"].holds(QUALITY)
    assert figures["focus"].holds(2 * MM)
    assert course.laser.m2 == figures["m2"].value
    assert course.laser.handpiece.stand_off == pytest.approx(FILE.handpiece.stand_off + 2 * MM, abs=0.5 * MM)
    assert "marks at 7 stand-offs on card" in course.laser.measured[0]
    assert "farther than the cue shows" in course.laser.measured[0]


def test_a_focus_that_is_not_surely_off_leaves_the_stand_off():
    reading = Reading(day(3), marks=marks(), lifts=lifts(-24, -12, -6, 6, 12, 24))
    assert laser_as_measured(FILE, [reading]).handpiece == FILE.handpiece


def test_lifts_need_a_threshold_and_take_an_earlier_days():
    away = lifts(-24, -12, -6, 6, 12, 24)
    alone = Reading(day(4), marks=[(12e-3, diameter(12e-3))], lifts=away, material="card")
    with pytest.raises(InputError, match="not known") as caught:
        follow(FILE, [alone])
    assert caught.value.field == "lifts"
    earlier = Reading(day(3), marks=marks(), material="card")
    course = follow(FILE, [alone, earlier])
    assert [finding.kind for finding in course.findings] == ["spot", "caustic"]
    assert course.laser.m2 == pytest.approx(QUALITY, rel=0.02)
    with pytest.raises(InputError, match="not known"):
        follow(FILE, [alone, Reading(day(3), marks=marks(), material="another card")])


# The file's Rayleigh range is 12.06 mm: π (0.35 mm)²/(30 × 1064 nm).
@pytest.mark.parametrize(
    ("lift", "quality", "verdict"), [(12, 30, AGREES), (12, 90, FASTER), (12, 4, SLOWER), (1, 30, CANNOT_TELL)]
)
def test_one_lift_checks_the_file(lift, quality, verdict):
    file = pp.laser("pulsed-300")
    rayleigh = math.pi * file.spot_radius**2 / (quality * file.wavelength)
    there = file.spot_radius * math.sqrt(1 + (lift * MM / rayleigh) ** 2)
    fluence = 1.3 * 12e-3 / (math.pi * file.spot_radius**2) / 15
    first, second = (2 * float(threshold_radius(fluence, 12e-3, w, 0.7)) for w in (file.spot_radius, there))
    reading = Reading(day(3), marks=[(12e-3, first)] * 3, lifts=[(lift * MM, 12e-3, second)] * 3)
    course = follow(file, [reading])
    assert course.findings[0].verdict == verdict
    # Only a beam that opens faster moves a number: the other way round the file is the careful side.
    assert (course.laser.m2 > file.m2) == (verdict == FASTER)
    assert bool(course.laser.measured) == (verdict == FASTER)


def test_power_moves_what_arrives_and_leaves_the_panel():
    course = follow(FILE, [Reading(day(3), power=[(150.0, 132.0), (150.0, 132.0)])])
    assert course.laser.power_factor == pytest.approx(0.88)
    assert (course.laser.max_power, course.laser.energy_limits) == (FILE.max_power, FILE.energy_limits)
    assert course.laser.measured[0].startswith("88 % of the dialled power arrives (84 % to 92 %), from 2 readings")
    setting = pp.Setting(100.0, 20e3, 1e-7, 0.35e-3, 0.08, 10.0, 0.05)
    course.laser.check(setting.with_(average_power=300.0, repetition_rate=25e3))
    rows = [setting_rows([setting], laser)[0] for laser in (FILE, course.laser)]
    assert rows[0][POWER] == 100.0
    assert rows[1][POWER] == pytest.approx(88.0)
    assert np.array_equal(np.delete(rows[0], POWER), np.delete(rows[1], POWER))


# The error of the meter and the scatter of a day's pairs go together: 0.9 ± √((0.05 × 0.9)² + (t s/√n)²).
def test_the_factor_knows_its_scatter():
    (finding,) = follow(FILE, [Reading(day(3), power=[(100.0, 85.0), (100.0, 90.0), (100.0, 95.0)])]).findings
    half = math.hypot(0.045, 2.9199855803537256 * 0.05 / math.sqrt(3))  # t(0.95, 2)
    assert finding.figures["power_factor"].low == pytest.approx(0.9 - half)


def test_the_newest_of_each_kind_holds_whatever_their_order():
    power = [Reading(day(m), power=[(150.0, 150.0 * f)]) for m, f in ((5, 0.9), (3, 1.0), (4, 0.8))]
    spot = [Reading(day(m), marks=[(e, s * d) for e, d in marks()]) for m, s in ((4, 1.0), (2, 1.1))]
    now = laser_as_measured(FILE, [power[0], spot[0], power[1], spot[1], power[2]])
    assert now.power_factor == pytest.approx(0.9)
    assert now.spot_radius == pytest.approx(SPOT, rel=2e-3)
    assert "2026-05-02" in " ".join(now.measured)
    assert "2026-04-02" in " ".join(now.measured)
    assert len(now.measured) == 2
    then = laser_as_measured(FILE, [*power, *spot], on=day(3, 31))
    assert then.power_factor == pytest.approx(1.0)
    assert then.spot_radius == pytest.approx(1.1 * SPOT, rel=2e-3)
    assert laser_as_measured(FILE, [*power, *spot], on=day(1)) == FILE


def test_of_one_day_the_later_written_holds():
    first, then = (Reading(day(3), power=[(150.0, p)]) for p in (150.0, 135.0))
    assert laser_as_measured(FILE, [first, then]).power_factor == pytest.approx(0.9)


# A dialled millijoule of which 0.8 arrives: the spot is the same, the threshold is a true one.
def test_pulse_energies_are_those_that_arrive():
    power = Reading(day(2), power=[(150.0, 120.0)])
    course = follow(FILE, [Reading(day(3), marks=marks(factor=0.8)), power])
    spot = course.findings[1].figures
    assert spot["spot_radius"].value == pytest.approx(SPOT, rel=2e-3)
    assert spot["threshold_energy"].holds(THRESHOLD)


def test_marks_may_bring_their_own_share():
    gaussian = [(e, diameter(e, share=0.0)) for e in 12e-3 / 1.5 ** np.arange(6)]
    with pytest.raises(InputError, match=r"Read on 2026-03-02: .*not the 0\.7"):
        laser_as_measured(FILE, [Reading(day(3), marks=gaussian)])
    now = laser_as_measured(FILE, [Reading(day(3), marks=gaussian, top_hat_share=0.0)])
    assert now.top_hat_share == 0.0
    assert now.spot_radius == pytest.approx(SPOT, rel=1e-3)
    wide = [(e, diameter(e)) for e in 12e-3 / 1.3 ** np.arange(9)] + [
        (20e-3, diameter(20e-3)),
        (24e-3, diameter(24e-3)),
    ]
    big = pp.laser("pulsed-500")
    fitted = laser_as_measured(big, [Reading(day(3), marks=wide, fit_share=True, reading_error=5 * UM)])
    assert fitted.top_hat_share == pytest.approx(0.7, abs=0.1)


@pytest.mark.parametrize(
    ("reading", "field", "why"),
    [
        ({"marks": [(1.2, 3e-4)] * 4}, "marks", "more than this laser gives"),
        ({"lifts": [(0.01, 0.5, 3e-4)]}, "lifts", "more than this laser gives"),
        ({"cards": [(0.5, 3e-4)], "material": "x"}, "cards", "more than this laser gives"),
        ({"power": [(400.0, 390.0)]}, "power", "more than this laser gives"),
        ({"marks": [(1e-3, 3e-4)]}, "marks", "1 marks at 1"),
        ({"lifts": [(0.01, 1e-2, 3e-4)]}, "lifts", "no mark in focus"),
        ({"marks": [(1e-2, 7e-4)], "lifts": [(0.01, 5e-3, 8e-4)]}, "lifts", "no mark in focus"),
        ({"marks": [(1e-2, 7e-4)], "lifts": [(0.01, 1e-2, 8e-4), (0.02, 1e-2, 9e-4)]}, "lifts", "neither one lift nor"),
        ({"marks": [(1e-2, 7e-4)], "lifts": [(0.0, 1e-2, 8e-4)]}, "lifts", "neither one lift nor"),
    ],
)
def test_readings_that_say_nothing_are_refused(reading, field, why):
    with pytest.raises(InputError, match=why) as caught:
        follow(FILE, [Reading(day(3), **reading)])
    assert caught.value.field == field
