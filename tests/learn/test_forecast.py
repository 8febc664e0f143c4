"""The window and its chance."""

import dataclasses

import numpy as np
import pytest

import proofpatch as pp
from proofpatch.learn.forecast import FASTEST_HAND, SLOWEST_HAND, envelope
from proofpatch.units import chance


def test_the_window_spans_envelope_and_hand(oak_belief):
    window = pp.forecast(oak_belief)
    speeds = [s.travel_speed for s in window.settings]
    assert min(speeds) == pytest.approx(SLOWEST_HAND)
    assert max(speeds) == pytest.approx(FASTEST_HAND)
    assert max(s.repetition_rate for s in window.settings) == pytest.approx(oak_belief.laser.max_rate)
    for setting in window.settings[::37]:
        oak_belief.laser.check(setting)
    assert len(window.settings) == len(window.p_clean) == len(window.p_harm) == len(window.area_rate)


def test_twenty_kilohertz_is_twenty_thousand_pulses_a_second(at_work):
    from proofpatch.records import bench_record

    setting = at_work(passes=1)
    record = bench_record(setting, 0.7)
    assert record["pulses_per_m2"] * record["area_rate_m2_s"] == pytest.approx(20_000)


def test_area_rate_is_speed_times_width_over_passes(oak_belief, at_work):
    assert pp.forecast(oak_belief, settings=[at_work(passes=4)]).area_rate[0] == pytest.approx(0.05 * 0.1 / 4)


def test_chance_is_a_share_of_draws_and_grows_with_the_choice(oak_belief, at_work):
    some = [at_work(passes=n) for n in (1, 4, 16)]
    chances = [pp.forecast(oak_belief, settings=some[:n]).chance for n in (1, 2, 3)]
    assert chances == sorted(chances)
    assert pp.forecast(oak_belief).chance >= chances[-1] - 0.05
    assert (chances[0] * oak_belief.draws) == pytest.approx(round(chances[0] * oak_belief.draws))


def test_at_agrees_with_the_window(oak_belief, at_work):
    window = pp.forecast(oak_belief, settings=[at_work()])
    p_clean, p_harm, grades = window.at(at_work())
    assert p_clean == pytest.approx(window.p_clean[0], abs=1e-12)
    assert p_harm == pytest.approx(window.p_harm[0], abs=1e-12)
    assert set(grades["residue"]) == set(pp.RESIDUES)
    assert set(grades["harm"]) == set(pp.HARMS)
    assert sum(grades["residue"].values()) == pytest.approx(1.0, abs=1e-6)
    assert sum(grades["harm"].values()) == pytest.approx(1.0, abs=1e-6)


def test_stops_on_the_piece_raise_harm(varnished_oak, at_work):
    p = [
        pp.forecast(
            pp.prior(varnished_oak, "pulsed-500", pp.Hand(starts=s), draws=256), settings=[at_work(average_power=400.0)]
        ).p_harm[0]
        for s in ("mask", "free")
    ]
    assert p[1] > p[0] + 0.3


def test_the_sentence_is_from_the_belief(oak_belief, pan_belief):
    sentences = {pp.forecast(b).because for b in (oak_belief, pan_belief)}
    assert len(sentences) == 2
    window = pp.forecast(oak_belief)
    assert chance(window.chance) in window.because
    assert "no patch yet" in window.because


def test_answers(oak_belief):
    window = pp.forecast(oak_belief)
    object.__setattr__(window, "chance", 0.8)
    assert window.answer == "worth it"
    object.__setattr__(window, "chance", 0.5)
    assert window.answer == "test first"
    object.__setattr__(window, "chance", 0.2)
    assert window.answer == "decline"


def test_same_question_same_answer(oak_belief):
    a, b = pp.forecast(oak_belief), pp.forecast(oak_belief)
    assert np.array_equal(a.p_clean, b.p_clean)
    assert a.chance == b.chance


def test_the_envelope_is_inside_every_laser():
    for name in ("pulsed-100", "pulsed-300", "pulsed-500"):
        laser = pp.laser(name)
        assert all(s.pulse_energy <= laser.max_energy(s.pulse_width) for s in envelope(laser))


@pytest.mark.parametrize("given", [[], ["20 kHz"]])
def test_bad_settings_are_one_sentence(oak_belief, given):
    with pytest.raises(pp.InputError) as caught:
        pp.forecast(oak_belief, settings=given)
    assert caught.value.field == "settings"


def test_a_head_that_draws_no_line_is_asked_with_what_it_draws(pan_belief):
    laser = pan_belief.laser
    sine = dataclasses.replace(laser, handpiece=dataclasses.replace(laser.handpiece, patterns=("sine",)))
    belief = pp.prior(pan_belief.surface, sine, draws=256)
    assert {s.pattern for s in pp.forecast(belief).settings} == {"sine"}
    strip = pp.next_patch(belief, count=3)
    assert strip
    for patch in strip:
        sine.check(patch.setting)


def test_a_window_is_worked_out_once_and_limits_are_not_in_it(varnished_oak):
    belief = pp.prior(varnished_oak, "pulsed-500", draws=128)
    one, two = pp.forecast(belief), pp.forecast(belief, pp.Limits(p_harm=0.5))
    assert one.p_clean is two.p_clean
    assert (one.limits, two.limits) == (pp.Limits(), pp.Limits(p_harm=0.5))
    assert one.belief is belief
    fresh = pp.forecast(dataclasses.replace(belief))
    assert fresh.p_clean is not one.p_clean
    assert np.array_equal(fresh.p_clean, one.p_clean)
