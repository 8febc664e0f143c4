"""Who signs a paper on screen, and a paper as it was handed out."""

from __future__ import annotations

import datetime

from fastapi import Response

from proofpatch.documents.paper import Signature
from proofpatch.documents.signature import signature_png
from proofpatch.errors import InputError
from proofpatch.offer.quote import text_line
from proofpatch.shop.log import stamp
from proofpatch.shop.papers import Signed, pdf_of
from proofpatch.shop.store import Store
from proofpatch.web.shell import Form, text
from proofpatch.web.written import YES


def signed_of(
    form: Form, first: datetime.date, ticked: tuple[str, ...], option: str = "",
    early: str = "That is before the quote was sent.",
) -> Signed:  # fmt: skip
    """Who signed, when and how.

    Args:
        first: day before which nothing is signed. early: what is said of an earlier one.

    Raises:
        InputError: no name, no signature, or a day that cannot be.
    """
    name = text(form, "name")
    if not name:
        raise InputError("name", "There is no name.", "Type the name of who signs.")
    name = text_line(name, "name")
    drawn = form.get("signature", "")
    picture = signature_png(drawn if isinstance(drawn, str) else "")
    on_paper = text(form, "on_paper") == YES
    if not picture and not on_paper:
        raise InputError("signature", "There is no signature.", "Sign with the finger, or tick signed on paper.")
    if picture and on_paper:
        raise InputError("signature", "It is signed here and on paper.", "Clear the signature, or take the tick out.")
    day = datetime.date.today()
    if on_paper and text(form, "signed_on"):
        day = day_of(form, "signed_on")
    if day < first:
        raise InputError("signed_on", early, "Check the date.")
    return Signed(name, day, stamp(), ticked, picture, option)


def signature_of(signed: Signed, approved: bool = True) -> Signature:
    """As the paper shows it: what is signed on paper has a day and no hour."""
    when = datetime.datetime.fromisoformat(signed.at).astimezone()
    if not signed.signature:
        when = datetime.datetime.combine(signed.day, datetime.time())
    return Signature(signed.name, when, signed.signature, signed.ticked, signed.option, approved)


def day_of(form: Form, field: str, ahead: bool = False) -> datetime.date:
    """A day of a form; ahead: it may lie in the future."""
    said = text(form, field)
    try:
        day = datetime.date.fromisoformat(said)
    except ValueError:
        raise InputError(field, f"{said[:20]!r} is no date.", "Write it like 2026-03-11.") from None
    today = datetime.date.today()
    if not 2000 <= day.year <= today.year + 5 or (day > today and not ahead):
        raise InputError(field, "That day lies ahead, or too far back.", "Check the date.")
    return day


def kept_pdf(store: Store, key: str) -> Response:
    """A paper as it was handed out."""
    return Response(pdf_of(store, key), media_type="application/pdf")
