"""Evidence to probabilities: published texts, the decision key, and what probabilities have to obey.

published.csv was written from the texts it names, without sight of the likelihood table; the first blind run had the
right class first in 29 of its 40 cases. The table was then mended where a text was clearer than it, so the cases are no
longer independent of it.
"""

import contextlib
import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from proofpatch import InputError
from proofpatch.materials import coating_ids, substrate_ids
from proofpatch.survey import identify, read_survey, split_item
from proofpatch.survey.evidence import HISTORY, TESTS
from proofpatch.survey.finishes import cells, finishes, likelihood, names
from proofpatch.survey.identify import prior

PUBLISHED = list(csv.DictReader(Path(__file__).with_name("published.csv").read_text(encoding="utf-8").splitlines()))
CONTEXT = {"kind", "substrate", "use", "year", "refinished", "colour"}


def found(*items):
    return identify(read_survey(map(split_item, items)))


def share(identity, ids):
    return sum(identity.coatings[key] for key in ids)


def first(identity, ids):
    """True where the named class is likelier than any other coating."""
    rest = [p for key, p in identity.coatings.items() if key not in ids]
    return share(identity, ids) > max(rest)


@pytest.mark.parametrize("case", PUBLISHED, ids=lambda case: case["case"])
def test_published_texts_put_their_class_first(case):
    assert first(found(*case["evidence"].split("; ")), case["coatings"].split("/"))


def test_leaving_one_test_out_of_the_published_sets():
    kept = asked = 0
    for case in PUBLISHED:
        items = case["evidence"].split("; ")
        tests = [item for item in items if item.split("=")[0] not in CONTEXT]
        for left_out in tests if len(tests) > 1 else ():
            identity = found(*(item for item in items if item != left_out))
            ids = case["coatings"].split("/")
            kept += first(identity, ids)
            # The class never drops out of sight, whichever test is missing.
            assert share(identity, ids) > 0.02, (case["case"], left_out)
            asked += 1
    assert asked > 40
    assert kept / asked > 0.6


# Decision key of the trade-practice reference, section 1.4.
@pytest.mark.parametrize(
    ("items", "ids"),
    [
        (["kind=none", "linseed-drop=soaks in", "substrate=oak"], {"oil-stain", "wax", "waterborne-stain"}),
        (["mineral-spirits=dissolves", "sheen=flat", "substrate=oak"], {"wax"}),
        (["kind=clear film", "alcohol=dissolves"], {"shellac"}),
        (["kind=clear film", "alcohol=gummy"], {"shellac", "waterborne-clear", "nitrocellulose-lacquer"}),
        (["kind=clear film", "alcohol=none", "acetone=dissolves in 25 s"], {"nitrocellulose-lacquer"}),
        (["kind=clear film", "alcohol=none", "lacquer-thinner=dissolves in 20 s"], {"nitrocellulose-lacquer"}),
        (["kind=clear film", "lacquer-thinner=gummy", "xylene=gummy", "year=2001"], {"waterborne-clear"}),
        (["kind=clear film", "lacquer-thinner=gummy", "alcohol=none", "year=1955"], {"nitrocellulose-lacquer"}),
        (["kind=clear film", "alcohol=none", "acetone=none", "lacquer-thinner=none"], {"polyurethane-2k", "epoxy"}),
        (["kind=clear film", "alcohol=none", "acetone=wrinkles after 2 min"], {"oil-varnish", "alkyd-varnish"}),
        (["kind=paint", "alcohol=colour on cloth", "substrate=pine"], {"latex-paint"}),
        (["kind=paint", "alcohol=none", "acetone=none", "lacquer-thinner=none", "ammonia=dissolves"], {"casein-paint"}),
    ],
)  # fmt: skip
def test_the_decision_key(items, ids):
    assert first(found(*items), ids)


# Facts of the trade: alcohol of about 90 % leaves an oil-based film alone and turns a water-based one gummy.
def test_alcohol_tells_oil_from_water_and_one_swab_is_no_proof():
    film = ("kind=clear film", "substrate=oak")
    gummy, nothing = (share(found(*film, f"alcohol={said}"), {"waterborne-clear"}) for said in ("gummy in 8 s", "none"))
    assert gummy > 3 * nothing
    once = found(*film, "alcohol=dissolves")
    assert any("no proof" in line for line in once.assumed)
    twice = found(*film, "alcohol@top=dissolves", "alcohol@leg=dissolves")
    assert once.coatings["shellac"] < twice.coatings["shellac"]
    assert not any("no proof" in line for line in twice.assumed)


def test_two_tests_of_the_same_chemistry_are_not_two_facts():
    alone = np.log(likelihood("acetone", "dissolves")).min()
    assert TESTS["acetone"].share == TESTS["lacquer-thinner"].share == 0.75
    assert np.exp(alone) == pytest.approx(1 / 10)
    one, both = found("acetone=dissolves"), found("acetone=dissolves", "lacquer-thinner=dissolves")

    def odds(identity):
        return identity.finishes["nitrocellulose"] / identity.finishes["casein-paint"]

    base = odds(found())
    assert odds(both) / base == pytest.approx((odds(one) / base) ** 2, rel=0.3)
    assert odds(both) / base < 10**1.51


@pytest.mark.parametrize(
    ("items", "weaker"),
    [
        (["alcohol=none, 3 min"], ["alcohol=none, 20 s"]),
        (["alcohol=dissolves", "cleaned=yes"], ["alcohol=dissolves", "cleaned=no"]),
        (["acetone=dissolves in 20 s"], ["acetone=dissolves in 90 s"]),
    ],
)
def test_a_hasty_or_dirty_test_tells_less(items, weaker):
    sure, doubtful = found("kind=clear film", *items), found("kind=clear film", *weaker)
    assert max(sure.finishes.values()) > max(doubtful.finishes.values())


def test_aged_shellac_can_refuse_a_swab():
    old, young = (found("kind=clear film", "refinished=no", f"year={year}", "alcohol=none") for year in (1900, 2000))
    base_old, base_young = (found("kind=clear film", "refinished=no", f"year={year}") for year in (1900, 2000))
    assert old.coatings["shellac"] / base_old.coatings["shellac"] > 0.45
    assert young.coatings["shellac"] / base_young.coatings["shellac"] < 0.3


def test_a_date_counts_unless_it_was_refinished():
    early, late, anew = (
        found("kind=clear film", "substrate=oak", *more)
        for more in (["year=1890", "refinished=no"], ["year=1995", "refinished=no"], ["year=1890", "refinished=yes"])
    )
    assert share(early, {"polyurethane-2k"}) < 0.3 * share(late, {"polyurethane-2k"})
    assert share(anew, {"polyurethane-2k"}) == pytest.approx(
        share(found("kind=clear film", "substrate=oak"), {"polyurethane-2k"})
    )
    assert early.coatings["shellac"] > late.coatings["shellac"]


def test_contradictions_are_said():
    odd = found("kind=clear film", "uv=orange", "alcohol=none", "acetone=none", "substrate=oak")
    assert any("uv (orange) speaks for shellac" in line for line in odd.doubts)
    assert found("kind=clear film", "uv=orange", "alcohol=dissolves", "substrate=oak").doubts == ()
    torn = found("alcohol@top=dissolves", "alcohol@leg=none", "kind=clear film")
    assert any("top: dissolves" in line and "leg: none" in line for line in torn.doubts)
    # Kept apart: neither place's reading is multiplied into the other's.
    apart = [found("kind=clear film", f"alcohol={said}").coatings["shellac"] for said in ("dissolves", "none")]
    assert torn.coatings["shellac"] == pytest.approx(np.mean(apart), rel=0.02)
    rare = found("kind=rust", "substrate=oak", "alcohol=dissolves")
    assert any("nothing this table lists" in line or "do not all fit" in line for line in rare.doubts)


def test_the_ground_is_inferred_where_it_is_not_named():
    iron = found("magnet=pulls")
    assert sum(iron.substrates[key] for key in ("mild-steel", "tool-steel", "cast-iron", "galvanised-steel")) > 0.5
    assert found("fizz=vigorous", "substrate=stone").ground in ("limestone", "marble")
    assert found("substrate=red oak").substrates == {"oak": 1.0}
    assert set(found("substrate=metal").substrates) < set(substrate_ids())


READINGS = st.lists(
    st.sampled_from([(name, value) for name, test in TESTS.items() for value in test.values]),
    max_size=6,
    unique_by=lambda pair: pair[0],
)
YEARS = st.sampled_from([(), ("year=1850",), ("year=1930", "refinished=no"), ("year=2010",)])


@settings(max_examples=80, deadline=None)
@given(READINGS, YEARS, st.sampled_from([*substrate_ids(), "wood", "metal", "unknown"]))
def test_probabilities_are_probabilities(readings, year, ground):
    identity = found(*(f"{name}={value}" for name, value in readings), *year, f"substrate={ground}")
    for table in (identity.finishes, identity.coatings, identity.substrates, identity.colours):
        assert sum(table.values()) == pytest.approx(1.0)
        assert min(table.values()) >= 0
    assert set(identity.coatings) <= set(coating_ids())
    assert identity.joint.sum() == pytest.approx(1.0)
    assert 0 <= identity.elsewhere <= 1


@settings(max_examples=80, deadline=None)
@given(READINGS, st.sampled_from([name for name, test in TESTS.items() if test.values]), st.integers(0, 31), YEARS)
def test_a_reading_that_suits_a_finish_best_never_lowers_it(readings, test, which, year):
    readings = [pair for pair in readings if pair[0] != test]
    name = list(finishes())[which]
    told = {value: likelihood(test, value)[:, which].max() for value in TESTS[test].values}
    value = max(told, key=told.get)
    if told[value] < 1.0:
        return  # no answer of this test suits it best
    words = [f"{key}={said}" for key, said in readings]
    before, after = found(*words, *year), found(*words, *year, f"{test}={value}")
    if test in ("magnet", "fizz", "copper-sulphate"):
        return  # speaks of the ground
    assert after.finishes[name] >= before.finishes[name] * (1 - 1e-9)


def test_the_tables_are_whole():
    for (name, test), cell in cells("reactions.csv").items():
        assert name in finishes()
        assert sum(cell.shares.values()) == pytest.approx(1.0), (name, test)
        assert set(cell.shares) == set(TESTS[test].values)
    assert {finish.coating for finish in finishes().values()} - {""} == set(coating_ids())
    assert prior(read_survey([])).shape == (len(substrate_ids()), len(names()))
    # How far one answer may move the odds: weak 2, moderate 4, strong 10, decisive 20.
    for name, test in TESTS.items():
        for value in test.values:
            assert likelihood(name, value).min() >= 1 / test.stronger.get(value, test.strength) - 1e-12


@pytest.mark.parametrize(
    ("item", "hint"),
    [
        ("alcohol", "Write alcohol=none"), ("=none", "Write"), ("alcohol=", "Write"), ("alcool=none", "alcohol"),
        ("alcohol=explodes", "Known here"), ("alcohol=none, 3 parsecs", "2 h"), ("year=19O4", "earliest"),
        ("year=3000", "year"), ("substrate=marzipan", "substrate"), ("layers=0", "layers=2"), ("layers=1.5", "layers"),
        ("cleaned=maybe", "yes, no"), ("moisture=200 %", "between"), ("thickness=3 m", "between"),
        ("texture=rough", "textured"), ("laboratory=marzipan", "Known here"), ("year@leg=1900", "whole piece"),
        ("use=" + "x" * 100, "80 letters"), ("condition=haunted", "tinted"), ("alcohol=none, -3 s", ""),
    ],
)  # fmt: skip
def test_findings_that_cannot_be_read_say_what_to_write(item, hint):
    with pytest.raises(InputError) as error:
        found(item)
    assert hint in str(error.value)
    assert "\n" not in str(error.value)
    assert len(str(error.value)) < 700


def test_a_finding_given_twice_asks_for_the_place():
    with pytest.raises(InputError, match="alcohol@leg"):
        found("alcohol=none", "alcohol=gummy")
    assert len(read_survey([("use", "door"), ("use", "barn")]).uses) == 2


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from([*TESTS, *HISTORY, "", "\x00", "alcohol@", "@"]),
    st.one_of(st.text(max_size=90), st.integers(), st.none(), st.booleans(), st.floats()),
)
def test_junk_is_read_or_refused_and_nothing_else(name, value):
    with contextlib.suppress(InputError):
        identify(read_survey([(name, value)]))
