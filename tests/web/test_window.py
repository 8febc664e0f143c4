"""The windows of forecast and recipe in a real browser: read point by point, never scaled, nothing against access."""

import re

from made_browser import accessible, visit
from playwright.sync_api import expect

import proofpatch as pp
from proofpatch.units import parse
from proofpatch.web.road import chance_words, road

SETTLED = {"status": "negative", "method": "laboratory test of a chip through all layers", "date": "2025-03-11"}
PAN = {
    "job": {"title": "Skillet", "laser": "pulsed-500", "year": 2020}, "surface": {"substrate": "cast-iron"},
    "layers": [{"coating": "baked-grease"}], "lead": SETTLED,
}  # fmt: skip
SIZES = {360: 328, 768: 688, 1280: 520, 1440: 688}  # px: of the view, of the picture it gets


def test_both_chances_are_read_at_any_point_and_axe_finds_nothing(page, store):
    job = store.add("job", PAN, title="Skillet").id
    for step in ("forecast", "recipe"):
        visit(page, f"/jobs/{job}/{step}")
        expect(page.locator("figure.window")).to_be_visible()
        for theme in ("light", "dark"):
            page.emulate_media(color_scheme=theme)
            for width, drawn in SIZES.items():
                page.set_viewport_size({"width": width, "height": 800})
                assert page.evaluate("() => document.documentElement.scrollWidth") <= width
                seen = page.locator("figure.window svg:visible")
                assert [one["width"] for one in [seen.bounding_box()]] == [drawn]
            accessible(page, (step, theme), width)
        # Every word lies on its slip: the widths that were reckoned are those of the font.
        loose = seen.evaluate(
            "(svg) => [...svg.querySelectorAll('rect + text')].filter((text) => text.getComputedTextLength() + 8 >"
            " text.previousElementSibling.width.baseVal.value).map((text) => text.textContent)"
        )
        assert loose == []
        assert seen.evaluate("(svg) => parseFloat(getComputedStyle(svg.querySelector('text')).fontSize)") >= 15
        # By key and by pointer.
        plot, reading = page.locator("figure.window .plot"), page.locator("figure.window .reading")
        plot.focus()
        page.keyboard.press("ArrowDown")
        expect(reading).to_contain_text("clean")
        before = reading.text_content()
        page.keyboard.press("ArrowLeft")
        expect(reading).not_to_have_text(before)
        box = seen.bounding_box()
        page.mouse.move(box["x"] + 52, box["y"] + 36)
        expect(reading).to_contain_text("The laser cannot do 500 W at")
        # And without a script.
        assert page.locator("table.points td").filter(has_text="clean").count() > 8
    assert page.troubles == []  # nothing was refused either


def test_what_would_settle_it_says_the_strips_own_chance_and_both_thicknesses(store):
    found = road(store, store.add("job", PAN, title="Skillet"))
    strip, thickness = found.settles
    assert strip[1].startswith(chance_words(found.strip[0]["chance_of_recipe"]))
    said = re.fullmatch(r"(.*) if it is (.*); (.*) if it is (.*)", thickness[1])
    thin, thick = (parse(said[n], "length", "thickness") for n in (2, 4))
    assert thin < thick
    surface = pp.Surface([pp.Layer("baked-grease", thickness=thin)], "cast-iron")
    chance = pp.forecast(pp.prior(surface, "pulsed-500"), found.work.limits).chance
    assert said[1] == chance_words(chance)


def test_a_job_that_something_stops_gets_no_strip_and_no_dials(store):
    found = road(store, store.add("job", {name: PAN[name] for name in PAN if name != "lead"} | {
        "job": {"title": "Old pan", "laser": "pulsed-500", "year": 1905}, "layers": [{"coating": "alkyd-paint"}],
    }, title="Old pan"))  # fmt: skip
    assert found.closed
    assert not any("strip" in evidence for evidence, _ in found.settles)
    assert found.likeliest is not None
