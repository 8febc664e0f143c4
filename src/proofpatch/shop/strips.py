"""Strips as they were laid out: their steps stay what they were while the grades of the first ones come in."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from proofpatch.errors import InputError
from proofpatch.shop.store import Entry, Store

NAMED = re.compile(r"([A-Z]+[0-9]+):")  # how the title of a patch begins that is a step of a strip


@dataclass(frozen=True)
class Step:
    """One step of a strip. setting, dialled: as it was laid out; patch: its grade, or None."""

    name: str
    setting: Mapping[str, Any]
    dialled: Mapping[str, str]
    p_clean: float
    p_harm: float
    because: str
    patch: Entry | None

    @property
    def harmed(self) -> bool:
        """True if its grade says so."""
        return self.patch is not None and self.patch.data["harm"] != "none"


@dataclass(frozen=True)
class Strip:
    """One strip. A strip ends at its first harm, when all is graded, or when its owner ends it."""

    entry: Entry
    name: str
    steps: tuple[Step, ...]

    @property
    def harmed(self) -> Step | None:
        """The step that did harm."""
        return next((step for step in self.steps if step.harmed), None)

    @property
    def due(self) -> tuple[Step, ...]:
        """Steps that wait for a grade; none of an ended strip."""
        if self.entry.data.get("ended") or self.harmed:
            return ()
        return tuple(step for step in self.steps if step.patch is None)


def strips_of(store: Store, job: str, patches: Sequence[Entry]) -> list[Strip]:
    """The strips of a job, the first first; `patches` are its graded ones."""
    graded = {found[1]: one for one in patches if (found := NAMED.match(one.title))}
    return [_strip(entry, graded) for entry in store.in_order("strip", job)]


def strip_of(store: Store, key: str, strip: str) -> Strip:
    """A strip of a job.

    Raises:
        InputError: there is none of this id.
    """
    found = [one for one in strips_of(store, key, store.in_order("patch", key)) if one.entry.id == strip]
    if not found:
        raise InputError("strip", "There is no such strip in this job.", "Go back to the patches.")
    return found[0]


def lay_out(store: Store, job: str, steps: Sequence[Mapping[str, Any]], dialled: Sequence[Mapping[str, str]]) -> Entry:
    """A new strip of these steps of a patches record, on disk; its name is the next letter that was never used."""
    used = len(store.all("strip", job)) + len(store.all("strip", job, deleted=True))
    data = {
        "name": letters(used),
        "steps": [{**step, "dialled": dict(knobs)} for step, knobs in zip(steps, dialled, strict=True)],
    }
    return store.add("strip", data, job, f"Strip {letters(used)}")


def letters(number: int) -> str:
    """0 is A, 25 is Z, 26 is AA."""
    before, last = divmod(number, 26)
    return (letters(before - 1) if before else "") + chr(ord("A") + last)


def _strip(entry: Entry, graded: Mapping[str, Entry]) -> Strip:
    name = str(entry.data["name"])
    steps = tuple(
        Step(
            f"{name}{number}", one["setting"], one["dialled"], one["p_clean"], one["p_harm"], one["because"],
            graded.get(f"{name}{number}"),
        )
        for number, one in enumerate(entry.data["steps"], 1)
    )  # fmt: skip
    return Strip(entry, name, steps)
