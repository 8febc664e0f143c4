"""What comes after the work, and how a surface is described: the published figures, and no grade of any standard."""

import re

import pytest

from proofpatch.materials import substrate_ids
from proofpatch.run.care import PARTS, care_figures, care_of, shown
from proofpatch.run.piece import Piece, table
from proofpatch.run.visual import MOST_LEFT, limits, visual_of
from proofpatch.sources import STATUS, sources
from proofpatch.units import shown_in

DAY = 86400.0


# SSPC-SP 10 / ISO 8501-1 Sa 2 1/2: staining on at most 5 % of each unit area; SSPC-SP 6 / Sa 2: at most 33 %.
def test_the_visual_limits_are_the_published_ones():
    assert {name: datum.value for name, datum in limits().items()} == {"near_white": 0.05, "commercial": 0.33}


# Forest Products Laboratory, Wood Handbook, chapter 16: finish within two weeks, four weeks measurably hurt the paint.
# Canadian Conservation Institute Notes 9/6: iron rusts indoors from about 65 % relative humidity.
def test_the_windows_are_the_published_ones():
    known = care_figures()
    assert known["outdoor_wood"].value == 14 * DAY
    assert known["outdoor_wood_hurt"].value == 28 * DAY
    assert known["iron_humidity"].value == 0.65
    assert shown(known["outdoor_wood"]) == "2 weeks"
    assert shown(known["furniture_moisture"]) == "6 to 8 %"
    assert shown(known["blocker"]) == "1 to 2 days"
    assert shown(known["bare_steel"]) == "4 h"
    assert shown(known["above_dew"]) == "3 °C"
    with shown_in("us"):
        assert shown(known["above_dew"]) == "5.4 °F"


@pytest.mark.parametrize("name", ["care.toml", "visual.toml"])
def test_every_row_says_where_it_comes_from(name):
    for key, row in table(name).items():
        assert row["text"].strip(), key
        assert row["source"] in sources(), key
        assert row["status"] in STATUS, key
        assert row["locator"].strip(), key


def test_every_piece_is_told_something_and_no_figure_is_left_open():
    used = set()
    for key in substrate_ids():
        found = care_of(Piece(key))
        assert {one.part for one in found} >= {"first", "keep"}, key
        assert [list(PARTS).index(one.part) for one in found] == sorted(list(PARTS).index(one.part) for one in found)
        for one in found:
            assert not re.search(r"[{}]|None", one.text), one.name
            assert all(one.sources), one.name
            used.add(one.name)
    assert used == set(table("care.toml"))


@pytest.mark.parametrize(
    ("key", "said", "not_said"),
    [
        ("mild-steel", "within 4 h", "steel wool"), ("oak", "No steel wool", "rust again"),
        ("oak", "within 2 weeks", "flash rust"), ("cast-iron", "graphite", "zinc"),
        ("fired-brick", "after 1 week", "sealer is"), ("stainless-steel", "passivated", "Bare steel and iron"),
        ("galvanised-steel", "made for zinc", "graphite"), ("paper", "paper conservator", "rags"),
    ],
)  # fmt: skip
def test_each_piece_is_told_its_own(key, said, not_said):
    text = " ".join(one.text for one in care_of(Piece(key)))
    assert said in text
    assert not_said not in text


def test_a_limit_is_said_of_bare_steel_alone_and_only_where_it_is_kept():
    steel = Piece("mild-steel")
    assert "near-white blast cleaning, 5 %" in visual_of(steel, "clean", "none").left
    # The grade alone leaves up to a tenth; measured, it may be less.
    assert "commercial blast cleaning, 33 %" in visual_of(steel, "nearly", "none").left
    assert "near-white" in visual_of(steel, "nearly", "none", 0.04).left
    assert "commercial" in visual_of(steel, "nearly", "none", 0.06).left
    for residue, harm in (("partial", "none"), ("trace", "none"), ("clean", "tint"), ("clean", None)):
        assert "visual limit" not in visual_of(steel, residue, harm).left
    for key in ("oak", "fired-brick", "aluminium", "stainless-steel", "galvanised-steel"):
        assert "visual limit" not in visual_of(Piece(key), "clean", "none").left


def test_no_look_ever_claims_a_grade():
    for key in substrate_ids():
        for residue in (None, *MOST_LEFT):
            for harm in (None, "none", "tint", "marked", "burnt"):
                found = visual_of(Piece(key), residue, harm)
                assert "visual comparison only" in found.note
                assert "claims none" in found.note
                assert (found.left == "") == (residue is None)
                assert (found.surface == "") == (harm is None)
                said = f"{found.left} {found.surface}"
                assert not re.search(r"\bSa ?[123]|\bSP ?\d|conform|complies|certif|meets|\{", said)
                assert found.sources


def test_the_words_are_of_the_trade():
    assert visual_of(Piece("oak"), "clean", "none").left.startswith(
        "Bare wood: no finish to be seen on more than 1 part"
    )
    assert visual_of(Piece("limestone"), "clean", "none").left.startswith("An even face")
    assert "Heat tint" in visual_of(Piece("mild-steel"), "clean", "tint").surface
    assert "browner" in visual_of(Piece("pine"), "clean", "tint").surface
    assert "3 parts in 100" in visual_of(Piece("oak"), "nearly", "none", 0.03).left
