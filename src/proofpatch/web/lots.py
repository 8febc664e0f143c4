"""Graded patches given to other shops and taken from them, on screen."""

from __future__ import annotations

import hashlib
from base64 import b64encode
from collections import OrderedDict
from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Query, Response
from fastapi.responses import RedirectResponse

from proofpatch.errors import InputError
from proofpatch.learn.memory.exchange import Exchanged
from proofpatch.records_memory import giving_record, lot_record, names_in, sources_in, starter_record
from proofpatch.shop.lent_photos import bare
from proofpatch.shop.lots import (
    KIND,
    WEIGHT,
    Preview,
    bring_in,
    every_lot,
    given,
    given_file,
    kinds_of,
    own_name,
    preview,
    weigh,
)
from proofpatch.shop.property_words import kind_of
from proofpatch.shop.starter import starter_offered, take_starter
from proofpatch.shop.store import Store
from proofpatch.units import parse
from proofpatch.web.desk import Desk
from proofpatch.web.shell import Form, Pages, Sent, text, version

Kinds = Annotated[list[str] | None, Query()]
PICTURES = 24  # shown before a file is made; the others are counted
HELD = 3  # files looked at and not yet brought in, in memory; up to 50 MB each


def routes(page: Pages, store: Store, desk: Desk) -> APIRouter:
    """The pages of what is lent and borrowed."""
    router = APIRouter(prefix="/learned/lots")
    held: OrderedDict[str, bytes] = OrderedDict()

    def lots_page(
        error: InputError | None = None, form: Form | None = None, seen: Preview | None = None, of: str = ""
    ) -> Response:
        ours, lots = given(store), every_lot(store)
        return page(
            "lots.html", 422 if error else 200, error=error, form=form or {}, seen=seen, of=of, offered=f"{WEIGHT:g}",
            kinds=kinds_of((kind_of(one.surface), len(one.graded)) for _, one in ours), recipes=sum(
                one.recipe is not None for _, one in ours),
            lots=[lot_record(one) for one in lots if not one.taken_out],
            gone=[lot_record(one) for one in lots if one.taken_out],
            key=own_name(store), pictures=_pictures(seen.parcel.jobs) if seen else [],
            starter=starter_record(starter_offered(store)),
            names=names_in(seen.parcel.jobs) if seen else [], sources=sources_in(seen.parcel.jobs) if seen else [],
        )  # fmt: skip

    @router.get("")
    def lots() -> Response:
        return lots_page()

    @router.get("/give")
    def give(kind: Kinds = None, photos: bool = False, names: bool = False) -> Response:
        jobs = [one for _, one in given(store, None, photos, names, kind or [])]
        if not jobs:
            return lots_page(InputError("jobs", "No kind of work was chosen.", "Choose at least one."))
        return page(
            "give.html", about=giving_record(jobs), kinds=kinds_of((kind_of(one.surface), len(one.graded))
                for one in jobs), photos=photos, names=names, key=own_name(store), pictures=_pictures(jobs),
        )  # fmt: skip

    @router.get("/ours.jsonl")
    def ours(kind: Kinds = None, photos: bool = False, names: bool = False) -> Response:
        try:
            data = given_file(store, photos=photos, names=names, kinds=kind)
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
            desk.run(lambda: bring_in(store, data, weight, photos=text(form, "photos") == "on"))
        except InputError as error:
            return refused(error, form, data)
        held.pop(text(form, "digest"), None)
        return RedirectResponse("/learned/lots", 303)

    def refused(error: InputError, form: Form, data: bytes) -> Response:
        try:
            return lots_page(error, form, None if error.field == "file" else preview(store, data))
        except InputError as meanwhile:  # another tab brought it in
            return lots_page(meanwhile)

    @router.post("/starter")
    def start_with() -> Response:
        try:
            desk.run(lambda: take_starter(store))
        except InputError as error:
            return lots_page(error)
        return RedirectResponse("/learned/lots", 303)

    @router.post("/{key}/weight")
    def set_weight(key: str, form: Sent) -> Response:
        lot = store.get(KIND, key)
        try:
            weigh(store, lot.id, version(form), _weight(form))
        except InputError as error:
            return lots_page(error, form, of=key if error.field == "weight" else "")
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


def _pictures(jobs: Sequence[Exchanged]) -> list[tuple[str, str]]:
    """(what it shows, a copy for the page) of the first photos that travel; drawn anew, whoever sent them."""
    found = {one.sha256: (one.shows, one.content) for job in jobs for one in job.photos if one.content is not None}
    return [(shows, b64encode(bare(content)).decode()) for shows, content in list(found.values())[:PICTURES]]


def _weight(form: Form) -> float:
    """How much a lot is to count, as it was typed."""
    try:
        return parse(text(form, "weight"), "share", "weight")
    except InputError as error:
        raise InputError("weight", error.problem, "Give a share like 0.5 or 50 %.") from None
