"""A whole day of a run on a phone, most of it with the laptop out of reach; and the pages of it for eye and thumb."""

import datetime
import re

import pytest
from made_away import all_sent, kept, on_phone, reached
from made_browser import LAPTOP, PHONE, accessible, accessible_in_both, leads_on
from made_photo import shot
from made_run import opened, ready
from playwright.sync_api import expect

from proofpatch.run.day import checks_of
from proofpatch.shop.days import answer_check, day_of
from proofpatch.shop.run import entries_of
from proofpatch.web.road import road
from proofpatch.web.today import piece_on


def press(page, name):
    """Waits for the page that follows: what is typed before it would be lost with the old one."""
    with leads_on(page):
        page.get_by_role("button", name=name, exact=True).click()


def answer(page, names):
    """Every check in order, the damp measured."""
    for name in names:
        page.locator(f"[data-check={name}] label:has(input[value=yes])").click()
    for name, value in (("air", "20 °C"), ("humidity", "50 %"), ("metal", "20 °C")):
        page.locator(f"#value-{name}").fill(value)
    press(page, "Keep these answers")


def graded(page, form, residue, harm="none"):
    page.locator(f"{form} label:has(input[name=residue][value={residue}])").click()
    page.locator(f"{form} label:has(input[name=harm][value={harm}])").click()


def head(page, text):
    expect(page.get_by_role("heading", level=1)).to_have_text(text)


def test_a_whole_day_out_of_reach_is_sent_once_in_its_order(roaming, laptop, store):
    job, key = ready(store)
    names = [one.name for one in checks_of(piece_on(road(store, store.get("job", key))))]
    # The evening before: the pages are looked at at home.
    for path in ("/run/day", "/run"):
        kept(roaming, f"{job}{path}")
    for number in (1, 2, 3):
        on_phone(roaming, f"{job}/run?zone={number}")
    laptop.shut()
    roaming.goto(f"{job}/run")
    expect(roaming.locator("#gate")).to_contain_text("the day is not opened")
    expect(roaming.get_by_role("button", name="Begin zone 1")).to_be_hidden()
    roaming.goto(f"{job}/run/day")
    answer(roaming, names)
    head(roaming, "The day is not open yet.")
    expect(roaming.locator("#away")).to_contain_text("no control patch of today")
    graded(roaming, "#control", "clean")
    press(roaming, "Keep the control patch")
    head(roaming, "The day is open on this phone.")
    roaming.goto(f"{job}/run?zone=1")
    expect(roaming.locator("#gate")).to_be_hidden()
    expect(roaming.locator("#dialled")).to_be_visible()
    press(roaming, "Begin zone 1")
    head(roaming, "Zone 1: begun.")
    expect(roaming.locator("#away")).to_contain_text("Zone 1 begun")
    accessible(roaming, "a zone begun, out of reach", PHONE["width"])
    roaming.get_by_label("Seconds of the stroke").fill("5 s")
    roaming.get_by_label("Length of the stroke").fill("100 mm")
    press(roaming, "Zone 1 is done")
    head(roaming, "Zone 1: done.")
    graded(roaming, "#check", "clean")
    roaming.get_by_text("Photo, who judged").click()
    roaming.get_by_label("Photo of zone 1").last.set_input_files(
        {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": shot()}
    )
    press(roaming, "Keep the grade of zone 1")
    head(roaming, "Zone 1: graded.")
    expect(roaming.locator("[data-row='1'] .state")).to_contain_text("waits on this phone")
    with leads_on(roaming):
        roaming.get_by_role("link", name="Zone 2, rim").click()
    press(roaming, "Begin zone 2")
    head(roaming, "Zone 2: begun.")
    # Pressed by mistake: what was not sent is taken back on the phone itself.
    with leads_on(roaming):
        roaming.get_by_role("button", name="Take back what waits last").click()
    expect(roaming.get_by_role("button", name="Begin zone 2")).to_be_visible()
    press(roaming, "Begin zone 2")
    head(roaming, "Zone 2: begun.")
    roaming.get_by_text("Something is wrong, or to be written down").click()
    roaming.get_by_text("A tint", exact=True).first.click()
    roaming.get_by_label("In your words").fill("brown at the left edge")
    press(roaming, "Beam off: keep it as an incident")
    head(roaming, "Zone 2: stopped.")
    expect(roaming.locator("#away")).to_contain_text("Stop: beam off")
    roaming.goto(f"{job}/run?zone=3")
    expect(roaming.get_by_role("button", name="Begin zone 3")).to_be_hidden()
    expect(roaming.locator("#away")).to_contain_text("harm was written down since the control patch")
    laptop.open()
    all_sent(roaming)
    said = [(one.data["what"], one.data["zone"]) for one in entries_of(store, key)]
    assert said == [("begin", 1), ("end", 1), ("check", 1), ("begin", 2), ("incident", 2)]
    times = [one.data["at"] for one in entries_of(store, key)]
    assert times == sorted(times)
    assert entries_of(store, key)[1].data["setting"]["travel_speed_m_s"] == pytest.approx(0.02)
    assert len(entries_of(store, key)[2].data["photos"]) == 1
    day = day_of(store, key, datetime.date.today())
    assert {name for name, one in day.data["checks"].items() if one["ok"]} == set(names)
    assert len(day.data["controls"]) == 1
    reached(roaming, f"{job}/run")
    head(roaming, "Zone 2, rim, is stopped.")


# A page kept on another day: its checks were of that day, its control patch too.
def test_yesterdays_page_opens_nothing_today(roaming, laptop, store):
    job, key = ready(store)
    opened(store, key)
    kept(roaming, f"{job}/run/day")
    graded(roaming, "#control", "clean")
    press(roaming, "Keep the control patch")
    all_sent(roaming)
    for path in ("/run/day", "/run"):
        kept(roaming, f"{job}{path}")
    expect(roaming.get_by_role("button", name="Begin zone 1")).to_be_visible()
    laptop.shut()
    roaming.goto(f"{job}/run")
    expect(roaming.get_by_role("button", name="Begin zone 1")).to_be_visible()
    roaming.clock.install(time=datetime.datetime.now() + datetime.timedelta(days=1))
    roaming.goto(f"{job}/run")
    expect(roaming.locator("#stale")).to_contain_text("Stop: this page is of another day")
    expect(roaming.get_by_role("button", name="Begin zone 1")).to_be_hidden()
    roaming.goto(f"{job}/run/day")
    expect(roaming.locator("#checks input[type=radio]:checked")).to_have_count(0)


def test_a_surprise_is_known_on_the_phone_too(roaming, laptop, store):
    job, key = ready(store)
    opened(store, key)
    for path in ("/run/day", "/run"):
        kept(roaming, f"{job}{path}")
    laptop.shut()
    roaming.goto(f"{job}/run/day")
    graded(roaming, "#control", "trace")
    press(roaming, "Keep the control patch")
    expect(roaming.locator("#away")).to_contain_text(
        re.compile("Stop. A surprise: trace.*Then lay the control patch anew")
    )
    roaming.goto(f"{job}/run")
    expect(roaming.get_by_role("button", name="Begin zone 1")).to_be_hidden()


def test_the_pages_of_the_day_hold_for_eye_and_thumb(browser, client, store, shop):
    job, key = ready(store)
    page = browser.new_page(viewport=PHONE)
    looks = [("run", "shut"), ("run/day", "checks")]
    for path, name in looks:
        client.get(f"{job}/{path}")  # worked out
        page.goto(f"{shop}{job}/{path}")
        expect(page.locator("#run")).to_be_visible()
        accessible_in_both(page, name, PHONE["width"])
    opened(store, key)
    client.post(f"{job}/run/control", data={"residue": "clean", "harm": "none"})
    client.post(f"{job}/run", data={"what": "begin", "zone": "1"})
    client.get(f"{job}/run")
    page.goto(f"{shop}{job}/run")
    expect(page.locator("#run")).to_be_visible()
    accessible_in_both(page, "begun", PHONE["width"])
    # The one thing to do is under the thumb from the top of the page on.
    done = page.get_by_role("button", name="Zone 1 is done")
    page.evaluate("() => scrollTo(0, 0)")
    assert PHONE["height"] / 2 < done.bounding_box()["y"] < PHONE["height"]
    page.get_by_role("button", name="Start of the stroke").click()
    page.get_by_role("button", name="End of the stroke").click()
    expect(page.get_by_label("Seconds of the stroke")).not_to_have_value("")
    page.get_by_role("button", name="Tick every 20 mm").click()
    expect(page.locator("#rate")).to_contain_text("Sound and light beat together")
    client.post(f"{job}/run", data={"what": "incident", "zone": "1", "sign": "tint"})
    for path in ("run", "run/day"):
        page.set_viewport_size(LAPTOP)
        page.goto(f"{shop}{job}/{path}")
        expect(page.locator("#run")).to_be_visible()
        accessible_in_both(page, path, LAPTOP["width"])
    page.close()


# A figure beyond its limit opens nothing on a phone either, whatever is ticked beside it (ISO 8502-4 for bare steel).
def test_a_figure_beyond_its_limit_opens_no_day_out_of_reach(roaming, laptop, store):
    job, key = ready(store)
    names = [one.name for one in checks_of(piece_on(road(store, store.get("job", key))))]
    for path in ("/run/day", "/run"):
        kept(roaming, f"{job}{path}")
    laptop.shut()
    roaming.goto(f"{job}/run/day")
    answer(roaming, names)
    head(roaming, "The day is not open yet.")
    for value, says in (
        # No two in a row say the same, so that none is read off the page before it.
        ("92 %", "Stop. Humidity: 85 % is the most"),
        ("wet", "which this phone cannot judge"),
        ("0,92", "Stop. Humidity: 85 % is the most"),
        ("85 %", "the metal may stand too near the dew point"),
    ):
        roaming.locator("#value-humidity").fill(value)
        press(roaming, "Keep these answers")
        expect(roaming.locator("#away")).to_contain_text(says)
        expect(roaming.locator("#control")).to_be_hidden()
    for name, value, says in (
        ("power", "120 W", "Stop. Power or burn card: 135 W is the least today"),
        ("power", "0.15 kW", "no control patch of today"),
        ("metal", "12 °C", "the metal may stand too near the dew point"),
        ("metal", "55 °F", "no control patch of today"),
    ):
        roaming.locator("#value-humidity").fill("50 %")
        roaming.locator(f"#value-{name}").fill(value)
        press(roaming, "Keep these answers")
        expect(roaming.locator("#away")).to_contain_text(says)
    graded(roaming, "#control", "clean")
    press(roaming, "Keep the control patch")
    head(roaming, "The day is open on this phone.")
    # Read again and beyond it now: the zones are shut too.
    roaming.locator("#value-humidity").fill("92 %")
    press(roaming, "Keep these answers")
    expect(roaming.locator("#away")).to_contain_text("85 % is the most")
    roaming.goto(f"{job}/run")
    expect(roaming.locator("#gate, #away").first).to_be_visible()
    expect(roaming.get_by_role("button", name="Begin zone 1")).to_be_hidden()


# What the laptop knows to be wrong stays so on the phone until it is answered anew.
def test_a_stop_of_the_laptop_holds_out_of_reach(roaming, laptop, store):
    job, key = ready(store)
    piece = opened(store, key)
    now = datetime.datetime.now().astimezone()
    answer_check(store, key, now.date(), piece, "humidity", True, 0.92, "", now.isoformat())
    for path in ("/run/day", "/run"):
        kept(roaming, f"{job}{path}")
    laptop.shut()
    roaming.goto(f"{job}/run")
    roaming.get_by_text("Something is wrong, or to be written down").click()
    roaming.get_by_label("Only a note").fill("waiting for dry air")
    press(roaming, "Keep the note")
    expect(roaming.get_by_role("button", name="Take back what waits last")).to_be_visible()
    roaming.goto(f"{job}/run/day")
    expect(roaming.get_by_role("button", name="Take back what waits last")).to_be_visible()
    expect(roaming.locator("#control")).to_be_hidden()
