"""The shop over HTTP: the same records as the command line, and what it refuses."""

import json
import re
import shlex
import string
import tomllib
from pathlib import Path

import pytest
import trimesh
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from made_api import DOOR, EXAMPLES, GRADE, HERE, JSON, LAB, PAN, PIPE, ROOT, SETTING, made, wrong
from made_cli import told
from made_lead import GROUNDS, OLD, READINGS, UNSETTLED
from made_offer import DAY, made_quote
from made_photo import shot

import proofpatch as pp
from proofpatch.learn.memory.exchange import Exchanged, packed
from proofpatch.materials import coating, coating_ids, substrate_ids
from proofpatch.shop.job_tables import LARGEST_FILE
from proofpatch.shop.log import stamp
from proofpatch.shop.papers import Signed, quotes_of, send_quote, take_acceptance
from proofpatch.web.api import create_api
from proofpatch.web.app import create


@pytest.fixture
def client(store):
    with TestClient(create(store), base_url=f"{HERE}/api/") as found:
        yield found


def test_its_document_says_every_answer_and_both_ends_of_every_number(client):
    document = client.get("openapi.json").json()
    for path, methods in document["paths"].items():
        for method, about in methods.items():
            codes = set(about["responses"])
            assert codes >= {"421", "422", "503"} | ({"403", "413"} if method != "get" else set()), (method, path)
            assert ("404" in codes) == ("{" in path)
            assert ("409" in codes) == ("{" in path and method != "get")
            assert ("201" in codes) != ("200" in codes)
            for answer in about["responses"].values():
                assert answer["content"]
    shapes = document["components"]["schemas"]
    assert not {"HTTPValidationError", "ValidationError"} & set(shapes)
    sent = [
        shapes[name]
        for name in ("Setting", "NewJob", "ChangedJob", "NewGraded", "NewGrades", "BenchAsked", "BeamAsked")
    ]
    for shape in nested(sent):
        if shape.get("type") in ("number", "integer") and "enum" not in shape:
            assert {"minimum", "maximum"} <= set(shape) or shape == {"type": "integer"}, shape
        if shape.get("type") == "string":
            assert {"maxLength", "pattern"} & set(shape) or "enum" in shape, shape
        if shape.get("type") == "array":
            assert "maxItems" in shape, shape


def nested(shape):
    """A schema and all inside it."""
    if isinstance(shape, dict):
        yield shape
    for one in shape.values() if isinstance(shape, dict) else shape if isinstance(shape, list) else ():
        yield from nested(one)


# ---- The same records as the command line, to the digit ----


ASKED = {"survey": [], "forecast": [], "patch": ["--count", "3"], "recipe": [], "hazards": []}


@pytest.mark.parametrize(
    ("text", "commands"),
    [
        ((EXAMPLES / "chest.toml").read_text("utf-8"), "survey forecast patch recipe hazards"),
        ((EXAMPLES / "barn.toml").read_text("utf-8"), "survey hazards"),
        ((EXAMPLES / "barn.toml").read_text("utf-8").replace("nitrocellulose", "mercury"), "patch recipe"),
        ("[surface]\nsubstrate = 'oak'\n[[layers]]\ncoating = 'alkyd-paint'\n", "patch recipe hazards"),
        ("[surface]\nsubstrate = 'oak'\n[[layers]]\ncoating = 'PVC'\n", "survey forecast patch recipe hazards"),
        ("[evidence]\nkind = 'clear film'\nsubstrate = 'oak'\nsuspect = 'asbestos'\n", "survey forecast recipe"),
    ],
    ids=["chest", "barn", "barn not cleared", "painted", "never", "suspect"],
)  # fmt: skip
def test_its_records_are_those_of_the_command_line(client, tmp_path, capsys, text, commands):
    path = tmp_path / "same.toml"
    path.write_text(text, encoding="utf-8")
    job = made(client, json.loads(json.dumps(tomllib.loads(text), default=str)))
    for command in commands.split():
        answer = client.get(f"jobs/{job}/{'patches' if command == 'patch' else command}")
        assert answer.status_code == 200  # also where the answer is no
        assert answer.json() == told(capsys, command, path, *ASKED[command]), command


def test_a_patch_teaches_the_same(client, tmp_path, capsys):
    text = (EXAMPLES / "chest.toml").read_text("utf-8")
    path = tmp_path / "chest.toml"
    path.write_text(text, encoding="utf-8")
    job = made(client, json.loads(json.dumps(tomllib.loads(text), default=str)))
    answer = client.post(f"jobs/{job}/graded", json=GRADE | {"seconds": 2.5, "length": 0.1, "waited_s": 57600})
    assert answer.status_code == 201, answer.text
    here = answer.json()["taught"]
    knobs = ("--power", "250 W", "--rate", "20 kHz", "--width", "200 ns", "--travel-speed", "50 mm/s")
    graded = ("--residue", "partial", "--harm", "none", "--seconds", "2.5 s", "--length", "100 mm", "--waited", "16 h")
    there = told(capsys, "grade", path, *knobs, *graded)
    assert {**here, "written": None} == {**there, "written": None}
    assert client.get(f"jobs/{job}/recipe").json() == told(capsys, "recipe", path)
    patch = answer.json()["graded"]
    line = json.loads(path.with_suffix(".patches.jsonl").read_text("utf-8"))
    assert {key: patch[key] for key in ("setting", "residue", "harm", "seconds", "length", "wiped", "layer")} == {
        key: line[key] for key in ("setting", "residue", "harm", "seconds", "length", "wiped", "layer")
    }
    back = client.delete(f"jobs/{job}/graded/{patch['id']}", params={"version": patch["version"]})
    assert back.json()["deleted"]
    assert client.get(f"jobs/{job}/graded").json() == {"graded": []}
    again = client.post(f"jobs/{job}/graded/{patch['id']}/restore", params={"version": back.json()["version"]})
    assert again.json()["deleted"] is None
    assert client.get(f"jobs/{job}/graded").json() == {"graded": [again.json()]}


def test_calculators_and_tables_are_those_of_the_command_line(client, capsys):
    flags = ("--power", "250 W", "--rate", "20 kHz", "--width", "200 ns", "--travel-speed", "50 mm/s")
    here = client.post("bench", json={"setting": SETTING, "laser": "pulsed-500"}).json()
    there = told(capsys, "bench", "--laser", "pulsed-500", *flags, "--sweep-width", "100 mm", "--sweep-speed", "10 m/s")
    assert here == {key: there[key] for key in here} | {"assumed": []}
    beam = {"power_W": 500, "rate_Hz": 2e4, "width_s": 1e-7, "beam_diameter_m": 0.014, "focal_length_m": 0.16}
    flags = ("--power", "500 W", "--rate", "20 kHz", "--width", "100 ns", "--beam-diameter", "14 mm")
    assert client.post("hazards", json=beam).json() == told(capsys, "hazards", *flags, "--focal-length", "160 mm")
    assert client.post("hazards", json={"laser": "pulsed-100"}).json() == told(
        capsys, "hazards", "--laser", "pulsed-100"
    )
    for words in (["lasers"], ["materials"], ["materials", "varnish"]):
        assert client.get("/".join(words)).json() == told(capsys, *words)


# ---- Old or undated paint ----

PAINTS = st.sampled_from([key for key in coating_ids() if coating(key).kind == "paint"])


# Strategies of tests/survey/test_clear.py (made_lead.py): 16 CFR 1303, the ban of lead paint from 28 Feb 1978.
@settings(
    max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(paint=PAINTS, ground=GROUNDS, readings=READINGS, year=OLD, lead=UNSETTLED, seen=st.booleans())
def test_no_setting_and_no_patch_for_old_paint_without_a_lead_record(client, paint, ground, readings, year, lead, seen):
    if seen:
        tables = {"evidence": {"kind": "paint", "substrate": ground, "aired": "yes", **dict(readings)}}
    else:
        under = ground if ground in substrate_ids() else "oak"
        tables = {"surface": {"substrate": under}, "layers": [{"coating": paint}]}
    tables |= {"job": {"year": year}} if year else {}
    tables |= {"lead": {key: value for key, value in vars(lead).items() if value}} if lead else {}
    job = made(client, tables)
    patches, recipe = (client.get(f"jobs/{job}/{name}").json() for name in ("patches", "recipe"))
    assert patches["patches"] == []
    assert recipe["setting"] is None
    assert not re.search(r"average_power|\d+ (W|kHz|ns)\b", json.dumps([patches, recipe]))
    refused = client.post(f"jobs/{job}/graded", json=GRADE)
    assert wrong(refused, 409) == "job"
    assert refused.json()["problem"] == recipe["because"] == patches["because"]
    assert recipe["because"].startswith("Stop: ")
    assert client.get(f"jobs/{job}/graded").json() == {"graded": []}


def test_with_a_whole_record_the_same_paint_gets_patches_and_a_recipe(client):
    tables = {"surface": {"substrate": "mild-steel"}, "layers": [{"coating": "alkyd-paint"}], "job": {"year": 1950}}
    job = made(client, tables)
    assert client.get(f"jobs/{job}/patches").json()["patches"] == []
    half = {"version": 1, "tables": {**tables, "lead": {"status": "negative", "method": LAB["method"]}}}
    assert client.put(f"jobs/{job}", json=half).status_code == 200
    assert client.post(f"jobs/{job}/graded", json=GRADE).status_code == 409
    assert client.put(f"jobs/{job}", json={"version": 2, "tables": {**tables, "lead": LAB}}).status_code == 200
    for residue in ("partial", "clean", "clean", "clean"):
        strip = client.get(f"jobs/{job}/patches").json()["patches"]
        body = {"setting": strip[-1]["setting"], "residue": residue, "harm": "none"}
        assert client.post(f"jobs/{job}/graded", json=body).status_code == 201
        recipe = client.get(f"jobs/{job}/recipe").json()
        if recipe["setting"]:
            break
    assert recipe["setting"]


# ---- Two writers, and what is wrong ----


def test_of_two_writers_both_are_kept(client):
    job = made(client, PAN)
    first = client.put(f"jobs/{job}", json={"version": 1, "tables": PAN, "title": "Frying pan", "by": "laptop"})
    assert (first.status_code, first.json()["version"], first.json()["title"]) == (200, 2, "Frying pan")
    late = client.put(f"jobs/{job}", json={"version": 1, "tables": PAN, "title": "Late pan", "by": "phone"})
    assert wrong(late, 409) == "version"
    assert late.json()["version"] == 2
    assert "by laptop" in late.json()["problem"]
    assert "Both are kept" in late.json()["remedy"]
    history = client.get(f"jobs/{job}/history").json()["history"]
    assert [(one["what"], one["tables"]["job"]["title"], one["by"]) for one in history] == [
        ("made", "Skillet", ""), ("changed", "Frying pan", "laptop"), ("aside", "Late pan", "phone"),
    ]  # fmt: skip
    assert history[-1]["number"] == late.json()["kept"]
    for call in (client.delete, lambda path, params: client.post(f"{path}/undo", params=params)):
        assert wrong(call(f"jobs/{job}", params={"version": 1}), 409) == "version"
    undone = client.post(f"jobs/{job}/undo", params={"version": 2}).json()
    assert undone["title"] == undone["tables"]["job"]["title"] == "Skillet"
    away = client.delete(f"jobs/{job}", params={"version": undone["version"]}).json()
    assert [one["id"] for one in client.get("jobs", params={"deleted": True}).json()["jobs"]] == [job]
    assert client.get("jobs").json() == {"jobs": [], "more": False}
    body = {"version": away["version"], "tables": PAN}
    assert wrong(client.put(f"jobs/{job}", json=body), 409) == "job"
    assert wrong(client.post(f"jobs/{job}/graded", json=GRADE), 409) == "job"
    client.post(f"jobs/{job}/restore", params={"version": away["version"]})
    assert [one["id"] for one in client.get("jobs", params={"q": "skillet"}).json()["jobs"]] == [job]


HUGE = "9" * 400


@pytest.mark.parametrize(
    ("key", "value"),
    [("spot_radius_m", "5e-324"), ("spot_radius_m", "0"), ("average_power_W", "1e308"), ("average_power_W", "1e400"),
     ("average_power_W", "NaN"), ("average_power_W", "Infinity"), ("repetition_rate_Hz", '"NaN"'),
     ("repetition_rate_Hz", "-1"), ("pulse_width_s", '"200 ns"'), ("sweep_width_m", "true"),
     ("sweep_speed_m_s", "null"), ("travel_speed_m_s", "[1]"), ("travel_speed_m_s", HUGE), ("passes", "1001"),
     ("passes", "1.5"), ("passes", HUGE), ("pattern", '"star"'), ("power_W", "100")],
)  # fmt: skip
def test_what_no_setting_has_is_refused_at_its_field(client, key, value):
    body = json.dumps({"setting": SETTING})[:-2] + f', "{key}": {value}}}}}'
    answer = client.post("bench", content=body, headers=JSON)
    assert wrong(answer) == f"setting.{key}"
    assert key in answer.json()["problem"] or key == "pattern"


@pytest.mark.parametrize(
    ("body", "field"),
    [({}, "power_W"), ({"laser": "pulsed-9"}, "laser"), ({"laser": "../mine.toml"}, "laser"),
     ({"laser": "pulsed-500", "exposure_s": 0}, "exposure_s"),
     ({"laser": "pulsed-500", "focal_length_m": 5e-324}, "focal_length_m"),
     ({"power_W": 500, "beam_diameter_m": 0.014}, "divergence_rad"),
     ({"power_W": 500, "rate_Hz": 1e7, "width_s": 0.2, "beam_diameter_m": 0.014, "focal_length_m": 1}, "width_s"),
     ({"laser": "pulsed-500", "reflectance": 1.01}, "reflectance")],
)  # fmt: skip
def test_what_no_beam_has_is_refused_at_its_field(client, body, field):
    assert wrong(client.post("hazards", json=body)) == field


def deep(levels):
    return json.loads("[" * levels + "]" * levels)


@pytest.mark.parametrize(
    ("tables", "field"),
    [([], "tables"), ("oak", "tables"), ({"layers": [{"coating": "marzipan"}]}, "tables.surface.substrate"),
     ({**DOOR, "layers": [{"coating": "marzipan"}]}, "tables.layers[0].coating"), ({"surfase": {}}, "tables.surfase"),
     ({**DOOR, "air": {"capture": "99 %"}}, "tables.air.capture"), ({**DOOR, "job": 3}, "tables.job"),
     ({**DOOR, "room": {"length": "9 m", "width": "6 m", "work": ["1 m", "1 m"], "height": "1 um"}},
      "tables.room.height"),
     ({**DOOR, "zones": [{"area": "1 m²"}] * 101}, "tables.zones"), ({**DOOR, "evidence": deep(90)}, "tables.evidence"),
     ({**DOOR, "job": {"title": "x" * 501}}, "tables.job.title"), ({**DOOR, "job": {"title": "a\ud800"}},
      "tables.job.title"), ({**DOOR, "job": {"laser": " /etc/mine.toml "}}, "tables.job.laser"),
     ({**DOOR, "x" * 200: {}}, "tables"), ({"\u202e": {}}, "tables.")],
)  # fmt: skip
def test_tables_that_make_no_job_are_refused_at_their_key(client, store, tables, field):
    answer = client.post("jobs", content=json.dumps({"tables": tables}), headers=JSON)
    assert wrong(answer).startswith(field)
    assert store.all("job") == []


def test_a_job_made_here_opens_on_every_page(client):
    said = {"kind": "clear film", "substrate": "oak", "year": [1905], "aired": True, " Alcohol@Leg ": "none"}
    job = made(client, {"job": None, "room": None, "cleared": None, "evidence": said})
    assert client.get(f"jobs/{job}").json()["tables"] == {"evidence": said}  # null is not there
    for page in ("survey", "forecast", "patches", "recipe", "hazards"):
        assert client.get(f"{HERE}/jobs/{job}/{page}").status_code == 200


@pytest.mark.parametrize(
    ("content", "headers"),
    [(b"", JSON), (b"{", JSON), (b"\xff", JSON), (b"[" * 100_000, JSON), (b"1" * 5000, JSON), (b"null", JSON),
     (b"setting=1", {"Content-Type": "application/x-www-form-urlencoded"}), (b"{}", {"Content-Type": "text/plain"}),
     (b"{}", {})],
)  # fmt: skip
def test_a_body_that_is_no_json_object_is_refused(client, content, headers):
    assert wrong(client.post("bench", content=content, headers=headers)) == "body" or content == b"{}"


def test_a_body_too_large_or_of_no_length_is_refused(client):
    assert wrong(client.post("jobs", content=b" " * (LARGEST_FILE + 1), headers=JSON), 413) == "body"
    for headers in ({"Content-Length": "9" * 5000}, {"Content-Length": "²".encode()}, {"Transfer-Encoding": "chunked"}):
        assert wrong(client.post("bench", content=b"{}", headers=JSON | headers), 413) == "body"


@pytest.mark.parametrize(
    ("path", "status"),
    [("jobs/none", 404), ("jobs/" + "0" * 32, 404), ("jobs/..%2F..%2Fetc", 404), ("jobs/%0A", 404), ("jobs/%00", 404),
     ("jobs/", 404), ("jobs/%F0%9F%AA%B5", 404), ("photos/none", 404), ("photos/" + "0" * 64, 404), ("nothing", 404),
     ("materials/marzipan", 404), ("materials/%00", 404), ("materials/" + "x" * 2000, 404), ("jobs?limit=-1", 422),
     ("jobs?limit=soon", 422), ("jobs?limit=" + "9" * 4000, 422), ("jobs?q=%00", 422), ("jobs?q=" + "x" * 201, 422),
     ("jobs?deleted=maybe", 422), ("jobs/x%0Ay", 404)],
)  # fmt: skip
def test_what_is_not_there_is_said_as_json(client, path, status):
    wrong(client.get(path), status)


def test_a_patch_that_is_none_is_refused_at_its_field(client, store):
    job = made(client, PAN)
    for body, field in (
        ({**GRADE, "residue": "spotless"}, "residue"), ({**GRADE, "layer": 1}, "layer"),
        ({**GRADE, "seconds": 2}, "length"), ({**GRADE, "seconds": 1e-9, "length": 0.1}, "seconds"),
        ({**GRADE, "fraction_left": 0.0}, "fraction_left"), ({**GRADE, "grader": "\u202e"}, "grader"),
        ({**GRADE, "setting": {**SETTING, "average_power_W": 9e4}}, "setting.average_power_W"),
        ({**GRADE, "waited_s": -1}, "waited_s"), ({**GRADE, "wiped": "no"}, "wiped"),
    ):  # fmt: skip
        answer = client.post(f"jobs/{job}/graded", content=json.dumps(body), headers=JSON)
        assert wrong(answer) == field, body
    assert store.all("patch") == []
    other = made(client, DOOR)
    patch = client.post(f"jobs/{job}/graded", json=GRADE).json()["graded"]["id"]
    assert wrong(client.delete(f"jobs/{other}/graded/{patch}", params={"version": 1}), 404) == "patch"


@pytest.mark.parametrize(("kind", "mode"), [("JPEG", "RGB"), ("JPEG", "CMYK"), ("PNG", "P"), ("PNG", "LA")])
def test_a_photo_comes_back_without_its_place(client, kind, mode):
    job = made(client, PIPE)
    sent = client.post(f"jobs/{job}/photos", files={"photo": ("a", shot(kind=kind, mode=mode))}, data={"about": "lid"})
    assert (sent.status_code, sent.json()["about"]) == (201, "lid")
    assert client.get(f"jobs/{job}/photos").json()["photos"] == [sent.json()]
    copy = client.get(f"photos/{sent.json()['digest']}")
    assert copy.headers["content-type"] == f"image/{kind.lower()}"
    assert b"Invented" not in copy.content
    for bad in ({"files": {"photo": ("a", b"x")}}, {"json": {}}, {"data": {"photo": "x"}}, {}):
        assert wrong(client.post(f"jobs/{job}/photos", **bad)) in ("photo", "body")


# A box's faces by hand; the record goes into a zone of the job's tables as it is.
def test_a_scan_is_measured_as_it_is_kept(client):
    job = made(client, PIPE)
    stl = trimesh.creation.box((600, 400, 900)).export(file_type="stl")
    sent = client.post(f"jobs/{job}/scans", files={"scan": ("a", stl)}, data={"kind": "stl", "about": "box"})
    assert (sent.status_code, sent.json()["sides"]) == (201, [600, 400, 900])
    assert client.get(f"jobs/{job}/scans").json()["scans"] == [sent.json()]
    address = f"jobs/{job}/scans/{sent.json()['digest']}/measured"
    found = client.post(address, json={"unit": "mm", "picks": ["s-top"], "reach": {}}).json()
    assert found["area_m2"] == pytest.approx(0.24)
    assert found["reach"]["by_hand"] == pytest.approx(0, abs=1e-9)
    front = next(one for one in found["smooth"] if one["facing"] == "the front")
    assert (front["area_m2"], front["picked"]) == (pytest.approx(0.54), False)
    both = client.post(address, json={"longest_m": 0.9, "picks": ["s-top", f"f{front['seed']}"]}).json()
    assert both["area_m2"] == pytest.approx(0.78)
    entry = client.get(f"jobs/{job}").json()
    tables = {**entry["tables"], "zones": [{"scans": [both["zone_scan"]]}]}
    kept = client.put(f"jobs/{job}", json={"version": entry["version"], "tables": tables})
    assert kept.status_code == 200, kept.text
    for body, field in (
        ({}, "unit"), ({"unit": "mm", "longest_m": 1}, "unit"), ({"unit": "yd"}, "unit"), ({"unit": "m"}, "unit"),
        ({"unit": "mm", "picks": ["f999"]}, "picks"),
        ({"unit": "mm", "reach": {"follows": False}}, "reach.focus_depth_m"),
    ):  # fmt: skip
        assert wrong(client.post(address, json=body)) == field, body
    assert wrong(client.post(f"jobs/{job}/scans/{'0' * 64}/measured", json={"unit": "mm"}), 404) == "scan"
    bad = client.post(f"jobs/{job}/scans", files={"scan": ("a", b"solid")}, data={"kind": "stl"})
    assert wrong(bad) == "scan"


def test_other_sites_and_hosts_are_refused(client, store):
    job = made(client, PIPE)
    for headers in ({"Origin": "http://evil.example"}, {"Origin": "null"}, {"Sec-Fetch-Site": "cross-site"}):
        assert wrong(client.delete(f"jobs/{job}", params={"version": 1}, headers=headers), 403) == "origin"
    assert wrong(client.get("jobs", headers={"Host": "evil.example"}), 421) == "host"
    assert store.get("job", job).deleted is None
    assert client.get("jobs").headers["cache-control"] == "no-store"
    assert wrong(client.patch("jobs"), 405) == "method"


# ---- The document ----


def test_every_call_of_the_docs_is_answered(client, store, tmp_path, monkeypatch, at_work):
    monkeypatch.chdir(tmp_path)
    Path("lid.jpg").write_bytes(shot())
    theirs = Exchanged(pp.Surface("wax", "oak"), pp.laser("pulsed-500"), (pp.Graded(at_work(), "trace", "none"),))
    Path("theirs.jsonl").write_bytes(packed([theirs], Ed25519PrivateKey.generate(), "Weir Workshop", "2026-05-04"))
    Path("stool.stl").write_bytes(trimesh.creation.box((300, 300, 500)).export(file_type="stl"))
    lines = re.findall(r"^curl .*", (ROOT / "docs" / "api.md").read_text("utf-8"), re.M)
    names = {"API": f"{HERE}/api"}
    for line in lines:
        words = shlex.split(string.Template(line).substitute(names))[1:]
        (url,) = (word for word in words if word.startswith(HERE))
        told = {flag: words[i + 1] for i, flag in enumerate(words) if flag in ("-X", "-d", "-H")}
        form = dict(words[i + 1].split("=") for i, flag in enumerate(words) if flag == "-F")
        method = told.get("-X", "POST" if "-d" in told or form else "GET")
        more = {}
        if form:
            more = {
                "files": {name: Path(value[1:]).read_bytes() for name, value in form.items() if value[0] == "@"},
                "data": {name: value for name, value in form.items() if value[0] != "@"},
            }
        elif "-d" in told:
            more = {"content": told["-d"], "headers": dict([told["-H"].split(": ")])}
        answer = client.request(method, url, **more)
        assert answer.status_code in (200, 201), (line, answer.text)
        found = answer.json() if answer.headers["content-type"] == "application/json" else {}
        if url.endswith("/jobs") and method == "POST":
            names["JOB"] = found["id"]
            names["QUOTE"] = send_quote(store, found["id"], made_quote(), "a4", "", b"%PDF").id
            take_acceptance(store, quotes_of(store, found["id"])[0], Signed("A. Fenwick", DAY, stamp()), b"%PDF")
        names |= (
            {"PATCH": found["graded"]["id"]} if "taught" in found and url.endswith(f"{names['JOB']}/graded") else {}
        )
        names |= {"PATCH": found["graded"][0]["id"]} if url.endswith(f"{names.get('STRIP')}/graded") else {}
        for end, name in (("/strips", "STRIP"), ("/invoices", "INVOICE"), ("/lots", "LOT")):
            names |= {name: found["id"]} if url.endswith(end) and "id" in found else {}
        names |= {"SCAN" if url.endswith("/scans") else "DIGEST": found["digest"]} if "digest" in found else {}
    said = (ROOT / "docs" / "api.md").read_text("utf-8")
    for path in create_api(None, None).openapi()["paths"]:
        assert path.rsplit("/", 1)[1].split("{")[0] in said, path


def test_what_the_pages_keep_is_read_as_it_is_kept(client, store):
    job = store.add("job", {"job": {"title": "Chest"}}, title="Chest").id
    other = store.add("job", {"job": {"title": "Vice"}}, title="Vice").id
    customer = store.add("customer", {"contact": "the blue gate"}, title="Mill Farm")
    made = client.post(f"jobs/{job}/notes", json={"text": "hinge is loose", "by": "A. Owner"})
    assert made.status_code == 201
    assert client.get(f"jobs/{job}/things/note").json() == {"things": [made.json()], "more": False}
    assert client.get(f"jobs/{other}/things/note").json()["things"] == []
    (found,) = client.get("things/customer").json()["things"]
    assert (found["id"], found["title"], found["data"]) == (customer.id, "Mill Farm", {"contact": "the blue gate"})
    for sent in ({"text": ""}, {"text": "a\u0007"}, {"text": "x" * 3000}, {}):
        assert client.post(f"jobs/{job}/notes", json=sent).status_code == 422
    assert client.get("things/secret").status_code == 404
