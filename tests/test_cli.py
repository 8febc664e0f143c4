"""Every command in text and as JSON, with the exit codes 0 done, 1 the answer is no, 2 bad input."""

import contextlib
import json
import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from made_cli import Result, asked

import proofpatch as pp
from proofpatch.cli import cli, main
from proofpatch.demo import SEED
from proofpatch.hazards import CAUTIONS
from proofpatch.learn.memory.exchange import Exchanged, packed
from proofpatch.shop.log import UNIT_KEYS, read_log
from proofpatch.shop.move import Moved
from proofpatch.shop.store import Store

EXAMPLE = Path(__file__).parent.parent / "docs" / "examples" / "chest.toml"
KNOBS = ("--power", "150 W", "--rate", "12.5 kHz", "--width", "100 ns", "--travel-speed", "50 mm/s")
BENCH = ("bench", "--power", "500 W", "--rate", "20 kHz", "--width", "200 ns")
CHEST = ("--coating", "varnish", "--coating-condition", "aged", "--substrate", "red oak")
# Design §8, command line.
KEYS = {
    "bench": "pulse_energy_J peak_power_W mean_fluence_J_m2 peak_fluence_J_m2 pulse_pitch_m pulse_overlap line_pitch_m "
    "line_overlap pulses_per_m2 dose_J_m2 area_rate_m2_s",
    "forecast": "answer chance because best assumptions sources",
    "patch": "patches",
    "recipe": "setting because governs p_clean p_harm area_rate_m2_s margins gentler",
}
SETTING_KEYS = [
    "average_power_W", "repetition_rate_Hz", "pulse_width_s", "spot_radius_m", "sweep_width_m", "sweep_speed_m_s",
    "travel_speed_m_s", "passes", "pattern",
]  # fmt: skip
# Limits that a prior alone can meet, so that a recipe needs no patch.
RECORDS = """
[lead]
status = "negative"
method = "laboratory test"
date = 2025-03-11
[[cleared]]
hazard = "nitrocellulose"
status = "negative"
method = "acetone, nothing in 2 min"
date = 2025-03-11
"""
EASY = (
    """
[job]
year = 2001
[surface]
substrate = "mild steel"
[[layers]]
coating = "rust"
[limits]
p_clean = 0.5
p_harm = 0.5
p_harm_patch = 0.5
[[zones]]
area = "1.2 m²"
"""
    + RECORDS
)


@pytest.fixture
def run(capsys):
    """Runs `proofpatch` with these words in this process."""
    return lambda *words: Result(*asked(capsys, *words))


@pytest.fixture(scope="session")
def engine():
    """The kernels compiled, so that no command has to say it compiles them."""
    from proofpatch.learn.compiled import warm

    warm()


@pytest.fixture
def chest(tmp_path):
    """A copy of the example job in a folder of its own."""
    return Path(shutil.copy(EXAMPLE, tmp_path / "chest.toml"))


@pytest.fixture
def easy(tmp_path):
    """A job whose recipe stands before any patch."""
    path = tmp_path / "easy job.toml"
    path.write_text(EASY, encoding="utf-8")
    return path


def shows_cautions(text):
    flat = " ".join(text.split())
    return all(caution in flat for caution in CAUTIONS)


def narrow(text):
    """True if no line but a command to paste is wider than a window."""
    return all(len(line) <= 100 for line in text.splitlines() if "proofpatch grade" not in line)


def test_every_command_has_help_with_an_example(run):
    for name, command in cli.commands.items():
        result = run(name, "--help")
        assert result.code == 0
        assert command.help.splitlines()[0] in " ".join(result.out.split())
        assert f"Example: proofpatch {name}" in " ".join(result.out.split())
    assert "Commands:" in run().out
    assert "Commands:" in run("--help").out
    assert pp.__version__ in run("--version").out


def test_the_examples_of_the_help_can_be_typed(chest, monkeypatch, capsys, engine, at_work):
    monkeypatch.chdir(chest.parent)
    monkeypatch.setattr("proofpatch.demo.play", lambda seed, say: {"seed": seed})
    moved = Moved("the database 'shop' on localhost", {"thing": 1, "change": 1}, None)  # tests/shop moves one for real
    monkeypatch.setattr("proofpatch.shop.move.move", lambda folder, address: moved)
    with contextlib.closing(Store.open("shop")) as shop:
        shop.add("job", {"job": {"title": "Chest lid, oak"}}, title="Chest lid, oak")
    theirs = Exchanged(pp.Surface("wax", "oak"), pp.laser("pulsed-500"), (pp.Graded(at_work(), "trace", "none"),))
    Path("theirs.jsonl").write_bytes(packed([theirs], Ed25519PrivateKey.generate(), "Weir Workshop", "2026-05-04"))
    monkeypatch.setattr("uvicorn.Server.run", lambda server: None)
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("click.prompt", lambda *_, **__: "seven grey herons over the kiln")
    monkeypatch.setattr(
        "proofpatch.cli_work.believe", lambda work, graded: pp.prior(work.surface, work.laser, draws=64)
    )
    for name, command in cli.commands.items():
        words = shlex.split(command.help.partition("Example: proofpatch ")[2])
        assert words[0] == name
        with pytest.raises(SystemExit) as done:
            main(words)
        assert done.value.code in (0, 1), words
        assert capsys.readouterr().err == "", words


# 500 W at 20 kHz: 25 mJ a pulse; 0.9394 E/τ at 200 ns; E/πw² with w = 0.45 mm, peak (2 − 0.7) times that; pitches
# 10 m/s / 20 kHz = 0.5 mm and 50 mm/s × 0.1 m / 10 m/s = 0.5 mm; 500 W / (0.1 m × 50 mm/s) = 10 J/cm². By hand.
def test_bench_by_hand(run):
    record = run(*BENCH, "--spot-diameter", "0.9 mm", "--json").record
    assert set(KEYS["bench"].split()) <= set(record)
    assert record["pulse_energy_J"] == pytest.approx(25e-3)
    assert record["peak_power_W"] == pytest.approx(0.9394 * 25e-3 / 200e-9, rel=1e-4)
    assert record["mean_fluence_J_m2"] == pytest.approx(3.93e4, rel=1e-3)
    assert record["peak_fluence_J_m2"] == pytest.approx(1.3 * record["mean_fluence_J_m2"])
    assert record["pulse_pitch_m"] == pytest.approx(0.5e-3)
    assert record["line_pitch_m"] == pytest.approx(0.5e-3)
    assert record["pulse_overlap"] == pytest.approx(1 - 0.5 / 0.9)
    assert record["pulses_per_m2"] == pytest.approx(4e6)
    assert record["dose_J_m2"] == pytest.approx(1e5)
    assert record["area_rate_m2_s"] == pytest.approx(5e-3)
    assert record["cautions"] == list(CAUTIONS)
    assert record["assumed"] == ["sweep_width_m", "sweep_speed_m_s", "travel_speed_m_s"]


def test_bench_in_text(run):
    result = run(*BENCH, "--spot-diameter", "0.9 mm")
    assert (result.code, result.err) == (0, "")
    first = " ".join(result.out.partition("\n\n")[0].split())
    assert first == (
        "Each pulse carries 25 mJ and reaches 5.11 J/cm² in the middle of a 0.9 mm spot; all passes together give "
        "10 J/cm²."
    )
    assert "hand 50 mm/s, that is 2 seconds per 100 mm" in " ".join(result.out.split())
    assert shows_cautions(result.out)
    assert narrow(result.out)
    gap = run(*BENCH, "--spot-diameter", "0.9 mm", "--travel-speed", "200 mm/s").out
    assert "a gap of 122 % of the spot" in gap


def test_bench_with_a_laser_is_bound_by_it(run):
    assert run(*BENCH, "--laser", "pulsed-500").code == 0
    assert run(*BENCH, "--laser", "pulsed-500", "--passes", "4", "--json").record["dose_J_m2"] == pytest.approx(4e5)
    below = run("bench", "--laser", "pulsed-500", "--power", "500 W", "--rate", "19 kHz", "--width", "200 ns")
    assert (below.code, below.out) == (2, "")
    # 500 W / 25 mJ = 20 kHz; 25 mJ × 19 kHz = 475 W.
    assert "20 kHz" in below.err
    assert "475 W" in below.err
    assert below.err.startswith("--rate")
    assert "100 W" in run(*BENCH, "--laser", "pulsed-100").err
    assert "150 mm" in run(*BENCH, "--laser", "pulsed-500", "--sweep-width", "160 mm").err


def test_forecast(run, engine, chest):
    result = run("forecast", *CHEST, "--json")
    assert (result.code, result.err) == (0, "")
    record = result.record
    assert set(KEYS["forecast"].split()) <= set(record)
    assert record["answer"] in ("worth it", "test first")
    assert 0 <= record["chance"] <= 1
    assert set(record["best"]) >= {"setting", "p_clean", "p_harm", "area_rate_m2_s"}
    assert list(record["best"]["setting"]) == SETTING_KEYS
    assert "from memory, unverified" in record["sources"]
    assert record["cautions"] == list(CAUTIONS)
    text = run("forecast", chest)
    assert text.out.startswith(run("forecast", chest, "--json").record["answer"].capitalize())
    assert "from memory, unverified" in text.out
    assert shows_cautions(text.out)
    assert narrow(text.out)


def test_a_forecast_that_declines_exits_with_one(run, engine):
    # Whatever the numbers say of a thick clear film and of a thin dark one, exit code and answer agree.
    for words in (("clear acrylic", "fresh", "2 mm"), ("varnish", "aged", "60 um")):
        coating, condition, thickness = words
        result = run(
            "forecast", "--coating", coating, "--coating-condition", condition, "--thickness", thickness,
            "--substrate", "maple", "--laser", "pulsed-100", "--json",
        )  # fmt: skip
        assert result.code == (1 if result.record["answer"] == "decline" else 0)
        assert (result.record["chance"] <= 0.2) == (result.code == 1)


def test_patch_grade_and_recipe_of_one_job(run, engine, chest):
    job = run("patch", chest, "--count", "3")
    assert (job.code, job.err) == (0, "")
    assert shows_cautions(job.out)
    assert narrow(job.out)
    steps = run("patch", chest, "--count", "3", "--json").record["patches"]
    assert len(steps) >= 1
    assert set(steps[0]) == {"setting", "p_clean", "p_harm", "because"}
    assert list(steps[0]["setting"]) == SETTING_KEYS
    commands = [line.strip() for line in job.out.splitlines() if "proofpatch grade" in line]
    assert len(commands) == len(steps)

    # The pasted command, its question marks filled in, writes that very step.
    log = chest.with_suffix(".patches.jsonl")
    before = b""
    for i, (command, step) in enumerate(zip(commands, steps, strict=True), 1):
        words = shlex.split(command.replace("--residue ?", "--residue partial").replace("--harm ?", "--harm none"))
        result = run(*words[1:], "--json")
        assert (result.code, result.err) == (0, "")
        assert result.record["written"] == str(log)
        assert result.record["patches"] == i
        after = log.read_bytes()
        assert after.startswith(before)
        before = after
        laid = read_log(log)[0][-1].setting
        for name, key in UNIT_KEYS.items():
            if key != "pattern":
                assert getattr(laid, name) == pytest.approx(step["setting"][key], rel=0.01), key
    assert "Written to" in run(*words[1:]).out
    assert run(*shlex.split(commands[0])[1:]).code == 2  # with the question marks

    found = run("recipe", chest, "--json")
    assert found.code == (0 if found.record["setting"] else 1)
    assert set(KEYS["recipe"].split()) <= set(found.record)


def test_a_grade_without_the_hand_speed_is_not_written(run, engine, chest):
    log = chest.with_suffix(".patches.jsonl")
    refused = run("grade", chest, *KNOBS[:6], "--residue", "trace", "--harm", "none")
    assert (refused.code, refused.out) == (2, "")
    assert refused.err.startswith("--travel-speed")
    assert not log.exists()
    timed = run(
        "grade", chest, *KNOBS[:6], "--seconds", "4 s", "--length", "100 mm", "--residue", "Trace", "--harm", "none"
    )
    assert timed.code == 0
    assert json.loads(log.read_text())["setting"]["travel_speed_m_s"] == pytest.approx(0.025)


def test_after_a_decline_nothing_asks_for_more_beam(run, engine, tmp_path):
    path = tmp_path / "table.toml"
    path.write_text(
        '[job]\nyear = 2015\n[surface]\nsubstrate = "oak"\ncondition = "new"\n'
        '[[layers]]\ncoating = "water-based varnish"\ncondition = "fresh"\n' + RECORDS
    )
    assert run("patch", path).out.startswith("The forecast is decline")
    assert run("patch", path, "--json").record["answer"] == "decline"
    found = run("recipe", path)
    assert "stop here" in found.out
    assert "Next:" not in found.out


def test_a_top_layer_that_decides_is_named(run, engine, tmp_path):
    path = tmp_path / "waxed.toml"
    path.write_text(
        '[surface]\nsubstrate = "oak"\ncondition = "aged"\n[[layers]]\ncoating = "wax"\n'
        '[[layers]]\ncoating = "varnish"\ncondition = "aged"\n'
    )
    record = run("forecast", path, "--json").record
    assert record["chance_without_top_layer"] > record["chance"] + 0.3
    assert "taken off by other means" in run("forecast", path).out


def test_a_torn_log_is_said_and_the_rest_is_kept(run, engine, chest):
    log = chest.with_suffix(".patches.jsonl")
    assert run("grade", chest, *KNOBS, "--residue", "trace", "--harm", "none").code == 0
    whole = log.read_bytes()
    torn = whole + whole[:100]
    log.write_bytes(torn)
    result = run("grade", chest, *KNOBS, "--passes", "2", "--residue", "partial", "--harm", "none", "--json")
    assert result.code == 0
    assert result.record["patches"] == 2
    assert result.err.strip() == f"Line 2 of {log.name} is torn and was passed over; the rest is kept."
    assert log.read_bytes().startswith(torn)
    assert len(read_log(log)[0]) == 2


def test_recipe_with_its_margins_and_hours(run, engine, easy):
    result = run("recipe", easy, "--json")
    assert (result.code, result.err) == (0, "")
    record = result.record
    assert set(KEYS["recipe"].split()) <= set(record)
    assert list(record["setting"]) == SETTING_KEYS
    assert set(record["margins"]) == {
        "average_power_W", "repetition_rate_Hz", "travel_speed_m_s", "sweep_width_m", "stand_off_m",
    }  # fmt: skip
    assert record["time_s"]["p10"] < record["time_s"]["p50"] < record["time_s"]["p90"]
    assert record["cautions"] == list(CAUTIONS)
    text = run("recipe", easy)
    flat = " ".join(text.out.split())
    assert text.out.startswith("Dial in ")
    assert "seconds per 100 mm" in flat or "second per 100 mm" in flat
    assert "Room before a limit is broken" in flat
    assert "Time at the piece" in flat
    assert "Not confirmed yet" in flat
    assert shows_cautions(text.out)
    assert narrow(text.out)


def test_no_recipe_is_an_answer_too(run, engine, chest):
    chest.write_text(chest.read_text(encoding="utf-8").replace('p_harm = "5 %"', "p_harm = 0"), encoding="utf-8")
    result = run("recipe", chest, "--json")
    assert (result.code, result.err) == (1, "")
    assert result.record["setting"] is None
    assert result.record["because"].startswith("None: ")
    text = run("recipe", chest)
    assert text.code == 1
    assert text.out.startswith("No recipe yet.")


def test_no_patch_inside_the_limits_is_an_answer_too(run, engine, chest):
    text = chest.read_text(encoding="utf-8").replace('p_harm = "5 %"', "p_harm = 0\np_harm_patch = 0")
    chest.write_text(text, encoding="utf-8")
    result = run("patch", chest, "--json")
    assert (result.code, result.record["patches"]) == (1, [])
    assert result.record["because"].startswith("No patch")
    assert run("patch", chest, "--count", "3").out.startswith("No patch")


def test_materials(run):
    record = run("materials", "--json").record
    assert len(record["coatings"]) >= 25
    assert len(record["substrates"]) >= 23
    assert narrow(run("materials").out)
    for name in ("varnish", "red oak", "Mild Steel"):
        one = run("materials", name, "--json").record
        assert one["values"]
        assert set(one["values"][0]) >= {"property", "value", "low", "high", "unit", "source", "status"}
        text = run("materials", name)
        flat = " ".join(text.out.split())
        memory = sum(1 for value in one["values"] if value["status"] == "memory")
        assert f"{len(one['values'])} values, {memory} of them from memory, unverified" in flat
        assert flat.count("from memory, unverified;") == memory
        assert narrow(text.out)
    lost = run("materials", "varnich")
    assert (lost.code, lost.out) == (2, "")
    assert "varnish" in lost.err


def test_lasers(run, tmp_path):
    record = run("lasers", "--json").record
    assert [entry["id"] for entry in record["lasers"]] == ["pulsed-100", "pulsed-300", "pulsed-500"]
    text = run("lasers", "pulsed-500")
    assert "full power from 20 kHz up" in text.out
    assert "invented" in text.out
    assert run("lasers", tmp_path).code == 2
    assert "pulsed-500" in run("lasers", "pulsed-9").err


def test_demo_passes_its_seed_on(run, monkeypatch):
    monkeypatch.setattr("proofpatch.demo.play", lambda seed, say: say(f"seed {seed}") or {"seed": seed})
    assert run("demo").out == f"seed {SEED}\n"
    assert run("demo", "--seed", "7", "--json").record == {"seed": 7}


def in_shell(*words, **options):
    """`python -m proofpatch.cli` in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "proofpatch.cli", *words], capture_output=True, timeout=120, check=False, **options
    )


def test_as_a_process_of_its_own():
    done = in_shell(*BENCH, "--spot-diameter", "0.9 mm", "--json")
    assert (done.returncode, done.stderr) == (0, b"")
    assert json.loads(done.stdout)["pulse_energy_J"] == pytest.approx(25e-3)
    bad = in_shell("bench", "--power", "500 parsec")
    assert (bad.returncode, bad.stdout) == (2, b"")
    assert bad.stderr.count(b"\n") == 1
    assert b"Traceback" not in bad.stderr
    # A reader that went away is no answer of no.
    reader, writer = os.pipe()
    os.close(reader)
    words = [sys.executable, "-m", "proofpatch.cli", *BENCH, "--spot-diameter", "0.9 mm"]
    gone = subprocess.run(words, stdout=writer, stderr=subprocess.PIPE, timeout=120, check=False)
    os.close(writer)
    assert (gone.returncode, gone.stderr) == (0, b"")
    # A terminal that knows only ASCII, and a name that is no text at all.
    plain = in_shell(*BENCH, "--spot-diameter", "0.9 mm", env=os.environ | {"PYTHONIOENCODING": "ascii"})
    assert (plain.returncode, plain.stderr) == (0, b"")
    bytes_ = in_shell("materials", b"\xff\xfe")
    assert (bytes_.returncode, bytes_.stdout) == (2, b"")


def test_the_everyday_name_and_the_id_give_the_same_answer(run, engine):
    by_name = run("materials", "varnish", "--json").record
    assert run("materials", by_name["id"], "--json").record == by_name
    assert not re.search(r"\bnan\b", json.dumps(by_name))


LAWFUL_EXTREMES = (
    ("[hand]\nspeed_spread = 0\nstand_off_spread = '1 nm'\n", 1e-2),
    ("[hand]\nspeed_spread = 1\nstand_off_spread = '100 mm'\nstarts = 'free'\n", 1e5),
    ("[limits]\np_clean = 0\np_harm = 0\np_harm_patch = 0\n", 150.0),
    ("[limits]\np_clean = 1\np_harm = 1\np_harm_patch = 1\n", 150.0),
)


@pytest.mark.parametrize(("tables", "power"), LAWFUL_EXTREMES)
def test_lawful_extremes_get_an_answer_without_a_warning(run, engine, tmp_path, tables, power):
    path = tmp_path / "job.toml"
    head = (
        '[job]\nyear = 2001\n[surface]\nsubstrate = "red oak"\n[[layers]]\ncoating = "varnish"\nthickness = "20 mm"\n'
    )
    path.write_text(head + tables, encoding="utf-8")
    setting = dict(zip(SETTING_KEYS, (power, 12500.0, 1e-7, 0.45e-3, 0.1, 10.0, 0.05, 1000, "sine"), strict=True))
    line = json.dumps({"setting": setting, "residue": "clean", "harm": "burnt"})
    path.with_suffix(".patches.jsonl").write_text(line + "\n", encoding="utf-8")
    for command in ("recipe", "patch"):
        result = run(command, path, "--json")
        assert (result.code in (0, 1), result.err) == (True, "")
        assert result.record["cautions"]
