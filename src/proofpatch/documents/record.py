"""The completion record: what was agreed, done and measured, how it looks, and what comes next, to be signed."""

from __future__ import annotations

import datetime
import io
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from babel.dates import format_datetime
from PIL import Image

from proofpatch.cli_show import setting_words
from proofpatch.documents.letters import check_letters
from proofpatch.documents.paper import Signature, day_words, headed, printed
from proofpatch.offer.quote import Party
from proofpatch.phrases import raised
from proofpatch.run.care import PARTS
from proofpatch.units import percent, show, system

NOT_MEASURED = "not measured"
NOT_RECORDED = "not recorded"
# A kept paper may have 2 MB as text, a quarter of which is the way it is kept.
PICTURES = 900_000  # bytes of all pictures together
SIZES = ((720, 85), (600, 80), (480, 75), (360, 70))  # (px of the longer side, JPEG quality), the first that fits
OUNCE = 28.349523125e-3  # kg, exact by definition
DRAFT = "Draft, not handed over"
ACCEPTED = (
    "The piece was looked at together, beside the signed sample where there is one. It is as agreed, but for the open "
    "points of this record."
)
LIMITS = (
    "This record says what was done, measured and seen on these days. It is no warranty, no certificate of any "
    "standard, and no clearance for work with a laser."
)
Pictures = Sequence[tuple[bytes, bytes] | None]


def record_pdf(
    record: Mapping[str, Any], paper: str = "a4", pictures: Pictures = (), fonts: Path | None = None,
    signature: Signature | None = None, draft: bool = False,
) -> bytes:  # fmt: skip
    """The record as PDF.

    Args:
        record: of `shop.completions.record_of`. paper: a4 or us-letter. pictures: JPEG before and after of each of its
        pairs, None where there are none. fonts: a folder of the shop's own. signature: under it. draft: it is none yet.

    Raises:
        InputError: another paper, or letters without a shape.
    """
    page = record_page(record, draft)
    check_letters({
        "shop.name": record["shop"]["name"], "customer.name": record["customer"]["name"], "title": record["title"],
        "customer.address": [*record["customer"]["address"], *record["customer"]["more"]],
        "remarks": [*page["remarks"], *page["open"], *(text for row in page["incidents"] for text in row)],
        "zones": [row[0] for row in page["zones"]], "site": record["site"],
    }, fonts)  # fmt: skip
    files: dict[str, bytes] = {}
    small = _fitted(pictures)
    for n, one in enumerate(page["pairs"]):
        found = small[n] if n < len(small) else None
        one["files"] = [f"pair-{n}-{which}.jpg" for which in ("before", "after")] if found else []
        files |= dict(zip(one["files"], found or (), strict=True))
    day = datetime.date.fromisoformat(record["day"])
    return printed("record.typ", page, paper, day, record["locale"], None, fonts, signature, files)


def record_page(record: Mapping[str, Any], draft: bool = False) -> dict[str, Any]:
    """What the paper and the page say, as words."""
    locale, day = record["locale"], datetime.date.fromisoformat(record["day"])
    shop, customer = (_party(record[name]) for name in ("shop", "customer"))
    facts = [["Date", day_words(day, locale)], *([["Place", record["site"]]] if record["site"] else [])]
    if record["agreed"]:
        facts.append(["Quote", f"{record['agreed']['number']}, version {record['agreed']['version']}"])
    return {
        **headed("Completion record", record["number"], shop, customer, record["title"]), "facts": facts, "to": "For",
        "versioned": f". {DRAFT}" if draft else f", version {record['version']}" if record["version"] > 1 else "",
        "lead": lead(record), "agreed": _agreed(record["agreed"], locale), "wanted": record["wanted"],
        "zones": [_zone(one, record, locale) for one in record["zones"]],
        "areas": _areas(record["areas"], record.get("pieces", 1)),
        "laser": [record["laser"]["title"], *record["laser"]["measured"]], "settings": _settings(record),
        "patches": _patches(record["patches"]), "beam": f"Beam on: {NOT_RECORDED}." if record["beam_s"] is None
        else f"Beam on, as it was logged: {show(record['beam_s'], 'duration')} in all.",
        "days": [_day(one, locale) for one in record["days"]] or [f"Start of day: {NOT_RECORDED}."],
        "pairs": [_pair(one, n, locale) for n, one in enumerate(record["pairs"], 1)],
        "looks": [*(_look(one["name"], one["grade"], locale) for one in record["zones"] if not one["untouched"]),
                  *([] if record["zones"] else [_look("The piece", record["whole_grade"], locale)])],
        "trade": record["trade"], "visual_note": record["visual_note"], "waste": _waste(record["waste"]),
        "incidents": [_incident(one, locale) for one in record["incidents"]], "open": list(record["open"]),
        "remarks": list(record.get("remarks", ())),
        "care": [[words, [one["text"] for one in record["care"] if one["part"] == part]]
                 for part, words in PARTS.items() if any(one["part"] == part for one in record["care"])],
        "sources": [[one["cite"], ", ".join(one["of"])] for one in record["sources"]],
        "accepted": ACCEPTED, "limits": LIMITS,
    }  # fmt: skip


def lead(record: Mapping[str, Any]) -> str:
    """The answer: how much is done, and how many points are open."""
    worked = [one for one in record["zones"] if not one["untouched"]]
    done = [one for one in worked if one["state"] == "done"]
    still = len(record["open"])
    points = "1 point stays open." if still == 1 else f"{still} points stay open." if still else "Nothing is open."
    if not worked:
        return f"What was done is {NOT_MEASURED}. {points}"
    if all(one["state"] is None for one in worked):
        return f"What was done is {NOT_RECORDED}. {points}"
    pieces = record.get("pieces", 1)
    if pieces > 1:
        count, area = record["pieces_done"], show(record["pieces_done"] * sum(one["area_m2"] for one in worked), "area")
        parts = f"All {pieces} pieces are" if count == pieces else f"{count} of {pieces} pieces {_is(count)}"
        return f"{parts} done{f', {area}' if count else ''}. {points}"
    area = show(sum(one["area_m2"] for one in done), "area")
    if len(done) == len(worked):
        parts = "The zone is" if len(worked) == 1 else f"All {len(worked)} zones are"
        return f"{parts} done, {area}. {points}"
    return f"{len(done)} of {len(worked)} zones {_is(len(done))} done" + (
        f", {area}. {points}" if done else f". {points}")  # fmt: skip


def _is(count: int) -> str:
    return "is" if count == 1 else "are"


def _party(one: Mapping[str, Any]) -> Party:
    return Party(one["name"], tuple(one["address"]), tuple(one["more"]))


def _agreed(agreed: Mapping[str, Any] | None, locale: str) -> dict[str, Any]:
    if agreed is None:
        return {"words": "Nothing was agreed in writing.", "scope": [], "finish": []}
    day = day_words(datetime.date.fromisoformat(agreed["day"]), locale)
    words = f"Quote {agreed['number']}, version {agreed['version']}, accepted by {agreed['by']} on {day}"
    words += f": {agreed['option']}." if agreed["option"] else "."
    for one in agreed["samples"]:
        how = "approved" if one["approved"] else "not approved"
        on = day_words(datetime.date.fromisoformat(one["day"]), locale)
        words += f" Sample {one['patch']} was {how} by {one['name']} on {on}."
    sample = [agreed["sample"]] if agreed["sample"] else []
    return {"words": words, "scope": agreed["scope"], "finish": [*sample, *agreed["finish"]]}


def _zone(one: Mapping[str, Any], record: Mapping[str, Any], locale: str) -> list[str]:
    """Name, area, state, passes, time at it, from and to."""
    name, pieces = raised(one["name"]), record.get("pieces", 1)
    area = show(one["area_m2"], "area", like=record["areas"]["all_m2"] if record["areas"] else None)
    if one["untouched"]:
        return [name, area, "not touched", "", "", ""]
    by_hand = f", {show(one['hand_finish'], 'share')} of it by hand" if one["hand_finish"] else ""
    return [
        name, area + by_hand,
        f"done on {one['done_pieces']} of {pieces}" if pieces > 1 and one["state"] else one["state"] or NOT_RECORDED,
        NOT_RECORDED if one["passes"] is None else str(one["passes"]),
        NOT_RECORDED if one["worked_s"] is None else show(one["worked_s"], "duration"),
        _span(one["began"], one["ended"], locale),
    ]  # fmt: skip


def _patches(patches: Mapping[str, int]) -> str:
    count, harmed = patches["graded"], patches["harmed"]
    if not count:
        return f"Test patches: {NOT_RECORDED}."
    said = f"{count} test patch{' was' if count == 1 else 'es were'} laid and graded"
    return f"{said}, {harmed} of them showed harm." if harmed else f"{said}, none showed harm."


def _areas(areas: Mapping[str, Any] | None, pieces: int) -> str:
    if areas is None:
        return f"Area: {NOT_MEASURED}."
    like = areas["all_m2"]
    ends = " to ".join(show(areas[name], "area", like=like) for name in ("low_m2", "high_m2"))
    of = f"of each of {pieces} pieces" if pieces > 1 else "in all"
    said = f"Area {of} {show(like, 'area')}, nine times in ten {ends}; under the beam {show(areas['beam_m2'], 'area')}."
    return said + (f" By hand {show(areas['by_hand_m2'], 'area')}." if areas["by_hand_m2"] else "")


def _settings(record: Mapping[str, Any]) -> list[str]:
    names = {one["number"]: one["name"] for one in record["zones"]}
    # What reads the same is one setting: a knob may differ by less than is shown.
    zones: dict[str, list[str]] = {}
    for one in record["settings"]:
        own = zones.setdefault(setting_words(one["setting"]), [])
        own += [name for number in one["zones"] if (name := names.get(number, f"zone {number}")) not in own]
    found = [f"{raised(', '.join(own))}{': ' if own else ''}{words}." for words, own in zones.items()]
    return found or [f"Settings really used: {NOT_RECORDED}."]


def _day(one: Mapping[str, Any], locale: str) -> str:
    day = day_words(datetime.date.fromisoformat(one["date"]), locale)
    said = f"{day}: {one['right']} of {one['checks']} checks at the start of the day were right"
    if one["controls"]:
        said += f", {one['controls']} control patch{'' if one['controls'] == 1 else 'es'} laid"
    read = (NOT_MEASURED if each["value"] is None else show(each["value"], each["kind"]) for each in one["values"])
    return (
        ". ".join([said, *(f"{each['title']}: {what}" for each, what in zip(one["values"], read, strict=True))]) + "."
    )


def _pair(one: Mapping[str, Any], number: int, locale: str) -> dict[str, Any]:
    about = one["about"] or f"Pair {number}"
    taken = [f"Taken {_moment(at, locale)}" if at else "When it was taken is not known" for at in one["taken"]]
    lines = list(one["lines"])
    if one["area_m2"] is None:
        lines.append(f"Area cleaned: {NOT_MEASURED}.")
    if one["tone"] is None:
        lines.append(f"Change of tone: {NOT_MEASURED}.")
    return {"about": raised(about), "taken": taken, "lines": lines, "files": [],
            "alt": [f"Before: {about}", f"After: {about}"]}  # fmt: skip


def _look(name: str, grade: Mapping[str, Any] | None, locale: str) -> list[str]:
    """(zone, what is left and how the surface is, who looked) or that nobody did."""
    if grade is None:
        return [raised(name), f"{raised(NOT_MEASURED)}.", ""]
    left = (
        f" {percent(grade['fraction_left'])} left, measured in a photo." if grade["fraction_left"] is not None else ""
    )
    words = " ".join(filter(None, (
        grade["left_words"] or f"What is left: {NOT_MEASURED}.",
        grade["surface_words"] or f"Change of the surface: {NOT_MEASURED}.",
    ))) + left  # fmt: skip
    who = f"{grade['grader']}, {_moment(grade['at'], locale)}" if grade["grader"] else _moment(grade["at"], locale)
    if grade.get("piece") is not None:
        name = f"{name}, piece {grade['piece']}, the last one looked at"
    return [raised(name), words, who + ("" if grade["wiped"] else ", dust not wiped off")]


def _waste(waste: Mapping[str, Any]) -> list[str]:
    lines = []
    if waste["mass_kg"] is None:
        lines.append(f"Mass that came off: {NOT_MEASURED}.")
    else:
        lines.append(f"What came off weighs {_between(waste['mass_kg'])}, computed from area, thickness and density.")
        if waste["caught_kg"] is None:
            lines.append("How much of it the extraction caught was not said.")
        else:
            caught = _between(waste["caught_kg"])
            lines.append(f"Of it the extraction catches {show(waste['capture'], 'share')} as described: {caught}.")
    return [*lines, *filter(None, (waste["words"],))]


def _between(mass: Mapping[str, float]) -> str:
    low, high = (mass_words(mass[name]) for name in ("p10", "p90"))
    return f"about {mass_words(mass['p50'])}, 8 times in 10 between {low} and {high}"


def mass_words(mass: float) -> str:
    """A mass [kg] to two digits, as a pair of scales shows it."""
    if system() == "us":
        ounces = mass / OUNCE
        return f"{ounces / 16:.2g} lb" if ounces >= 16 else f"{ounces:.2g} oz"
    return f"{mass:.2g} kg" if mass >= 0.9995 else f"{float(f'{1000 * mass:.2g}'):g} g"


def _incident(one: Mapping[str, Any], locale: str) -> list[str]:
    where = f", {one['zone']}" if one["zone"] else ""
    photos = f" {one['photos']} photo{'' if one['photos'] == 1 else 's'} kept with the job." if one["photos"] else ""
    what = ". ".join(filter(None, (one["title"], one["words"].rstrip(".")))) or "An incident"
    return [f"{_moment(one['at'], locale)}{where}", f"{what}.{photos}"]


def _moment(at: str, locale: str) -> str:
    """Day and time by the clock it was written with; what came in UTC, by this machine's."""
    when = datetime.datetime.fromisoformat(at)
    if when.utcoffset() == datetime.timedelta(0):
        when = when.astimezone()
    return str(format_datetime(when.replace(tzinfo=None), "d MMM y, HH:mm", locale=locale))


def _span(began: str | None, ended: str | None, locale: str) -> str:
    """From and to; of one day, the day once."""
    if began is None or ended is None:
        return f"from {_moment(began, locale)}" if began else f"to {_moment(ended, locale)}" if ended else NOT_RECORDED
    first, last = _moment(began, locale), _moment(ended, locale)
    day, _, clock = last.rpartition(", ")
    return f"{first} to {clock if first.startswith(day) else last}"


def _fitted(pictures: Pictures) -> list[tuple[bytes, bytes] | None]:
    """The pictures as large as fits into one paper."""
    for side, quality in SIZES:
        found = [None if one is None else (_small(one[0], side, quality), _small(one[1], side, quality))
                 for one in pictures]  # fmt: skip
        if sum(len(part) for one in found if one for part in one) <= PICTURES:
            break
    return found


def _small(content: bytes, side: int, quality: int) -> bytes:
    with Image.open(io.BytesIO(content)) as picture:
        picture.thumbnail((side, side))
        out = io.BytesIO()
        picture.convert("RGB").save(out, "JPEG", quality=quality)
        return out.getvalue()
