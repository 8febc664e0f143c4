"""What a phone sends is made once, whole, or not at all."""

import threading
import uuid

import pytest

from proofpatch import InputError
from proofpatch.shop.store import Overtaken, Repeated


def once(store, sent, *notes):
    with store.together(sent):
        for said in notes:
            store.add("note", {"text": said})


def test_the_same_id_changes_nothing_the_second_time(store):
    sent = str(uuid.uuid4())
    assert not store.stands(sent)
    once(store, sent, "one", "two")
    with pytest.raises(Repeated):
        once(store, sent, "three")
    assert store.stands(sent)
    assert sorted(one.data["text"] for one in store.all("note")) == ["one", "two"]


def test_what_fails_inside_leaves_nothing_behind_and_may_come_again(store):
    sent = str(uuid.uuid4())
    with pytest.raises(InputError, match="cannot be kept"):
        once(store, sent, "half", float("nan"))
    assert (store.all("note"), store.stands(sent)) == ([], False)
    once(store, sent, "whole")
    assert [one.data["text"] for one in store.all("note")] == ["whole"]


def test_what_comes_too_late_is_kept_aside_and_its_id_may_come_again(store):
    sent, thing = str(uuid.uuid4()), store.add("note", {"text": "first"})
    store.change("note", thing.id, 1, {"text": "second"})
    with pytest.raises(Overtaken), store.together(sent):
        store.change("note", thing.id, 1, {"text": "late"})
    assert [past.data["text"] for past in store.history("note", thing.id) if past.what == "aside"] == ["late"]
    assert not store.stands(sent)
    with store.together(sent):
        store.change("note", thing.id, 2, {"text": "late"})
    assert store.get("note", thing.id).data["text"] == "late"


def test_of_twenty_senders_of_one_id_one_is_heard(store):
    sent, told = str(uuid.uuid4()), []

    def send(number):
        try:
            once(store, sent, str(number))
            told.append("made")
        except Repeated:
            told.append("repeated")

    threads = [threading.Thread(target=send, args=(number,)) for number in range(20)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert sorted(told) == ["made"] + ["repeated"] * 19
    assert len(store.all("note")) == 1
