"""A shop that is killed while it is written, a few times; benchmarks/killed.py does it two hundred times."""

import collections
from pathlib import Path

import numpy as np
import pytest
from killed import PAN, Hand, Sending, Tally, asked, run, said

from proofpatch.shop.database import FILE
from proofpatch.shop.people import add_note
from proofpatch.shop.store import Store

DOCUMENT = Path(__file__).resolve().parents[2] / "docs" / "reliability.md"


def test_what_was_answered_outlives_every_kill():
    tally = run(kills=4, seed=3, each=4, least=5)
    assert tally.troubles == []
    assert (tally.kills, tally.with_flight >= 2) == (4, True)
    assert tally.answered["notes"] > 5
    assert tally.answered["photo"] > 5
    assert sum(tally.answered.values()) >= sum(tally.in_flight.values())  # all of it was taken in the end


@pytest.fixture
def folder(tmp_path):
    """A shop with a note that was sent and answered, one in flight, one that nobody sent, and one twice."""
    store = Store.open(tmp_path / "shop")
    job = store.add("job", PAN, title="Skillet").id
    for words in ("answered", "nobody's", "twice", "twice"):
        add_note(store, job, words)
    store.close()
    return tmp_path / "shop", f"/jobs/{job}"


def of(job, *notes):
    hand = Hand("first", job, np.random.default_rng(1))
    for words, answered in notes:
        hand.sent.append(Sending(f"{job}/notes", [], (f"note {words}",), sent=1.0, answered=answered))
    return hand


def test_it_sees_what_is_lost_made_twice_or_never_sent(folder):
    place, job = folder
    sent = [("answered", 2.0), ("in flight", None), ("twice", 2.0), ("lost", 2.0), ("nobody's", None)]
    tally = Tally()
    asked(place, [of(job, *sent[:2])], tally, whole=False)
    assert sorted(tally.troubles) == [
        "note nobody's stands there and was never sent.", "note twice stands there and was never sent.",
    ]  # fmt: skip
    for whole, more in ((False, []), (True, ["note in flight was in flight and stands there 0 times."])):
        tally = Tally()
        asked(place, [of(job, *sent)], tally, whole=whole)
        assert sorted(tally.troubles) == sorted([
            "note lost was answered and stands there 0 times.", "note twice was answered and stands there 2 times.",
            *more,
        ])  # fmt: skip


def test_it_passes_on_what_the_check_says(folder):
    place, job = folder
    sent = [("answered", 2.0), ("twice", None), ("nobody's", None)]
    store = Store.open(place)
    with store.session() as session:
        session.connection().exec_driver_sql("UPDATE thing SET version = 7 WHERE title = 'answered'")
    store.close()
    assert (place / FILE).exists()
    tally = Tally()
    asked(place, [of(job, *sent)], tally, whole=False)
    assert any(one.startswith("check: The note 'answered'") for one in tally.troubles)


def test_what_is_kept_says_how_many_were_in_flight():
    text = DOCUMENT.read_text("utf-8")
    tally = Tally(kills=200, with_flight=199, in_flight=collections.Counter(notes=3), answered=collections.Counter())
    heads = [line.partition(":")[0] for line in said(tally, 60.0)[1:]]
    assert all(f"- {head}" in text for head in heads if not head.startswith("Of those"))
    assert "200 kills" in text
    assert "Lost, made twice, never sent, or a check that was not passed: 0." in text
