"""A value travels with its source."""

import dataclasses
import math

import pytest

from proofpatch.sources import STATUS, Datum, cite, read_table, sources

GOOD = Datum(1.5e4, 5e3, 9e4, "J/m²", "brygo-2006", "abstract", "published")


def test_a_datum_is_frozen_and_hashable():
    with pytest.raises(dataclasses.FrozenInstanceError):
        GOOD.value = 1.0
    assert hash(GOOD) == hash(dataclasses.replace(GOOD))


@pytest.mark.parametrize(
    "slip",
    [
        {"value": math.nan},
        {"value": math.inf},
        {"value": 1.0},
        {"value": 1e9},
        {"low": None},
        {"high": math.inf},
        {"low": math.nan},
        {"status": "read"},
        {"status": ""},
        {"source": "nobody"},
        {"locator": " "},
    ],
)
def test_a_slip_cannot_be_built(slip):
    with pytest.raises(ValueError, match=r"\w"):
        dataclasses.replace(GOOD, **slip)


@pytest.mark.parametrize(
    ("status", "line"),
    [
        ("published", "Brygo et al., Appl. Surf. Sci. 252 (2006) 2131"),
        ("computed", "computed from Brygo et al., Appl. Surf. Sci. 252 (2006) 2131"),
        ("common practice", "common practice, no source"),
        ("memory", "from memory, unverified"),
    ],
)
def test_the_interface_says_where_it_comes_from(status, line):
    assert set(STATUS) == {"published", "computed", "common practice", "memory"}
    assert cite(dataclasses.replace(GOOD, status=status)) == line


def test_every_source_has_one_citation():
    lines = [source.cite for source in sources().values()]
    assert len(set(lines)) == len(lines)
    assert all(source.id == key for key, source in sources().items())


HEAD = "thing,property,value,low,high,unit,source,locator,status\n"


def test_reads_a_table_into_si(tmp_path):
    table = tmp_path / "t.csv"
    table.write_text(
        HEAD + "film,threshold_fluence,1.5,0.5,9,J/cm2,start,a row,memory\nfilm,melts,300,,,C,crc,x,published\n"
    )
    first, second = read_table(table)
    assert dict(first.keys) == {"thing": "film", "property": "threshold_fluence"}
    assert (first.datum.value, first.datum.low, first.datum.high) == (1.5e4, 5e3, 9e4)
    assert (second.datum.value, second.datum.low, second.datum.unit) == (573.15, None, "K")


@pytest.mark.parametrize(
    "line",
    [
        "film,x,abc,,,1,start,a,memory",
        "film,x,1,2,3,1,start,a,memory",
        "film,x,1,,3,1,start,a,memory",
        "film,x,1,,,furlong,start,a,memory",
        "film,x,1,,,1,start,a,remembered",
        "film,x,1,,,1,start,a",
        "film,x,1,,,1,start,a,memory,more",
    ],
)
def test_a_slip_in_a_table_names_file_and_line(tmp_path, line):
    table = tmp_path / "t.csv"
    table.write_text(HEAD + line + "\n")
    with pytest.raises(ValueError, match=r"t\.csv, line 2"):
        read_table(table)


def test_a_missing_column_is_named(tmp_path):
    table = tmp_path / "t.csv"
    table.write_text("thing,value\nfilm,1\n")
    with pytest.raises(ValueError, match="unit, source, locator, status"):
        read_table(table)
