"""Lasers as their owners know them."""

import dataclasses
import math
import tomllib
from dataclasses import dataclass
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import proofpatch.lasers as lasers
from proofpatch.errors import InputError
from proofpatch.lasers import laser, laser_from_toml, laser_ids
from proofpatch.sources import sources
from proofpatch.units import parse

BUILTIN = Path(lasers.__file__).with_name("builtin.toml")


@dataclass(frozen=True)
class Dial:
    average_power: float = 500.0
    repetition_rate: float = 20e3
    pulse_width: float = 200e-9
    spot_radius: float = 0.45e-3
    sweep_width: float = 0.1
    sweep_speed: float = 10.0
    travel_speed: float = 0.05
    passes: int = 1
    pattern: str = "line"


def test_the_contract():  # design.md §8
    assert laser_ids() == ("pulsed-100", "pulsed-300", "pulsed-500")
    for id, power, energy, spot in (("pulsed-100", 100, 1.5e-3, 0.25e-3), ("pulsed-300", 300, 12e-3, 0.7e-3)):
        machine = laser(id)
        assert machine.max_power == power
        assert machine.max_energy(100e-9) == pytest.approx(energy)
        assert 2 * machine.spot_radius == pytest.approx(spot)
    big = laser("pulsed-500")
    assert big.max_power == 500
    assert 2 * big.spot_radius == pytest.approx(0.9e-3)
    for width, energy in ((30, 4), (100, 12), (200, 25), (350, 25), (500, 25)):
        assert big.max_energy(width * 1e-9) == pytest.approx(energy * 1e-3)
    for id in laser_ids():
        machine = laser(id)
        assert machine.wavelength == pytest.approx(1064e-9)
        assert (machine.min_rate, machine.max_rate) == (1e3, 1e6)
        assert machine.top_hat_share == 0.7
        assert machine.pulse_widths == pytest.approx((30e-9, 500e-9))
        assert "invented" in machine.title
        assert machine.source in sources()


# starting-values.md: about 3-4 J/cm2 mean at full energy, Rayleigh range of the largest about 12 mm.
def test_beam_figures_are_those_of_the_notes():
    for id in laser_ids():
        machine = laser(id)
        assert 3.0e4 < machine.max_energy(500e-9) / (math.pi * machine.spot_radius**2) < 4.0e4
    assert laser("pulsed-500").rayleigh_range == pytest.approx(12e-3, rel=0.01)


# thermal-optical.md CV-3.6: w0 = 30 um, M2 = 1.6 gives zR = 1.6609 mm and a half angle of 18.06 mrad.
def test_caustic_matches_the_check_value():
    machine = dataclasses.replace(laser("pulsed-100"), spot_radius=30e-6, m2=1.6)
    assert machine.rayleigh_range == pytest.approx(1.6609e-3, abs=5e-8)
    assert machine.divergence == pytest.approx(18.06e-3, abs=5e-6)


def test_energy_follows_a_log_log_line():
    big = laser("pulsed-500")
    middle = math.sqrt(30e-9 * 100e-9)
    assert big.max_energy(middle) == pytest.approx(math.sqrt(4e-3 * 12e-3))
    widths = [30e-9 * (500 / 30) ** (i / 200) for i in range(200)]
    energies = [big.max_energy(width) for width in widths]
    assert energies == sorted(energies)


@pytest.mark.parametrize("width", [29e-9, 501e-9, 0.0, -1e-9, math.nan, math.inf, None, "100 ns", True])
def test_energy_is_never_extrapolated(width):
    with pytest.raises(InputError) as caught:
        laser("pulsed-500").max_energy(width)
    assert caught.value.field == "pulse_width"


def test_corner_rate():
    assert laser("pulsed-500").corner_rate(200e-9) == pytest.approx(20e3)
    assert laser("pulsed-500").corner_rate(100e-9) == pytest.approx(500 / 12e-3)


def test_a_setting_inside_passes():
    laser("pulsed-500").check(Dial())
    laser("pulsed-500").check(Dial(pattern="sine", repetition_rate=1e6, sweep_width=0.15))


@pytest.mark.parametrize(
    ("change", "field", "remedy"),
    [
        ({"repetition_rate": 2e6}, "repetition_rate", "The highest is 1 MHz."),
        ({"repetition_rate": 500.0}, "repetition_rate", "The lowest is 1 kHz."),
        ({"pulse_width": 10e-9}, "pulse_width", "The shortest is 30 ns."),
        ({"pulse_width": 1e-6}, "pulse_width", "The longest is 500 ns."),
        ({"average_power": 600.0}, "average_power", "The highest is 500 W."),
        ({"average_power": 0.0}, "average_power", "Give one up to 500 W."),
        ({"average_power": math.nan}, "average_power", "Give one up to 500 W."),
        ({"average_power": None}, "average_power", "Give one up to 500 W."),
        ({"sweep_width": 0.2}, "sweep_width", "The highest is 150 mm."),
        ({"sweep_width": 0.001}, "sweep_width", "The lowest is 10 mm."),
        ({"sweep_speed": 25.0}, "sweep_speed", "The highest is 20 m/s."),
        ({"sweep_speed": -1.0}, "sweep_speed", "Give one up to 20 m/s."),
        ({"pattern": "spiral"}, "pattern", "Choose line or sine."),
        ({"pattern": None}, "pattern", "Choose line or sine."),
        ({"pulse_width": 100e-9}, "repetition_rate", "Raise the rate to 41.7 kHz, or lower the power to 240 W."),
        ({"repetition_rate": 15e3}, "repetition_rate", "Raise the rate to 20 kHz, or lower the power to 375 W."),
    ],
)
def test_a_setting_outside_hears_the_nearest_inside(change, field, remedy):
    with pytest.raises(InputError) as caught:
        laser("pulsed-500").check(dataclasses.replace(Dial(), **change))
    assert caught.value.field == field
    assert caught.value.remedy == remedy


def test_where_no_rate_helps_only_the_power_is_named():
    weak = dataclasses.replace(laser("pulsed-100"), energy_limits=((30e-9, 5e-5), (500e-9, 5e-5)))
    with pytest.raises(InputError, match=r"Lower the power to 50 W\.$"):
        weak.check(Dial(average_power=100.0, repetition_rate=1e6, spot_radius=1.25e-4, sweep_width=0.04))


@given(
    st.sampled_from(["pulsed-100", "pulsed-300", "pulsed-500"]),
    st.floats(0.01, 1.0),
    st.floats(1e3, 1e6),
    st.floats(30e-9, 500e-9),
)
def test_the_offered_setting_is_allowed(id, share, rate, width):
    machine = laser(id)
    head = machine.handpiece
    dial = Dial(share * machine.max_power, rate, width, machine.spot_radius, head.sweep_width_default, 10.0)
    if dial.average_power / rate <= machine.max_energy(width):
        machine.check(dial)
        return
    with pytest.raises(InputError, match="Raise the rate") as caught:
        machine.check(dial)
    raised, lowered = caught.value.remedy.rstrip(".").split(", or")
    *_, number, unit = raised.split()
    machine.check(dataclasses.replace(dial, repetition_rate=parse(f"{number} {unit}", "frequency", "x")))
    *_, number, unit = lowered.split()
    machine.check(dataclasses.replace(dial, average_power=parse(f"{number} {unit}", "power", "x")))


@pytest.mark.parametrize("word", ["pulsed-900", "", None, 3, [], "x" * 999])
def test_an_unknown_laser_hears_the_known(word):
    with pytest.raises(InputError, match="pulsed-100, pulsed-300, pulsed-500"):
        laser(word)


OWN = BUILTIN.read_text(encoding="utf-8").split("[pulsed-500]")[1].replace("pulsed-500", "mine")


def write(tmp_path, text):
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_an_owners_laser_has_the_same_keys(tmp_path):
    mine = laser_from_toml(write(tmp_path, "[mine]" + OWN.replace('"0.9 mm"', '"0.6 mm"')))
    assert mine.id == "mine"
    assert mine.spot_radius == pytest.approx(0.3e-3)
    assert mine.handpiece == laser("pulsed-500").handpiece


@pytest.mark.parametrize(
    ("old", "new", "field", "why"),
    [
        ("max_power", "max_powr", "max_powr", "nearest known is 'max_power'"),
        ("sweep_width_min", "sweep_min", "sweep_min", "nearest known is 'sweep_width_min'"),
        ('"0.9 mm"', '"0.9"', "spot_diameter", "no unit"),
        ('"0.9 mm"', "0.9", "spot_diameter", "bare number"),
        ('"0.9 mm"', '"0.9 ns"', "spot_diameter", "not of length"),
        ("m2 = 50", "m2 = 0.5", "m2", "better than 1"),
        ("m2 = 50", "m2 = nan", "m2", "better than 1"),
        ("m2 = 50", 'm2 = "50"', "m2", "not a number"),
        ("m2 = 50", "m2 = true", "m2", "not a number"),
        ("m2 = 50\n", "", "m2", "does not say"),
        ("top_hat_share = 0.7", "top_hat_share = 7", "top_hat_share", "Write 7 % or 0.07"),
        ('"1000 kHz"', '"0.5 kHz"', "max_rate", "below the lowest"),
        ('["30 ns", "4 mJ"], ', '["150 ns", "4 mJ"], ', "energy_limits", "do not rise"),
        ('["30 ns", "4 mJ"]', '["30 ns"]', "energy_limits", "list of pairs"),
        ('["30 ns", "4 mJ"]', '["30 ns", "4 W"]', "energy_limits", "not of energy"),
        ('patterns = ["line", "sine"]', 'patterns = ["spiral"]', "patterns", "line, sine"),
        ('patterns = ["line", "sine"]', 'patterns = "line"', "patterns", "not a list"),
        ('sweep_width_min = "10 mm"', 'sweep_width_min = "120 mm"', "sweep_width_default", "out of order"),
        ('sweep_speed_max = "20 m/s"', 'sweep_speed_max = "5 m/s"', "sweep_speed_default", "out of order"),
        ("supply_voltage = 230", "supply_voltage = -1", "supply_voltage", "not above zero"),
        ('source = "invented"', 'source = ""', "source", "line of text"),
        ("m2 = 50", "m2 = ", "laser", "not valid TOML"),
    ],
)
def test_a_slip_in_an_owners_file_gets_a_sentence(tmp_path, old, new, field, why):
    assert old in OWN
    with pytest.raises(InputError, match=why) as caught:
        laser_from_toml(write(tmp_path, "[mine]" + OWN.replace(old, new)))
    assert caught.value.field == field


@pytest.mark.parametrize("text", ["", "x = 1", "[a]\n[b]\n", "[mine]\n", "[mine]\nhandpiece = 3\n", '["A b"]\n'])
def test_a_file_that_is_no_laser_gets_a_sentence(tmp_path, text):
    with pytest.raises(InputError):
        laser_from_toml(write(tmp_path, text))


def test_a_file_that_cannot_be_read_gets_a_sentence(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        laser_from_toml(tmp_path / "none.toml")
    with pytest.raises(InputError, match="cannot be read"):
        laser_from_toml(tmp_path)
    (tmp_path / "b.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="cannot be read"):
        laser_from_toml(tmp_path / "b.toml")


def test_no_derived_figure_is_typed():
    for entry in tomllib.loads(BUILTIN.read_text(encoding="utf-8")).values():
        assert not {"rayleigh_range", "divergence", "corner_rate"} & set(entry)


def test_the_example_of_the_documents_is_a_laser():
    example = Path(__file__).resolve().parents[2] / "docs" / "own-laser.toml"
    assert lasers.laser_from_toml(example).max_power == 300.0
