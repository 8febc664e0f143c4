"""What `proofpatch grade --photo` does: a strip graded by its photos, drawn if asked, kept if asked."""

from __future__ import annotations

import re
import shlex
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from proofpatch.cli_read import OPTIONS, check_picture, whole
from proofpatch.cli_show import listed, wrapped
from proofpatch.errors import InputError
from proofpatch.learn.evidence import HARMS, RESIDUES, Graded
from proofpatch.learn.surface import MOST_LAYERS
from proofpatch.photos.overlay import jpeg, overlay
from proofpatch.photos.overlay import said as seen_words
from proofpatch.pictures.strip import strip_svg, write_strip
from proofpatch.records_seen import percent, seen_record
from proofpatch.shop.by_photo import Asked, share_of, sheet_of
from proofpatch.shop.job import Job
from proofpatch.shop.log import append_log, checked_graded, setting_from, stamp
from proofpatch.shop.looks import Look
from proofpatch.shop.seen import MOST_PHOTOS
from proofpatch.shop.strip_file import LaidOut, note_graded, read_strips, strips_path
from proofpatch.units import chance, parse, quoted

BY_EYE_ONLY = (
    "power", "rate", "width", "spot_diameter", "sweep_width", "sweep_speed", "travel_speed", "passes", "residue",
    "harm", "fraction_left", "fraction_error", "seconds", "length",
)  # fmt: skip
OF_PHOTO = ("strip", "eye", "picture")
NOT_LAID = "not laid"
EYE = re.compile(r"([A-Z]+[0-9]+)\s*=\s*(.+)")
EYE_FORM = "Write for example 'A2=partial, none', or 'A2=not laid'."
LEGEND = (
    "Ruled lines: coating left. Dots closing to solid: harm.",
    "Rings: pores, not counted. Crosses: like neither sample.",
)


def check_words(given: Mapping[str, Any], keep: bool) -> bool:
    """Whether photos are to be graded; refuses what belongs to the other way of grading.

    Raises:
        InputError: both ways at once, or neither.
    """
    if not given["photo"]:
        for name in OF_PHOTO:
            if given[name]:
                flag = OPTIONS[name][0]
                raise InputError(flag, f"{flag} goes with --photo only.", "Name the photo, or leave it out.")
        if keep:
            raise InputError("--keep", "--keep goes with --photo only.", "A grade by eye is kept as it is given.")
        for name in ("residue", "harm"):
            if given[name] is None:
                flag = OPTIONS[name][0]
                raise InputError(flag, f"{flag} is missing.", "Give it, or --photo to grade a strip by its photo.")
        return False
    for name in BY_EYE_ONLY:
        if given[name] is not None:
            flag = OPTIONS[name][0]
            raise InputError(flag, f"{flag} does not go with --photo.", "A strip has its settings; see --eye.")
    return True


def strip_asked(work: Job, name: str | None) -> LaidOut:
    """The strip of that name, or the last one.

    Raises:
        InputError: there is none.
    """
    strips = read_strips(strips_path(_path(work)))
    if not strips:
        job = shlex.quote(str(work.path))
        said = f"Lay one out first: proofpatch patch {job} --count 3 --sheet strip.pdf"
        raise InputError("--photo", "--photo: no strip of this job was laid out.", said)
    found = strips[-1] if name is None else next((one for one in strips if one.name == name), None)
    if found is None:
        names = ", ".join(one.name for one in strips)
        raise InputError("--strip", f"--strip {quoted(name)} is not known.", f"Laid out are: {names}.")
    return found


def look_of(work: Job, strip: LaidOut, photos: Sequence[str]) -> Look:
    """What the photo files show.

    Raises:
        InputError: too many, or none of them shows the strip's sheet.
    """
    if len(photos) > MOST_PHOTOS:
        raise InputError("--photo", f"--photo is given {len(photos)} times.", f"Give at most {MOST_PHOTOS}.")
    paper = work.offer["letterhead"].get("paper", "a4")
    frame = sheet_of([setting for _, setting in strip.steps], paper)
    look = Asked(tuple((one, "null") for one in photos), frame, "[]").look()
    if not any(look.shots):
        raise InputError("--photo", f"--photo {quoted(Path(photos[0]).name)}: {look.troubles[0]}", "")
    return look


def choices_of(strip: LaidOut, said: Sequence[str]) -> dict[str, tuple[str, str]]:
    """What an eye said, by the name of the step: (residue, harm), both empty of a step that was not laid.

    Raises:
        InputError: a step or a grade that is none.
    """
    found: dict[str, tuple[str, str]] = {}
    for one in said:
        match = EYE.fullmatch(one)
        grades = [word.strip().lower() for word in match[2].split(",")] if match else []
        if match is None or (grades != [NOT_LAID] and (
            len(grades) != 2 or grades[0] not in RESIDUES or grades[1] not in HARMS
        )):  # fmt: skip
            raise InputError("--eye", f"--eye {quoted(one)} is no grade of a step.", EYE_FORM)
        if match[1] not in dict(strip.steps):
            names = ", ".join(name for name, _ in strip.steps)
            raise InputError("--eye", f"--eye: strip {strip.name} has no step {match[1][:8]}.", f"It has: {names}.")
        found[match[1]] = ("", "") if grades == [NOT_LAID] else (grades[0], grades[1])
    return found


def lines_of(
    work: Job, strip: LaidOut, look: Look, choices: Mapping[str, tuple[str, str]], given: Mapping[str, Any], wiped: bool
) -> tuple[list[tuple[str, Graded]], list[dict[str, str]]]:
    """(steps that can be kept with their grades, steps that cannot with why), up to the first harm.

    Raises:
        InputError: a grade contradicts what was measured, or the job.
    """
    values: dict[str, Any] = {
        "layer": whole("layer", given, 0, 0, MOST_LAYERS - 1), "wiped": wiped, "grader": given["grader"],
        "waited": parse(given["waited"], "duration", "--waited") if given["waited"] else None,
    }  # fmt: skip
    made: list[tuple[str, Graded]] = []
    left: list[dict[str, str]] = []
    harmed = strip.harmed
    for number, (name, setting) in enumerate(strip.steps, 1):
        seen = look.steps.get(number)
        residue, harm = choices.get(name, (seen.residue if seen else None, seen.harm if seen else None))
        if name in strip.graded:
            left.append({"step": name, "because": "It is graded already."})
        elif harmed:
            left.append({"step": name, "because": f"The strip ended at {harmed}, which did harm."})
        elif residue == "":
            left.append({"step": name, "because": "It was not laid."})
        elif residue is None or harm is None:
            missing = "what is left" if residue is None else "harm"
            said = f"The photo does not tell {missing}. Look, then say it: --eye '{name}={residue or 'partial'}, none'."
            left.append({"step": name, "because": said})
        else:
            more = values | {"residue": residue, "harm": harm, **share_of(seen, residue)}
            made.append((name, checked_graded(setting_from(setting), more, len(work.surface.coats))))
            harmed = name if harm != "none" else None
    return made, left


def keep_lines(work: Job, made: Sequence[tuple[str, Graded]]) -> None:
    """Writes the grades into the patch log, each on disk before it is called graded."""
    for name, graded in made:
        when = stamp()
        append_log(work.log_path, graded, when)
        note_graded(strips_path(_path(work)), {name: (graded.residue, graded.harm)}, when)


def draw(strip: LaidOut, look: Look, path: str) -> None:
    """The picture of what was seen.

    Raises:
        InputError: the place cannot be written.
    """
    steps: list[tuple[Sequence[str], bytes | None, int]] = []
    for number, (name, _) in enumerate(strip.steps, 1):
        photo = next((n for n, one in enumerate(look.shots) if one and number in one.windows), None)
        one = look.steps.get(number)
        if photo is None or one is None:
            steps.append(((f"{name}: not in a photo",), None, 0))
            continue
        shot = look.shots[photo]
        assert shot is not None
        drawn = overlay(shot.windows[number], look.seen[photo][number])
        said = [f"{name}: {one.residue or 'grade by eye'}, {f'harm {one.harm}' if one.harm else 'harm not told'}"]
        if one.fraction_left is not None and one.fraction_error is not None:
            said.append(f"{percent(one.fraction_left, one.fraction_error)} still covered")
        steps.append((tuple(said), jpeg(drawn), drawn.shape[0]))
    write_strip(strip_svg(f"Strip {strip.name}, as the photo shows it", steps, LEGEND), path)


def photo_record(
    work: Job, given: Mapping[str, Any], keep: bool, wiped: bool
) -> tuple[dict[str, Any], Look, list[tuple[str, Graded]]]:
    """(record, look, grades to keep); nothing is written yet. Errors as the parts."""
    picture = check_picture(given["picture"])
    strip = strip_asked(work, given["strip"])
    choices = choices_of(strip, given["eye"])
    if choices and not keep:
        raise InputError("--eye", "--eye goes with --keep.", "Without it nothing is kept.")
    look = look_of(work, strip, given["photo"])
    record = seen_record(strip.name, strip.steps, look)
    made, left = lines_of(work, strip, look, choices, given, wiped) if keep else ([], [])
    if picture:
        draw(strip, look, picture)
    record |= {"picture": picture, "kept": [name for name, _ in made], "left": left}
    return record, look, made


def seen_lines(record: Mapping[str, Any], look: Look) -> list[str]:
    """What the photos show, step by step, and what was kept of it."""
    lines = wrapped(
        f"Strip {record['strip']}: {record['told']} of {len(record['steps'])} steps told. {record['because']}"
    )
    for number, photo in enumerate(record["photos"], 1):
        lines += wrapped(f"Photo {number}: {photo['trouble']}") if photo["trouble"] else []
        lines += [
            line for one in photo["cautions"] for line in wrapped(f"Photo {number}: {one['said']} {one['remedy']}")
        ]
    for number, step in enumerate(record["steps"], 1):
        lines += ["", *wrapped(_step_line(step))]
        words = [seen_words(one[number]) for one in look.seen if number in one]
        lines += [line for one in dict.fromkeys([*words[:1], *step["warnings"]]) for line in wrapped(one, "  ")]
    if record["picture"]:
        lines += ["", *wrapped(f"Drawn into {record['picture']}.")]
    lines += listed("Not kept:", [f"{one['step']}: {one['because']}" for one in record["left"]])
    return lines


def kept_lines(record: Mapping[str, Any]) -> list[str]:
    """What the kept grades taught."""
    return ["", *wrapped(
        f"{', '.join(record['kept'])} written to {record['written']}; the chance that some setting works went from "
        f"{chance(record['chance_before'])} to {chance(record['chance'])}: {record['answer']}."
    ), *wrapped(record["because"]), *listed("Does not fit the rest:", record["surprises"])]  # fmt: skip


def _step_line(step: Mapping[str, Any]) -> str:
    if not step["photos"]:
        return f"{step['step']}: in no photo."
    if step["residue"] is None:
        return f"{step['step']}: grade by eye."
    share = percent(step["fraction_left"], step["fraction_error"])
    said = f"{step['step']}: {step['residue']}, {step['harm'] or 'harm not told'}. {share} still covered."
    if step["tone"]:
        tone = step["tone"]
        said += f" Tone against bare ground: {tone['change']:.1f} ± {tone['error']:.1f} CIEDE2000."
    return said


def _path(work: Job) -> Path:
    assert work.path is not None
    return work.path
