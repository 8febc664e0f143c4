"""Bad input: exit 2, one line of one or two sentences that names the field, nothing else said, nothing written."""

import functools
import json
import math
import os
import re
import shutil
from pathlib import Path

import pytest
from made_cli import asked

from proofpatch.cli import DONE, Answer, cli, sentence
from proofpatch.cli_read import AREA, BEAM, FUME, KNOBS, OPTIONS, STOP, SURFACE
from proofpatch.errors import InputError
from proofpatch.shop.job_tables import KEYS, LISTS
from proofpatch.shop.log import LOG_KEYS, UNIT_KEYS

EXAMPLE = Path(__file__).parent.parent / "docs" / "examples" / "chest.toml"
LONG = "x" * 10_000
RUBBISH = "🪵½\u202e∞µ\u0301"
# option -> a unit of it; the others are text or plain numbers.
UNITS = {
    "thickness": "um", "power": "W", "rate": "kHz", "width": "ns", "spot_diameter": "mm", "sweep_width": "mm",
    "sweep_speed": "m/s", "travel_speed": "mm/s", "seconds": "s", "length": "mm",
    "wavelength": "nm", "beam_diameter": "mm", "divergence": "mrad", "focal_length": "mm", "exposure": "s",
    "area_rate": "m²/h", "air_flow": "m³/h",
}  # fmt: skip
PLAIN = ("top_hat_share", "passes", "count", "fraction_left", "fraction_error", "layer", "seed", "year")
ANY_TEXT = ("grader", "suspect", "zone")  # whatever can be shown is a legitimate answer
TEXTS = ["", "   ", LONG, RUBBISH, "\x00", "a\nb", "nan", "inf", "1e308", "5e-324", "-1", "[1, 2]", "5 kg", "🪵", "ſ²"]
COMMANDS = {
    "bench": (("bench",), ("laser", *KNOBS, "pattern", "top_hat_share", "against", *SURFACE[1:], "picture")),
    "forecast": (("forecast",), SURFACE),
    "patch": (("patch",), (*SURFACE, *STOP, "count", "place", "sheet")),
    "recipe": (("recipe",), (*SURFACE, *STOP)),
    "grade": (
        ("grade", "JOB"),
        (
            *KNOBS,
            "residue",
            "harm",
            "fraction_left",
            "fraction_error",
            "layer",
            "seconds",
            "length",
            "grader",
            "waited",
            "photo",
            "strip",
            "eye",
            "picture",
        ),
    ),
    "survey": (("survey",), ("laser", "evidence", *STOP, "pdf")),
    "measure": (("measure",), AREA),
    "hazards": (("hazards",), ("laser", *BEAM, *FUME, "picture", "pdf")),
    "demo": (("demo",), ("seed",)),
}
GOOD = {
    "power": "150 W", "rate": "12.5 kHz", "width": "100 ns", "spot_diameter": "0.9 mm", "residue": "partial",
    "harm": "none", "travel_speed": "50 mm/s", "coating": "varnish",
    "substrate": "red oak", "year": "2001", "beam_diameter": "10 mm", "focal_length": "160 mm",
    "seconds": "2 s", "length": "100 mm", "shape": "panel; length=1 m; width=1 m",
    "lead": "negative; laboratory test; 2025-03-11",
    "cleared": "nitrocellulose; negative; acetone, nothing in 2 min; 2025-03-11",
}  # fmt: skip


@pytest.fixture
def run(capsys, monkeypatch):
    """Runs a command up to the engine: what is accepted there ends with exit 0."""

    def stop(*_, **__):
        raise Answer(DONE)

    monkeypatch.setattr("proofpatch.cli_work.believe", stop)
    monkeypatch.setattr("proofpatch.demo.play", stop)
    monkeypatch.setattr("proofpatch.cli_survey.decide", stop)
    return functools.partial(asked, capsys)


@pytest.fixture
def chest(tmp_path):
    return Path(shutil.copy(EXAMPLE, tmp_path / "chest.toml"))


def one_line(err, field):
    """True if this is one line of one or two sentences that names the field."""
    sentences = len(re.findall(r"[.?!](?= [A-Z‘'\"]|$)", err.strip()))
    return err.count("\n") == 1 and err.endswith("\n") and field in err and len(err) < 500 and 1 <= sentences <= 2


def words_of(start, options, job=None):
    return [str(job) if word == "JOB" else word for word in start] + [
        word for name in options for word in (OPTIONS[name][0], options[name])
    ]


def bad_values(name):
    if name in UNITS:
        unit = UNITS[name]
        numbers = ("-1", "nan", "inf", "-inf", "1e308", "5e-324", "0", "9" * 5000, "1e999", "[1, 2]", "1,000", "five")
        return [*TEXTS, "5", "5 J", *(f"{number} {unit}" for number in numbers)]
    if name in PLAIN:
        return [*TEXTS, "1.5e0x", "-5", "2.5e300", "5 W", "9" * 5000, "1 mm"]
    return TEXTS


OPTION_CASES = [(command, name) for command, (_, names) in COMMANDS.items() for name in names]


def test_the_sweep_knows_every_option_of_every_command():
    for command, (_, names) in COMMANDS.items():
        found = {p.name for p in cli.commands[command].params if p.param_type_name == "option" and not p.is_flag}
        assert found == set(names), command


@pytest.mark.parametrize(("command", "name"), OPTION_CASES)
def test_every_option_refuses_what_is_none(run, chest, command, name):
    start, names = COMMANDS[command]
    good = {key: value for key, value in GOOD.items() if key in names}
    if command == "grade" and name not in ("seconds", "length"):
        del good["seconds"], good["length"]
    files = set(chest.parent.iterdir())
    flag = OPTIONS[name][0]
    for value in bad_values(name):
        code, out, err = run(*words_of(start, good | {name: value}, chest))
        legitimate = (name in ANY_TEXT and value.strip() and value.isprintable() and value != LONG) or (
            name in ("top_hat_share", "reflectance", "hand_finish") and value == "5e-324"
        )
        if legitimate:
            assert code in (0, 1), (value, err)
            chest.with_suffix(".patches.jsonl").unlink(missing_ok=True)
            continue
        assert (code, out) == (2, ""), (value, out, err)
        assert one_line(err, flag), (value, err)
        assert set(chest.parent.iterdir()) == files, value


@pytest.mark.parametrize("command", COMMANDS)
def test_what_is_good_is_let_through(run, chest, command):
    start, names = COMMANDS[command]
    good = {key: value for key, value in GOOD.items() if key in names}
    code, _, err = run(*words_of(start, good, chest))
    assert (code, err) == (0, "")


@pytest.mark.parametrize(
    ("words", "field"),
    [
        (("bench",), "--power"),
        (("bench", "--power", "5 W", "--rate", "5 kHz", "--width", "5 ns"), "--spot-diameter"),
        (("bench", "--power"), "--power"),
        (("bench", "--powr", "5 W"), "--powr"),
        (("bench", LONG), "argument"),
        (("bench", "--" + LONG), "xxx"),
        (("bnech",), "bnech"),
        ((LONG,), "xxx"),
        (("bench", "--power", "5 W", "--power", "6 W"), "--power"),
        (("bench", "--power=5 W", "--power=6 W"), "--power"),
        (("forecast",), "--coating"),
        (("forecast", "--coating", "varnish"), "--substrate"),
        (("forecast", "--coating", "varnish", "--substrate", "oak", "--year", "2001"), "--year"),
        (("forecast", "--coating", "varnish", "--substrate", "oak", "--colour", "black"), "--colour"),
        (("patch", "--coating", "varnish", "--substrate", "oak", "--count", "0"), "--count"),
        (("patch", "--coating", "varnish", "--substrate", "oak", "--count", "13"), "--count"),
        (("patch", "--coating", "varnish", "--substrate", "oak", "--lead", "negative; swab; 2025-01-01; x"), "--lead"),
        (("patch", "--coating", "varnish", "--substrate", "oak", "--lead", "negative; swab; 9999-01-01"), "--lead"),
        (("patch", "--coating", "varnish", "--substrate", "oak", "--lead", "; swab"), "--lead"),
        (("patch", "--coating", "varnish", "--substrate", "oak", "--lead", "maybe"), "--lead"),
        (("recipe", "a.toml", "b.toml"), "b.toml"),
        (("grade",), "JOB"),
        (("grade", "a.toml"), "--residue"),
        (("lasers", ""), "NAME"),
        (("lasers", "pulsed-9"), "NAME"),
        (("materials", RUBBISH), "NAME"),
        (("materials", LONG), "NAME"),
        (("demo", "extra"), "extra"),
    ],
)
def test_words_that_do_not_belong(run, words, field):
    code, out, err = run(*words)
    assert (code, out) == (2, "")
    assert one_line(err, field), err
    code, out, err = run(*words, "--json") if words[-1] != "--power" else (2, "", err)
    assert (code, out) == (2, "")


@pytest.mark.parametrize("name", [*SURFACE, *STOP])
def test_a_job_file_and_surface_options_contradict_each_other(run, chest, name):
    for command in ("patch", "recipe") if name in STOP else ("forecast", "patch", "recipe"):
        code, out, err = run(command, chest, OPTIONS[name][0], GOOD.get(name, "unknown"))
        assert (code, out) == (2, "")
        assert one_line(err, OPTIONS[name][0])
        assert "job file" in err


def test_a_grade_that_contradicts_itself(run, chest):
    base = (
        "grade",
        chest,
        "--power",
        "150 W",
        "--rate",
        "12.5 kHz",
        "--width",
        "100 ns",
        "--travel-speed",
        "50 mm/s",
        "--harm",
        "none",
    )
    for more, field in (
        (("--residue", "clean", "--fraction-left", "60 %"), "--fraction-left"),
        (("--residue", "clean", "--seconds", "2 s"), "--length"),
        (("--residue", "clean", "--length", "100 mm"), "--seconds"),
        (("--residue", "clean", "--length", "90 m", "--seconds", "1 ms"), "--seconds"),
        (("--residue", "clean", "--layer", "1"), "--layer"),
        (("--residue", "clean", "--sweep-width", "160 mm"), "--sweep-width"),
        (("--residue", "clean", "--sweep-speed", "21 m/s"), "--sweep-speed"),
    ):
        code, out, err = run(*base, *more)
        assert (code, out) == (2, "")
        assert one_line(err, field), err
    assert list(chest.parent.iterdir()) == [chest]


@pytest.mark.parametrize("command", ["forecast", "patch", "recipe", "grade"])
def test_files_that_are_no_job(run, tmp_path, command):
    more = words_of((), {key: GOOD[key] for key in ("power", "rate", "width", "residue", "harm")})
    binary = tmp_path / "photo.toml"
    binary.write_bytes(os.urandom(3000))
    for path in (tmp_path / "missing.toml", tmp_path, binary):
        code, out, err = run(command, path, *(more if command == "grade" else ()))
        assert (code, out) == (2, "")
        assert one_line(err, "job file"), err
    for path in ("", LONG, RUBBISH, "a\x00b"):
        code, out, err = run(command, path, *(more if command == "grade" else ()))
        assert (code, out) == (2, "")
        assert one_line(err, "JOB"), err
    assert list(tmp_path.iterdir()) == [binary]


def toml(value):
    """A value as TOML writes it."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(key)} = {toml(entry)}" for key, entry in value.items()) + "}"
    if isinstance(value, list):
        return f"[{', '.join(map(toml, value))}]"
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else repr(value)


# Whatever the key, none of these is a value of it; what each kind refuses besides stands in tests/shop/test_job.py.
NEVER = ["", LONG, "\u202e🪵", True, float("nan"), math.inf, -math.inf, 1e308, -5, {"a": 1}, [[1]], 10**400]


@pytest.mark.parametrize(("table", "key"), [(table, key) for table, keys in KEYS.items() for key in keys])
def test_every_field_of_the_job_file(run, tmp_path, table, key):
    place = f"{table}[0].{key}" if table in LISTS else f"{table}.{key}"
    needed = {"surface": {"substrate": "red oak"}, "layers": {"coating": "varnish"}, "zones": {"area": "1 m²"}}
    needed["cleared"] = {"hazard": "asbestos", "status": "unknown"}
    needed["openings"] = {"name": "door", "wall": "south", "start": "1 m", "end": "2 m"}
    needed |= {table: {"name": "x", "at": ["1 m", "1 m"]} for table in ("shiny", "people")}
    path = tmp_path / "job.toml"
    for value in NEVER:
        if KEYS[table][key] == "flag" and value is True:
            continue
        tables = {"surface": needed["surface"], "layers": needed["layers"]}
        tables[table] = needed.get(table, {}) | {key: value}
        text = ""
        for name, entries in tables.items():
            text += f"[[{name}]]\n" if name in LISTS else f"[{name}]\n"
            text += "".join(f"{k} = {toml(v)}\n" for k, v in entries.items())
        path.write_text(text, encoding="utf-8")
        code, out, err = run("forecast", path)
        assert (code, out) == (2, ""), (value, out)
        assert one_line(err, place), (value, err)
    assert list(tmp_path.iterdir()) == [path]


def test_an_unknown_key_is_refused_with_the_nearest_known(run, chest):
    text = chest.read_text(encoding="utf-8")
    for old, new, known in (("substrate =", "substrat =", "substrate"), ("[lead]", "[leads]", "lead"),
                            ("coating =", "coatings =", "coating"), ("p_harm =", "p_harms =", "p_harm")):  # fmt: skip
        chest.write_text(text.replace(old, new), encoding="utf-8")
        code, out, err = run("forecast", chest)
        assert (code, out) == (2, "")
        assert f"Did you mean {known}?" in err
        assert one_line(err, new.strip("[] ="))


LINE = {
    "setting": dict(zip(UNIT_KEYS.values(), (150.0, 12500.0, 1e-7, 0.45e-3, 0.1, 10.0, 0.05, 4, "line"), strict=True)),
    "residue": "partial", "harm": "none", "seconds": 2.0, "length": 0.1,
}  # fmt: skip


@pytest.mark.parametrize("key", [*LOG_KEYS, *UNIT_KEYS.values()])
def test_every_field_of_the_log(run, chest, key):
    log = chest.with_suffix(".patches.jsonl")
    for value in NEVER:
        inner = key in LINE["setting"]
        line = LINE | ({"setting": LINE["setting"] | {key: value}} if inner else {key: value})
        log.write_text(json.dumps(line) + "\n", encoding="utf-8")
        before = log.read_bytes()
        if key == "wiped" and value is True:
            continue
        code, out, err = run("recipe", chest)
        assert (code, out) == (2, ""), (value, out)
        assert one_line(err, "line 1 of chest.patches.jsonl"), err
        assert key in err or (key == "setting" and "setting" in err.lower()), err
        # Nor is a new patch added to a log that says what cannot be.
        good = {name: GOOD[name] for name in ("power", "rate", "width", "residue", "harm")}
        assert run(*words_of(("grade", "JOB"), good, chest))[0] == 2
        assert log.read_bytes() == before


def test_a_sentence_names_its_field_once_and_stays_on_one_line():
    assert (
        sentence(InputError("power", "The power is negative.", "Turn it up.")) == "The power is negative. Turn it up."
    )
    assert sentence(InputError("power", "It is negative.")) == "power: It is negative."
    assert "\n" not in sentence(InputError("power", "a\nb\x1b[31m"))
    assert "\x1b" not in sentence(InputError("power", "a\nb\x1b[31m"))
    assert len(sentence(InputError("power", LONG))) <= 400
