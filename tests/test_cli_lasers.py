"""`proofpatch measure-laser` and the history in `proofpatch lasers`, in text and as JSON."""

import json
import math
import re
import shlex
import shutil
from pathlib import Path

import numpy as np
import pytest
from made_cli import Result, asked

import proofpatch as pp
from proofpatch.cli import Answer, cli
from proofpatch.cli_read import MEASURE, MEASURE_OPTIONS, OPTIONS
from proofpatch.cli_readings import read_measurement
from proofpatch.hazards import CAUTIONS
from proofpatch.physics.beam import threshold_radius
from proofpatch.records import bench_record, forecast_record
from proofpatch.shop.job import read_job

ROOT = Path(__file__).parent.parent
DOC = (ROOT / "docs" / "own-laser.md").read_text(encoding="utf-8")
SPOT = 0.42e-3  # of the simulated laser: 0.84 mm across; the file says 0.7 mm
JOB = '[job]\nlaser = "mine.toml"\n[surface]\nsubstrate = "mild steel"\n[[layers]]\ncoating = "rust"\n'


@pytest.fixture
def run(capsys, monkeypatch, tmp_path):
    """Runs `proofpatch` in a folder with a laser file of one's own, mine.toml."""
    shutil.copy(ROOT / "docs" / "own-laser.toml", tmp_path / "mine.toml")
    monkeypatch.chdir(tmp_path)
    return lambda *words: Result(*asked(capsys, *words))


@pytest.fixture
def log(tmp_path):
    return tmp_path / "mine.readings.jsonl"


def shows_cautions(text):
    return all(caution in " ".join(text.split()) for caution in CAUTIONS)


def mark(energy, spot=SPOT):
    fluence = 1.3 * 1e-3 / (math.pi * SPOT**2)
    return f"{energy * 1e3:.4g} mJ, {2e3 * float(threshold_radius(fluence, energy, spot, 0.7)):.3f} mm"


def marks():
    return [word for energy in 12e-3 / 1.5 ** np.arange(6) for word in ("--mark", mark(energy))]


POWER = ("--power-reading", "150 W, 132 W", "--date", "2026-03-02")


def test_without_readings_it_says_what_to_lay(run, tmp_path):
    result = run("measure-laser", "mine.toml")
    assert (result.code, result.err) == (0, "")
    # 12 mJ at 1 kHz is 12 W; 15 m/s at 1 kHz is 15 mm; Rayleigh range π 0.35²/(30 × 1064 nm) = 12.06 mm.
    assert "Power 12 W, 8 W, 5.33 W" in result.flat
    assert "15 mm apart, one pulse each" in result.flat
    assert "-24 mm, -12 mm, -6 mm, +6 mm, +12 mm, +24 mm" in result.flat
    assert shows_cautions(result.out)
    record = run("measure-laser", "mine.toml", "--json").record
    assert record["cautions"] == list(CAUTIONS)
    assert record["pulse_energies_J"][0] == pytest.approx(12e-3)
    assert {path.name for path in tmp_path.iterdir()} == {"mine.toml"}


def test_marks_are_kept_and_said_in_one_sentence(run, log):
    result = run("measure-laser", "mine.toml", "--material", "black card", "--date", "2026-03-02", *marks())
    assert (result.code, result.err) == (0, "")
    assert result.flat.startswith("Spot 0.84 mm across (0.8")
    assert (
        "from 6 marks on black card, 2026-03-02; the file says 0.7 mm. Forecasts with this laser now take spot 0.84 mm "
    )
    assert "instead of 0.7 mm" in result.flat
    assert "hold 9 times in 10" in result.flat
    assert f"Written to {log.name}." in result.out
    assert shows_cautions(result.out)
    entry = json.loads(log.read_text())
    assert (entry["date"], entry["material"], len(entry["marks"])) == ("2026-03-02", "black card", 6)
    assert run("bench", "--laser", "mine.toml", "--power", "100 W", "--rate", "20 kHz", "--width", "100 ns",
               "--json").record["setting"]["spot_radius_m"] == pytest.approx(SPOT, rel=2e-3)  # fmt: skip


def test_the_record_of_a_reading(run, log):
    record = run("measure-laser", "mine.toml", *POWER, "--json").record
    assert record["written"] == log.name
    (finding,) = record["findings"]
    assert finding["kind"] == "power"
    assert finding["power_factor"]["value"] == pytest.approx(0.88)
    assert finding["power_factor"]["low"] < 0.88 < finding["power_factor"]["high"]
    assert record["changed"] == {"power_factor": {"before": 1.0, "after": pytest.approx(0.88)}}
    assert record["because"].endswith("share of the dialled power that arrives 88 % instead of 100 %.")
    assert record["cautions"] == list(CAUTIONS)


def test_an_older_reading_is_kept_and_changes_nothing(run, log):
    run("measure-laser", "mine.toml", *POWER)
    result = run("measure-laser", "mine.toml", "--power-reading", "150 W, 150 W", "--date", "2026-02-02")
    assert "Forecasts take the same numbers as before." in result.flat
    assert len(log.read_text().splitlines()) == 2
    again = run("measure-laser", "mine.toml", *POWER)
    assert again.flat.startswith("88 % of the dialled power arrives")
    assert len(log.read_text().splitlines()) == 3


def test_a_built_in_laser_keeps_nothing(run, tmp_path):
    result = run("measure-laser", "pulsed-300", *POWER)
    assert result.code == 0
    assert "Not kept: a built-in laser has no file" in result.flat
    assert "Forecasts would take" in result.flat
    assert {path.name for path in tmp_path.iterdir()} == {"mine.toml"}


# √(1 + (z/z_R)²) with the file's 12.06 mm: 5 % at 4 mm, within ±0.03 mm of a 0.7 mm spot; √2 at 12 mm.
def test_the_five_minute_check(run, log):
    def lifted(lift, rayleigh=12.06e-3):
        spot = 0.35e-3
        there = spot * math.sqrt(1 + (lift / rayleigh) ** 2)
        fluence = 1.3 * 12e-3 / (math.pi * spot**2) / 15
        sizes = [2e3 * float(threshold_radius(fluence, 12e-3, w, 0.7)) for w in (spot, there)]
        return ("--mark", f"12 mJ, {sizes[0]:.3f} mm", "--lift", f"{lift * 1e3:g} mm, {sizes[1]:.3f} mm")

    unsure = run("measure-laser", "mine.toml", *lifted(1e-3))
    assert unsure.code == 1
    assert "within the reading error, so this cannot tell" in unsure.flat
    assert "Not kept: it tells nothing" in unsure.flat
    assert shows_cautions(unsure.out)
    assert not log.exists()
    agrees = run("measure-laser", "mine.toml", *lifted(12e-3))
    assert agrees.code == 0
    assert "agrees with the numbers so far" in agrees.flat
    assert "Forecasts take the same numbers as before" in agrees.flat
    faster = run("measure-laser", "mine.toml", *lifted(12e-3, 5e-3), "--json").record
    assert faster["findings"][0]["verdict"] == "grows faster"
    assert faster["changed"]["m2"]["after"] > 1.5 * faster["changed"]["m2"]["before"]
    assert len(log.read_text().splitlines()) == 2


def test_a_fall_is_said_with_what_to_do_and_the_history_shows_it(run):
    for month, watts in ((1, 150), (2, 149), (3, 131)):
        last = run("measure-laser", "mine.toml", "--power-reading", f"150 W, {watts} W", "--date", f"2026-0{month}-02")
    assert "down 13 % (10 % to 15 %) since 2 January 2026: clean or change the protective window" in last.flat
    shown = run("lasers", "mine.toml")
    assert (shown.code, shown.err) == (0, "")
    assert "down 13 %" in shown.flat
    assert shown.flat.index("2026-03-02") < shown.flat.index("2026-02-02") < shown.flat.index("2026-01-02")
    assert "Measured, and used in forecasts: - 87 % of the dialled power arrives" in shown.flat
    assert shows_cautions(shown.out)
    (record,) = run("lasers", "mine.toml", "--json").record["lasers"]
    assert [entry["date"] for entry in record["readings"]] == ["2026-01-02", "2026-02-02", "2026-03-02"]
    assert record["power_factor"] == pytest.approx(131 / 150)
    assert record["advice"]


def test_a_laser_nobody_measured_shows_as_before(run):
    assert "Measured" not in run("lasers", "mine.toml").out
    (record,) = run("lasers", "mine.toml", "--json").record["lasers"]
    assert (record["measured"], record["readings"], record["advice"]) == ([], [], [])
    assert "readings" not in run("lasers", "pulsed-300", "--json").record["lasers"][0]


def test_a_torn_reading_is_said(run, log):
    run("measure-laser", "mine.toml", *POWER)
    with log.open("ab") as file:
        file.write(b'{"date": "2026-03')
    for command in ("lasers", "measure-laser"):
        result = run(command, "mine.toml")
        assert (result.code, result.err.strip()) == (
            0, "Line 2 of mine.readings.jsonl is torn and was passed over; the rest is kept.",
        )  # fmt: skip
    assert run("measure-laser", "mine.toml", "--power-reading", "150 W, 150 W", "--date", "2026-03-03").code == 0
    assert len(log.read_bytes().splitlines()) == 3


# A spot measured larger thins the pulse: the very same setting is read with less fluence, and a measured factor with
# less power still; the forecast of a job file moves, and says from which measurement and which day.
def test_a_forecast_moves_with_the_newest_measurements(run, tmp_path):
    job = tmp_path / "job.toml"
    job.write_text(JOB, encoding="utf-8")

    def forecast():
        work = read_job(job)
        belief = pp.prior(work.surface, work.laser, work.hand, draws=64)
        return pp.forecast(belief, work.limits)

    before = forecast()
    run("measure-laser", "mine.toml", "--material", "black card", "--date", "2026-03-02", *marks())
    wider = forecast()
    assert wider.belief.laser.spot_radius == pytest.approx(SPOT, rel=2e-3)
    assert wider.settings[0].spot_radius == wider.belief.laser.spot_radius
    assert not np.allclose(before.p_clean, wider.p_clean)
    said = [line for line in forecast_record(wider)["assumptions"] if line.startswith("Laser as measured: ")]
    assert len(said) == 1
    assert "spot 0.84 mm" in said[0]
    assert "2026-03-02" in said[0]
    run("measure-laser", "mine.toml", *POWER)
    weaker = forecast()
    assert weaker.settings == wider.settings  # what is dialled stays dialled
    assert weaker.p_clean.sum() < wider.p_clean.sum()
    assert sum("88 % of the dialled power" in line for line in forecast_record(weaker)["assumptions"]) == 1
    assert not [line for line in forecast_record(before)["assumptions"] if "as measured" in line]


def test_bench_counts_the_power_that_arrives(run):
    words = ("bench", "--laser", "mine.toml", "--power", "100 W", "--rate", "20 kHz", "--width", "100 ns")
    before = run(*words, "--json").record
    run("measure-laser", "mine.toml", *POWER)
    after = run(*words, "--json").record
    for key in ("pulse_energy_J", "dose_J_m2", "peak_power_W", "peak_fluence_J_m2"):
        assert after[key] == pytest.approx(0.88 * before[key])
    assert after["setting"] == before["setting"]
    assert "88 % of the dialled power arrives" in " ".join(run(*words).out.split())
    setting = pp.Setting(100.0, 20e3, 1e-7, 0.35e-3, 0.08, 10.0, 0.05)
    assert bench_record(setting, 0.7) == bench_record(setting, 0.7, (), 1.0)


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("5 mJ, 0.62 mm", (5e-3, 0.62e-3)), ("5 mJ; 620 um", (5e-3, 0.62e-3)), ("5 mJ,0.62 mm", (5e-3, 0.62e-3)),
        ("5,5 mJ, 0,62 mm", (5.5e-3, 0.62e-3)), ("5 W/1 kHz, 0.62 mm", (5e-3, 0.62e-3)),
        ("5 W at 1 kHz; 0.62 mm", (5e-3, 0.62e-3)), ("1/2 mJ, 20 mil", (0.5e-3, 0.508e-3)), ("1 mJ, none", (1e-3, 0.0)),
    ],
)  # fmt: skip
def test_a_mark_as_people_write_it(text, numbers):
    nothing = {name: () if name in ("mark", "lift", "power_reading", "burn_card") else None for name in MEASURE}
    assert read_measurement(nothing | {"mark": (text,)}).marks[0] == pytest.approx(numbers)


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("5 mm, 12 mJ, 0.8 mm", (5e-3, 12e-3, 0.8e-3)), ("-5 mm; 12 W/1 kHz; 0.8 mm", (-5e-3, 12e-3, 0.8e-3)),
        ("+1/4 in, 12 mJ, 0.8 mm", (6.35e-3, 12e-3, 0.8e-3)), ("0 mm, 12 mJ, 0.8 mm", (0.0, 12e-3, 0.8e-3)),
        ("− 5 mm, 0.8 mm", (-5e-3, 10e-3, 0.8e-3)),
    ],
)  # fmt: skip
def test_a_lift_as_people_write_it(text, numbers):
    nothing = {name: () if name in ("mark", "lift", "power_reading", "burn_card") else None for name in MEASURE}
    given = nothing | {"mark": ("10 mJ, 0.7 mm",), "lift": (text,)}
    assert read_measurement(given).lifts[0] == pytest.approx(numbers)


LONG, RUBBISH = "x" * 10_000, "🪵½\u202e∞µ\u0301"
TEXTS = ["", "   ", LONG, RUBBISH, "\x00", "a\nb", "nan", "inf", "1e308", "5e-324", "-1", "5 kg"]
BAD = {
    "mark": [*TEXTS, "5 mJ", "5 mJ, 5 mJ", "5, 6", "0 mJ, 1 mm", "nan mJ, 1 mm", "5 mJ, -1 mm", "5 mJ, 1e308 mm",
             "5 J, 1 mm", "5 mJ, 1 mm, 2 mm", "5 W/0 kHz, 1 mm", "5 mJ, maybe", ";;", ", "],
    "lift": [*TEXTS, "5 mm", "5 mm, 12 mJ", "5 mm, 12 mJ, none", "5 km, 12 mJ, 1 mm", "nan mm, 12 mJ, 1 mm",
             "-, 1 mm, 1 mm", "5 mm, 12 mJ, 1 mm, 1 mm", "0, 12 mJ, 1 mm"],
    "power_reading": [*TEXTS, "150 W", "150 W, 15 W", "150 W, 500 W", "150 mJ, 140 mJ", "0 W, 0 W", "1e999 W, 1 W",
                      "5 kW, 4.9 kW", "150 W, inf W"],
    "burn_card": [*TEXTS, "5 mJ, none", "5 mJ"],
    "material": ["", "   ", LONG, "\x00", "a\nb", "x" * 200],
    "top_hat_share": [*(text for text in TEXTS if text != "5e-324"), "1.5", "7", "half", "5 mm"],
    "reading_error": [*TEXTS, "0.03", "0 mm", "nan mm", "1 m", "1e-30 mm"],
    "meter_error": [*TEXTS, "0", "80 %", "5 W"],
    "date": [*TEXTS, "02.03.2026", "2026-02-30", "9999-01-01", "1999-01-01", "20260302", "2026-03-02T10:00"],
}  # fmt: skip


@pytest.mark.parametrize("name", MEASURE)
def test_every_option_refuses_what_is_none(run, tmp_path, name):
    flag = OPTIONS[name][0]
    good = {"material": "card", "mark": None}
    for value in BAD[name]:
        words = ["--power-reading", "150 W, 141 W"] if name != "power_reading" else []
        if name == "burn_card":
            words += ["--material", good["material"]]
        result = run("measure-laser", "mine.toml", *words, flag, value)
        assert (result.code, result.out) == (2, ""), (value, result)
        sentences = len(re.findall(r"[.?!](?= [A-Z‘'\"]|$)", result.err.strip()))
        assert result.err.count("\n") == 1, (value, result.err)
        assert flag in result.err, (value, result.err)
        assert sentences <= 2, (value, result.err)
        assert len(result.err) < 500
        assert {path.name for path in tmp_path.iterdir()} == {"mine.toml"}, value


def test_every_option_is_one_of_the_command_and_of_the_docs():
    found = {p.name for p in cli.commands["measure-laser"].params if p.param_type_name == "option" and not p.is_flag}
    assert found == set(MEASURE) == set(BAD)
    assert set(MEASURE_OPTIONS.values()) == {OPTIONS[name][0] for name in MEASURE}
    for name in MEASURE:
        assert f"`{OPTIONS[name][0]}`" in DOC, name


@pytest.mark.parametrize(
    ("words", "field"),
    [
        (("mine.toml", "--date", "2026-03-02"), "--date"),
        (("mine.toml", "--material", "card"), "--material"),
        (("mine.toml", "--mark", "5 mJ, 0.6 mm"), "--mark"),
        (("mine.toml", "--lift", "5 mm, 0.6 mm"), "--lift"),
        (("mine.toml", "--lift", "5 mm, 5 mJ, 0.6 mm"), "--lift"),
        (("mine.toml", "--burn-card", "5 mJ, 0.6 mm"), "--material"),
        (("mine.toml", "--mark", "5 J, 0.6 mm", "--lift", "5 mm, 0.7 mm"), "--mark"),
        (("mine.toml", *POWER, "--date", "2026-03-02"), "--date"),
        (("nobody.toml",), "LASER"),
        (("pulsed-9",), "LASER"),
        ((RUBBISH,), "LASER"),
        ((), "LASER"),
    ],
)
def test_words_that_do_not_belong(run, tmp_path, words, field):
    for more in ((), ("--json",)):
        result = run("measure-laser", *words, *more)
        assert (result.code, result.out) == (2, "")
        assert field in result.err
        assert result.err.count("\n") == 1
    assert {path.name for path in tmp_path.iterdir()} == {"mine.toml"}


def test_a_bent_plot_is_refused_and_nothing_is_written(run, log):
    bent = [word for e, d in zip((1, 1.5, 2.3, 3.5, 5.2, 7.8, 12), (0.2, 0.3, 0.4, 0.5, 0.65, 0.9, 1.5), strict=True)
            for word in ("--mark", f"{e} mJ, {d} mm")]  # fmt: skip
    result = run("measure-laser", "mine.toml", *bent)
    assert (result.code, result.out) == (2, "")
    assert result.err.startswith("--mark: Read on ")
    assert "off the profile" in result.err
    assert "Leave out marks that heat" in result.err
    assert not log.exists()
    result = run("measure-laser", "mine.toml", "--top-hat-share", "0", *bent)
    assert (result.code, result.out) == (2, "")
    assert "bends up" in result.err
    assert not log.exists()


def test_a_log_that_lies_is_refused_before_anything_is_written(run, log):
    log.write_text('{"date": "2026-03-02", "power": [{"set_W": 150, "measured_W": 5}]}\n', encoding="utf-8")
    before = log.read_bytes()
    for words in (("measure-laser", "mine.toml", *POWER), ("lasers", "mine.toml"), ("measure-laser", "mine.toml")):
        result = run(*words)
        assert (result.code, result.out) == (2, "")
        assert "line 1 of mine.readings.jsonl" in result.err
    assert log.read_bytes() == before


# The how-to's commands, run as printed; the sentences it prints are what they answer.
def test_the_commands_of_the_docs_can_be_typed(run, capsys):
    blocks = re.findall(r"```sh\n(.*?)```", DOC, re.DOTALL)
    answers = re.findall(r"```text\n(.*?)```", DOC, re.DOTALL)
    commands = [c for block in blocks for c in block.replace("\\\n", " ").strip().splitlines() if "measure-laser" in c]
    assert len(commands) == len(answers) >= 3
    for command, answer in zip(commands, answers, strict=True):
        result = run(*shlex.split(command)[1:])
        assert (result.code, result.err) == (0, ""), command
        for part in answer.split("…"):
            assert " ".join(part.split()) in result.flat, command


def test_nothing_runs_past_the_reading(run, monkeypatch, log):
    # What cannot be written is no answer.
    def full(*_):
        raise Answer(2)

    monkeypatch.setattr("proofpatch.cli_lasers.append_reading", full)
    result = run("measure-laser", "mine.toml", *POWER)
    assert (result.code, result.out) == (2, "")
    assert not log.exists()
