"""What stops, what follows harm, and which pieces of a batch are looked at: every line with its source."""

import re

import pytest

from proofpatch.errors import InputError
from proofpatch.materials import coating_ids, substrate_ids
from proofpatch.run.after import after_harm
from proofpatch.run.batch import batch, due_checks
from proofpatch.run.piece import Piece, holds, table
from proofpatch.run.stops import SENSES, sign, signs_of

TABLES = ("checks.toml", "stops.toml", "after.toml", "causes.toml")
KNOWN = {"any", "outdoors", "indoors", "ferrous", "porous", "wood", "metal", "mineral", "paper", *substrate_ids(),
         *coating_ids()}  # fmt: skip


@pytest.mark.parametrize("name", TABLES)
def test_every_ground_is_one_that_a_piece_can_have(name):
    for key, row in table(name).items():
        assert set(row.get("grounds", ())) | set(row.get("only", ())) <= KNOWN, key


def test_every_sign_says_what_it_is_and_what_then():
    for key in table("stops.toml"):
        one = sign(key)
        assert one.sense in SENSES
        assert one.level in ("stop", "pause")
        assert all((one.title, one.text, one.then, one.source)), key
        if one.level == "stop":
            assert re.match(r"Beam off", one.then), key
    with pytest.raises(InputError, match="not known"):
        sign("none such")


def test_no_line_ever_asks_for_a_stronger_setting():
    for name in TABLES:
        for key, row in table(name).items():
            for field in ("then", "next", "text", "ask", "stop", "cause"):
                said = row.get(field, "")
                assert not re.search(r"more power|raise|increase|(?<!not )turn up", said, re.IGNORECASE), (name, key)


# Safety reference, checklist line 16, with OSHA's hot work for the flame: these stop on any piece.
def test_the_stop_rules_of_the_safety_reference_are_there():
    oak = {one.name for one in signs_of(Piece("oak"))}
    assert {"acid-smell", "white-smoke", "duct-spark", "alarm", "window-broken", "people", "flame", "tint"} <= oak
    steel = {one.name for one in signs_of(Piece("tool-steel"))}
    assert {"bronze", "melt"} <= steel
    assert not {"white-smoke", "blister", "spall"} & steel
    assert "blister" in {one.name for one in signs_of(Piece("veneer-on-core"))}


@pytest.mark.parametrize("ground", substrate_ids())
def test_what_stops_stands_before_what_pauses_and_harm_is_answered_on_every_substrate(ground):
    piece = Piece(ground, ("wax",))
    levels = [one.level for one in signs_of(piece)]
    assert levels == sorted(levels, key=lambda one: one != "stop")
    found = after_harm(piece)
    assert found.now[0].text.startswith("Beam off")
    assert found.can, ground
    assert found.tell
    assert any("hotograph" in one.text for one in found.now)


def test_a_row_holds_where_its_grounds_and_its_only_do():
    row = {"grounds": ["wood"], "only": ["outdoors"]}
    assert holds(row, Piece("oak", outdoors=True))
    assert not holds(row, Piece("oak"))
    assert not holds(row, Piece("brass", outdoors=True))
    assert holds({}, Piece("brass"))


@pytest.mark.parametrize(
    ("pieces", "due"), [(1, (1,)), (2, (1, 2)), (10, (1, 10)), (25, (1, 10, 20, 25)), (30, (1, 10, 20, 30))]
)
def test_first_off_every_tenth_and_the_last(pieces, due):
    assert due_checks(pieces) == due


def test_the_second_piece_waits_for_the_first():
    start = batch(25, {})
    assert (start.next, start.hold) == (1, 2)
    assert "first-off" in start.words
    assert (batch(25, {1: True}).next, batch(25, {1: True}).hold) == (10, 11)
    assert batch(25, {1: True, 10: True, 20: True}).hold is None
    assert batch(3, {1: True, 3: True}).next is None


def test_after_a_bad_piece_all_since_the_last_good_one_are_in_doubt():
    found = batch(25, {1: True, 7: True, 10: False})
    assert (found.hold, found.suspect) == (11, (8, 9))
    assert "Stop the batch" in found.words
    assert batch(25, {1: False}).suspect == ()
    with pytest.raises(InputError):
        batch(0, {})
