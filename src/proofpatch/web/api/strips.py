"""Strips over HTTP: laid out, graded by their photos, kept."""

from __future__ import annotations

from functools import partial
from typing import Annotated, Any

from fastapi import APIRouter, File, UploadFile

from proofpatch.errors import InputError
from proofpatch.photos.strip import Together
from proofpatch.records import taught_record
from proofpatch.records_seen import seen_record
from proofpatch.shop.by_photo import Line, asked, keep, photographed, share_of
from proofpatch.shop.job import Job
from proofpatch.shop.log import graded_from, stamp
from proofpatch.shop.looks import Look
from proofpatch.shop.photos import add_photo
from proofpatch.shop.seen import add_shot
from proofpatch.shop.store import Entry, Store
from proofpatch.shop.strips import Step, Strip, strip_of
from proofpatch.web.api import models as m
from proofpatch.web.api import models_seen as s
from proofpatch.web.api.find import open_job, road_of, thing
from proofpatch.web.api.graded import FIELDS, patch_model
from proofpatch.web.api.trouble import Declined, at
from proofpatch.web.desk import Desk
from proofpatch.web.laying import lay_next
from proofpatch.web.road import Road


def routes(store: Store, desk: Desk) -> APIRouter:
    """The addresses of the strips of a job."""
    router = APIRouter(responses=m.GONE)

    def strip_named(id: str, strip: str) -> Strip:
        if thing(store, "strip", strip, id).deleted:
            raise Declined(404, "strip", "This strip is put away.", "Lay out another one.")
        return strip_of(store, id, strip)

    @router.post("/jobs/{id}/strips", status_code=201, responses=m.CHANGES)
    def lay(id: m.Key) -> s.LaidStrip:
        """Lays out the next strip; as long as one waits for grades, that one."""
        found = _open(desk, open_job(store, id), "strip")
        laid = None if found.declined else lay_next(store, desk, found)
        if laid is None:
            why = found.forecast["because"] if found.declined and found.forecast else found.strip[0]["because"]
            raise Declined(409, "job", why, "Look at the forecast.")
        steps = [{"step": one.name, "setting": dict(one.setting)} for one in laid.steps]
        return s.LaidStrip(id=laid.entry.id, strip=laid.name, steps=steps)

    @router.post("/jobs/{id}/strips/{strip}/photos", status_code=201, responses=m.CHANGES)
    def photo(
        id: m.Key, strip: s.StripKey, photo: Annotated[UploadFile, File(description="JPEG or PNG")]
    ) -> s.SeenStrip:
        """A photo of a strip in its sheet, kept, and what all its photos show. Nothing is graded by it."""
        open_job(store, id)
        laid = strip_named(id, strip)
        kept = add_photo(store, photo.file.read(), id, about=f"strip {laid.name}")
        with desk.turn:
            entry = add_shot(store, id, strip, kept.data["digest"])
        return _seen(laid, asked(store, laid, entry).look())

    @router.get("/jobs/{id}/strips/{strip}/seen")
    def seen(id: m.Key, strip: s.StripKey) -> s.SeenStrip:
        """What the photos of a strip show: `proofpatch grade --photo`."""
        laid = strip_named(id, strip)
        return _seen(laid, asked(store, laid, _photographed(store, laid)).look())

    @router.post("/jobs/{id}/strips/{strip}/graded", status_code=201, responses=m.CHANGES)
    def graded(id: m.Key, strip: s.StripKey, sent: s.NewGrades) -> s.TaughtStrip:
        """Keeps the grades of a strip's steps, as its photos have them or as an eye says. Refused (409) by a stop."""
        before = _open(desk, open_job(store, id))
        assert before.work is not None
        wanted = asked(store, strip_named(id, strip), _photographed(store, strip_named(id, strip)))
        look = wanted.look()  # outside the turn: others want to write meanwhile
        with desk.turn:
            laid = strip_named(id, strip)
            entry = _photographed(store, laid)
            if asked(store, laid, entry) != wanted:
                raise Declined(409, "photo", "The photos changed meanwhile.", "Read again what they show.")
            lines = _lines(sent, laid, look, before.work)
            kept = keep(store, laid, entry, look, lines, sent.grader or "")
        after = road_of(desk, thing(store, "job", id)).window
        taught: dict[str, Any] = {}
        if after and before.window:
            taught = desk.run(partial(taught_record, laid.name, before.window, after))
        return s.TaughtStrip(graded=[patch_model(one) for one in kept], taught=taught)

    return router


def _open(desk: Desk, entry: Entry, part: str = "") -> Road:
    """The road of a job that nothing stops.

    Raises:
        Declined: 409, something does.
    """
    found = road_of(desk, entry)
    if found.closed or found.work is None or found.window is None:
        raise Declined(409, "job", found.closed or "", "Settle it in the job's tables first.")
    return road_of(desk, entry, part) if part else found


def _photographed(store: Store, laid: Strip) -> Entry:
    try:
        return photographed(store, laid)
    except InputError as error:
        raise Declined(404, "photo", error.problem, "Send one to its photos.") from None


def _seen(laid: Strip, look: Look) -> s.SeenStrip:
    return s.SeenStrip(**seen_record(laid.name, [(one.name, one.setting) for one in laid.steps], look))


def _lines(sent: s.NewGrades, laid: Strip, look: Look, work: Job) -> list[Line]:
    """The lines of the patch log that were asked for.

    Raises:
        InputError: a step that is none or waits for no grade, or a grade that neither eye nor photo told.
    """
    numbers = {one.name: n for n, one in enumerate(laid.steps, 1)}
    due = {one.name: one for one in laid.due}
    lines: list[Line] = []
    for i, grade in enumerate(sent.grades):
        place = f"grades[{i}]"
        if grade.step not in due or any(line.step.name == grade.step for line in lines):
            said = f"{grade.step[:8]!r} does not wait for a grade."
            raise InputError(f"{place}.step", said, f"Those that wait: {', '.join(due) or 'none'}.")
        number = numbers[grade.step]
        data = _line(sent, grade, due[grade.step], look.steps.get(number), place)
        with at(place, FIELDS):
            graded_from(data, len(work.surface.coats))
        lines.append(Line(due[grade.step], number, data))
    return lines


def _line(sent: s.NewGrades, grade: s.StepGrade, step: Step, seen: Together | None, place: str) -> dict[str, Any]:
    residue, harm = (seen.residue, seen.harm) if seen else (None, None)
    said = {"residue": grade.residue or residue, "harm": grade.harm or harm}
    for name, value in said.items():
        if not value:
            why = f"The photos do not tell the {name} of {step.name}."
            raise InputError(f"{place}.{name}", why, "Look at the piece, then say it.")
    more = sent.model_dump(exclude={"grades", "waited_s"}, exclude_none=True)
    more |= {} if sent.waited_s is None else {"waited": sent.waited_s}
    return {"setting": dict(step.setting), **said, **more, **share_of(seen, said["residue"]), "when": stamp()}
