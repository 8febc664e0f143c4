"""What a shop learned, as records for all faces: pairs, forecasts against outcomes, starts, likenesses, lots."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from proofpatch.learn.memory.exchange import Exchanged, Parcel
from proofpatch.learn.memory.population import counted
from proofpatch.learn.memory.skill import Skill
from proofpatch.phrases import lowered
from proofpatch.records_survey import REFIT, move_record
from proofpatch.shop.foretold import Told
from proofpatch.shop.learned import Pair, Property, headline, next_to_teach
from proofpatch.shop.likeness import Likeness
from proofpatch.shop.lots import Lot, Preview
from proofpatch.shop.starter import WEIGHT as STARTER_WEIGHT
from proofpatch.shop.starter import WHY
from proofpatch.shop.starts import Start
from proofpatch.survey.moved import moves
from proofpatch.survey.refit import Counts

WARNING = (
    "Whether a start from memory forecasts better than one from published data has been tried on simulated shops only. "
    "Test patches are laid either way."
)
# What the switch does, said before it is turned: the first where memory is off, the second where it is on.
SWITCH = {
    False: "Switched on, every job on which nothing was laid yet starts from what the other jobs taught. Jobs that "
    "were begun keep the start they have; each can be started anew on its own page.",
    True: "Switched off, no forecast rests on other jobs any more: all start from published data and their own "
    "patches. Nothing is forgotten.",
}
MOST_MOVED = 8  # shares of the survey's tests that are told, the farthest moved first
UNTOLD = "No forecast was kept yet. Each grade of a patch is one: what was said of it before is written down then."


def memory_record(
    on: bool, rows: Sequence[Pair], told: Told, lots: Sequence[Lot], formed: tuple[int, int, str | None],
    seen: Counts,
) -> dict[str, Any]:  # fmt: skip
    """What was learned."""
    first = next_to_teach(rows)
    return {
        "used": on, "because": headline(rows), "jobs": sum(row.jobs for row in rows),
        "patches": sum(row.patches for row in rows), "switch": SWITCH[on],
        "teaches_most": first.name if first else None, "pairs": [_pair(row) for row in rows],
        "skill": skill_record(told), "lots": [lot_record(one) for one in lots],
        "formed_anew": {"jobs": formed[0], "of": formed[1], "day": formed[2]}, "warning": WARNING,
        "confirmed": confirmed_record(on, seen),
    }  # fmt: skip


def confirmed_record(on: bool, seen: Counts) -> dict[str, Any]:
    """What confirmed pieces make of the survey's tests."""
    found = moves(seen)
    told = [move_record(one) for one in found[:MOST_MOVED]]
    return {"pieces": seen.pieces, "used": on, "because": _confirmed_words(on, seen, len(found)), "moved": told,
            "all_moved": len(found), "weight": REFIT}  # fmt: skip


def _confirmed_words(on: bool, seen: Counts, moved: int) -> str:
    if not seen.pieces:
        return "No tested piece of this shop is confirmed yet. Say on its survey page what it turned out to be."
    pieces = "1 confirmed piece" if seen.pieces == 1 else f"{seen.pieces} confirmed pieces"
    used = "The survey uses it." if on else "Memory is off: the survey does not use it."
    return f"{pieces} moved {moved} shares of answers in the survey's tests. {used}"


def _pair(row: Pair) -> dict[str, Any]:
    return {
        "name": row.name, "jobs": row.jobs, "patches": row.patches, "waiting": row.waiting,
        "lent_jobs": row.lent[0], "lent_patches": row.lent[1], "published_jobs": row.published,
        "first_job": row.first, "moved_nats": row.nats, "moved": row.moved,
        "most": [_property(one) | {"spreads": one.value, "said": one.shift} for one in row.most],
        "teaches_nats": row.teaches, "first_taught_nats": row.taught,
        "settles": [_property(one) | {"share": one.value} for one in row.opens], "next": row.next,
        "because": row.because,
    }  # fmt: skip


def start_words(row: Mapping[str, Any], on: bool) -> str:
    """What a new job of a pair starts from. on: whether memory is."""
    return str(row["because"]) if on else f"With memory on: {lowered(row['because'])}"


def _property(one: Property) -> dict[str, Any]:
    return {"property": one.name, "words": one.words}


def skill_record(told: Told) -> dict[str, Any]:
    """Forecasts against outcomes."""
    return {
        "because": skill_words(told), "forecasts": len(told.all), "jobs": told.jobs, "jobs_wanted": told.wanted,
        "worked_out_afterwards": told.late, "whole": asdict(told.whole) if told.whole else None,
        "periods": [asdict(one) | {"because": skill_words_of(one)} for one in told.periods],
        "said_and_came": {
            outcome: [
                {"from": low, "to": high, "forecasts": many, "mean_said": said, "came": came}
                for low, high, many, said, came in told.bins(outcome)
            ]
            for outcome in ("clean", "harm")
        },
    }  # fmt: skip


def skill_words(told: Told) -> str:
    """How good the forecasts were, or what is needed before that can be said."""
    if told.whole is None:
        return UNTOLD
    if told.wanted:
        more = f" {told.wanted} more job{'s' if told.wanted > 1 else ''} with graded patches will do."
        return f"{skill_words_of(told.whole)}{more}"
    return skill_words_of(told.whole)


def skill_words_of(one: Skill) -> str:
    """How good these forecasts were: a gain of g nats is e^g times the chance given to what then came."""
    head = f"{one.forecasts} forecasts on {one.jobs} job{'s' if one.jobs != 1 else ''}: "
    if one.error is None:
        return f"{head}too few to tell skill from luck."
    size = f"what came had been given {math.exp(one.gain):.2f} times the chance, {_gain(one)}"
    if one.gain > 2 * one.error:
        return f"{head}better than guessing by how often it came so here before ({size})."
    if one.gain < -2 * one.error:
        return f"{head}worse than guessing by how often it came so here before ({size}): trust patches, not forecasts."
    return f"{head}no better than guessing by how often it came so here before, as far as can be told ({size})."


def _gain(one: Skill) -> str:
    return f"{one.gain:+.2f} ± {one.error:.2f} nats a forecast"


def period_words(one: Skill) -> str:
    """How a stretch of jobs compares with the shop's own base rate."""
    if one.error is None:
        return "too few to tell"
    if one.gain > 2 * one.error:
        return "better"
    return "worse" if one.gain < -2 * one.error else "no telling"


def start_record(start: Start) -> dict[str, Any]:
    """What a job starts from."""
    return {
        "because": start.because, "used": start.used, "kept": start.entry is not None and not start.stale,
        "name": start.recalled.name if start.recalled else None,
        "version": start.entry.version if start.entry else None,
        "day": start.entry.changed.date().isoformat() if start.entry else None,
    }  # fmt: skip


def alike_record(rows: Sequence[Likeness], graded: bool | None, stop: str | None) -> dict[str, Any]:
    """Jobs like one. stop: why no patch and no recipe of it is given, or None."""
    return {
        "because": alike_words(rows, graded), "stop": stop, "tested": bool(graded),
        "jobs": [
            {"id": one.entry.id if one.entry else None, "title": one.entry.title if one.entry else one.title or None,
             "from": one.origin or None, "customer": one.customer or None, "source": one.source or None,
             "kind": one.kind, "distance": one.distance, "near": one.near,
             "patches": one.patches, "harmed": one.harmed, "recipe": one.recipe,
             "photo": one.photo.data["digest"] if one.photo else None, "outcome": one.outcome}
            for one in rows
        ],
    }  # fmt: skip


def alike_words(rows: Sequence[Likeness], graded: bool | None) -> str:
    """What the likeness rests on, or what is needed for one."""
    if graded is None:
        return "This job is refused before any beam, so it is like no other."
    if not rows:
        return (
            "No other job with as many layers has a graded patch yet. Grade patches on another piece, then look again."
        )
    if graded:
        return "Compared by what patches taught of coating and substrate, not by name."
    return "Nothing was graded here yet, so it is compared by what published data say of it."


def lot_record(lot: Lot) -> dict[str, Any]:
    """What was brought in."""
    data, named = lot.entry.data, ("shop", "key", "made", "origin", "weight", "jobs", "patches", "recipes")
    return {"id": lot.entry.id, "version": lot.entry.version, **{name: data[name] for name in named},
            "photos": data.get("photos", 0), "sources": data.get("sources", []),
            "counting": lot.counts, "published": lot.published, "brought_in": lot.entry.created.date().isoformat(),
            "deleted": lot.entry.deleted.isoformat() if lot.entry.deleted else None,
            "kinds": _kinds(lot.kinds)}  # fmt: skip


def preview_record(seen: Preview) -> dict[str, Any]:
    """What a file would bring."""
    parcel = seen.parcel
    return {"because": seen.because, "shop": parcel.shop, "key": parcel.key, "made": parcel.made,
            "origin": parcel.origin, "jobs": seen.jobs, "new": seen.new, "kinds": _kinds(seen.kinds),
            "photos": parcel.photos, "names": names_in(parcel.jobs), "sources": sources_in(parcel.jobs)}  # fmt: skip


def giving_record(jobs: Sequence[Exchanged]) -> dict[str, Any]:
    """What a file would give away, before it is made."""
    photos = {photo.sha256: len(photo.content or b"") for job in jobs for photo in job.photos}
    names = names_in(jobs)
    patches, recipes = sum(len(job.graded) for job in jobs), sum(job.recipe is not None for job in jobs)
    said = (
        f"{counted(len(jobs), 'job')} with {counted(patches, 'graded patch', 'es')} and {counted(recipes, 'recipe')}."
    )
    along = []
    if photos:
        size = max(round(sum(photos.values()) / 1000), 1)
        along.append(
            f"{counted(len(photos), 'small photo')} of patches and strips, {size} kB, without place or camera."
        )
    if names:
        along.append("By name: " + "; ".join(map(named, names)) + ".")
    none = [word for word, some in (("photo", photos), ("title or customer", names)) if not some]
    if none:
        along.append(f"No {' and no '.join(none)} goes along.")
    return {"jobs": len(jobs), "patches": patches, "recipes": recipes, "photos": len(photos),
            "photo_bytes": sum(photos.values()), "names": names, "because": " ".join([said, *along])}  # fmt: skip


def names_in(jobs: Sequence[Exchanged]) -> list[dict[str, str]]:
    """The title and customer of each job that names either."""
    return [{"title": job.title, "customer": job.customer} for job in jobs if job.title or job.customer]


def named(one: Mapping[str, str]) -> str:
    """A piece and whose it is, in words."""
    return f"{one['title']} (for {one['customer']})" if one["customer"] else one["title"]


def sources_in(jobs: Sequence[Exchanged]) -> list[str]:
    """The citations of published data, each once."""
    return list(dict.fromkeys(job.source for job in jobs if job.source))


def starter_record(found: Parcel | None) -> dict[str, Any] | None:
    """The starter knowledge as it is offered; None: it was taken in already."""
    if found is None:
        return None
    return {"jobs": len(found.jobs), "of": found.of, "weight": STARTER_WEIGHT, "sources": sources_in(found.jobs),
            "because": f"{starter_words(found)} {WHY}"}  # fmt: skip


def starter_words(found: Parcel) -> str:
    """How much published data there is to begin with."""
    many = len(found.jobs)
    return (
        f"{many} of {found.of} published cases {'prints' if many == 1 else 'print'} fluence, pulse width, repetition "
        "rate, scan speed and wavelength, with what became of coating and ground; the others leave one open."
    )


def _kinds(kinds: Any) -> list[dict[str, Any]]:
    return [{"name": name, "jobs": jobs, "patches": patches} for name, (jobs, patches) in sorted(kinds.items())]
