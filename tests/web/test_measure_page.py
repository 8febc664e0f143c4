"""Measuring on the pages: the same figures as everywhere, taps on a photo against a known face, nothing typed lost."""

import html
import io
import json
import math
import re

import numpy as np
import pytest
from made_browser import PHONE, TOUCHED, UNLINED, accessible, accessible_in_both, leads_on, looked_at, visit
from made_pages import at, seen, send
from PIL import Image
from playwright.sync_api import expect

from proofpatch.cli import main
from proofpatch.measure.outline import outline_from
from proofpatch.measure.registry import figures
from proofpatch.measure.shapes import SHAPES
from proofpatch.records_measure import measure_record
from proofpatch.shop.job import job_from
from proofpatch.shop.photos import add_photo, cropped
from proofpatch.units import show
from proofpatch.web.taps import CORNERS, SHOWN, Taps, shown_size, taps_of

LEGS = {"name": "legs", "diameter": "60 mm", "length": "700 mm", "count": "4", "effort-turnings": "yes",
        "hand_finish": "10 %"}  # fmt: skip
# A camera before a door, for an independent truth: millimetres on the door to pixels, by hand.
DOOR, SHEET = (900.0, 2000.0), ((150.0, 300.0), (750.0, 1100.0))
CAMERA = np.array([[0.62, 0.03, 180.0], [0.02, 0.6, 150.0], [6e-5, 2e-5, 1.0]])
SIZE = (1200, 1600)


def pixel(x, y):
    u, v, w = CAMERA @ (x, y, 1)
    return u / w, v / w


def square(low, high):
    return [pixel(*corner) for corner in (low, (high[0], low[1]), high, (low[0], high[1]))]


def photo_of_door():
    out = io.BytesIO()
    Image.new("RGB", SIZE, (120, 130, 125)).save(out, "JPEG")
    return out.getvalue()


@pytest.fixture
def photo(store, pan):
    """The address of a photo of the pan's job, to be outlined on."""
    entry = add_photo(store, photo_of_door(), pan.rsplit("/", 1)[1], about="the door")
    return f"{pan}/measure/photo/{entry.data['digest']}"


def state(answer):
    form = re.search(r'<form id="photo".*?</form>', answer.text, re.S)
    text = form[0] if form else answer.text
    return {key: html.unescape(value) for key, value in re.findall(r'type="hidden" name="(.*?)" value="(.*?)"', text)}


def go(client, answer):
    assert answer.status_code == 303, seen(answer)
    return client.get(answer.headers["location"])


def tap_all(client, photo, answer, points, name="wide"):
    """Each corner twice: on the whole photo, then closer."""
    wide, _ = shown_size(SIZE, name)
    for x, y in points:
        for _ in range(2):
            said = state(answer)
            left, top, part, _ = taps_of(said).box(SIZE)
            at_ = {f"{name}.x": int((x - left) * wide / part), f"{name}.y": int((y - top) * wide / part)}
            answer = go(client, client.post(photo, data={**said, **at_}))
    return answer


def said_in(answer):
    return html.unescape(re.search(r'class="said" id="e-([\w-]+)"[^>]*>(.*?)</p>', answer.text)[2])


def test_the_page_the_records_the_command_line_and_the_interface_say_the_same(client, store, pan, tmp_path, capsys):
    assert "Nothing is measured yet." in seen(client.get(f"{pan}/measure"))
    assert send(client, store, pan, "measure/new/cylinder", **LEGS).status_code == 303
    wall = {"name": "glass", "length": "1 m", "height": "2 m", "how": "eye", "untouched": "yes"}
    assert send(client, store, pan, "measure/new/wall", **wall).status_code == 303
    tables = at(store, pan).data
    record = measure_record(job_from(tables).measured)
    assert record["by_hand_m2"] == pytest.approx(
        0.1 * 4 * math.pi * 0.06 * 0.7, rel=1e-12
    )  # mantle of a cylinder, π d L
    page = seen(client.get(f"{pan}/measure"))
    for name in ("area_m2", "area_low_m2", "area_high_m2", "beam_m2", "by_hand_m2", "untouched_m2", "effective_m2"):
        assert show(record[name], "area").replace(" ", "\u00a0") in page.replace(" ", "\u00a0"), name
    with pytest.raises(SystemExit):
        main(["measure", "--shape", "cylinder; diameter=60 mm; length=700 mm", "--pieces", "4", "--effort", "turnings",
              "--hand-finish", "10 %", "--zone", "legs", "--json"])  # fmt: skip
    assert json.loads(capsys.readouterr().out)["zones"][0] == json.loads(json.dumps(record["zones"][0]))
    key = pan.rsplit("/", 1)[1]
    kept = client.get(f"/api/jobs/{key}").json()
    assert kept["tables"]["zones"] == tables["zones"]
    again = {"version": kept["version"], "tables": {**kept["tables"], "zones": kept["tables"]["zones"][:1]}}
    assert client.put(f"/api/jobs/{key}", json=again).status_code == 200
    assert "glass" not in seen(client.get(f"{pan}/measure"))
    step = next(one for one in re.findall(r"<li.*?</li>", client.get(f"{pan}/measure").text, re.S) if "/measure" in one)
    assert "dot done" in step
    assert show(record["area_m2"], "area") in html.unescape(step).replace("\u00a0", " ")


FILLED = {"length": "1.5 m", "area": "2 m²", "count": "3"}
LISTED = {
    "stations": [("0", "40 mm"), ("10 cm", "60 mm"), ("30 cm", "2 in")], "openings": [("0.2 m", "30 cm", "2")],
    "points": [("0", "0"), ("1 m", "0"), ("1 m", "60 cm")],
}  # fmt: skip
SMALLER = {"member": "10 cm", "pitch": "76 mm", "depth": "18 mm", "recess": "0", "top": "1 m", "height": "1.2 m",
           "slat": "50 mm", "thickness": "20 mm", "ends": "1", "sides": "2"}  # fmt: skip


@pytest.mark.parametrize("shape", SHAPES)
def test_every_shape_is_asked_by_its_figures_and_shows_them_again_as_typed(client, store, pan, shape):
    form = client.get(f"{pan}/measure/new/{shape}").text
    typed = {}
    for key, one, _ in figures(shape):
        if one.kind in LISTED:
            typed |= {f"{key}-{n}-{m}": cell for n, row in enumerate(LISTED[one.kind]) for m, cell in enumerate(row)}
        else:
            typed[key] = SMALLER.get(key, one.choices[-1] if one.choices else FILLED.get(one.kind))
        assert f'name="{key}' in form
        assert html.escape(one.help) in form or one.help in html.unescape(form)
    assert send(client, store, pan, f"measure/new/{shape}", **typed).status_code == 303
    again = html.unescape(client.get(f"{pan}/measure/0/0").text)
    for key, value in typed.items():
        if not re.search(
            rf'name="{key}".*?(?:value="{re.escape(value)}"|<option value="{re.escape(value)}" selected)', again
        ):
            pytest.fail(f"{key} = {value} is not shown again")
    before = at(store, pan).data["zones"]
    assert send(client, store, pan, "measure/0/0", **typed).status_code == 303
    assert at(store, pan).data["zones"] == before


@pytest.mark.parametrize(
    ("step", "wrong", "field", "words"),
    [
        ("new/cylinder", {"length": "70"}, "length", "no unit"),
        ("new/cylinder", {"diameter": ""}, "diameter", "is missing"),
        ("new/cylinder", {"count": "four"}, "count", "not a whole number"),
        ("new/cylinder", {"effort": "1.5"}, "effort", "Keep one of them"),
        ("new/cylinder", {"effort-turnings": "", "effort": "99"}, "effort", "from 0.1 to 20"),
        ("new/cylinder", {"hand_finish": "most"}, "hand_finish", "does not start with a number"),
        ("new/cylinder", {"name": "x" * 201}, "name", "not a short line"),
        ("new/cylinder", {"ends": "3"}, "ends", "from 0 to 2"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_one_sentence_at_its_field_and_nothing_typed_is_lost(
    client, store, pan, step, wrong, field, words
):
    answer = send(client, store, pan, f"measure/{step}", **{**LEGS, **wrong})
    assert answer.status_code == 422
    assert f'id="e-{field}"' in answer.text
    sentence = said_in(answer)
    if "ends" not in wrong:
        assert words in sentence
    assert "zones[" not in sentence
    for name, value in {**LEGS, **wrong}.items():
        if value and not name.startswith("effort-"):
            assert f'value="{value}"' in answer.text, name
    assert "zones" not in at(store, pan).data


def test_more_rows_keep_what_is_typed(client, store, pan):
    answer = send(client, store, pan, "measure/new/turned", **{"stations-2-1": "60 mm", "more": "yes"})
    assert answer.status_code == 200
    assert 'value="60 mm"' in answer.text
    assert 'name="stations-8-1"' in answer.text


def test_a_zone_is_changed_added_to_taken_apart_and_brought_back(client, store, pan):
    send(client, store, pan, "measure/new/cylinder", **LEGS)
    assert send(client, store, pan, "measure/0/new/sphere", diameter="80 mm").status_code == 303
    page = seen(client.get(f"{pan}/measure/0"))
    assert "sphere or cap: diameter 80 mm" in page.replace("\u00a0", " ")
    assert send(client, store, pan, "measure/0", name="feet", count="2", effort="1.2").status_code == 303
    (zone,) = at(store, pan).data["zones"]
    assert (zone["name"], zone["count"], zone["effort"], len(zone["shapes"])) == ("feet", 2, 1.2, 2)
    assert send(client, store, pan, "measure/remove", zone="0", kind="shapes", at="0").status_code == 303
    assert [one["shape"] for one in at(store, pan).data["zones"][0]["shapes"]] == ["sphere"]
    assert send(client, store, pan, "measure/remove", zone="0").status_code == 303
    assert "zones" not in at(store, pan).data
    undone = send(client, store, pan, "undo", after=f"{pan}/measure")
    assert undone.headers["location"] == f"{pan}/measure"
    assert "feet" in seen(client.get(f"{pan}/measure"))
    late = client.post(f"{pan}/measure/remove", data={"version": 1, "zone": "0"})
    assert late.status_code == 409
    assert client.get(f"{pan}/measure/7").status_code == 404


def test_a_digit_that_is_no_number_is_refused_in_a_sentence(client, store, pan, photo):
    assert send(client, store, pan, "measure/new/cylinder", **LEGS).status_code == 303
    assert "The zone has no such area." in seen(client.get(f"{pan}/measure/0/²"))
    refused = send(client, store, pan, "measure/remove", zone="²")
    assert "There is no such zone." in seen(refused)
    said = {"way": "length", "length": "1 m", "wide.x": "²", "wide.y": "3"}
    assert "A key does not say where" in seen(client.post(photo, data=said))


def test_an_area_of_a_job_file_is_changed_where_it_stands(client, store, pan):
    entry = at(store, pan)
    zones = [{"name": "outside", "area": "0.11 m²", "how": "told", "width": "8 cm"}]
    store.change("job", entry.id, entry.version, {**entry.data, "zones": zones})
    assert 'value="0.11 m²"' in client.get(f"{pan}/measure/0/area").text
    assert send(client, store, pan, "measure/0/area", area="0.12 m²", how="tape").status_code == 303
    assert send(client, store, pan, "measure/0", name="all").status_code == 303
    assert at(store, pan).data["zones"] == [{"name": "all", "area": "0.12 m²", "how": "tape", "width": "8 cm"}]


# The truth is the door's own size, seen by a camera of ours (pinhole, plane to plane: a homography).
@pytest.mark.parametrize("name", SHOWN)
def test_a_tapped_outline_has_the_area_of_the_face(client, store, pan, photo, name):
    answer = client.post(photo, data={"do": "size", "way": "rectangle", "width": "600 mm", "height": "800 mm"})
    answer = tap_all(client, photo, go(client, answer), square(*SHEET), name)
    answer = tap_all(client, photo, answer, square((0, 0), DOOR), name)
    assert "m² so far" in seen(answer).replace("\u00a0", " ")
    answer = go(client, client.post(photo, data={**state(answer), "do": "opening"}))
    answer = tap_all(client, photo, answer, square((200, 1200), (700, 1800)), name)
    done = go(client, client.post(photo, data={**state(answer), "do": "close"}))
    assert "nine times in ten" in seen(done)
    refused = send(client, store, pan, photo.removeprefix(f"{pan}/"), **{**state(done), "do": "keep", "count": "x"})
    assert refused.status_code == 422
    assert 'value="x"' in refused.text
    kept = client.post(photo, data={**state(refused), "do": "keep", "name": "door"})
    assert kept.status_code == 303
    (zone,) = job_from(at(store, pan).data).measured
    assert zone.area == pytest.approx(0.9 * 2.0 - 0.5 * 0.6, rel=0.01)
    assert abs(zone.area - 1.5) < 3 * zone.spread * 1.5
    key = pan.rsplit("/", 1)[1]
    kept = client.get(f"/api/jobs/{key}").json()
    assert client.put(f"/api/jobs/{key}", json={name: kept[name] for name in ("version", "tables")}).status_code == 200
    # It is gone on from where it stands, not made a second time.
    href = html.unescape(re.search(r'href="([^"]*known=[^"]*)"', client.get(f"{pan}/measure/0").text)[1])
    answer = go(client, client.post(photo, data={**state(client.get(href)), "do": "close"}))
    assert client.post(photo, data={**state(answer), "do": "keep"}).status_code == 303
    assert len(at(store, pan).data["zones"][0]["outlines"]) == 1


def test_taps_are_taken_back_one_by_one_and_a_key_is_no_tap(client, photo):
    answer = client.post(photo, data={"do": "size", "way": "length", "length": ""})
    assert answer.status_code == 422
    assert "Length of what is known is missing." in said_in(answer)
    answer = go(client, client.post(photo, data={"do": "size", "way": "length", "length": "1 m", "quick": "yes"}))
    pressed = client.post(photo, data={**state(answer), "narrow.x": "0", "narrow.y": "0"})
    assert pressed.status_code == 422
    assert "by numbers" in said_in(pressed)
    taps = [(100, 100), (500, 100), (100, 200), (500, 200), (500, 600), (100, 600)]
    for x, y in taps:
        answer = go(client, client.post(photo, data={**state(answer), "do": "point", "x": x, "y": y}))
    assert len(state(answer)["points"].split("_")) == 4
    # One length of 1 m over 400 px, and 400 px by 400 px.
    assert "1 m² so far" in seen(answer).replace("\u00a0", " ")
    for left in (3, 2, 1):
        answer = go(client, client.post(photo, data={**state(answer), "do": "back"}))
        assert len(state(answer)["points"].split("_")) == left
    outside = client.post(photo, data={**state(answer), "do": "point", "x": "99999", "y": "1"})
    assert outside.status_code == 422
    assert 'value="99999"' in outside.text
    crossed = {**state(answer), "points": "100x100x3_500x500x3_500x100x3_100x500x3"}
    assert "crosses itself" in seen(client.post(photo, data={**crossed, "do": "close"}))
    assert "cannot be read" in seen(client.get(f"{photo}?points=1x1"))


def test_a_printed_frame_gives_the_scale_where_one_is_found():
    metres = ((1e-3, 0.0, 0.0), (0.0, 1e-3, 0.0), (0.0, 0.0, 1.0))
    said = {"way": "frame", "points": "0x0x3_1000x0x3_1000x500x3_0x500x3"}
    assert taps_of(said).step == "size"
    taps = taps_of(said, metres)
    assert taps.step == "outline"
    assert outline_from(taps.record("photo")).area == pytest.approx(0.5, rel=1e-12)


def test_an_address_holds_the_whole_state():
    taps = Taps(zone="2", at="0", way="length", length="1 m", known=((1, 2, 3), (4, 5, 3)), points=((6, 7, 8),),
                holes=(((9, 9, 9),),), hole=True, rough=(5, 5, 5), quick=True)  # fmt: skip
    assert taps_of(taps.said()) == taps
    assert taps_of(taps.opening().said()) == taps.opening()


# Pillow's own crop and resize of the upright picture is the other way to the same pixels.
@pytest.mark.parametrize("orientation", [1, 6])
def test_a_part_of_a_photo_is_that_part_upright(store, pan, orientation):
    ramp = np.tile(np.linspace(0, 255, 640, dtype=np.uint8), (480, 1))
    picture, exif = Image.fromarray(np.stack([ramp, ramp, np.full_like(ramp, 90)], axis=2)), Image.Exif()
    exif[0x0112] = orientation
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=95, exif=exif)
    entry = add_photo(store, out.getvalue(), pan.rsplit("/", 1)[1])
    upright = picture if orientation == 1 else picture.transpose(Image.Transpose.ROTATE_270)
    for box, width in (((40.0, 100.0, 200.0, 160.0), 100), ((0.0, 0.0, *map(float, upright.size)), 60)):
        with Image.open(io.BytesIO(cropped(store, entry.data["digest"], box, width))) as found:
            left, top, wide, tall = box
            expected = upright.crop((left, top, left + wide, top + tall)).resize(found.size, Image.Resampling.BILINEAR)
            assert found.width == width
            assert not found.getexif()
            off = np.abs(np.asarray(found, float) - np.asarray(expected, float))
            assert off.mean() < 4


def test_the_whole_road_by_touch_on_a_phone(browser, shop, store, pan):
    add_photo(store, photo_of_door(), pan.rsplit("/", 1)[1], about="the door")
    with looked_at(browser, **TOUCHED, base_url=shop) as page:
        measured_by_touch(page, store, pan)


def measured_by_touch(page, store, pan):
    visit(page, f"{pan}/measure")
    page.get_by_role("link", name="Add a zone by its shape").tap()
    page.get_by_role("link", name="Cylinder").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("Cylinder")
    accessible(page, "shape", PHONE["width"])
    page.get_by_label("Diameter, d").fill("60 mm")
    page.get_by_role("textbox", name="Length, L").fill("700")
    with leads_on(page):
        page.get_by_role("button", name="Keep the zone").tap()
    expect(page.get_by_role("alert")).to_contain_text("no unit")
    expect(page.get_by_label("Diameter, d")).to_have_value("60 mm")
    page.get_by_role("textbox", name="Length, L").fill("700 mm")
    page.get_by_text("Turned parts").tap()
    page.get_by_role("button", name="Keep the zone").tap()
    expect(page.get_by_role("heading", level=1)).to_contain_text("0.132 m² to clean".replace(" m", "\u00a0m"))
    accessible_in_both(page, "list", PHONE["width"])
    page.get_by_role("link", name="the door").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("What is known in this photo?")
    page.get_by_label("Width").fill("600 mm")
    page.get_by_label("Height").fill("800 mm")
    accessible(page, "size", PHONE["width"])
    with leads_on(page):
        page.get_by_role("button", name="Tap its four corners").tap()
    picture = page.locator(".tapped.narrow input")
    wide, _ = shown_size(SIZE, "narrow")
    for number, (x, y) in enumerate(square(*SHEET) + square((0, 0), DOOR)):
        known = CORNERS[number] if number < 4 else "outline"
        expect(page.get_by_role("heading", level=1)).to_contain_text(known)
        with leads_on(page):
            picture.tap(position={"x": x * wide / SIZE[0], "y": y * wide / SIZE[0]})
        expect(page.get_by_role("heading", level=1)).to_contain_text("Closer now")
        left, top, part, _ = taps_of(
            dict(
                page.locator("#photo input[type=hidden]").evaluate_all(
                    "(all) => all.map((one) => [one.name, one.value])"
                )
            )
        ).box(SIZE)
        with leads_on(page):
            picture.tap(position={"x": (x - left) * wide / part, "y": (y - top) * wide / part})
    expect(page.get_by_role("heading", level=1)).to_contain_text("so far")
    accessible_in_both(page, "tap", PHONE["width"])
    assert page.evaluate(UNLINED) == []
    page.get_by_role("button", name="Close the outline").tap()
    expect(page.get_by_role("heading", level=1)).to_contain_text("inside the outline")
    accessible(page, "done", PHONE["width"])
    page.get_by_label("Name of the zone").fill("door")
    page.get_by_role("button", name="Keep the zone").tap()
    expect(page.get_by_role("heading", level=1)).to_contain_text("to clean")
    assert job_from(at(store, pan).data).measured[1].area == pytest.approx(1.8, rel=0.02)
    page.get_by_role("link", name="Change door").tap()
    expect(page.get_by_role("button", name="Remove the zone")).to_be_visible()
    accessible(page, "zone", PHONE["width"])
    assert page.evaluate(UNLINED) == []
    page.get_by_role("button", name="Remove the zone").tap()
    expect(page.get_by_role("heading", level=1)).to_contain_text("0.132")
    page.get_by_role("button", name="Undo: zones").tap()
    expect(page.get_by_role("heading", level=1)).to_contain_text("1.9")
    # By keys: arrows set a cross, Enter taps there.
    visit(page, f"{pan}/measure/photo/{store.all('photo')[0].data['digest']}?way=length&length=1+m&quick=yes")
    picture.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("other end")


def test_a_tap_with_the_mouse_lands_where_it_was_set(page, photo):
    visit(page, f"{photo}?way=length&length=1+m&quick=yes")
    picture = page.locator(".tapped.wide input")
    box = picture.bounding_box()
    assert (box["width"], box["height"]) == tuple(int(picture.get_attribute(name)) for name in ("width", "height"))
    picture.click(position={"x": box["width"] / 2, "y": box["height"] / 2})
    expect(page.get_by_role("heading", level=1)).to_contain_text("other end")
    x, y = (int(one) for one in re.search(r"known=(\d+)x(\d+)x", page.url).groups())
    assert (x, y) == pytest.approx((SIZE[0] / 2, SIZE[1] / 2), abs=3)
