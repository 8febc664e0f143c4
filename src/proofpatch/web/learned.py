"""What the shop learned, on screen; what a job starts from, and the jobs like it."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse

from proofpatch import units
from proofpatch.cli_memory import record_of
from proofpatch.cli_show import setting_words
from proofpatch.errors import InputError
from proofpatch.pictures.drawing import WIDE
from proofpatch.pictures.look import NARROW
from proofpatch.pictures.skill import label, skill_svg, times
from proofpatch.records_memory import alike_words, period_words, start_words
from proofpatch.shop.elsewhere import others
from proofpatch.shop.foretold import Told, told_of
from proofpatch.shop.likeness import Likeness, alike_of
from proofpatch.shop.many import form_anew
from proofpatch.shop.memory import formed, recalled_of
from proofpatch.shop.settings import settings_of
from proofpatch.shop.starts import KIND, Start, start_anew, start_as, start_of, switch
from proofpatch.shop.store import Entry, Store
from proofpatch.web.desk import Desk
from proofpatch.web.road import Road, inputs, road_of
from proofpatch.web.shell import Pages, Sent, text, version

# What the page of what was learned depends on.
OF_MEMORY = ("job", "patch", "run", "site", "lot", "lent", "foretold", "laser", "shop", "survey", "confirmed")
MOST_FORMED = 60  # jobs that a page forms anew while somebody waits


def routes(page: Pages, store: Store, desk: Desk) -> APIRouter:
    """The pages of memory."""
    router = APIRouter()

    def learned_page(error: InputError | None = None) -> Response:
        found, told = what_was_learned(store, desk, bool(error))
        entry = settings_of(store)[1]
        return page(
            "learned.html", 422 if error else 200, record=found, error=error, version=entry.version if entry else 0,
            told=told, periods=[(label(one), one, period_words(one)) for one in told.periods],
            times=times, wide=skill_svg(told.periods, WIDE) if told.periods else "",
            narrow=skill_svg(told.periods, NARROW) if told.periods else "",
            lasers=others(store), start_words=start_words,
        )  # fmt: skip

    @router.get("/learned")
    def learned() -> Response:
        return learned_page()

    @router.post("/learned/use")
    def use(form: Sent) -> Response:
        switch(store, text(form, "use") == "on", version(form))
        return RedirectResponse("/learned", 303)

    @router.post("/learned/form-anew")
    def anew() -> Response:
        if formed(store)[1] > MOST_FORMED:
            said = f"With more than {MOST_FORMED} jobs this takes minutes."
            return learned_page(
                InputError("form-anew", said, "Run it at the command line: proofpatch memory --form-anew.")
            )
        desk.run(lambda: form_anew(store))
        return RedirectResponse("/learned#anew", 303)

    def start_page(key: str, error: InputError | None = None) -> Response:
        found = desk.look(key)
        entry = found.entry
        start = start_as(store, entry, found.window.belief) if found.window else start_of(store, entry)
        return page("start.html", 422 if error else 200, road=found, here="forecast", start=start, error=error,
                    new=anew_of(entry, start), past=_past(store, start))  # fmt: skip

    def anew_of(entry: Entry, start: Start) -> Road | None:
        """The road as it would be, started anew; None where that changes nothing."""
        if not start.used or start.entry is None:
            return None
        given = inputs(store, entry)

        def work() -> Road | None:
            recalled = recalled_of(store, entry)
            return None if recalled == start.recalled else road_of(given._replace(memory=recalled, others=None))

        return desk.tell(("anew", given, store.state(*OF_MEMORY)), "what a new start would change", work)

    @router.get("/jobs/{key}/start")
    def start(key: str) -> Response:
        return start_page(key)

    @router.post("/jobs/{key}/start")
    def start_again(key: str, form: Sent) -> Response:
        entry = store.get("job", key)
        try:
            desk.run(lambda: start_anew(store, entry, version(form)))
        except InputError as error:
            return start_page(key, error)
        desk.begin(entry)
        return RedirectResponse(f"/jobs/{key}/start", 303)

    @router.post("/jobs/{key}/start/undo")
    def start_back(key: str, form: Sent) -> Response:
        entry = store.get("job", key)
        kept = start_of(store, entry, asks=False).entry
        if kept is not None:
            store.undo(KIND, kept.id, version(form))
            desk.begin(entry)
        return RedirectResponse(f"/jobs/{key}/start", 303)

    @router.get("/jobs/{key}/alike")
    def alike(key: str) -> Response:
        found = desk.look(key)
        if found.stop:
            return page("alike.html", road=found, here="forecast", rows=[], said="", words=setting_words)
        entry = found.entry
        rows, graded = which_are_alike(store, desk, entry)
        return page("alike.html", road=found, here="forecast", rows=rows, said=alike_words(rows, graded),
                    words=setting_words)  # fmt: skip

    return router


def what_was_learned(store: Store, desk: Desk, waits: bool = False) -> tuple[dict[str, Any], Told]:
    """The record of all that a shop learned, and its forecasts against outcomes; once as long as nothing changed.

    Raises:
        Working: it takes longer than a page may, and it is not waited for.
    """

    def work() -> tuple[dict[str, Any], Told]:
        told = told_of(store)
        return record_of(store, told), told

    return desk.tell(("learned", units.system(), store.state(*OF_MEMORY)), "what was learned", work, waits)


def which_are_alike(store: Store, desk: Desk, entry: Entry, waits: bool = False) -> tuple[list[Likeness], bool | None]:
    """As `alike_of`; worked out and waited for like what was learned."""
    about = ("alike", entry.id, entry.version, store.state(*OF_MEMORY, "photo", "recipe", "record"))
    return desk.tell(about, "which jobs are like it", lambda: alike_of(store, entry), waits)


def _past(store: Store, start: Start) -> int:
    """How many starts a job had before this one."""
    if start.entry is None:
        return 0
    return len({str(one.data) for one in store.history(KIND, start.entry.id)}) - 1
