"""The pages without a browser: what is sent, refused and kept; the same figures as the command line."""

import html
import io
import json
import re
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from made_pages import LEAD, NEW, PAN, at, laid, seen, send
from made_photo import shot
from pypdf import PdfReader

import proofpatch as pp
from proofpatch.cli import main
from proofpatch.shop.job import job_from
from proofpatch.shop.people import item_of, notes_of
from proofpatch.shop.settings import settings_of
from proofpatch.web import app as pages


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


def test_a_layer_nobody_tested_is_a_stop_on_every_page(client, store, pan):
    assert re.search(
        r"Thickness of the [a-z -]+ or [a-z -]+ or \d others, measured", seen(client.get(f"{pan}/forecast"))
    )
    send(client, store, pan, "about", layers="2")
    for page in (*(f"{pan}/{step}" for step in ("forecast", "recipe", "offer", "hazards", "run")),
                 f"/bench?job={pan.removeprefix('/jobs/')}"):  # fmt: skip
        assert "Stop: 2 layers were counted" in seen(client.get(page)), page


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


# What an attack found: each of these once went wrong.
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


def test_each_device_may_have_its_own_units(client, store):
    with TestClient(client.app, base_url="http://127.0.0.1", follow_redirects=False) as other:
        for wanted, shown in (("us", "mil apart"), ("leagues", "mm apart"), ("us", "mil apart"), ("", "mm apart")):
            assert other.post("/shop/here", data={"units": wanted}).status_code == 303
            assert shown in seen(other.get("/bench"))
            assert "mm apart" in seen(client.get("/bench"))
            assert ('value="us" selected' in other.get("/shop").text) == (wanted == "us")
    assert settings_of(store)[0].units == "metric"


def test_no_two_scripts_of_one_page_share_a_name():
    # Scripts of a page share one scope: a second const of a name stops its script, a second function replaces one.
    folder = Path(pages.__file__).parent
    named = re.compile(r"^(?:const|let|var|class|(?:async )?function)\s+(\[[^\]]*\]|\{[^}]*\}|\w+)", re.M)
    scripts = re.compile(r'<script src="/static/([\w.]+)"')
    everywhere = scripts.findall((folder / "templates" / "page.html").read_text(encoding="utf-8"))
    assert everywhere
    for template in (folder / "templates").glob("*.html"):
        found = [*everywhere, *scripts.findall(template.read_text(encoding="utf-8"))]
        names = [
            name for script in dict.fromkeys(found)
            for group in named.findall((folder / "static" / script).read_text(encoding="utf-8"))
            for name in re.findall(r"\w+", group)
        ]  # fmt: skip
        assert [name for name in set(names) if names.count(name) > 1] == [], template.name
