"""An invented workshop's job through all six calls, told to a newcomer with the numbers as they come.

The piece is simulated and the shop does not see it: one concrete surface drawn from a belief of another seed,
run through the same physics, judged by a grader with noise and the odd wrong grade. It shares the form of the
model, so the story shows that the loop works, not how it fares in the world. At the end the piece is looked at.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

import proofpatch as pp
from proofpatch.cli_show import CLOCK_WORDS, setting_words, wrapped
from proofpatch.hazards import CAUTIONS
from proofpatch.learn.assumptions import assumption
from proofpatch.learn.forecast import envelope
from proofpatch.learn.grading import CLEAN_EDGE, harm_chance, residue_chance
from proofpatch.learn.kernels import outcomes
from proofpatch.learn.recipe import same
from proofpatch.learn.rows import hand_row, setting_rows
from proofpatch.physics.rows import GRADER, SPEED_SPREAD
from proofpatch.records import forecast_record, recipe_record
from proofpatch.shop.invented import WORKSHOP
from proofpatch.shop.log import setting_to
from proofpatch.survey import Lead, first_stop
from proofpatch.units import chance, show

PIECE = "the lid of an oak chest under an old oil varnish"
SURFACE = pp.Surface([pp.Layer("varnish", condition="aged")], "red oak", condition="aged")
LASER = "pulsed-500"
YEAR = 1904
LEAD = Lead("negative", "laboratory test of a scraping", "2025-03-11")
# The owner of the chest accepts that a faint tint may have to be scraped away in places.
LIMITS = pp.Limits(p_clean=0.90, p_harm=0.05, p_harm_patch=0.15)
ZONES = (0.55, (0.12, 1.5))  # m²: the flat of the lid; its mouldings take half as long again
STRIPS, STEPS, CONFIRMATIONS = 4, 3, 4
STROKE = 0.1  # m, length of a test stroke
SEED = 3  # piece that is shown unless another is asked for
TRUTH_SEEDS = 1000

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Piece:
    """What really lies on the bench, and who grades it. The shop sees only the grades."""

    layer: Floats
    substrate: Floats
    rng: np.random.Generator
    laser: pp.Laser

    def outcome(self, settings: list[pp.Setting], patch: bool) -> tuple[Floats, Floats]:
        """(by how much clean is reached, margin before harm) of each setting on a log scale; below 0 it is not."""
        need, spread, margin, _, _, _ = outcomes(
            self.layer,
            self.substrate,
            setting_rows(settings, self.laser),
            hand_row(pp.Hand(), patch=patch),
            self.layer.shape[1] - 1,
        )
        return CLEAN_EDGE * spread[0] - need[0], margin[0]

    def grade(self, setting: pp.Setting) -> pp.Graded:
        """Lay a patch with a hand that is not quite steady, and judge it with an eye that is not quite sure."""
        pace = setting.travel_speed * float(np.exp(hand_row(pp.Hand(), patch=True)[SPEED_SPREAD] * self.rng.normal()))
        rows = setting_rows([setting.with_(travel_speed=pace)], self.laser)
        hand = hand_row(pp.Hand(), patch=True)
        need, spread, margin = (
            a[0, 0] for a in outcomes(self.layer, self.substrate, rows, hand, self.layer.shape[1] - 1)[:3]
        )
        wrong = assumption("wrong_grade").value
        noise = float(np.hypot(assumption("setting_noise").value, self.substrate[0, GRADER]))
        residue = np.array([residue_chance(i, need, spread, noise, wrong) for i in range(len(pp.RESIDUES))])
        harm = np.array([harm_chance(i, margin, noise, wrong) for i in range(len(pp.HARMS))])
        left = pp.RESIDUES[len(pp.RESIDUES) - 1 - int(self.rng.choice(len(residue), p=residue / residue.sum()))]
        hurt = pp.HARMS[int(self.rng.choice(len(harm), p=harm / harm.sum()))]
        return pp.Graded(setting, left, hurt, seconds=STROKE / pace, length=STROKE, grader="simulated")

    def could_be_cleaned(self) -> bool:
        """True if any setting of the window the forecast spans cleans the whole piece without harm."""
        clean, margin = self.outcome(list(envelope(self.laser)), patch=False)
        return bool(np.any((clean >= 0) & (margin >= 0)))


def draw_piece(seed: int, surface: pp.Surface = SURFACE, laser: str = LASER) -> Piece:
    """One concrete surface of the kind described, from a prior the shop does not have."""
    source = pp.prior(surface, laser, seed=seed + TRUTH_SEEDS)
    rng = np.random.default_rng([seed, TRUTH_SEEDS])
    i = int(rng.integers(source.draws))
    return Piece(source.layer[i : i + 1].copy(), source.substrate[i : i + 1].copy(), rng, pp.laser(laser))


def play(seed: int, say: Callable[[str], Any]) -> dict[str, Any]:
    """The whole job, said line by line; returned as a record."""
    started = time.perf_counter()
    teller = _Teller(say)
    piece = draw_piece(seed)
    belief, record = _describe(seed, teller)
    found, belief = _test(belief, piece, teller, record)
    _recipe(found, belief, teller, record)
    _reveal(found, piece, teller, record)
    record |= {"seed": seed, "workshop": WORKSHOP, "seconds": time.perf_counter() - started}
    return record


class _Teller:
    """Says headings and paragraphs."""

    def __init__(self, say: Callable[[str], Any]) -> None:
        self.say = say
        self._stages: list[str] = []

    def head(self, text: str, stage: str = "") -> None:
        """A heading; of a stage of the job, with the number at which the stage came."""
        if stage:
            self._stages += [stage] if stage not in self._stages else []
            text = f"{self._stages.index(stage) + 1}. {text}"
        self.say("")
        self.say(f"{text}\n{'-' * len(text)}")

    def tell(self, text: str, indent: str = "") -> None:
        for line in wrapped(text, indent, indent):
            self.say(line)


def _describe(seed: int, teller: _Teller) -> tuple[pp.Belief, dict[str, Any]]:
    """Survey, prior and forecast."""
    laser = pp.laser(LASER)
    teller.head(f"{WORKSHOP} (invented): {PIECE}, simulated piece {seed}")
    teller.tell(
        f"A chest from about {YEAR} waits for a new finish. Before any beam comes lead: {LEAD.method}, "
        f"{LEAD.status}, {LEAD.date}. Without that record proofpatch would name no setting at all."
    )
    stopped = first_stop(SURFACE, YEAR, LEAD)
    assert stopped is None, stopped
    teller.head("prior: what is known before the first patch", "prior")
    belief = pp.prior(SURFACE, LASER, seed=seed)
    memory = sum(1 for datum in belief.data if datum.status == "memory")
    teller.tell(
        f"{belief.draws} thinkable chests are drawn: thickness, darkness and grip of the varnish, colour and heat of "
        f"the wood, each over its range. {memory} of the {len(belief.data)} values behind them are from memory, "
        "unverified, so the ranges are wide."
    )
    teller.head("forecast: can it be done at all?", "forecast")
    window = pp.forecast(belief, LIMITS)
    record = {"forecast": forecast_record(window), "strips": []}
    teller.tell(
        f"Each is put before {len(window.settings)} settings of the {laser.title}. In {chance(window.chance)} of them "
        f"some setting cleans without harm: {window.answer}."
    )
    teller.tell(window.because)
    teller.tell(
        f"The owner wants clean with a chance of at least {chance(LIMITS.p_clean)} and bears harm with at most "
        f"{chance(LIMITS.p_harm)}, since a faint tint can be scraped. "
        + (
            "One setting already meets both."
            if window.admissible.any()
            else "No single setting meets both yet, because nobody knows which of these chests this one is. Patches "
            "will tell."
        )
    )
    return belief, record


def _test(belief: pp.Belief, piece: Piece, teller: _Teller, record: dict[str, Any]) -> tuple[pp.Recipe, pp.Belief]:
    """Strips until a recipe is admissible, then its confirmation."""
    found = pp.recipe(belief, LIMITS)
    strips = confirmations = 0
    while not found.confirmed:
        confirming = found.setting is not None
        if (confirming and confirmations == CONFIRMATIONS) or (not confirming and strips == STRIPS):
            break
        patches = pp.next_patch(belief, LIMITS, count=1 if confirming else STEPS)
        on_the_way = found.setting is not None and not (patches and same(patches[-1].setting, found.setting))
        if on_the_way:
            teller.head("a step towards the recipe", "confirm")
            teller.tell("The recipe is more than a step harder than anything shown yet, so one patch lies on the way.")
        elif confirming:
            teller.head("confirm: the recipe itself as a patch", "confirm")
        else:
            teller.head(f"next_patch and update: strip {strips + 1}", "strips")
        if not patches:
            teller.tell(
                f"No patch is left that only goes a step past what was shown and keeps its harm within "
                f"{chance(LIMITS.p_harm_patch)}. A careful shop stops here."
            )
            break
        strips, confirmations = strips + (not confirming), confirmations + confirming
        if not confirming and strips == 1:
            teller.tell(
                "A strip is several steps on one hidden spot, gentlest first. The steps are chosen to teach most about "
                "which recipe this chest wants; the first harm ends the strip."
            )
        seen = _lay(patches, piece, teller)
        record["strips"].append(
            {
                "confirms": confirming and not on_the_way,
                "steps": [{"setting": setting_to(g.setting), "residue": g.residue, "harm": g.harm} for g in seen],
            }
        )
        belief = pp.update(belief, seen)
        found = pp.recipe(belief, LIMITS)
        _learned(found, belief, seen[-1] if confirming and not on_the_way else None, teller)
    return found, belief


def _lay(patches: list[pp.Patch], piece: Piece, teller: _Teller) -> list[pp.Graded]:
    seen: list[pp.Graded] = []
    for i, patch in enumerate(patches, 1):
        graded = piece.grade(patch.setting)
        seen.append(graded)
        teller.tell(f"Step {i}: {setting_words(setting_to(patch.setting))}.", "  ")
        teller.tell(
            f"expected: clean {chance(patch.p_clean)}, harm {chance(patch.p_harm)}. "
            f"The eye says: {graded.residue}, harm {graded.harm}.",
            "    ",
        )
        if graded.harm != "none":
            left = len(patches) - i
            teller.tell(f"Harm: the strip ends here{f', {left} unlaid' if left else ''}.", "    ")
            break
    return seen


def _learned(found: pp.Recipe, belief: pp.Belief, confirmation: pp.Graded | None, teller: _Teller) -> None:
    """What the strip, or the confirmation patch, changed."""
    count = len(belief.evidence)
    learned = f"After {count} graded step{'s' if count != 1 else ''} "
    if found.confirmed:
        teller.tell(f"{learned}the patch at the recipe itself was clean and harmless: confirmed.")
    elif found.setting is None:
        teller.tell(f"{learned}there is no recipe: {found.because.removeprefix('None: ').split('. After ')[0]}.")
    else:
        if confirmation is None:
            said = "a recipe is in sight, not confirmed yet"
        elif (confirmation.residue, confirmation.harm) == ("clean", "none"):
            said = "the patch was as hoped, and what it taught moves the recipe on; the new one is to be confirmed too"
        else:
            said = "the patch was not as hoped and moves the recipe; the new one is to be confirmed"
        teller.tell(
            f"{learned}{said}: clean {chance(found.p_clean)}, harm {chance(found.p_harm)} on the whole lid under a "
            "human hand."
        )


def _recipe(found: pp.Recipe, belief: pp.Belief, teller: _Teller, record: dict[str, Any]) -> None:
    """The recipe with its margins and hours, or that there is none."""
    teller.head("recipe: what to dial in", "recipe")
    hours = None
    if found.setting is None:
        teller.tell(
            "None. The shop does not touch the lid with the beam beyond the test spot; it tests further, relaxes the "
            "limits with the owner, or offers another method. That is an answer too."
        )
    else:
        teller.tell(f"{setting_words(setting_to(found.setting))}.", "  ")
        slow, fast = found.margins["travel_speed"]
        teller.tell(
            f"The limits hold for a hand from {show(slow, 'speed')} to {show(fast, 'speed')} and up to "
            f"{show(found.margins['stand_off'][1], 'length')} out of focus. Harm would come first from "
            f"{CLOCK_WORDS.get(found.governs, found.governs)}."
        )
        if not found.confirmed:
            teller.tell("It is not confirmed: a careful shop lays one more patch at this very setting first.")
        for line in CAUTIONS:
            teller.tell(line, "  ")
        teller.head("hours: how long it takes", "hours")
        hours = pp.hours(found, belief, ZONES)
        low, high = (f"{hours.quantile(q) / 3600:.2g}" for q in (0.1, 0.9))
        area = sum(zone if isinstance(zone, float) else zone[0] for zone in ZONES)
        teller.tell(
            f"{show(area, 'area')} at {show(found.area_rate, 'area rate')} beam on, with set-up, lanes and rest: "
            f"{low} to {high} hours, 8 times in 10. The offer carries the range, not one number."
        )
    record["recipe"] = recipe_record(found, hours)


def _reveal(found: pp.Recipe, piece: Piece, teller: _Teller, record: dict[str, Any]) -> None:
    """What the recipe would truly do to the piece."""
    teller.head("The piece, revealed")
    possible = piece.could_be_cleaned()
    clean = harmless = None
    if found.setting is None:
        outcome = "no recipe"
        teller.tell(
            "Some setting of this laser would have cleaned this chest without harm; the patches did not find out "
            "which within the owner's limits. Time was lost, the chest was not."
            if possible
            else "No setting of this laser cleans this chest without harm. Saying no was right."
        )
    else:
        reached, margin = piece.outcome([found.setting], patch=False)
        clean, harmless = bool(reached[0] >= 0), bool(margin[0] >= 0)
        outcome = "scorched" if not harmless else "clean and harmless" if clean else "coating left"
        teller.tell(
            {
                "clean and harmless": "The recipe is truly clean and harmless on this chest, edges of a human hand "
                "included.",
                "coating left": "The recipe harms nothing but leaves more than a hundredth of the lid coated: another "
                "pass is due, at the cost of time.",
                "scorched": "The recipe harms this chest on more than a thousandth of its face: the patches looked "
                "better than the lid. The limits allow that in a few chests of a hundred, and this is one.",
            }[outcome]
        )
        if not possible and outcome != "clean and harmless":
            teller.tell("No setting of this laser would have cleaned this chest without harm.")
    record["truth"] = {"clean": clean, "harmless": harmless, "possible": possible}
    record["outcome"] = outcome
