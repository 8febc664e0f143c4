"""The completion record on screen: as it would be written now, as it was written, and signed."""

from __future__ import annotations

import base64
import datetime
from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse

from proofpatch.documents.record import record_page, record_pdf
from proofpatch.errors import InputError
from proofpatch.shop.completions import (
    Written,
    fingerprint,
    keep_record,
    record_standing,
    says_the_same,
    take_signature,
    with_words,
    written,
)
from proofpatch.shop.kept_pairs import ENDS, KIND, MOST, add_pair, pairs_of
from proofpatch.shop.pairs import PLACES
from proofpatch.shop.store import Store, of_job
from proofpatch.units import parse
from proofpatch.web.compare import Asked, taken_words
from proofpatch.web.desk import Desk
from proofpatch.web.recorded import draft_pdf, paper_size, pictures_of, record_now
from proofpatch.web.shell import Form, Pages, Sent, text, version
from proofpatch.web.signing import kept_pdf, signature_of, signed_of
from proofpatch.web.tapped import places_of, places_said
from proofpatch.web.written import YES, lines

TICKS = (
    "I have looked at the piece, beside the signed sample where there is one.",
    "I have been told what is open, what to do first, and what comes next.",
)
EARLY = "That is before the record was written."


def routes(page: Pages, store: Store, desk: Desk) -> APIRouter:
    """The pages of the record."""
    router = APIRouter()

    def now_shown(key: str, error: InputError | None = None, form: Form | None = None) -> Response:
        found = (desk.wait if error else desk.look)(key)
        if found.work is None or found.stop:
            return page("record.html", road=found, here="record", paper=None, error=None)
        record, own = record_now(store, found), written(store, key)
        last = own[-1] if own else None
        return page(
            "record.html", 422 if error else 200, road=found, here="record", record=record, paper=record_page(record),
            error=error, form=form or _kept_words(last), known_by=fingerprint(record), own=own, last=last, most=MOST,
            same=last is not None and says_the_same(_bare(last.record), record), query=_query, taken=taken_words,
            photos=store.in_order("photo", key), pairs=pairs_of(store, key),
            gone=pairs_of(store, key, deleted=True)[-1:],
        )  # fmt: skip

    @router.get("/jobs/{key}/record")
    def now(key: str) -> Response:
        return now_shown(key)

    @router.get("/jobs/{key}/record.pdf")
    def printed(key: str) -> Response:
        own = written(store, key)
        if own:
            return kept_pdf(store, (own[-1].paper or own[-1].entry).data["pdf"])
        return Response(draft_pdf(store, desk.wait(key)), media_type="application/pdf")

    @router.post("/jobs/{key}/record")
    def write(key: str, form: Sent) -> Response:
        try:
            found = desk.wait(key)
            record = record_now(store, found)
            if fingerprint(record) != text(form, "mark"):
                raise InputError("record", "It is not what you looked at any more.", "Read it again, then write it.")
            told = with_words(record, lines(form, "remarks"), lines(form, "open"))
            size = paper_size(store, found)
            entry = keep_record(store, key, told, size, record_pdf(told, size, pictures_of(store, told)))
        except InputError as error:
            return now_shown(key, error, form)
        desk.wait(key)  # the contents say how it stands; that is quick, and no page has to say that it is at work
        return RedirectResponse(f"/jobs/{key}/records/{entry.id}", 303)

    @router.post("/jobs/{key}/record/pairs")
    def choose(key: str, form: Sent) -> Response:
        try:
            length = parse(text(form, "length"), "length", "length") if text(form, "length") else None
            add_pair(
                store, store.get("job", key).id, text(form, "before"), text(form, "after"), text(form, "about"),
                places_of(text(form, "places"), 2 * PLACES), places_of(text(form, "ends"), ENDS), length,
            )  # fmt: skip
        except InputError as error:
            return now_shown(key, error, form)
        return RedirectResponse(f"/jobs/{key}/record#pairs", 303)

    @router.post("/jobs/{key}/record/pairs/{pair}/delete")
    def strike(key: str, pair: str, form: Sent) -> Response:
        store.delete(KIND, of_job(store, KIND, pair, key).id, version(form))
        return RedirectResponse(f"/jobs/{key}/record#pairs", 303)

    @router.post("/jobs/{key}/record/pairs/{pair}/restore")
    def unstrike(key: str, pair: str, form: Sent) -> Response:
        store.restore(KIND, of_job(store, KIND, pair, key).id, version(form))
        return RedirectResponse(f"/jobs/{key}/record#pairs", 303)

    def kept_shown(key: str, one: str, error: InputError | None = None, form: Form | None = None) -> Response:
        found, own = (desk.wait if error else desk.look)(key), written(store, key)
        this = _of(own, one)
        signed = this.signed
        return page(
            "recorded.html", 422 if error else 200, road=found, here="record", one=this, newest=own[-1],
            paper=record_page(this.record), error=error, form=form or {}, ticks=TICKS, signed=signed, query=_query,
            picture=base64.b64encode(signed.signature).decode("ascii") if signed else "",
            signed_at=datetime.datetime.fromisoformat(signed.at).astimezone().strftime("%d %b %Y, %H:%M")
            if signed else "", last=own[-1].entry.id == one, standing=record_standing(store, key),
        )  # fmt: skip

    @router.get("/jobs/{key}/records/{one}.pdf")
    def paper(key: str, one: str) -> Response:
        return kept_pdf(store, _of(written(store, key), one).entry.data["pdf"])

    @router.get("/jobs/{key}/records/{one}/signed.pdf")
    def signed_paper(key: str, one: str) -> Response:
        found = _of(written(store, key), one)
        if found.paper is None:
            raise InputError("record", "This version was not signed.", "Look at it again.")
        return kept_pdf(store, found.paper.data["pdf"])

    @router.get("/jobs/{key}/records/{one}")
    def kept(key: str, one: str) -> Response:
        return kept_shown(key, one)

    @router.post("/jobs/{key}/records/{one}/sign")
    def sign(key: str, one: str, form: Sent) -> Response:
        found = _of(written(store, key), one)
        try:
            for n, line in enumerate(TICKS):
                if text(form, f"tick-{n}") != YES:
                    raise InputError(f"tick-{n}", f"Not ticked: {line}", "Tick it, or write down what is open.")
            day = datetime.date.fromisoformat(found.record["day"])
            signed = signed_of(form, day, TICKS, early=EARLY)
            pdf = record_pdf(found.record, found.entry.data["paper"], pictures_of(store, found.record),
                             signature=signature_of(signed))  # fmt: skip
            take_signature(store, found, signed, pdf)
        except InputError as error:
            return kept_shown(key, one, error, form)
        desk.wait(key)
        return RedirectResponse(f"/jobs/{key}/records/{one}", 303)

    return router


def _of(own: list[Written], key: str) -> Written:
    """That version.

    Raises:
        InputError: it is none of this job.
    """
    found = next((one for one in own if one.entry.id == key), None)
    if found is None:
        raise InputError("record", "There is no such record in this job.", "Look it up in the job.")
    return found


def _bare(record: Mapping[str, Any]) -> dict[str, Any]:
    """A written record without what was said by hand, as it would be computed."""
    said = len(record["open"]) - record["said_open"]
    return {**{key: value for key, value in record.items() if key not in ("remarks", "said_open")},
            "open": record["open"][:said]}  # fmt: skip


def _kept_words(last: Written | None) -> dict[str, str]:
    """What was said by hand of the last version, for the next to begin with."""
    if last is None:
        return {}
    record = last.record
    more = record["open"][len(record["open"]) - record["said_open"] :]
    return {"remarks": "\n".join(record["remarks"]), "open": "\n".join(more)}


def _query(pair: Mapping[str, Any]) -> str:
    """A pair of a record as part of an address of before and after."""
    places, ends = (places_said([(x, y) for x, y in pair[name]]) for name in ("places", "ends"))
    length = f"{pair['length_m']!r} m" if pair["length_m"] else ""
    return Asked(pair["before"], pair["after"], places, ends, length).query()
