"""What the coating is: evidence in, probabilities of finish, coating, substrate, colour and condition out.

Every kind of ground and finish together is one hypothesis; each reading multiplies its chance by how often that finish
answers so (`reactions.csv`), bounded by how much one answer of that test may tell (`tests.toml`):

    P(h | readings) ∝ P(h) Π max(L(reading | h) / max_h L, 1/strength)^weight              (1)

A test that was done on a dirty place, too briefly, or beside another of the same chemistry weighs less, never more, and
no reading makes another one weigh less; so a reading that suits a finish best never lowers it. Readings that do not fit
each other are named, and where one test answered differently at two spots, the spots are told apart.

How often a finish answers so is in `finishes`, what a shop's confirmed pieces make of that in `refit`. The strengths
and the chances before any reading are ours, from memory, unverified.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from proofpatch.materials import substrate_ids
from proofpatch.phrases import in_100
from proofpatch.survey.evidence import TESTS, Reading, Survey
from proofpatch.survey.finishes import (
    OLD_FILM,
    Finish,
    _rows,
    cells,
    family_of,
    finishes,
    hazardous,
    likelihood,
    names,
    survey_age,
    words_of,
)
from proofpatch.survey.refit import NONE, Counts, held

Floats = NDArray[np.float64]
# Weights of readings, dates and doubts: all ours, from memory, unverified; the record says so.
UNLISTED_SHARE = 0.03
MODERATE, NOT_INVENTED = 4.0, 20.0  # odds of a date: the usual years; a finish not yet made on a piece never refinished
DOUBTFUL = 0.25  # a reading this much likelier under another finish does not fit the leading one
ANEW = 0.5  # what a second swab of the same test counts
DIRTY = 0.5  # what a touch test counts on a place that was not cleaned
YOUNG = 0.5  # what a solvent test counts on a film of this year, which may not have cured
HASTY = 0.5  # what "none" counts before the full wait


@dataclass(frozen=True)
class Identity:
    """What the piece may be. Every table adds to 1.

    finishes: {finish id, or "unlisted": chance}. coatings: {coating id: chance}, given it is one with physical data.
    elsewhere: chance that it is none of those. substrates, colours, conditions: {id: chance}.
    layers: how many were counted, or None. doubts: readings that do not fit, in sentences. assumed: in sentences.
    joint: (substrates, finishes + 1) chances behind them.
    """

    finishes: Mapping[str, float]
    coatings: Mapping[str, float]
    elsewhere: float
    substrates: Mapping[str, float]
    colours: Mapping[str, float]
    condition: str
    layers: int | None
    doubts: tuple[str, ...]
    assumed: tuple[str, ...]
    joint: Floats = field(repr=False, compare=False)

    @property
    def favourite(self) -> str:
        """The likeliest finish, or "unlisted"."""
        return max(self.finishes, key=lambda key: self.finishes[key])

    @property
    def ground(self) -> str:
        """The likeliest substrate."""
        return max(self.substrates, key=lambda key: self.substrates[key])


def identify(survey: Survey, seen: Counts = NONE) -> Identity:
    """The probabilities that these readings leave.

    Args:
        survey: readings and history (`read_survey`).
        seen: how confirmed pieces answered the tests; of nothing hazardous do they lower the chance.
    """
    split = torn(survey.readings)
    joint = _mixed(survey, split, NONE)
    doubts = _doubts(survey, joint, split)
    if seen.rows:
        joint = held(joint, _mixed(survey, split, seen), hazardous())
        doubts = _doubts(survey, joint, split, seen) or doubts
    return _summed(survey, joint, doubts)


def _mixed(survey: Survey, split: Sequence[str], seen: Counts) -> Floats:
    """(1); of a piece whose places answered differently the mean over them."""
    if not split:
        return _joint(survey, survey.readings, seen)
    # Two finishes, or two layers: no reading of one speaks of the other.
    spots = survey.spots()
    joints = [_joint(survey, [r for r in survey.readings if r.spot in (spot, "")], seen) for spot in spots]
    return np.asarray(np.mean(joints, axis=0))


def torn(readings: Sequence[Reading]) -> list[str]:
    """Tests that answered differently at two spots."""
    said: dict[str, dict[str, str]] = {}
    for reading in readings:
        if reading.spot and TESTS[reading.test].touch:
            said.setdefault(reading.test, {})[reading.spot] = reading.value
    return [test for test, values in said.items() if len(set(values.values())) > 1]


def prior(survey: Survey) -> Floats:
    """(substrates, finishes + 1): chances before any reading, from ground and date."""
    grounds = substrate_ids()
    under = np.array([survey.ground_shares().get(key, 0.0) for key in grounds])
    table = np.zeros((len(grounds), len(finishes()) + 1))
    for i, key in enumerate(grounds):
        family = family_of(key)
        often = np.array([
            finish.often[family] * _dated(finish, survey, family) * _used(finish, survey)
            if key in (finish.only_on or (key,)) else 0.0
            for finish in finishes().values()
        ])  # fmt: skip
        table[i, :-1] = (1.0 - UNLISTED_SHARE) * often / often.sum()
        table[i, -1] = UNLISTED_SHARE
    return np.asarray(table * under[:, None] / under.sum())


def _dated(finish: Finish, survey: Survey, family: str) -> float:
    """Factor on how often a finish is met, by the year of the piece; a refinished one tells nothing by its year."""
    year, factor = survey.year, 1.0
    if year is None or survey.refinished is True:
        return factor
    if finish.since is not None and year < finish.since:
        factor /= NOT_INVENTED if survey.refinished is False else MODERATE
    elif (finish.until is not None and year > finish.until) or year < (finish.rare_before or 0):
        factor /= MODERATE
    if finish.usual and family == "wood" and finish.usual[0] <= year <= finish.usual[1]:
        factor *= MODERATE if survey.refinished is False else MODERATE**0.5
    return factor


@lru_cache(maxsize=1)
def _uses() -> dict[tuple[str, str], float]:
    """(use, finish) -> factor on how often it is met."""
    return {(row["use"], row["finish"]): float(row["factor"]) for row in _rows("uses.csv")}


def _used(finish: Finish, survey: Survey) -> float:
    return math.prod(factor for (use, name), factor in _uses().items() if name == finish.id and survey.mentions(use))


def _joint(survey: Survey, readings: Sequence[Reading], seen: Counts = NONE) -> Floats:
    """(1), normalised."""
    with np.errstate(divide="ignore"):  # a finish this ground cannot carry
        logs = np.log(prior(survey))
    tried: dict[tuple[str, str], int] = {}
    for reading in readings:
        times = tried.get((reading.test, reading.value), 0)
        tried[reading.test, reading.value] = times + 1
        # Aged shellac refuses a swab at a second place as well as at the first.
        again = ANEW**times if times == 0 or not _refuses(survey, reading) else 0.0
        logs = logs + again * weight(survey, reading) * _log_likelihood(survey, reading, seen)
    joint = np.exp(logs - logs.max())
    return np.asarray(joint / joint.sum())


def _refuses(survey: Survey, reading: Reading) -> bool:
    """True of alcohol that did nothing to a film so old that shellac may refuse it."""
    old = survey.year is not None and survey.refinished is not True and survey_age(survey.year) > OLD_FILM
    return old and reading.test == "alcohol" and reading.value == "none"


def _log_likelihood(survey: Survey, reading: Reading, seen: Counts = NONE) -> Floats:
    """ln L of a reading; what dissolved slowly may as well have gelled, what gelled slowly have done nothing."""
    old_film = survey.year if survey.refinished is not True else None
    at_once = likelihood(reading.test, reading.value, old_film, seen)
    about = TESTS[reading.test]
    late, weaker = {"dissolves": (about.quick, "gummy"), "gummy": (about.slow, "none")}.get(reading.value, (None, ""))
    if late is not None and reading.seconds is not None and reading.seconds > late:
        at_once = 0.5 * (at_once + likelihood(reading.test, weaker, old_film, seen))
    return np.asarray(np.log(at_once))


def weight(survey: Survey, reading: Reading) -> float:
    """What of a reading counts [1]."""
    about = TESTS[reading.test]
    found = about.share
    if about.touch and survey.cleaned is False:
        found *= DIRTY
    if about.solvent and survey.year is not None and survey_age(survey.year) < 1:
        found *= YOUNG
    if about.wait and reading.value == "none" and reading.seconds is not None and reading.seconds < about.wait:
        found *= HASTY
    return found


def _summed(survey: Survey, joint: Floats, doubts: Sequence[str]) -> Identity:
    of_finish, of_ground = joint.sum(axis=0), joint.sum(axis=1)
    shares = dict(zip(names(), map(float, of_finish), strict=True))
    by_coating: dict[str, float] = {}
    for key, finish in finishes().items():
        if finish.coating:
            by_coating[finish.coating] = by_coating.get(finish.coating, 0.0) + shares[key]
    listed = math.fsum(by_coating.values())
    grounds = {key: float(p) for key, p in zip(substrate_ids(), of_ground, strict=True) if p > 0}
    return Identity(
        finishes=_sorted(shares),
        coatings=_sorted({key: p / listed for key, p in by_coating.items()}),
        elsewhere=max(1.0 - listed, 0.0),
        substrates=_sorted(grounds),
        colours=_colours(survey),
        condition=_condition(survey),
        layers=survey.layers,
        doubts=tuple(doubts),
        assumed=tuple(_assumed(survey)),
        joint=joint,
    )


def _sorted(shares: Mapping[str, float]) -> dict[str, float]:
    return dict(sorted(shares.items(), key=lambda item: -item[1]))


# Colours of the spot under the owner's eyes -> those the physical data know.
DATA_COLOUR = {
    "yellow": "pale", "grey": "pale", "orange": "red-brown", "red": "red-brown", "brown": "red-brown",
    "green": "blue-green", "blue": "blue-green",
}  # fmt: skip


def _colours(survey: Survey) -> dict[str, float]:
    said = survey.said("colour")
    if not said:
        return {"unknown": 1.0}
    return {DATA_COLOUR.get(colour, colour): 1.0 / len(said) for colour in said}


def _condition(survey: Survey) -> str:
    """Condition of the coating for its physical data; a year old or a generation old says something, between not."""
    if survey.condition:
        return survey.condition
    if survey.year is None or survey.refinished is not False:
        return "unknown"
    age = survey_age(survey.year)
    return "fresh" if age < 1 else "aged" if age > 25 else "unknown"


def _doubts(survey: Survey, joint: Floats, split: Sequence[str], seen: Counts = NONE) -> list[str]:
    """Readings that do not fit the leading finish, in sentences."""
    found = []
    for test in split:
        said = {r.spot: r.value for r in survey.readings if r.test == test and r.spot}
        spots = " and ".join(f"{spot}: {value}" for spot, value in said.items())
        found.append(
            f"{TESTS[test].title} answered differently at two places ({spots}): two finishes, or two layers. They are "
            "kept apart; treat them as two zones."
        )
    leading = int(joint.sum(axis=0).argmax())
    ground = int(joint.sum(axis=1).argmax())
    unfit = []
    for reading in survey.readings:
        fit = np.exp(_log_likelihood(survey, reading, seen))
        if reading.test in split or fit[ground, leading] >= DOUBTFUL * fit.max():
            continue
        here = fit[ground] * (prior(survey)[ground] > 0)
        best = int(np.argmax(here))
        if here[best] * DOUBTFUL >= fit[ground, leading]:
            unfit.append(f"{reading.words} speaks for {words_of(names()[best])}")
        else:
            best = int(np.argmax(fit.max(axis=0)))
            unfit.append(f"{reading.words} speaks for {words_of(names()[best])}, which this substrate hardly carries")
    if unfit:
        name = words_of(names()[leading])
        found.append(
            f"The readings do not all fit {name}: {'; '.join(unfit)}. Perhaps wax or another layer lies on top, or it "
            "was misread: clean, test at a second place; a sloped notch through all layers only once lead and asbestos "
            "are settled."
        )
    share = float(joint.sum(axis=0)[-1])
    if share > 0.25:
        found.append(
            f"In {in_100(share)} it is nothing this table lists: several layers, or something rare. Send a "
            "chip to a laboratory; a sloped notch through all layers only once lead and asbestos are settled."
        )
    return found


def _assumed(survey: Survey) -> list[str]:
    found = []
    touched = any(TESTS[r.test].touch for r in survey.readings)
    if touched and survey.cleaned is None:
        found.append("The tested places were cleaned of dirt and wax first (it was not said).")
    if survey.year is not None and survey.refinished is None:
        found.append("It may have been refinished since (it was not said).")
    swabs = [r for r in survey.readings if r.test == "alcohol"]
    if len(swabs) == 1 and swabs[0].value != "none":
        found.append(
            "Alcohol was tried at one place: shellac dissolves, transfers and hardens again, a water-based film turns "
            "gummy. One swab is no proof; try a second place (alcohol@another place)."
        )
    if not survey.ground:
        found.append("The substrate was not named, so all of them are weighed.")
    return found


def sources_of(survey: Survey, most: int = 40) -> tuple[tuple[str, str, str], ...]:
    """(source, locator, status) behind the readings given, each once."""
    found: dict[tuple[str, str, str], None] = {}
    leading = list(identify(survey).finishes)[:3]
    for reading in survey.readings:
        for name in leading:
            cell = cells("reactions.csv").get((name, reading.test))
            if cell is not None:
                found[cell.source, cell.locator, cell.status] = None
    for name in leading:
        if name in finishes():
            finish = finishes()[name]
            found[finish.source, finish.locator, finish.status] = None
    return tuple(found)[:most]
