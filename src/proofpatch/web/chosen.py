"""What a device chose for itself, in its cookies: units, decimal mark, language."""

from __future__ import annotations

from fastapi import Request

from proofpatch.units import SYSTEMS
from proofpatch.web.marks import MARKS
from proofpatch.web.words import LANGUAGES, wanted

UNITS_COOKIE, MARK_COOKIE, LANGUAGE_COOKIE = "proofpatch-units", "proofpatch-mark", "proofpatch-language"


def units_here(request: Request) -> str | None:
    """The units this device wants for itself; None: those of the shop."""
    chosen = request.cookies.get(UNITS_COOKIE)
    return chosen if chosen in SYSTEMS else None


def mark_here(request: Request) -> str:
    """What this device wants before the decimals."""
    chosen = request.cookies.get(MARK_COOKIE, "")
    return chosen if chosen in MARKS else "point"


def language_here(request: Request) -> str:
    """The language this device chose, or else the one its browser asks for."""
    chosen = request.cookies.get(LANGUAGE_COOKIE, "")
    return chosen if chosen in LANGUAGES else wanted(request.headers.get("accept-language", ""))
