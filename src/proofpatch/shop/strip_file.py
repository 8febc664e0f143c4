"""Strips laid out at the command line, in a file beside the job: a line a strip, then what was graded of it.

`chest.strips.jsonl` is only ever appended to. A strip: {"strip", "steps", "when"}; its grades: {"graded", "when"}, with
residue and harm by the name of the step. Lines torn in writing are passed over.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from proofpatch.errors import InputError
from proofpatch.shop.log import append_line, setting_from
from proofpatch.shop.strips import letters
from proofpatch.units import quoted

WHAT = "file of strips"
LARGEST = 5_000_000  # bytes; some thousand strips


@dataclass(frozen=True)
class LaidOut:
    """A strip. steps: (name, setting with unit-suffixed keys) in order; graded: name -> (residue, harm)."""

    name: str
    steps: tuple[tuple[str, Mapping[str, Any]], ...]
    graded: Mapping[str, tuple[str, str]] = field(default_factory=dict)

    @property
    def harmed(self) -> str | None:
        """The first step that did harm: there the strip ends."""
        return next((name for name, _ in self.steps if name in self.graded and self.graded[name][1] != "none"), None)


def strips_path(job: Path) -> Path:
    """The file of strips beside a job file."""
    return job.with_suffix(".strips.jsonl")


def lay(path: Path, settings: Sequence[Mapping[str, Any]], when: str) -> LaidOut:
    """One more strip, named by the next letter, on disk.

    Raises:
        InputError: the file cannot be read or written.
    """
    name = letters(len(read_strips(path)))
    _add(path, {"strip": name, "steps": [dict(one) for one in settings], "when": when})
    return LaidOut(name, _named(name, settings))


def note_graded(path: Path, grades: Mapping[str, tuple[str, str]], when: str) -> None:
    """Writes down which steps are graded, (residue, harm) by name. Errors as `lay`."""
    _add(path, {"graded": {name: list(grade) for name, grade in grades.items()}, "when": when})


def read_strips(path: Path) -> list[LaidOut]:
    """All strips of the file, the first first; none where there is no file.

    Raises:
        InputError: it cannot be read, or holds what is no strip.
    """
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST + 1)
    except FileNotFoundError:
        return []
    except OSError as trouble:
        said = f"The {WHAT} {quoted(path)} cannot be read: {trouble.strerror}."
        raise InputError(WHAT, said, "Check what it is.") from None
    if len(raw) > LARGEST:
        raise InputError(WHAT, f"The {WHAT} {quoted(path)} is too large to be one.", "Check what it is.")
    found: list[LaidOut] = []
    graded: dict[str, tuple[str, str]] = {}
    for number, line in enumerate(raw.split(b"\n"), 1):
        try:
            entry = json.loads(line)
        except (ValueError, RecursionError):
            continue  # empty, or torn
        try:
            if "graded" in entry:
                graded |= {str(name): (str(residue), str(harm)) for name, (residue, harm) in entry["graded"].items()}
                continue
            for one in entry["steps"]:
                setting_from(one)
            found.append(LaidOut(str(entry["strip"]), _named(str(entry["strip"]), entry["steps"])))
        except (InputError, KeyError, TypeError, ValueError, AttributeError):
            said = f"Line {number} of {path.name} is no strip."
            raise InputError(WHAT, said, "Correct or delete the line in an editor.") from None
    return [LaidOut(one.name, one.steps, {n: graded[n] for n, _ in one.steps if n in graded}) for one in found]


def _add(path: Path, entry: Mapping[str, Any]) -> None:
    try:
        append_line(path, entry)
    except OSError as trouble:
        said = f"The {WHAT} {quoted(path)} cannot be written: {trouble.strerror}."
        raise InputError(WHAT, said, "Check the folder and its free space.") from None


def _named(strip: str, settings: Sequence[Mapping[str, Any]]) -> tuple[tuple[str, Mapping[str, Any]], ...]:
    return tuple((f"{strip}{number}", one) for number, one in enumerate(settings, 1))
