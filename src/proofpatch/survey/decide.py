"""Take it, test it, or decline: what the coating is, mixed into the forecast; and the next test that pays.

    chance = Σ_c P(c) chance(c),  chance(c) of `learn.forecast` with this laser          (1)

What is not listed, or has no physical data, counts as failing. Taking a job is worth GAIN minutes if it comes off and
costs LOSS if it does not; so it is taken from WORTH_IT on. A test is worth by how much it would better that choice, by
what it tells of the coating, and by the hazards it may clear, less what it takes.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from proofpatch.lasers import Laser
from proofpatch.lasers import laser as find_laser
from proofpatch.learn.belief import prior as belief_of
from proofpatch.learn.forecast import DECLINE, WORTH_IT, forecast
from proofpatch.learn.limits import Hand
from proofpatch.learn.surface import Surface
from proofpatch.materials import coating, substrate
from proofpatch.phrases import in_100, listed, of_100
from proofpatch.survey.clear import Clearance, Stop, stops
from proofpatch.survey.described import MOST_COATINGS, WORTH_ASKING, surface_of
from proofpatch.survey.evidence import TESTS, Reading, Survey, Test
from proofpatch.survey.finishes import UNLISTED, family_of, finishes, likelihood, names, words_of
from proofpatch.survey.identify import ANEW, Identity, identify, weight
from proofpatch.survey.mind import Caution, to_mind
from proofpatch.survey.refit import NONE, Counts, stricter
from proofpatch.survey.stop import Lead
from proofpatch.survey.suspicions import CELLULOSE, RULED_OUT, hazards

Floats = NDArray[np.float64]
TAKE, TEST, NO = "take it", "test it", "decline"
GAIN = 60.0  # minutes a job brings that comes off; ours, from memory, unverified
LOSS = GAIN * WORTH_IT / (1.0 - WORTH_IT)  # and costs that does not; so taking it breaks even at WORTH_IT
BIT = 45.0  # minutes of test patches that one bit about the coating saves; ours, from memory, unverified
CLEARS = 20.0  # minutes that a cleared hazard saves; ours, from memory, unverified
MARK = 1.0  # minutes a mark of a test counts; ours, from memory, unverified
# Finishing liquids give off ignitable vapour at room temperature; a light switch can set it off (OSU-734).
SOLVENT_CARE = (
    "Outdoors or at an open window, with gloves and goggles, no flame, spark or switch near; rags into water, outdoors."
)
MOST_NAMED = 3  # hazards named in the sentence; each has its own line below
# The weakest solvent first: before those of a higher rank this one has to be done.
FIRST_SOLVENT = "alcohol"
FIRST_LOOK = "kind"
# What else could serve, in general terms; common practice, no source.
INSTEAD = {
    "wood": "a paste stripper and a scraper, or cleaning and refreshing the finish instead of taking it off",
    "metal": "a chemical remover, hand and power tools, or blasting with a fine soft medium",
    "mineral": "a poultice, water mist or steam, or a paint remover made for masonry",
    "paper": "a paper conservator",
}


@dataclass(frozen=True)
class NextTest:
    """The test that pays most now. minutes: it takes. worth: minutes it is expected to save beyond them."""

    test: str
    why: str
    how: str
    wait: float | None
    minutes: float
    worth: float
    outcomes: Mapping[str, tuple[float, float]]  # value -> (chance of it, chance of the job after it)


# Not a test but the first thing to know once one has looked: everything else hangs on it.
ASK_GROUND = NextTest(
    "substrate", "Nothing tells more for a minute.",
    "Look at an edge, the back, a drilled hole or a worn place, and hold a magnet to it; then name it.", None, 1.0,
    math.inf, {},
)  # fmt: skip


@dataclass(frozen=True)
class Finding:
    """What a survey comes to. chances: {coating id: chance that the laser takes it off harmlessly}.
    seen: how confirmed pieces answered the tests."""

    survey: Survey
    identity: Identity
    stops: tuple[Stop, ...]
    cautions: tuple[Caution, ...]
    next_test: NextTest | None
    answer: str
    chance: float
    chances: Mapping[str, float]
    because: str
    change: str
    instead: str
    laser: Laser
    seen: Counts = NONE


def decide(
    survey: Survey,
    laser: Laser | str,
    hand: Hand | None = None,
    lead: Lead | None = None,
    cleared: Sequence[Clearance] = (),
    sheet: float | None = None,
    seed: int = 0,
    believed: float | None = None,
    described: bool = False,
    seen: Counts = NONE,
) -> Finding:
    """What the piece is, what bites, what to try next, and whether to take the job.

    Args:
        survey: what was seen, tried and said.
        laser: of the shop. hand: of the job.
        lead, cleared: what is on record about hazards.
        sheet: thickness of the substrate [m], where measured.
        believed: the forecast's chance for the job itself, where it is one, with its graded patches.
        described: every layer of the job was described, not only the top one tested.
        seen: how confirmed pieces answered the tests. No stop, doubt or chance is milder with them than without.

    Raises:
        InputError: an unknown laser.
    """
    own = find_laser(laser) if isinstance(laser, str) else laser
    identity = identify(survey, seen)
    bites = stops(survey, identity, lead, cleared)

    def asked(one: Identity) -> tuple[dict[str, float], Floats, float]:
        chances = {
            key: _chance_on(surface_of(survey, one, sheet, key), own, hand or Hand(), seed)
            for key, p in list(one.coatings.items())[:MOST_COATINGS]
            if p >= WORTH_ASKING
        }
        of_finish = _of_finish(one, chances)
        return chances, of_finish, _chance(one.joint.sum(axis=0), of_finish)

    chances, of_finish, chance = asked(identity)
    if seen.rows:
        table = identify(survey)
        bites = stricter(stops(survey, table, lead, cleared), bites)
        chance = min(chance, asked(table)[2]) if believed is None else chance
    chance = chance if believed is None else believed
    test = _next_test(survey, identity, of_finish, lead, seen)
    untested = (survey.layers or 1) > 1 and not described
    answer = _answer(identity, bites, chance, untested)
    ground = family_of(identity.ground)
    return Finding(
        survey, identity, bites, to_mind(survey, identity, sheet), None if _never(bites) else test, answer, chance,
        chances, _because(survey, identity, bites, answer, chance, untested), _change(test, bites),
        _instead(bites, ground) if answer == NO else "", own, seen,
    )  # fmt: skip


@lru_cache(maxsize=512)
def _chance_on(surface: Surface, laser: Laser, hand: Hand, seed: int) -> float:
    """The forecast's chance, which hangs on no limits. Kept: the next finding asks most of them again."""
    return forecast(belief_of(surface, laser, hand, seed=seed)).chance


def _instead(bites: Sequence[Stop], ground: str) -> str:
    """What else could serve; never a way to raise what is poisonous."""
    if any(stop.open and not stop.before_beam for stop in bites):
        return (
            "licensed or specialist work; until what is open is settled, no sanding, scraping, heat or blasting either"
        )
    return INSTEAD[ground]


def _of_finish(identity: Identity, chances: Mapping[str, float]) -> Floats:
    """(finishes + 1,): chance that the laser takes it off; the mean where it was not asked, 0 without any data."""
    weights = [identity.coatings[key] for key in chances]
    mean = float(np.average(list(chances.values()), weights=weights)) if chances else 0.0
    found = [chances.get(finish.coating, mean) if finish.coating else 0.0 for finish in finishes().values()]
    return np.array([*found, 0.0])


def _chance(shares: Floats, of_finish: Floats) -> float:
    """(1)."""
    return float(shares @ of_finish / shares.sum())


def _never(bites: Sequence[Stop]) -> bool:
    return any(stop.never for stop in bites)


def _answer(identity: Identity, bites: Sequence[Stop], chance: float, untested: bool) -> str:
    if _never(bites) or chance <= DECLINE:
        return NO
    unsettled = any(stop.open and not stop.before_beam for stop in bites)
    if chance < WORTH_IT or unsettled or identity.doubts or untested:
        return TEST
    return TAKE


def _because(
    survey: Survey, identity: Identity, bites: Sequence[Stop], answer: str, chance: float, untested: bool
) -> str:
    never = next((stop.because for stop in bites if stop.never), "")
    if never:
        return f"Decline. {never}"
    finish, share = next(iter(identity.finishes.items()))
    ground, sure = next(iter(identity.substrates.items()))
    under = f" on {substrate(ground).title.lower()}" if sure > 0.5 else ""
    what = f"It is most likely {words_of(finish)}{under} ({in_100(share)})"
    works = (
        f"this laser takes it off, leaving what lies under it unmarked, in {of_100(chance)} "
        "cases that fit what was found"
    )
    if answer == NO:
        return (
            f"Decline. {what}, and only in {of_100(chance)} cases that fit what was found does this laser take it off "
            "and leave what lies under it unmarked."
        )
    if answer == TAKE:
        return f"Take it. {what}; {works}. Test patches come before the piece."
    holds = []
    open_ = [hazards()[stop.hazard].name for stop in bites if stop.open and not stop.before_beam]
    if len(open_) > MOST_NAMED:
        holds.append(f"{len(open_)} hazards have to be settled")
    elif open_:
        holds.append(f"{listed(open_)} {'has' if len(open_) == 1 else 'have'} to be settled")
    if untested:
        holds.append(
            f"{survey.layers} layers were counted and only the top one was tested: describe each as a layer of a job"
        )
    if identity.doubts:
        holds.append("not all that was found fits together")
    if chance < WORTH_IT:
        holds.append(f"at least {of_100(WORTH_IT)} are wanted for that")
    return f"Test it first. {what}; {works}. Not yet taken, because {'; '.join(holds)}."


def _change(test: NextTest | None, bites: Sequence[Stop]) -> str:
    """What would change the answer: the outcomes of the next test that move the chance most either way."""
    if _never(bites):
        return ""
    if test is None:
        first = "settling what is open, then " if any(stop.open for stop in bites) else ""
        return f"What would change it: {first}test patches; each one that is graded sharpens this chance."
    likely = {value: after for value, (p, after) in test.outcomes.items() if p > RULED_OUT}
    if len(likely) < 2:
        return ""
    best, worst = max(likely, key=lambda v: likely[v]), min(likely, key=lambda v: likely[v])
    if likely[best] - likely[worst] < 0.02:
        return ""
    most, least = (in_100(likely[value], known=False) for value in (best, worst))
    return f'What would change it: {TESTS[test.test].ask}. With "{best}" the chance is {most}, with "{worst}" {least}.'


def _allowed(test: Test, survey: Survey, identity: Identity, lead: Lead | None) -> bool:
    """May it be proposed now: weakest solvent first, no dust before lead is settled, no solvent on paper."""
    if not test.values or any(reading.test == test.id for reading in survey.readings):
        return False
    done = {reading.test for reading in survey.readings}
    if test.solvent and test.rank > TESTS[FIRST_SOLVENT].rank and FIRST_SOLVENT not in done:
        return False
    if test.dust and not (lead is not None and lead.negative):
        return False
    grounds = {family: 0.0 for family in INSTEAD}
    for key, p in identity.substrates.items():
        grounds[family_of(key)] += p
    if test.marks and grounds["paper"] > 0.5:
        return False
    return test.id != "double-rubs" or grounds["metal"] > 0.5


def _next_test(
    survey: Survey, identity: Identity, of_finish: Floats, lead: Lead | None, seen: Counts
) -> NextTest | None:
    if not survey.ground and not any(TESTS[reading.test].touch for reading in survey.readings):
        done = {reading.test for reading in survey.readings}
        if FIRST_LOOK in done:
            return ASK_GROUND
    found = [
        _worth(test, survey, identity, of_finish, seen)
        for test in TESTS.values()
        if _allowed(test, survey, identity, lead)
    ]
    if _one_swab(survey):
        found.append(_worth(TESTS[FIRST_SOLVENT], survey, identity, of_finish, seen, ANEW))
    best = max(found, key=lambda one: one.worth, default=None)
    return best if best is not None and best.worth > 0.0 else None


def _one_swab(survey: Survey) -> bool:
    """True where alcohol did something at one place: a second one tells whether to believe it."""
    said = [reading.value for reading in survey.readings if reading.test == FIRST_SOLVENT]
    return len(said) == 1 and said[0] != "none"


def _worth(
    test: Test, survey: Survey, identity: Identity, of_finish: Floats, seen: Counts, again: float = 1.0
) -> NextTest:
    """What one test is expected to save, over what may come of it; `again` is what a second swab counts."""
    joint = identity.joint
    share = again * weight(survey, Reading(test.id, test.values[0]))
    told = np.array([likelihood(test.id, value, survey.year, seen) for value in test.values])
    told = told / told.sum(axis=0)  # of every hypothesis, over what may come
    outcomes: dict[str, tuple[float, float]] = {}
    before_choice = _choice(_chance(joint.sum(axis=0), of_finish))
    before_bits, before_open = _bits(joint), _to_clear(survey, joint)
    choice = bits = open_ = 0.0
    for value, shares in zip(test.values, told, strict=True):
        p = float((joint * shares).sum())
        after = joint * (shares / shares.max()) ** share
        after = after / after.sum()
        chance = _chance(after.sum(axis=0), of_finish)
        outcomes[value] = (p, chance)
        choice += p * _choice(chance)
        bits += p * _bits(after)
        open_ += p * _to_clear(survey, after)
    gains = {
        "whether to take the job": choice - before_choice,
        "what the coating is": BIT * max(before_bits - bits, 0.0),
        "what has to be cleared": CLEARS * max(before_open - open_, 0.0),
    }
    worth = sum(gains.values()) - test.minutes - MARK * test.marks
    main = max(gains, key=lambda name: gains[name])
    return NextTest(
        test.id, f"{'At a second place it' if again < 1.0 else 'It'} tells most for its {test.minutes:.0f} min, about "
        f"{main}.", _how(test), test.wait, test.minutes, worth, outcomes,
    )  # fmt: skip


def _how(test: Test) -> str:
    """How it is done; every solvent with what keeps it from hurting."""
    return f"{test.how} {SOLVENT_CARE}" if test.solvent else test.how


def _choice(chance: float) -> float:
    """Minutes of the better of taking it and declining."""
    return max(GAIN * chance - LOSS * (1.0 - chance), 0.0)


def _bits(joint: Floats) -> float:
    """Entropy of the coating [bits]; finishes of one coating count as one."""
    shares: dict[str, float] = {}
    for name, p in zip(names(), joint.sum(axis=0), strict=True):
        key = finishes()[name].coating or name if name != UNLISTED else UNLISTED
        shares[key] = shares.get(key, 0.0) + float(p)
    return -math.fsum(p * math.log2(p) for p in shares.values() if p > 0)


def _to_clear(survey: Survey, joint: Floats) -> float:
    """How many hazards the coating itself still raises."""
    of = dict(zip(names(), map(float, joint.sum(axis=0)), strict=True))
    paint = sum(
        p for name, p in of.items()
        if name == UNLISTED or not finishes()[name].coating or coating(finishes()[name].coating).kind == "paint"
    )  # fmt: skip
    return float(paint > RULED_OUT) + float(sum(of[name] for name in CELLULOSE) > RULED_OUT)
