"""The records: the contract's keys, figures that agree with the physics, nothing that JSON cannot hold."""

import json
import math

import pytest

import proofpatch as pp
from proofpatch import records
from proofpatch.learn.assumptions import assumptions
from proofpatch.learn.recipe import Recipe
from proofpatch.learn.stopping import Worth
from proofpatch.learn.surprise import expected
from proofpatch.materials import coating_data
from proofpatch.shop.log import setting_from
from proofpatch.sources import STATUS, cite


@pytest.fixture(scope="module")
def window(oak_belief):
    setting = pp.Setting(150.0, 12500.0, 1e-7, 0.45e-3, 0.1, 10.0, 0.05, 4)
    return pp.forecast(oak_belief, pp.Limits(), [setting, setting.with_(passes=8)])


def plain(record):
    """The record as a machine gets it; NaN and infinity are no JSON."""
    return json.loads(json.dumps(record, allow_nan=False))


# Identities of the definitions: overlap 1 − pitch/diameter; dose = E × pulses per area; rate × dose = power.
@pytest.mark.parametrize("passes", [1, 3])
@pytest.mark.parametrize("share", [0.0, 0.7, 1.0])
def test_bench_figures_agree_with_each_other(at_work, share, passes):
    setting = at_work().with_(passes=passes)
    r = plain(records.bench_record(setting, share))
    assert r["pulse_energy_J"] == pytest.approx(setting.pulse_energy)
    assert r["peak_fluence_J_m2"] == pytest.approx((2 - share) * r["mean_fluence_J_m2"])
    assert r["mean_fluence_J_m2"] * math.pi * setting.spot_radius**2 == pytest.approx(r["pulse_energy_J"])
    for kind in ("pulse", "line"):
        assert r[f"{kind}_overlap"] == pytest.approx(1 - r[f"{kind}_pitch_m"] / (2 * setting.spot_radius))
    assert r["pulses_per_m2"] == pytest.approx(passes / (r["pulse_pitch_m"] * r["line_pitch_m"]))
    assert r["dose_J_m2"] == pytest.approx(r["pulse_energy_J"] * r["pulses_per_m2"])
    assert r["dose_J_m2"] * r["area_rate_m2_s"] == pytest.approx(setting.average_power)
    assert setting_from(r["setting"]) == setting


def test_a_forecast_names_its_best_setting_and_what_it_rests_on(window):
    r = plain(records.forecast_record(window))
    assert r["best"]["p_clean"] == pytest.approx(window.p_clean[window.best])
    assert setting_from(r["best"]["setting"]) == window.settings[window.best]
    assert r["because"] == window.because
    memory = sum(1 for datum in window.belief.data if datum.status == "memory")
    assert any(line.startswith(f"{memory} of the {len(window.belief.data)} values") for line in r["assumptions"])
    assert any("thickness of layer 0" in line for line in r["assumptions"])


def test_each_source_is_named_once_published_first_memory_last(window):
    data = (*window.belief.data, *assumptions().values())
    lines = records.sources_of(data)
    assert len(lines) == len(set(lines)) == len({cite(datum) for datum in data})
    ranks = [min(STATUS.index(datum.status) for datum in data if cite(datum) == line) for line in lines]
    assert ranks == sorted(ranks)
    assert lines[-1] == "from memory, unverified"


def test_what_the_owner_measured_is_not_said_to_be_unmeasured():
    layer = pp.Layer("oil-varnish", thickness=90e-6, condition="aged")
    told = pp.prior(pp.Surface([layer], "oak", "aged", substrate_thickness=0.02), "pulsed-500", draws=64)
    lines = " ".join(records.assumptions_of(told))
    assert "not measured" not in lines
    assert "a mixture" not in lines
    free = pp.prior(told.surface, "pulsed-500", pp.Hand(starts="free"), draws=64)
    assert "may stand still for 0.1 s" in " ".join(records.assumptions_of(free))
    vague = pp.prior(pp.Surface(["latex-paint"], "oak"), "pulsed-500", draws=64)
    assert "a mixture of what it may be" in " ".join(records.assumptions_of(vague))


def test_patches_or_why_there_are_none(at_work, window):
    patch = pp.Patch(at_work(), 0.5, 0.01, "because")
    laid = plain(records.patches_record(Worth(True, 60.0, 200.0, 0.3, "Lay it.", (patch,), 0.1), window))
    assert laid["patches"][0]["p_clean"] == 0.5
    assert (laid["pays"], laid["seconds_saved_s"], laid["pays_because"]) == (True, 60.0, "Lay it.")
    none = records.patches_record(Worth(False, 0.0, 0.0, 0.0, "No.", (), 0.07), window)
    assert none["patches"] == []
    assert "7 %" in none["because"]


def test_a_recipe_and_its_hours(at_work, oak_belief):
    margins = {knob: (1.0, 2.0) for knob in records.MARGIN_KEYS}
    found = Recipe(at_work(), "because", 0.96, 0.01, 1e-3, margins, at_work(passes=2), "strip")
    r = plain(records.recipe_record(found, pp.hours(found, oak_belief, [1.0])))
    assert set(r["margins"]) == set(records.MARGIN_KEYS.values())
    assert r["time_s"]["p10"] < r["time_s"]["p50"] < r["time_s"]["p90"]
    assert r["gentler"]["passes"] == 2
    none = plain(records.recipe_record(Recipe(None, "None: x", 0.1, 0.2, 0.0, {}, None, "strip")))
    assert none["setting"] is none["gentler"] is None
    assert "time_s" not in none


@pytest.mark.parametrize(
    ("answer", "keys"),
    [
        ("forecast", "answer chance because best assumptions sources"),
        ("patch", "patches because"),
        ("recipe", "setting because governs p_clean p_harm area_rate_m2_s margins gentler"),
        ("grade", "written because"),
    ],
)
def test_a_refusal_has_the_shape_of_its_answer(answer, keys):
    r = plain(records.refusal_record(answer, "Stop: no."))
    assert set(keys.split()) <= set(r)
    assert r["because"] == "Stop: no."
    assert not [value for key, value in r.items() if key in ("best", "setting", "gentler", "written") and value]


def test_what_a_patch_taught(window, at_work):
    graded = pp.Graded(at_work(), "partial", "none")
    r = plain(records.graded_record("a.jsonl", window, window, graded))
    assert r["expected_chance"] == expected(window.belief, graded)
    assert r["surprises"] == []
    assert r["chance"] == r["chance_before"] == window.chance
    assert r["patches"] == 0


def test_lasers_and_data():
    laser = plain(records.laser_record(pp.laser("pulsed-500")))
    # 500 W / 25 mJ = 20 kHz from 200 ns up; a Rayleigh range of about 12 mm (design §8).
    assert laser["energy_limits"][2] == pytest.approx(
        {"pulse_width_s": 200e-9, "max_energy_J": 25e-3, "corner_rate_Hz": 20e3}
    )
    assert laser["rayleigh_range_m"] == pytest.approx(12e-3, rel=0.01)
    for datum in coating_data("oil-varnish", "clear", "aged").values():
        r = plain(records.datum_record(datum))
        assert (r["status"] == "memory") == (r["source"] == "from memory, unverified")
