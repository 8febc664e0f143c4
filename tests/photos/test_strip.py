"""Several photos of one step. The weighted mean and its widening: Birge, Phys. Rev. 40 (1932) 207 (from memory)."""

from dataclasses import replace

import numpy as np
import pytest

from proofpatch.errors import InputError
from proofpatch.photos.grade import Seen
from proofpatch.photos.grades import residue_chances, residue_of, tone_chances, worse_of
from proofpatch.photos.strip import TOGETHER, combine

NONE = {"none": 0.9, "tint": 0.1, "marked": 0.0, "burnt": 0.0}
BURNT = {"none": 0.0, "tint": 0.0, "marked": 0.2, "burnt": 0.8}


def seen(left, error, harm="none", chances=None):
    chances = NONE if chances is None else chances
    return Seen(
        left, error, 0.0, None, 0.0, 0.0, (), 0.0, 0.0, None, 0.0, None if left is None else residue_of(left), None,
        harm, chances if harm else None, (), (), np.zeros((4, 4), np.uint8),
    )  # fmt: skip


def test_the_surer_photo_weighs_more():
    both = combine([seen(0.20, 0.01), seen(0.23, 0.02)])
    assert both.fraction_left == pytest.approx((0.20 / 0.01**2 + 0.23 / 0.02**2) / (1 / 0.01**2 + 1 / 0.02**2))
    assert both.residue == "partial"
    # χ² of the two is 1.8, so the error widens by √1.8 over that of the weighted mean, 0.008944.
    assert both.fraction_error == pytest.approx(np.hypot(0.0089443 * np.sqrt(1.8), TOGETHER), rel=1e-4)


def test_photos_that_disagree_say_so():
    both = combine([seen(0.1, 0.01), seen(0.5, 0.01)])
    assert both.fraction_error > 0.1
    assert "disagree" in both.warnings[-1]


def test_the_worst_harm_counts_not_the_mean():
    both = combine([seen(0.0, 0.01), seen(0.0, 0.01, "burnt", BURNT), seen(0.0, 0.01)])
    assert both.harm == "burnt"
    assert both.harm_chances == BURNT


def test_a_photo_that_cannot_tell_is_left_out():
    both = combine([seen(None, None, None), seen(0.05, 0.01)])
    assert both.used == 1
    assert both.fraction_left == 0.05
    assert combine([seen(None, None, None)]).residue is None
    with pytest.raises(InputError, match="at least one"):
        combine([])


# Design §5: over 90 %, 10 to 90, 1 to 10, at most 1.
@pytest.mark.parametrize(
    ("left", "grade"),
    [(0.0, "clean"), (0.01, "clean"), (0.011, "nearly"), (0.10, "nearly"), (0.11, "partial"), (0.9, "partial"),
     (0.91, "trace"), (1.0, "no effect")],
)  # fmt: skip
def test_edges_of_the_residue_grades(left, grade):
    assert residue_of(left) == grade


# Normal tables: 84.134 % lie below one standard deviation above the mean.
def test_chance_of_a_grade_is_the_normal_one():
    chances = residue_chances(0.5, 0.4)
    assert sum(chances.values()) == pytest.approx(1)
    at_edge = residue_chances(0.08, 0.02)
    assert at_edge["partial"] == pytest.approx(1 - 0.84134, abs=2e-3)
    assert replace(seen(0.1, 0.1)).residue == "nearly"


def test_noise_alone_is_no_tint_and_a_large_change_is_burnt():
    grey = np.array([60.0, 5.0, 15.0])
    small = np.diag([0.3, 0.3, 0.3]) ** 2
    assert tone_chances(grey, np.zeros(3), np.eye(3))["none"] > 0.8
    assert tone_chances(grey, np.array([-15.0, 2, -3]), small)["burnt"] > 0.99
    assert tone_chances(grey, np.array([-1.6, 0.0, 0.8]), small)["tint"] > 0.7
    together = worse_of(NONE, BURNT)
    assert together["burnt"] == pytest.approx(0.8)
    assert sum(together.values()) == pytest.approx(1)
