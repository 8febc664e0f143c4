"""What a form of the run says, as the log keeps it."""

from __future__ import annotations

import datetime
from typing import Any

from proofpatch.cli_show import as_dialled
from proofpatch.errors import InputError
from proofpatch.physics.setting import Setting
from proofpatch.run.day import Check
from proofpatch.shop.log import setting_to
from proofpatch.shop.run import CHECK, END
from proofpatch.units import parse
from proofpatch.web.patches import dialled_in
from proofpatch.web.sheet import Sheet
from proofpatch.web.shell import Form, text, whole
from proofpatch.web.today import Today

# What a check of the day reads -> the kind of quantity as it is typed.
KINDS = {"share": "share", "temperature": "temperature", "speed": "speed", "power": "power"}
ANSWERS = {"yes": True, "no": False}


def entry_of(form: Form, day: Today, sheet: Sheet, at: str) -> dict[str, Any]:
    """An entry of the run from a form; photos are added when they are kept.

    Args:
        at: when it was written, ISO with its zone.

    Raises:
        InputError: a field that cannot be read.
    """
    what = text(form, "what")
    found: dict[str, Any] = {
        "what": what, "zone": whole(text(form, "zone"), 10_000), "at": at, "words": _lines(form, "words"),
        "grader": text(form, "grader"), "sign": text(form, "sign") or None,
    }  # fmt: skip
    if sheet.pieces > 1:
        found["piece"] = whole(text(form, "piece"), 10_000) or sheet.piece
    if text(form, "passes"):
        passes = whole(text(form, "passes"), 10_000)
        if passes is None:
            raise InputError("passes", "The passes are not a whole number.", "Count them, like 2.")
        found["passes"] = passes
    if what == CHECK:
        for name, words in (("residue", "how much is left"), ("harm", "what it did to what lies under it")):
            if not text(form, name):
                raise InputError(name, f"It was not said {words}.", "Choose one of the grades.")
        found |= {"residue": text(form, "residue"), "harm": text(form, "harm"), "wiped": text(form, "unwiped") == ""}
    if what in (END, CHECK) and day.setting is not None:
        found["setting"] = setting_to(used_of(form, day, day.setting if what == END else sheet.used or day.setting))
    if what == CHECK and sheet.row is not None and sheet.row.standing.passes:
        found["passes"] = sheet.row.standing.passes
    return found


def used_of(form: Form, day: Today, asked: Setting) -> Setting:
    """The setting really used: knobs that were dialled otherwise, and the hand by a stroke that was timed.

    Raises:
        InputError: a knob or a time that cannot be.
    """
    setting = dialled_in(form, as_dialled(asked, day.work.laser), asked.pattern, day.work.laser)
    seconds, length = text(form, "seconds"), text(form, "length")
    if not seconds and not length:
        return setting
    for name, said in (("seconds", seconds), ("length", length)):
        if not said:
            raise InputError(name, f"A timed stroke needs its {name} too.", "Give both, or leave both empty.")
    took, way = parse(seconds, "duration", "seconds"), parse(length, "length", "length")
    if took <= 0:
        raise InputError("seconds", "A stroke takes longer than nought seconds.", "Time it anew.")
    try:
        return setting.with_(travel_speed=way / took)
    except InputError as error:
        raise InputError("seconds", f"With these seconds and length: {error.problem}", error.remedy) from None


def answers_of(form: Form, checks: tuple[Check, ...]) -> dict[str, dict[str, Any]]:
    """{name: {"ok", "value", "words"}} of the checks that a form answers.

    Raises:
        InputError: a value that cannot be read; its field names the check.
    """
    found: dict[str, dict[str, Any]] = {}
    for check in checks:
        ok, typed = ANSWERS.get(text(form, f"check-{check.name}")), text(form, f"value-{check.name}")
        value = None
        if typed and check.reads:
            try:
                value = parse(typed, KINDS[check.reads], f"value-{check.name}")
            except InputError as error:
                said = error.problem.replace(f"value-{check.name}", check.title)
                raise InputError(f"value-{check.name}", said, error.remedy) from None
        if ok is not None or value is not None:
            found[check.name] = {"ok": ok, "value": value, "words": text(form, f"words-{check.name}")}
    return found


def local_day(when: str) -> datetime.date:
    """The day of a time, on this machine's clock."""
    return datetime.datetime.fromisoformat(when).astimezone().date()


def _lines(form: Form, name: str) -> str:
    value: Any = form.get(name, "")
    return value.strip() if isinstance(value, str) else ""
