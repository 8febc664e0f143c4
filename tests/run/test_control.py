"""The control patch: how often it cries wolf, what it names, and what it never says."""

import re
from dataclasses import replace

import numpy as np
import pytest

import proofpatch as pp
from proofpatch.errors import InputError
from proofpatch.learn.assumptions import assumption
from proofpatch.learn.belief import Recalled
from proofpatch.learn.evidence import HARMS, RESIDUES
from proofpatch.learn.grading import grade_table
from proofpatch.learn.kernels import outcomes
from proofpatch.learn.rows import hand_row, setting_row
from proofpatch.learn.surprise import SURPRISE, expected
from proofpatch.learn.unknowns import latents
from proofpatch.physics import rows as at
from proofpatch.run import control as room
from proofpatch.run.control import NOTHING, before, control
from proofpatch.run.piece import table

STRONGER = re.compile(r"more power|higher power|(?:raise|increase|turn up|stronger) ", re.IGNORECASE)


@pytest.fixture(scope="module")
def laid(at_work):
    return [pp.Graded(at_work(passes=n), r, "none") for n, r in ((2, "partial"), (4, "nearly"), (8, "clean"))]


@pytest.fixture(scope="module")
def belief(oak_belief, laid):
    return pp.update(oak_belief, laid)


@pytest.fixture(scope="module")
def recipe(at_work):
    return at_work(passes=8)


@pytest.fixture(scope="module")
def all_grades(belief, recipe):
    """What is said of every pair of grades."""
    return {(r, h): control(belief, pp.Graded(recipe, r, h)) for r in RESIDUES for h in HARMS}


def test_what_is_expected_is_what_the_learning_expects(belief, recipe):
    found = control(belief, pp.Graded(recipe, "clean", "none"))
    assert found.verdict == "as expected"
    assert sum(found.expected["residue"].values()) == pytest.approx(1.0)
    harm = found.expected["harm"]
    assert harm["none"] + harm["tint"] == pytest.approx(1.0)
    assert harm["tint"] >= harm["marked"] >= harm["burnt"]
    both = sum(expected(belief, pp.Graded(recipe, "clean", h)) for h in ("none", "tint"))
    assert found.expected["residue"]["clean"] == pytest.approx(both)


def test_a_day_on_which_nothing_is_wrong_seldom_surprises(all_grades):
    told = all_grades["clean", "none"].expected["residue"]
    # By construction of a tail, whatever is believed.
    assert sum(told[r] for r in RESIDUES if all_grades[r, "none"].verdict == "surprise") <= SURPRISE
    assert all_grades["no effect", "none"].verdict == "surprise"


def test_harm_always_stops_whatever_was_expected(all_grades):
    for (_, harm), found in all_grades.items():
        assert (found.verdict == "harm") == (harm != "none")
        if harm != "none":
            assert found.next.startswith("Beam off.")
            assert found.causes[0].title in found.words
            assert "nothing is wrong" not in " ".join([found.words, *(one.text for one in found.causes)]).lower()


def test_more_power_is_never_the_answer(all_grades):
    for found in all_grades.values():
        for said in (found.words, found.next, *(one.text for one in found.causes), *(one.next for one in found.causes)):
            assert not STRONGER.search(said.replace("no stronger setting anywhere", "")), said
    for name, row in table("causes.toml").items():
        assert not STRONGER.search(row["next"]), name


def test_shares_are_chances_and_the_likeliest_stands_first(all_grades):
    for found in all_grades.values():
        if found.causes:
            shares = [one.share for one in found.causes]
            assert sum(shares) == pytest.approx(1.0)
            assert shares == sorted(shares, reverse=True)
            assert found.causes[0].title in found.words or found.causes[0].name == NOTHING


def test_the_first_step_is_the_most_chance_a_minute(all_grades):
    found = all_grades["partial", "none"]
    real = [one for one in found.causes if one.name != NOTHING]
    best = max(real, key=lambda one: one.share / one.minutes)
    # Where it is not the look of the likeliest cause, the sentence says why it comes first.
    said = "" if best.name == real[0].name else "Begin with what is looked at soonest. "
    assert found.next.startswith(said + best.next)


def test_a_check_that_was_right_makes_its_cause_less_likely(belief, recipe):
    dirty = pp.Graded(recipe, "partial", "none")

    def shares(answered):
        return {one.name: one.share for one in control(belief, dirty, answered).causes}

    plain, looked = shares(()), shares(("window", "wood-moisture"))
    for name, factor in (("window", 0.3), ("wet", 0.1), ("thicker", 1.0)):
        assert looked[name] / looked["focus"] == pytest.approx(factor * plain[name] / plain["focus"])


def test_every_cause_of_the_table_is_asked(all_grades):
    assert {one.name for one in all_grades["partial", "none"].causes} == set(table("causes.toml"))
    assert {*room.LIT, *room.CHANGED, "other"} == set(table("causes.toml"))


def test_a_timed_stroke_went_as_fast_as_it_went(belief, recipe):
    timed = pp.Graded(recipe, "partial", "none", seconds=2.0, length=0.1)
    assert not {"faster", "slower"} & {one.name for one in control(belief, timed).causes}


def test_steel_is_not_wet_and_a_coat_can_be_named(at_work):
    steel = pp.prior(pp.Surface(["tight-rust"], "mild-steel"), "pulsed-500", draws=128)
    found = control(steel, pp.Graded(at_work(passes=1), "no effect", "tint"), others={"mill-scale": 1.0})
    names = {one.name for one in found.causes}
    assert "wet" not in names
    assert "other" in names


def test_two_patches_of_a_day_tell_more_than_one(belief, recipe):
    dirty = pp.Graded(recipe, "partial", "none")
    one, two = (next(c.share for c in control(belief, [dirty] * n).causes if c.name == NOTHING) for n in (1, 2))
    assert two < one


def test_before_takes_the_patches_out(belief, oak_belief, laid, recipe):
    seen = pp.Graded(recipe, "partial", "none")
    assert before(pp.update(belief, [seen]), [seen]) == belief
    assert before(belief, laid) == oak_belief
    assert before(pp.update(belief, [laid[0]]), [laid[0]]) == belief  # of two alike one stays
    with pytest.raises(InputError, match="no control patch"):
        control(belief, [])


def test_before_starts_from_what_earlier_jobs_taught(oak_belief, laid):
    table = latents(oak_belief.surface)
    known = Recalled(np.full((len(table.weights), len(table.names)), 0.1), np.stack([np.eye(len(table.names))]
                     * len(table.weights)), "tested")  # fmt: skip
    start = pp.prior(oak_belief.surface, oak_belief.laser, memory=known, draws=64)
    assert before(pp.update(start, laid), laid) == start


def test_a_share_from_a_photo_is_judged_by_its_grade(belief, recipe):
    by_photo = pp.Graded(recipe, "clean", "none", fraction_left=0.004, fraction_error=0.006)
    assert control(belief, by_photo) == control(belief, pp.Graded(recipe, "clean", "none"))
    odd = pp.Graded(recipe, "no effect", "none", fraction_left=1.0, fraction_error=0.01)
    assert control(belief, odd).causes == control(belief, pp.Graded(recipe, "no effect", "none")).causes


# Simulated days, graded by the plain table of the physics' outcome, not by what judges them: a cause is drawn by its
# odds, its size from its range, the surface from the belief.
def test_on_simulated_days_the_shares_are_what_happens(belief, recipe, all_grades):
    rows = table("causes.toml")
    names = [n for n in rows if n != "other"]  # another coating has no size to draw
    odds = np.array([rows[n]["prior"] for n in names])
    rng = np.random.default_rng(7)
    days, told, blind, nothing, was = 0, 0.0, 0.0, 0.0, 0
    for _ in range(1000):
        name = names[rng.choice(len(names), p=odds / odds.sum())]
        residue, harm = _day(belief, recipe, name, rows[name], rng)
        found = all_grades[residue, harm]
        if found.verdict == "as expected":
            continue
        share = {one.name: one.share for one in found.causes}
        known = {n: share[n] / (1 - share["other"]) for n in names if n in share}
        days += 1
        told += np.log(known[name])
        blind += np.log(odds[names.index(name)] / odds.sum())
        nothing += known[NOTHING]
        was += name == NOTHING
    assert days > 60
    # Ln score: the shares know more than the odds alone (Good 1952).
    assert told / days > blind / days + 0.2
    # And they keep their word: nothing was wrong about as often as it was said.
    assert was / days == pytest.approx(nothing / days, abs=3 * np.sqrt(0.25 / days))


def _day(belief, setting, name, row, rng):
    """(residue, harm) of one patch on a day with this cause, drawn."""
    draw = rng.choice(belief.draws, p=belief.weight)
    below, above = (np.log(row["value"] / row["low"]), np.log(row["high"] / row["value"]))
    z = rng.standard_normal()
    size = row["value"] * np.exp(z * (below if z < 0 else above) / 1.645)
    layer, sub, laser = belief.layer[draw : draw + 1].copy(), belief.substrate[draw : draw + 1].copy(), belief.laser
    if name in ("window", "drift"):
        laser = replace(laser, power_factor=min(size, 1.0))
    elif name == "focus":
        graded = room._defocused(pp.Graded(setting, "clean", "none"), laser, size * 1e-3)
        setting, laser = graded.setting, graded.laser
    elif name in ("faster", "slower"):
        setting = setting.with_(travel_speed=setting.travel_speed * size)
    elif name in ("thicker", "thinner"):
        layer[..., at.THICKNESS] *= size
    elif name == "wet":
        sub[:, at.HEAT_CAPACITY] *= 1 + 3.5 * size
    elif name == "darker":
        sub[:, at.ABSORPTANCE] = min(sub[0, at.ABSORPTANCE] * size, 0.98)
        sub[:, at.SKIN_SHARE] = min(sub[0, at.SKIN_SHARE] * size, 1.0)
    hand = hand_row(belief.hand, patch=True)
    hand[0] *= 2.0  # not timed
    need, spread, margin, *_ = outcomes(layer, sub, np.array([setting_row(setting, laser)]), hand, 0)
    noise = np.sqrt(assumption("setting_noise").value ** 2 + sub[:, at.GRADER] ** 2)[:, None]
    residues, harms = grade_table(need, spread, margin, noise, assumption("wrong_grade").value)
    clean_first = list(reversed(RESIDUES))
    said = clean_first[rng.choice(5, p=residues[0, 0])]
    return said, HARMS[rng.choice(4, p=harms[0, 0])]
