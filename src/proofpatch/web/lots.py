"""Graded patches given to other shops and taken from them, on screen."""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from typing import Annotated

from fastapi import APIRouter, Query, Response
from fastapi.responses import RedirectResponse

from proofpatch.errors import InputError
from proofpatch.records_memory import lot_record
from proofpatch.shop.lots import (
    KIND,
    WEIGHT,
    Preview,
    bring_in,
    given,
    given_file,
    kinds_of,
    lots_of,
    own_name,
    preview,
    weigh,
)
from proofpatch.shop.property_words import kind_of
from proofpatch.shop.store import Store
from proofpatch.units import parse
from proofpatch.web.desk import Desk
from proofpatch.web.shell import Form, Pages, Sent, text, version

HELD = 3  # files looked at and not yet brought in, in memory; up to 50 MB each


def routes(page: Pages, store: Store, desk: Desk) -> APIRouter:
    """The pages of what is lent and borrowed."""
    router = APIRouter(prefix="/learned/lots")
    held: OrderedDict[str, bytes] = OrderedDict()

    def lots_page(
        error: InputError | None = None, form: Form | None = None, seen: Preview | None = None, of: str = ""
    ) -> Response:
        ours = given(store)
        return page(
            "lots.html", 422 if error else 200, error=error, form=form or {}, seen=seen, of=of, offered=f"{WEIGHT:g}",
            kinds=kinds_of((kind_of(one.surface), len(one.graded)) for _, one in ours), recipes=sum(
                one.recipe is not None for _, one in ours),
            lots=[lot_record(one) for one in lots_of(store)], gone=[lot_record(one) for one in lots_of(store, True)],
            key=own_name(store),
        )  # fmt: skip

    @router.get("")
    def lots() -> Response:
        return lots_page()

    @router.get("/ours.jsonl")
    def ours(kind: Annotated[list[str] | None, Query()] = None) -> Response:
        try:
            jobs = [entry.id for entry, one in given(store) if kind is None or kind_of(one.surface) in kind]
            data = given_file(store, jobs)
        except InputError as error:
            return lots_page(InputError("jobs", error.problem, error.remedy))
        name = f"patches-{hashlib.sha256(data).hexdigest()[:8]}.jsonl"
        headers = {"Content-Disposition": f'attachment; filename="{name}"'}
        return Response(data, media_type="application/jsonl", headers=headers)

    @router.post("/look")
    def look(form: Sent) -> Response:
        data = form.get("file")
        if not isinstance(data, bytes) or not data:
            return lots_page(InputError("file", "No file was chosen.", "Choose one that another shop lent you."))
        try:
            seen = preview(store, data)
        except InputError as error:
            return lots_page(error)
        held[seen.digest] = data
        while len(held) > HELD:
            held.popitem(last=False)
        return lots_page(seen=seen)

    @router.post("")
    def take(form: Sent) -> Response:
        data = held.get(text(form, "digest"))
        if data is None:
            return lots_page(InputError("file", "The file is not at hand any more.", "Choose it again."))
        try:
            weight = _weight(form)
            desk.run(lambda: bring_in(store, data, weight))
        except InputError as error:
            return refused(error, form, data)
        held.pop(text(form, "digest"), None)
        return RedirectResponse("/learned/lots", 303)

    def refused(error: InputError, form: Form, data: bytes) -> Response:
        try:
            return lots_page(error, form, None if error.field == "file" else preview(store, data))
        except InputError as meanwhile:  # another tab brought it in
            return lots_page(meanwhile)

    @router.post("/{key}/weight")
    def set_weight(key: str, form: Sent) -> Response:
        lot = store.get(KIND, key)
        try:
            weigh(store, lot.id, version(form), _weight(form))
        except InputError as error:
            return lots_page(error, form, of=key)
        return RedirectResponse(f"/learned/lots#{key}", 303)

    @router.post("/{key}/delete")
    def take_out(key: str, form: Sent) -> Response:
        store.delete(KIND, key, version(form))
        return RedirectResponse("/learned/lots", 303)

    @router.post("/{key}/restore")
    def bring_back(key: str, form: Sent) -> Response:
        store.restore(KIND, key, version(form))
        return RedirectResponse("/learned/lots", 303)

    return router


def _weight(form: Form) -> float:
    """How much a lot is to count, as it was typed."""
    try:
        return parse(text(form, "weight"), "share", "weight")
    except InputError as error:
        raise InputError("weight", error.problem, "Give a share like 0.5 or 50 %.") from None
