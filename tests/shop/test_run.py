"""The run of a job: nothing written over, nothing of two devices lost, and where each zone stands."""

import datetime
import threading
import uuid

import numpy as np
import pytest

import proofpatch as pp
from proofpatch.errors import InputError
from proofpatch.run.piece import Piece
from proofpatch.shop.days import add_control, answer_check, day_of
from proofpatch.shop.log import graded_from, setting_to
from proofpatch.shop.run import (
    add_entry,
    checked_entry,
    checks_of_batch,
    entries_of,
    evidence_of,
    left_of,
    of_piece,
    state_of,
)
from proofpatch.shop.store import Repeated

OAK = Piece("oak", ("oil-varnish",))
DAY = datetime.date(2026, 3, 2)


def at(minute):
    return f"2026-03-02T{9 + minute // 60:02d}:{minute % 60:02d}:00+01:00"


def said(what, minute, **more):
    return {"what": what, "at": at(minute), **more}


@pytest.fixture
def job(store):
    return store.add("job", {}).id


def test_an_entry_is_kept_whole_and_taken_back_without_being_lost(store, job, at_work):
    data = said("check", 5, zone=1, setting=setting_to(at_work()), residue="clean", harm="none", wiped=True)
    kept = add_entry(store, job, data, zones=2)
    assert kept.data == checked_entry(data, 2)
    assert (kept.data["photos"], kept.data["seconds"], kept.data["words"]) == ([], None, "")
    store.delete("run", kept.id, kept.version)
    assert entries_of(store, job) == []
    (gone,) = entries_of(store, job, deleted=True)
    store.restore("run", gone.id, gone.version)
    assert [one.data for one in entries_of(store, job)] == [kept.data]


def test_entries_stand_in_the_order_of_their_own_clock(store, job):
    for minute in (30, 10, 20):  # a phone that was offline sends late
        add_entry(store, job, said("note", minute, words=str(minute)), zones=1)
    assert [one.data["words"] for one in entries_of(store, job)] == ["10", "20", "30"]


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"what": "start"}, "what"),
        ({"zone": 3}, "zone"),
        ({"zone": None}, "zone"),
        ({"zone": True}, "zone"),
        ({"at": "2026-03-02T09:00:00"}, "at"),
        ({"at": None}, "at"),
        ({"passes": 1.5}, "passes"),
        ({"seconds": -1}, "seconds"),
        ({"seconds": float("nan")}, "seconds"),
        ({"residue": "shiny"}, "residue"),
        ({"harm": "bad"}, "harm"),
        ({"wiped": "yes"}, "wiped"),
        ({"photos": ["../x"]}, "photos"),
        ({"words": "x" * 2001}, "words"),
        ({"words": "\x00"}, "words"),
        ({"sign": "tint"}, "sign"),
        ({"what": "incident", "sign": "none such"}, "sign"),
        ({"what": "note", "words": " "}, "words"),
        ({"what": "check"}, "residue"),
        ({"fraction_left": 0.1}, "residue"),
        ({"fraction_left": 0.5, "residue": "clean", "harm": "none", "setting": "at work"}, "fraction_left"),
        ({"setting": {"average_power_W": 1.0}}, "repetition_rate_Hz"),
        ({"colour": "red"}, "colour"),
    ],
)
def test_what_is_no_entry_is_named_at_its_field(changes, field, at_work):
    data = said("begin", 0, zone=1) | changes
    if data.get("setting") == "at work":
        data["setting"] = setting_to(at_work())
    with pytest.raises(InputError) as found:
        checked_entry(data, zones=2)
    assert found.value.field == field


def test_where_each_zone_stands():
    rows = [
        said("begin", 0, zone=1),
        said("end", 30, zone=1, passes=1),
        said("begin", 40, zone=1),
        said("end", 60, zone=1, passes=1),
        said("check", 61, zone=1, residue="nearly", harm="none"),
        said("begin", 70, zone=2),
    ]
    first, second, third = state_of(rows, zones=3, passes=2, now=datetime.datetime.fromisoformat(at(80)))
    assert (first.state, first.minutes, first.passes, first.grade) == ("done", 50.0, 2, ("nearly", "none"))
    assert (second.state, second.minutes, second.passes, second.grade) == ("begun", 10.0, 0, None)
    assert (third.state, third.minutes) == ("to do", 0.0)


def test_an_incident_stops_and_a_sign_to_pause_does_not():
    begun = said("begin", 0, zone=1)
    assert state_of([begun, said("incident", 5, zone=1, sign="dull")], 1)[0].state == "begun"
    for stop in (
        said("incident", 5, zone=1, sign="tint"),
        said("incident", 5, zone=1),
        said("incident", 5),  # names no zone: all that are begun
        said("check", 5, zone=1, residue="clean", harm="tint"),
    ):
        (one,) = state_of([begun, stop, said("end", 9, zone=1)], 1)
        assert (one.state, one.minutes) == ("stopped", 5.0)
        (one,) = state_of([begun, stop, said("begin", 20, zone=1), said("end", 30, zone=1)], 1)
        assert (one.state, one.minutes) == ("done", 15.0)


def test_a_grade_with_its_setting_becomes_a_line_of_the_patch_log_and_teaches(oak_belief, at_work):
    graded = said("check", 5, zone=1, setting=setting_to(at_work(passes=8)), residue="clean", harm="none", passes=6)
    no_setting = said("check", 6, zone=1, residue="clean", harm="none")
    no_harm = said("check", 7, zone=1, setting=setting_to(at_work()), residue="clean")
    (line,) = evidence_of([checked_entry(one, 1) for one in (graded, no_setting, no_harm)])
    found = graded_from(line, 1)
    assert (found.setting, found.residue, found.harm) == (at_work(passes=6), "clean", "none")
    assert line["when"] == at(5)
    clean = pp.forecast(oak_belief, settings=[at_work(passes=6)]).p_clean[0]
    taught = pp.forecast(pp.update(oak_belief, [found]), settings=[at_work(passes=6)]).p_clean[0]
    assert taught > clean


def test_a_grade_given_at_once_does_not_pass_for_one_of_the_next_day(at_work):
    check = {"setting": setting_to(at_work()), "residue": "clean", "harm": "none"}
    rows = [
        said("check", 0, zone=2, **check),
        said("end", 10, zone=1),
        said("check", 15, zone=1, **check),
        said("check", 300, zone=1, **check),
    ]
    whole = [checked_entry(one, 2) for one in rows]
    assert [line["waited"] for line in evidence_of(whole)] == [0.0, 300.0, 290 * 60.0]


def test_a_day_keeps_what_two_devices_answer_at_once(store, job):
    names = ["people", "eyewear", "circuits", "extraction", "fire", "window", "focus", "stops-tried"]
    threads = [
        threading.Thread(target=answer_check, args=(store, job, DAY, OAK, name, True), kwargs={"at": at(0)})
        for name in names
    ]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    found = day_of(store, job, DAY)
    assert sorted(found.data["checks"]) == sorted(names)
    assert len(store.all("day", job)) == 1


def test_a_day_that_a_phone_sends_twice_is_answered_once(store, job):
    sent = str(uuid.uuid4())
    for tries in range(2):
        try:
            with store.together(sent):
                answer_check(store, job, DAY, OAK, "wood-moisture", None, 0.12, at=at(tries))
        except Repeated:
            assert tries == 1
    found = day_of(store, job, "2026-03-02")
    assert (found.version, found.data["checks"]["wood-moisture"]) == (
        1,
        {"ok": True, "value": 0.12, "words": "", "at": at(0)},
    )


def test_a_control_patch_is_named_once_and_belongs_to_the_job(store, job):
    patch = store.add("patch", {}, job).id
    add_control(store, job, DAY, patch)
    assert add_control(store, job, DAY, patch).data["controls"] == [patch]
    other = store.add("patch", {}, store.add("job", {}).id).id
    with pytest.raises(InputError, match="no such patch"):
        add_control(store, job, DAY, other)


@pytest.fixture
def thought():
    rng = np.random.default_rng(1)
    day = np.exp(0.2 * rng.standard_normal(2000))
    return np.array([1800.0 * day, 3600.0 * day])


def test_what_is_left_follows_from_the_log(thought):
    rows = [said("begin", 0, zone=1), said("end", 45, zone=1)]  # 45 min for 30 thought
    found = left_of(thought, [1, 3], rows, passes=1, now=datetime.datetime.fromisoformat(at(45)))
    # All of the doubt is common here, so the rest is as slow as what is done.
    assert found.left[1] == pytest.approx(1.5 * 3600, rel=0.02)
    assert found.pace == pytest.approx(1.5, rel=0.01)
    opened = [*rows, said("begin", 50, zone=3)]
    then = left_of(thought, [1, 3], opened, passes=1, now=datetime.datetime.fromisoformat(at(80)))
    assert then.left[1] == pytest.approx(1.5 * 3600 - 1800, rel=0.02)


def test_passes_count_as_shares(thought):
    rows = [said("begin", 0, zone=1), said("end", 15, zone=1, passes=2)]
    found = left_of(thought, [1, 3], rows, passes=4)
    assert found.left[1] == pytest.approx(900 + 3600, rel=0.02)


def test_a_batch_is_counted_piece_by_piece(thought):
    rows = [said("begin", 0, zone=1, piece=2), said("end", 30, zone=1, piece=2), said("begin", 31, zone=1, piece=3)]
    assert state_of(of_piece(rows, 2), 3)[0].state == "done"
    assert state_of(of_piece(rows, 3), 3)[0].state == "begun"
    assert state_of(of_piece(rows, 1), 3)[0].state == "to do"
    found = left_of(10 * thought, [1, 3], rows[:2], passes=1, pieces=10)
    assert found.left[1] == pytest.approx(9 * 1800 + 10 * 3600, rel=0.02)


def test_the_checks_of_a_batch():
    rows = [
        said("check", 1, piece=1, residue="clean", harm="none"),
        said("check", 2, piece=10, residue="partial", harm="none"),
        said("check", 3, piece=10, residue="clean", harm="none"),
        said("check", 4, piece=20, residue="clean", harm="tint"),
        said("check", 5, piece=30, residue="nearly", harm="none"),
        said("check", 6, piece=21, photos=["0" * 64]),
    ]
    assert checks_of_batch(rows) == {1: True, 10: True, 20: False, 30: False}
