"""What the faces show of a survey, as one plain record."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from proofpatch.hazards import CAUTIONS
from proofpatch.sources import STATUS, sources
from proofpatch.survey.clear import Stop
from proofpatch.survey.decide import Finding
from proofpatch.survey.evidence import TESTS
from proofpatch.survey.finishes import words_of
from proofpatch.survey.identify import sources_of
from proofpatch.survey.mind import words
from proofpatch.survey.moved import Move, moves_here
from proofpatch.survey.refit import WEIGHT
from proofpatch.survey.suspicions import Hazard, hazards

WEIGHTS = "weights of tests, dates and doubts: ours, from memory, unverified"
REFIT = f"a row of the test tables counts as {WEIGHT:g} confirmed pieces: ours, from memory, unverified"
WORTH_SHOWING = 0.005  # chance from which a coating is listed


def survey_record(finding: Finding) -> dict[str, Any]:
    """The contract's keys of a survey: `coatings next_test stops answer because`, and what they rest on."""
    identity, survey = finding.identity, finding.survey
    test = finding.next_test
    mind = [(one, words(one, survey)) for one in finding.cautions]
    cited = [(stop.source, stop.locator, stop.status) for stop in map(_hazard, finding.stops)]
    cited += [(one.source, one.locator, one.status) for one in finding.cautions]
    return {
        "answer": finding.answer,
        "because": finding.because,
        "what_would_change": finding.change,
        "what_else_could_serve": finding.instead,
        "chance": finding.chance,
        "laser": finding.laser.title,
        "coatings": {key: p for key, p in identity.coatings.items() if p >= WORTH_SHOWING} or identity.coatings,
        "finishes": {key: p for key, p in identity.finishes.items() if p >= WORTH_SHOWING},
        "finish_words": {key: words_of(key) for key, p in identity.finishes.items() if p >= WORTH_SHOWING},
        "none_of_these": identity.elsewhere,
        "substrates": {key: p for key, p in identity.substrates.items() if p >= WORTH_SHOWING},
        "colours": dict(identity.colours),
        "condition": identity.condition,
        "layers": identity.layers,
        "chances": dict(finding.chances),
        "next_test": test.test if test else None,
        "next": None
        if test is None
        else {
            "test": test.test,
            "ask": TESTS[test.test].ask if test.test in TESTS else "what it is made of",
            "why": test.why,
            "how": test.how,
            "wait_s": test.wait,
            "minutes": test.minutes,
            "outcomes": [
                {"value": value, "p": p, "chance_after": after} for value, (p, after) in test.outcomes.items()
            ],
        },
        "stops": [stop.because for stop in finding.stops if stop.open],
        "on_record": [stop.because for stop in finding.stops if not stop.open],
        "hazards": [_bite(stop) for stop in finding.stops],
        "substrate_cautions": [
            {"text": text, "source": cited_line(one.source, one.locator, one.status)}
            for one, text in mind
            if not one.keep_off
        ],
        "do_not_touch": [
            {"text": text, "source": cited_line(one.source, one.locator, one.status)}
            for one, text in mind
            if one.keep_off
        ],
        "evidence": [{"name": name, "value": value} for name, value in survey.raw],
        "confirmed": {
            "pieces": finding.seen.pieces,
            "moved": [move_record(one) for one in moves_here(finding.seen, survey, identity)],
        },
        "doubts": list(identity.doubts),
        "assumptions": list(identity.assumed),
        "sources": [*_lines([*sources_of(survey), *cited]), WEIGHTS, *([REFIT] if finding.seen.rows else [])],
        "cautions": list(CAUTIONS),
    }


def move_record(one: Move) -> dict[str, Any]:
    """A share of answers that confirmed pieces moved."""
    return {"finish": one.finish, "test": one.test, "value": one.value, "pieces": one.pieces, "before": one.before,
            "after": one.after, "said": one.said}  # fmt: skip


def _hazard(stop: Stop) -> Hazard:
    return hazards()[stop.hazard]


def _bite(stop: Stop) -> dict[str, Any]:
    about = _hazard(stop)
    return {
        "hazard": stop.hazard, "name": about.name, "reason": stop.reason, "settles": stop.settles,
        "refused": stop.refused, "open": stop.open, "never": stop.never, "before_beam_only": stop.before_beam,
        "source": cited_line(about.source, about.locator, about.status),
    }  # fmt: skip


def cited_line(source: str, locator: str, status: str) -> str:
    """The line the interface shows beside a text of the survey's tables."""
    if status == "memory":
        return "from memory, unverified"
    if status == "common practice":
        return "common practice, no source"
    return f"{sources()[source].cite}: {locator}"


def _lines(cited: Iterable[tuple[str, str, str]]) -> list[str]:
    """Each line once, published first."""
    found = {cited_line(*one): STATUS.index(one[2]) for one in cited}
    return sorted(found, key=lambda line: (found[line], line))


def refused_survey_record(why: str) -> dict[str, Any]:
    """A refusal before anything was asked, in the shape of a survey."""
    return {
        "answer": "decline", "because": why, "chance": 0.0, "coatings": {}, "next_test": None, "next": None,
        "stops": [why], "hazards": [], "cautions": list(CAUTIONS),
    }  # fmt: skip
