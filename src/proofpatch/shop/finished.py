"""What a finished job comes to, as plain data: agreed, done, measured, how it looks, what is left to do, and what all
of it rests on. Where nobody looked or measured it says None, and the paper says "not measured".

SI inside, keys with their unit; times as they were written.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from proofpatch.learn.belief import Belief
from proofpatch.materials import coating_data, coating_mixture
from proofpatch.measure.zones import Zone, likely, totals
from proofpatch.offer.removed import removed_mass
from proofpatch.phrases import raised
from proofpatch.run.care import care_of
from proofpatch.run.day import checks_of
from proofpatch.run.piece import Piece, piece_of
from proofpatch.run.stops import sign
from proofpatch.run.visual import visual_of
from proofpatch.shop.job import Job
from proofpatch.shop.run import CHECK, DONE, INCIDENT, Standing, of_piece, state_of_batch
from proofpatch.shop.surveyed import still_there
from proofpatch.sources import Datum, cite, sources

Data = Mapping[str, Any]
QUANTILES = (10, 50, 90)
OF_TONE = "ciede2000"
UNLOGGED = "Nothing of the run was logged: what was done, and how it looks, is not recorded."


@dataclass(frozen=True)
class Logged:
    """What a job has on record of its days. entries: of the run, their data by time. days: their data by date.

    pairs: of photos, as `finished_pairs.pair_record` has them. agreed: as `agreed_record` has it, None: nothing was.
    passes: of the recipe, for a zone whose end says none. patches: graded ones, as lines of a log.
    """

    entries: Sequence[Data] = ()
    days: Sequence[Data] = ()
    pairs: Sequence[Data] = ()
    agreed: Data | None = None
    passes: int = 1
    patches: Sequence[Data] = ()


def finished(work: Job, logged: Logged, belief: Belief | None = None, air: Data | None = None) -> dict[str, Any]:
    """All that the record says of the work itself; who it is for and its number are `completions.headed`'s.

    Args:
        work: the job. belief: with its patches; None: the mass that came off is not told.
        air: of the hazards' record; None: what to do with the residue is not told.
    """
    piece = piece_of(work.surface)
    pieces = max([int(work.offer["offer"].get("pieces", 1)), *(one.get("piece") or 1 for one in logged.entries)])
    standing, on = state_of_batch(logged.entries, len(work.measured), pieces, logged.passes)
    zones = [
        {**_zone(zone, one, logged.entries, piece), "done_pieces": count}
        for zone, one, count in zip(work.measured, standing, on, strict=True)
    ]
    worked = [count for count, one in zip(on, zones, strict=True) if not one["untouched"]]
    looked = [one["grade"] for one in zones if one["grade"]] or _whole_grades(logged.entries)
    days = [_day(one, piece) for one in logged.days]
    waste = _waste(work, belief, air, zones)
    incidents = [_incident(one, work.measured) for one in logged.entries if one["what"] == INCIDENT]
    record: dict[str, Any] = {
        "agreed": logged.agreed, "zones": zones, "pieces": pieces, "pieces_done": min(worked, default=0),
        "laser": {"title": work.laser.title, "measured": list(work.laser.measured)},
        "surface": {"coats": [one.title for one in work.surface.coats], "substrate": piece.substrate},
        "patches": {"graded": len(logged.patches), "harmed": sum(one["harm"] != "none" for one in logged.patches)},
        "areas": _areas(work.measured, zones), "settings": settings_of(logged.entries), "days": days,
        "beam_s": _summed(one["seconds"] for one in logged.entries),
        "began": logged.entries[0]["at"] if logged.entries else None,
        "ended": logged.entries[-1]["at"] if logged.entries else None,
        "pairs": [dict(one) for one in logged.pairs], "whole_grade": _of_whole(logged.entries, zones, piece),
        "trade": visual_of(piece, None, None).trade, "visual_note": visual_of(piece, None, None).note,
        "waste": waste, "incidents": incidents,
        "care": [{"part": one.part, "text": one.text, "sources": list(one.sources)} for one in care_of(piece)],
    }  # fmt: skip
    record["open"] = _open(work, record, logged)
    record["sources"] = _sources(work, record, looked, piece)
    return record


def settings_of(entries: Iterable[Data]) -> list[dict[str, Any]]:
    """The settings that were really dialled, each once in the order they came, with the zones they were used in."""
    found: dict[str, dict[str, Any]] = {}
    for one in entries:
        if one["setting"] is not None:
            setting = {**one["setting"], "passes": one["passes"] or one["setting"]["passes"]}
            said = found.setdefault(json.dumps(setting, sort_keys=True), {"setting": setting, "zones": []})
            if one["zone"] is not None and one["zone"] not in said["zones"]:
                said["zones"].append(one["zone"])
    return list(found.values())


def _zone(zone: Zone, standing: Standing, entries: Sequence[Data], piece: Piece) -> dict[str, Any]:
    own = [one for one in entries if one["zone"] == standing.zone]
    return {
        "number": standing.zone, "name": zone.name, "area_m2": zone.area, "beam_m2": zone.area * zone.beam_share,
        "untouched": zone.untouched, "hand_finish": zone.hand_finish, "state": standing.state if entries else None,
        "passes": standing.passes if own else None, "worked_s": 60.0 * standing.minutes if own else None,
        "began": next((one["at"] for one in own if one["what"] == "begin"), None),
        "ended": next((one["at"] for one in reversed(own) if one["what"] == "end"), None),
        "photos": sum(len(one["photos"]) for one in own), "grade": _grade(own, piece),
    }  # fmt: skip


def _grade(entries: Sequence[Data], piece: Piece) -> dict[str, Any] | None:
    """The last look at the finished surface, and what it means in the trade's words; None: nobody looked."""
    looked = [one for one in entries if one["what"] == CHECK and (one["residue"] or one["harm"])]
    if not looked:
        return None
    last = looked[-1]
    seen = visual_of(piece, last["residue"], last["harm"], last["fraction_left"])
    return {
        "residue": last["residue"], "harm": last["harm"], "fraction_left": last["fraction_left"], "at": last["at"],
        "grader": last["grader"], "wiped": last["wiped"], "left_words": seen.left, "surface_words": seen.surface,
        "piece": last.get("piece"), "looks": len(looked), "sources": list(seen.sources),
    }  # fmt: skip


def _whole_grades(entries: Sequence[Data]) -> list[Data]:
    return [one for one in entries if one["what"] == CHECK and one["zone"] is None and (one["residue"] or one["harm"])]


def _of_whole(entries: Sequence[Data], zones: Sequence[Data], piece: Piece) -> dict[str, Any] | None:
    """A look at the piece as a whole, of a job that counts no zones."""
    return None if zones else _grade(_whole_grades(entries), piece)


def _areas(measured: Sequence[Zone], zones: Sequence[Data]) -> dict[str, Any] | None:
    """Areas [m²] with the range in which they lie nine times in ten; None: nothing was measured."""
    if not measured:
        return None
    sums = totals(measured)
    low, high = likely(sums.area, sums.spread) if sums.area else (0.0, 0.0)
    done = sum(one["done_pieces"] * one["beam_m2"] for one in zones)
    return {"all_m2": sums.area, "low_m2": low, "high_m2": high, "beam_m2": sums.beam, "by_hand_m2": sums.by_hand,
            "done_m2": done, "spread": sums.spread}  # fmt: skip


def _day(data: Data, piece: Piece) -> dict[str, Any]:
    """The checks of a day: how many were right, which were not, and what was read off, or None where only ticked."""
    known = {one.name: one for one in checks_of(piece)}
    answers = data["checks"]
    # Power may have been read on the page of the laser instead.
    alone = {name for name, one in answers.items() if one["ok"] is True and name != "power"}
    return {
        "date": data["date"], "checks": len(known), "right": sum(one["ok"] is True for one in answers.values()),
        "wrong": [known[name].title for name, one in answers.items() if one["ok"] is False and name in known],
        "controls": len(data["controls"]),
        "values": [
            {"title": known[name].title, "kind": known[name].reads, "value": one["value"]}
            for name, one in answers.items()
            if (one["value"] is not None or name in alone) and name in known and known[name].reads
        ],
    }  # fmt: skip


def _waste(work: Job, belief: Belief | None, air: Data | None, zones: Sequence[Data]) -> dict[str, Any]:
    """What came off where the work is done [kg], 8 times in 10, what of it was caught, and what the residue is."""
    done = sum(one["done_pieces"] * one["beam_m2"] for one in zones)
    mass = caught = None
    if belief is not None and done > 0:
        drawn = removed_mass(belief, done)
        mass = {f"p{p}": float(np.quantile(drawn, p / 100)) for p in QUANTILES}
        caught = {name: value * work.capture for name, value in mass.items()} if work.capture else None
    return {"mass_kg": mass, "caught_kg": caught, "capture": work.capture or None,
            "words": air["waste"] if air else "", "filters": air["filters"] if air else ""}  # fmt: skip


def _incident(data: Data, measured: Sequence[Zone]) -> dict[str, Any]:
    number = data["zone"]
    named = measured[number - 1].name if number is not None and number <= len(measured) else ""
    return {"at": data["at"], "zone": named, "title": sign(data["sign"]).title if data["sign"] else "",
            "words": data["words"], "photos": len(data["photos"])}  # fmt: skip


def _open(work: Job, record: Data, logged: Logged) -> list[str]:
    """What is still to do or to know, in sentences."""
    lines = [] if logged.entries else [UNLOGGED]
    for one in record["zones"]:
        if not one["untouched"] and one["state"] not in (None, DONE):
            of = f" on {one['done_pieces']} of {record['pieces']} pieces" if record["pieces"] > 1 else ""
            lines.append(f"{raised(one['name'])}: {one['state']}{', done' + of if of else ''}.")
        own = [each for each in logged.entries if each["zone"] == one["number"]]
        for number in range(1, record["pieces"] + 1):
            grade = _grade(of_piece(own, number), piece_of(work.surface))
            where = raised(one["name"]) + (f", piece {number}" if record["pieces"] > 1 else "")
            if grade and grade["residue"] not in (None, "clean"):
                lines.append(f"{where}: {grade['left_words']}")
            if grade and grade["harm"] not in (None, "none"):
                lines.append(f"{where}: {grade['surface_words']}")
    if not record["zones"]:
        lines.append("No zones were measured, so what is done is not counted.")
    if logged.agreed is None:
        lines.append("No quote was accepted in writing.")
    for day in record["days"]:
        lines += [f"{day['date']}: {title} was not right at the start of the day." for title in day["wrong"]]
    return lines + still_there(work)


def _sources(work: Job, record: Data, looked: Sequence[Data], piece: Piece) -> list[dict[str, Any]]:
    """Every source once with what rests on it: only of what stands in this record."""
    found: dict[str, list[str]] = {}

    def add(line: str, what: str) -> None:
        if what not in found.setdefault(line, []):
            found[line].append(what)

    for zone in work.measured:
        for datum in zone.data:
            add(cite(datum), "areas")
    if any(one["tone"] for one in record["pairs"]):
        add(sources()[OF_TONE].cite, "change of tone")
    if looked:
        for one in [*record["zones"], {"grade": record["whole_grade"]}]:
            for line in one["grade"]["sources"] if one["grade"] else ():
                add(line, "how it looks")
    if record["waste"]["mass_kg"]:
        for datum in _mass_data(work):
            add(cite(datum), "mass that came off")
    if record["waste"]["words"]:
        add("from memory, unverified", "what the residue may hold")
    for one in record["care"]:
        for line in one["sources"]:
            add(line, "care and what comes next")
    return [{"cite": line, "of": what} for line, what in sorted(found.items(), key=lambda pair: _rank(pair[0]))]


def _mass_data(work: Job) -> list[Datum]:
    """The rows of density, and of thickness where none was measured, that the mass is drawn from."""
    found = []
    for coat in work.surface.coats:
        for key in coat.shares:
            for _, colour, condition in coating_mixture(key):
                row = coating_data(key, colour, condition)
                found += [row["density"], *([row["thickness"]] if coat.thickness is None else [])]
    return found


def _rank(line: str) -> tuple[int, str]:
    """Publications first, what nobody wrote down last."""
    return (("common practice, no source", "from memory, unverified").index(line) + 1 if line.startswith(
        ("common practice, no", "from memory,")) else 0, line)  # fmt: skip


def _summed(values: Iterable[float | None]) -> float | None:
    """The sum of what was said; None: nothing was."""
    found = [one for one in values if one is not None]
    return sum(found) if found else None
