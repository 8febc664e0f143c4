"""Every number in a sentence is the belief's: worked out here once more, from `grades_at` and the draws themselves."""

import re

import numpy as np
import pytest

import proofpatch as pp
from proofpatch.learn.forecast import FORECAST_DRAWS, grades_at
from proofpatch.learn.patches import graded_chances
from proofpatch.learn.recipe import recipe
from proofpatch.learn.rows import setting_rows
from proofpatch.learn.stopping import another_strip
from proofpatch.learn.surprise import surprises
from proofpatch.units import chance, percent

EASY = pp.Limits(p_clean=0.9, p_harm=0.05)
NUMBER = r"(?:over |under )?\d+(?:\.\d+)?(?:e[+-]\d+)?(?: %)?"


def numbers(sentence):
    return set(re.findall(NUMBER, sentence))


@pytest.fixture(scope="module", params=[0, 5])
def pan(request, greasy_pan):
    """As many draws as a window takes, so that both ask the same ones."""
    return pp.prior(greasy_pan, "pulsed-500", seed=request.param, draws=FORECAST_DRAWS)


def test_the_forecasts(pan):
    window = pp.forecast(pan)
    optical = (pan.layer[:, :, 2] * pan.layer[:, :, 0]).sum(axis=1)
    taken = np.sort((1 - pan.layer[:, 0, 3]) * -np.expm1(-optical))
    light = {percent(taken[int(np.ceil(q * len(taken) - 1e-9)) - 1]) for q in (0.05, 0.5, 0.95)}
    best = window.settings[window.best]
    p_clean, p_harm, _ = grades_at(pan, best)
    memory = sum(d.status == "memory" for d in pan.data)
    known = light | {chance(p_clean), chance(p_harm), chance(window.chance), f"{best.pulse_energy * 1e3:.3g}"}
    assert window.answer == "worth it"
    assert numbers(window.because) == known | {str(memory), str(len(pan.data))}


def test_where_nothing_is_worth_it(varnished_oak):
    belief = pp.prior(varnished_oak, "pulsed-500", draws=FORECAST_DRAWS)
    hard = pp.Limits(p_harm_patch=0.02)
    window = pp.forecast(belief, hard)
    object.__setattr__(window, "chance", 0.5)
    allowed = [grades_at(belief, s)[0] for s, p in zip(window.settings, window.p_harm, strict=True) if p <= 0.02]
    assert {chance(max(allowed)), "2 %", "50 %"} <= numbers(window.because)


def test_a_patchs(pan):
    limits = pp.Limits()
    strip = pp.next_patch(pan, limits, count=3)
    few = [p for p in strip if "if the gentler steps did none" in p.because]
    assert few == strip[1:]
    for i, patch in enumerate(strip, 1):
        place = set() if "It is the recipe" in patch.because else {str(i), str(len(strip))}
        assert numbers(patch.because) == {chance(patch.p_clean), chance(patch.p_harm)} | place
    # A fair share of the draws speaks for all: within what half of the draws would differ by.
    first = graded_chances(pan, pan, setting_rows([strip[0].setting], pan.laser))
    assert strip[0].p_clean == pytest.approx(float(pan.weight @ first.clean[:, 0]), abs=0.08)


def test_a_recipes(pan):
    found = pp.recipe(pan, EASY)
    p_clean, p_harm, _ = grades_at(pan, found.setting)
    assert numbers(found.because) == {"90 %", "5 %", chance(p_clean), chance(p_harm), "0"}
    assert "proven" not in found.because + found.binds


def test_no_recipes(varnished_oak):
    belief = pp.prior(varnished_oak, "pulsed-500", draws=FORECAST_DRAWS)
    found = recipe(belief, pp.Limits(p_clean=0.99, p_harm=0.001))
    window = pp.forecast(belief)
    assert found.setting is None
    said = [float(n.rstrip(" %")) for n in re.findall(r"(?:best is|clean of|least is) (\d+\.?\d*) %", found.because)]
    assert said
    assert "99 %" in numbers(found.because)
    assert max(said) >= 100 * float(window.p_clean[window.p_harm <= 0.001].max(initial=0.0)) - 0.5


def test_a_strips_worth(pan, varnished_oak):
    one = another_strip(pan, EASY, area=2.0)
    assert numbers(one.because) == {f"{one.seconds_spent / 60:.0f}"}
    belief = pp.prior(varnished_oak, "pulsed-500", draws=FORECAST_DRAWS)
    hard = pp.Limits(p_clean=0.97, p_harm=0.003)
    none = another_strip(belief, hard)
    said = {chance(pp.forecast(belief).chance), chance(none.chance_of_recipe), f"{none.seconds_spent / 60:.0f}"}
    assert numbers(none.because) == said


def test_a_surprises(oak_belief, at_work):
    steady = [pp.Graded(at_work(passes=n), r, "none") for n, r in ((1, "trace"), (4, "partial"), (8, "nearly"))]
    odd = at_work(passes=16)
    found = surprises(pp.update(oak_belief, [*steady, pp.Graded(odd, "no effect", "none")]))[0]
    panel = {f"{v:.3g}" for v in (odd.average_power, odd.repetition_rate / 1e3, odd.travel_speed * 1e3)}
    assert numbers(found.because) == panel | {"16", "3", chance(found.chance)}


def test_no_chance_reads_as_sure():
    assert [chance(p) for p in (0.0, 1e-9, 0.0012, 0.05, 0.5, 0.9989, 0.9999, 1.0)] == [
        "under 0.1 %", "under 0.1 %", "0.12 %", "5 %", "50 %", "99.9 %", "over 99.9 %", "over 99.9 %",
    ]  # fmt: skip
