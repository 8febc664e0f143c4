"""What of a page in another language is still in English."""

import functools
import re
from html.parser import HTMLParser

from proofpatch.web.words import catalogue

WORD = re.compile(r"[A-Za-zÀ-ÿ]{2,}")
SHOWN = ("aria-label", "aria-valuetext", "title", "alt", "placeholder", "data-queue")
VOID = {"input", "link", "meta", "img", "br", "hr", "source", "path", "line", "rect", "circle"}


class Texts(HTMLParser):
    """Every text of a page that a person reads or hears, but for what is marked as English (WCAG 2.2, SC 3.1.2)."""

    def __init__(self):
        super().__init__()
        self.found, self.quiet, self.open = [], 0, []

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        if not self.quiet:
            self.found += [given[name] for name in SHOWN if given.get(name)]
        if tag not in VOID:
            hushed = tag in ("script", "style", "code") or (tag != "html" and given.get("lang", "es") != "es")
            self.open.append((tag, hushed))
            self.quiet += hushed

    def handle_endtag(self, tag):
        while self.open:
            name, hushed = self.open.pop()
            self.quiet -= hushed
            if name == tag:
                break

    def handle_data(self, data):
        if not self.quiet and data.strip():
            self.found.append(" ".join(data.split()))


def texts(page):
    """The texts of a page."""
    reader = Texts()
    reader.feed(page)
    return reader.found


@functools.cache
def english_only(language="es"):
    """Words that the sources say and no translation does."""
    own, theirs = set(), set()
    for one in catalogue(language):
        if one.id:
            own |= {word.lower() for word in WORD.findall(str(one.id))}
            theirs |= {word.lower() for word in WORD.findall(str(one.string))}
    return own - theirs


def fell_through(page, typed=(), language="es"):
    """Texts of a page in which a word is English, what somebody typed left out."""
    english = english_only(language)
    left = []
    for text in texts(page):
        plain = text
        for words in sorted(typed, key=len, reverse=True):
            plain = plain.replace(words, " ")
        if english & {word.lower() for word in WORD.findall(plain)}:
            left.append(text)
    return left
