"""What every page shares: the forms it reads, the templates it shows."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Annotated, Any

from fastapi import Depends, Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from starlette.datastructures import UploadFile

from proofpatch.cli_hazards import concentration_words
from proofpatch.cli_show import light_words
from proofpatch.hazards import CAUTIONS
from proofpatch.phrases import chance_words, in_100, raised
from proofpatch.records_hazards import metres, times_over
from proofpatch.shop.changes import shortened
from proofpatch.shop.photos import THUMBNAIL
from proofpatch.units import show
from proofpatch.web.barred import barred
from proofpatch.web.marks import mark, with_mark
from proofpatch.web.road import ANSWERS
from proofpatch.web.roles import SAID, acting
from proofpatch.web.words import OWN, language, of_scripts, one_page, say
from proofpatch.web.words.runs import Translated

Form = Mapping[str, Any]
MOST_FIELDS = 3000
A_YEAR = 365 * 24 * 3600  # s, for which a device keeps how it shows the pages
WORDS = re.compile(r">[^<]+<")
UNIT = (
    r"(?:/c?m|1/K|"
    r"(?:[mk]?W|[kM]?Hz|[pnµm]?s|min|h|[nµmc]?m|mil|in|ft|[µmkM]?J|°[CF]|K|%|cfm|[µmk]?g|V|A|in [0-9])[²³]?"
    r"(?:/(?:s|min|h|kg|mol|K|c?m[²³]?|\((?:m|kg|mol) K\)))?)"
)
WITHIN = r"(?<=\(m) (?=K\))|(?<=\(kg) (?=K\))|(?<=\(mol) (?=K\))"  # W/(m K)
TOGETHER = re.compile(
    rf"(?<=[0-9]) (?=(?:in|de) 10+\b)|(?<=[0-9] (?:in|de)) (?=10+\b)|(?<=[0-9]) (?={UNIT}(?:[ ,.;:)<]|$))|{WITHIN}"
)


async def _form(request: Request) -> dict[str, Any]:
    """The fields of a form as text, a file as its bytes and beside it its name."""
    async with request.form(max_files=4, max_fields=MOST_FIELDS) as form:
        found: dict[str, Any] = {}
        for name, value in form.items():
            # Half a character cannot be kept, nor shown.
            found[name] = (
                await value.read() if isinstance(value, UploadFile) else value.encode("utf-8", "replace").decode()
            )
            if isinstance(value, UploadFile):
                found[f"{name}.name"] = value.filename or ""
        return found


Sent = Annotated[dict[str, Any], Depends(_form)]


def text(form: Form, name: str) -> str:
    """One line of a form, its spaces single; empty where it was not sent."""
    value = form.get(name, "")
    return " ".join(value.split()) if isinstance(value, str) else ""


def whole(said: str, most: int = 10**9 - 1) -> int | None:
    """A whole number from 0 to the most; None where it is none, as ² is none."""
    if not (said.isascii() and said.isdigit() and len(said) < 10):
        return None
    return int(said) if int(said) <= most else None


def version(form: Form) -> int:
    """The version a change was made on; 0, which none has, where it is none."""
    return whole(text(form, "version")) or 0


def inside(after: str) -> str:
    """The address to go on to: a page of this shop, whatever was asked for."""
    plain = after if after.isprintable() and after.startswith("/") and "\\" not in after else "/"
    return "/" if plain.startswith("//") else plain


def unbroken(page: str) -> str:
    """The page with no line end between a figure and its unit, nor within "72 in 100"; attributes stay as they are."""
    return WORDS.sub(lambda found: TOGETHER.sub("\u00a0", found[0]), page)


def plainly(error: object) -> str:
    """An error's sentence without the keys of a job file: "room.length" is the room length, "people[0]" people 1."""
    said = re.sub(r"\[(\d)\]\.?", lambda found: f" {int(found[1]) + 1} ", str(error))
    return re.sub(r"\b([a-z]+)\.([a-z][a-z_]+)\b", r"\1 \2", said)


def thumb_size(width: int, height: int) -> tuple[int, int]:
    """Width and height of the smaller picture of a photo [px]."""
    share = min(1.0, THUMBNAIL / max(width, height))
    return max(1, round(width * share)), max(1, round(height * share))


OWN_WORDS = ("title", "name", "method", "controls", "reason", "grader")  # of a job: what somebody typed


def _typed_in(values: Mapping[str, Any]) -> list[str]:
    """What somebody typed and the sentences of a page hold: the piece, names in its room, what is on record."""
    stand = values.get("stand")
    entry = values.get("entry") or getattr(values.get("road"), "entry", None) or getattr(stand, "job", None)
    found = [str(title) for key, title in values.get("jobs", ()) if key] if stand is not None else []
    return found if entry is None else [*found, entry.title, *_own_words(entry.data)]


def _own_words(data: Any) -> Iterator[str]:
    if isinstance(data, Mapping):
        for name, value in data.items():
            if isinstance(value, str) and name in OWN_WORDS:
                yield from (value, shortened(value))
            else:
                yield from _own_words(value)
    elif isinstance(data, (list, tuple)):
        for value in data:
            yield from _own_words(value)


def _as_it_is(value: Any) -> Any:
    return value


class Pages:
    """The templates with what they may call."""

    def __init__(self) -> None:
        self.templates = Environment(
            loader=PackageLoader("proofpatch.web"), autoescape=select_autoescape(), undefined=StrictUndefined,
            trim_blocks=True, lstrip_blocks=True,
        )  # fmt: skip
        self.templates.globals |= {
            "show": show, "in_100": in_100, "metres": metres, "times_over": times_over, "ANSWERS": ANSWERS,
            "CAUTIONS": CAUTIONS, "plainly": plainly, "mark": mark, "thumb_size": thumb_size,
            "concentration": concentration_words, "chance_words": chance_words, "light_words": light_words,
            "language": language, "script_words": of_scripts,
        }  # fmt: skip
        self.templates.filters |= {"typed": _as_it_is, "cited": _as_it_is, "raised": raised}
        self.other = self.templates.overlay(extensions=[Translated])  # English pages are made of the plain templates

    def __call__(self, name: str, status: int = 200, **values: Any) -> HTMLResponse:
        """A page of a template."""
        templates = self.templates if language() == OWN else self.other
        with one_page(_typed_in(values)):
            made = templates.get_template(name).render(values)
        made = barred(made, acting(), say(SAID[acting()])) if acting() in SAID else made
        return HTMLResponse(with_mark(unbroken(made)), status)
