"""Take it, test it, or decline: the mixture of forecasts, the next test, the sentence."""

import re

import numpy as np
import pytest

import proofpatch as pp
from proofpatch import InputError
from proofpatch.phrases import in_100
from proofpatch.records_survey import cited_line, refused_survey_record, survey_record
from proofpatch.survey import Lead, read_survey, split_item, surface_of
from proofpatch.survey.decide import GAIN, LOSS, NO, TAKE, TEST, decide
from proofpatch.survey.evidence import TESTS
from proofpatch.survey.mind import cautions, to_mind

LAB = Lead("negative", "laboratory test", "2025-03-11")


def judge(*items, laser="pulsed-500", **more):
    return decide(read_survey(map(split_item, items)), laser, **more)


@pytest.fixture(scope="module")
def varnish():
    return judge("kind=clear film", "substrate=oak", "condition=aged", "alcohol=none, 3 min", "acetone=wrinkles, 2 min",
                 "aired=yes")  # fmt: skip


# The chance is the mixture of the forecasts asked one by one: here by hand.
def test_the_chance_is_the_mixture_of_the_forecasts(varnish):
    identity = varnish.identity
    kept = {key: p for key, p in list(identity.coatings.items())[:12] if p >= 0.01}
    assert set(varnish.chances) == set(kept)
    for key in ("oil-varnish", "shellac"):
        layer = pp.Layer(key, colour="clear", condition="aged")
        window = pp.forecast(pp.prior(pp.Surface([layer], "oak"), "pulsed-500"))
        assert varnish.chances[key] == window.chance
    mean = np.average(list(varnish.chances.values()), weights=list(kept.values()))
    rest = 1 - sum(kept.values())
    by_hand = (1 - identity.elsewhere) * (sum(kept[k] * varnish.chances[k] for k in kept) + rest * mean)
    assert varnish.chance == pytest.approx(by_hand, rel=1e-9)


def test_soot_on_stone_is_taken_once_everything_is_settled():
    found = ("kind=soot", "colour=black", "substrate=limestone", "year=1990", "refinished=no")
    taken = judge(*found, lead=LAB)
    assert taken.answer == TAKE
    assert taken.because.startswith("Take it. It is most likely soot")
    assert "limestone" in taken.because
    assert in_100(taken.chance).replace(" in", " of") in taken.because
    assert judge(*found, "layers=3", lead=LAB).answer == TEST
    # Undated, lead is open again, and so the job is not taken.
    open_ = judge("kind=soot", "colour=black", "substrate=limestone")
    assert open_.answer == TEST
    assert "lead" in open_.because


def test_old_or_undated_paint_is_never_taken(monkeypatch):
    monkeypatch.setattr("proofpatch.survey.decide._chance", lambda shares, of_finish: 0.99)
    for year in ((), ("year=1960",)):
        for lead in (None, Lead(), Lead("accepted"), Lead("positive", "XRF", "2025-03-11")):
            found = judge("kind=paint", "substrate=oak", *year, lead=lead)
            assert found.answer == TEST
            assert "lead has to be settled" in found.because or "lead and" in found.because
    assert judge("kind=soot", "colour=black", "substrate=limestone", "year=1990", lead=LAB).answer == TAKE


def test_a_decline_says_why_and_what_else_could_serve():
    never = judge("suspect=pvc film", "substrate=oak")
    assert (never.answer, never.next_test) == (NO, None)
    assert "hydrogen chloride" in never.because
    scale = judge("kind=scale", "laboratory=mill scale", "substrate=mild-steel", laser="pulsed-100", lead=LAB)
    assert scale.answer == NO
    assert in_100(scale.chance).replace(" in", " of") in scale.because
    assert "blasting" in scale.instead


def test_the_sentences_follow_the_belief(varnish):
    other = judge("kind=paint", "substrate=fired-brick", "colour=white")
    assert varnish.because != other.because
    assert "oil varnish" in varnish.because
    assert "fired brick" in other.because
    if varnish.change:
        for value, (_, after) in varnish.next_test.outcomes.items():
            if f'"{value}"' in varnish.change:
                assert in_100(after) in varnish.change


# What a test may bring is what the belief expects: the chances after it average to the chance before.
def test_the_next_test_expects_what_the_belief_does(varnish):
    test = varnish.next_test
    assert test.test in TESTS
    assert test.worth > 0
    outcomes = np.array(list(test.outcomes.values()))
    assert outcomes[:, 0].sum() == pytest.approx(1.0)
    if TESTS[test.test].share == 1.0 and TESTS[test.test].touch is False:
        # Bounded strengths blunt the update a little, so this holds nearly.
        assert outcomes[:, 0] @ outcomes[:, 1] == pytest.approx(varnish.chance, abs=0.03)


def test_the_order_of_work():
    seen, items = [], ["substrate=oak", "year=2000", "refinished=no"]
    answers = {
        "kind": "clear film", "uv": "none", "alcohol": "none, 3 min", "acetone": "none, 3 min", "crazing": "none",
        "linseed-drop": "beads", "lacquer-thinner": "none, 3 min", "xylene": "none, 3 min", "ammonia": "none, 3 min",
        "warmth": "none", "sheen": "thick", "marks": "brush marks", "colour": "clear", "water-drop": "beads",
    }  # fmt: skip
    for _ in range(len(answers)):
        test = judge(*items, "aired=yes").next_test
        if test is None:
            break
        seen.append(test.test)
        items.append(f"{test.test}={answers[test.test]}")
    assert seen[0] == "kind"  # looking is free
    assert "scratch" not in seen  # no dust while lead is open
    strong = [name for name in seen if TESTS[name].solvent and TESTS[name].rank > TESTS["alcohol"].rank]
    if strong:
        assert seen.index("alcohol") < seen.index(strong[0])  # weakest solvent first
    assert len(seen) == len(set(seen))


def test_no_test_that_marks_is_proposed_on_paper():
    test = judge("kind=soot", "substrate=paper").next_test
    assert test is None or TESTS[test.test].marks == 0


def test_a_second_swab_is_proposed():
    found = judge("kind=clear film", "substrate=oak", "year=1900", "alcohol=dissolves in 8 s", "uv=orange",
                  "crazing=alligator", "acetone=gummy", "sheen=silky")  # fmt: skip
    assert any("second place" in line for line in found.identity.assumed)


@pytest.mark.parametrize(
    ("items", "said"),
    [
        (["substrate=veneer-on-core"], ["veneer", "hide-glue"]),
        (["substrate=pine", "moisture=18 %"], ["resin", "wet-wood", "charring"]),
        (["substrate=fired-brick"], ["fire-skin", "lime-mortar", "silica", "wet-masonry"]),
        (["substrate=galvanised-steel"], ["thin-zinc", "thin-sheet", "shiny"]),
        (["substrate=tool-steel"], ["temper", "bare-steel"]),
        (["substrate=oak", "beside=brass hinges, gilded frame, upholstery, a decal, a mirror"],
         ["brass-beside", "gilding", "textile", "decals", "glass"]),
        (["substrate=mahogany", "substrate-condition=stained"], ["stained", "pores", "hide-glue"]),
        (["substrate=brass"], ["patina", "shiny"]),
    ],
)  # fmt: skip
def test_what_to_mind(items, said):
    found = judge(*items)
    assert set(said) <= {one.id for one in found.cautions}


def test_moisture_is_read_against_its_limit():
    for said, there in (("9 %", False), ("15 %", False), ("15.1 %", True)):
        assert ("wet-wood" in {one.id for one in judge("substrate=oak", f"moisture={said}").cautions}) == there
    record = survey_record(judge("substrate=oak", "moisture=19 %"))
    assert any("It read 19 %, over 15 %" in one["text"] for one in record["substrate_cautions"])
    thick = judge("substrate=mild-steel", sheet=6e-3)
    assert "thin-sheet" not in {one.id for one in thick.cautions}
    assert len({one.text for one in cautions().values()}) == len(cautions())
    assert to_mind(thick.survey, thick.identity, None) != thick.cautions


def test_the_surface_of_a_survey_is_one_the_forecast_takes(varnish):
    surface = surface_of(varnish.survey, varnish.identity)
    assert surface.substrate == "oak"
    assert sum(surface.coats[0].shares.values()) == pytest.approx(1.0)
    assert 0 <= pp.forecast(pp.prior(surface, "pulsed-300")).chance <= 1
    blue = judge("kind=paint", "colour=blue", "substrate=oak")
    assert surface_of(blue.survey, blue.identity).coats[0].colour in ("blue-green", "unknown")


def test_the_record_holds_the_contracts_keys_and_its_figures(varnish):
    record = survey_record(varnish)
    assert {"coatings", "next_test", "stops", "answer", "because"} <= set(record)
    assert record["answer"] == varnish.answer
    assert record["chance"] == varnish.chance
    assert all(isinstance(stop, str) for stop in record["stops"])
    assert record["coatings"] == {k: p for k, p in varnish.identity.coatings.items() if p >= 0.005}
    assert "from memory, unverified" in record["sources"]
    for hazard in record["hazards"]:
        assert hazard["source"]
    assert cited_line("cpsc-1303", "x", "published").startswith("16 CFR 1303")
    assert set(refused_survey_record("no")) <= set(record)
    assert not re.search(r"\bnan\b", str(record))


def test_costs_break_even_where_a_job_is_worth_it():
    assert pytest.approx(LOSS * 0.2) == GAIN * 0.8


def test_no_sentence_is_sure_that_a_beam_works(varnish):
    for chance in (0.0, 0.5, 1.0):
        said = decide(varnish.survey, "pulsed-500", believed=chance).because
        assert re.search(r"in \d+ of 100 cases", said)
        assert "certain cases" not in said


def test_an_unknown_laser_is_refused():
    with pytest.raises(InputError, match="laser"):
        judge("substrate=oak", laser="death-star")
