"""What is read again and again, and the sentence about a fall."""

import datetime

import proofpatch as pp
from proofpatch.lasers.history import follow
from proofpatch.lasers.readings import Reading
from proofpatch.lasers.watch import watched
from proofpatch.lasers.wording import advice


def day(month):
    return datetime.date(2026, month, 2)


def powers(*factors):
    return [Reading(day(m), power=[(150.0, 150.0 * f)]) for m, f in enumerate(factors, 1)]


def test_a_fall_of_power_says_by_how_much_since_when_and_what_to_do():
    (entry,) = watched(powers(0.97, 1.0, 0.99, 0.88))
    said = advice(entry)
    assert said.startswith(
        "The power at the work is down 12 % (9 % to 15 %) since 2 February 2026: clean or change the "
    )
    assert said.endswith("protective window, then read again.")
    assert "turn" not in said
    assert advice(watched(powers(0.97, 1.0, 0.99, 0.98))[0]) is None
    assert watched(powers(0.97)) == []
    assert "fell at once, between 2 April 2026 and 2 May 2026" in advice(
        watched(powers(1.0, 0.99, 1.0, 0.99, 0.85, 0.86, 0.85, 0.86))[0]
    )
    assert "fell slowly" in advice(watched(powers(1.0, 0.98, 0.96, 0.94, 0.92, 0.90, 0.88, 0.86))[0])


def test_only_like_settings_are_compared():
    low = [Reading(day(m), power=[(20.0, 20.0)]) for m in (1, 2)]
    (entry,) = watched([*low, *powers(0.9, 0.9)])
    assert not entry.trend.fallen
    assert advice(entry) is None


def test_burn_cards_are_compared_with_their_like_and_move_nothing():
    def card(month, material, energy, size):
        return Reading(day(month), cards=[(energy, size)] * 2, material=material)

    readings = [
        card(1, "thermal paper", 5e-3, 0.80e-3), card(2, "thermal paper", 5e-3, 0.79e-3),
        card(3, "thermal paper", 5e-3, 0.70e-3), card(3, "thermal paper", 10e-3, 0.95e-3),
        card(4, "black card", 5e-3, 0.4e-3),
    ]  # fmt: skip
    (entry,) = watched(readings)
    said = advice(entry)
    assert said.startswith("The mark on thermal paper at 5 mJ is 12 % (")
    assert "since" not in said
    assert "than on 2 January 2026" in said
    course = follow(pp.laser("pulsed-300"), readings)
    assert course.laser == pp.laser("pulsed-300")
    assert {finding.kind for finding in course.findings} == {"card"}
