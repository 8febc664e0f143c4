"""A strip graded by a photo: sheet, photo, what was seen, taps, grades; without a browser. Photos are made."""

import contextlib
import io
import json
import re
import shutil
from dataclasses import dataclass

import numpy as np
import pytest
from fastapi.testclient import TestClient
from made_laid import SIZE, photo_of
from made_pages import LEAD, PAN, laid, seen, send
from made_words import fell_through
from PIL import Image
from pypdf import PdfReader

from proofpatch.cli import main
from proofpatch.photos.corrections import Correction
from proofpatch.photos.reading import read
from proofpatch.shop.by_photo import Asked
from proofpatch.shop.regraded import regrade
from proofpatch.shop.seen import add_tap, keep_measured, seen_of
from proofpatch.shop.store import Store
from proofpatch.shop.strip_file import lay, strips_path
from proofpatch.web.app import create

LEFT = {"1": 0.55, "2": 0.18, "3": 0.0}  # share of coating left on the steps


@dataclass(frozen=True)
class Laid:
    """A strip of a job, its printed sheet and a photo of it."""

    client: TestClient
    store: Store
    job: str
    strip: str
    photo: bytes
    outline: np.ndarray  # corners of the sheet in the photo, as shares of its width and height (4, 2)

    @property
    def base(self):
        return f"{self.job}/strips/{self.strip}"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """(shop's folder, job, strip, photo, outline): a job whose first strip is laid out and photographed."""
    folder = tmp_path_factory.mktemp("seen")
    store = Store.open(folder / "shop")
    with TestClient(create(store, patience=None), base_url="http://127.0.0.1", follow_redirects=False) as client:
        job = client.post("/new", data=PAN).headers["location"].removesuffix("/survey")
        send(client, store, job, "settle", **LEAD)
        assert laid(client, job) == "A1"
        (strip,) = store.all("strip")
        (folder / "sheet.pdf").write_bytes(client.get(f"{job}/strips/{strip.id}/sheet.pdf").content)
    store.close()
    jpeg, outline = photo_of(folder / "sheet.pdf", LEFT, np.random.default_rng(5))
    return folder / "shop", job, strip.id, jpeg, outline


@pytest.fixture
def strip(made):
    """That strip in a shop as new; at the same place, so that a photo looked at by one test is known to the next."""
    folder, job, strip, photo, outline = made
    copied = folder.with_name("at work")
    shutil.rmtree(copied, ignore_errors=True)
    shutil.copytree(folder, copied)
    store = Store.open(copied)
    with TestClient(create(store, patience=None), base_url="http://127.0.0.1", follow_redirects=False) as client:
        yield Laid(client, store, job, strip, photo, outline)
        client.app.state.desk.run(lambda: None)  # what was begun is done before its folder goes
    store.close()


def sent(strip, content=None, name="a.jpg"):
    return strip.client.post(f"{strip.base}/photo", files={"photo": (name, content or strip.photo, "image/jpeg")})


def entry(strip):
    return seen_of(strip.store, strip.job.rsplit("/", 1)[1], strip.strip)


# The truth is the renderer's, which shares no code with the grader.
def test_a_photo_of_the_strip_proposes_what_is_left_and_a_press_keeps_it(strip):
    assert sent(strip).headers["location"] == f"{strip.base}/seen"
    page = seen(strip.client.get(f"{strip.base}/seen"))
    shares = [float(one) for one in re.findall(r"Still covered: ([\d.]+) ±", page)]
    assert shares == pytest.approx([100 * one for one in LEFT.values()], abs=5)
    assert "A1: partial" in page
    for path in ("seen", "corners/0"):
        spanish = strip.client.get(f"{strip.base}/{path}", headers={"accept-language": "es"})
        assert fell_through(spanish.text, (PAN["title"], PAN["laser"])) == []
    form = {f"residue-A{n}": said for n, said in ((1, "partial"), (2, "partial"), (3, "clean"))}
    form |= {f"harm-A{n}": "none" for n in (1, 2, 3)} | {"waited": "10 min", "grader": "Ada"}
    assert strip.client.post(f"{strip.base}/grades", data=form).headers["location"] == f"{strip.job}/patches"
    kept = {one.title: one for one in strip.store.all("patch")}
    assert sorted(kept) == ["A1: partial, none", "A2: partial, none", "A3: clean, none"]
    # Each share goes into the belief with its own error.
    errors = [float(one) for one in re.findall(r"Still covered: [\d.]+ ± ([\d.]+)", page)]
    for title, share, error in zip(sorted(kept), shares, errors, strict=True):
        assert 100 * kept[title].data["fraction_left"] == pytest.approx(share, abs=0.051)
        assert 100 * kept[title].data["fraction_error"] == pytest.approx(max(error, 0.1), abs=0.051)
    assert {one.data["about"] for one in strip.store.all("photo")} == {"strip A", "A1", "A2", "A3"}
    page = seen(strip.client.get(f"{strip.job}/patches"))
    assert "Strip A is graded" in page
    # Pressed twice: nothing is added.
    strip.client.post(f"{strip.base}/grades", data=form)
    assert len(strip.store.all("patch")) == 3


def test_photos_graded_again_give_the_same_grade_until_something_moved(strip, capsys, monkeypatch):
    sent(strip)
    form = {f"residue-A{n}": said for n, said in ((1, "partial"), (2, "partial"), (3, "clean"))}
    strip.client.post(f"{strip.base}/grades", data=form | {f"harm-A{n}": "none" for n in (1, 2, 3)})
    again = list(regrade(strip.store, map))
    assert [(one.step, one.moved) for one in again] == [("A1", False), ("A2", False), ("A3", False)]
    assert all(one.now["fraction_left"] == one.before["fraction_left"] for one in again)
    kept = entry(strip)
    moved = {**kept.data["kept"], "A2": {**kept.data["kept"]["A2"], "residue": "clean"}}
    keep_measured(strip.store, kept, moved)
    monkeypatch.setattr("proofpatch.pool.each_on", lambda address: contextlib.nullcontext(map))
    with pytest.raises(SystemExit) as end:
        main(["rework", "photos", str(strip.store.folder)])
    said = " ".join(capsys.readouterr().out.split())
    assert (end.value.code, "Of 3 steps graded by photo 1 get another grade" in said) == (0, True)
    assert "A2: clean, harm not told then; partial, harm not told now" in said
    assert len(strip.store.all("patch")) == 3


def test_what_the_eye_puts_right_is_no_measurement(strip):
    sent(strip)
    strip.client.post(f"{strip.base}/grades", data={"residue-A2": "nearly", "harm-A2": "none"})
    (kept,) = strip.store.all("patch")
    assert (kept.data["residue"], kept.data.get("fraction_left")) == ("nearly", None)
    assert entry(strip).data["kept"]["A2"]["residue"] == "partial"


def test_a_choice_that_is_missing_is_asked_for_and_the_others_stay(strip):
    sent(strip)
    answer = strip.client.post(f"{strip.base}/grades", data={"residue-A1": "trace", "harm-A1": "", "grader": "Ada"})
    assert (answer.status_code, strip.store.all("patch")) == (422, [])
    assert "A1: It was not said what it did" in seen(answer)
    assert "<option selected>trace</option>" in answer.text
    assert 'value="Ada"' in answer.text
    nothing = strip.client.post(f"{strip.base}/grades", data={"residue-A1": "not laid"})
    assert "No step has a grade yet" in seen(nothing)


def test_taps_teach_and_are_taken_back(strip):
    sent(strip)
    before = strip.client.get(f"{strip.base}/seen/0/1.jpg").content
    tap = {"version": entry(strip).version, "step": "1", "label": "bare", "tap-0.x": "60", "tap-0.y": "80"}
    assert strip.client.post(f"{strip.base}/tap", data=tap).headers["location"] == f"{strip.base}/seen#A1"
    (kept,) = entry(strip).data["taps"]
    assert (kept["label"], kept["step"], len(kept["colours"][0])) == ("bare", 1, 4)
    assert kept["x"] / kept["y"] == pytest.approx(60.5 / 80.5)  # the middle of the pixel the browser says
    assert "1 place tapped" in seen(strip.client.get(f"{strip.base}/seen"))
    assert strip.client.get(f"{strip.base}/seen/0/1.jpg").content != before
    assert "Tap again" in seen(strip.client.post(f"{strip.base}/tap", data=tap))  # of a page that is no longer true
    outside = tap | {"version": entry(strip).version, "tap-0.y": "4000"}
    assert "outside the window" in seen(strip.client.post(f"{strip.base}/tap", data=outside))
    strip.client.post(f"{strip.base}/untap", data={"version": entry(strip).version})
    assert entry(strip).data["taps"] == []
    assert strip.client.get(f"{strip.base}/seen/0/1.jpg").content == before


def test_without_markers_four_taps_place_the_sheet(strip):
    picture = read(strip.photo).copy()
    for x, y in strip.outline * SIZE:  # somebody's thumbs and a rag on all that tells the sheet
        picture[max(0, round(y) - 190) : round(y) + 190, max(0, round(x) - 190) : round(x) + 190] = 90
    for x, y in (strip.outline + np.roll(strip.outline, -1, axis=0)) / 2 * SIZE:
        picture[max(0, round(y) - 190) : round(y) + 190, max(0, round(x) - 190) : round(x) + 190] = 90
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "JPEG", quality=90)
    sent(strip, out.getvalue())
    assert "tap its four corners by hand" in seen(strip.client.get(f"{strip.base}/seen"))
    at = f"{strip.base}/corners/0"
    size = Image.open(io.BytesIO(strip.client.get(f"{at}/photo.jpg").content)).size
    for x, y in strip.outline * size:
        page = strip.client.get(at)
        tapped = re.search(r'name="tapped" value="([^"]*)"', page.text)[1]
        answer = strip.client.post(
            f"{strip.base}/corners/0", data={"tapped": tapped, "tap.x": str(round(x)), "tap.y": str(round(y))}
        )
        at = answer.headers["location"]
    assert at == f"{strip.base}/seen"
    page = seen(strip.client.get(at))
    assert "tapped by hand" in page
    shares = [float(one) for one in re.findall(r"Still covered: ([\d.]+) ±", page)]
    assert shares[:2] == pytest.approx([100 * LEFT["1"], 100 * LEFT["2"]], abs=12)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "No photo was chosen"),
        (b"not a picture at all", "no photo that can be read"),
        (b"\x00\x00\x00\x18ftypheic" + bytes(40), "most compatible format"),
        (b"GIF89a" + bytes(20), "neither JPEG nor PNG"),
    ],
)
def test_files_that_are_no_photo_get_one_sentence(strip, content, said):
    answer = strip.client.post(f"{strip.base}/photo", files={"photo": ("a.jpg", content, "image/jpeg")})
    assert (answer.status_code, said in seen(answer)) == (404, True)
    assert strip.store.all("photo") == []


def test_a_photo_without_a_sheet_is_kept_and_says_what_to_do(strip):
    out = io.BytesIO()
    Image.effect_noise((800, 600), 50).convert("RGB").save(out, "JPEG")
    sent(strip, out.getvalue())
    page = seen(strip.client.get(f"{strip.base}/seen"))
    assert "Nothing of strip A can be told" in page
    assert "tap its four corners by hand" in page
    strip.client.post(f"{strip.base}/drop", data={"version": entry(strip).version, "photo": "0"})
    assert entry(strip).data["photos"] == []


def test_the_sheet_tells_its_strip_and_its_steps(strip):
    pdf = PdfReader(io.BytesIO(strip.client.get(f"{strip.base}/sheet.pdf").content))
    words = " ".join(page.extract_text() for page in pdf.pages)
    for said in ("Strip A", "A1", "A3", "paper burns", "Skillet"):
        assert said in words


# Whoever writes meanwhile is not held up: the look, which takes seconds, is no part of the turn.
def test_a_look_holds_nobody_up_and_photos_that_changed_are_looked_at_again(strip, monkeypatch):
    sent(strip)
    desk, true, held = strip.client.app.state.desk, Asked.look, []

    def look(wanted):
        held.append(desk.turn.locked())
        return true(wanted)

    monkeypatch.setattr(Asked, "look", look)
    form = {"residue-A2": "partial", "harm-A2": "none"}
    assert strip.client.post(f"{strip.base}/grades", data=form).status_code == 303
    assert held == [False]

    def tapped_meanwhile(wanted):
        found = true(wanted)
        add_tap(
            strip.store, entry(strip), {"step": 1, "photo": 0, "x": 0.0, "y": 0.0}, Correction("bare", ((50, 0, 0, 0),))
        )
        monkeypatch.setattr(Asked, "look", true)
        return found

    monkeypatch.setattr(Asked, "look", tapped_meanwhile)
    answer = strip.client.post(f"{strip.base}/grades", data={"residue-A1": "partial", "harm-A1": "none"})
    assert (answer.status_code, "The photos changed meanwhile" in seen(answer)) == (422, True)
    assert len(strip.store.all("patch")) == 1


# ---- The same figures at every face, to the digit ----


def test_page_command_line_and_http_say_the_same_of_one_photo(strip, capsys):
    api = f"/api{strip.base}"
    sent_ = strip.client.post(f"{api}/photos", files={"photo": ("a.jpg", strip.photo, "image/jpeg")})
    assert sent_.status_code == 201, sent_.text
    over_http = sent_.json()
    assert strip.client.get(f"{api}/seen").json() == over_http
    page = seen(strip.client.get(f"{strip.base}/seen"))
    shares = re.findall(r"Still covered: ([\d.]+) ± ([\d.]+) %", page)
    assert shares == [
        (f"{100 * one['fraction_left']:.1f}", f"{100 * one['fraction_error']:.1f}") for one in over_http["steps"]
    ]
    folder = strip.store.folder.parent / "typed"
    folder.mkdir(exist_ok=True)
    (folder / "pan.toml").write_text(
        "[surface]\nsubstrate = 'cast-iron'\n[[layers]]\ncoating = 'fresh-grease'\n", encoding="utf-8"
    )
    (folder / "strip.jpg").write_bytes(strip.photo)
    path = strips_path(folder / "pan.toml")
    path.unlink(missing_ok=True)
    lay(path, [one["setting"] for one in over_http["steps"]], "2026-03-01T10:00:00+00:00")
    with pytest.raises(SystemExit):
        main(["grade", str(folder / "pan.toml"), "--photo", str(folder / "strip.jpg"), "--json"])
    typed = json.loads(capsys.readouterr().out)
    assert {name: typed[name] for name in over_http} == over_http


def test_grades_are_kept_over_http_as_the_photo_or_the_eye_has_them(strip):
    api = f"/api{strip.base}"
    assert strip.client.get(f"{api}/seen").status_code == 404
    told = strip.client.post(f"{api}/photos", files={"photo": ("a.jpg", strip.photo, "image/jpeg")}).json()
    steps = {one["step"]: one for one in told["steps"]}
    grades = [{"step": "A1", "harm": "none"}, {"step": "A2", "residue": "nearly", "harm": "none"}]
    for wrong in ([{"step": "B7"}], [grades[0], grades[0]], [{"step": "A1", "residue": "clean", "harm": "dust"}]):
        assert strip.client.post(f"{api}/graded", json={"grades": wrong}).status_code == 422
    assert strip.store.all("patch") == []
    answer = strip.client.post(f"{api}/graded", json={"grades": grades, "grader": "Ada", "waited_s": 600})
    assert answer.status_code == 201, answer.text
    first, second = answer.json()["graded"]
    assert (first["residue"], second["residue"], first["waited_s"]) == (steps["A1"]["residue"], "nearly", 600)
    for name in ("fraction_left", "fraction_error"):
        assert first[name] == pytest.approx(steps["A1"][name], abs=1e-4)
    assert second["fraction_left"] is None
    assert answer.json()["taught"]["patches"] == 2
    assert {one.data["about"] for one in strip.store.all("photo")} == {"strip A", "A1", "A2"}
    again = strip.client.post(f"{api}/graded", json={"grades": grades})
    assert (again.status_code, again.json()["field"]) == (422, "grades[0].step")
    # The strip that waits is the one that is laid out.
    assert strip.client.post(f"/api{strip.job}/strips").json()["strip"] == "A"
