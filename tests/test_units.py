"""Quantities as people write them."""

import contextlib
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from proofpatch.errors import InputError
from proofpatch.units import KINDS, kind_named, parse, show, si_unit, to_si

# International inch 25.4 mm exactly; the rest follows by definition.
WRITTEN = [
    ("500 W", "power", 500),
    ("500w", "power", 500),
    ("0.5 kW", "power", 500),
    ("20kHz", "frequency", 20_000),
    ("20 000 Hz", "frequency", 20_000),
    ("1 MHz", "frequency", 1e6),
    ("100 ns", "time", 100e-9),
    ("0.1 µs", "time", 100e-9),
    ("0.1 μs", "time", 100e-9),
    ("0.1us", "time", 100e-9),
    ("90 seconds", "time", 90),
    ("1.5 h", "time", 5400),
    ("4 in", "length", 0.1016),
    ('4"', "length", 0.1016),
    ("1/2 in", "length", 0.0127),
    ("1 1/2 in", "length", 0.0381),
    ("1½ in", "length", 0.0381),
    ("5'", "length", 1.524),
    ("1,5 mm", "length", 0.0015),
    ("0,500 mm", "length", 0.0005),
    ("0.9 mm", "length", 0.0009),
    (".9 mm", "length", 0.0009),
    ("5 microns", "length", 5e-6),
    ("3 mil", "length", 76.2e-6),
    ("2 ft²", "area", 0.18580608),
    ("2 ft2", "area", 0.18580608),
    ("2 sq ft", "area", 0.18580608),
    ("2 sq. ft.", "area", 0.18580608),
    ("2 square feet", "area", 0.18580608),
    ("2 ft^2", "area", 0.18580608),
    ("12 in/min", "speed", 0.00508),
    ("12 inches per minute", "speed", 0.00508),
    ("12 ipm", "speed", 0.00508),
    ("50 mm/s", "speed", 0.05),
    ("50 mm / sec", "speed", 0.05),
    ("3 J/cm²", "fluence", 30_000),
    ("3 J/cm^2", "fluence", 30_000),
    ("3 J per sq cm", "fluence", 30_000),
    ("300 mJ/cm2", "fluence", 3_000),
    ("20 °C", "temperature", 293.15),
    ("20C", "temperature", 293.15),
    ("68 °F", "temperature", 293.15),
    ("68 degrees Fahrenheit", "temperature", 293.15),
    ("293.15 K", "temperature", 293.15),
    ("-10 °C", "temperature", 263.15),
    ("−10 °C", "temperature", 263.15),
    ("30°", "angle", math.pi / 6),
    ("0 deg", "angle", 0),
    ("2 mrad", "angle", 0.002),
    ("25 mJ", "energy", 0.025),
    ("25 mj", "energy", 0.025),
    ("0.95", "share", 0.95),
    ("95 %", "share", 0.95),
    ("95%", "share", 0.95),
    ("0,95", "share", 0.95),
    (0.95, "share", 0.95),
    (np.float64(0.95), "share", 0.95),
    (1, "share", 1),
    ("3", "count", 3),
    ("3 passes", "count", 3),
    (3, "count", 3),
    (np.int64(3), "count", 3),
    ("100 1/cm", "coefficient", 10_000),
    ("100 /cm", "coefficient", 10_000),
    ("100 per cm", "coefficient", 10_000),
    ("100 cm⁻¹", "coefficient", 10_000),
    ("7.2 m²/h", "area_rate", 0.002),
    ("7.2 m2 per hour", "area rate", 0.002),
    ("10 W/m²", "irradiance", 10),
    ("0 h", "duration", 0),
]


@pytest.mark.parametrize(("text", "kind", "value"), WRITTEN)
def test_reads_what_people_write(text, kind, value):
    assert parse(text, kind, "knob") == pytest.approx(value, rel=1e-12)


REFUSED = [
    ("500", "power", "no unit"),
    (500, "power", "bare number"),
    (500.0, "power", "bare number"),
    ("500 kHz", "power", "unit of a frequency, not of power"),
    ("5 m", "time", "unit of a length, not of time"),
    ("20°", "temperature", "unit of an angle, not of temperature"),
    ("5 foo", "power", "not known"),
    ("12 J/cm3", "fluence", "not known"),
    ("5 MW", "power", "too large"),
    ("nan", "power", "does not start with a number"),
    ("nan W", "power", "does not start with a number"),
    ("inf W", "power", "does not start with a number"),
    ("abc", "power", "does not start with a number"),
    ("٣ W", "power", "does not start with a number"),
    ("-5 W", "power", "negative"),
    ("0 W", "power", "zero"),
    ("5e-324 W", "power", "too small"),
    ("1e308 W", "power", "too large"),
    ("1e999 W", "power", "too large"),
    ("1" * 400 + " W", "power", "too large"),
    ("1" * 5000 + "/3 in", "length", "too large"),
    ("1/0 in", "length", "divides by zero"),
    ("", "power", "empty"),
    (" \t\n", "power", "empty"),
    (None, "power", "missing"),
    ([500], "power", "cannot|not something"),
    ({}, "power", "not something"),
    (True, "power", "not something"),
    (True, "share", "not something"),
    (True, "count", "not something"),
    (b"5 W", "power", "not something"),
    (1j, "count", "not something"),
    ("1,000 W", "power", "two ways.*1000 or 1.0"),
    ("1,250 W", "power", "two ways.*1250 or 1.25"),
    ("12,500", "count", "two ways"),
    ("1,000,000 W", "power", "more than one comma"),
    ("1.000,5 W", "power", "more than one comma"),
    ("100-200 W", "power", "more than one number"),
    ("100 - 200 W", "power", "more than one number"),
    ("100 to 200 W", "power", "more than one number"),
    ("95", "share", "Write 95 % or 0.95"),
    (95, "share", "Write 95 % or 0.95"),
    ("120 %", "share", "too large"),
    (float("nan"), "share", "not a number"),
    (float("inf"), "share", "too large"),
    (1e308, "share", "too large"),
    (-0.1, "share", "negative"),
    ("2.5", "count", "whole number"),
    (2.5, "count", "whole number"),
    (0, "count", "zero"),
    (-1, "count", "negative"),
    (10**400, "count", "too large"),
    (float("nan"), "count", "not a number"),
    ("3 mm", "count", "without the unit"),
    ("-300 °C", "temperature", "too small"),
    ("500 " + "x" * 5000, "power", "not known"),
    ("500\nW\x00", "power", "not known"),
]


@pytest.mark.parametrize(("text", "kind", "why"), REFUSED)
def test_refuses_with_one_clear_sentence(text, kind, why):
    with pytest.raises(InputError, match=why) as caught:
        parse(text, kind, "average_power")
    error = caught.value
    assert error.field == "average_power"
    assert "average power" in str(error)
    assert error.remedy.endswith((".", "?"))
    assert len(str(error)) < 260
    assert str(error).isprintable()


def test_a_caller_narrows_the_bounds_but_never_widens_them():
    with pytest.raises(InputError, match="between 20 mm/s and 100 mm/s"):
        parse("150 mm/s", "speed", "travel_speed", low=0.02, high=0.1)
    with pytest.raises(InputError, match="too large"):
        parse("1 MW", "power", "average_power", high=1e9)
    assert parse("100 mm/s", "speed", "travel_speed", low=0.02, high=0.1) == 0.1


@pytest.mark.parametrize("name", KINDS)
def test_every_kind_reads_its_own_example_and_bounds(name):
    kind = kind_named(name)
    assert kind.low < parse(kind.example, name, "x") < kind.high
    for bound in (kind.low, kind.high):
        if 0 < bound < 1e16:
            shown = show(bound, name)
            assert parse(shown, name, "x") == pytest.approx(bound, rel=5e-3, abs=0.6 * (name == "temperature"))


SHOWN = [
    (0.0009, "length", "0.9 mm", "35.4 mil"),
    (250e-6, "length", "0.25 mm", "9.84 mil"),
    (90e-6, "length", "90 µm", "3.54 mil"),
    (0.1, "length", "100 mm", "3.94 in"),
    (2.5, "length", "2.5 m", "8.2 ft"),
    (1064e-9, "length", "1.06 µm", "0.0419 mil"),
    (20_000, "frequency", "20 kHz", "20 kHz"),
    (41_667, "frequency", "41.7 kHz", "41.7 kHz"),
    (500, "power", "500 W", "500 W"),
    (999.7, "power", "1 kW", "1 kW"),
    (100e-9, "time", "100 ns", "100 ns"),
    (0.1, "time", "100 ms", "100 ms"),
    (5400, "time", "90 min", "90 min"),
    (9000, "time", "2.5 h", "2.5 h"),
    (15_719, "fluence", "1.57 J/cm²", "1.57 J/cm²"),
    (0.002, "area rate", "7.2 m²/h", "77.5 ft²/h"),
    (0.18580608, "area", "0.186 m²", "2 ft²"),
    (0.05, "speed", "50 mm/s", "1.97 in/s"),
    (0.00508, "speed", "5.08 mm/s", "12 in/min"),
    (10, "speed", "10 m/s", "32.8 ft/s"),
    (573.15, "temperature", "300 °C", "572 °F"),
    (0.956, "share", "95.6 %", "95.6 %"),
    (0, "share", "0 %", "0 %"),
    (3, "count", "3", "3"),
    (0.025, "energy", "25 mJ", "25 mJ"),
    (10_000, "coefficient", "100 /cm", "100 /cm"),
    (math.pi / 6, "angle", "30°", "30°"),
    (0.002, "angle", "2 mrad", "2 mrad"),
    (math.nan, "power", "not known", "not known"),
    (math.inf, "power", "without limit", "without limit"),
]


@pytest.mark.parametrize(("value", "kind", "metric", "us"), SHOWN)
def test_shows_what_people_read(value, kind, metric, us):
    assert show(value, kind) == metric
    assert show(value, kind, "us") == us


def test_an_unknown_system_is_refused():
    with pytest.raises(InputError, match="metric or us"):
        show(1.0, "length", "imperial")


# Logarithms, so that every decade of a kind is tried alike.
@given(st.sampled_from(sorted(KINDS)), st.floats(0.001, 0.999), st.sampled_from(["metric", "us"]))
def test_what_is_shown_can_be_typed_back(name, along, system):
    kind = kind_named(name)
    low, high = max(kind.low, 1e-6 * kind.high if kind.low == 0 else kind.low), kind.high
    value = low * (high / low) ** along
    if name == "count":
        value = float(round(value))
    assert parse(show(value, name, system), name, "x") == pytest.approx(
        value, rel=5.1e-3, abs=0.6 * (name == "temperature")
    )


@given(st.one_of(st.text(max_size=30), st.floats(), st.integers(), st.none(), st.lists(st.integers())))
def test_anything_else_is_an_input_error_or_within_bounds(text):
    for name, kind in KINDS.items():
        try:
            value = parse(text, name, "x")
        except InputError:
            continue
        assert kind.low * (1 - 1e-6) <= value <= kind.high * (1 + 1e-6)


@given(
    st.from_regex(
        r"[+-]?[0-9]{0,4}[.,/ ]?[0-9]{0,4}(e[+-]?[0-9]{1,3})? ?(W|mm|J/cm2|%|C|in|sq ft|/cm)?", fullmatch=True
    )
)
def test_near_misses_never_crash(text):
    for name in KINDS:
        with contextlib.suppress(InputError):
            assert math.isfinite(parse(text, name, "x"))


@pytest.mark.parametrize(
    ("value", "unit", "si", "si_name"),
    [
        (90, "um", 90e-6, "m"),
        (100, "1/cm", 1e4, "1/m"),
        (1.5, "J/cm2", 1.5e4, "J/m²"),
        (3, "MJ/m3", 3e6, "J/m³"),
        (1, "MJ/kg", 1e6, "J/kg"),
        (10, "ns", 1e-8, "s"),
        (300, "C", 573.15, "K"),
        (692.677, "K", 692.677, "K"),
        (141.2, "kJ/mol", 141.2e3, "J/mol"),
        (95, "%", 0.95, "1"),
        (0.18, "W/m/K", 0.18, "W/(m K)"),
    ],
)
def test_data_file_units(value, unit, si, si_name):
    assert to_si(value, unit) == pytest.approx(si, rel=1e-12)
    assert si_unit(unit) == si_name


def test_a_slip_in_a_data_file_unit_is_loud():
    with pytest.raises(ValueError, match="none of"):
        to_si(1.0, "furlong")


def test_the_ends_of_a_range_are_in_one_unit():
    assert [show(end, "area", like=0.11) for end in (0.0794, 0.152)] == ["0.0794 m²", "0.152 m²"]
    assert [show(end, "area", "us", like=1.0) for end in (0.05, 1.2)] == ["0.538 ft²", "12.9 ft²"]
