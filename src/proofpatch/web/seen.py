"""A strip graded by its photos on screen: the sheet to print, what each window shows, taps, the grades kept."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse

from proofpatch.cli_show import setting_words
from proofpatch.documents.sheet import sheet_pdf
from proofpatch.errors import InputError
from proofpatch.learn.evidence import ADVISED_WAIT, HARMS, RESIDUES
from proofpatch.materials import substrate
from proofpatch.photos.corrections import LABELS, tapped
from proofpatch.photos.find import BY_HAND
from proofpatch.photos.overlay import WIDTH, jpeg, overlay, said
from proofpatch.records_seen import percent, worst_tone
from proofpatch.shop.by_photo import Line, asked, keep, photographed, share_of
from proofpatch.shop.invented import headed
from proofpatch.shop.looks import Look
from proofpatch.shop.pairs import marked_jpeg, narrowed
from proofpatch.shop.photos import add_photo, photo_of, photo_path
from proofpatch.shop.seen import add_shot, add_tap, drop_shot, set_corners, untap
from proofpatch.shop.settings import settings_of
from proofpatch.shop.store import Entry, Store
from proofpatch.shop.strips import Step, Strip, strip_of
from proofpatch.shop.tone_words import tone_change
from proofpatch.web.desk import Desk
from proofpatch.web.once import Later, in_one
from proofpatch.web.patches import graded_of_form
from proofpatch.web.road import Road
from proofpatch.web.shell import Form, Pages, Sent, text, version, whole
from proofpatch.web.tapped import place_of, places_of, places_said

NOT_LAID = "not laid"
LABEL_WORDS = {"coating": "coating left", "bare": "clean ground", "harm": "harm"}
CORNERS = ("upper left", "upper right", "lower right", "lower left")


def routes(page: Pages, store: Store, desk: Desk) -> APIRouter:
    """The pages of a strip's photos."""
    router = APIRouter(prefix="/jobs/{key}/strips/{strip}")

    def found(key: str, strip: str) -> tuple[Strip, Entry]:
        laid = strip_of(store, key, strip)
        return laid, photographed(store, laid)

    def looked(key: str, strip: str) -> tuple[Strip, Entry, Look]:
        laid, entry = found(key, strip)
        return laid, entry, asked(store, laid, entry).look()

    def path_of(photo: Mapping[str, Any]) -> Path:
        return photo_path(store, photo_of(store, photo["digest"]))

    def worked(key: str) -> Road:
        """The road of a job that nothing stops.

        Raises:
            InputError: something does; its strips are neither printed nor graded.
        """
        road = desk.wait(key)
        if road.closed or road.work is None:
            raise InputError("job", f"{road.closed}", "Settle it in the survey first.")
        return road

    def seen_page(key: str, strip: str, error: InputError | None = None, form: Form | None = None) -> Response:
        road = worked(key)
        assert road.work is not None
        laid, entry, look = looked(key, strip)
        due = {one.name for one in laid.due}
        rows = [
            {
                "step": step, "number": number, "due": step.name in due, "together": look.steps.get(number),
                "photos": [n for n, one in enumerate(look.seen) if number in one],
                "said": [said(one[number]) for one in look.seen if number in one],
                "tone": tone_words(look, number),
            }
            for number, step in enumerate(laid.steps, 1)
        ]  # fmt: skip
        under = substrate(road.work.surface.substrate)
        return page(
            "seen.html", 422 if error else 200, road=road, here="patches", strip=laid, entry=entry, photos=look,
            rows=rows, error=error, form=form or {}, residues=RESIDUES, harms=HARMS, not_laid=NOT_LAID,
            labels=LABEL_WORDS, words=setting_words, under=under.title.lower(), percent=percent, wide=WIDTH,
            advised=ADVISED_WAIT.get(under.family), by_hand=BY_HAND,
        )  # fmt: skip

    @router.get("/sheet.pdf")
    def sheet(key: str, strip: str) -> Response:
        laid, title = strip_of(store, key, strip), headed(store, worked(key).entry)
        steps = [(one.name, one.setting) for one in laid.steps]
        made = sheet_pdf(steps, laid.name, title, f"{key[:8]} {laid.name}", settings_of(store)[0].paper)
        return Response(made, media_type="application/pdf")

    @router.post("/photo")
    def photo(key: str, strip: str, form: Sent, sending: Later) -> Response:
        laid, content = strip_of(store, key, strip), form.get("photo")
        if not isinstance(content, bytes) or not content:
            raise InputError("photo", "No photo was chosen.", "Choose one, or take one with the phone.")
        with desk.turn, in_one(store, sending):
            kept = add_photo(store, content, key, about=f"strip {laid.name}")
            add_shot(store, key, strip, kept.data["digest"])
        return _to(key, strip)

    @router.get("/seen")
    def seen(key: str, strip: str) -> Response:
        return seen_page(key, strip)

    @router.get("/seen/{number}/{step}.jpg")
    def picture(key: str, strip: str, number: int, step: int) -> Response:
        _, _, look = looked(key, strip)
        shot = look.shots[number] if 0 <= number < len(look.shots) else None
        if shot is None or step not in shot.windows:
            raise InputError("photo", "This photo does not show that step.", "Go back to the strip.")
        return Response(jpeg(overlay(shot.windows[step], look.seen[number][step])), media_type="image/jpeg")

    @router.post("/tap")
    def tap(key: str, strip: str, form: Sent) -> Response:
        laid, entry, look = looked(key, strip)
        at = next((name for name in form if name.startswith("tap-") and name.endswith(".x")), "tap-0.x")
        number, step = whole(at[4:-2]) or 0, _whole(form, "step")
        shot = look.shots[number] if number < len(look.shots) else None
        if shot is None or step not in shot.windows or version(form) != entry.version:
            return seen_page(key, strip, InputError("tap", "The photos changed meanwhile.", "Tap again."))
        x, y = (
            (_whole(form, f"tap-{number}.{axis}") + 0.5) * shot.windows[step].shape[1] / WIDTH / shot.scale
            for axis in "xy"
        )
        try:
            what = tapped(shot.windows[step], shot.scale, text(form, "label") or LABELS[0], x, y)
            with desk.turn:
                add_tap(store, entry, {"step": step, "photo": number, "x": x, "y": y}, what)
        except InputError as error:
            return seen_page(key, strip, error)
        return _to(key, strip, laid.steps[step - 1].name)

    @router.post("/untap")
    def back(key: str, strip: str, form: Sent) -> Response:
        _, entry = found(key, strip)
        if version(form) == entry.version:
            with desk.turn:
                untap(store, entry)
        return _to(key, strip)

    @router.post("/drop")
    def drop(key: str, strip: str, form: Sent) -> Response:
        _, entry = found(key, strip)
        if version(form) == entry.version:
            with desk.turn:
                entry = drop_shot(store, entry, _whole(form, "photo"))
        return _to(key, strip) if entry.data["photos"] else RedirectResponse(f"/jobs/{key}/patches", 303)

    @router.get("/corners/{number}")
    def corners(key: str, strip: str, number: int, tapped: str = "") -> Response:
        laid, entry = found(key, strip)
        _shot_of(entry, number)
        done = places_of(tapped, len(CORNERS) - 1)
        return page("corners.html", road=desk.wait(key), here="patches", strip=laid, number=number, done=done,
                    tapped=tapped, next=CORNERS[len(done)], wide=WIDTH)  # fmt: skip

    @router.get("/corners/{number}/photo.jpg")
    def small(key: str, strip: str, number: int) -> Response:
        _, entry = found(key, strip)
        return Response(marked_jpeg(path_of(_shot_of(entry, number)), (), WIDTH), media_type="image/jpeg")

    @router.post("/corners/{number}")
    def corner(key: str, strip: str, number: int, form: Sent) -> Response:
        _, entry = found(key, strip)
        one = _shot_of(entry, number)
        if "markers" in form:
            with desk.turn:
                set_corners(store, entry, number, None)
            return _to(key, strip)
        size = narrowed(path_of(one), WIDTH)
        done = (*places_of(text(form, "tapped"), len(CORNERS) - 1), place_of(form, "tap", size))
        if len(done) < len(CORNERS):
            more = f"?tapped={places_said(done)}"
            return RedirectResponse(f"/jobs/{key}/strips/{strip}/corners/{number}{more}", 303)
        with desk.turn:
            set_corners(store, entry, number, done)
        return _to(key, strip)

    @router.post("/grades")
    def grades(key: str, strip: str, form: Sent) -> Response:
        road = worked(key)
        assert road.work is not None
        wanted = asked(store, *found(key, strip))
        look = wanted.look()  # outside the turn: it takes seconds, and others want to write meanwhile
        with desk.turn:
            laid, entry = found(key, strip)
            refused: InputError | None = None
            try:
                if asked(store, laid, entry) != wanted:
                    raise InputError("grades", "The photos changed meanwhile.", "Look at them, then keep the grades.")
                lines = _lines(form, laid, look, road.work)
            except InputError as error:
                refused = error
            else:
                keep(store, laid, entry, look, lines, text(form, "grader"))
        if refused:
            return seen_page(key, strip, refused, form)
        desk.begin(store.get("job", key))
        return RedirectResponse(f"/jobs/{key}/patches", 303)

    return router


def tone_words(look: Look, number: int) -> str:
    """How the cleaned ground differs from bare ground, of the photo that saw the worst."""
    tone = worst_tone(look, number)
    if tone is None:
        return ""
    return f"Tone against bare ground: {tone_change(tone)}."


def _lines(form: Form, laid: Strip, look: Look, work: Any) -> list[Line]:
    """The steps that were graded in a form, each with its line of the patch log.

    Raises:
        InputError: none was, or a choice is missing or contradicts.
    """
    lines = [
        _line(step, number, _graded(form, step, work), look)
        for number, step in enumerate(laid.steps, 1)
        if step in laid.due and text(form, f"residue-{step.name}") not in ("", NOT_LAID)
    ]
    if not lines and laid.due:
        raise InputError("grades", "No step has a grade yet.", "Choose what is left on one.")
    return lines


def _line(step: Step, number: int, data: dict[str, Any], look: Look) -> Line:
    return Line(step, number, {**data, **share_of(look.steps.get(number), data["residue"])})


def _graded(form: Form, step: Step, work: Any) -> dict[str, Any]:
    """A line of the patch log from the choices made for a step.

    Raises:
        InputError: a choice is missing or contradicts; its field names the step.
    """
    of = {name.removesuffix(f"-{step.name}"): value for name, value in form.items() if name.endswith(f"-{step.name}")}
    of |= {name: form[name] for name in ("grader", "waited", "unwiped") if form.get(name)}
    try:
        return graded_of_form(of, step, work)
    except InputError as error:
        raise InputError(f"{error.field}-{step.name}", f"{step.name}: {error.problem}", error.remedy) from None


def _shot_of(entry: Entry, number: int) -> Mapping[str, Any]:
    photos: list[Mapping[str, Any]] = entry.data["photos"]
    if not 0 <= number < len(photos):
        raise InputError("photo", "There is no such photo of this strip.", "Go back to the strip.")
    return photos[number]


def _whole(form: Form, name: str) -> int:
    return whole(text(form, name)) or 0


def _to(key: str, strip: str, step: str = "") -> Response:
    return RedirectResponse(f"/jobs/{key}/strips/{strip}/seen" + (f"#{step}" if step else ""), 303)
