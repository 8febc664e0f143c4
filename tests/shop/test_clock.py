"""A clock that is put back, or forward: nothing is lost, and what came later stays later."""

import datetime
import io

import pytest

from proofpatch.shop import door
from proofpatch.shop.backup import back_up, is_due
from proofpatch.shop.check import check
from proofpatch.shop.days import answer_check, day_of
from proofpatch.shop.folder_zip import read_folder, write_folder
from proofpatch.shop.photos import add_photo
from proofpatch.shop.run import add_entry, entries_of, state_of
from proofpatch.shop.store import Repeated, Store
from proofpatch.web.once import written
from proofpatch.web.today import _moments

TEN = datetime.datetime(2026, 3, 2, 10, 0, 0, 400_000, tzinfo=datetime.UTC)
MINUTE, HOUR, DAY = (datetime.timedelta(minutes=m) for m in (1, 60, 1440))
JUMPS = {"an hour back": -HOUR, "a day back": -DAY, "ten years back": -3650 * DAY, "a day on": DAY}


class Clock:
    """Stands where it was set."""

    def __init__(self):
        self.now = TEN

    def __call__(self):
        return self.now

    def on(self, by=MINUTE):
        self.now += by


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def store(tmp_path, clock):
    found = Store.open(tmp_path / "shop", clock=clock)
    yield found
    found.close()


@pytest.fixture(params=JUMPS.values(), ids=JUMPS)
def jump(request):
    return request.param


def test_things_stand_in_the_order_they_were_made_and_changed(store, clock, jump):
    job = store.add("job", {"turn": 0}, title="Chest")
    first = [store.add("note", {"text": f"{n}"}, job.id) for n in range(3)]
    clock.on(jump)
    later = [store.add("note", {"text": f"{n}"}, job.id) for n in range(3, 6)]
    assert [one.data["text"] for one in store.in_order("note", job.id)] == list("012345")
    assert [one.data["text"] for one in store.all("note", job.id)] == list("543210")
    store.change("note", first[1].id, 1, {"text": "anew"}, "anew")
    assert [one.data["text"] for one in store.all("note", job.id)] == ["anew", *"54320"]
    assert len({one.id for one in first + later}) == 6
    # What is one of its kind is the last; an undo takes back the last change.
    for turn in range(1, 4):
        clock.on(-jump if turn == 2 else jump)
        store.add("recipe", {"turn": turn}, job.id)
        job = store.change("job", job.id, job.version, {"turn": turn})
        assert store.all("recipe", job.id, most=1)[0].data == {"turn": turn}
    assert [past.data["turn"] for past in store.history("job", job.id)] == [0, 1, 2, 3]
    assert store.undo("job", job.id, job.version).data == {"turn": 2}
    assert check(store.folder).whole


def test_what_was_sent_twice_is_made_once_all_the_same(store, clock, jump):
    with store.together("0d4d9c56-6d3b-4f6c-9f6e-2c1b1d3c5a01"):
        store.add("note", {})
    clock.on(jump)
    with pytest.raises(Repeated), store.together("0d4d9c56-6d3b-4f6c-9f6e-2c1b1d3c5a01"):
        store.add("note", {})
    assert store.count("note") == 1


def entry(store, job, what, clock, at=None, **more):
    """An entry of the run, written now; at: another time at which it happened."""
    said = {"at": (at or clock.now.replace(microsecond=0)).isoformat(), "what": what, "zone": 1} | more
    return add_entry(store, job, said, 2)


def test_a_zone_that_was_ended_after_the_clock_was_put_back_is_done(store, clock):
    job = store.add("job", {}).id
    entry(store, job, "begin", clock)
    clock.on(2 * MINUTE)
    entry(store, job, "begin", clock, zone=2)
    clock.on(-HOUR)
    for what, zone in (("end", 1), ("end", 2), ("begin", 2)):
        clock.on()
        entry(store, job, what, clock, zone=zone)
    entries = entries_of(store, job)
    assert [(one.data["what"], one.data["zone"]) for one in entries] == [
        ("begin", 1), ("begin", 2), ("end", 1), ("end", 2), ("begin", 2),
    ]  # fmt: skip
    assert [one.state for one in state_of(entries, 2)] == ["done", "begun"]


def test_what_a_phone_sends_late_keeps_its_place_by_its_time(store, clock):
    job = store.add("job", {}).id
    entry(store, job, "begin", clock)
    clock.on(20 * MINUTE)
    entry(store, job, "begin", clock, zone=2)
    clock.on()
    entry(store, job, "end", clock, at=TEN + 5 * MINUTE)
    assert [(one.data["what"], one.data["zone"]) for one in entries_of(store, job)] == [
        ("begin", 1), ("end", 1), ("begin", 2),
    ]  # fmt: skip
    # The same by a laptop whose clock was put back an hour since.
    clock.on(MINUTE - HOUR)
    entry(store, job, "end", clock, zone=2)
    clock.on(10 * MINUTE)
    entry(store, job, "note", clock, zone=2, words="here")
    clock.on()
    entry(store, job, "note", clock, at=clock.now - 9 * MINUTE, zone=2, words="away")
    assert [one.data["words"] or one.data["what"] for one in entries_of(store, job)][2:] == [
        "begin", "end", "away", "here",
    ]  # fmt: skip


def test_a_recipe_that_was_decided_after_the_control_patch_needs_another(store, clock, jump):
    job = store.add("job", {}).id

    def when():
        return clock.now.replace(microsecond=0).isoformat()

    old = store.add("recipe", {}, job)
    clock.on()
    control = store.add("patch", {"when": when()}, job)
    laid, _, settled = _moments([control], [], old)
    assert settled < laid
    clock.on(jump)
    laid, _, settled = _moments([control], [], store.add("recipe", {}, job))
    assert settled > laid  # else the beam would be let on at a setting that no patch was laid at
    clock.on()
    harmed = entry(store, job, "check", clock, residue="clean", harm="tint")
    laid, seen, _ = _moments([control], [harmed], old)
    assert seen > laid
    clock.on(jump)
    again = store.add("patch", {"when": when()}, job)
    laid, seen, settled = _moments([again], [harmed], old)
    assert laid > max(seen, settled)


def test_the_answers_of_a_day_are_there_again_when_it_is_that_day_again(store, clock, jump):
    import proofpatch as pp
    from proofpatch.lasers import laser
    from proofpatch.run.piece import piece_of

    pan = piece_of(pp.Surface([pp.Layer("baked-grease")], "cast-iron"), False, laser("pulsed-500").handpiece.focus_cue)
    job = store.add("job", {}).id
    for now in (TEN, TEN + jump, TEN):
        clock.now = now
        answer_check(store, job, now.date(), pan, "eyewear", True, at=now.isoformat())
    assert day_of(store, job, TEN.date()).data["checks"]["eyewear"]["ok"] is True
    assert day_of(store, job, (TEN + jump).date()).data["checks"]["eyewear"]["ok"] is True


def test_a_device_is_let_in_again_and_none_stays_for_years(store, clock):
    token = door.sign_in(store, "phone", "10.0.0.9")
    clock.on(365 * DAY)
    assert door.device_of(store, token) is None
    clock.on(-365 * DAY)
    assert door.device_of(store, token) is not None  # the clock was wrong, not the phone
    clock.on(3650 * DAY)
    lost = door.sign_in(store, "lost", "10.0.0.9")
    clock.now = TEN
    # Seen in ten years' time: as from now, and a month later it has to sign in again.
    assert (door.seen_by_now(store), door.seen_by_now(store)) == (1, 0)
    assert door.device_of(store, lost) is not None
    clock.on(31 * DAY)
    assert door.device_of(store, lost) is None


def test_a_packed_job_comes_back_in_its_order(store, clock, jump, tmp_path):
    job = store.add("job", {}, title="Chest").id
    for n in range(6):
        clock.on(jump if n == 3 else MINUTE)
        store.add("note", {"text": f"{n}"}, job, f"{n}")
    one = store.in_order("note", job)[4]
    store.change("note", one.id, 1, {"text": "anew"})
    packed = io.BytesIO()
    write_folder(store, job, packed)
    other = Store.open(tmp_path / "other")
    read_folder(other, packed)
    said = [one.data["text"] for one in other.in_order("note", job)]
    assert said == ["0", "1", "2", "3", "anew", "5"]
    assert check(other.folder).whole
    other.close()


def test_a_backup_is_made_and_whole_whatever_the_clock_says(store, clock, jump, tmp_path):
    from made_whole import picture

    usb = tmp_path / "usb"
    store.add("note", {})
    back_up(store.folder, usb, keep=1, now=clock.now)
    clock.on(jump)
    last = add_photo(store, picture(1))
    assert is_due(store.folder, usb, clock.now) or abs(jump) < 20 * HOUR
    made = back_up(store.folder, usb, keep=1, now=clock.now)
    assert (made.checked.whole, made.further, len(made.gone), made.backup.after) == (True, False, 1, last.latest)


def test_a_phone_s_time_is_believed_where_it_can_be():
    now = datetime.datetime.now(datetime.UTC)
    assert written((now - HOUR).isoformat()) == (now - HOUR).isoformat(timespec="seconds")
    for wrong in (now + DAY, now - 3650 * DAY):  # of the phone, or of the laptop: what can be is now
        assert abs(datetime.datetime.fromisoformat(written(wrong.isoformat())) - now) < MINUTE
