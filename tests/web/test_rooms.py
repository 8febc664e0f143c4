"""The rooms beside the jobs: lasers with what was measured, materials with where each value comes from."""

import html
import json
import re
import shutil
import tomllib
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from made_browser import accessible_in_both, leads_on
from made_cli import told

from proofpatch.cli_materials import materials_record, value_words
from proofpatch.lasers import laser_from_table
from proofpatch.materials import coating_ids, substrate_ids
from proofpatch.shop.lasers import KIND, add_laser, entry_of, lasers_of
from proofpatch.web.laser_form import LABELS
from proofpatch.web.road import road
from proofpatch.web.shell import unbroken

ROOT = Path(__file__).parents[2]
TABLE = tomllib.loads((ROOT / "docs" / "own-laser.toml").read_text("utf-8"))
NEW = {"title": "Skillet", "kind": "grease", "substrate": "cast-iron", "year": "2020", "laser": "ours-300"}
# The reading of docs/own-laser.md: pulse -> diameter, and lift -> diameter of the strongest pulse.
MARKS = {"12 W/1 kHz": "0.84 mm", "8 mJ": "0.85 mm", "5.33 mJ": "0.84 mm", "3.56 mJ": "0.83 mm", "2.37 mJ": "0.85 mm",
         "1.58 mJ": "0.80 mm", "1.3 mJ": "0.62 mm", "0.9 mJ": "none"}  # fmt: skip
LIFTS = {"-24 mm": "1.73 mm", "-12 mm": "1.14 mm", "-6 mm": "0.93 mm", "6 mm": "0.91 mm", "12 mm": "1.16 mm",
         "24 mm": "1.75 mm"}  # fmt: skip
SPOT = {"date": "2026-03-02", "material": "black card", "lift-energy": "12 mJ"}
for n, (pulse, wide) in enumerate(MARKS.items(), 1):
    SPOT |= {f"mark-{n}-energy": pulse, f"mark-{n}": wide}
for n, (lift, wide) in enumerate(LIFTS.items(), 1):
    SPOT |= {f"lift-{n}-by": lift, f"lift-{n}": wide}
WORDS = ["--date", "2026-03-02", "--material", "black card",
         *(word for pulse, wide in MARKS.items() for word in ("--mark", f"{pulse}, {wide}")),
         *(word for lift, wide in LIFTS.items() for word in ("--lift", f"{lift}, 12 mJ, {wide}"))]  # fmt: skip


@pytest.fixture
def mine(store, tmp_path):
    """A laser of the shop, and a file of the same content."""
    add_laser(store, TABLE)
    return Path(shutil.copy(ROOT / "docs" / "own-laser.toml", tmp_path / "mine.toml"))


def seen(answer):
    """The words of a page."""
    body = re.sub(r"</?(b|span)\b[^>]*>", "", answer.text)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", body)).split())


def read(client, store, **form):
    return client.post("/lasers/ours-300", data={"version": entry_of(store, "ours-300").version, **form})


def power(month, watts):
    return {"date": f"2026-{month:02}-02", "power-set": "150 W", "power": f"{watts} W"}


def test_screen_and_command_line_say_the_same_of_a_laser(client, store, mine, capsys):
    plan = seen(client.get("/lasers/ours-300"))
    with_none = told(capsys, "measure-laser", mine)
    assert all(line in plan for line in with_none["cautions"])
    assert "15 mm apart, one pulse each. Power 12 W, 8 W, 5.33 W" in plan
    assert "-24 mm, -12 mm, -6 mm, +6 mm, +12 mm, +24 mm" in plan
    for form, words in ((SPOT, WORDS), (power(3, 148), ["--date", "2026-03-02", "--power-reading", "150 W, 148 W"]),
                        (power(6, 131), ["--date", "2026-06-02", "--power-reading", "150 W, 131 W"])):  # fmt: skip
        answer = read(client, store, **form)
        assert answer.status_code == 303
        taught = told(capsys, "measure-laser", mine, *words)
        page = seen(client.get(answer.headers["location"]))
        assert taught["because"] in page
        assert all(line in page for line in taught["advice"])
    (record,) = told(capsys, "lasers", mine)["lasers"]
    page = seen(client.get("/lasers/ours-300"))
    assert all(line["because"] in page for line in record["readings"])
    assert "Spot 0.7 mm 0.842 mm, measured M² 30 39.6, measured" in page
    assert "2026-06-02: 87 % 83 % to 92 %" in page
    head = re.search(r"<h1>(.*?)</h1>", client.get("/lasers").text)[1]
    assert head == "One laser; ours-300 wants a power check."
    assert record["advice"][0] in seen(client.get("/lasers"))
    # The same lines as the log beside the file, but for the time of writing.
    lines = [json.loads(line) for line in mine.with_suffix(".readings.jsonl").read_text("utf-8").splitlines()]
    kept = entry_of(store, "ours-300").data["readings"]
    assert [{**one, "when": ""} for one in kept] == [{**one, "when": ""} for one in lines]


# Patches of two days: each is read with the laser as it was on its own day, as a file's readings have it.
def test_a_job_with_it_forecasts_as_the_command_line_and_moves_with_a_reading(client, store, mine, capsys, tmp_path):
    first = client.get("/new").text
    assert first.index('value="ours-300" selected') < first.index('value="pulsed-100"')
    keys = [client.post("/new", data=NEW | {"laser": laser}).headers["location"].split("/")[2]
            for laser in ("ours-300", "pulsed-300")]  # fmt: skip
    for key in keys:
        client.get(f"/jobs/{key}/survey")  # worked out
    job, other = (store.get("job", key) for key in keys)
    for day in ("2026-03-01", "2026-07-01"):
        setting = {"average_power_W": 100.0, "repetition_rate_Hz": 2e4, "pulse_width_s": 2e-7, "spot_radius_m": 3.5e-4,
                   "sweep_width_m": 0.08, "sweep_speed_m_s": 10.0, "travel_speed_m_s": 0.05}  # fmt: skip
        line = {"setting": setting, "residue": "partial", "harm": "none", "when": f"{day}T10:00:00+00:00"}
        store.add("patch", line, job.id)
    path = tmp_path / "job.toml"
    path.write_text(
        '[job]\ntitle = "Skillet"\nlaser = "mine.toml"\n[limits]\npreset = "ordinary"\n[evidence]\nkind = "grease"\n'
        'substrate = "cast-iron"\nyear = "2020"\n',
        encoding="utf-8",
    )
    lines = [json.dumps(one.data) for one in reversed(store.all("patch"))]
    path.with_suffix(".patches.jsonl").write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert json.loads(json.dumps(road(store, job).forecast)) == told(capsys, "forecast", path)
    before, untouched = road(store, job), road(store, other)
    assert not any("as measured" in line for line in before.forecast["assumptions"])
    assert read(client, store, **power(6, 131)).status_code == 303
    told(capsys, "measure-laser", mine, "--date", "2026-06-02", "--power-reading", "150 W, 131 W")
    assert "Open it" in seen(client.get("/"))  # nothing is said of the laser as it was
    client.get(f"/jobs/{job.id}/survey")
    after = road(store, job)
    assert json.loads(json.dumps(after.forecast)) == told(capsys, "forecast", path)
    assert any("87 % of the dialled power arrives" in line for line in after.forecast["assumptions"])
    assert after.forecast["chance"] != before.forecast["chance"]
    assert road(store, other) is untouched
    assert "Open it" not in seen(client.get("/"))
    assert store.all("forecast", job.id)[0].data["laser_version"] == entry_of(store, "ours-300").version


FORM = {
    "id": "spare-100", "pattern-line": "line", "pattern-sine": "sine", "limit-1-width": "30 ns",
    "limit-1-energy": "12 mJ", "limit-3-width": "500 ns", "limit-3-energy": "12 mJ", "supply_voltage": "230 V",
    **{name: str(value) for name, value in {**TABLE["ours-300"], **TABLE["ours-300"]["handpiece"]}.items()
       if name in LABELS and name != "supply_voltage"},
}  # fmt: skip


def test_a_laser_of_ones_own_is_what_its_file_would_say(client, store):
    assert all(f'name="{name}"' in client.get("/lasers/new").text for name in FORM)
    assert client.post("/lasers/new", data=FORM).headers["location"] == "/lasers/spare-100"
    (laser,) = lasers_of(store).values()
    assert laser == replace(laser_from_table(TABLE), id="spare-100")
    for path in ("/lasers/spare-100", "/lasers/spare-100/correct"):
        assert client.get(path).status_code == 200
    right = {**FORM, "version": 1, "spot_diameter": "0.8 mm"}
    assert client.post("/lasers/spare-100/correct", data=right).status_code == 303
    assert entry_of(store, "spare-100").data["laser"]["spare-100"]["spot_diameter"] == "0.8 mm"
    late = client.post("/lasers/spare-100/correct", data={**right, "spot_diameter": "0.9 mm"})
    assert (late.status_code, 'value="0.9 mm"' in late.text) == (409, True)


def wrong(answer):
    """(the field that is marked, the sentence at it) of a page."""
    field = re.search(r'name="([^"]+)"[^>]*aria-invalid', answer.text)
    return field and field[1], html.unescape(re.search(r'role="alert"[^>]*>([^<]*)', answer.text)[1])


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("wavelength", "1064", "no unit"), ("max_power", "300 J", "unit of an energy"), ("m2", "good", "plain number"),
        ("id", "Ours!", "plain name"), ("id", "pulsed-300", "built-in"), ("id", "new", "can be called"),
        ("title", "", "not said"), ("limit-3-energy", "12 W", "unit of a power"), ("limit-1-width", "", "is empty"),
        ("supply_voltage", "nan", "plain number"), ("sweep_width_default", "1 mm", "out of order"),
        ("max_rate", "1 Hz", "below the lowest"), ("top_hat_share", "70", "more than the whole"),
    ],
)  # fmt: skip
def test_a_wrong_unit_keeps_what_was_typed_at_its_field(client, store, field, value, says):
    answer = client.post("/lasers/new", data={**FORM, field: value})
    at, sentence = wrong(answer)
    assert (answer.status_code, at) == (422, field)
    assert says in sentence
    assert "in quotes" not in sentence
    for name, typed in {**FORM, field: value}.items():
        if not name.startswith("pattern"):
            assert re.search(f'name="{name}"[^>]*value="{re.escape(html.escape(typed))}"', answer.text), name
    assert store.all(KIND) == []


@pytest.mark.parametrize(
    ("form", "field", "says"),
    [
        ({"mark-1": "0.84"}, "mark-1", "diameter of mark 1 '0.84' has no unit"),
        ({"mark-2-energy": "8 mm", "mark-2": "0.84 mm"}, "mark-2-energy", "pulse of mark 2"),
        ({"mark-9-energy": "8 mJ"}, "mark-9", "no diameter"),
        ({"lift-1": "0.84 mm; 0.9"}, "lift-1", "diameter of lift 1"),
        ({"lift-7": "0.84 mm"}, "lift-7-by", "how far"),
        ({"lift-2-by": "12 mJ", "lift-2": "1 mm"}, "lift-2-by", "lift 2"),
        ({"power": "131 J"}, "power", "power measured"),
        ({"power": "131 W", "power-set": ""}, "power-set", "power set is empty"),
        ({"power": "20 W"}, "power", "cannot be the whole beam"),
        ({"card": "0.6 mm"}, "card-energy", "pulse of the burn card"),
        ({"card": "0.6 mm", "card-energy": "5 mJ"}, "material", "no name"),
        ({"power": "131 W", "date": "2999-01-01"}, "date", "still to come"),
        ({"power": "131 W", "reading_error": "0.03"}, "reading_error", "no unit"),
        ({"power": "131 W", "meter_error": "200 %"}, "meter_error", "too large"),
        ({"mark-1": "0.84 mm", "top_hat_share": "half"}, "top_hat_share", "start with a number"),
        ({"mark-1": "0.84 mm"}, None, "Give at least"),
        ({}, None, "Nothing was read"),
    ],
)
def test_a_reading_that_is_none_keeps_what_was_typed(client, store, mine, form, field, says):
    page = client.get("/lasers/ours-300").text
    offered = {name: html.unescape(value) for name, value in re.findall(r'name="([^"]+)"[^>]*value="([^"]*)"', page)}
    sent = {**offered, **form}
    answer = client.post("/lasers/ours-300", data=sent)
    at, sentence = wrong(answer)
    assert (answer.status_code, at) == (422, field)
    assert says in sentence
    assert "--" not in sentence
    for name, typed in form.items():
        assert re.search(f'name="{name}"[^>]*value="{re.escape(html.escape(typed))}"', answer.text), name
    assert entry_of(store, "ours-300").data["readings"] == []


def test_a_reading_that_tells_nothing_is_not_kept_and_says_how_to_lay_one(client, store, mine):
    form = {"mark-1-energy": "12 mJ", "mark-1": "0.84 mm", "lift-energy": "12 mJ", "lift-1-by": "1 mm",
            "lift-1": "0.843 mm"}  # fmt: skip
    answer = read(client, store, **form)
    assert (answer.status_code, "this cannot tell" in seen(answer)) == (422, True)
    assert "Not kept: it tells nothing. Lift by" in seen(answer)
    assert 'value="0.843 mm"' in answer.text
    assert entry_of(store, "ours-300").version == 1


def test_who_comes_late_is_told_and_both_are_kept(client, store, mine):
    assert read(client, store, **power(3, 148)).status_code == 303
    late = client.post("/lasers/ours-300", data={"version": 1, **power(4, 149)})
    assert (late.status_code, "kept beside it, not over it" in seen(late)) == (409, True)
    assert 'value="149 W"' in late.text
    entry = entry_of(store, "ours-300")
    assert [one["date"] for one in entry.data["readings"]] == ["2026-03-02"]
    assert store.history(KIND, entry.id)[-1].data["readings"][-1]["date"] == "2026-04-02"
    stale = client.post("/lasers/ours-300/readings/0/take-back", data={"version": 1})
    assert (stale.status_code, 'href="/lasers/ours-300"' in stale.text) == (409, True)


def test_taking_back_undoing_and_putting_away(client, store, mine):
    def send(step):
        return client.post(f"/lasers/ours-300/{step}", data={"version": entry_of(store, "ours-300").version})

    read(client, store, **power(3, 148))
    assert send("readings/0/take-back").status_code == 303
    assert "was never measured" in seen(client.get("/lasers/ours-300"))
    send("undo")
    assert "share of the dialled power that arrives 98.7 %" in seen(client.get("/lasers/ours-300"))
    send("delete")
    assert "Bring back ours-300" in client.get("/lasers").text
    assert 'value="ours-300"' not in client.get("/new").text
    send("restore")
    assert "Bring back ours-300" not in client.get("/lasers").text
    assert client.post("/lasers/pulsed-300", data={"version": 1, **power(3, 148)}).status_code == 404
    assert "stands for no machine" in seen(client.get("/lasers/pulsed-300"))


def test_every_value_of_every_material_says_where_it_comes_from(client):
    for key in (*coating_ids(), *substrate_ids()):
        record = materials_record(key)
        answer = client.get(f"/materials/{key}")
        rows = re.findall(r'<tr><th scope="row">(.*?)</tr>', answer.text, re.DOTALL)
        assert len(rows) == len(record["values"]) > 0
        for row, value in zip(rows, record["values"], strict=True):
            said = " ".join(html.unescape(re.sub(r"<[^>]+>", " ", row)).split())
            assert said.startswith(value["property"].replace("_", " "))
            for part in (value_words(value), value["source"], value["locator"]):
                assert " ".join(part.split()) in said
            assert f'class="source {value["status"].replace(" ", "-")}"' in row
        memory = sum(value["status"] == "memory" for value in record["values"])
        first = re.search(r"<h1>(.*?)</h1>", answer.text)[1]
        assert f"{len(rows)} values" in first
        assert memory == 0 or first.endswith("from memory, unverified.")
        assert memory in (0, len(rows)) or f"{memory} from memory" in first


def test_materials_are_found_by_a_word(client):
    everything = client.get("/materials").text
    assert all(f'href="/materials/{key}"' in everything for key in (*coating_ids(), *substrate_ids()))
    oak = client.get("/materials?q=Red+OAK")
    assert re.findall(r'href="/materials/([\w-]+)"', oak.text) == ["oak"]
    assert f"1 of {len(coating_ids()) + len(substrate_ids())} materials says “Red OAK”." in seen(oak)
    none = client.get("/materials/<oka>")
    assert (none.status_code, "The nearest known: " in seen(none), "<oka>" in none.text) == (404, True, False)
    assert client.get("/materials/red oak").status_code == 200


@pytest.mark.parametrize("size", [360, 1440])
def test_nothing_is_found_against_access_in_the_rooms(page, store, mine, client, size):
    read(client, store, **SPOT)
    for month, watts in ((3, 148), (6, 131)):
        last = read(client, store, **power(month, watts)).headers["location"]
    page.set_viewport_size({"width": size, "height": 800})
    for path in ("/lasers", "/lasers/new", last, "/lasers/ours-300/correct", "/lasers/pulsed-500", "/materials",
                 "/materials?q=zzz", "/materials/epoxy"):  # fmt: skip
        page.goto(path)
        accessible_in_both(page, path, size)
    page.goto("/lasers/ours-300")
    page.get_by_label("Diameters of mark 2").fill("0.84 mJ")
    with leads_on(page):
        page.get_by_role("button", name="Keep what I read").click()
    page.get_by_role("alert").wait_for()
    accessible_in_both(page, "a wrong field", size)
    # The page opens at the field, with what was typed.
    assert page.evaluate("() => document.activeElement.value") == "0.84 mJ"


def test_no_unit_is_torn_from_its_number(client):
    for key in (*coating_ids(), *substrate_ids()):
        words = re.sub(
            r"\(no range stated\)", "", " ".join(value_words(one) for one in materials_record(key)["values"])
        )
        page = unbroken(f"<p>{words}</p>")
        for unit in set(re.findall(r"(?<=[0-9]) ([^ (0-9][^ ]*)", page)) - {"to"}:
            assert re.fullmatch(r"[0-9.e+-]+", unit), (key, unit)
        assert "(m K" not in page


def test_today_is_the_day_of_a_reading_where_none_is_said(client, store, mine):
    read(client, store, **{**power(3, 148), "date": ""})
    assert entry_of(store, "ours-300").data["readings"][0]["date"] == date.today().isoformat()
