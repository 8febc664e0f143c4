"""The start of a day on screen: what is looked at first, and the control patch before the piece is touched."""

from __future__ import annotations

import datetime
import uuid

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse

from proofpatch.cli_show import as_dialled, setting_words
from proofpatch.errors import InputError
from proofpatch.learn.evidence import ADVISED_WAIT, HARMS, RESIDUES
from proofpatch.materials import substrate
from proofpatch.run.control import AS_EXPECTED
from proofpatch.run.limits import damp_table, spellings
from proofpatch.shop.days import add_control, answer_check
from proofpatch.shop.log import setting_to
from proofpatch.shop.store import Repeated, Store
from proofpatch.shop.strips import Step
from proofpatch.web.desk import Desk
from proofpatch.web.jobs import with_photo
from proofpatch.web.once import Later, in_one
from proofpatch.web.patches import KNOB_NAMES, dial, graded_of_form
from proofpatch.web.run import told
from proofpatch.web.run_form import answers_of, local_day
from proofpatch.web.shell import Form, Pages, Sent, text
from proofpatch.web.today import TITLE, Today, outcomes, today_of


def routes(page: Pages, store: Store, desk: Desk) -> APIRouter:
    """The page of the day."""
    router = APIRouter(prefix="/jobs/{key}/run")

    def day_page(key: str, error: InputError | None = None, form: Form | None = None) -> Response:
        found = desk.wait(key) if error else desk.look(key)
        day = today_of(store, desk, found, datetime.datetime.now().astimezone().date())
        if day is None:
            return page("day.html", road=found, here="run", day=None)
        setting, laser = day.setting, day.work.laser
        return page(
            "day.html", 422 if error else 200, road=found, here="run", day=day, gate=day.gate, error=error,
            form=form or {}, residues=RESIDUES, harms=HARMS, knobs=KNOB_NAMES, fresh=str(uuid.uuid4()),
            dial=dial(setting_to(setting)) if setting else [], words=setting_words,
            dialled=as_dialled(setting, laser) if setting else {},
            under=substrate(day.work.surface.substrate).title.lower(),
            advised=ADVISED_WAIT.get(substrate(day.work.surface.substrate).family),
            coats=[coat.title for coat in day.work.surface.coats], said=_said(desk, day), spellings=spellings,
            limits=day.limits, damp=damp_table(),
        )  # fmt: skip

    @router.get("/day")
    def day(key: str) -> Response:
        return day_page(key)

    @router.post("/day")
    def answer(key: str, form: Sent, sending: Later) -> Response:
        found = _open(store, desk, key, sending.when)
        try:
            given = answers_of(form, found.morning.checks)
            if not given:
                raise InputError("checks", "No check is answered yet.", "Answer one.")
            with in_one(store, told(sending, form)):
                for name, one in given.items():
                    answer_check(store, key, found.date, found.piece, name, one["ok"], one["value"], one["words"],
                                 sending.when, text(form, "grader"))  # fmt: skip
        except Repeated:
            if sending.id:
                raise
        except InputError as error:
            return day_page(key, error, form)
        return RedirectResponse(f"/jobs/{key}/run/day", 303)

    @router.post("/control")
    def control(key: str, form: Sent, sending: Later) -> Response:
        found = _open(store, desk, key, sending.when)
        if found.road.closed:
            said = f"{TITLE}: {text(form, 'residue')}, {text(form, 'harm')}, was not kept. {found.road.closed}"
            return page("trouble.html", 409, title="Not kept", problem=said, back=f"/jobs/{key}/survey")
        if found.setting is None:
            raise InputError("recipe", "There is no recipe to lay a control patch at.", "Decide on one first.")
        laid = Step(TITLE, setting_to(found.setting), as_dialled(found.setting, found.work.laser), 0.0, 0.0, "", None)
        try:
            data = graded_of_form(form, laid, found.work, sending.when)
            with in_one(store, told(sending, form)):
                title = f"{TITLE}: {data['residue']}, {data['harm']}"
                entry = store.add("patch", data, key, title, by=text(form, "grader"))
                add_control(store, key, found.date, entry.id, text(form, "grader"))
                refused = with_photo(page, store, form, key, TITLE, "grade", "run/day")
        except Repeated:
            if sending.id:
                raise
            refused = None
        except InputError as error:
            return day_page(key, error, form)
        desk.begin(store.get("job", key))
        return refused or RedirectResponse(f"/jobs/{key}/run/day", 303)

    return router


def _open(store: Store, desk: Desk, key: str, when: str) -> Today:
    """The day on which something was written.

    Raises:
        InputError: the job is refused.
    """
    found = desk.wait(key)
    day = today_of(store, desk, found, local_day(when))
    if day is None:
        raise InputError("job", f"{found.stop}", "Settle it in the survey first.")
    return day


def _said(desk: Desk, day: Today) -> dict[str, str]:
    """What each grade of the next control patch would mean, "" where it is as expected: for a phone out of reach.

    Empty while none is asked for: it takes a second to work out.
    """
    if day.setting is None or day.road.window is None or day.gate is None or not day.gate.opens:
        return {}
    setting, belief = day.setting, day.road.window.belief
    right = frozenset(name for name, one in day.answers.items() if one.get("ok"))
    found = desk.run(lambda: outcomes(belief, setting, (), right))
    return {grades: "" if one.verdict == AS_EXPECTED else f"{one.words} {one.next}" for grades, one in found.items()}
