"""What is named counts, however little else speaks for it; and small rules that a slip would go unseen in."""

import numpy as np
import pytest

from proofpatch import InputError
from proofpatch.materials import coating
from proofpatch.survey import identify, read_survey, split_item, surface_of
from proofpatch.survey.clear import Stop, stops
from proofpatch.survey.decide import _allowed, decide
from proofpatch.survey.evidence import TESTS
from proofpatch.survey.finishes import finishes, names, words_of
from proofpatch.survey.identify import prior, sources_of
from proofpatch.survey.refit import _above, stricter
from proofpatch.survey.stop import Lead, first_stop
from proofpatch.survey.suspicions import CELLULOSE, chance_of, hazards, painted

BESIDE = ([], ["kind=clear film", "alcohol=none"], ["kind=soot"], ["magnet=pulls"], ["alcohol=dissolves"])
GROUNDS = ([], ["substrate=oak"], ["substrate=mild-steel"], ["substrate=limestone"], ["substrate=paper"])
RAISED = {"plastic-foil": "halogens", "urushi": "heritage", **dict.fromkeys(CELLULOSE, "nitrocellulose")}
CLEAR = {"conversion-varnish", "epoxy", "oil-polyurethane", "polyurethane-2k"}  # may be clear, and was seen to be


def survey(*items):
    return read_survey(map(split_item, items))


def raised(*items):
    read = survey(*items)
    return {stop.hazard: stop for stop in stops(read, identify(read))}


# A chance under a twentieth had let a named hazard pass. An unknown counts as hazardous: so does what somebody says.
@pytest.mark.parametrize("who", ["told", "laboratory"])
@pytest.mark.parametrize("name", RAISED)
def test_a_hazard_that_is_named_is_a_stop_whatever_its_chance(who, name):
    for beside in BESIDE:
        for ground in GROUNDS:
            found = raised(f"{who}={name}", "year=2010", "refinished=no", *beside, *ground)
            assert RAISED[name] in found, (beside, ground)
            assert found[RAISED[name]].open
    assert f"it was called {words_of(name)}" in raised(f"told={name}", "substrate=limestone")[RAISED[name]].reason


def test_a_paint_that_is_named_is_paint():
    for key, finish in finishes().items():
        if finish.coating and coating(finish.coating).kind == "paint":
            for beside in BESIDE:
                if key not in CLEAR or beside[:1] != ["kind=clear film"]:
                    read = survey(f"told={key}", "year=2010", "refinished=no", *beside)
                    assert painted(read, identify(read)) == 1.0, (key, beside)
                    assert "lead" in raised(f"told={key}", "year=2010", "refinished=no", *beside)
    seen = survey("kind=paint", "substrate=oak")
    assert painted(seen, identify(seen)) == 1.0
    latex = next(iter(hazards()["mercury"].coatings))
    assert "mercury" in raised(f"told={latex}", "use=kitchen", "year=1960", "kind=clear film", "alcohol=none")


def test_a_foil_that_is_only_likely_is_a_stop():
    read = survey("substrate=oak", "kind=paint", "ammonia=none")
    assert 0.05 < chance_of(identify(read), "plastic-foil") < 0.5
    assert "halogens" in raised("substrate=oak", "kind=paint", "ammonia=none")
    assert "halogens" not in raised("substrate=oak", "kind=clear film", "alcohol=dissolves")
    assert chance_of(identify(read), "no such finish") == 0.0


def test_of_two_tables_the_stricter_stops_hold():
    shut = Stop("lead", "undated", "a test", "", open=False)
    opened, never = Stop("lead", "undated", "a test", ""), Stop("halogens", "foil", "", "no beam", never=True)
    for one, other in (((shut,), (opened, never)), ((opened, never), (shut,))):
        assert stricter(one, other) == (never, opened) or stricter(one, other) == (opened, never)
    assert stricter((shut,), ()) == stricter((), (shut,)) == (shut,)


def test_shares_over_their_floors_add_to_one_and_keep_their_ratios():
    random = np.random.default_rng(7)
    for _ in range(50):
        wanted, floor = random.dirichlet(np.ones(5)), 0.9 * random.dirichlet(np.ones(5)) * (random.random(5) < 0.5)
        found = _above(wanted, floor)
        assert found.sum() == pytest.approx(1.0)
        assert (found >= floor - 1e-15).all()
        free = found > floor + 1e-12
        assert np.ptp(found[free] / wanted[free]) == pytest.approx(0.0, abs=1e-9)
    full = np.array([0.6, 0.4, 0.0])
    assert _above(np.array([0.2, 0.2, 0.6]), full) == pytest.approx(full)


def test_what_is_seen_to_be_a_clear_film_is_clear():
    for items, only, colour in (
        (["kind=clear film"], "oil-varnish", "clear"),
        ([], "oil-varnish", "unknown"),
        (["kind=clear film", "colour=brown"], "oil-varnish", "unknown"),  # none of its colours
        (["kind=paint", "colour=white"], "alkyd-paint", "white"),
    ):
        read = survey("substrate=oak", *items)
        assert surface_of(read, identify(read), only=only).coats[0].colour == colour, items


@pytest.mark.parametrize("said", ["x", "²", "1x", "0", "-1", "99", "100", "1" * 30])
def test_a_count_of_layers_is_a_small_whole_number(said):
    with pytest.raises(InputError, match="layers"):
        survey(f"layers={said}")
    assert survey("layers=2").layers == 2


def test_what_a_reading_speaks_for_is_what_this_ground_carries():
    for items in (["substrate=oak", "alcohol=dissolves", "acetone=none", "use=floor"],
                  ["substrate=carbon-steel", "alcohol=sticky"],
                  ["substrate=limestone", "alcohol=dissolves", "acetone=none"],
                  ["kind=clear film", "uv=orange", "alcohol=none", "acetone=none", "substrate=oak"]):  # fmt: skip
        read = survey(*items)
        carried = {words_of(key) for key, p in zip(names(), prior(read).sum(axis=0), strict=True) if p > 0}
        said = [part for line in identify(read).doubts for part in line.split(" speaks for ")[1:]]
        assert said, items
        for part in said:
            name = part.partition(": ")[0].partition(". ")[0].partition(", ")[0].partition(" and ")[0]
            assert (name in carried) != ("hardly carries" in part), part


def test_no_test_that_marks_is_allowed_on_paper():
    for ground, some in (("paper", False), ("oak", True)):
        read = survey(f"substrate={ground}", "kind=clear film", "alcohol=none")
        allowed = [test.id for test in TESTS.values() if test.marks and _allowed(test, read, identify(read), None)]
        assert bool(allowed) == some, (ground, allowed)


def test_the_sources_of_what_leads_are_named():
    read = survey("substrate=oak", "kind=clear film", "alcohol=dissolves", "uv=orange")
    shellac = finishes()["shellac"]
    assert identify(read).favourite == "shellac"
    assert (shellac.source, shellac.locator, shellac.status) in sources_of(read)


def test_a_taken_job_waits_where_not_all_fits():
    odd = decide(survey("kind=clear film", "uv=orange", "alcohol=none", "acetone=none", "substrate=oak"), "pulsed-500")
    even = decide(survey("kind=clear film", "substrate=oak", "alcohol=none", "acetone=none"), "pulsed-500")
    assert bool(odd.identity.doubts) > bool(even.identity.doubts)
    assert "not all that was found fits together" in odd.because
    assert "fits together" not in even.because


def test_what_only_a_negative_record_contradicts_is_not_said_of_one_who_takes_lead_on():
    read = survey("substrate=oak", "told=lead-white-paint")
    surface = surface_of(read, identify(read), only="lead-white-paint")
    assert "lead paint by name" in str(first_stop(surface, 2000, Lead("negative", "laboratory", "2024-01-01")))
    assert "lead paint by name" not in str(first_stop(surface, 2000, Lead("accepted")))
