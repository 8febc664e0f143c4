import math

import numpy as np
import pytest

from proofpatch.errors import InputError
from proofpatch.physics import strokes, sweep
from proofpatch.physics.beam import caustic_radius, rayleigh_range
from proofpatch.physics.setting import PATTERNS, Setting
from proofpatch.physics.strokes import STEADY, HandMotion, Pulses, figure_places, figure_seconds, place_pulses

SETTING = Setting(500.0, 20e3, 100e-9, 0.45e-3, 0.1, 10.0, 0.05)
FOCUS = {"rayleigh_range": 12e-3}
# Every number a hand is drawn with, at once.
HAND = HandMotion(0.25, 1e-3, 3e-3, 0.1, 0.05)


def one_stroke(seed=0, motion=STEADY, length=0.1, **changes):
    return place_pulses(SETTING.with_(**changes), motion, length, **FOCUS, seed=seed)


# ---- A guided head: the contract ----


# thermal-optical.md §3.8 and the contract (design §8): a line is W long and takes W/v; the hand moves on by u W/v.
def test_every_pulse_of_a_line_is_where_the_contract_puts_it():
    setting = Setting(100.0, 100e3, 100e-9, 50e-6, 20e-3, 5.0, 12.5e-3)
    pulses = place_pulses(setting, STEADY, 0.01, **FOCUS)
    assert len(pulses) == 80_000  # f L/u
    assert np.allclose(np.diff(pulses.time), 1e-5, rtol=1e-6, atol=0)
    assert np.allclose(pulses.y, 12.5e-3 * pulses.time, rtol=0, atol=1e-12)
    step = np.diff(pulses.x)
    flyback = step < 0
    assert np.allclose(step[~flyback], 50e-6, rtol=1e-6, atol=0)  # v/f
    assert np.allclose(np.diff(pulses.y[1:][flyback]), 50e-6, rtol=1e-6, atol=0)  # u W/v
    assert -0.01 <= pulses.x.min() < -0.00995
    assert 0.00995 < pulses.x.max() <= 0.01
    assert np.all(pulses.radius == 50e-6)


@pytest.mark.parametrize("pattern", PATTERNS)
def test_an_area_gets_the_pulses_of_the_closed_form(pattern):
    pulses = one_stroke(pattern=pattern, length=1.0)
    inside = (pulses.y > 0.2) & (pulses.y < 0.8)
    per_area = inside.sum() / (0.6 * 0.1)
    assert per_area == pytest.approx(float(sweep.pulses_per_area(20e3, 0.1, 0.05)), rel=2e-3)
    assert np.all(np.abs(pulses.x) <= 0.05 * (1 + 1e-9))


@pytest.mark.parametrize("pattern", ["zigzag", "sine", "circle", "spiral"])
def test_the_figure_is_traced_at_the_sweep_speed_on_average_and_repeats(pattern):
    setting = SETTING.with_(pattern=pattern)
    period = figure_seconds(setting)
    seconds = np.linspace(0, period, 200_001)
    x, y = figure_places(setting, seconds)
    path = np.hypot(np.diff(x), np.diff(y))
    assert path.sum() == pytest.approx(10.0 * period, rel=2e-3)
    if pattern != "sine":
        assert np.quantile(path, [0.01, 0.99]) == pytest.approx([path.mean()] * 2, rel=0.01)
    later = figure_places(setting, seconds + 3 * period)
    turn = 3 * 0.618 * 2 * math.pi if pattern == "spiral" else 0.0
    back = (later[0] + 1j * later[1]) * np.exp(-1j * turn)
    assert np.abs(back - (x + 1j * y))[1:-1].max() < 1e-6
    assert np.hypot(x, y).max() == pytest.approx(0.05, rel=1e-6)


def test_the_period_of_each_figure():
    seconds = {name: figure_seconds(SETTING.with_(pattern=name)) for name in PATTERNS}
    assert seconds["line"] == pytest.approx(0.01)
    assert seconds["zigzag"] == seconds["sine"] == pytest.approx(0.02)
    assert seconds["circle"] == pytest.approx(math.pi * 0.01)
    # Out and in over a disc of 50 mm radius: twice the area over the pitch of its arms.
    pitch = 0.05 / strokes.SPIRAL_TURNS
    assert seconds["spiral"] == pytest.approx(2 * math.pi * 0.05**2 / pitch / 10.0, rel=0.01)


def test_a_spiral_fills_its_disc_evenly():
    setting = SETTING.with_(pattern="spiral")
    x, y = figure_places(setting, np.linspace(0, figure_seconds(setting), 100_000, endpoint=False))
    squares = np.sort((np.hypot(x, y) / 0.05) ** 2)
    assert np.abs(squares - np.linspace(0, 1, 100_000)).max() < 0.01


# `sweep.edge_dose_factor` and `middle_dose_factor` by counting pulses, for all patterns; sine is CV-checked there.
@pytest.mark.parametrize("pattern", PATTERNS)
def test_ends_and_middle_get_the_share_of_the_closed_form(pattern):
    spot = 5e-3
    setting = SETTING.with_(pattern=pattern)
    x, _ = figure_places(setting, np.linspace(0, 50 * figure_seconds(setting), 1_000_000, endpoint=False))
    ends = np.mean(np.abs(x) > 0.05 - spot) / (2 * spot / 0.1)
    assert ends == pytest.approx(float(sweep.edge_dose_factor(0.1, spot, pattern)), rel=0.005)
    middle = np.mean(np.abs(x) < 0.5e-3) / (1e-3 / 0.1)
    assert middle == pytest.approx(sweep.middle_dose_factor(pattern), rel=0.015)


def test_edge_factor_of_a_disc_and_its_limits():
    # A disc no wider than the spot has no edge; for a small spot the segment's share is (16/(3π)) q^1.5.
    assert sweep.disc_edge_dose_factor(1.0, np.array([1.0, 3.0])) == pytest.approx([1, 1])
    q = 1e-4
    assert sweep.disc_edge_dose_factor(1.0, q) == pytest.approx(16 / (3 * math.pi) * math.sqrt(q), rel=1e-3)
    assert sweep.edge_dose_factor(0.1, 1e-3, "zigzag") == 1
    assert sweep.edge_dose_factor(0.1, 1e-3, "circle") == sweep.edge_dose_factor(0.1, 1e-3, "sine")
    with pytest.raises(InputError, match="Use one of: line"):
        sweep.middle_dose_factor("star")
    with pytest.raises(InputError):
        sweep.edge_dose_factor(0.1, 1e-3, None)


# ---- The hand ----


@pytest.fixture(scope="module")
def strokes_of_a_hand():
    """Six hundred strokes on a sweep too narrow to hide the wobble."""
    motion = HandMotion(0.25, 1e-3, 3e-3, 0.0, 0.0)
    narrow = SETTING.with_(sweep_width=1e-4, repetition_rate=400.0)
    return [place_pulses(narrow, motion, 0.2, **FOCUS, seed=seed) for seed in range(600)]


def test_a_stroke_takes_length_over_travel_speed_on_average():
    # 2000 strokes: the mean is known to 0.5 %; without the σ²/2 of the hand's course it would be 3.2 % off.
    pulses = place_pulses(
        SETTING.with_(repetition_rate=50.0), HandMotion(0.25, 0, 0, 0, 0), 0.05, **FOCUS, lanes=2000, seed=3
    )
    assert len(pulses) / 50.0 / 2000 == pytest.approx(0.05 / 0.05, rel=0.015)


def test_the_speed_varies_as_asked(strokes_of_a_hand):
    logs, means = [], []
    for pulses in strokes_of_a_hand:
        reached = np.interp([0.095, 0.1], pulses.y, pulses.time)  # 5 mm, far within the correlation length
        logs.append(math.log(np.diff(reached)[0] / (0.005 / 0.05)))
        means.append(math.log(pulses.time[-1] / (0.2 / 0.05)))
    assert np.std(logs) == pytest.approx(0.25, rel=0.1)
    # Half the variance stays with the stroke; of the other half a 0.2 m stroke averages out most.
    assert 0.25 * math.sqrt(strokes.ALONG) < np.std(means) < 0.24


def test_wobble_and_stand_off_vary_as_asked(strokes_of_a_hand):
    middle = [np.interp(0.1, p.y, p.x) for p in strokes_of_a_hand]
    later = [np.interp(0.1 + strokes.CORRELATION, p.y, p.x) for p in strokes_of_a_hand]
    assert np.std(middle) == pytest.approx(1e-3, rel=0.1)
    assert abs(np.mean(middle)) < 2e-4
    # (2) of `smooth_course` one correlation length apart.
    assert np.corrcoef(middle, later)[0, 1] == pytest.approx(math.exp(-0.5), abs=0.1)
    out = [np.interp(0.1, p.y, (p.radius / 0.45e-3) ** 2 - 1) for p in strokes_of_a_hand]
    assert 12e-3 * math.sqrt(np.mean(out)) == pytest.approx(3e-3, rel=0.1)


def test_the_course_is_smooth():
    places = np.linspace(0, 0.3, 3001)
    course = strokes.smooth_course(places, np.random.default_rng(1))
    assert np.abs(np.diff(course)).max() < 5 * (places[1] / strokes.CORRELATION)
    many = [strokes.smooth_course(places[:1], np.random.default_rng(k))[0] for k in range(4000)]
    assert np.std(many) == pytest.approx(1, rel=0.04)
    assert np.quantile(many, 0.975) == pytest.approx(1.96, abs=0.15)


def test_the_spot_follows_the_caustic():
    m2, wavelength = 20.0, 1064e-9
    z_r = float(rayleigh_range(0.45e-3, m2, wavelength))
    pulses = place_pulses(SETTING, HandMotion(0, 0, 5e-3, 0, 0), 0.1, rayleigh_range=z_r, seed=4)
    z = z_r * np.sqrt((pulses.radius / 0.45e-3) ** 2 - 1)
    assert np.allclose(pulses.radius, caustic_radius(z, 0.45e-3, m2, wavelength), rtol=1e-9)
    assert z.max() > 2e-3
    never = place_pulses(SETTING, HandMotion(0, 0, 5e-3, 0, 0), 0.1, rayleigh_range=math.inf, seed=4)
    assert np.all(never.radius == 0.45e-3)


def test_same_seed_same_pulses():
    first, again, other = one_stroke(5, HAND), one_stroke(5, HAND), one_stroke(6, HAND)
    assert np.array_equal(first.x, again.x)
    assert np.array_equal(first.radius, again.radius)
    assert len(first) != len(other)
    rng = np.random.default_rng(5)
    assert np.array_equal(one_stroke(rng, HAND).y, first.y)
    assert not np.array_equal(one_stroke(rng, HAND).x[:100], first.x[:100])


# ---- Stops, lanes, passes ----


# starting-values.md and design §3: a 0.1 s stop at 500 W over 100 mm × 0.9 mm adds 56 J/cm².
def test_a_stop_adds_its_pulses_where_the_hand_stands(printed):
    pulses = one_stroke(motion=HandMotion(0, 0, 0, 0, 0.1))
    assert len(pulses) == len(one_stroke()) + 2 * 2000
    for end in (0.0, 0.1):
        standing = np.sum(np.abs(pulses.y - end) < 1e-9)
        assert standing == pytest.approx(2000, abs=1)
        assert standing * SETTING.pulse_energy / (0.1 * 0.9e-3) / 1e4 == printed("56")


def test_lanes_lie_side_by_side_and_the_hand_goes_to_and_fro():
    motion = HandMotion(0, 0, 0, 0.2, 0)
    pulses = place_pulses(SETTING, motion, 0.1, **FOCUS, lanes=3)
    each = 20e3 * 0.1 / 0.05
    assert len(pulses) == 3 * each
    assert pulses.x.min() == pytest.approx(-0.08 - 0.05, abs=1e-3)
    assert pulses.x.max() == pytest.approx(0.08 + 0.05, abs=1e-3)
    lanes = pulses.x.reshape(3, -1)
    assert lanes.mean(axis=1) == pytest.approx([-0.08, 0, 0.08], abs=5e-4)
    ways = np.sign(np.diff(pulses.y.reshape(3, -1), axis=1))
    assert np.all(ways == [[1], [-1], [1]])


def test_passes_go_over_the_same_lane_with_their_own_phase_and_hand():
    pulses = one_stroke(passes=2)
    first, second = pulses.x.reshape(2, -1)
    assert np.all(np.diff(pulses.time) > 0)
    assert abs(first[0] - second[0]) > 1e-5
    assert np.mod(first[0] - second[0], 0.5e-3) > 1e-6  # not merely another pulse of the same train
    starts = one_stroke(passes=60, length=0.01).x.reshape(60, -1)[:, 0]
    assert np.std(starts) == pytest.approx(0.1 / math.sqrt(12), rel=0.2)  # anywhere on the line
    assert one_stroke(passes=2, motion=HAND).time[-1] != pytest.approx(2 * one_stroke(motion=HAND).time[-1], rel=1e-3)


# ---- What is refused ----


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: HandMotion(speed_spread=-0.1), "speed_spread"),
        (lambda: HandMotion(wobble=math.nan), "wobble"),
        (lambda: HandMotion(stand_off_spread=1e308), "stand_off_spread"),
        (lambda: HandMotion(lane_overlap=1.0), "lane_overlap"),
        (lambda: HandMotion(stop_seconds=math.inf), "stop_seconds"),
        (lambda: HandMotion(stop_seconds="a while"), "stop_seconds"),
        (lambda: place_pulses(None, STEADY, 0.1, **FOCUS), "setting"),
        (lambda: place_pulses(SETTING, None, 0.1, **FOCUS), "motion"),
        (lambda: one_stroke(length=5e-324), "stroke_length"),
        (lambda: one_stroke(length=1e308), "stroke_length"),
        (lambda: one_stroke(length=[0.1]), "stroke_length"),
        (lambda: one_stroke(seed=-1), "seed"),
        (lambda: one_stroke(seed=1.5), "seed"),
        (lambda: one_stroke(seed=True), "seed"),
        (lambda: place_pulses(SETTING, STEADY, 0.1, **FOCUS, lanes=1.5), "lanes"),
        (lambda: place_pulses(SETTING, STEADY, 0.1, **FOCUS, lanes=0), "lanes"),
        (lambda: place_pulses(SETTING.with_(passes=1000), STEADY, 0.1, **FOCUS, lanes=11), "lanes"),
        (lambda: place_pulses(SETTING, STEADY, 0.1, rayleigh_range=0.0), "rayleigh_range"),
        (lambda: place_pulses(SETTING, STEADY, 0.1, rayleigh_range=np.ones(2)), "rayleigh_range"),
        (lambda: place_pulses(SETTING, STEADY, 0.1, rayleigh_range=-math.inf), "rayleigh_range"),
        (lambda: place_pulses(SETTING, STEADY, 0.1, rayleigh_range=math.nan), "rayleigh_range"),
        (lambda: one_stroke(length=100.0, passes=10), "stroke_length"),
        (lambda: one_stroke(repetition_rate=1e8, motion=HandMotion(stop_seconds=10)), "stroke_length"),
        (lambda: SETTING.with_(pattern="star"), "pattern"),
        (lambda: Pulses([0, 1], [0], [0, 0], [1, 1]), "x"),
        (lambda: Pulses([0], ["here"], [0], [1]), "x"),
        (lambda: Pulses([0, 1], [0, math.nan], [0, 0], [1, 1]), "x"),
        (lambda: Pulses([0, 1], [0, 0], [0, 1e308], [1, 1]), "y"),
        (lambda: Pulses([1, 0], [0, 0], [0, 0], [1, 1]), "time"),
        (lambda: Pulses([0], [0], [0], [0]), "radius"),
        (lambda: Pulses([[0]], [[0]], [[0]], [[1]]), "time"),
    ],
)
def test_refuses_what_cannot_be(call, field):
    with pytest.raises(InputError) as refused:
        call()
    assert refused.value.field == field


def test_ten_million_pulses_are_refused_before_they_are_placed():
    with pytest.raises(InputError, match=r"makes 2e.07 pulses; 10,000,000 at most") as refused:
        place_pulses(SETTING.with_(repetition_rate=1e6), STEADY, 1.0, **FOCUS)
    assert "Shorten the stroke" in refused.value.remedy


def test_a_stroke_too_short_for_a_pulse_has_none():
    pulses = one_stroke(length=1e-4, repetition_rate=1.0, travel_speed=1.0)
    assert len(pulses) <= 1
