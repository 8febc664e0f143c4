"""The bench: its figures are physics', its ratios right, its map holds the dose it prints."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import proofpatch as pp
from proofpatch.bench import lay_out, middle, ratios
from proofpatch.cli import cli
from proofpatch.errors import InputError
from proofpatch.physics import rows as at
from proofpatch.physics.sweep import mean_dose

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
    assert first.record["dose_middle_J_m2"] == pytest.approx(wanted, rel=0.12)


def test_ratios_are_of_the_figures(sides):
    found = ratios(*sides)
    assert found["pulse_energy_J"] == pytest.approx(0.5)
    assert found["area_rate_m2_s"] == pytest.approx(1.0)
    assert found["edge_over_middle"] > 2


def test_the_chances_are_the_forecasts(sides, varnished_oak):
    belief = pp.prior(varnished_oak, LASER, draws=256)
    window = pp.forecast(belief, settings=[A])
    assert sides[0].record["p_clean"] == pytest.approx(float(window.p_clean[0]))
    assert sides[0].record["p_harm"] == pytest.approx(float(window.p_harm[0]))


# The layered solver's peak and the closed form's stand side by side: they must tell of the same place, within what
# properties that move with temperature and one place of four leave open.
def test_the_curve_is_about_as_hot_as_the_closed_form(sides):
    for side in sides:
        assert 0.55 * side.record["peak_rise_K"] < side.face.max() < 1.2 * side.record["peak_rise_K"]
        assert side.hottest[0] == pytest.approx(side.face.max(), rel=0.15)
        assert np.all(np.diff(side.seconds) >= 0)


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


@pytest.mark.parametrize(
    ("words", "field"),
    [
        (["--against", "power"], "--against"),
        (["--against", "colour=red"], "--against"),
        (["--against", ";"], "--against"),
        (["--against", "power=5 kHz"], "--against"),
        (["--against", "power=900 W"], "--against"),
        (["--picture", "bench.pdf"], "--picture"),
        (["--picture", "/no/such/place/bench.svg"], "--picture"),
        (["--coating", "varnish"], "--substrate"),
    ],
)
def test_bad_input_is_one_sentence(words, field):
    answer = run(*KNOBS, *words)
    assert isinstance(answer.exception, InputError)
    assert answer.exception.field == field
