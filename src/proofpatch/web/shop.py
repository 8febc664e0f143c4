"""The shop's own page: its name, units, currency, paper, the limits a new job starts with; what is kept where."""

from __future__ import annotations

from dataclasses import asdict

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from proofpatch.errors import InputError
from proofpatch.shop.settings import CURRENCIES, PAPERS, keep_settings, settings_of
from proofpatch.shop.store import Store
from proofpatch.units import SYSTEMS, show
from proofpatch.web.chosen import LANGUAGE_COOKIE, MARK_COOKIE, UNITS_COOKIE, mark_here, units_here
from proofpatch.web.jobs import presets
from proofpatch.web.marks import MARKS
from proofpatch.web.shell import A_YEAR, Form, Pages, Sent, text, version
from proofpatch.web.words import LANGUAGES

UNITS = {"metric": "Metric units", "us": "Feet and inches"}
PAPER_WORDS = {"a4": "A4, 210 by 297 mm", "us-letter": "US letter, 8½ by 11 in"}
SHOWN_IN = ((0.55, "area"), (0.02, "speed"), (1e-3, "area rate"))  # what a system of units makes of some figures
FIELDS = ("name", "units", "currency", "paper", "preset")
MARK_WORDS = {"point": "a point: 1.5", "comma": "a comma: 1,5"}


def routes(page: Pages, store: Store) -> APIRouter:
    """The page of the shop."""
    router = APIRouter()

    def shop_page(request: Request, error: InputError | None = None, form: Form | None = None) -> Response:
        now, entry = settings_of(store)
        examples = {key: ", ".join(show(value, kind, key) for value, kind in SHOWN_IN) for key in UNITS}
        counts = {kind: store.count(kind) for kind in ("job", "patch", "photo")}
        return page(
            "shop.html", 422 if error else 200, now=now, form=form or asdict(now), error=error,
            version=entry.version if entry else 0,
            units=UNITS, examples=examples, units_here=units_here(request),
            mark_here=mark_here(request), marks=MARK_WORDS,
            language_here=request.cookies.get(LANGUAGE_COOKIE), languages=LANGUAGES,
            papers={key: PAPER_WORDS[key] for key in PAPERS}, currencies=CURRENCIES,
            presets=presets(), counts=counts, folder=str(store.folder.resolve()), database=store.server,
            saved=entry.changed if entry else None, secure=request.url.scheme == "https", daily=request.app.state.daily,
        )  # fmt: skip

    @router.get("/shop")
    def shop(request: Request) -> Response:
        return shop_page(request)

    @router.post("/shop")
    def keep(request: Request, form: Sent) -> Response:
        try:
            keep_settings(store, {name: text(form, name) for name in FIELDS}, version(form))
        except InputError as error:
            return shop_page(request, error, form)
        return RedirectResponse("/shop", 303)

    @router.post("/shop/here")
    def on_this_device(form: Sent) -> Response:
        answer = RedirectResponse("/shop#here", 303)
        for cookie, said, known in (
            (UNITS_COOKIE, text(form, "units"), SYSTEMS), (MARK_COOKIE, text(form, "mark"), MARKS),
            (LANGUAGE_COOKIE, text(form, "language"), LANGUAGES),
        ):  # fmt: skip
            if said in known:
                answer.set_cookie(cookie, said, max_age=A_YEAR, httponly=True, samesite="lax")
            else:
                answer.delete_cookie(cookie)
        return answer

    return router
