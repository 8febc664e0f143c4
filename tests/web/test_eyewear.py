"""Light, dark and through tinted eyewear: chosen on the page, kept by the device, legible behind the tint."""

import re
from pathlib import Path

import pytest
from made_browser import LAPTOP, PHONE, accessible
from made_eyewear import RATIO, SHAPE, TEXT, TINTS, contrast, lost, whole
from made_pages import seen
from playwright.sync_api import expect

import proofpatch
from proofpatch.web.appearance import APPEARANCES, COOKIE

CSS = (Path(proofpatch.__file__).parent / "web" / "static" / "style.css").read_text(encoding="utf-8")
TOKENS = r"--([\w-]+): light-dark\(#([0-9A-F]{6}), #([0-9A-F]{6})\);"
# What words are set in, and on what; behind a tint marks stand on washes too.
PAIRS = (("ink", "paper"), ("soft", "paper"), ("mark", "paper"), ("on-mark", "mark"), ("ink", "wash"), ("soft", "wash"),
         ("mark", "wash"), ("rule", "paper"))  # fmt: skip


def tokens(selector):
    """The two forms, light and dark, of every token a rule sets."""
    body = re.search(re.escape(selector) + r" \{([^{}]*--paper[^{}]*)\}", CSS)[1]
    rows = re.findall(TOKENS, body)
    return [{name: tuple(bytes.fromhex(row[n])) for name, *row in rows} for n in (0, 1)]


def wear(page, floor, name):
    page.context.add_cookies([{"name": COOKIE, "value": name, "url": floor.address}])


# WCAG 2.2, 1.4.6: 7 to 1. Reckoned: the least is the mark on the wash, 9.6 bare, 9.8 behind green, 9.9 behind amber.
def test_every_pair_of_tokens_stands_out_by_seven():
    rules = [tokens('[data-appearance="eyewear"]'), tokens("prefers-contrast: more) {\n  :root")]
    assert rules[0] == rules[1]  # the two ways to it lead to the same
    for form in rules[0]:
        for one, other in PAIRS:
            for tint, shares in TINTS.items():
                assert contrast(form[one], form[other], shares) >= 7.0, (one, other, tint)
        assert contrast(form["hair"], form["paper"]) >= SHAPE


PATHS = (("tea", "patches"), ("skillet", "forecast"), ("skillet", "recipe"), ("skillet", "hazards"), ("side", "survey"))


@pytest.mark.parametrize("way", ["eyewear", "asked by the system", "asked by the system, dark"])
def test_words_and_shapes_are_seen_behind_each_tint(phone, floor, way):
    if way == "eyewear":
        wear(phone, floor, way)
    else:
        phone.emulate_media(contrast="more", color_scheme="dark" if "dark" in way else "light")
    for job, step in PATHS:
        phone.goto(f"{floor.jobs[job]}/{step}")
        phone.evaluate("() => document.fonts.ready.then(() => true)")
        shot, (words, shapes) = whole(phone)
        assert shot.shape[1] == RATIO * PHONE["width"]
        assert len(words) > 30
        assert shapes
        for tint, shares in TINTS.items():
            assert lost(shot, words, shares, TEXT) == [], (step, tint)
            assert lost(shot, shapes, shares, SHAPE) == [], (step, tint)
    # The check sees what it is for: two hues of one lightness, and words that are only grey.
    for ink, paper, tint in (("#c00000", "#006400", "none, hue taken away"), ("#8a8a8a", "#ffffff", "green"),
                             ("#0000ff", "#000000", "amber")):  # fmt: skip
        phone.evaluate("([ink, paper]) => { const one = document.querySelector('h1'); one.style.color = ink;"
                       " one.style.background = paper; }", [ink, paper])  # fmt: skip
        shot, (words, _) = whole(phone)
        assert lost(shot, words, TINTS[tint], TEXT), (ink, paper)


@pytest.mark.parametrize("size", [PHONE, LAPTOP], ids=["phone", "laptop"])
def test_nothing_is_found_against_access_through_eyewear(phone, floor, size):
    wear(phone, floor, "eyewear")
    phone.set_viewport_size(size)
    for path in ("/", "/shop", "/bench?coating=oil-varnish&substrate=oak", "/lasers/pulsed-500", "/materials/oak",
                 *(f"{floor.jobs[job]}/{step}" for job, step in PATHS)):  # fmt: skip
        phone.goto(path)
        expect(phone.locator("html")).to_have_attribute("data-appearance", "eyewear")
        accessible(phone, path, size["width"], color_contrast_enhanced=True)


# A state keeps its shape when all hue is gone: more ink, the further along.
def test_states_differ_without_hue(phone, floor):
    wear(phone, floor, "eyewear")
    phone.goto("/")
    shot, _ = whole(phone)
    share = {}
    for state in ("done", "begun", "to-do"):
        box = phone.locator(f".key .dot.{state}").bounding_box()
        left, top, wide, high = (round(RATIO * box[name]) for name in ("x", "y", "width", "height"))
        share[state] = (shot[top : top + high, left : left + wide].mean(axis=2) < 128).mean()
    assert share["done"] > share["begun"] + 0.15 > share["to-do"] + 0.3


def test_the_device_chooses_and_comes_back_to_where_it_was(phone, floor):
    paper = phone.locator("html")
    path = f"{floor.jobs['side']}/survey?test=alcohol"
    phone.goto(path)
    phone.emulate_media(color_scheme="dark")
    for name, colour in (("eyewear", "rgb(255, 255, 255)"), ("light", "rgb(247, 244, 236)"),
                         ("dark", "rgb(22, 24, 27)"),
                         ("device", "rgb(22, 24, 27)")):  # fmt: skip
        button = phone.get_by_role("button", name=APPEARANCES[name], exact=True)
        button.tap()
        expect(button).to_have_attribute("aria-pressed", "true")
        assert phone.url == f"{floor.address}{path}"
        expect(paper).to_have_css("background-color", colour)
        phone.goto(f"{floor.jobs['tea']}/forecast")
        expect(paper).to_have_css("background-color", colour)  # every page, and pictures with it
        drawn = phone.locator("figure.window svg:visible text").first
        ink = phone.evaluate("() => getComputedStyle(document.body).color")
        assert drawn.evaluate("(one) => getComputedStyle(one).fill") == ink
        phone.goto(path)


@pytest.mark.parametrize(
    "back", ["//elsewhere.test/", "/\\elsewhere.test", "https://elsewhere.test/", "", "javascript:1"]
)
def test_the_way_back_stays_within_the_shop(client, back):
    answer = client.post("/appearance", data={"appearance": "dark", "back": back})
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    assert "appearance=dark" in answer.headers["set-cookie"]
    assert "HttpOnly" in answer.headers["set-cookie"]


def test_an_appearance_that_is_none_is_not_kept_nor_shown(client):
    answer = client.post("/appearance", data={"appearance": '"><script>', "back": "/shop"})
    assert (answer.headers["location"], "set-cookie" in answer.headers) == ("/shop", False)
    page = client.get("/", headers={"cookie": "appearance=neon"})
    assert 'data-appearance="device"' in page.text
    assert "Through eyewear" in seen(page)
