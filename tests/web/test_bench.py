"""The bench on screen: the command line's figures, what was typed kept, sliders that answer while they move."""

import html
import json
import re
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner
from made_browser import LAPTOP, PHONE, accessible_in_both
from playwright.sync_api import expect

from proofpatch.bench import FIGURES, shown
from proofpatch.cli import cli
from proofpatch.shop.lasers import add_laser, entry_of
from proofpatch.units import KINDS, parse, show
from proofpatch.web.bench_words import alike
from proofpatch.web.road import chance_words

A = {"power": "300 W", "rate": "25 kHz", "width": "200 ns", "sweep_width": "40 mm", "sweep_speed": "8 m/s",
     "travel_speed": "60 mm/s", "passes": "3", "pattern": "sine"}  # fmt: skip
B = A | {"power": "150 W", "travel_speed": "90 mm/s", "pattern": "line"}
VARNISH = {"coating": "oil-varnish", "coating_condition": "aged", "substrate": "oak"}


def address(a=A, b=B, **more):
    return {"laser": "pulsed-500", **{f"a-{k}": v for k, v in a.items()}, **{f"b-{k}": v for k, v in b.items()}, **more}


def rows(page):
    """The cells of the table of figures, a row each."""
    table = page[page.index('<table class="figures numbers">') : page.index("</table>")]
    return [
        [html.unescape(cell) for cell in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row)] for row in table.split("<tr>")
    ][2:]


def flags(knobs):
    return [word for name, value in knobs.items() for word in (f"--{name.replace('_', '-')}", value)]


@pytest.mark.parametrize("surface", [{}, VARNISH], ids=["bare", "varnish"])
def test_every_figure_is_the_command_lines(client, surface):
    answer = client.get("/bench", params=address(**surface))
    assert answer.status_code == 200
    page = answer.text.replace("\u00a0", " ")
    against = "; ".join(f"{name.replace('_', '-')}={value}" for name, value in B.items())
    words = ["bench", "--laser", "pulsed-500", *flags(A), *flags(surface), "--against", against, "--json"]
    told = json.loads(CliRunner().invoke(cli, words).output)
    found = {name.lower(): cells for name, *cells in rows(page)}
    assert len(found) == sum(key in told for key in FIGURES) > 10
    for key, (name, kind) in FIGURES.items():
        if key in told:
            one, other = (
                chance_words(r[key]) if kind == "chance" else shown(r, key) for r in (told, told["against"])
            )  # fmt: skip
            here = found[name.lower()][:2]
            if kind in KINDS and one.split()[-1] != other.split()[-1] and here != [one, other]:
                # A row is in one unit; the figures are the same ones.
                assert here[0].split()[-1] == here[1].split()[-1], key
                assert [parse(f, kind, key) for f in here] == pytest.approx([parse(f, kind, key) for f in (one, other)])
            else:
                assert here == [one, other], key
            ratio = told["ratios"].get(key)
            if ratio and kind != "chance" and abs(ratio - 1) > 0.01:
                assert found[name.lower()][2] == f"{ratio:.3g} times"
    for side in (told, told["against"]):
        assert f">edge {show(side['dose_edge_J_m2'], 'fluence')}<" in page
        assert f">{show(side['dose_middle_J_m2'], 'fluence')} in the middle<" in page
    for line in told["limits"]:
        assert line in html.unescape(page)
    faster = told["ratios"]["area_rate_m2_s"]
    assert f"<h1>B is {faster:.2g} times as fast; " in page


def test_a_first_visit_has_two_settings_and_says_how_they_differ(client):
    for laser in ("pulsed-100", "pulsed-300", "pulsed-500"):
        page = client.get("/bench", params={"laser": laser}).text
        assert "<h1>B is as fast as A; with the same dose its pulses lie" in page
        assert page.count('role="img"') == 2
        assert "no clearance" in page


@pytest.mark.parametrize(
    ("asked", "field", "said"),
    [
        ({"b-power": "300 kHz"}, "b-power", "unit of a frequency"),
        ({"a-power": "300"}, "a-power", "has no unit"),
        ({"a-rate": ""}, "a-rate", "missing"),
        ({"b-rate": "2 kHz"}, "b-rate", "Raise the rate to"),
        ({"b-passes": "some"}, "b-passes", "whole number"),
        ({"a-pattern": "spiral"}, "a-pattern", "cannot sweep"),
        ({"coating": "oil-varnish"}, "substrate", "Choose both"),
        ({**VARNISH, "thickness": "thick"}, "thickness", "does not start with a number"),
        ({"laser": "/etc/own.toml"}, "laser", "No laser is called"),
        ({"job": "none"}, "job", ""),
    ],
)
def test_what_was_typed_stays_and_its_field_is_named(client, asked, field, said):
    sent = address() | asked
    answer = client.get("/bench", params=sent)
    assert answer.status_code == 422
    (sentence,) = re.findall(r'<p class="trouble"[^>]*>([^<]+)</p>', answer.text)
    assert said in html.unescape(sentence)
    assert "--" not in sentence
    assert re.findall(r'id="([^"]*)"[^>]*aria-invalid', answer.text) == [field]
    for name, value in sent.items():
        if name[:2] in ("a-", "b-") and "pattern" not in name:
            assert re.search(rf'name="{name}" value="([^"]*)"', answer.text)[1] == value


def test_a_coating_no_beam_touches_is_not_laid_out(client):
    answer = client.get("/bench", params=address(coating="asbestos", substrate="oak"))
    assert "This is not for a beam." in answer.text
    assert 'role="img"' not in answer.text


def test_a_job_brings_its_belief_its_laser_and_what_is_open(client, store):
    new = {"title": "Side table", "kind": "clear film", "substrate": "mahogany", "year": "1905", "laser": "pulsed-300"}
    job = client.post("/new", data=new).headers["location"].split("/")[2]
    page = client.get("/bench", params={"job": job}).text
    assert "as Side table stands now" in page
    assert "A bench lays no beam." in page  # lead is open
    assert re.search(r"<h1>B .*; clean .*, harm .*</h1>", page)
    assert f'href="/jobs/{job}">Back to Side table' in page


def test_a_laser_put_away_is_not_offered_but_works(client, store):
    laser = tomllib.loads((Path(__file__).parents[2] / "docs" / "own-laser.toml").read_text("utf-8"))
    add_laser(store, laser)
    assert '<option value="ours-300">' in client.get("/bench").text
    entry = entry_of(store, "ours-300")
    store.delete("laser", entry.id, entry.version)
    assert 'value="ours-300"' not in client.get("/bench").text
    named = client.get("/bench", params={"laser": "ours-300"})
    assert named.status_code == 200
    assert '<option value="ours-300" selected>' in named.text


@pytest.mark.parametrize(
    ("one", "other", "kind", "said"),
    [
        ("0.267 mm", "134 µm", "length", ("0.267 mm", "0.134 mm")),
        ("980 W", "1.2 kW", "power", ("0.98 kW", "1.2 kW")),
        ("2 mm", "90 µm", "length", ("2 mm", "0.09 mm")),
        ("2 mm", "5 µm", "length", ("2 mm", "5 µm")),
        ("none", "3 J/cm²", "fluence", ("none", "3 J/cm²")),
    ],
)
def test_a_row_is_in_one_unit_where_nothing_is_lost(one, other, kind, said):
    assert alike(one, other, kind) == said


def test_there_is_one_filled_button_with_and_without_a_job(client, store):
    assert re.findall(r'class="next"[^>]*>([^<]*)<', client.get("/bench").text) == ["Compute"]
    new = {"title": "Skillet", "kind": "grease", "substrate": "cast-iron", "year": "2020", "laser": "pulsed-300"}
    job = client.post("/new", data=new).headers["location"].split("/")[2]
    page = client.get("/bench", params={"job": job}).text
    assert re.findall(r'class="next"[^>]*>([^<]*)<', page) == ["Back to Skillet"]


def test_a_slider_moves_the_answer_without_a_page_load(page):
    page.goto("/bench")
    page.evaluate("window.same = true")
    before, other = page.locator("h1").inner_text(), page.locator("#drawn-a svg").get_attribute("aria-label")
    slider = page.get_by_label("Hand of B")
    slider.focus()
    for _ in range(5):
        page.keyboard.press("PageUp")
    expect(page.locator("h1")).not_to_have_text(before)
    expect(page.locator("h1")).to_contain_text("times as fast")
    assert page.evaluate("window.same")
    assert page.locator("#drawn-a svg").get_attribute("aria-label") == other
    typed = page.locator("#b-travel_speed").input_value()
    expect(slider).to_have_attribute("aria-valuetext", typed)
    # The address keeps it: a reload shows the same.
    page.wait_for_function("(said) => new URLSearchParams(location.search).get('b-travel_speed') === said", arg=typed)
    said = page.locator("h1").inner_text()
    page.reload()
    expect(page.locator("h1")).to_have_text(said)
    expect(page.locator("#b-travel_speed")).to_have_value(typed)


def test_a_slip_of_the_pen_is_said_at_the_field_and_taken_back(page):
    page.goto("/bench")
    said = page.locator("h1").inner_text()
    page.locator("#a-power").fill("300 kHz")
    expect(page.locator("#e-a-power")).to_contain_text("unit of a frequency")
    expect(page.locator("#a-power")).to_have_value("300 kHz")
    expect(page.locator("#held")).to_be_visible()
    expect(page.locator("h1")).to_have_text(said)
    page.locator("#a-power").fill("0.3 kW")
    expect(page.locator("#held")).to_be_hidden()
    expect(page.locator("#e-a-power")).to_be_empty()
    expect(page.locator("#drawn-a h2")).to_contain_text("300 W")


@pytest.mark.parametrize("size", [PHONE, LAPTOP], ids=["phone", "laptop"])
def test_nothing_is_found_against_access(page, size):
    page.set_viewport_size(size)
    for path in ("/bench", "/bench?coating=oil-varnish&substrate=oak&a-pattern=sine", "/bench?a-power=3"):
        page.goto(path)
        accessible_in_both(page, path, size["width"])
        low = page.evaluate(
            "() => [...document.querySelectorAll('main input, main select, main summary')]"
            ".filter((one) => one.getBoundingClientRect().height < 44).map((one) => one.outerHTML)"
        )
        assert low == [], path
