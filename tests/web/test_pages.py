"""The pages without a browser: what is sent, refused and kept; the same figures as the command line."""

import html
import io
import json
import re

import pytest
from fastapi.testclient import TestClient
from made_photo import shot
from pypdf import PdfReader

import proofpatch as pp
from proofpatch.cli import main
from proofpatch.shop.job import job_from
from proofpatch.shop.log import graded_from
from proofpatch.shop.people import item_of, notes_of
from proofpatch.web.app import create
from proofpatch.web.road import beliefs, road

NEW = {"title": "Side table", "kind": "clear film", "substrate": "mahogany", "year": "1905", "laser": "pulsed-300",
       "preset": "ordinary"}  # fmt: skip
LEAD = {"hazard": "lead", "status": "negative", "method": "laboratory test of a chip through all layers",
        "date": "2025-03-11"}  # fmt: skip


@pytest.fixture
def client(store):
    with TestClient(create(store, patience=None), base_url="http://127.0.0.1", follow_redirects=False) as found:
        yield found


@pytest.fixture
def job(client):
    """The address of a new job."""
    answer = client.post("/new", data=NEW)
    assert answer.status_code == 303
    return answer.headers["location"].removesuffix("/survey")


def seen(answer):
    """The words of a page."""
    body = re.sub(r"<(style|script).*?</\1>", " ", answer.text, flags=re.S)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", body)).split())


def at(store, job):
    return store.get("job", job.rsplit("/", 1)[1])


def send(client, store, job, step, **form):
    return client.post(f"{job}/{step}", data={"version": at(store, job).version, **form})


def test_an_empty_shop_says_what_to_do(client):
    assert "No job yet" in seen(client.get("/"))
    assert "No job says “oak”" in seen(client.get("/?q=oak"))


def test_a_new_job_needs_nothing_but_a_press(client, store):
    answer = client.post("/new", data={})
    assert answer.status_code == 303
    assert store.all("job")[0].title.startswith("Piece of ")
    page = seen(client.get(answer.headers["location"]))
    assert "Test it first" in page
    assert "Stop: lead" in page  # an unknown year counts as old


# What the command line and Python say of the same tables, to the digit.
def test_screen_command_line_and_pdf_agree(client, store, job, tmp_path, capsys):
    send(client, store, job, "survey", test="alcohol", value="dissolves", spot="underside", time="12 s")
    path = tmp_path / "same.toml"
    path.write_text(
        '[job]\ntitle = "Side table"\nlaser = "pulsed-300"\n[limits]\npreset = "ordinary"\n[evidence]\n'
        'substrate = "mahogany"\nkind = "clear film"\nyear = "1905"\n"alcohol@underside" = "dissolves, 12 s"\n',
        encoding="utf-8",
    )

    def told(command):
        with pytest.raises(SystemExit):
            main([command, str(path), "--json"])
        return json.loads(capsys.readouterr().out)

    survey, forecast, hazards = (told(command) for command in ("survey", "forecast", "hazards"))
    page = seen(client.get(f"{job}/survey"))
    for line in (survey["because"], survey["what_would_change"], *survey["stops"], *survey["sources"]):
        assert " ".join(line.split()) in page
    assert forecast["because"] in seen(client.get(f"{job}/forecast"))
    work = job_from(at(store, job).data)
    window = pp.forecast(pp.prior(work.surface, work.laser, work.hand, seed=work.seed), work.limits)
    assert (window.chance, window.because, window.answer) == tuple(forecast[k] for k in ("chance", "because", "answer"))
    assert float(window.p_clean[window.best]) == forecast["best"]["p_clean"]
    page = seen(client.get(f"{job}/hazards"))
    for line in (*hazards["answers"], hazards["fire"]["answer"], *hazards["assumptions"], hazards["always"]):
        assert line in page
    for kind, record in (("survey", survey), ("forecast", forecast), ("hazards", hazards)):
        assert store.all(kind, at(store, job).id)[0].data["record"] == json.loads(json.dumps(record))
    sheet = client.get(f"{job}/survey.pdf")
    text = "".join(one.extract_text() for one in PdfReader(io.BytesIO(sheet.content)).pages)
    assert re.sub(r"\s", "", survey["because"]) in re.sub(r"\s", "", text)
    assert client.get(f"{job}/hazards.pdf").content.startswith(b"%PDF")


def test_lead_stays_a_stop_on_every_page_until_it_is_on_record(client, store, job):
    for step in ("survey", "forecast"):
        assert "Stop: lead" in seen(client.get(f"{job}/{step}"))
    half = send(client, store, job, "settle", hazard="lead", status="negative", method="swab", date="2025-03-11")
    assert half.status_code == 303
    assert "Stop: lead" in seen(client.get(f"{job}/survey"))
    assert send(client, store, job, "settle", **LEAD).status_code == 303
    page = seen(client.get(f"{job}/survey"))
    assert "Stop: lead" not in page
    assert "not found by laboratory test" in page


PAN = {"title": "Skillet", "kind": "grease", "substrate": "cast-iron", "year": "2020", "laser": "pulsed-500"}


def laid(client, job):
    """The step of a strip that waits for its grade; a strip is laid out if none does."""
    page = client.get(f"{job}/patches").text
    if 'name="step"' not in page:
        assert client.post(f"{job}/strips", data={}).status_code == 303
        page = client.get(f"{job}/patches").text
    return re.search(r'name="step" value="([^"]*)"', page)[1]


@pytest.fixture
def pan(client, store):
    """The address of a job that nothing stops."""
    job = client.post("/new", data=PAN).headers["location"].removesuffix("/survey")
    send(client, store, job, "settle", **LEAD)
    return job


def test_no_step_and_no_setting_before_the_stops_are_settled(client, store, job):
    for step in ("patches", "recipe"):
        page = seen(client.get(f"{job}/{step}"))
        assert "Stop: lead" in page
        assert not re.search(r"\d+ (W|kHz|ns)\b", page)
    for path, form in (("strips", {}), ("patches", {"step": "A1", "residue": "clean", "harm": "none"})):
        assert "Stop: lead" in seen(client.post(f"{job}/{path}", data=form))
    assert store.all("patch") + store.all("strip") == []


# The same log at the command line: the same strip and the same recipe, to the digit.
def test_patches_and_recipe_agree_with_the_command_line(client, store, pan, tmp_path, capsys):
    for residue in ("partial", "clean", "clean"):
        form = {"step": laid(client, pan), "residue": residue, "harm": "none", "seconds": "2 s",
                "length": "100 mm", "waited": "10 min"}  # fmt: skip
        assert client.post(f"{pan}/patches", data=form).status_code == 303
    path = tmp_path / "pan.toml"
    path.write_text(
        '[job]\ntitle = "Skillet"\nlaser = "pulsed-500"\n[limits]\npreset = "ordinary"\n[evidence]\nkind = "grease"\n'
        'substrate = "cast-iron"\nyear = "2020"\n[lead]\nstatus = "negative"\nmethod = "laboratory test of a chip '
        'through all layers"\ndate = "2025-03-11"\n',
        encoding="utf-8",
    )
    lines = [json.dumps(one.data) for one in reversed(store.all("patch"))]
    path.with_suffix(".patches.jsonl").write_text("\n".join(lines) + "\n", encoding="utf-8")

    def told(*words):
        with pytest.raises(SystemExit):
            main([*words, "--json"])
        return json.loads(capsys.readouterr().out)

    strip, recipe = told("patch", str(path), "--count", "3"), told("recipe", str(path))
    page = seen(client.get(f"{pan}/patches"))
    for line in (strip["pays_because"], strip["more"], *(one["because"] for one in strip["patches"])):
        assert " ".join(line.split()) in page
    assert "no protection covers this job: do not start" in page  # nothing is caught yet
    page = seen(client.get(f"{pan}/recipe"))
    for line in (recipe["because"], *(one["because"] for one in recipe["alternatives"])):
        assert line in page


def test_a_grade_that_is_none_is_refused_and_one_can_be_taken_back(client, store, pan):
    step = laid(client, pan)
    assert step == "A1"
    for form, said in (
        ({"residue": "clean", "harm": "none"}, "No step does not wait"),
        ({"step": step, "residue": "clean"}, "what it did"),
        ({"step": step, "residue": "spotless", "harm": "none"}, "spotless"),
        ({"step": step, "residue": "clean", "harm": "none", "seconds": "soon"}, "seconds"),
        ({"step": step, "residue": "clean", "harm": "none", "seconds": "2 s"}, "length"),
        ({"step": step, "residue": "clean", "harm": "none", "knob-power": "9 kW"}, "Power"),
        ({"step": step, "residue": "clean", "harm": "none", "knob-rate": "fast"}, "Rate"),
        ({"step": step, "residue": "clean", "harm": "none", "grader": "A\u0007B"}, "grader"),
        ({"step": "B7", "residue": "clean", "harm": "none"}, "B7 does not wait"),
    ):  # fmt: skip
        answer = client.post(f"{pan}/patches", data=form)
        assert answer.status_code == 422
        assert said in re.search(r'role="alert">([^<]*)', answer.text)[1]
    assert store.all("patch") == []
    client.post(f"{pan}/patches", data={"step": step, "residue": "clean", "harm": "none"})
    (kept,) = store.all("patch")
    assert "Lay A2" in seen(client.get(f"{pan}/patches"))
    client.post(f"{pan}/patches/{kept.id}/delete", data={"version": kept.version})
    assert "Lay A1" in seen(client.get(f"{pan}/patches"))
    # A grade that was taken back comes back, unless the step was graded anew.
    client.post(f"{pan}/patches/{kept.id}/restore", data={"version": kept.version + 1})
    assert [one.id for one in store.all("patch")] == [kept.id]
    client.post(f"{pan}/patches/{kept.id}/delete", data={"version": kept.version + 2})
    client.post(f"{pan}/patches", data={"step": step, "residue": "partial", "harm": "none"})
    again = client.post(f"{pan}/patches/{kept.id}/restore", data={"version": kept.version + 3})
    assert "graded anew" in seen(again)


def test_a_strip_stays_as_it_was_laid_out_and_ends_at_the_first_harm(client, store, pan):
    laid(client, pan)
    (strip,) = store.all("strip")
    client.post(f"{pan}/strips", data={})
    assert store.all("strip") == [strip]  # two presses, one strip
    for step, harm in (("A1", "none"), ("A2", "marked")):
        photo = {"photo": ("a.jpg", shot(), "image/jpeg")}
        form = {"step": step, "residue": "partial", "harm": harm}
        assert client.post(f"{pan}/patches", data=form, files=photo).status_code == 303
    assert [one.data["setting"] for one in reversed(store.all("patch"))] == [
        {**one["setting"], **one_dialled(one, row)} for one, row in zip(
            strip.data["steps"][:2], reversed(store.all("patch")), strict=True)]  # fmt: skip
    page = seen(client.get(f"{pan}/patches"))
    assert "A2 shows marked on the cast iron. Strip A ends here" in page
    assert "not laid" in page
    assert {one.data["about"] for one in store.all("photo")} == {"A1", "A2"}
    assert laid(client, pan) == "B1"
    (last,) = [one for one in store.all("strip") if one.data["name"] == "B"]
    client.post(f"{pan}/strips/{last.id}/end", data={"version": last.version})
    assert "Strip A ends here" in seen(client.get(f"{pan}/patches"))  # nothing of B was laid: it is away
    assert laid(client, pan) == "C1"  # no name is used twice


def one_dialled(step, patch):
    """What is read off a panel is shorter than what was computed, by less than one part in a hundred."""
    for key, value in step["setting"].items():
        if isinstance(value, float):
            assert patch.data["setting"][key] == pytest.approx(value, rel=0.01)
    return patch.data["setting"]


# The belief after each patch is kept as it was; nothing is recomputed to show it.
def test_what_was_believed_is_kept_patch_by_patch(client, store, pan):
    client.get(f"{pan}/patches")
    for residue in ("partial", "clean"):
        client.post(f"{pan}/patches", data={"step": laid(client, pan), "residue": residue, "harm": "none"})
        client.get(f"{pan}/patches")
    rows = beliefs(store, road(store, at(store, pan)))
    assert [None if patch is None else patch.title for patch, _ in rows] == [
        None,
        "A1: partial, none",
        "A2: clean, none",
    ]
    found = road(store, at(store, pan))
    belief = pp.prior(found.work.surface, found.work.laser, found.work.hand, seed=found.work.seed)
    after = pp.update(belief, [graded_from(found.patches[0].data)])
    assert rows[1][1]["chance"] == pp.forecast(after, found.work.limits).chance
    assert rows[0][1]["chance"] == pp.forecast(belief, found.work.limits).chance
    assert len({json.dumps(one["levels"]) for _, one in rows}) == 3
    kept = store.all("belief")
    with TestClient(create(store, patience=None), base_url="http://127.0.0.1") as later:
        later.get(f"{pan}/patches")
    assert store.all("belief") == kept  # looking writes nothing


def test_what_no_beam_touches_is_refused_on_every_page(client, store, job):
    send(client, store, job, "about", beside="brass", year="1905")
    data = {**at(store, job).data, "job": {"title": "Pipe", "suspects": ["PVC"]}}
    store.change("job", at(store, job).id, at(store, job).version, data)
    for step in ("survey", "forecast", "patches", "recipe", "hazards"):
        page = seen(client.get(f"{job}/{step}"))
        assert "This is not for a beam." in page
        assert not re.search(r"\d+ (W|kHz|ns)\b", page.split("Cautions")[0])
    assert client.get(f"{job}/hazards.pdf").status_code == 404


def test_bad_input_gets_a_sentence_and_nothing_is_lost(client, store, job):
    before = at(store, job)
    answer = send(client, store, job, "about", year="soon", use="side table <b>", moisture="12 parsec")
    assert answer.status_code == 422
    assert 'value="side table &lt;b&gt;"' in answer.text
    assert 'role="alert"' in answer.text
    answer = send(client, store, job, "survey", test="alcohol", spot="leg")
    assert (answer.status_code, "No answer was chosen" in seen(answer)) == (422, True)
    answer = send(client, store, job, "place", capture="150 %", length="9 m")
    assert (answer.status_code, 'value="9 m"' in answer.text) == (422, True)
    answer = client.post("/new", data={**NEW, "year": "3000", "title": "Kept title"})
    assert (answer.status_code, "Kept title" in answer.text) == (422, True)
    assert at(store, job) == before


def test_room_and_air_change_the_answer(client, store, job):
    send(client, store, job, "settle", **LEAD)
    fields = {"capture": "98 %", "flow": "600 m³/h", "length": "9 m", "width": "6 m", "height": "4 m", "across": "3 m",
              "up": "2 m"}  # fmt: skip
    assert send(client, store, job, "place", **fields).status_code == 303
    page = seen(client.get(f"{job}/hazards"))
    assert "with 98 % caught at the spot" in page
    assert client.get(f"{job}/room.svg").text.startswith("<svg")


def test_two_devices_are_told(client, store, job):
    old = at(store, job).version
    assert send(client, store, job, "about", use="side table").status_code == 303
    late = client.post(f"{job}/about", data={"version": old, "use": "door"})
    assert (late.status_code, "kept beside it, not over it" in seen(late)) == (409, True)
    assert at(store, job).data["evidence"]["use"] == "side table"
    assert store.history("job", at(store, job).id)[-1].data["evidence"]["use"] == "door"


def test_undo_and_putting_away(client, store, job):
    send(client, store, job, "about", use="side table", year="1905")
    assert send(client, store, job, "undo").status_code == 303
    assert "use" not in at(store, job).data["evidence"]
    send(client, store, job, "delete")
    page = client.get("/")
    assert "Bring back Side table" in page.text
    assert f'href="{job}/survey"' not in page.text
    send(client, store, job, "restore")
    assert f'href="{job}/survey"' in client.get("/").text


def test_photos_come_with_the_job_and_bad_ones_cost_nothing(client, store):
    answer = client.post("/new", data=NEW, files={"photo": ("a.jpg", shot(orientation=6), "image/jpeg")})
    page = client.get(answer.headers["location"])
    small = client.get(re.search(r'src="(/photos/\w+)"', page.text)[1])
    assert small.headers["content-type"] == "image/jpeg"
    assert b"Invented" not in small.content
    answer = client.post("/new", data={**NEW, "title": "Gate"}, files={"photo": ("a.heic", b"\0\0\0\x18ftypheic" * 9)})
    assert (answer.status_code, "compatible format" in seen(answer)) == (422, True)
    assert "Gate" in seen(client.get("/"))
    job = answer.text and store.all("job", words="Gate")[0].id
    answer = client.post(f"/jobs/{job}/photo", data={"about": "back"}, files={"photo": ("a.jpg", b"x", "image/jpeg")})
    assert answer.status_code == 422


def test_names_are_text_and_never_markup(client):
    name = '<script>alert(1)</script> "Oak" & {{ 7*7 }}'
    job = client.post("/new", data={**NEW, "title": name}).headers["location"]
    for page in (client.get("/"), client.get(job)):
        assert "<script>" not in page.text
        assert "{{ 7*7 }}" in html.unescape(page.text)


@pytest.mark.parametrize(
    "path", ["/jobs/none/survey", "/jobs/none", "/photos/none", "/nothing", "/jobs/../../etc/passwd"]
)
def test_what_is_not_there_is_said(client, path):
    answer = client.get(path)
    assert answer.status_code == 404
    assert "Go on from what is kept" in seen(answer)


def test_other_sites_and_hosts_are_refused(client, store, job):
    form = {"version": at(store, job).version}
    for headers in ({"Origin": "http://evil.example"}, {"Origin": "null"}, {"Sec-Fetch-Site": "cross-site"}):
        assert client.post(f"{job}/delete", data=form, headers=headers).status_code == 403
    assert client.get("/", headers={"Host": "evil.example"}).status_code == 421
    assert client.post("/new", content=b"", headers={"Content-Length": "99999999999"}).status_code == 413
    assert at(store, job).deleted is None
    same = client.post(f"{job}/undo", data=form, headers={"Origin": "http://127.0.0.1"})
    assert same.status_code != 403
    page = client.get("/")
    assert "script-src 'self'" in page.headers["content-security-policy"]
    assert page.headers["cache-control"] == "no-store"


# The same job in feet: words and documents follow the shop, what is kept does not.
def test_the_shop_chooses_units_paper_and_its_name(client, store, pan):
    metric = seen(client.get(f"{pan}/forecast"))
    assert "100 mm" in metric
    kept = at(store, pan)
    form = {"version": 0, "name": "Hollow Lane Workshop", "units": "us", "paper": "us-letter", "currency": "USD",
            "preset": "heirloom"}  # fmt: skip
    assert client.post("/shop", data=form).status_code == 303
    assert "Hollow Lane Workshop works in feet and inches and prints on US letter." in seen(client.get("/shop"))
    page = seen(client.get(f"{pan}/forecast"))
    assert "3.94 in" in page
    assert "100 mm" not in page
    assert at(store, pan) == kept
    assert 'value="heirloom" checked' in client.get("/new").text
    for sheet in ("survey.pdf", "hazards.pdf"):
        pdf = PdfReader(io.BytesIO(client.get(f"{pan}/{sheet}").content))
        assert [float(side) for side in pdf.pages[0].mediabox[2:]] == [612.0, 792.0]  # pt, ANSI/ASME Y14.1 size A
        assert "Hollow Lane Workshop" in pdf.pages[0].extract_text()
    answer = client.post("/shop", data={**form, "version": 1, "units": "furlongs"})
    assert (answer.status_code, "furlongs" in seen(answer)) == (422, True)
    assert "Changed meanwhile" in seen(client.post("/shop", data={**form, "version": 7}))


# The room of the invented barn: rows in, rows out, what is empty is gone; the plan names what was written.
def test_doors_windows_shiny_things_and_people_are_put_in_the_room(client, store, job):
    room = {"length": "9 m", "width": "6 m", "height": "4 m", "across": "3 m", "up": "2 m"}
    rows = {"openings-0-name": "barn door", "openings-0-wall": "south", "openings-0-start": "5.5 m",
            "openings-0-end": "8.5 m", "openings-1-wall": "north", "openings-2-name": "house door",
            "openings-2-wall": "north", "openings-2-start": "1 m", "openings-2-end": "2 m", "openings-2-closed": "yes",
            "shiny-0-name": "milk cans", "shiny-0-across": "8 m", "shiny-0-up": "5 m", "people-1-name": "yard",
            "people-1-across": "8 m", "people-1-up": "-3 m"}  # fmt: skip
    assert send(client, store, job, "place", **room, **rows).status_code == 303
    data = at(store, job).data
    assert [one["name"] for one in data["openings"]] == ["barn door", "house door"]
    assert data["openings"][1]["closed"] is True
    assert data["people"] == [{"name": "yard", "at": ["8 m", "-3 m"]}]
    page = client.get(f"{job}/hazards").text
    for said in ("house door, closed", "milk cans", 'value="barn door"', 'name="openings-3-name"'):
        assert said in page
    assert "yard: through barn door" in seen(client.get(f"{job}/hazards"))
    for wrong, said in (({"openings-0-end": "80 m"}, "barn door"), ({"shiny-0-up": "soon"}, "shiny 1"),
                        ({"people-1-across": ""}, "people 1")):  # fmt: skip
        answer = send(client, store, job, "place", **room, **{**rows, **wrong})
        assert answer.status_code == 422
        assert said in html.unescape(re.search(r'role="alert">([^<]*)', answer.text)[1])
        assert 'value="milk cans"' in answer.text
    gone = {key: value for key, value in rows.items() if not key.startswith("shiny")}
    assert send(client, store, job, "place", **room, **gone).status_code == 303
    assert "shiny" not in at(store, job).data


def test_whose_piece_it_is_and_what_was_noted(client, store, job):
    key = job.rsplit("/", 1)[1]
    assert "Whose piece is Side table?" in seen(client.get(f"{job}/piece"))
    form = {"version": 0, "customer": "Mill Farm", "contact": "the blue gate", "wanted": "ready for oil"}
    assert client.post(f"{job}/piece", data=form).status_code == 303
    assert "Side table belongs to Mill Farm." in seen(client.get(f"{job}/piece"))
    assert "Side table" in seen(client.get("/?q=mill"))  # found by whose it is
    # The same name is the same customer; a stale change is told and both are kept.
    other = client.post("/new", data=NEW).headers["location"].split("/")[2]
    client.post(f"/jobs/{other}/piece", data={"version": 0, "customer": "mill farm", "contact": "", "wanted": ""})
    (customer,) = store.all("customer")
    assert customer.data["contact"] == "the blue gate"
    client.post(f"{job}/piece", data={**form, "version": 1, "wanted": "down to bare wood"})
    assert client.post(f"{job}/piece", data={**form, "version": 1}).status_code == 409
    assert item_of(store, key).wanted == "down to bare wood"
    assert client.post(f"{job}/piece", data={"version": 2, "customer": "", "contact": "x"}).status_code == 422
    assert client.post(f"{job}/notes", data={"note": "  "}).status_code == 422
    client.post(f"{job}/notes", data={"note": "hinge is loose <b>", "by": "A"})
    (note,) = notes_of(store, key)
    assert "hinge is loose &lt;b&gt;" in client.get(f"{job}/piece").text
    client.post(f"{job}/notes/{note.id}/delete", data={"version": 1})
    assert notes_of(store, key) == []
    client.post(f"{job}/notes/{note.id}/restore", data={"version": 2})
    assert len(notes_of(store, key)) == 1
    send(client, store, job, "about", use="side table", year="1905")
    assert "Changed: evidence" in seen(client.get(f"{job}/piece"))
    form = {"title": "Hall table", "laser": "pulsed-100", "preset": "heirloom", "p_harm": "5 %"}
    assert send(client, store, job, "job", **form).status_code == 303
    now = at(store, job)
    assert (now.title, now.data["job"]["laser"]) == ("Hall table", "pulsed-100")
    assert now.data["limits"] == {"preset": "heirloom", "p_harm": "5 %"}
    answer = send(client, store, job, "job", **{**form, "p_harm": "5 parsec"})
    assert (answer.status_code, 'value="5 parsec"' in answer.text) == (422, True)
    assert at(store, job) == now


def test_a_photo_stands_with_its_test(client, store, job):
    form = {"version": at(store, job).version, "test": "alcohol", "value": "dissolves"}
    client.post(f"{job}/survey", data=form, files={"photo": ("a.jpg", shot(), "image/jpeg")})
    (photo,) = store.all("photo")
    assert f"<figcaption>{photo.data['about']}</figcaption>" in client.get(f"{job}/survey").text
    assert photo.data["about"].endswith(": dissolves")
    form |= {"version": at(store, job).version, "value": "none"}
    answer = client.post(f"{job}/survey", data=form, files={"photo": ("a.jpg", b"no photo", "image/jpeg")})
    assert "The answer is kept, the photo is not" in seen(answer)
    assert at(store, job).data["evidence"]["alcohol"] == "none"


# A recipe is kept as it was when it was decided; what is graded later does not change it, and is told.
def test_a_recipe_is_decided_and_kept_as_it_was(client, store, pan):
    assert client.post(f"{pan}/recipe").status_code == 404  # nothing is confirmed yet
    assert store.all("recipe") == []
    lab = {"status": "negative", "date": "2025-03-11"}
    send(client, store, pan, "settle", hazard="chromate", method="laboratory hexavalent chromium of a chip", **lab)
    send(client, store, pan, "settle", hazard="cadmium", method="laboratory test of a chip", **lab)
    send(client, store, pan, "about", thickness="2 um", year="2020")  # so thin that masks are made for its fume
    for _ in range(16):
        if road(store, at(store, pan)).recipe[0]["confirmed"]:
            break
        client.post(f"{pan}/patches", data={"step": laid(client, pan), "residue": "clean", "harm": "none"})
    # Nothing protects the job yet: no recipe to work by.
    assert client.post(f"{pan}/recipe").status_code == 404
    assert "Cover the hazards first" in seen(client.get(f"{pan}/recipe"))
    room = {"capture": "98 %", "flow": "60000 m³/h", "length": "9 m", "width": "6 m", "height": "4 m", "across": "3 m",
            "up": "2 m"}  # fmt: skip
    door = {"openings-0-name": "barn door", "openings-0-wall": "south", "openings-0-start": "2 m",
            "openings-0-end": "4 m"}  # fmt: skip
    send(client, store, pan, "place", **room, **door)
    for step in ("hazards", "recipe", "patches"):
        assert "Stop: close barn door: the beam looks out of it." in seen(client.get(f"{pan}/{step}"))
    assert client.post(f"{pan}/recipe").status_code == 404
    assert "Cover the hazards first" in seen(client.get("/"))
    send(client, store, pan, "place", **room, **door, **{"openings-0-closed": "yes"})
    answer = client.post(f"{pan}/recipe")
    assert answer.status_code == 303, seen(answer)
    client.post(f"{pan}/recipe")
    (kept,) = store.all("recipe")  # deciding the same twice is deciding once
    record = json.loads(json.dumps(road(store, at(store, pan)).recipe[0]))
    assert kept.data["record"] == record
    assert client.get(f"{pan}/recipe.pdf").content.startswith(b"%PDF")
    client.post(f"{pan}/patches", data={"step": laid(client, pan), "residue": "partial", "harm": "tint"})
    assert "Patches were graded since." in seen(client.get(f"{pan}/recipe")) or road(
        store, at(store, pan)).recipe[0]["setting"] is None  # fmt: skip
    assert store.get("recipe", kept.id).data["record"] == record


# What an attack found: each of these once went wrong.
def test_a_step_is_graded_once_and_a_grade_after_a_stop_is_told(client, store, pan):
    step = laid(client, pan)
    grade = {"step": step, "residue": "partial", "harm": "none"}
    assert [client.post(f"{pan}/patches", data=grade).status_code for _ in range(2)] == [303, 303]
    assert len(store.all("patch")) == 1  # pressed twice is once
    answer = client.post(f"{pan}/patches", data={**grade, "residue": "clean", "knob-power": "123 W"})
    assert answer.status_code == 422
    assert 'name="step" value="A2"' in answer.text
    assert "123 W" not in answer.text  # nothing of A1 stands in the form of A2
    now = at(store, pan)
    data = {key: table for key, table in now.data.items() if key != "lead"}
    store.change("job", now.id, now.version, {**data, "evidence": {**data["evidence"], "year": "1905"}})
    answer = client.post(f"{pan}/patches", data={"step": "A2", "residue": "clean", "harm": "burnt"})
    assert (answer.status_code, "A2: clean, burnt, was not kept" in seen(answer)) == (409, True)
    assert len(store.all("patch")) == 1


def test_an_address_changes_its_own_job_only(client, store, pan):
    client.post(f"{pan}/patches", data={"step": laid(client, pan), "residue": "partial", "harm": "none"})
    client.post(f"{pan}/notes", data={"note": "loose hinge"})
    other = client.post("/new", data=PAN).headers["location"].removesuffix("/survey")
    (patch,), (note,), (strip,) = store.all("patch"), store.all("note"), store.all("strip")
    for path in (f"patches/{patch.id}/delete", f"notes/{note.id}/delete", f"strips/{strip.id}/end"):
        assert client.post(f"{other}/{path}", data={"version": 1}).status_code == 404
    assert (len(store.all("patch")), len(store.all("note")), len(store.all("strip"))) == (1, 1, 1)


def test_a_stale_change_of_the_customer_leaves_their_contact(client, store, job):
    form = {"customer": "Mill Farm", "contact": "the blue gate", "wanted": ""}
    client.post(f"{job}/piece", data={**form, "version": 0})
    client.post(f"{job}/piece", data={**form, "version": 1, "wanted": "oil"})
    assert client.post(f"{job}/piece", data={**form, "version": 1, "contact": "stale"}).status_code == 409
    assert store.all("customer")[0].data["contact"] == "the blue gate"


def test_plastic_is_refused_and_lead_that_was_found_stays_a_stop(client, store, job):
    plastic = client.post("/new", data={**NEW, "substrate": "plastic", "title": "Gutter"}).headers["location"]
    page = seen(client.get(plastic))
    assert "This is not for a beam." in page
    assert "PVC" in page
    send(client, store, job, "settle", **{**LEAD, "status": "positive"})
    assert "Stop: lead" in seen(client.get(f"{job}/patches"))


def test_the_address_of_a_form_can_be_looked_at(client, job):
    for path in ("settle", "place", "strips"):
        answer = client.get(f"{job}/{path}")
        assert (answer.status_code, answer.headers["location"]) == (303, f"{job}/survey")


# A piece that was described, not tested: what its survey says stops a beam stops its pages too.
def test_a_described_piece_is_stopped_by_its_survey(client, store):
    data = {
        "job": {"title": "Beam", "laser": "pulsed-300", "year": 1995},
        "surface": {"substrate": "oak", "condition": "aged"}, "layers": [{"coating": "oil varnish"}],
        "lead": {"status": "negative", "method": "laboratory test of a chip", "date": "2025-03-11"},
    }  # fmt: skip
    job = f"/jobs/{store.add('job', data, title='Beam').id}"
    for step in ("survey", "forecast", "patches", "recipe"):
        assert "Stop: nitrocellulose" in seen(client.get(f"{job}/{step}"))
    assert "Stop: nitrocellulose" in seen(client.post(f"{job}/strips"))
    assert store.all("strip") == []
    sheet = PdfReader(io.BytesIO(client.get(f"{job}/hazards.pdf").content)).pages[0].extract_text()
    assert "nitrocellulose" in " ".join(sheet.split()[:80])
    record = {"hazard": "nitrocellulose", "status": "negative", "method": "acetone, nothing in 2 min",
              "date": "2025-03-11"}  # fmt: skip
    send(client, store, job, "settle", **record)
    assert "Lay out the next strip" in seen(client.get(f"{job}/patches"))
