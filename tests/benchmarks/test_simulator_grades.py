"""What the judge says of a laid patch: grades, slips, verdicts, and the study that sets forecasts beside them."""

import math

import numpy as np
import pytest
import simulator
import simulator_study
import simulator_tile as tiles
import simulator_truth as truths
from made_piece import OAK, SETTING, drawn, piece, rng

import proofpatch as pp
from proofpatch.physics.strokes import STEADY

pytestmark = pytest.mark.usefixtures("small_tiles")


@pytest.mark.parametrize(
    ("covered", "thinned", "word"),
    [
        (0.0, 1.0, "clean"), (0.01, 1.0, "clean"), (0.05, 0.9, "nearly"), (0.5, 0.6, "partial"), (0.95, 0.3, "trace"),
        (1.0, 0.06, "trace"), (1.0, 0.04, "no effect"),
    ],
)  # fmt: skip
def test_residue_follows_the_share_left(covered, thinned, word):
    assert pp.RESIDUES[simulator.residue_of(covered, thinned)] == word


# The design's words: harm is a tint or worse on more than 0.1 %, or any mark over 3 mm.
@pytest.mark.parametrize(
    ("shares", "mark", "word"),
    [
        ((0.0009, 0.0, 0.0), 0.0, "none"), ((0.002, 0.0005, 0.0), 0.0, "tint"), ((0.0005, 0.0, 0.0), 4e-3, "tint"),
        ((0.3, 0.01, 0.0005), 5e-3, "marked"), ((0.5, 0.2, 0.1), 5e-3, "burnt"),
    ],
)  # fmt: skip
def test_harm_follows_the_shares(shares, mark, word):
    assert pp.HARMS[simulator.harm_of(shares, mark)] == word


def seen_with(covered):
    start = 50e-6
    return simulator.Seen(covered, (1 - covered) * start, start, 0.0, 0.0, 0.0, 0.0, 0.0, 100.0, SETTING, ())


def test_wrong_grades_are_as_many_as_asked_and_mostly_neighbours():
    truth = piece(grader=truths.GraderTruth(0.0, 0.0, 0.0, 0.2))
    chance, right = rng(), pp.RESIDUES.index("partial")
    said = np.array([pp.RESIDUES.index(simulator.grade(seen_with(0.4), truth, chance).residue) for _ in range(3000)])
    assert np.mean(said != right) == pytest.approx(0.2, abs=0.025)
    off = np.abs(said - right)[said != right]
    assert np.mean(off == 1) == pytest.approx(0.8 + 0.2 * 0.5, abs=0.05)  # two of the four others are neighbours


def test_an_eye_slips_near_an_edge_only():
    truth = piece(grader=truths.GraderTruth(0.3, 0.0, 0.0, 0.0))
    chance = rng()
    near = [simulator.grade(seen_with(0.095), truth, chance).residue for _ in range(300)]
    far = [simulator.grade(seen_with(0.4), truth, chance).residue for _ in range(300)]
    assert 0.3 < np.mean([word == "nearly" for word in near]) < 0.8
    assert set(far) == {"partial"}


def test_a_patch_is_graded_with_the_speed_really_moved():
    truth = drawn("oil-varnish", "oak")
    found = [simulator.grade(simulator.lay_patch(truth, SETTING, rng(s), size=0.01), truth, rng(s)) for s in range(12)]
    speeds = np.array([graded.moved().travel_speed for graded in found])
    assert np.log(speeds / 0.05).std() == pytest.approx(math.hypot(0.5 * truth.hand.speed_spread, 0.03), rel=0.5)
    assert simulator.grade(seen_with(0.4), truth, rng()).seconds is None


def test_a_smaller_spot_needs_its_own_tile():
    truth = drawn("oil-varnish", "oak")
    seen = simulator.lay_patch(truth, SETTING, rng(), size=0.01)
    with pytest.raises(ValueError, match="too small"):
        simulator.lay_patch(truth, SETTING.with_(spot_radius=0.1e-3), rng(), state=seen)


def test_a_spot_is_as_wide_as_its_longest_side():
    there = np.zeros((20, 30), bool)
    there[3, 4:12] = there[4, 12] = there[18, 28] = True
    assert simulator.widest(there, 1e-3) == pytest.approx(9e-3)
    assert simulator.widest(np.zeros((3, 3), bool), 1e-3) == 0.0


def test_a_finished_surface_is_judged_by_the_contract():
    gentle = piece(film={"thickness": 20e-6, "threshold": 2e3, "depth": 10e-6, "absorption": 1e5})
    kind = gentle.with_(ground={"absorptance": 1e-3})
    found = simulator.finished(kind, SETTING.with_(passes=2), rng(), thorough=False)
    assert (found.clean, found.harmless) == (True, True)
    # The same piece laid with free starts: the line stands still on black wood.
    black = gentle.with_(ground=OAK | {"absorptance": 0.9}, hand=tiles.replace(STEADY, stop_seconds=0.1))
    assert not simulator.finished(black, SETTING.with_(passes=2), rng(), thorough=False).harmless
    weak = simulator.finished(gentle, SETTING.with_(average_power=5.0), rng(), thorough=False)
    assert (weak.clean, weak.seen.covered) == (False, 1.0)


def test_the_study_sets_forecast_beside_outcome(monkeypatch):
    monkeypatch.setattr(simulator_study, "PIECES", simulator_study.PIECES[:1])
    monkeypatch.setattr(simulator_study, "WANTED", (0.6,))
    lines = simulator_study.study(truths=1, workers=1)
    cells = [float(cell) for cell in lines[2].strip("| ").split(" | ")[1:]]
    assert cells[0] == 1
    assert all(0.0 <= cell <= 1.0 for cell in cells[1:])
