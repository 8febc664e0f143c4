"""Measuring on a scan on the pages: the same figures as the core's, nothing asked twice, each bad file one sentence."""

import html
import io
import re
from urllib.parse import parse_qsl, urlsplit

import numpy as np
import pytest
import trimesh
from made_browser import LAPTOP, PHONE, accessible_in_both, visit
from made_pages import at, seen, send
from PIL import Image
from playwright.sync_api import expect

from proofpatch.measure.mesh import Region
from proofpatch.measure.mesh_file import read_mesh
from proofpatch.measure.reach import reach
from proofpatch.shop.job import job_from

SIDES = (600.0, 400.0, 900.0)  # mm


def box():
    return trimesh.creation.box(SIDES).export(file_type="stl")


@pytest.fixture
def sent(client, pan):
    """The address of a scan of the pan's job, without its size."""
    answer = client.post(f"{pan}/measure/scan", files={"scan": ("box.stl", box())}, data={"about": "the box"})
    assert answer.status_code == 303, seen(answer)
    return answer.headers["location"]


def state(address):
    return dict(parse_qsl(urlsplit(address).query))


def press(client, address, **form):
    answer = client.post(urlsplit(address).path, data={**state(address), **form})
    assert answer.status_code == 303, seen(answer)
    return answer.headers["location"]


def test_a_wrong_unit_is_seen_before_it_is_taken(client, sent):
    said = seen(client.get(sent))
    assert "900 mm by 600 mm by 400 mm if its numbers are millimetres" in said
    assert "9 m by 6 m by 4 m if its numbers are centimetres" in said
    assert "metres" not in said.replace("millimetres", "").replace("centimetres", "")  # 900 m is no piece
    for form, why in (
        ({}, "It is not said how large"), ({"unit": "mm", "longest": "0.9 m"}, "Keep one of them"),
        ({"longest": "0.9 kg"}, "unit 'kg'"), ({"unit": "m"}, "900\xa0m long"),
    ):  # fmt: skip
        answer = client.post(sent, data={"do": "size", **form})
        assert answer.status_code == 422
        assert why in html.unescape(re.search(r'class="said"[^>]*>(.*?)</p>', answer.text)[1]), form
    taped = press(client, sent, do="size", longest="1.8 m")
    assert "1.8 m by 1.2 m by 800 mm" in seen(client.get(taped))


def test_picked_from_the_list_measured_and_kept(client, store, pan, sent):
    picking = press(client, sent, do="size", unit="mm")
    page = client.get(picking)
    assert "0.54 m² , flat, facing the front" in seen(page)
    seeds = re.findall(r'value="face-(\d+)"', page.text)
    picking = press(client, picking, do=f"face-{seeds[0]}")
    picking = press(client, picking, do="side", side="top")
    picking = press(client, picking, do="facing")
    page = client.get(picking)
    assert "0.78 m² picked" in seen(page)  # 0.6 × 0.9 + 0.6 × 0.4
    kept = press(client, picking, do="keep", version=at(store, pan).version, name="front and top", count="2")
    assert kept == f"{pan}/measure"
    zone = at(store, pan).data["zones"][0]
    work = job_from(at(store, pan).data)
    assert work.measured[0].area == pytest.approx(1.56)
    said = seen(client.get(kept))
    assert "front and top: 1.56 m²" in said
    assert "picked parts of a scan: 4 faces, 0.78 m²" in said
    # Going on from what is kept, in its place; and beside it.
    again = re.search(r'href="([^"]*/measure/scan/[^"]*at=0[^"]*)"', client.get(f"{pan}/measure/0").text)
    again = html.unescape(again[1])
    assert "0.78 m² picked" in seen(client.get(again))
    press(client, press(client, again, do="all"), do="keep", version=at(store, pan).version)
    assert job_from(at(store, pan).data).measured[0].area == pytest.approx(2 * 2.28)
    assert at(store, pan).data["zones"][0] | {"scans": 0} == zone | {"scans": 0}
    more = press(client, sent.split("?")[0] + "?zone=0", do="size", unit="mm")
    more = press(client, press(client, more, do="all"), do="keep", version=at(store, pan).version)
    assert len(at(store, pan).data["zones"][0]["scans"]) == 2
    assert send(client, store, pan, "measure/remove", zone="0", kind="scans", at="1").status_code == 303
    assert len(at(store, pan).data["zones"][0]["scans"]) == 1


@pytest.mark.parametrize("name", ["wide", "narrow"])
def test_a_tap_takes_the_face_under_it(client, sent, name):
    picking = press(client, press(client, sent, do="size", unit="mm"), do="side", side="right")
    page = client.get(picking).text
    found = re.search(rf'name="{name}" src="[^"]*" width="(\d+)" height="(\d+)"', page)
    wide, tall = int(found[1]), int(found[2])
    tap = {f"{name}.x": wide // 2, f"{name}.y": tall // 2}
    picking = press(client, picking, **tap)
    assert "0.36 m² picked" in seen(client.get(picking))
    assert "Tap what is to be cleaned" in seen(client.get(press(client, picking, **tap)))
    for at_, said in (((1, 1), "nothing of the scan"), ((0, 0), "A key does not say where")):
        answer = client.post(urlsplit(picking).path, data={**state(picking), f"{name}.x": at_[0], f"{name}.y": at_[1]})
        assert answer.status_code == 422
        assert said in seen(answer)


def test_what_the_beam_gets_to_is_the_cores(client, store, pan, sent):
    picking = press(client, press(client, sent, do="size", unit="mm"), do="all")
    asked = press(client, picking, do="reach", incidence="20°")
    mesh = read_mesh(box(), "stl", "mm")
    known = reach(Region(mesh=mesh), incidence=np.radians(20))
    said = seen(client.get(asked))
    assert f"in {len(known.setups)} set-ups" in said
    assert f"{known.by_hand:.0%}".replace("%", "") in said
    for form, field in (({"incidence": "5 mm"}, "incidence"), ({"held": "yes"}, "focus_depth"),
                        ({"incidence": "89.9°"}, "incidence")):  # fmt: skip
        answer = client.post(urlsplit(picking).path, data={**state(picking), "do": "reach", **form})
        assert answer.status_code == 422, form
        assert f'id="e-{field}"' in answer.text, form
    press(client, asked, do="keep", version=at(store, pan).version, hand_finish="0 %")
    assert at(store, pan).data["zones"][0]["set_ups"] == len(known.setups)


def test_it_is_drawn_from_every_side(client, sent):
    picking = press(client, press(client, sent, do="size", unit="mm"), do="side", side="right")
    plain, ruled = ({}, {"picks": "s-right"})
    sums = []
    for more in (plain, ruled):
        path = urlsplit(picking).path + "/picture"
        answer = client.get(path, params={**state(picking), **more, "shown": "wide"})
        ink = np.asarray(Image.open(io.BytesIO(answer.content)), float) / 255
        rows, columns = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
        # The right side is 400 by 900 mm.
        assert np.ptp(columns) / np.ptp(rows) == pytest.approx(400 / 900, rel=0.01)
        sums.append(ink.mean())
    assert sums[1] > 1.5 * sums[0]
    assert client.get(path, params={**state(picking), "shown": "huge"}).status_code == 404


BAD = [
    ("box.stl", b"", "No scan was chosen"), ("box.step", b"x", "of the kind 'step' is not read"),
    ("box.stl", b"PK\x03\x04zip", "packed archive"), ("box.obj", b"v 0 0 0\n", "holds no faces"),
    ("box.ply", b"plywood", "cannot be read as PLY"), ("box.glb", b"glTF", "cannot be read as GLB"),
    ("box.obj", b"v 0 0 0\nv nan 0 0\nv 0 1 0\nf 1 2 3\n", "corners that are no numbers"), ("", b"x", "is not read"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "content", "said"), BAD)
def test_a_bad_file_is_one_sentence_at_its_field(client, store, pan, name, content, said):
    answer = client.post(f"{pan}/measure/scan", files={"scan": (name or "x", content)}, data={"about": "the lid"})
    assert answer.status_code == 422
    assert said in html.unescape(re.search(r'id="e-scan"[^>]*>(.*?)</p>', answer.text)[1])
    assert store.all("scan") == []
    assert not list((store.folder / "scans").rglob("*.*"))


def test_a_scan_is_of_its_job_and_its_file_may_be_gone(client, store, pan, job, sent):
    picking = press(client, press(client, sent, do="size", unit="mm"), do="all")
    press(client, picking, do="keep", version=at(store, pan).version, name="box")
    assert client.get(picking.replace(pan, job)).status_code == 404
    (kept,) = (store.folder / "scans").rglob("*.stl")
    kept.rename(kept.with_suffix(".gone"))
    from proofpatch.shop import scans

    scans._mesh.cache_clear()
    scans._loose.cache_clear()
    assert "gone from the shop" in seen(client.get(picking))
    assert "box: 2.28 m²" in seen(client.get(f"{pan}/measure"))  # what was measured stands


def test_in_a_browser_by_keys_and_without_a_script(client, pan, sent, shop, browser):
    picking = press(client, sent, do="size", unit="mm")
    for size in (PHONE, LAPTOP):
        page = browser.new_page(viewport=size)
        for where, head in ((f"{pan}/measure/scan", "Add a scan"), (sent, "How large"), (picking, "Tap what is to")):
            page.goto(shop + where)
            expect(page.locator("h1")).to_contain_text(head)  # the job may be at work first
            accessible_in_both(page, where, size["width"])
        visit(page, shop + picking)
        picture = page.locator(".tapped:visible input")
        picture.focus()
        page.keyboard.press("ArrowUp")
        page.keyboard.press("Enter")
        expect(page.locator("h1")).to_contain_text("0.54 m² picked")
        page.close()
    plain = browser.new_context(java_script_enabled=False).new_page()
    plain.goto(shop + picking)
    plain.locator(".tapped:visible input").click()
    expect(plain.locator("h1")).to_contain_text("0.54 m² picked")
    plain.get_by_role("button", name="Take out").click()
    expect(plain.locator("h1")).to_contain_text("Tap what is to be cleaned")
    plain.context.close()
