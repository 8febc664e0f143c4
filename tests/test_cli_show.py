"""The text of the commands: figures as a panel takes them, chances that never read as certain, lines that fit."""

import dataclasses
import shlex

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import proofpatch as pp
from proofpatch import cli_show
from proofpatch.lasers import laser_ids
from proofpatch.learn.forecast import envelope
from proofpatch.shop.log import setting_to
from proofpatch.units import parse

LASER = pp.laser("pulsed-500")


@pytest.mark.parametrize(
    ("p", "words"),
    [(0, "under 0.1 %"), (0.0004, "under 0.1 %"), (0.0123, "1.2 %"), (0.05, "5 %"), (0.5, "50 %"), (0.987, "98.7 %"),
     (0.9996, "over 99.9 %"), (1, "over 99.9 %")],
)  # fmt: skip
def test_a_chance_never_reads_as_certain(p, words):
    assert cli_show.chance(p) == words


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=400))
def test_lines_fit_and_nothing_is_lost(text):
    lines = cli_show.wrapped(text, "  ", "  ")
    assert "".join("".join(lines).split()) == "".join(text.replace("\u00a0", " ").split())
    assert all(len(line) <= cli_show.WIDTH or " " not in line.strip() for line in lines)


def test_a_figure_stays_with_its_unit():
    text = "x " * 46 + "at 500 W and 20 kHz"
    assert not any(line.strip().startswith(("W", "kHz")) for line in cli_show.wrapped(text))


def dialled(command):
    """The setting a grade command names, read as the command line reads it."""
    from proofpatch.cli_read import OPTIONS, read_setting

    words = shlex.split(command)
    flags = dict(zip(words[3::2], words[4::2], strict=True))
    names = {flag: name for name, (flag, _) in OPTIONS.items()}
    return read_setting({names[flag]: value for flag, value in flags.items()}, LASER)[0]


# Settings of the window and between: what is printed to be typed is within the laser, and the same on a panel.
@settings(max_examples=150, deadline=None)
@given(st.data())
def test_the_printed_command_names_a_setting_the_laser_can_do(data):
    setting = data.draw(st.sampled_from(envelope(LASER)))
    rate = min(setting.repetition_rate * data.draw(st.floats(1, 3)), LASER.max_rate)
    power = min(LASER.max_power, rate * LASER.max_energy(setting.pulse_width)) * data.draw(st.floats(0.05, 1))
    setting = setting.with_(average_power=power, repetition_rate=rate, passes=data.draw(st.integers(1, 20)))
    LASER.check(setting)
    typed = dialled(cli_show.grade_command(setting, LASER, "a job.toml"))
    LASER.check(typed)
    for knob, value in dataclasses.asdict(setting).items():
        assert getattr(typed, knob) == (value if isinstance(value, (str, int)) else pytest.approx(value, rel=6e-3)), (
            knob
        )


def test_only_knobs_that_differ_from_the_defaults_are_printed(at_work):
    setting = at_work(passes=1, travel_speed=0.05)
    command = cli_show.grade_command(setting, LASER, "chest.toml")
    assert command == (
        'proofpatch grade chest.toml --power "250 W" --rate "20 kHz" --width "200 ns" --residue ? --harm ?'
    )
    other = cli_show.grade_command(setting.with_(sweep_width=0.08, passes=3), LASER, "my chest.toml")
    assert "grade 'my chest.toml'" in other
    assert '--sweep-width "80 mm" --passes 3' in other


def test_a_setting_in_plain_words(at_work):
    words = cli_show.setting_words(setting_to(at_work(passes=1, travel_speed=0.1)))
    assert words == (
        "250 W, 20 kHz, 200 ns; sweep 100 mm wide at 10 m/s; spot 0.9 mm; hand 100 mm/s, that is 1 second per 100 mm; "
        "1 pass"
    )
    assert "4 passes" in cli_show.setting_words(setting_to(at_work()))
    assert "sine pattern" in cli_show.setting_words(setting_to(at_work().with_(pattern="sine")))


def test_margins_never_promise_what_the_laser_cannot_do(at_work):
    record = {
        "setting": setting_to(at_work()),
        "margins": {
            "average_power_W": [100.0, 900.0], "repetition_rate_Hz": [20e3, 20e3], "travel_speed_m_s": [0.03, 0.09],
            "sweep_width_m": [0.05, 0.4], "stand_off_m": [-6e-3, 6e-3],
        },
    }  # fmt: skip
    lines = cli_show.margin_words(record, LASER)
    assert lines == [
        "power: 100 W to 500 W",
        "repetition rate: none either way that was tried; hold it",
        "hand speed: 30 mm/s to 90 mm/s",
        "sweep width: 50 mm to 150 mm",
        "stand-off: up to 6 mm nearer or farther than focus",
    ]
    record["margins"] = {"stand_off_m": [0.0, 0.0]}
    assert cli_show.margin_words(record, LASER) == ["stand-off: none: hold it in focus"]


@pytest.mark.parametrize("name", laser_ids())
def test_a_laser_shows_the_rate_its_full_power_starts_at(name):
    laser = pp.laser(name)
    text = " ".join(cli_show.laser_lines(laser))
    for width, energy in laser.energy_limits:
        assert cli_show.show(width, "time") in text
        corner = parse(
            text.split(cli_show.show(width, "time"))[1].split("full power from ")[1].split(" up")[0], "frequency", "x"
        )
        assert corner == pytest.approx(max(laser.max_power / energy, laser.min_rate), rel=5e-3)
