"""Confirmed pieces: the closed form, what they may never do, and whether they help where the table is wrong."""

import functools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from proofpatch.materials import substrate_ids
from proofpatch.survey import identify, read_survey
from proofpatch.survey.clear import stops
from proofpatch.survey.decide import NO, TAKE, TEST, decide
from proofpatch.survey.evidence import TESTS, Reading, Survey
from proofpatch.survey.finishes import answers, finishes, hazardous, names
from proofpatch.survey.identify import prior
from proofpatch.survey.moved import moves, rows_of, summed
from proofpatch.survey.refit import NONE, WEIGHT, Counts, held, shrunk, stricter
from proofpatch.survey.stop import Lead
from proofpatch.survey.suspicions import CELLULOSE, RULES, hazards

SWABS = [key for key, one in TESTS.items() if one.values]
STRICT = (TAKE, TEST, NO)


# Gelman et al., Bayesian Data Analysis, 3rd ed. (2013), §3.4 (from memory, unverified): under a Dirichlet prior α and
# counts y the mean of share j is (α_j + y_j) / (Σα + Σy). Here by sampling that posterior.
def test_a_share_is_the_mean_of_the_dirichlet_posterior():
    table = np.array([0.7, 0.2, 0.1])
    counts = np.array([3.0, 9.0, 4.0])
    drawn = np.random.default_rng(4).dirichlet(WEIGHT * table + counts, 200_000).mean(axis=0)
    found = [shrunk(p, n, counts.sum()) for p, n in zip(table, counts, strict=True)]
    assert found == pytest.approx(drawn, abs=1e-3)
    assert sum(found) == pytest.approx(1.0)


def test_a_finish_of_which_no_piece_is_confirmed_stays_as_the_table_has_it():
    seen = Counts((("shellac", "alcohol", "none", 6.0), ("shellac", "alcohol", "gummy", 2.0)), 8)
    before = {value: answers("shellac", "alcohol", value) for value in TESTS["alcohol"].values}
    for value, p in before.items():
        n = {"none": 6.0, "gummy": 2.0}.get(value, 0.0)
        assert answers("shellac", "alcohol", value, seen) == pytest.approx((WEIGHT * p + n) / (WEIGHT + 8.0))
        assert answers("oil-varnish", "alcohol", value, seen) == answers("oil-varnish", "alcohol", value)
    first = moves(seen)[0]
    assert (first.finish, first.test, first.pieces) == ("shellac", "alcohol", 8.0)
    assert first.said.startswith("8 confirmed pieces of shellac")


# The least divergence from the refit under the floors, by SciPy's SLSQP as a second way to it.
@pytest.mark.parametrize("seed", range(6))
def test_the_held_chances_are_the_nearest_that_keep_the_floors(seed):
    random = np.random.default_rng(seed)
    table, refit = random.dirichlet(np.ones(6)), random.dirichlet(np.ones(6))
    bites = random.random(6) < 0.5
    found = held(table[None], refit[None], bites)[0]
    nearest = minimize(
        lambda q: float(np.sum(q * np.log(q / refit))), table,
        bounds=[(max(p if b else 0.0, 1e-12), 1.0) for p, b in zip(table, bites, strict=True)],
        constraints={"type": "eq", "fun": lambda q: q.sum() - 1.0}, options={"ftol": 1e-14, "maxiter": 500},
    )  # fmt: skip
    assert nearest.success
    assert found == pytest.approx(nearest.x, abs=1e-5)


def test_whatever_a_rule_of_the_stops_reads_is_held():
    marked = dict(zip(names(), hazardous(), strict=True))
    for key in (*CELLULOSE, "urushi", "plastic-foil", "lead-white-paint", "latex-paint", "alkyd-paint", "unlisted"):
        assert marked[key], key
    for about in hazards().values():
        assert all(marked[key] for key in about.contradicted_by)
        assert all(marked[key] for key, one in finishes().items() if one.coating in about.coatings)
    assert not marked["shellac"]
    assert not all(hazardous())


readings = st.lists(
    st.sampled_from(SWABS).flatmap(lambda test: st.tuples(st.just(test), st.sampled_from(TESTS[test].values))),
    min_size=1, max_size=5, unique_by=lambda one: one[0],
)  # fmt: skip
counted = st.lists(
    st.sampled_from(SWABS).flatmap(lambda test: st.tuples(
        st.sampled_from(list(finishes())), st.just(test), st.sampled_from(TESTS[test].values), st.floats(0.5, 500.0),
    )), min_size=1, max_size=12,
)  # fmt: skip
history = st.fixed_dictionaries({}, optional={
    "year": st.sampled_from(["1905", "1950", "2015"]), "substrate": st.sampled_from(["wood", "oak", "mild-steel"]),
    "refinished": st.just("no"), "use": st.sampled_from(["wall", "boat", "aircraft panel"]),
})  # fmt: skip
LEAD = st.sampled_from([None, Lead(status="negative", method="laboratory", date="2020-03-01")])


@settings(max_examples=60, deadline=None)
@given(readings, history, counted, LEAD)
def test_a_refit_lowers_nothing_hazardous_and_opens_no_stop(read, about, rows, lead):
    survey = read_survey([*about.items(), *read])
    # The confirmed pieces answered as this one reads, so that they bear on it.
    seen = Counts(tuple((finish, *read[n % len(read)], n_) for n, (finish, _, _, n_) in enumerate(rows)), len(rows))
    table, refit = identify(survey), identify(survey, seen)
    assert refit.joint.sum() == pytest.approx(1.0)
    assert refit.joint.sum(axis=1) == pytest.approx(table.joint.sum(axis=1))
    bites = hazardous()
    assert (refit.joint[:, bites] >= table.joint[:, bites] - 1e-15).all()
    for key in [one.coating for one, mark in zip(finishes().values(), bites, strict=False) if mark and one.coating]:
        assert refit.coatings[key] >= table.coatings[key] - 1e-12
    assert refit.elsewhere >= table.elsewhere - 1e-12
    was, now = stops(survey, table, lead), stricter(stops(survey, table, lead), stops(survey, refit, lead))
    assert {(one.hazard, one.never) for one in was if one.open} <= {(one.hazard, one.never) for one in now if one.open}
    assert {one.hazard for one in was} <= {one.hazard for one in now} <= set(RULES)
    assert bool(refit.doubts) >= bool(table.doubts)


def test_a_negative_lead_record_stays_contradicted_where_the_favourite_changed():
    survey = read_survey([("kind", "paint"), ("substrate", "pine"), ("year", "1905"), ("refinished", "no"),
                          ("colour", "white"), ("acetone", "none"), ("lacquer-thinner", "gummy"),
                          ("crazing", "alligator"), ("uv", "none")])  # fmt: skip
    lead = Lead(status="negative", method="laboratory", date="2020-03-01")
    seen = Counts(tuple(("alkyd-paint", one.test, one.value, 300.0) for one in survey.readings), 300)
    table, refit = identify(survey), identify(survey, seen)
    assert (table.favourite, refit.favourite) == ("lead-white-paint", "alkyd-paint")
    assert refit.finishes["lead-white-paint"] == pytest.approx(table.finishes["lead-white-paint"])
    opened = [one.hazard for one in stops(survey, refit, lead) if one.open]
    assert "lead" not in opened  # the refit alone would have believed the record
    for one in (NONE, seen):
        assert "lead" in [stop.hazard for stop in decide(survey, "pulsed-500", lead=lead, seen=one).stops if stop.open]


@settings(max_examples=8, deadline=None)
@given(readings, counted, st.sampled_from([None, 0.05, 0.95]))
def test_no_answer_is_milder_with_confirmed_pieces(read, rows, believed):
    survey = read_survey([("substrate", "oak"), ("year", "2015"), ("refinished", "no"), *read])
    seen = Counts(tuple((finish, *read[n % len(read)], n_) for n, (finish, _, _, n_) in enumerate(rows)), len(rows))
    table, refit = (decide(survey, "pulsed-500", believed=believed, seen=one) for one in (NONE, seen))
    assert STRICT.index(refit.answer) >= STRICT.index(table.answer)
    assert refit.chance <= table.chance + 1e-12
    assert {one.hazard for one in table.stops if one.open} <= {one.hazard for one in refit.stops if one.open}
    assert "because ." not in refit.because


def test_a_piece_counts_once_a_test_and_not_by_what_decided():
    survey = read_survey([("alcohol@leg", "dissolves"), ("alcohol@top", "dissolves"), ("acetone", "none, 5 s"),
                          ("xylene@leg", "none"), ("xylene@top", "gummy"), ("told", "shellac"),
                          ("sheen", "gloss"), ("cleaned", "no")])  # fmt: skip
    rows = rows_of(survey, "shellac", decided="sheen")
    assert {row[1] for row in rows} == {"alcohol", "acetone"}  # xylene: two answers at two places
    dirty, hasty = 0.5, 0.5
    seen = summed([rows, []])
    assert seen.of("shellac", "alcohol") == pytest.approx({"dissolves": dirty})
    assert seen.of("shellac", "acetone") == pytest.approx({"none": dirty * hasty})
    assert seen.pieces == 1
    assert rows_of(survey, "unlisted") == []


TRIED = ("sheen", "alcohol", "acetone", "lacquer-thinner", "xylene", "mineral-spirits", "uv")
CLEAR = [key for key, one in finishes().items() if one.coating and one.often["wood"] >= 4 and "paint" not in key]


@functools.lru_cache(maxsize=1)
def truth():
    """How finishes answer in a world where the table is half wrong: mixed with the answers of another finish."""
    random = np.random.default_rng(11)
    found = {}
    for test in TRIED:
        other = random.permutation(CLEAR)
        for finish, wrong in zip(CLEAR, other, strict=True):
            share = np.array([0.4 * answers(finish, test, v) + 0.6 * answers(str(wrong), test, v)
                              for v in TESTS[test].values])  # fmt: skip
            found[finish, test] = share / share.sum()
    return found


def pieces(random, many):
    """(finish, survey) of pieces of oak, finishes as often as they are met."""
    often = np.array([finishes()[key].often["wood"] for key in CLEAR])
    for finish in random.choice(CLEAR, many, p=often / often.sum()):
        said = [Reading(test, str(random.choice(TESTS[test].values, p=truth()[finish, test]))) for test in TRIED]
        yield str(finish), Survey(tuple(said), ground="oak")


def test_confirmed_pieces_identify_better_where_the_table_is_wrong():
    random = np.random.default_rng(3)
    learned = [rows_of(survey, finish) for finish, survey in pieces(random, 300)]
    asked = list(pieces(random, 120))
    scores = []
    for many in (0, 30, 300):
        seen = summed(learned[:many])
        scores.append(float(np.mean([np.log(identify(one, seen).finishes[key]) for key, one in asked])))
    assert scores[0] < scores[1] < scores[2]
    assert scores[2] - scores[0] > 0.1  # nats a piece


def test_the_prior_and_the_tables_themselves_are_left_alone():
    seen = Counts((("shellac", "alcohol", "none", 50.0),), 50)
    before = prior(Survey()).copy()
    identify(read_survey([("alcohol", "none")]), seen)
    assert (prior(Survey()) == before).all()
    assert len(substrate_ids()) == len(before)
