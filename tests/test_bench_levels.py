"""Levels of the bench: the data's own values come back, the forecast's margins come back, doubt is said in words."""

import math

import numpy as np
import pytest

import proofpatch as pp
from proofpatch.bench import middle
from proofpatch.bench_levels import (
    _at_the_edge,
    _first_crossing,
    _grain,
    _level,
    _limit_rise,
    _marking_pulse,
    level_words,
    levels,
)
from proofpatch.learn.grading import CLEAN_EDGE
from proofpatch.learn.kernels import plain_outcomes
from proofpatch.learn.rows import hand_row, setting_rows
from proofpatch.materials import coating_data, substrate_data
from proofpatch.physics import rows as at
from proofpatch.physics.outcome import BLACK, beam_of
from proofpatch.physics.sweep import mean_dose

LASER = pp.laser("pulsed-500")
A = pp.Setting(300.0, 20e3, 200e-9, 0.45e-3, 0.04, 10.0, 0.05)
KELVIN = 273.15


def believed(coating, substrate, condition="unknown", **more):
    return pp.prior(pp.Surface([pp.Layer(coating, condition=condition)], substrate, **more), LASER, draws=512)


def found(belief, setting):
    dose = float(mean_dose(setting.average_power, setting.sweep_width, setting.travel_speed))
    return levels(belief, setting_rows([setting], LASER)[0], dose)


# Quantiles of 1…100 by counting; then all the weight on one value.
def test_a_level_is_a_weighted_quantile():
    values, even = np.arange(100.0, 0.0, -1.0), np.full(100, 0.01)
    level = _level(values, even)
    assert (level["p5"], level["p50"], level["p95"]) == (5.0, 50.0, 95.0)
    assert set(_level(values, (values == 7.0).astype(float)).values()) == {7.0}
    assert _level(values, even, 60.0) == {"p5": 5.0, "p50": 50.0, "p95": None}


# materials/substrates.csv: mild steel, temper colours 300 °C (220 to 350); limestone, calcite 1073.15 K.
@pytest.mark.parametrize(("coating", "substrate"), [("loose-rust", "mild-steel"), ("soot-crust", "limestone")])
def test_the_limit_is_the_datas_own_where_a_temperature_decides(coating, substrate):
    limit = found(believed(coating, substrate), A)["limit_temperature_K"]
    datum = substrate_data(substrate, "any")["heat_limit"]
    assert limit["p50"] == pytest.approx(datum.value, rel=0.01)
    if datum.low:
        assert limit["p5"] == pytest.approx(datum.low, rel=0.02)
        assert limit["p95"] == pytest.approx(datum.high, rel=0.02)


# One hit, the width thresholds are tabulated at, far below the plume's saturation: the tabulated value itself.
def test_the_film_threshold_of_one_hit_is_the_datum():
    apart = pp.Setting(5.0, 5e3, 100e-9, 0.45e-3, 0.04, 20.0, 0.15)
    threshold = found(believed("loose-rust", "mild-steel"), apart)["coating_threshold_J_m2"]
    datum = coating_data("loose-rust", "red-brown", "aged").get("threshold_fluence")
    assert datum is not None
    assert threshold["p50"] == pytest.approx(datum.value, rel=0.06)
    assert threshold["p5"] == pytest.approx(datum.low, rel=0.1)


def test_hits_bring_the_film_threshold_down():
    belief = believed("loose-rust", "mild-steel")
    once, often = found(belief, A), found(belief, A.with_(passes=20))
    assert often["coating_threshold_J_m2"]["p50"] < 0.9 * once["coating_threshold_J_m2"]["p50"]


# F = (ΔT/2) √(π k ρc τ)/A of a face heated by an even pulse, as `heat` has it, for the middle of the belief; medians of
# products are not products of medians, so to a fifth.
def test_the_flash_of_steel_is_the_melting_pulse():
    belief = believed("loose-rust", "mild-steel")
    _, sub = middle(belief)
    melting = (sub[at.MELT] / 2) * math.sqrt(math.pi * sub[at.CONDUCTIVITY] * sub[at.HEAT_CAPACITY] * A.pulse_width)
    dark = math.exp(hand_row(belief.hand)[at.QUANTILE] * _grain(sub, hand_row(belief.hand)))
    expected = melting / sub[at.ABSORPTANCE] / dark
    assert found(belief, A)["flash_limit_J_m2"]["p50"] == pytest.approx(expected, rel=0.2)


# The pulse found, put back: band and pulse together reach the limit that so hot a place has.
def test_the_marking_pulse_of_oak_reaches_the_limit():
    belief = believed("oil-varnish", "oak", "aged")
    row, hand, sub = setting_rows([A.with_(travel_speed=0.1)], LASER)[0], hand_row(belief.hand), belief.substrate.T
    beam = beam_of(row, hand)
    band, _, _, pulse = _at_the_edge(row, sub)
    alone = _marking_pulse(row, sub, beam, hand, band, pulse)
    dark = np.exp(hand[at.QUANTILE] * _grain(sub, hand))
    # No grain takes more light than there is; where nearly all is taken anyway, 2 % of room are left.
    assert (dark * sub[at.ABSORPTANCE] <= np.maximum(BLACK, 1.02 * sub[at.ABSORPTANCE]) + 1e-9).all()
    own = pulse * alone / beam.peak * dark
    limit = _limit_rise(row, sub, beam, band * dark, band * dark + own, own)
    reached = (band * dark + own)[alone > 0]
    assert alone[alone > 0].size > 300
    assert reached == pytest.approx(limit[alone > 0], rel=0.01)


# The compiled outcomes behind the levels against their plain form.
def test_the_doses_are_the_forecasts_margins():
    belief = believed("oil-varnish", "oak", "aged")
    setting = A.with_(pattern="sine", passes=3)
    row = setting_rows([setting], LASER)
    dose = float(mean_dose(setting.average_power, setting.sweep_width, setting.travel_speed))
    margin = plain_outcomes(belief.layer, belief.substrate, row, hand_row(belief.hand), 0)[2][:, 0]
    result = found(belief, setting)
    harm = dose * row[0, at.EDGE] * np.exp(np.sort(margin))
    assert harm[254] <= result["dose_to_tint_J_m2"]["p50"] <= harm[257]
    assert result["heat_factor_to_harm"] == pytest.approx(math.exp(np.median(margin)), rel=0.02)


# A hand so much slower is laid on the belief again, by the plain form: half of the draws are clean then.
def test_the_dose_to_clean_cleans():
    belief = believed("soot-crust", "limestone")
    level = found(belief, A)["dose_to_clean_J_m2"]
    dose = float(mean_dose(A.average_power, A.sweep_width, A.travel_speed))
    for name, share in (("p5", 0.05), ("p50", 0.5)):
        row = setting_rows([A.with_(travel_speed=A.travel_speed * dose / level[name])], LASER)
        need, spread = plain_outcomes(belief.layer, belief.substrate, row, hand_row(belief.hand), 0)[:2]
        assert np.mean(need <= CLEAN_EDGE * spread) == pytest.approx(share, abs=0.03)


def test_the_first_crossing_is_found_between_the_points():
    y = np.array([[-1.0, 1.0, -1.0], [1.0, 2.0, 3.0], [-3.0, -2.0, -1.0], [-3.0, -1.0, 3.0]])
    assert list(_first_crossing(np.array([0.0, 1.0, 2.0]), y)) == [0.5, 0.0, np.inf, 1.25]


def test_a_slower_hand_is_nearer_harm():
    belief = believed("soot-crust", "limestone")
    fast, slow = found(belief, A), found(belief, A.with_(travel_speed=0.005))
    assert slow["heat_factor_to_harm"] < fast["heat_factor_to_harm"]


# Heat balance: dose times absorptance over ρc times thickness, for a veneer of 1 mm ten times that of 10 mm.
def test_a_thin_part_warms_as_much_more_as_it_is_thinner():
    thick = found(believed("oil-varnish", "oak", substrate_thickness=10e-3), A)["part_warms_K"]
    thin = found(believed("oil-varnish", "oak", substrate_thickness=1e-3), A)["part_warms_K"]
    assert thin == pytest.approx(10 * thick, rel=0.02)


# The darkest place comes to harm while the middling one is cooler than the limit: never the other way round.
def test_the_line_drawn_is_on_the_safe_side():
    for coating, substrate in (("oil-varnish", "oak"), ("loose-rust", "mild-steel"), ("soot-crust", "limestone")):
        result = found(believed(coating, substrate), A)
        assert result["mean_limit_temperature_K"]["p50"] < result["limit_temperature_K"]["p50"]


def test_levels_in_words():
    assert level_words({"p5": 1.2e4, "p50": 2.13e4, "p95": 3.6e4}, "fluence") == "2.1 J/cm² (1.2 to 3.6)"
    assert level_words({"p5": 1.2e4, "p50": 2.13e4, "p95": None}, "fluence") == "2.1 J/cm² (1.2 J/cm² or more)"
    assert level_words({"p5": 1.2e4, "p50": None, "p95": None}, "fluence") == "out of reach, 1.2 J/cm² at best"
    assert level_words({"p5": None, "p50": None, "p95": None}, "fluence") == "out of reach"
    assert level_words(dict.fromkeys(("p5", "p50", "p95"), KELVIN + 200), "temperature") == "200 °C (200 to 200)"
    hot = {"p5": KELVIN + 900, "p50": KELVIN + 4000, "p95": KELVIN + 9000}
    assert level_words(hot, "temperature") == "over 3000 °C (900 °C or more)"
