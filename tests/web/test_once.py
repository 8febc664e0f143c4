"""What a phone kept and sends later: once, whole, or refused in words; without a browser."""

import datetime
import uuid
from concurrent.futures import ThreadPoolExecutor

import pytest
from made_pages import laid, seen
from made_photo import shot

from proofpatch.web.once import AT, MADE, SENT, written


def send(client, path, form, sent=None, photo=None, when=None):
    sent = sent or str(uuid.uuid4())
    files = {"photo": ("a1.jpg", photo, "image/jpeg")} if photo else None
    answer = client.post(path, data=form, files=files, headers={SENT: sent} | ({AT: when} if when else {}))
    assert answer.headers[SENT] == sent
    return answer, sent


def test_a_grade_with_its_photo_is_made_once_and_dated_when_it_was_judged(client, store, pan):
    step = laid(client, pan)
    when = (datetime.datetime.now(datetime.UTC) - datetime.timedelta(hours=3)).isoformat(timespec="seconds")
    form = {"step": step, "residue": "clean", "harm": "none", "seconds": "2 s", "length": "100 mm"}
    answer, sent = send(client, f"{pan}/patches", form, photo=shot(), when=when)
    assert (answer.status_code, answer.json()) == (200, {"made": True})
    for _ in range(3):
        answer, _ = send(client, f"{pan}/patches", form, sent, photo=shot(), when=when)
        assert answer.json() == {"made": True}
    (patch,), (photo,) = store.all("patch"), store.all("photo")
    assert (patch.data["when"], patch.data["seconds"], photo.data["about"]) == (when, 2.0, "A1")


def test_of_many_senders_of_one_note_one_is_heard(client, store, job):
    sent = str(uuid.uuid4())
    with ThreadPoolExecutor(6) as hands:
        answers = list(hands.map(lambda _: send(client, f"{job}/notes", {"note": "dry"}, sent)[0], range(12)))
    assert {answer.status_code for answer in answers} == {200}
    assert len(store.all("note")) == 1


def test_a_note_is_dated_when_it_was_written(client, store, job):
    when = datetime.datetime.now(datetime.UTC) - datetime.timedelta(days=2)
    send(client, f"{job}/notes", {"note": "dry"}, when=when.isoformat(timespec="seconds"))
    assert when.astimezone().strftime("%d %b, %H:%M") in seen(client.get(f"{job}/piece"))


def test_what_is_overtaken_is_refused_in_words_and_changes_nothing(client, store, pan):
    step = laid(client, pan)
    form = {"step": step, "residue": "clean", "harm": "none"}
    assert client.post(f"{pan}/patches", data=form).status_code == 303
    # The same grade by another device: its photo would be lost if this counted as pressed twice.
    answer, sent = send(client, f"{pan}/patches", form, photo=shot())
    assert (answer.status_code, "A1 does not wait for a grade" in seen(answer)) == (422, True)
    assert (len(store.all("patch")), store.all("photo"), store.stands(sent)) == (1, [], False)
    (strip,) = store.all("strip")
    store.change("strip", strip.id, strip.version, {**strip.data, "ended": True})
    answer, sent = send(client, f"{pan}/strips/{strip.id}/end", {"version": strip.version})
    assert (answer.status_code, store.stands(sent)) == (409, False)
    answer, sent = send(client, f"{pan}/strips/{strip.id}/end", {"version": strip.version + 1})
    assert (answer.status_code, store.stands(sent)) == (200, True)
    answer, _ = send(client, f"{pan}/notes", {"note": " "})
    assert answer.status_code == 422


def test_a_photo_that_is_none_does_not_cost_the_grade(client, store, pan):
    form = {"step": laid(client, pan), "residue": "clean", "harm": "none"}
    answer, sent = send(client, f"{pan}/patches", form, photo=b"no picture")
    assert (answer.status_code, answer.headers[MADE]) == (422, "yes")
    assert "The grade is kept, the photo is not" in seen(answer)
    assert (len(store.all("patch")), store.stands(sent)) == (1, True)
    answer, _ = send(client, f"{pan}/photo", {"about": "the rim"}, photo=shot())
    assert [one.data["about"] for one in store.all("photo")] == ["the rim"]


def test_a_photo_of_a_strip_is_one_photo_however_often_it_is_sent(client, store, pan):
    laid(client, pan)
    (strip,) = store.all("strip")
    answer, sent = send(client, f"{pan}/strips/{strip.id}/photo", {}, photo=b"no picture")
    assert (answer.status_code >= 400, store.stands(sent), store.all("seen")) == (True, False, [])
    for _ in range(3):
        answer, sent = send(client, f"{pan}/strips/{strip.id}/photo", {}, sent, photo=shot())
        assert answer.json() == {"made": True}
    (seen_,), (photo,) = store.all("seen"), store.all("photo")
    assert [one["digest"] for one in seen_.data["photos"]] == [photo.data["digest"]]


# A disk that fails between grade and photo: the phone keeps both and sends both again.
def test_a_crash_half_way_leaves_nothing_and_is_made_whole_later(client, store, pan, monkeypatch):
    form, sent = {"step": laid(client, pan), "residue": "clean", "harm": "none"}, str(uuid.uuid4())

    def full(*_, **__):
        raise OSError("full")

    with monkeypatch.context() as broken:
        broken.setattr("proofpatch.web.jobs.add_photo", full)
        with pytest.raises(OSError, match="full"):
            send(client, f"{pan}/patches", form, sent, photo=shot())
    assert (store.all("patch"), store.stands(sent)) == ([], False)
    send(client, f"{pan}/patches", form, sent, photo=shot())
    assert (len(store.all("patch")), len(store.all("photo"))) == (1, 1)


def test_only_forms_that_are_made_once_are_taken_with_an_id(client, store, job):
    for path, sent in ((f"{job}/settle", str(uuid.uuid4())), (f"{job}/notes", "again")):
        answer = client.post(path, data={"note": "x"}, headers={SENT: sent})
        assert (answer.status_code, SENT in answer.headers) == (422, False)
    assert store.all("note") == []


def test_another_site_is_refused_before_anything_is_looked_up(client, job):
    answer = client.post(f"{job}/notes", data={"note": "x"}, headers={SENT: str(uuid.uuid4()), "Origin": "https://a.b"})
    assert (answer.status_code, SENT in answer.headers) == (403, False)


def test_a_clock_that_cannot_be_right_counts_as_now():
    now = datetime.datetime.now(datetime.UTC)
    for said in ("", "soon", "2020-01-01T00:00:00Z", "2025-01-01T00:00:00", (now + datetime.timedelta(1)).isoformat()):
        assert abs(datetime.datetime.fromisoformat(written(said)) - now) < datetime.timedelta(minutes=10), said
