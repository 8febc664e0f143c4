"""The day and the run on their pages, without a browser: gates, log, control patch, what is kept, what is refused."""

import datetime
import html
import re
import uuid

import pytest
from made_pages import at, seen
from made_photo import shot
from made_run import SETTING, TABLES, ZONES, opened, ready

from proofpatch.run.day import checks_of
from proofpatch.shop.days import day_of
from proofpatch.shop.run import entries_of
from proofpatch.shop.strips import lay_out
from proofpatch.web.once import AT, SENT
from proofpatch.web.road import road
from proofpatch.web.today import piece_on

PLANNED = {"setting": SETTING, "p_clean": 0.9, "p_harm": 0.01, "because": ""}


@pytest.fixture
def run(client, store):
    """(address, key) of a job whose day is open: every check in order, the control patch as expected."""
    job, key = ready(store)
    opened(store, key)
    assert client.post(f"{job}/run/control", data={"residue": "clean", "harm": "none"}).status_code == 303
    return job, key


def stop_of(answer):
    found = re.search(r'<p class="stop" id="gate">(.*?)</p>', answer.text, re.S)
    return " ".join(re.sub(r"<[^>]+>", " ", found[1]).split()) if found else ""


def shown(answer):
    """The one button that is filled and can be seen, on the run page."""
    return re.findall(r'<button class="next"[^>]*?(?<! hidden)>([^<]*)<', answer.text)


def post(client, job, **form):
    return client.post(f"{job}/run", data=form)


def sent(client, path, form, at=None, key=None, photo=None):
    heads = {SENT: key or str(uuid.uuid4())} | ({AT: at} if at else {})
    files = {"photo": ("a.jpg", photo, "image/jpeg")} if photo else None
    return client.post(path, data=form, files=files, headers=heads)


def ago(**time):
    return (datetime.datetime.now(datetime.UTC) - datetime.timedelta(**time)).isoformat(timespec="seconds")


def test_what_stops_a_job_leaves_no_go_on_paper_nor_at_the_piece(client, store):
    job, key = ready(store)
    opened(store, key)
    sheet = f"{job}/strips/{lay_out(store, key, [PLANNED], [{}]).id}/sheet.pdf"
    assert client.get(sheet).headers["content-type"] == "application/pdf"
    entry = store.get("job", key)
    store.change("job", key, entry.version, {**entry.data, "lead": {}})
    for address in (sheet, f"{job}/recipe.pdf"):
        assert client.get(address).headers["content-type"] != "application/pdf"
    for step in ("forecast", "patches", "recipe", "offer", "hazards", "run", "run/day"):
        assert "Stop: lead" in seen(client.get(f"{job}/{step}")), step
    for step, head in (
        ("forecast", "No beam yet"),
        ("patches", "No more test patches."),
        ("recipe", "No recipe any more."),
    ):
        assert head in seen(client.get(f"{job}/{step}"))
    late = client.post(f"{job}/run/control", data={"residue": "clean", "harm": "none"})
    assert late.status_code == 409
    assert "was not kept. Stop: lead" in seen(late)
    assert len(store.all("patch", key)) == 3


# One Stop sentence with the way out, for each gate, the first of them first.
@pytest.mark.parametrize(("tables", "laid", "recipe", "says", "out"), [
    ({"lead": {}}, 0, False, "lead", "/survey"),
    ({"zones": []}, 0, False, "nobody has measured", "/measure"),
    ({}, 0, False, "no recipe is decided", "/recipe"),
    ({"limits": {"preset": "ordinary", "p_harm": "0.1 %"}}, 3, True, "is your limit", "/recipe"),
    ({"air": {"capture": "0 %", "flow": "10 m³/h"}}, 3, True, "", "/hazards"),
    ({}, 3, True, "the day is not opened. 14 of 14 checks are open", "/run/day"),
], ids=["survey", "zones", "recipe", "harm", "hazards", "day"])  # fmt: skip
def test_the_run_is_shut_while_a_gate_is(client, store, tables, laid, recipe, says, out):
    given = {**tables}
    if given.get("zones") == []:
        given["zones"] = [{**ZONES[0], "untouched": True}]
    if "lead" in given:
        given |= {"lead": {"status": "unknown"}, "evidence": {**TABLES["evidence"], "year": "1960", "kind": "paint"}}
    job, key = ready(store, laid, recipe, **given)
    page = client.get(f"{job}/run")
    assert stop_of(page).startswith("Stop")
    assert says in stop_of(page)
    # Where a zone waits, the way out is the one filled button; else it ends the sentence.
    way = re.search(r'class="next" href="([^"#]*)', page.text) or re.search(
        r'id="gate">.*?href="([^"#]*)', page.text, re.S
    )
    assert way[1] == f"{job}{out}"
    assert shown(page) == []
    answer = post(client, job, what="begin", zone="1")
    assert answer.status_code == 422
    assert entries_of(store, key) == []


def test_a_day_is_opened_check_by_check_and_a_figure_decides_for_itself(client, store):
    job, key = ready(store)
    piece = piece_on(road(store, at(store, job)))
    names = [one.name for one in checks_of(piece)]
    page = seen(client.get(f"{job}/run/day"))
    assert f"{len(names)} checks are left" in page
    form = {f"check-{name}": "yes" for name in names} | {
        "value-air": "20 °C",
        "value-humidity": "92 %",
        "value-metal": "20 °C",
    }
    assert client.post(f"{job}/run/day", data=form).status_code == 303
    page = client.get(f"{job}/run/day")
    # ISO 8502-4 as the check names it: over 85 % no bare steel, whatever the tick says.
    assert "Humidity: 92 %, and 85 % is the most" in seen(page)
    assert client.post(f"{job}/run/day", data={"value-humidity": "wet"}).status_code == 422
    assert client.post(f"{job}/run/day", data={"check-humidity": "yes", "value-humidity": "50 %"}).status_code == 303
    assert "All is looked at. Lay a control patch." in seen(client.get(f"{job}/run/day"))
    assert "no control patch was laid today" in stop_of(client.get(f"{job}/run"))
    # One that is not in order shuts it again, in words.
    client.post(f"{job}/run/day", data={"check-window": "no"})
    assert "Lens window: not right." in stop_of(client.get(f"{job}/run"))
    assert day_of(store, key, datetime.date.today()).data["checks"]["humidity"]["value"] == 0.5
    assert client.post(f"{job}/run/day", data={}).status_code == 422


def test_a_surprise_names_its_cause_and_never_more_power(client, store):
    job, key = ready(store)
    opened(store, key)
    client.post(f"{job}/run/control", data={"residue": "no effect", "harm": "none", "seconds": "6.25 s",
                                           "length": "100 mm"})  # fmt: skip
    page = seen(client.get(f"{job}/run/day"))
    assert "The control patch is not as the patches were." in page
    assert "A surprise: no effect" in page
    assert "What it may be" in page
    assert "more power" not in page.lower()
    gate = stop_of(client.get(f"{job}/run"))
    assert "A surprise" in gate
    assert "Then lay the control patch anew" in gate
    assert post(client, job, what="begin", zone="1").status_code == 422
    # It is a graded patch like any other, and the day knows that it was its control.
    (control,) = [one for one in store.all("patch", key) if one.title.startswith("Control patch")]
    assert day_of(store, key, datetime.date.today()).data["controls"] == [control.id]
    assert road(store, at(store, job)).window.belief.evidence[-1].residue in ("clean", "no effect")


def test_a_zone_is_begun_done_graded_and_the_grade_teaches_the_belief(client, store, run):
    job, key = run
    page = client.get(f"{job}/run")
    assert "Zone 1, underside. One pass." in seen(page)
    assert shown(page) == ["Begin zone 1"]
    before = road(store, at(store, job))
    assert post(client, job, what="begin", zone="1").headers["location"] == f"{job}/run?zone=1"
    assert shown(client.get(f"{job}/run")) == ["Zone 1 is done"]
    used = {"knob-power": "140 W", "seconds": "5 s", "length": "100 mm", "passes": "1"}
    assert post(client, job, what="end", zone="1", **used).status_code == 303
    page = client.get(f"{job}/run")
    assert shown(page) == ["Keep the grade of zone 1"]
    assert "20 mm/s" in seen(page)
    assert "A little quick: clean" in seen(page)
    assert post(client, job, what="check", zone="1", residue="clean").status_code == 422
    assert post(client, job, what="check", zone="1", residue="nearly", harm="none").status_code == 303
    begin, end, check = (one.data for one in entries_of(store, key))
    assert (begin["what"], begin["setting"]) == ("begin", None)
    assert (end["setting"]["average_power_W"], end["setting"]["travel_speed_m_s"]) == (140.0, 0.02)
    assert check["setting"] == end["setting"]
    after = road(store, at(store, job))
    assert len(after.window.belief.evidence) == len(before.window.belief.evidence) + 1
    assert [one.id for one in after.seen] == [entries_of(store, key)[-1].id]
    page = seen(client.get(f"{job}/run"))
    assert "One grade of this run taught the belief." in page
    assert "Zone 2, rim. One pass." in page
    run_step = next(one for one in after.steps if one.name == "run")
    assert (run_step.state, run_step.finding) == ("begun", "1 of 3 zones done")
    assert len(after.steps) == 9
    assert "Go on with the run." in seen(client.get("/"))


def test_what_is_begun_and_ended_does_not_work_the_belief_out_anew(client, store, run):
    job, _ = run
    client.get(f"{job}/run")  # what the control patch taught is worked out
    before = road(store, at(store, job))
    _ = before.recipe
    post(client, job, what="begin", zone="1")
    after = road(store, at(store, job))
    assert after.window is before.window
    assert after.recipe is before.recipe
    assert after.steps != before.steps


def test_the_last_entry_is_taken_back_and_brought_back(client, store, run):
    job, key = run
    post(client, job, what="begin", zone="1")
    (entry,) = entries_of(store, key)
    assert "Take the last entry back" in seen(client.get(f"{job}/run"))
    assert client.post(f"{job}/run/{entry.id}/delete", data={"version": entry.version}).status_code == 303
    assert entries_of(store, key) == []
    assert shown(client.get(f"{job}/run")) == ["Begin zone 1"]
    client.post(f"{job}/run/{entry.id}/restore", data={"version": entry.version + 1})
    assert shown(client.get(f"{job}/run")) == ["Zone 1 is done"]


def test_after_a_scorch_it_says_what_to_do_and_opens_only_by_a_new_control_patch(client, store, run):
    job, key = run
    post(client, job, what="begin", zone="1")
    form = {"what": "incident", "zone": "1", "sign": "tint", "words": "brown <edge>"}
    answer = client.post(f"{job}/run", data=form, files={"photo": ("a.jpg", shot(), "image/jpeg")})
    assert answer.status_code == 303
    page = client.get(f"{job}/run")
    text = seen(page)
    for line in ("Zone 1, underside, is stopped.", "Stop. A tint. Beam off.", "What to do now", "What can be done",
                 "What to tell the customer", "brown <edge>"):  # fmt: skip
        assert line in text
    assert shown(page) == []
    assert "Lay the control patch" in text
    assert post(client, job, what="begin", zone="1").status_code == 422
    entry = entries_of(store, key)[-1].data
    assert (entry["sign"], len(entry["photos"])) == ("tint", 1)
    # "Grade it as harm" says the sign: it can be done where the zone stands stopped.
    judge = re.search(r'<details id="judge">.*?</form>', page.text, re.S)[0]
    assert 'name="what" value="check"' in judge
    assert 'name="zone" value="1"' in judge
    assert post(client, job, what="check", zone="1", residue="partial", harm="tint").status_code == 303
    assert "Zone 1, underside, is stopped." in seen(client.get(f"{job}/run"))
    # Harm that was seen counts in the belief too; this owner bears more of it.
    entry = store.get("job", key)
    store.change("job", key, entry.version, {**entry.data, "limits": {"preset": "ordinary", "p_harm": "5 %"}})
    later = (datetime.datetime.now(datetime.UTC) + datetime.timedelta(seconds=1)).isoformat(timespec="seconds")
    control = {"setting": SETTING, "residue": "clean", "harm": "none", "when": later}
    laid = store.add("patch", control, key, "Control patch: clean, none")
    now = day_of(store, key, datetime.date.today())
    store.change("day", now.id, now.version, {**now.data, "controls": [*now.data["controls"], laid.id]})
    assert "Begin zone 1 again" in shown(client.get(f"{job}/run"))


def test_harm_in_a_grade_stops_the_zone(client, store, run):
    job, _ = run
    for form in ({"what": "begin"}, {"what": "end"}, {"what": "check", "residue": "clean", "harm": "marked"}):
        assert post(client, job, zone="1", **form).status_code == 303
    text = seen(client.get(f"{job}/run?zone=1"))
    assert "Zone 1, underside, is stopped." in text
    assert "What to tell the customer" in text


def test_an_entry_of_a_phone_is_made_once_at_its_own_time_also_where_a_gate_shut_since(client, store, run):
    job, key = run
    when, ended, one = ago(hours=2), ago(hours=1), str(uuid.uuid4())
    client.post(f"{job}/run/day", data={"check-window": "no"})
    for _ in range(3):
        answer = sent(client, f"{job}/run", {"what": "begin", "zone": "1"}, when, one)
        assert answer.json() == {"made": True}
    answer = sent(client, f"{job}/run", {"what": "end", "zone": "1", "passes": "1"}, ended, photo=shot())
    assert answer.json() == {"made": True}
    first, second = (entry.data for entry in entries_of(store, key))
    assert (first["at"], first["what"], second["what"], len(second["photos"])) == (when, "begin", "end", 1)
    assert "done, passes 1 of 1, 60 min" in seen(client.get(f"{job}/run"))
    # What nobody did yet is refused while the gate is shut.
    answer = sent(client, f"{job}/run", {"what": "begin", "zone": "2"}, ago(seconds=5))
    assert (answer.status_code, "Lens window" in seen(answer)) == (422, True)


def test_two_devices_that_say_the_same_are_both_kept_and_a_double_press_is_one(client, store, run):
    job, key = run
    page = client.get(f"{job}/run").text
    form = {"what": "begin", "zone": "1", "once": re.search(r'name="once" value="([^"]+)"', page)[1]}
    for _ in range(3):
        assert client.post(f"{job}/run", data=form).status_code == 303
    assert len(entries_of(store, key)) == 1
    sent(client, f"{job}/run", {"what": "begin", "zone": "1"})
    assert [one.data["what"] for one in entries_of(store, key)] == ["begin", "begin"]
    assert shown(client.get(f"{job}/run")) == ["Zone 1 is done"]


def test_a_photo_that_is_none_does_not_cost_the_entry(client, store, run):
    job, key = run
    answer = sent(client, f"{job}/run", {"what": "note", "words": "dry wind"}, photo=b"no picture")
    assert answer.status_code == 422
    assert "The entry is kept, the photo is not" in seen(answer)
    assert [one.data["words"] for one in entries_of(store, key)] == ["dry wind"]


def test_in_a_batch_the_first_off_is_graded_before_the_next_is_begun(client, store):
    job, key = ready(store, zones=[{"name": "face", "area": "0.02 m²"}], offer={"pieces": 12})
    opened(store, key)
    client.post(f"{job}/run/control", data={"residue": "clean", "harm": "none"})
    assert "Piece 1 of 12. Zone 1, face. One pass." in seen(client.get(f"{job}/run"))
    for what in ("begin", "end"):
        assert post(client, job, what=what, zone="1", piece="1").status_code == 303
    assert post(client, job, what="begin", zone="1", piece="2").status_code == 422
    page = client.get(f"{job}/run")
    assert "Stop. The first-off is graded before the next is begun" in stop_of(page)
    # It can be graded where it is asked for: the done piece stays in hand until then.
    assert "Piece 1 of 12. Zone 1, face, is done. Grade it." in seen(page)
    assert shown(page) == ["Keep the grade of zone 1"]
    post(client, job, what="check", zone="1", piece="1", residue="clean", harm="none")
    page = client.get(f"{job}/run")
    assert shown(page) == ["Begin zone 1"]
    assert "Piece 2 of 12" in seen(page)
    # One piece is not the job: the contents count pieces.
    assert "1 of 12 pieces done" in seen(client.get(f"{job}/survey"))
    assert [one.data["piece"] for one in entries_of(store, key)] == [1, 1, 1]


BAD = [
    ({"what": "begin"}, "which zone"), ({"what": "dance", "zone": "1"}, "What happened"),
    ({"what": "end", "zone": "9"}, "whole number from 1 to 3"),
    ({"what": "end", "zone": "1", "passes": "many"}, "passes"),
    ({"what": "end", "zone": "1", "seconds": "2 s"}, "length too"), ({"what": "note"}, "note is empty"),
    ({"what": "end", "zone": "1", "knob-power": "9 kW"}, "Power"),
    ({"what": "end", "zone": "1", "seconds": "soon", "length": "100 mm"}, "seconds"),
    ({"what": "incident", "zone": "1", "sign": "dragon"}, "dragon"),
]  # fmt: skip


def test_an_entry_that_says_nothing_sensible_is_refused_in_a_sentence(client, store, run):
    job, key = run
    for form, says in BAD:
        answer = post(client, job, **form)
        assert answer.status_code == 422, form
        assert says in html.unescape(re.search(r'role="alert">([^<]*)', answer.text)[1])
    # What was typed stands where it was typed.
    for what, most in (("note", 1000), ("incident", 1000)):
        page = post(client, job, what=what, zone="1", words="wet \u202e edge", sign="").text
        assert page.count('value="wet \u202e edge"') == 1
        assert f'id="words-{what}" name="words" maxlength="{most}" value="wet' in page
        assert '<details id="wrong" open>' in page
    assert entries_of(store, key) == []


def test_a_job_without_a_run_says_nothing_was_measured_of_it(client, store):
    job, _ = ready(store, 0, False)
    text = seen(client.get(f"{job}/run"))
    assert "It shows once there is a recipe." in text
    assert "What was done" not in text
    # A piece no beam touches has no run.
    plastic = store.add("job", {**TABLES, "job": {"title": "Pipe", "suspects": ["PVC"]}}, title="Pipe")
    for path in ("run", "run/day"):
        assert "This is not for a beam." in seen(client.get(f"/jobs/{plastic.id}/{path}"))


# The same calls over HTTP: what a page refuses is refused there too, and what stands on one stands on the other.
def test_the_day_and_the_run_over_http(client, store):
    job, key = ready(store)
    api = f"/api{job}"
    day = client.get(f"{api}/day").json()
    assert (day["gate"].split(".")[0], len(day["missing"]), day["verdict"]) == ("Stop: the day is not opened", 14, None)
    assert client.post(f"{api}/run", json={"what": "begin", "zone": 1}).status_code == 409
    assert client.post(f"{api}/control", json={"residue": "clean", "harm": "none"}).status_code == 409
    for sent, field in (({"name": "dragon", "ok": True}, "name"), ({"name": "window", "value": 3.0}, "value")):
        answer = client.post(f"{api}/day", json=sent)
        assert (answer.status_code, answer.json()["field"]) == (422, field)
    for name in day["missing"]:
        value = {"air": 293.15, "humidity": 0.92, "metal": 293.15}.get(name)
        answer = client.post(f"{api}/day", json={"name": name, "ok": True, "value": value})
        assert answer.status_code == 201
    assert "85 % is the most" in answer.json()["gate"]
    client.post(f"{api}/day", json={"name": "humidity", "value": 0.5})
    answer = client.post(f"{api}/control", json={"residue": "clean", "harm": "none", "waited_s": 600.0})
    assert (answer.status_code, answer.json()["verdict"], answer.json()["gate"]) == (201, "as expected", None)
    entry = client.post(f"{api}/run", json={"what": "begin", "zone": 1}).json()
    assert shown(client.get(f"{job}/run")) == ["Zone 1 is done"]
    answer = client.post(f"{api}/run", json={"what": "end", "zone": 1, "setting": {**SETTING, "average_power_W": 9e4}})
    assert (answer.status_code, answer.json()["field"]) == (422, "setting.average_power_W")
    late = {"what": "end", "zone": 1, "passes": 1, "setting": SETTING, "at": ago(minutes=-1)}
    assert client.post(f"{api}/run", json=late).status_code == 201
    found = client.get(f"{api}/run").json()
    assert [one["data"]["what"] for one in found["entries"]] == ["begin", "end"]
    assert [one["state"] for one in found["zones"]] == ["done", "to do", "to do"]
    back = client.delete(f"{api}/run/{entry['id']}", params={"version": 1})
    assert back.json()["deleted"]
    assert client.delete(f"{api}/run/{entry['id']}", params={"version": 2}).status_code == 409
    assert client.post(f"{api}/run/{entry['id']}/restore", params={"version": 2}).json()["deleted"] is None
    assert len(entries_of(store, key)) == 2
    plastic = store.add("job", {**TABLES, "job": {"title": "Pipe", "suspects": ["PVC"]}}, title="Pipe")
    assert client.get(f"/api/jobs/{plastic.id}/day").json()["checks"] == []
    assert client.get(f"/api/jobs/{plastic.id}/run").json()["zones"] == []


# A day that an earlier version kept with such a figure could not be opened, mended nor written to.
def test_a_figure_no_air_has_leaves_the_run_as_it_was(client, store):
    job, key = ready(store)
    opened(store, key)
    day = day_of(store, key, datetime.date.today())
    checks = {**day.data["checks"], "humidity": {**day.data["checks"]["humidity"], "value": 0.0}}
    store.change("day", day.id, day.version, {**day.data, "checks": checks, "controls": ["0" * 32]})
    assert client.get(f"{job}/run").status_code == 200
    answer = client.post(f"{job}/run/day", data={"value-humidity": "0 %", "value-power": "3 W"})
    assert "Humidity: 0 % is outside 0.1 % to 100 %." in seen(answer)
    assert 'value="3 W"' in answer.text
    client.post(f"{job}/run/day", data={"value-power": "3 W"})
    assert "3 W measured of 150 W set cannot be the whole beam." in stop_of(client.get(f"{job}/run"))
    client.post(f"{job}/run/day", data={"value-power": "149 W"})
    assert "no control patch was laid today" in stop_of(client.get(f"{job}/run"))
    # Laid before the recipe was decided anew, it says nothing of what comes next.
    sent(client, f"{job}/run/control", {"residue": "clean", "harm": "none"}, ago(minutes=1))
    page = client.get(f"{job}/run")
    assert "the recipe was decided anew since the control patch" in stop_of(page)
    assert 'data-control="none"' in page.text
    assert post(client, job, what="begin", zone="1").status_code == 422
    client.post(f"{job}/run/control", data={"residue": "clean", "harm": "none"})
    assert shown(client.get(f"{job}/run")) == ["Begin zone 1"]


def test_zones_keep_the_number_the_run_names_them_by(client, store, run):
    job, _ = run
    post(client, job, what="begin", zone="2")
    before = at(store, job)
    answer = client.post(f"{job}/measure/remove", data={"zone": "0", "version": str(before.version)})
    assert (answer.status_code, "The run has entries up to zone 2" in seen(answer)) == (422, True)
    body = {**before.data, "zones": before.data["zones"][1:]}
    answer = client.put(f"/api{job}", json={"version": before.version, "tables": body})
    assert (answer.status_code, answer.json()["field"]) == (422, "tables.zones")
    assert at(store, job).version == before.version
    # One behind them may go, one may be described anew, and an undo takes none away.
    answer = client.post(f"{job}/measure/remove", data={"zone": "2", "version": str(before.version)})
    assert answer.status_code == 303
    client.post(f"{job}/undo", data={"version": str(before.version + 1)})
    post(client, job, what="note", zone="3", words="the last one")
    client.post(f"{job}/undo", data={"version": str(before.version + 2)})
    assert [one["name"] for one in at(store, job).data["zones"]] == [one["name"] for one in ZONES]


def test_a_piece_that_is_none_and_a_time_to_come_are_refused(client, store):
    job, key = ready(store, zones=[{"name": "face", "area": "0.02 m²"}], offer={"pieces": 12})
    opened(store, key)
    client.post(f"{job}/run/control", data={"residue": "clean", "harm": "none"})
    answer = post(client, job, what="note", words="chipped before", piece="13")
    assert "There is no piece 13: the batch has 12." in seen(answer)
    assert "chipped before" in answer.text
    for what in ("begin", "end"):
        post(client, job, what=what, zone="1", piece="1")
    assert post(client, job, what="begin", zone="1", piece="5").status_code == 422
    api = f"/api{job}/run"
    assert client.post(api, json={"what": "begin", "zone": 1, "piece": 5}).status_code == 409
    assert client.post(api, json={"what": "note", "words": "x", "piece": 13}).json()["field"] == "piece"
    for when in (ago(days=-1), "0001-01-01T00:00:00+00:00", "9999-12-31T23:59:59-12:00"):
        answer = client.post(api, json={"what": "incident", "sign": "tint", "at": when})
        assert (answer.status_code, answer.json()["field"]) == (422, "at")
