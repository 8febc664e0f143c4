"""The job file: every key is read, shown in the docs, and refused in one sentence where it is no good."""

import dataclasses
import math
import re
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import proofpatch as pp
from proofpatch.errors import InputError
from proofpatch.offer.hours import rates_data
from proofpatch.shop.job import find_any_laser, job_from, read_job
from proofpatch.shop.job_tables import KEYS, LARGEST_FILE, LISTS, REQUIRED
from proofpatch.survey import HardStop

ROOT = Path(__file__).parents[2]
DOC = (ROOT / "docs" / "job-file.md").read_text(encoding="utf-8")
FULL = tomllib.loads(re.search(r"```toml\n(.*?)```", DOC, re.DOTALL)[1])
EXAMPLES = sorted((ROOT / "docs" / "examples").glob("*.toml"))
HUGE_INT = 10**400
# Each is wrong for every kind of key, text aside.
NEVER_A_QUANTITY = [
    "", "  ", "5 kg", "five", "nan", "inf", "nan mm", "-inf m", "\x00", "🪵½\u202e∞", "x" * 10_000, "9" * 10_000,
    [], ["1 mm"], {}, {"a": 1}, True, float("nan"), float("inf"), -float("inf"), 1e308, -1.0, HUGE_INT, -HUGE_INT,
]  # fmt: skip
NEVER_A_TEXT = [
    "",
    "   ",
    "\x00",
    "a\nb",
    "🪵\u202e",
    "x" * 10_000,
    [],
    ["a"],
    {},
    {"a": 1},
    True,
    3,
    1e308,
    float("nan"),
    HUGE_INT,
]
PLACES = [(table, key) for table, keys in KEYS.items() for key in keys]


def changed(table, key, value):
    """The full job of the docs with one value replaced; a list of tables gets it in its first."""
    job = {name: [dict(e) for e in entry] if isinstance(entry, list) else dict(entry) for name, entry in FULL.items()}
    (job[table][0] if table in LISTS else job[table])[key] = value
    return job


def place_of(table, key):
    return f"{table}[0].{key}" if table in LISTS else f"{table}.{key}"


def test_the_docs_show_every_key_with_its_row():
    for table, key in PLACES:
        first = FULL[table][0] if table in LISTS else FULL[table]
        assert key in first, (table, key)
        assert f"| `{table}.{key}` |" in DOC, (table, key)
        needed = "**needed**" in re.search(rf"\| `{table}\.{key}` \|.*", DOC)[0]
        assert needed == (key in REQUIRED.get(table, ())), (table, key)


def test_the_docs_example_reads_as_written():
    job = job_from(FULL)
    assert (job.title, job.laser.id, job.year, job.suspects, job.seed) == (
        "Chest lid",
        "pulsed-500",
        1904,
        ("paste wax",),
        0,
    )
    assert job.surface.coats[0].thickness == pytest.approx(90e-6)
    assert job.surface.coats[0].shares["shellac"] == pytest.approx(0.05)
    assert job.surface.moisture == pytest.approx(0.09)
    assert dataclasses.asdict(job.limits) == pytest.approx(dataclasses.asdict(pp.PRESETS["ordinary"]))
    assert job.hand == pp.Hand()
    assert job.lead.cleared
    ((zone, (area, effort)),) = zip(job.measured, job.zones, strict=True)
    assert [one.words.partition(":")[0] for one in zone.areas] == [
        "area as given", "moulding by girth", "outline in a photo", "picked parts of a scan",
    ]  # fmt: skip
    assert zone.area == pytest.approx(0.55 + 1.8 * 0.04 + zone.areas[2].area + 0.21)
    assert (area, effort) == (pytest.approx(0.95 * zone.area), 1.0)
    assert (zone.name, zone.count, zone.coating, zone.limits) == ("flat of the lid", 1, "varnish", "ordinary")
    assert (job.rates["set_up"], job.rates["hand_factor"]) == (pytest.approx(1800), 1.8)
    # The example names what is remembered, so that nothing moves by copying it.
    for name, value in job.rates.items():
        assert value == pytest.approx(rates_data()[name].value, rel=0.01), name


# The table of the docs says what holds where a key is left out; here it is what the code does.
def test_the_defaults_are_the_ones_the_docs_name():
    least = job_from({"surface": {"substrate": "oak"}, "layers": [{"coating": "shellac"}]})
    assert (least.title, least.laser.id, least.year, least.seed) == ("Untitled job", "pulsed-500", None, 0)
    assert least.limits == pp.PRESETS["ordinary"] == pp.Limits()
    assert (least.hand.speed_spread, least.hand.stand_off_spread, least.hand.starts) == (0.25, 3e-3, "mask")
    assert not least.lead.cleared
    assert least.zones == ()
    assert rates_data()["set_up"].value == 30 * 60
    assert rates_data()["hand_factor"].value == 1.8
    assert "30 min" in DOC
    assert least.surface.coats[0].colour == least.surface.condition == "unknown"


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_examples_read(path):
    job = read_job(path)
    assert job.zones
    assert job.log_path == path.with_suffix(".patches.jsonl")


def test_zones_of_every_sort():
    lid = {"surface": {"substrate": "oak"}, "layers": [{"coating": "shellac"}]}
    leg = {"shape": "cylinder", "diameter": "60 mm", "length": 0.7, "how": "calliper"}
    zones = [{"shapes": [leg], "count": 4, "effort": "turnings"}, {"name": "inlay", "area": "1 dm²", "untouched": True}]
    with pytest.raises(InputError):
        job_from(lid | {"zones": zones})  # dm² is no unit here
    zones[1]["area"] = "0.01 m²"
    job = job_from(lid | {"zones": zones})
    assert [zone.name for zone in job.measured] == ["zone 1", "inlay"]
    assert job.zones == ((pytest.approx(4 * math.pi * 0.06 * 0.7), 1.75),)
    assert job_from(lid | {"zones": zones[1:]}).zones == ()
    for wrong, field in (
        ({}, "zones[0].area"), ({"area": "1 m²", "shapes": [leg | {"length": "3 kg"}]}, "zones[0].shapes[0].length"),
        ({"shapes": [leg, {"shape": "blob"}]}, "zones[0].shapes[1].shape"),
        ({"shapes": [leg], "how": "eye"}, "zones[0].how"),
        ({"scans": [{"scan": "lid", "area": "1 m²"}]}, "zones[0].scans[0].unit"),
        ({"outlines": [{"points": [[0, 0]]}]}, "zones[0].outlines[0].outline"),
    ):  # fmt: skip
        with pytest.raises(InputError) as error:
            job_from(lid | {"zones": [wrong]})
        assert error.value.field == field
        assert field in str(error.value)


def test_a_preset_is_edited_key_by_key():
    limits = job_from(FULL | {"limits": {"preset": "scrap", "p_harm": "2 %"}}).limits
    assert limits == dataclasses.replace(pp.PRESETS["scrap"], p_harm=limits.p_harm)
    assert limits.p_harm == pytest.approx(0.02)


@pytest.mark.parametrize(("table", "key"), PLACES)
def test_every_key_refuses_what_is_none_and_names_itself(table, key):
    kind = KEYS[table][key]
    for value in NEVER_A_TEXT if kind in ("text", "texts", "date", "coating") else NEVER_A_QUANTITY:
        if (kind == "texts" and value in ([], ["a"])) or (kind in ("share", "captured") and value == ""):
            continue
        if kind == "flag" and value is True:
            continue
        with pytest.raises(InputError) as error:
            job_from(changed(table, key, value))
        assert error.value.field == place_of(table, key), value
        assert place_of(table, key) in str(error.value), value
        assert len(str(error.value)) < 400, value


@pytest.mark.parametrize(
    ("table", "key", "value"),
    [
        ("surface", "thickness", "5e-324 m"), ("surface", "thickness", "1e308 m"), ("surface", "thickness", "20 mm2"),
        ("surface", "thickness", 22), ("surface", "moisture", "200 %"), ("surface", "substrate", "marzipan"),
        ("surface", "condition", "haunted"), ("layers", "thickness", "1 m"), ("layers", "thickness", "5e-324 m"),
        ("layers", "thickness", "-90 um"), ("layers", "colour", "plaid"), ("layers", "condition", "haunted"),
        ("layers", "coating", "marzipan"), ("layers", "coating", {"varnish": 0.5}),
        ("layers", "coating", {"varnish": "1"}),
        ("layers", "coating", {"varnish": HUGE_INT}), ("layers", "coating", {"varnish": float("nan")}),
        ("layers", "coating", {"varnish": 2.0, "shellac": -1.0}), ("job", "laser", "pulsed-9"),
        ("job", "laser", "missing.toml"), ("job", "year", 999), ("job", "year", 2199), ("job", "year", 1904.5),
        ("job", "year", "1904"), ("job", "seed", 2**31 + 1), ("limits", "preset", "tender"), ("limits", "p_harm", 2),
        ("hand", "stand_off_spread", "1 m"), ("hand", "starts", "anywhere"), ("lead", "status", "maybe"),
        ("lead", "date", "9999-01-01"), ("zones", "area", "5e-324 m2"), ("zones", "area", "1e6 m2"),
        ("zones", "area", "2 m"), ("zones", "effort", 5e-324), ("zones", "effort", 21), ("zones", "effort", "sorcery"),
        ("zones", "count", 0), ("zones", "count", 1.5), ("zones", "count", 10**5), ("zones", "hand_finish", "110 %"),
        ("zones", "how", "sonar"), ("zones", "shapes", {}), ("zones", "outlines", [3]), ("rates", "set_up", "-5 min"),
        ("rates", "hand_factor", 0), ("job", "suspects", ["wax", 3]), ("job", "suspects", "wax"),
        ("room", "height", "1 um"), ("air", "capture", "99 %"),
    ],
)  # fmt: skip
def test_values_of_the_right_kind_that_no_job_has(table, key, value):
    with pytest.raises(InputError) as error:
        job_from(changed(table, key, value))
    assert error.value.field == place_of(table, key)
    assert place_of(table, key) in str(error.value)


@pytest.mark.parametrize(
    ("job", "field", "hint"),
    [
        ({"surfase": {}}, "surfase", "Did you mean surface?"),
        ({"surface": {"substrat": "oak"}}, "surface.substrat", "Did you mean substrate?"),
        ({"surface": {"substrate": "oak"}, "layers": [{"color": "clear"}]}, "layers[0].color", "Did you mean colour?"),
        ({"surface": {"substrate": "oak"}, "layers": [{}]}, "layers[0].coating", "Add it."),
        ({"surface": {}, "layers": []}, "surface.substrate", "Add it."),
        ({"surface": {"substrate": "oak"}}, "layers", "Add [[layers]]"),
        ({"surface": {"substrate": "oak"}, "evidence": "oak"}, "evidence", "[evidence]"),
        ({"evidence": {"year": 1904}, "job": {"year": 1904}}, "evidence.year", "Leave it out"),
        ({"evidence": {"sniff": "sour"}}, "evidence", "Known here"),
        ({"surface": {"substrate": "oak"}, "layers": {"coating": "wax"}}, "layers", "[[layers]]"),
        ({"surface": {"substrate": "oak"}, "layers": ["wax"]}, "layers", "[[layers]]"),
        ({"surface": ["oak"]}, "surface", "[surface]"),
        ({"x" * 10_000: {}}, "x" * 37 + "...", "Known here"),
        ({"surface": {"substrate": "oak"}, "layers": [{"coating": "wax"}] * 7}, "surface.layers", "6 at most"),
    ],
)
def test_keys_and_tables_that_do_not_belong(job, field, hint):
    with pytest.raises(InputError) as error:
        job_from(job)
    assert error.value.field == field
    assert hint in str(error.value)


def test_a_coating_that_never_passes_stops_the_job_itself():
    for coating in ("PVC", {"varnish": 0.99, "zinc chromate primer": 0.01}):
        with pytest.raises(HardStop) as stop:
            job_from(changed("layers", "coating", coating))
        assert stop.value.because.startswith("Stop: ")


@pytest.mark.parametrize(
    "content",
    [
        b"", b"\x00\xff\xfe", b"\x89PNG\r\n\x1a\n\x00", b"[job", b"[job]\ntitle = ", b"a = " + b"9" * 5000,
        b"a = " + b"[" * 5000, "[surface]\nsubstrate = 'oak'\n".encode("utf-16"), b"x" * (LARGEST_FILE + 1),
    ],
    ids=range(9),
)  # fmt: skip
def test_files_that_hold_no_job(tmp_path, content):
    path = tmp_path / "job.toml"
    path.write_bytes(content)
    with pytest.raises(InputError) as error:
        read_job(path)
    assert "\n" not in str(error.value)


@pytest.mark.parametrize("name", ["missing.toml", ".", "", "x" * 10_000, "a\x00b"])
def test_names_that_are_no_file(tmp_path, name):
    with pytest.raises(InputError, match="job file"):
        read_job(tmp_path / name)


def test_an_endless_file_is_not_read_to_its_end():
    if not Path("/dev/zero").exists():
        pytest.skip("no endless file here")
    with pytest.raises(InputError, match="larger"):
        read_job("/dev/zero")


def test_a_laser_of_ones_own_lies_beside_the_job(tmp_path):
    built_in = (ROOT / "src" / "proofpatch" / "lasers" / "builtin.toml").read_text(encoding="utf-8")
    own = built_in[built_in.index("[pulsed-300]") : built_in.index("[pulsed-500]")].replace("pulsed-300", "mine")
    (tmp_path / "mine.toml").write_text(own.replace('"300 W"', '"250 W"'), encoding="utf-8")
    (tmp_path / "job.toml").write_text(
        '[job]\nlaser = "mine.toml"\n[surface]\nsubstrate = "oak"\n[[layers]]\ncoating = "shellac"\n', encoding="utf-8"
    )
    assert read_job(tmp_path / "job.toml").laser.max_power == 250
    for content in (
        "a = " + "9" * 5000,
        "a = " + "[" * 5000,
        own.replace("m2 = 30", ""),
        own.replace("30 ns", "30 mm"),
    ):
        (tmp_path / "mine.toml").write_text(content, encoding="utf-8")
        with pytest.raises(InputError) as error:
            find_any_laser("mine.toml", tmp_path, "job.laser")
        assert error.value.field == "job.laser"


JUNK = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20) | st.dates(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)


@settings(max_examples=150, deadline=None)
@given(place=st.sampled_from(PLACES), value=JUNK)
def test_junk_is_read_or_refused_and_nothing_else(place, value):
    try:
        job_from(changed(*place, value))
    except InputError as error:
        assert error.field  # noqa: PT017  # either outcome is right here
    except HardStop:
        pass
