"""The text of a template, cut into messages: whatever stands between its tags is one, so none can be forgotten.

A page in another language is made of the same templates. Before they are compiled, each run of text with its values
becomes one call that looks the message up; English pages never pass through here. A message holds values as {0}, {1}
and the tags within a line, so that a sentence stays whole; it ends where a condition begins.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from jinja2 import Environment
from jinja2.ext import Extension
from markupsafe import Markup, escape

from proofpatch.web.words import message, note_typed, say
from proofpatch.web.words.drawn import drawing

JINJA = re.compile(r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}", re.S)
HELD = re.compile(r"[\ue000-\uf8ff]")  # stands for a piece of Jinja while text and tags are told apart
MARK = re.compile(f"({HELD.pattern})")
TAG = re.compile(r"(<!--.*?-->|</?[A-Za-z!][^<>]*>)", re.S)
WITHIN = re.compile(r"</?(?:b|code|i|em)>")  # tags that stay inside a message
OPENS, CLOSES = re.compile(r"<(?:b|code|i|em)>"), re.compile(r"</(?:b|code|i|em)>")
SHOWN = re.compile(r'((?:aria-label|aria-valuetext|title|alt|placeholder|data-queue)=")([^"<>]*)(")')
# Attributes that a macro adds to a tag.
BARE = re.compile(r'(?:[a-z-]+="[^"]*"|selected|checked|autofocus)(?: (?:[a-z-]+="[^"]*"|autofocus))*')
LETTERS = re.compile(r"[A-Za-z]{2,}")
Found = Callable[[str, list[str], bool], str]


def cut(source: str, found: Found) -> str:
    """A template with every run of its text replaced by what `found(message, values, in an attribute)` makes of it."""
    held: list[str] = []

    def hold(match: re.Match[str]) -> str:
        held.append(match[0])
        return chr(0xE000 + len(held) - 1)

    plain = JINJA.sub(hold, source)

    def back(text: str) -> str:
        return HELD.sub(lambda one: held[ord(one[0]) - 0xE000], text)

    def value(one: re.Match[str]) -> str:
        return back(one[0])[2:-2].strip().strip("-").strip()

    def run(text: str, attribute: bool) -> str:
        """One run: pieces of Jinja that are no values end a message."""
        out, words = [], ""
        for part in MARK.split(text):
            if HELD.fullmatch(part) and not back(part).startswith("{{"):
                out += [piece(words, attribute), back(part)]
                words = ""
            else:
                words += part
        return "".join([*out, piece(words, attribute)])

    def piece(text: str, attribute: bool) -> str:
        core = text.strip()
        if not core or BARE.fullmatch(core):
            return text
        before, after = text[: len(text) - len(text.lstrip())], text[len(text.rstrip()) :]
        values: list[str] = []

        def hole(one: re.Match[str]) -> str:
            values.append(value(one))
            return f"{{{len(values) - 1}}}"

        words = " ".join(HELD.sub(hole, core).split())
        if not LETTERS.search(re.sub(r"\{\d+\}|<[^>]*>|&\w+;", "", words)):
            return before + HELD.sub(lambda one: found("{0}", [value(one)], attribute), core) + after
        return before + found(words, values, attribute) + after

    out, text = [], ""
    for part in TAG.split(plain):
        if TAG.fullmatch(part) and not WITHIN.fullmatch(part):
            out.append(_whole(text, run))
            text = ""
            out.append(back(SHOWN.sub(lambda one: one[1] + run(one[2], True) + one[3], part)))
        else:
            text += part
    out.append(_whole(text, run))
    return "".join(out)


def _whole(text: str, run: Callable[[str, bool], str]) -> str:
    """A run whose inner tags are all closed in it; else each part between them."""
    if not WITHIN.search(text):
        return run(text, False)
    core = text.strip()
    # A tag around all of it is no part of the sentence.
    whole = re.fullmatch(r"(<(b|code|i|em)>)(.*)(</\2>)", core, re.S)
    if whole and not WITHIN.search(whole[3]):
        start = text.index(core)
        return text[:start] + whole[1] + run(whole[3], False) + whole[4] + text[start + len(core) :]
    if len(OPENS.findall(text)) == len(CLOSES.findall(text)):
        return run(text, False)
    parts = re.split(f"({WITHIN.pattern})", text)
    return "".join(part if WITHIN.fullmatch(part) else run(part, False) for part in parts)


class Translated(Extension):
    """Templates whose text is looked up in the language of the page."""

    def __init__(self, environment: Environment) -> None:
        super().__init__(environment)
        environment.filters = environment.filters | {
            "typed": typed,
            "cited": cited,
            "safe": drawn,
        }  # its own: English pages keep theirs
        environment.globals |= {"_said": said, "_said_within": said_within}

    def preprocess(self, source: str, name: str | None, filename: str | None = None) -> str:
        """The template as it is compiled."""
        return cut(source, _call)


def _call(words: str, values: list[str], attribute: bool) -> str:
    quoted = words.replace("\\", "\\\\").replace('"', '\\"')
    given = "".join(f", ({value})" for value in values)
    return f'{{{{ {"_said_within" if attribute else "_said"}("{quoted}"{given}) }}}}'


class Typed(str):
    """What somebody typed."""

    __slots__ = ()


def typed(words: Any) -> Any:
    """Keeps what somebody typed as it is."""
    if not isinstance(words, str) or isinstance(words, Markup):
        return words
    note_typed(words)
    return Typed(words)


def cited(words: Any) -> Markup:
    """What stays in English, and is marked so (WCAG 2.2, SC 3.1.2)."""
    known = message(str(words))
    return escape(known) if known != words else Markup('<span lang="en">{}</span>').format(words) if words else Markup()


def drawn(value: Any) -> Markup:
    """A drawing with its texts and labels in the language of the page."""
    made = str(value)
    return Markup(drawing(made, say) if "<svg" in made else made)


def said(words: str, *values: Any) -> Markup:
    """A message of a template with its values, each in the language of the page."""
    return Markup(re.sub(r"\{(\d+)\}", lambda hole: _of(values[int(hole[1])]), message(words)))


def said_within(words: str, *values: Any) -> Markup:
    """The same, for the value of an attribute."""
    return Markup(str(said(words, *values)).replace('"', "&#34;"))


def _of(value: Any) -> str:
    if isinstance(value, Typed):
        return str(escape(str(value)))
    if isinstance(value, Markup):
        return str(value)
    return str(escape(say(str(value)))) if isinstance(value, (str, Exception)) else str(escape(value))
