"""What goes wrong at the HTTP interface: one sentence at one field, as JSON, whatever it was."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from starlette.exceptions import HTTPException

from proofpatch.errors import InputError
from proofpatch.shop.store import Overtaken
from proofpatch.shop.values import LONGEST_TEXT
from proofpatch.units import quoted
from proofpatch.web.api.fields import DEEPEST, LONGEST_KEY, MOST_ENTRIES, PRINTABLE

LONGEST_SENTENCE = 1000  # characters; no stop is so long
STORE = "folder"  # field of what the store itself could not do
OF_PATH = {"id": "job", "digest": "photo", "scan": "scan"}
NUMBER, WHOLE = "Give a plain number, without quotes or unit.", "Give one without quotes."


class Declined(Exception):
    """An answer that is no: the status, and the sentence at its field."""

    def __init__(self, status: int, field: str, problem: str, remedy: str) -> None:
        super().__init__(problem)
        self.status, self.field, self.problem, self.remedy = status, field, problem, remedy


def trouble(
    status: int, field: str, problem: str, remedy: str, headers: Mapping[str, str] | None = None, **more: int | None
) -> JSONResponse:
    """The answer that says what is wrong, at which field, and what to do."""
    said = {"field": _line(field)[:LONGEST_KEY], "problem": _line(problem), "remedy": _line(remedy)}
    return JSONResponse(said | more, status, headers)


def _line(text: str) -> str:
    """One line that can be shown."""
    plain = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return plain if len(plain) <= LONGEST_SENTENCE else plain[: LONGEST_SENTENCE - 3] + "..."


@contextmanager
def at(place: str, names: Mapping[str, str] | None = None) -> Iterator[None]:
    """Names the field of the body in an InputError raised inside.

    Args:
        place: where in the body the fields stand. names: field, or option of the command line -> field of the body.
    """
    known = names or {}

    def plain(text: str) -> str:
        return re.sub(r"--[a-z][a-z-]*", lambda one: known.get(one[0], one[0][2:].replace("-", "_")), text)

    try:
        yield
    except InputError as error:
        if error.field == STORE:
            raise
        field = known.get(error.field) or (f"{place}.{error.field}" if place else plain(error.field))
        raise InputError(field, plain(error.problem), plain(error.remedy)) from None


def check_plain(value: Any, place: str, depth: int = 0) -> None:
    """Refuses what no page of text holds: deep nests, long lists, long texts, what is no number.

    Raises:
        InputError: at the place of it.
    """
    if isinstance(value, str) and len(value) > LONGEST_TEXT:
        raise InputError(place, f"{place} has more than {LONGEST_TEXT} characters.", "Check what was pasted.")
    if isinstance(value, float) and value - value != 0:
        raise InputError(place, f"{place} is not a finite number.", "Give a plain number.")
    if not isinstance(value, (dict, list)):
        return
    if depth > DEEPEST:
        raise InputError(place, "The tables are nested too deeply.", "See docs/job-file.md for an example.")
    if len(value) > MOST_ENTRIES:
        raise InputError(place, f"{place} has more than {MOST_ENTRIES} entries.", "Describe it as several jobs.")
    for key, one in value.items() if isinstance(value, dict) else enumerate(value):
        if isinstance(key, str) and len(key) > LONGEST_KEY:
            raise InputError(place, f"{place} has a key of more than {LONGEST_KEY} characters.", "Check its name.")
        check_plain(one, f"{place}.{quoted(key)[1:-1]}" if isinstance(key, str) else f"{place}[{key}]", depth + 1)


def handlers(app: FastAPI) -> None:
    """Every error of the interface as the same three keys."""

    @app.exception_handler(RequestValidationError)
    async def unread(_: Request, error: RequestValidationError) -> JSONResponse:
        return trouble(*_of_validation(error.errors()[0]))

    @app.exception_handler(InputError)
    async def wrong(_: Request, error: InputError) -> JSONResponse:
        return trouble(503 if error.field == STORE else 422, error.field, error.problem, error.remedy)

    @app.exception_handler(Declined)
    async def declined(_: Request, error: Declined) -> JSONResponse:
        more = {"version": None, "kept": None} if error.status == 409 else {}
        return trouble(error.status, error.field, error.problem, error.remedy, **more)

    @app.exception_handler(Overtaken)
    async def overtaken(_: Request, error: Overtaken) -> JSONResponse:
        now, aside = error.now.version, error.aside
        problem = str(error) if aside else f"It was changed meanwhile (version {now}); this was not done."
        both = "Both are kept, see the history. " if aside else ""
        remedy = f"{both}Read it again, then say it with version {now}."
        return trouble(409, "version", problem, remedy, version=now, kept=aside or None)

    @app.exception_handler(HTTPException)
    async def other(request: Request, error: HTTPException) -> JSONResponse:
        return of_http(request, error)

    @app.exception_handler(Exception)
    async def broken(_: Request, __: Exception) -> JSONResponse:
        said = "This is a fault of proofpatch, not of what was sent."
        return trouble(500, "server", said, "What was answered before is kept; the output of the server says more.")


def of_http(request: Request, error: HTTPException) -> JSONResponse:
    """What the framework itself refuses."""
    said = {
        404: (404, "path", "There is no such address.", "See /api/openapi.json for all of them."),
        405: (405, "method", f"This address does not take {request.method}.", "See /api/openapi.json for what does."),
        400: (422, "body", "The body cannot be read.", "Send a JSON object; of a photo a form with its file."),
    }.get(error.status_code, (error.status_code, "request", f"{error.detail}.", "See docs/api.md."))
    return trouble(*said, headers=error.headers)


def _of_validation(error: Mapping[str, Any]) -> tuple[int, str, str, str]:
    """(status, field, problem, remedy) of one of the framework's own errors."""
    where, *inside = error["loc"]
    kind, said, about = error["type"], quoted(error.get("input")), error.get("ctx", {})
    if kind == "json_invalid":
        return 422, "body", f"The body is not JSON: {about.get('error', 'it cannot be read')}.", "Send a JSON object."
    field = "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in inside).lstrip(".") or "body"
    if where == "path":
        field = OF_PATH.get(field, field)
        return 404, field, f"There is no {field} {said}.", "Look it up in the list."
    if kind == "value_error" and "UploadFile" in error["msg"]:
        return 422, field, f"{field} is not a file.", "Send a form with its file."
    problem, remedy = _sentence(kind, field, said, about) or (f"{field}: {error['msg']}.", "See /api/openapi.json.")
    return 422, field, problem, remedy


def _sentence(kind: str, field: str, said: str, about: Mapping[str, Any]) -> tuple[str, str] | None:
    """(problem, remedy) of a kind of error."""
    if kind in ("greater_than_equal", "less_than_equal"):
        end, size, most = ("ge", "small", "least") if kind.startswith("greater") else ("le", "large", "most")
        return f"{field} of {said.strip(chr(39))} is too {size}.", f"Give at {most} {about[end]:g}."
    if kind == "string_too_long":
        return f"{field} has more than {about['max_length']} characters.", "Check what was pasted."
    if kind == "string_pattern_mismatch" and about["pattern"] != PRINTABLE:
        return f"{field} {said} is not a plain name.", "Use small letters, digits, hyphens."
    return {
        "missing": (f"{field} is missing.", "Send a JSON object." if field == "body" else "Add it."),
        "extra_forbidden": (f"{field} is not known here.", "Leave it out; see /api/openapi.json for what is."),
        "finite_number": (f"{field} is not a finite number.", NUMBER),
        "float_type": (f"{field} {said} is not a number.", NUMBER),
        "int_type": (f"{field} {said} is not a whole number.", WHOLE),
        "int_parsing": (f"{field} {said} is not a whole number.", WHOLE),
        "int_parsing_size": (f"{field} is too large.", WHOLE),
        "bool_type": (f"{field} {said} is neither true nor false.", "Write true or false without quotes."),
        "bool_parsing": (f"{field} {said} is neither true nor false.", "Write true or false."),
        "string_type": (f"{field} is not text.", "Write it in quotes."),
        "string_pattern_mismatch": (f"{field} holds characters that cannot be shown.", "Type it anew."),
        "string_unicode": (f"{field} holds characters that cannot be shown.", "Type it anew."),
        "model_attributes_type": (f"{field} is not a JSON object.", "Send one, as Content-Type application/json."),
        "dict_type": (f"{field} is not a JSON object.", "Send one, as Content-Type application/json."),
    }.get(kind)
