"""The first hard stop: lead, and what never passes.

No test patch and no recipe is named for a coating that is painted, not known, or older than 1978 or undated,
until its lead status is on record. Sources: US consumer ban of lead paint effective 28 Feb 1978 (16 CFR 1303);
presuming lead until shown otherwise is common practice, no source. An unknown is treated as hazardous.
What else has to be cleared is in `clear`; what is on record about any of it has the shape of `Record`.
"""

from __future__ import annotations

import datetime
import re
import tomllib
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from proofpatch.errors import InputError
from proofpatch.learn.surface import Layer, Surface
from proofpatch.materials import coating, find_coating

LEAD_YEAR = 1978  # 16 CFR 1303
SURE = 0.9  # a coating less likely than this is not known (common practice, no source)
STATUSES = ("unknown", "negative", "positive", "accepted")
EARLIEST_TEST = 1970  # no record of this kind is older
LEAD_KEYS = ("status", "method", "date", "name", "controls", "reason")
# What can show lead absent. A swab answers for the layer it touches, and home kits missed lead under a clean top coat
# (US CPSC findings), so none does.
LEAD_METHODS = ("laboratory", "lab", "xrf", "icp", "aas")
# A method with one of these words says that it was not done, or what it found.
UNDONE = frozenset(
    (
        "no", "not", "without", "never", "nil", "none", "cannot", "cant", "pending", "awaiting", "waiting", "later",
        "tbd", "tba", "tbc", "todo", "refused", "positive", "found", "ppm", "mg", "percent", "top", "guess", "guessed",
        "visual", "visually", "assumed", "presumed", "maybe", "inconclusive", "swab", "swabs", "kit", "kits",
    )
)  # fmt: skip
# Words that only fill the line are no record.
FILLERS = frozenset(
    (
        "unknown", "none", "no", "nothing", "nobody", "na", "n", "a", "not", "known", "tbd", "tba", "tbc", "todo",
        "later", "pending", "dont", "don", "t", "know", "controls", "control", "nil", "x", "see", "above",
        "ok", "yes", "done", "reason", "any",
    )
)  # fmt: skip
LONG_NAME = 6  # letters from which a name is found inside a longer word too, as in "asbestoscement"


class HardStop(Exception):
    """A material that no beam of this shop touches; `because` is the sentence to show.

    Not an InputError: nothing is wrong with what was written, the answer is no.
    """

    def __init__(self, because: str) -> None:
        super().__init__(because)
        self.because = because


@dataclass(frozen=True)
class Record:
    """What is on record about one hazard.

    status: unknown; negative (needs method and date); positive; accepted (someone takes it on: needs name, controls and
    reason).

    Raises:
        InputError: an unknown status, or a date that is none or lies ahead.
    """

    status: str = "unknown"
    method: str = ""
    date: str = ""
    name: str = ""
    controls: str = ""
    reason: str = ""

    @property
    def place(self) -> str:
        """What to call it in an error."""
        return "lead"

    def __post_init__(self) -> None:
        for field in LEAD_KEYS:
            value = getattr(self, field)
            if isinstance(value, datetime.date):
                value = value.isoformat()
            if not isinstance(value, str):
                raise InputError(f"{self.place}.{field}", f"{self.place}.{field} is not text.", "Write it in quotes.")
            object.__setattr__(self, field, value.strip())
        object.__setattr__(self, "status", self.status.casefold())
        if self.status not in STATUSES:
            raise InputError(
                f"{self.place}.status",
                f"{self.place}.status {self.status[:40]!r} is not known.",
                f"Use one of: {', '.join(STATUSES)}.",
            )
        if self.date:
            self._check_date()

    def _check_date(self) -> None:
        field = f"{self.place}.date"
        try:
            day = datetime.date.fromisoformat(self.date)
        except ValueError:
            said = f"{field} {self.date[:40]!r} is not a date."
            raise InputError(field, said, "Write it as year-month-day, like 2025-04-30.") from None
        # A day's grace: it may be tomorrow already where the test was done.
        if day > datetime.date.today() + datetime.timedelta(days=1):
            raise InputError(field, f"{field} {self.date} lies ahead.", "Give the day it was done.")
        if day.year < EARLIEST_TEST:
            raise InputError(field, f"{field} {self.date} is older than any such test.", "Give the day it was done.")

    @property
    def negative(self) -> bool:
        """Shown to be absent, with method and date."""
        return self.status == "negative" and says_something(self.method) and bool(self.date)

    def dated_after(self, year: int | None) -> bool:
        """True unless the test is older than what it speaks of."""
        return year is None or not self.date or int(self.date[:4]) >= year

    @property
    def accepted(self) -> bool:
        """Taken on, with reason, name and controls."""
        return self.status == "accepted" and all(map(says_something, (self.reason, self.name, self.controls)))


class Lead(Record):
    """What is on record about lead."""

    @property
    def negative(self) -> bool:
        """Shown to be absent, with date and a method that can: a laboratory or XRF, never a swab."""
        return super().negative and shows(self.method, LEAD_METHODS)

    @property
    def cleared(self) -> bool:
        """Negative, or accepted."""
        return self.negative or self.accepted


def plain_words(text: str) -> str:
    """Small letters and digits with single spaces: "P.V.C.-film" as "pvc film"."""
    plain = unicodedata.normalize("NFKC", text).casefold().replace(".", "").replace("'", "")
    return " ".join(re.findall(r"[^\W_]+", plain))


def says_something(text: str) -> bool:
    """True if more is left than words that only fill the line."""
    return bool(set(plain_words(text).split()) - FILLERS)


def shows(method: str, methods: Sequence[str]) -> bool:
    """True if a method names, all words of it, one of those that can show something absent, and was done."""
    words = plain_words(method).split()
    named = [set(one.split()) for one in methods if set(one.split()) <= set(words)]
    return any(not (set(words) - one) & UNDONE for one in named)


@lru_cache(maxsize=1)
def _never() -> dict[str, str]:
    """Every name -> why."""
    table = tomllib.loads(Path(__file__).with_name("never.toml").read_text(encoding="utf-8"))
    return {plain_words(name): entry["why"] for entry in table.values() for name in entry["names"]}


def never_pass(name: str) -> str | None:
    """Why a material of this name is never cleaned with a beam, or None. A name anywhere in the text counts."""
    words = plain_words(name)
    squeezed = words.replace(" ", "")
    for known, why in _never().items():
        joined = known.replace(" ", "")
        if f" {known} " in f" {words} " or (len(joined) >= LONG_NAME and joined in squeezed):
            return f"Stop: {why}, so no setting is named for it; find another method."
    return None


def _has_lead(text: str) -> bool:
    return "lead" in plain_words(text).split()


def first_stop(
    surface: Surface, year: int | None = None, lead: Lead | None = None, suspects: Sequence[str] = ()
) -> str | None:
    """One sentence if no patch and no recipe may be named, else None.

    Args:
        surface: as described.
        year: of the coating, or None where undated.
        lead: what is on record.
        suspects: other materials suspected in the coating; one that is not known here is treated as hazardous.
    """
    for suspect in suspects:
        why = never_pass(suspect)
        if why:
            return why
    lead = lead or Lead()
    reasons: list[str] = []
    for coat in surface.coats:
        reasons += _doubts(coat, lead)
    for suspect in suspects:
        if _has_lead(suspect):
            reasons.append("suspected of lead")
            continue
        try:
            known = coating(find_coating(suspect))
        except InputError:
            said = " ".join(suspect.split())[:40]
            return (
                f"Stop: {said!r} is suspected in the coating and is not known here, so it counts as hazardous; "
                "have it tested and take it off the suspects, before any patch or recipe."
            )
        if known.kind == "paint":
            reasons.append("perhaps painted")
    if year is None:
        reasons.append("undated")
    elif year < LEAD_YEAR:
        reasons.append(f"from {year}, before {LEAD_YEAR}")
    if lead.status == "positive":
        reasons.append("found to hold lead")
    contradicted = lead.status == "negative" and "lead paint by name" in reasons
    if not reasons or (lead.cleared and lead.dated_after(year) and not contradicted):
        return None
    missing = {
        "unknown": "its lead status is not on record",
        "negative": "the lead test lacks its date, is older than the coating, or names no laboratory or XRF reading",
        "positive": "it tested positive for lead",
        "accepted": "taking lead on lacks its name, controls or reason",
    }[lead.status]
    if contradicted and lead.cleared:
        missing = "the negative lead test contradicts that"
    return (
        f"Stop: the coating is {' and '.join(dict.fromkeys(reasons))} and {missing}; record a negative result with "
        "method and date, or who accepts it with which controls and why, before any patch or recipe."
    )


def _doubts(coat: Layer, lead: Lead) -> list[str]:
    """Why lead must be presumed in one coat."""
    shares = coat.shares
    favourite = max(shares, key=lambda key: shares[key])
    if lead.status == "negative" and _has_lead(favourite):
        return ["lead paint by name"]
    if any(_is_paint(key, coat.colour) for key in shares):
        return ["painted"]
    return ["not known for sure"] if shares[favourite] < SURE else []


def _is_paint(key: str, colour: str) -> bool:
    """True of paint, and of what may be clear or paint unless it was seen to be clear."""
    about = coating(key)
    return about.kind == "paint" and not (colour == "clear" and "clear-film" in about.families)
