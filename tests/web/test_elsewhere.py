"""Another laser: a job carried to it, and past jobs with it; on screen, over HTTP and at the command line."""

import html
import re

import pytest
from made_browser import PHONE, accessible_in_both, leads_on
from made_cli import told
from playwright.sync_api import expect

import proofpatch as pp
from proofpatch.cli_elsewhere import carried_lines, past_lines
from proofpatch.shop.elsewhere import START
from proofpatch.shop.invented import BY
from proofpatch.shop.many import with_laser


def test_a_recipe_on_another_laser_is_a_start_and_past_jobs_tell_what_it_would_take(phone, floor, capsys):
    job = floor.jobs["skillet"]
    phone.goto(f"{job}/recipe")
    with leads_on(phone):
        phone.get_by_role("link", name="On another laser").click()
    expect(phone.get_by_role("heading", level=1)).to_contain_text("could try it at")
    accessible_in_both(phone, "carried", PHONE["width"])
    rows = phone.request.get(f"/api{job}/lasers").json()["lasers"]
    words = " ".join(html.unescape(re.sub(r"<[^>]+>", " ", phone.content())).replace("\u00a0", " ").split())
    able = [one for one in rows if one["setting"]]
    assert able
    assert {one["laser"] for one in rows} == {"pulsed-100", "pulsed-300"}
    for one in able:
        assert one["start"] == START
        assert words.count(START) == len(able)
        assert one["there"]["seconds"]["p50"] > one["here"]["seconds"]["p50"]
        assert one["time_ratio"] > 1
    would = told(capsys, "would", "pulsed-300", floor.store.folder)
    assert phone.request.get("/api/learned/lasers/pulsed-300").json() == would
    # IEC 60825-14: eyewear is chosen by the wavelength and the exposure of the laser that is used (from memory).
    for lines in (carried_lines({"lasers": rows}), past_lines(would, "")):
        assert "its eyewear and distances come first" in " ".join(lines)
    mine = next(one for one in would["jobs"] if one["id"] == job.rsplit("/", 1)[1])
    assert mine["setting"] == next(one["setting"] for one in rows if one["laser"] == "pulsed-300")
    compared = [one for one in would["jobs"] if one["here"] and one["there"]]
    assert would["seconds_there"] == pytest.approx(sum(one["there"]["seconds"]["p50"] for one in compared))
    phone.get_by_role("link", name="What it would have done on past jobs").first.click()
    expect(phone.get_by_role("heading", level=1)).to_have_text("Would this laser do?")
    expect(phone.locator("p.lead")).to_contain_text(f"on {would['compared']} of {would['asked']} past jobs")
    accessible_in_both(phone, "would", PHONE["width"])
    assert phone.request.get("/api/learned/lasers/pulsed-900").status == 404


def test_without_a_past_job_it_says_what_is_needed(client):
    page = client.get("/learned/lasers/pulsed-300").text
    assert "No past job has a recipe and measured zones, so there is nothing to compare." in page


# The offer knows of no other laser: what it says of hours is what stands here for the job's own.
def test_hours_and_cost_with_its_own_laser_are_those_of_the_offer(counter):
    job = counter.base
    offer = counter.client.get(f"/api{job}/offer").json()
    for one in counter.client.get(f"/api{job}/lasers").json()["lasers"]:
        assert one["here"]["seconds"]["p50"] == pytest.approx(offer["time_s"]["p50"])
        assert one["here"]["currency"] == offer["currency"]
        assert 0 < one["here"]["cost"] < float(offer["net"])


def test_beside_a_piece_of_ones_own_no_invented_one_is_asked(counter):
    store, mine = counter.store, counter.store.get("job", counter.key)
    made_up = store.add("job", mine.data, title="Invented gate", by=BY)
    for patch in store.in_order("patch", mine.id):
        store.add("patch", patch.data, made_up.id, patch.title)
    would = counter.client.get("/api/learned/lasers/pulsed-300").json()
    assert [one["id"] for one in would["jobs"]] == [mine.id]
    assert [one.job for one in with_laser(store, map, pp.laser("pulsed-300"))] == [mine.title]


@pytest.mark.parametrize("found", [{"lead": None}, {"layers": [{"coating": "asbestos cement"}]}])
def test_a_past_job_that_is_stopped_since_is_not_asked_and_names_no_setting(counter, found):
    # 16 CFR 1303: an undated or older paint holds lead until a laboratory says otherwise.
    entry = counter.store.get("job", counter.key)
    painted = {"layers": [{"coating": "oil paint"}], "job": {**entry.data["job"], "year": 1950}}
    tables = {key: value for key, value in (entry.data | painted | found).items() if value is not None}
    counter.store.change("job", entry.id, entry.version, tables, entry.title)
    answer = counter.client.get("/api/learned/lasers/pulsed-300")
    assert answer.status_code == 200, answer.text
    assert (answer.json()["asked"], answer.json()["jobs"]) == (0, [])
    assert counter.client.get("/learned/lasers/pulsed-300").status_code == 200
