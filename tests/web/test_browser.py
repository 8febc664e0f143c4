"""The road in a real browser, at phone and laptop size."""

import io
import re

import numpy as np
import pytest
from made_browser import LAPTOP, PATIENT, PHONE, accessible_in_both, leads_on, visit, whole
from PIL import Image
from playwright.sync_api import expect


def take_in(page, title="Side table"):
    page.goto("/new")
    page.get_by_label("The piece").fill(title)
    page.get_by_label("What is on it?").select_option("clear film")
    page.get_by_label("What is under it?").select_option("mahogany")
    page.get_by_label("Year it was coated").fill("1905")
    with leads_on(page):
        page.get_by_role("button", name="Start the survey").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("most likely")


@pytest.mark.parametrize("size", [PHONE, LAPTOP], ids=["phone", "laptop"])
def test_the_road_from_door_to_method_statement(page, size):
    page.set_viewport_size(size)
    page.goto("/")
    with leads_on(page):
        page.get_by_role("link", name="Take in a piece").click()
    assert page.url.endswith("/new")
    take_in(page)
    expect(page.locator("p.stop").first).to_contain_text("Stop: lead")
    # The stop leads to where it is settled.
    with leads_on(page):
        page.get_by_role("link", name="Put it on record").click()
    page.get_by_label("Hazard").select_option("lead")
    page.get_by_label("Method", exact=True).fill("laboratory test of a chip through all layers")
    page.get_by_label("Date, like").fill("2025-03-11")
    with leads_on(page):
        page.get_by_role("button", name="Put it on record").click()
    expect(page.get_by_text("not found by laboratory test")).to_be_visible()
    # Questions until none is left that pays; each answer is kept.
    asked = 0
    while page.get_by_role("button", name="Keep this answer").count() and asked < 8:
        page.locator("fieldset.choices label").first.click()
        with leads_on(page):
            page.get_by_role("button", name="Keep this answer").click()
        asked += 1
    assert asked > 0
    page.get_by_role("navigation").get_by_role("link", name="Forecast").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("in 100 that some setting")
    page.get_by_role("navigation").get_by_role("link", name="Hazards").click()
    page.get_by_label("Caught at the spot").fill("98 %")
    for name, value in (
        ("Room length", "9 m"),
        ("Room width", "6 m"),
        ("The work, from the west wall", "3 m"),
        ("The work, from the south wall", "2 m"),
    ):
        page.get_by_label(name).fill(value)
    page.get_by_role("button", name="Keep room and air").click()
    expect(page.get_by_text("with 98 % caught at the spot")).to_be_visible()
    expect(whole(page).locator(".plan svg:visible")).to_have_count(1)
    printed = page.get_by_role("link", name="Print the method statement").get_attribute("href")
    sheet = page.request.get(printed, timeout=PATIENT)
    assert sheet.body().startswith(b"%PDF")
    assert page.evaluate("() => document.documentElement.scrollWidth") <= size["width"]


def test_two_tabs_keep_both(page, store):
    take_in(page)
    other = visit(page.context.new_page(), page.url)
    for tab, use in ((page, "side table"), (other, "kitchen door")):
        tab.get_by_text("About the piece").click()
        tab.get_by_label("Use").fill(use)
        with leads_on(tab):
            tab.get_by_label("Use").locator("xpath=ancestor::form").get_by_role("button").click()
    expect(other.get_by_role("heading", level=1)).to_have_text("Changed meanwhile")
    with leads_on(other):
        other.get_by_role("link", name="Go on from what is kept").click()
    # Both are there, and the later writer may have theirs after all.
    (job,) = store.all("job")
    assert job.data["evidence"]["use"] == "side table"
    with leads_on(other):
        other.get_by_role("button", name="Back to this version, changed too late").click()
    other.goto(f"/jobs/{job.id}/survey")
    other.get_by_text("About the piece").click()
    expect(other.get_by_label("Use")).to_have_value("kitchen door")


def test_back_and_reload_lose_nothing(page, store):
    take_in(page)
    page.locator("fieldset.choices label").first.click()
    with leads_on(page):
        page.get_by_role("button", name="Keep this answer").click()
    for step in (page.reload, page.go_back, page.go_forward):
        step()
        whole(page)
    (job,) = store.all("job")
    assert job.version == 2  # neither made anything twice
    page.goto("/new")
    page.get_by_label("Year it was coated").fill("soon")
    page.get_by_label("The piece").fill("Kept words")
    page.get_by_role("button", name="Start the survey").click()
    expect(page.get_by_role("alert")).to_be_visible()
    expect(page.get_by_label("The piece")).to_have_value("Kept words")


def test_a_huge_photo_is_taken(page, store):
    noise = np.random.default_rng(1).integers(0, 256, (375, 500, 3), dtype=np.uint8)
    out = io.BytesIO()
    Image.fromarray(noise).resize((8000, 6000)).save(out, "JPEG", quality=95)  # 48 million pixels
    page.goto("/new")
    page.get_by_label("The piece").fill("Barn door")
    page.get_by_label("Photo").set_input_files({"name": "a.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()})
    page.get_by_role("button", name="Start the survey").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("most likely")
    (photo,) = store.all("photo")
    assert (photo.data["width"], photo.data["height"]) == (8000, 6000)
    page.locator(".photos img").scroll_into_view_if_needed()
    expect(page.locator(".photos img")).to_have_js_property("naturalWidth", 480)


@pytest.mark.parametrize("size", [PHONE, LAPTOP], ids=["phone", "laptop"])
def test_nothing_is_found_against_access(page, store, size):
    page.set_viewport_size(size)
    take_in(page)
    job = page.url.removesuffix("/survey")
    open_job = to_patches(page, store)
    paths = ["/", "/new", "/shop", "/bench", f"/bench?job={open_job.rsplit('/', 1)[1]}", "/none", f"{job}/piece",
             f"{job}/survey?test=alcohol"]  # fmt: skip
    paths += [f"{one}/{step}" for one in (job, open_job)
              for step in ("survey", "forecast", "patches", "recipe", "hazards")]  # fmt: skip
    for path in paths:
        page.goto(path)
        accessible_in_both(page, path, size["width"])


def to_patches(page, store):
    """A job that nothing stops, with a strip laid out and its first step graded; its address."""
    data = {
        "job": {"title": "Skillet", "laser": "pulsed-500"}, "limits": {"preset": "ordinary"},
        "evidence": {"kind": "grease", "substrate": "cast-iron", "year": "2020"},
        "lead": {"status": "negative", "method": "laboratory test of a chip through all layers", "date": "2025-03-11"},
        "room": {"length": "9 m", "width": "6 m", "height": "4 m", "work": ["3 m", "2 m"]},
    }  # fmt: skip
    job = f"/jobs/{store.add('job', data, title='Skillet').id}"
    page.goto(f"{job}/patches")
    with leads_on(page):
        page.get_by_role("button", name="Lay out the next strip").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Lay A1")
    # Two taps time the stroke and fill both fields.
    page.get_by_role("button", name="Start of the stroke").click()
    page.get_by_role("button", name="End of the stroke").click()
    expect(page.get_by_label("Seconds of the stroke")).not_to_have_value("")
    expect(page.locator("#moved")).to_contain_text("asked were")
    page.get_by_label("Seconds of the stroke").fill("1.9 s")
    page.get_by_label("Length of the stroke").fill("100 mm")
    page.get_by_role("button", name="Tick every 20 mm").click()
    expect(page.get_by_role("button", name="Stop ticking")).to_have_attribute("aria-pressed", "true")
    page.locator(".grades label", has_text="partial").click()
    page.locator(".grades label", has_text="none").click()
    with leads_on(page):
        page.get_by_role("button", name="Keep the grade of A1").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Lay A2")
    return job


def test_a_strip_is_laid_graded_and_taken_back(page, store):
    page.set_viewport_size(PHONE)
    job = to_patches(page, store)
    (patch,) = store.all("patch")
    assert (patch.data["seconds"], patch.data["length"], patch.data["residue"]) == (1.9, 0.1, "partial")
    page.get_by_role("button", name="Take back the grade of A1").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Lay A1")
    with leads_on(page):
        page.get_by_role("button", name="Bring back A1").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Lay A2")
    page.locator(".grades label", has_text="clean").first.click()
    page.locator(".grades label", has_text="marked").click()
    page.get_by_role("button", name="Keep the grade of A2").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("A2 shows marked on the cast iron. Strip A ends here")
    expect(page.get_by_role("heading", name="How the belief narrowed")).to_be_visible()
    page.goto(f"{job}/recipe")
    expect(page.get_by_role("heading", level=1)).to_contain_text(re.compile("No recipe yet|Confirm first"))


def test_all_works_by_keyboard(page):
    take_in(page)
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="To the answer")).to_be_focused()
    page.locator("fieldset.choices input").first.focus()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Undo: evidence")).to_be_visible()
