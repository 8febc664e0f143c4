"""The language a device is shown: English as it is written in the sources, any other out of its catalogue."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import lru_cache
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po

from proofpatch.web.words.match import Matcher

HERE = Path(__file__).parent
OWN = "en"  # what the sources are written in
LANGUAGES = {OWN: "English"} | {"es": "Español"}  # each by its own name
_LANGUAGE: ContextVar[str] = ContextVar("language", default=OWN)
# What somebody typed that stands on the page being made: it is nobody's to translate, within a sentence either.
_TYPED: ContextVar[list[str] | None] = ContextVar("typed", default=None)


def language() -> str:
    """The language pages are made in just now, as in BCP 47."""
    return _LANGUAGE.get()


@contextmanager
def spoken(name: str) -> Iterator[None]:
    """Pages made inside are in this language; one that is not known leaves English."""
    before = _LANGUAGE.set(name if name in LANGUAGES else OWN)
    try:
        yield
    finally:
        _LANGUAGE.reset(before)


@contextmanager
def one_page(known: list[str]) -> Iterator[None]:
    """What is typed inside is typed for this page only; known: what is from the start."""
    before = _TYPED.set([one for one in known if one.strip()])
    try:
        yield
    finally:
        _TYPED.reset(before)


def note_typed(words: str) -> None:
    """These words of somebody stay as they are, on this page."""
    known = _TYPED.get()
    if known is not None and words and words not in known:
        known.append(words)


def wanted(header: str) -> str:
    """The language of ours that an Accept-Language header asks for first (RFC 9110, section 12.5.4)."""
    found: list[tuple[float, int, str]] = []
    for place, part in enumerate(header.replace(" ", "").lower().split(",")[:20]):
        name, _, share = part.partition(";q=")
        known = name.partition("-")[0]
        try:
            weight = float(share) if share else 1.0
        except ValueError:
            continue
        if known in LANGUAGES and weight > 0:
            found.append((-weight, place, known))
    return min(found)[2] if found else OWN


@lru_cache(maxsize=len(LANGUAGES))
def catalogue(name: str) -> Catalog:
    """The catalogue of a language, read once."""
    with (HERE / f"{name}.po").open("rb") as file:
        return read_po(file, locale=name)


@lru_cache(maxsize=len(LANGUAGES))
def matcher(name: str) -> Matcher:
    """What finds a sentence in the catalogue of a language."""
    known = [one for one in catalogue(name) if one.id and one.string]
    scripts = frozenset(str(one.id) for one in known if all(str(path).endswith(".js") for path, _ in one.locations))
    return Matcher({str(one.id): str(one.string) for one in known}, scripts)


def say(words: str) -> str:
    """Words of the house in the language of the page; those it does not know stay."""
    return words if language() == OWN else matcher(language()).say(words, tuple(_TYPED.get() or ()))


def message(msgid: str) -> str:
    """One message of a template in the language of the page, its holes still open."""
    return matcher(language()).exact.get(msgid, msgid)


def of_scripts() -> str:
    """What the scripts say, English to the language of the page, as JSON; empty in English."""
    return "" if language() == OWN else _of_scripts(language())


@lru_cache(maxsize=len(LANGUAGES))
def _of_scripts(name: str) -> str:
    said = {
        str(one.id): str(one.string)
        for one in catalogue(name)
        if one.id and any(str(path).endswith(".js") for path, _ in one.locations)
    }
    # A "<" could end the block it stands in.
    return json.dumps(said, ensure_ascii=False).replace("<", "\\u003c")
