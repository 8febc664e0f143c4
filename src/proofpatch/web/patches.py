"""Test patches of a job on screen: a strip is laid out, its steps are laid, timed and graded one by one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse

from proofpatch.cli_read import KNOBS, OPTIONS, read_setting
from proofpatch.cli_show import setting_words
from proofpatch.errors import InputError
from proofpatch.lasers import Laser
from proofpatch.learn.evidence import ADVISED_WAIT, HARMS, RESIDUES
from proofpatch.materials import substrate
from proofpatch.physics.setting import Setting
from proofpatch.pictures.drawing import WIDE
from proofpatch.pictures.field import named as names_of
from proofpatch.pictures.look import NARROW
from proofpatch.pictures.narrowing import how_to_read, narrowing_svg, row_of
from proofpatch.shop.job import Job
from proofpatch.shop.log import checked_graded, graded_from, setting_from, setting_to, stamp
from proofpatch.shop.seen import seen_of
from proofpatch.shop.store import Store, of_job
from proofpatch.shop.strips import NAMED, Step, Strip, strip_of, strips_of
from proofpatch.units import parse
from proofpatch.web.desk import Desk
from proofpatch.web.jobs import with_photo
from proofpatch.web.laying import lay_next
from proofpatch.web.once import Later, in_one
from proofpatch.web.road import Road, beliefs
from proofpatch.web.shell import Form, Pages, Sent, text, version, whole

MOST_GONE = 50  # taken back, that are offered again
# What else may be written down of a step: field, kind of quantity.
TIMES = (("seconds", "duration"), ("length", "length"), ("waited", "duration"))
KNOB_NAMES = {
    "power": "Power", "rate": "Rate", "width": "Pulse width", "spot_diameter": "Spot diameter", "sweep_width": "Sweep",
    "sweep_speed": "Sweep speed", "travel_speed": "Hand", "passes": "Passes",
}  # fmt: skip


def routes(page: Pages, store: Store, desk: Desk) -> APIRouter:
    """The pages of the patches."""
    router = APIRouter()

    def patches_page(
        found: Road, wanted: str = "", error: InputError | None = None, form: Form | None = None
    ) -> Response:
        strips = strips_of(store, found.entry.id, found.patches) if found.closed is None else []
        strip = strips[-1] if strips else None
        named = {one.patch.id: one.name for strip in strips for one in strip.steps if one.patch}
        due = strip.due if strip else ()
        step = next((one for one in due if one.name == wanted), due[0] if due else None)
        under = found.work.surface.substrate if found.work else None
        return page(
            "patches.html", 422 if error else 200, road=found, here="patches", stop=found.closed,
            record=None if found.closed else found.strip[0], strip=strip, step=step, declined=found.declined,
            dial=dial(step.setting) if step else [], knobs=KNOB_NAMES, error=error, form=form or {},
            words=setting_words, residues=RESIDUES, harms=HARMS, under=substrate(under).title.lower() if under else "",
            coats=[coat.title for coat in found.work.surface.coats] if found.work else [],
            advised=ADVISED_WAIT.get(substrate(under).family) if under else None,
            photos={one.data.get("about", ""): one for one in reversed(store.all("photo", found.entry.id))},
            gone=store.all("patch", found.entry.id, deleted=True, most=MOST_GONE),
            narrowing=_narrowing(store, found, named) if found.patches and found.closed is None else None,
            named=named, shown=strip is not None and seen_of(store, found.entry.id, strip.entry.id) is not None,
        )  # fmt: skip

    @router.get("/jobs/{key}/patches")
    def patches(key: str, step: str = "") -> Response:
        return patches_page(desk.look(key, "strip"), step)

    @router.post("/jobs/{key}/strips")
    def lay(key: str) -> Response:
        found = desk.wait(key, "strip")
        if found.closed is not None or found.declined:
            return patches_page(found)
        lay_next(store, desk, found)
        return RedirectResponse(f"/jobs/{key}/patches", 303)

    @router.post("/jobs/{key}/strips/{strip}/end")
    def end(key: str, strip: str, form: Sent, sending: Later) -> Response:
        entry = of_job(store, "strip", strip, key)
        with desk.turn, in_one(store, sending):
            begun = any(one.patch for one in strip_of(store, key, strip).steps)
            if begun:
                store.change("strip", strip, version(form), {**entry.data, "ended": True})
            else:
                store.delete("strip", strip, version(form))
        desk.remember(desk.wait(key))
        return RedirectResponse(f"/jobs/{key}/patches", 303)

    @router.post("/jobs/{key}/patches")
    def grade(key: str, form: Sent, sending: Later) -> Response:
        found = desk.wait(key, "strip")
        if found.work is None or found.closed:
            said = f"{text(form, 'step')}: {text(form, 'residue')}, {text(form, 'harm')}, was not kept. {found.closed}"
            return page("trouble.html", 409, title="Not kept", problem=said, back=f"/jobs/{key}/survey")
        with desk.turn:
            strips = strips_of(store, key, store.in_order("patch", key))
            laid = next((one for strip in strips for one in strip.steps if one.name == text(form, "step")), None)
            same = laid and laid.patch and all(laid.patch.data[n] == text(form, n) for n in ("residue", "harm"))
            if same and not sending.id:
                return RedirectResponse(f"/jobs/{key}/patches", 303)  # pressed twice
            try:
                step = _step(strips, text(form, "step"))
            except InputError as error:
                return patches_page(found, "", error)
            try:
                data = graded_of_form(form, step, found.work, sending.when)
            except InputError as error:
                return patches_page(found, text(form, "step"), error, form)
            title = f"{step.name}: {data['residue']}, {data['harm']}"
            with in_one(store, sending):
                # The grade first: a photo that cannot be read does not cost it.
                store.add("patch", data, key, title, by=text(form, "grader"))
                refused = with_photo(page, store, form, key, step.name, "grade", "patches")
        desk.begin(store.get("job", key))
        return refused or RedirectResponse(f"/jobs/{key}/patches", 303)

    @router.post("/jobs/{key}/patches/{patch}/delete")
    def ungrade(key: str, patch: str, form: Sent) -> Response:
        of_job(store, "patch", patch, key)
        store.delete("patch", patch, version(form))
        desk.remember(desk.wait(key))
        return RedirectResponse(f"/jobs/{key}/patches", 303)

    @router.post("/jobs/{key}/patches/{patch}/restore")
    def regrade(key: str, patch: str, form: Sent) -> Response:
        named = NAMED.match(of_job(store, "patch", patch, key).title)
        with desk.turn:
            taken = {found[1] for one in store.all("patch", key) if (found := NAMED.match(one.title))}
            if named and named[1] in taken:
                raise InputError("patch", f"{named[1]} was graded anew meanwhile.", "Take that grade back first.")
            store.restore("patch", patch, version(form))
        desk.remember(desk.wait(key))
        return RedirectResponse(f"/jobs/{key}/patches", 303)

    return router


def _narrowing(store: Store, found: Road, named: Mapping[str, str]) -> dict[str, Any] | None:
    """How the belief narrowed, drawn at two widths; None while fewer than two beliefs of the job are kept."""
    kept = beliefs(store, found)
    if len(kept) < 2 or found.window is None:
        return None
    at = setting_from(kept[0][1]["reference"])
    rows = [
        row_of(
            "before any patch" if patch is None else f"after {named.get(patch.id, 'another')}", data["levels"], at,
            None if patch is None else graded_from(patch.data),
        )
        for patch, data in kept
    ]  # fmt: skip
    _, harm = names_of(found.window.belief)
    return {"read": how_to_read(rows, at), "wide": narrowing_svg(rows, WIDE, harm),
            "narrow": narrowing_svg(rows, NARROW, harm)}  # fmt: skip


def dial(setting: Mapping[str, Any]) -> list[tuple[str, float, str]]:
    """(name, value, kind) of what is dialled in for a step, as its card shows it."""
    return [
        ("Power", setting["average_power_W"], "power"), ("Rate", setting["repetition_rate_Hz"], "frequency"),
        ("Pulse width", setting["pulse_width_s"], "time"), ("Sweep", setting["sweep_width_m"], "length"),
        ("Hand", setting["travel_speed_m_s"], "speed"), ("Passes", setting["passes"], "count"),
    ]  # fmt: skip


def _step(strips: list[Strip], name: str) -> Step:
    """The step that waits for this grade.

    Raises:
        InputError: it does not wait.
    """
    found = next((step for strip in strips[-1:] for step in strip.due if step.name == name), None)
    if found is None:
        raise InputError("step", f"{name[:8] or 'No step'} does not wait for a grade.", "Choose one of the strip.")
    return found


def dialled_in(form: Form, dialled: Mapping[str, str], pattern: str, laser: Laser) -> Setting:
    """The setting of the knobs of a form; what was left empty is as it was laid out.

    Raises:
        InputError: a knob that cannot be; its field names it.
    """
    given = {name: text(form, f"knob-{name}") or dialled.get(name) for name in KNOBS}
    given["pattern"] = pattern
    try:
        return read_setting(given, laser)[0]
    except InputError as error:
        flags = {OPTIONS[name][0]: name for name in KNOBS}
        knob = flags.get(error.field)
        if knob is None:
            raise
        raise InputError(f"knob-{knob}", error.problem.replace(error.field, KNOB_NAMES[knob]), error.remedy) from None


def graded_of_form(form: Form, step: Step, work: Job, when: str = "") -> dict[str, Any]:
    """A line of the patch log from a form: what was dialled, the speed that was moved, what came of it.

    Args:
        when: it was written, as a log has it; empty: now.

    Raises:
        InputError: a choice is missing, or the patch contradicts itself.
    """
    for name, words in (("residue", "how much is left"), ("harm", "what it did to what lies under it")):
        if not text(form, name):
            raise InputError(name, f"It was not said {words}.", "Choose one of the grades.")
    setting = dialled_in(form, step.dialled, step.setting["pattern"], work.laser)
    values: dict[str, Any] = {"residue": text(form, "residue"), "harm": text(form, "harm")}
    for name, kind in TIMES:
        if text(form, name):
            values[name] = parse(text(form, name), kind, name)
    if text(form, "grader"):
        values["grader"] = text(form, "grader")
    layer = whole(text(form, "layer"), 99)
    if layer is not None:
        values["layer"] = layer
    values["wiped"] = text(form, "unwiped") == ""
    graded = checked_graded(setting, values, len(work.surface.coats))
    data = {"setting": setting_to(graded.setting), **values, "when": when or stamp()}
    graded_from(data, len(work.surface.coats))  # what is kept can be read again
    return data
