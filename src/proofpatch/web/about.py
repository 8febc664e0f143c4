"""Whose piece it is and what was noted, on screen."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse

from proofpatch.errors import InputError
from proofpatch.shop.changes import past
from proofpatch.shop.job import DEFAULT_LASER
from proofpatch.shop.people import add_note, customers, item_of, keep_item, notes_of, written_at
from proofpatch.shop.store import Store, of_job
from proofpatch.web.desk import Desk
from proofpatch.web.jobs import job_choices
from proofpatch.web.once import Later, in_one
from proofpatch.web.shell import Form, Pages, Sent, text, version
from proofpatch.web.survey import change

# Of a job, in place of its preset's figures.
LIMITS = {"p_clean": "Clean, at least", "p_harm": "Harm, at most", "p_harm_patch": "Harm of a test patch, at most"}


def routes(page: Pages, store: Store, desk: Desk) -> APIRouter:
    """The page of a job's customer and notes."""
    router = APIRouter()

    def about_page(key: str, error: InputError | None = None, form: Form | None = None) -> Response:
        entry, item = store.get("job", key), item_of(store, key)
        told: dict[str, Any] = {"customer": item.customer, "contact": item.contact, "wanted": item.wanted}
        told |= {"title": entry.title, "laser": DEFAULT_LASER, **entry.data.get("job", {})}
        told |= {"preset": "ordinary", **entry.data.get("limits", {})} | dict(form or {})
        return page(
            "about.html", 422 if error else 200, entry=entry, item=item, form=told, error=error,
            version=item.entry.version if item.entry else 0, customers=customers(store), notes=notes_of(store, key),
            gone=store.all("note", key, deleted=True, most=50), past=past(store, entry), written_at=written_at,
            **job_choices(store, told["laser"]), limits=LIMITS,
        )  # fmt: skip

    @router.get("/jobs/{key}/piece")
    def about(key: str) -> Response:
        return about_page(key)

    @router.post("/jobs/{key}/piece")
    def keep(key: str, form: Sent) -> Response:
        try:
            store.get("job", key)
            keep_item(store, key, version(form), *(text(form, name) for name in ("customer", "contact", "wanted")))
        except InputError as error:
            return about_page(key, error, form)
        return RedirectResponse(f"/jobs/{key}/piece", 303)

    @router.post("/jobs/{key}/job")
    def rename(key: str, form: Sent) -> Response:
        def make(data: dict[str, Any]) -> None:
            head = data.setdefault("job", {})
            head["title"] = text(form, "title") or head.get("title", "")
            head["laser"] = text(form, "laser")
            data["limits"] = {name: text(form, name) for name in ("preset", *LIMITS) if text(form, name)}

        return change(desk, key, form, "piece", make, lambda error: about_page(key, error, form))

    @router.post("/jobs/{key}/past/{number}")
    def again(key: str, number: int, form: Sent) -> Response:
        said = next((one for one in store.history("job", key) if one.number == number), None)
        if said is None:
            raise InputError(
                "number", "There is no such earlier version.", "Choose one of those under what was changed."
            )

        def make(data: dict[str, Any]) -> None:
            data.clear()
            data.update(said.data)

        return change(desk, key, form, "piece", make, lambda error: about_page(key, error))

    @router.post("/jobs/{key}/notes")
    def note(key: str, form: Sent, sending: Later) -> Response:
        try:
            with in_one(store, sending):
                written = sending.when if sending.id else ""
                add_note(store, store.get("job", key).id, text(form, "note"), text(form, "by"), written)
        except InputError as error:
            return about_page(key, error, form)
        return RedirectResponse(f"/jobs/{key}/piece", 303)

    @router.post("/jobs/{key}/notes/{note}/delete")
    def strike(key: str, note: str, form: Sent) -> Response:
        store.delete("note", of_job(store, "note", note, key).id, version(form))
        return RedirectResponse(f"/jobs/{key}/piece", 303)

    @router.post("/jobs/{key}/notes/{note}/restore")
    def unstrike(key: str, note: str, form: Sent) -> Response:
        store.restore("note", of_job(store, "note", note, key).id, version(form))
        return RedirectResponse(f"/jobs/{key}/piece", 303)

    return router
