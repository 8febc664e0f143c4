"""The bench: its figures are physics', its ratios right, its map holds the dose it prints."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import proofpatch as pp
from proofpatch import bench
from proofpatch.bench import FIGURES, lay_out, middle, ratios, shown
from proofpatch.bench_levels import _bare, level_words
from proofpatch.cli import cli
from proofpatch.errors import InputError
from proofpatch.learn.rows import setting_rows
from proofpatch.physics import rows as at
from proofpatch.physics.sweep import mean_dose
from proofpatch.physics.trains import place_train

LASER = pp.laser("pulsed-500")
A = pp.Setting(300.0, 20e3, 200e-9, 0.45e-3, 0.04, 10.0, 0.05, 3)
KNOBS = ["--laser", "pulsed-500", "--power", "300 W", "--rate", "20 kHz", "--width", "200 ns", "--sweep-width", "40 mm"]
PIECE = ["--coating", "oil-varnish", "--coating-condition", "aged", "--substrate", "oak"]


@pytest.fixture(scope="module")
def sides(varnished_oak):
    belief = pp.prior(varnished_oak, LASER, draws=256)
    other = A.with_(average_power=150.0, pattern="sine")
    return lay_out([A, other], LASER.top_hat_share, LASER, belief)


def test_the_map_holds_the_dose_it_prints(sides):
    first = sides[0]
    inner = np.abs(first.across) <= A.sweep_width / 4
    wanted = mean_dose(A.average_power, A.sweep_width, A.travel_speed)
    # One stroke of a hand that varies by a few percent.
    assert first.profile[inner].mean() == pytest.approx(wanted, rel=0.1)
    assert first.record["dose_J_m2"] == pytest.approx(3 * wanted)
    assert first.record["dose_middle_J_m2"] == pytest.approx(wanted, rel=0.2)


def test_crowded_pulses_are_drawn_together_with_the_same_dose():
    crowded = A.with_(repetition_rate=1e6, sweep_speed=0.5, sweep_width=5e-3, travel_speed=0.4e-3)
    (side,) = lay_out([crowded], LASER.top_hat_share, LASER)
    assert side.record["dose_middle_J_m2"] == pytest.approx(side.record["dose_pass_J_m2"], rel=0.12)


# Every pulse drawn, of the same stroke, is the reference.
@pytest.mark.parametrize("pattern", ["line", "sine"])
def test_drawing_several_as_one_moves_no_figure(pattern, monkeypatch):
    crowded = A.with_(repetition_rate=500e3, travel_speed=0.01, pattern=pattern)
    (few,) = lay_out([crowded], LASER.top_hat_share, LASER)
    monkeypatch.setattr(bench, "MOST_PULSES", 9_000_000)
    (every,) = lay_out([crowded], LASER.top_hat_share, LASER)
    assert few.map.shape == every.map.shape
    for key in ("dose_edge_J_m2", "dose_middle_J_m2"):
        assert few.record[key] == pytest.approx(every.record[key], rel=5e-3)
    assert few.map == pytest.approx(every.map, abs=0.1 * every.map.max())


def test_a_middle_that_is_hardly_hit_has_no_ratio():
    sparse = pp.Setting(0.01, 1e3, 1e-9, 10e-6, 1e-3, 20.0, 1.0)
    (side,) = lay_out([sparse], 0.7, None)
    assert side.record["edge_over_middle"] is None
    assert np.all(side.profile >= 0)


def test_a_stroke_of_endless_pulses_is_refused_in_one_sentence():
    with pytest.raises(InputError, match="Move the hand faster"):
        lay_out([A.with_(spot_radius=5e-6, sweep_width=1.0, repetition_rate=1e8, travel_speed=1e-5)], 0.7, None)


def test_ratios_are_of_the_figures(sides):
    found = ratios(*sides)
    assert found["pulse_energy_J"] == pytest.approx(0.5)
    assert found["area_rate_m2_s"] == pytest.approx(1.0)
    assert found["edge_over_middle"] > 2
    first, second = (side.record["coating_threshold_J_m2"]["p50"] for side in sides)
    assert found["coating_threshold_J_m2"] == pytest.approx(second / first)
    # Degrees have no ratio; everything else that is shown has one.
    assert {key for key in FIGURES if FIGURES[key][1] != "temperature"} - set(found) <= {
        "dose_to_clean_J_m2",
        "flash_limit_J_m2",
    }


def test_a_figure_without_a_middle_is_said_so():
    assert shown({"dose_to_clean_J_m2": {"p5": 1.0, "p50": None, "p95": None}}, "dose_to_clean_J_m2") == "none"
    assert shown({"pulses_per_m2": 4e6}, "pulses_per_m2") == "4"


def test_the_chances_are_the_forecasts(sides, varnished_oak):
    belief = pp.prior(varnished_oak, LASER, draws=256)
    window = pp.forecast(belief, settings=[A])
    assert sides[0].record["p_clean"] == pytest.approx(float(window.p_clean[0]))
    assert sides[0].record["p_harm"] == pytest.approx(float(window.p_harm[0]))


# The curve is the hottest place of the layered solver with properties that move with temperature; on a sinusoidal turn
# the closed form counts every pulse as that much stronger, the curve only as that much nearer.
def test_the_curve_is_about_as_hot_as_the_closed_form(sides):
    for side, least in zip(sides, (0.7, 0.5), strict=True):
        assert least * side.record["peak_rise_K"] < side.face.max() < 1.2 * side.record["peak_rise_K"]
        assert side.hottest[0] == pytest.approx(side.face.max(), rel=0.15)
        assert np.all(np.diff(side.seconds) >= 0)


# With steady properties only the forms themselves differ: the solver lets nothing spread sideways.
def test_with_steady_properties_the_curve_is_the_closed_forms(varnished_oak, monkeypatch):
    def steady(*_):
        raise ValueError

    monkeypatch.setattr(bench, "substrate_curve", steady)
    belief = pp.prior(varnished_oak, LASER, draws=256)
    sub, row = middle(belief)[1], setting_rows([A], LASER)[0]
    face = bench._course(A, row, belief, sub, 1.0)[1]
    assert face.max() == pytest.approx(float(_bare(row, sub)[1]), rel=0.2)


# Four times as many places as are drawn from find none hotter by more than a few percent.
def test_no_place_is_hotter_than_the_one_drawn(varnished_oak):
    held = 1e-4
    for setting in (A, A.with_(travel_speed=0.2, repetition_rate=5e3)):
        starts, fluences = bench._hottest_train(setting, setting_rows([setting], LASER)[0], held)
        drawn, _ = bench._hottest(starts, fluences, held)
        finer = [
            place_train(setting, LASER.top_hat_share, a, b) for a in np.arange(16) / 16 for b in np.arange(16) / 16
        ]
        assert max(bench._hottest(*train, held)[0] for train in finer if train[0].size) < 1.05 * drawn


def test_too_many_pulses_leave_the_rest_of_the_bench(varnished_oak):
    belief = pp.prior(varnished_oak, LASER, draws=64)
    crowded = A.with_(repetition_rate=1e6, sweep_speed=0.1, travel_speed=0.5e-3, sweep_width=0.01)
    (side,) = lay_out([crowded], LASER.top_hat_share, LASER, belief)
    assert not side.seconds.size
    assert side.record["peak_rise_K"] > 0
    assert "not followed" in side.limits[-1]


def test_leaving_out_the_courses_changes_nothing_else(varnished_oak):
    belief = pp.prior(varnished_oak, LASER, draws=64)
    (short,), (full,) = (lay_out([A], LASER.top_hat_share, LASER, belief, courses=c) for c in (False, True))
    assert short.record == full.record
    assert short.limits == full.limits
    assert full.seconds.size > short.seconds.size == 0


def test_the_share_given_counts_on_the_surface_too(varnished_oak):
    belief = pp.prior(varnished_oak, LASER, draws=256)
    flat, round_ = (lay_out([A], share, LASER, belief)[0].record for share in (1.0, 0.0))
    assert round_["peak_rise_K"] > 1.05 * flat["peak_rise_K"]


def test_every_sentence_has_its_figure_in_the_record(sides):
    for side in sides:
        said, r = " ".join(side.limits), side.record
        for key, kind in (("coating_threshold_J_m2", "fluence"), ("dose_to_tint_J_m2", "fluence"),
                          ("band_temperature_K", "temperature"), ("limit_temperature_K", "temperature")):  # fmt: skip
            assert level_words(r[key], kind) in said
    assert "in each of 3 passes" in said


def test_the_middle_is_the_median(varnished_oak):
    belief = pp.prior(varnished_oak, LASER, draws=257)
    layer, sub = middle(belief)
    assert sub[at.ABSORPTANCE] == pytest.approx(np.median(belief.substrate[:, at.ABSORPTANCE]))
    assert layer[0, at.THICKNESS] == pytest.approx(np.median(belief.layer[:, 0, at.THICKNESS]))


def test_without_a_surface_nothing_is_said_of_heat():
    (side,) = lay_out([A], LASER.top_hat_share, LASER)
    assert not side.seconds.size
    assert side.limits == ()
    assert "p_clean" not in side.record


def run(*words):
    return CliRunner().invoke(cli, ["bench", *words])


def test_two_settings_in_json():
    found = json.loads(run(*KNOBS, "--against", "power=150 W", "--json").output)
    assert found["against"]["pulse_energy_J"] == pytest.approx(0.5 * found["pulse_energy_J"])
    assert found["ratios"]["pulse_energy_J"] == pytest.approx(0.5)
    assert found["limits"] == []


def test_a_surface_and_a_picture(tmp_path: Path):
    file = tmp_path / "bench.svg"
    answer = run(*KNOBS, *PIECE, "--picture", str(file))
    assert answer.exit_code == 0, answer.output
    assert "governs harm" in answer.output
    assert "class 4" in answer.output
    assert file.read_text(encoding="utf-8").startswith("<svg")
    assert not [p for p in tmp_path.iterdir() if p != file]


def test_json_has_the_levels_and_no_number_that_is_none():
    found = json.loads(run(*KNOBS, *PIECE, "--json").output, parse_constant=pytest.fail)
    for key in ("coating_threshold_J_m2", "flash_limit_J_m2", "dose_to_clean_J_m2", "dose_to_tint_J_m2",
                "limit_temperature_K", "band_temperature_K", "peak_temperature_K"):  # fmt: skip
        assert set(found[key]) == {"p5", "p50", "p95"}
    assert found["dose_to_tint_J_m2"]["p5"] < found["dose_to_tint_J_m2"]["p50"]


def test_a_narrow_picture_is_narrower(tmp_path: Path):
    for name, more in (("wide.svg", ()), ("narrow.svg", ("--narrow",))):
        assert run(*KNOBS, "--against", "power=150 W", "--picture", str(tmp_path / name), *more).exit_code == 0
    wide, narrow = (float((tmp_path / f"{n}.svg").read_text().split('width="')[1].split('"')[0])
                    for n in ("wide", "narrow"))  # fmt: skip
    assert narrow <= 360 < 680 < wide <= 760


@pytest.mark.parametrize(
    ("words", "field"),
    [
        (["--against", "power"], "--against"),
        (["--against", "colour=red"], "--against"),
        (["--against", ";"], "--against"),
        (["--against", "power=5 kHz"], "--against"),
        (["--against", "power=900 W"], "--against"),
        (["--pattern", "spiral"], "--pattern"),
        (["--picture", "bench.pdf"], "--picture"),
        (["--picture", "/no/such/place/bench.svg"], "--picture"),
        (["--coating", "varnish"], "--substrate"),
    ],
)
def test_bad_input_is_one_sentence(words, field):
    answer = run(*KNOBS, *words)
    assert isinstance(answer.exception, InputError)
    assert answer.exception.field == field
