"""What a piece turned out to be: on its page, over HTTP, at the command line; and what that makes of the next one."""

import json

import pytest
from fastapi.testclient import TestClient
from made_browser import LAPTOP, PATIENT, PHONE, whole
from made_cli import asked
from made_pages import seen
from playwright.sync_api import expect

from proofpatch import InputError
from proofpatch.shop.check import check
from proofpatch.shop.confirmed import KIND, confirm, confirmed_of, counts_of, history_of, seen_of
from proofpatch.shop.folder_shapes import built
from proofpatch.shop.invented import BY
from proofpatch.shop.job import job_from
from proofpatch.shop.starts import switch
from proofpatch.shop.store import Overtaken
from proofpatch.shop.surveyed import beam_stop, refused
from proofpatch.survey.finishes import answers, hazardous, likelihood, names
from proofpatch.survey.identify import identify
from proofpatch.survey.refit import NONE, WEIGHT
from proofpatch.web.app import create
from proofpatch.web.road import road

HERE = "http://127.0.0.1:8000"
WAS = {"finish": "shellac", "ground": "mahogany", "how": "laboratory", "who": "A. Reed", "day": "2026-03-11"}


@pytest.fixture
def client(store):
    with TestClient(create(store, patience=None), base_url=HERE, follow_redirects=False) as found:
        yield found


@pytest.fixture
def take_in(store):
    def made(title="Table", by="", **evidence):
        said = {"kind": "clear film", "alcohol": "none, 3 min", "cleaned": "yes", **evidence}
        data = {"job": {"title": title, "laser": "pulsed-500"}, "surface": {"substrate": "mahogany"}, "evidence": said}
        return store.add("job", data, title=title, by=by)

    return made


def told(capsys, *words):
    code, out, err = asked(capsys, *words, "--json")
    return (json.loads(out) if out else err), code


def test_own_confirmed_pieces_are_counted_and_none_for_itself(store, take_in):
    one, two = take_in("One"), take_in("Two")
    gone, made_up, silent = take_in("Gone"), take_in("Invented", by=BY), take_in("Silent")
    for entry in (one, two, gone, made_up):
        confirm(store, entry.id, WAS, 0)
    confirm(store, silent.id, WAS | {"finish": "unlisted"}, 0)
    store.delete("job", gone.id, 1)
    assert seen_of(store) == NONE  # memory is off, as a shop begins
    assert counts_of(store).of("shellac", "alcohol") == {"none": 2.0}
    switch(store, True, 0)
    assert seen_of(store).of("shellac", "alcohol") == {"none": 2.0}
    assert seen_of(store, one.id).of("shellac", "alcohol") == {"none": 1.0}
    assert seen_of(store).pieces == 2
    p = answers("shellac", "alcohol", "none")
    assert answers("shellac", "alcohol", "none", seen_of(store)) == pytest.approx((WEIGHT * p + 2) / (WEIGHT + 2))
    decided = take_in("Decided")
    confirm(store, decided.id, WAS | {"how": "spot test", "test": "alcohol"}, 0)
    assert seen_of(store).of("shellac", "alcohol") == {"none": 2.0}
    kept = confirmed_of(store, two.id)
    store.delete(KIND, kept.id, kept.version)
    assert seen_of(store).of("shellac", "alcohol") == {"none": 1.0}
    assert [row["what"] for row in history_of(store, two.id)] == ["put away", "put on record"]


def test_undoing_lifts_no_hazard_that_stands_confirmed(client, api, store, take_in):
    job = take_in()
    confirm(store, job.id, WAS | {"finish": "nitrocellulose"}, 0)
    now = store.get("job", job.id)
    assert "Undo: " in seen(client.get(f"/jobs/{job.id}/survey"))
    without = {"version": now.version, "tables": {**now.data, "evidence": job.data["evidence"]}}
    for answer in (client.post(f"/jobs/{job.id}/undo", data={"version": now.version}),
                   api.post(f"jobs/{job.id}/undo", params={"version": now.version}),
                   api.put(f"jobs/{job.id}", json=without)):  # fmt: skip
        assert answer.status_code in (404, 422)
        assert "no longer suspect what it was confirmed to be" in answer.text
    assert store.get("job", job.id) == now
    kept = confirmed_of(store, job.id)
    store.delete(KIND, kept.id, kept.version)
    assert client.post(f"/jobs/{job.id}/undo", data={"version": now.version}).status_code == 303
    assert store.get("job", job.id).data == job.data


def test_a_confirmed_piece_moves_the_next_ones_survey_and_not_its_own(store, take_in):
    switch(store, True, 0)
    mine, past = take_in("Mine"), [take_in(f"Past {n}") for n in range(6)]
    before, stopped = road(store, mine), beam_stop(road(store, mine).work)
    assert before.survey["confirmed"] == {"pieces": 0, "moved": []}
    confirm(store, mine.id, WAS, 0)
    assert road(store, mine).survey == before.survey
    for one in past:
        confirm(store, one.id, WAS, 0)
    after = road(store, mine)
    assert after.survey["finishes"]["shellac"] > before.survey["finishes"]["shellac"]
    assert after.survey["confirmed"]["pieces"] == 6
    assert any("6 confirmed pieces of shellac" in one["said"] for one in after.survey["confirmed"]["moved"])
    # What is laid rests on the tables alone, and so does what stops it.
    assert after.forecast == before.forecast
    assert beam_stop(after.work) == stopped
    assert (likelihood("alcohol", "none") == likelihood("alcohol", "none", None, NONE)).all()
    assert identify(after.work.survey).finishes["shellac"] == pytest.approx(before.survey["finishes"]["shellac"])
    switch(store, False, store.all("shop")[0].version)
    assert road(store, mine).survey == before.survey


SHELLAC = {"alcohol": "dissolves, 20 s", "laboratory": "shellac", "year": "2015", "refinished": "no", "aired": "yes"}


# Unknown is hazardous: every finish that the refit may not lower, each on a piece that nothing stops so far.
@pytest.mark.parametrize("finish", [name for name, one in zip(names(), hazardous(), strict=True) if one])
def test_what_burns_or_poisons_or_is_unknown_stops_its_own_job_until_it_is_settled(store, take_in, finish):
    entry = take_in(**SHELLAC)
    assert beam_stop(job_from(entry.data)) is None
    record = confirm(store, entry.id, WAS | {"finish": finish, "how": "seen"}, 0)
    now = store.get("job", entry.id)
    work = job_from(now.data)
    assert refused(work) or beam_stop(work)
    store.delete(KIND, record.id, record.version)
    confirm(store, entry.id, WAS | {"finish": finish, "how": "seen"}, 0)
    assert store.get("job", entry.id) == now  # suspected once, and not taken back with the record


def test_what_is_harmless_leaves_its_own_job_as_it_is(store, take_in):
    entry = take_in(**SHELLAC)
    confirm(store, entry.id, WAS, 0)
    assert store.get("job", entry.id) == entry


@pytest.mark.parametrize(
    ("field", "wrong"),
    [("finish", ""), ("finish", "marzipan"), ("finish", "nitrocellulose-lacquer"), ("ground", "cheese"), ("how", ""),
     ("how", "guessed"), ("who", ""), ("who", "x" * 81), ("day", "yesterday"), ("day", "2999-01-01"),
     ("day", "1802-01-01"), ("test", "alcohol"), ("who", 3)],
)  # fmt: skip
def test_what_is_none_is_refused_in_one_sentence(store, take_in, field, wrong):
    with pytest.raises(InputError) as refused:
        confirm(store, take_in().id, WAS | {field: wrong}, 0)
    assert refused.value.field == field
    assert not built(KIND, "", {**WAS, "test": "", field: wrong})


def test_the_record_is_whole_and_stands_alone(store, take_in):
    job = take_in()
    kept = confirm(store, job.id, WAS | {"finish": "oil-stain"}, 0)  # a coating that is one finish alone
    assert kept.data["finish"] == "penetrating-oil"
    assert built(KIND, kept.title, kept.data)
    with pytest.raises(Overtaken):
        confirm(store, job.id, WAS, 0)
    confirm(store, job.id, WAS, kept.version)
    assert confirmed_of(store, job.id).data["finish"] == "shellac"
    assert check(store.folder).whole


def test_the_page_keeps_it_takes_it_back_and_puts_it_back(client, store, take_in):
    job = take_in()
    here = f"/jobs/{job.id}"
    assert "settles no hazard here" in seen(client.get(f"{here}/survey"))
    answer = client.post(f"{here}/confirmed", data=WAS | {"who": "", "version": 0})
    assert answer.status_code == 422
    assert "It is not said who knows it." in seen(answer)
    # Which test is left as it stood where no spot test decided.
    assert client.post(f"{here}/confirmed", data=WAS | {"version": 0, "test": "alcohol"}).status_code == 303
    page = seen(client.get(f"{here}/survey"))
    assert "It was shellac or spirit varnish on mahogany: a laboratory record, 2026-03-11. Said by A. Reed." in page
    kept = confirmed_of(store, job.id)
    assert client.post(f"{here}/confirmed/{kept.id}/delete", data={"version": 1}).status_code == 303
    assert confirmed_of(store, job.id) is None
    assert "What was on record was taken back." in seen(client.get(f"{here}/survey"))
    assert client.post(f"{here}/confirmed/{kept.id}/restore", data={"version": 2}).status_code == 303
    page = seen(client.get(f"{here}/survey"))
    for said in ("Put on record, A. Reed", "Put away", "Brought back"):
        assert said in page
    assert "1 confirmed piece moved" in seen(client.get("/learned"))
    assert "Memory is off: the survey does not use it." in seen(client.get("/learned"))


def test_api_and_command_line_do_the_same(api, store, take_in, capsys):
    job = take_in("Chest lid")
    at = f"jobs/{job.id}/confirmed"
    assert api.get(at).json() == {"confirmed": None, "taken_back": None, "history": []}
    made = api.post(at, json=WAS)
    assert made.status_code == 201
    one = made.json()
    assert api.post(at, json=WAS).status_code == 409
    assert api.post(at, json=WAS | {"finish": "marzipan", "version": 1}).status_code == 422
    record, code = told(capsys, "confirm", "chest lid", "--folder", store.folder)
    assert (record["confirmed"], code) == (api.get(at).json()["confirmed"]["data"], 0)
    assert api.delete(f"{at}/{one['id']}", params={"version": 1}).json()["deleted"]
    assert told(capsys, "confirm", "chest lid", "--folder", store.folder)[1] == 1
    assert api.post(f"{at}/{one['id']}/restore", params={"version": 2}).json()["deleted"] is False
    told(capsys, "confirm", "chest lid", "--finish", "oil-varnish", "--how", "seen", "--who", "B. Lane", "--folder",
         store.folder)  # fmt: skip
    assert api.get(at).json()["confirmed"]["data"]["finish"] == "oil-varnish"
    assert told(capsys, "confirm", "chest lid", "--take-back", "--folder", store.folder)[1] == 0
    other = api.post(at, json=WAS).json()
    assert api.post(f"{at}/{one['id']}/restore", params={"version": 5}).status_code == 409
    assert api.get(at).json()["confirmed"]["id"] == other["id"]
    memory, _ = told(capsys, "memory", store.folder)
    assert memory["confirmed"]["pieces"] == 1
    assert api.get("learned").json()["confirmed"] == memory["confirmed"]


@pytest.mark.parametrize("size", [PHONE, LAPTOP], ids=["phone", "laptop"])
def test_it_is_said_with_a_thumb(browser, shop, store, take_in, size):
    switch(store, True, 0)
    for n in range(6):
        confirm(store, take_in(f"Past {n}").id, WAS, 0, "A. Reed")
    job = take_in("Table")
    page = browser.new_page(viewport=size, base_url=shop)
    page.set_default_timeout(PATIENT)
    page.goto(f"/jobs/{job.id}/survey")
    page.get_by_text("What it turned out to be").click()
    page.get_by_label("What was it?").select_option("shellac")
    page.get_by_text("Seen when it came off").click()
    page.get_by_label("Who knows it").fill("A. Reed")
    page.get_by_role("button", name="Keep what it was").click()
    expect(page.get_by_text("It was shellac or spirit varnish: seen when it came off").first).to_be_visible()
    expect(page.get_by_text("6 confirmed pieces of shellac").first).to_be_visible()
    assert whole(page).evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.close()
