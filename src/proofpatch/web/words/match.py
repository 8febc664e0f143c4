"""Finds the message a finished sentence was made of, and makes it again in another language.

The core fills its sentences with figures and names before anyone asks for a language. A message keeps the places of
those as {0}, {1}; here it is a pattern, what stands in its holes is read in the same way, and of several readings the
one that leaves the fewest letters unread is taken.
"""

from __future__ import annotations

import itertools
import re
import threading
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, lru_cache

HOLE = re.compile(r"\{(\d+)\}")
WORD = re.compile(r"[A-Za-z]{2,}")
LETTER = re.compile(r"[^\W\d_]")
HELD = re.compile(r"[\ue000-\uf8ff]")
SENTENCE = re.compile(r"(?<=[.!?])\s+(?=[A-Z0-9“\"(\ue000-\uf8ff])")
DATE = re.compile(r"\b(\d{1,2}) (Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)\b")
DATED = re.compile(rf"{DATE.pattern}(?: \d{{4}})?")
# Letters that are the same in any language: a figure with its unit, a code, a formula, an address.
UNIT = (
    r"(?:[µmknpcMGd]?(?:m|s|W|Hz|J|g|V|A|K|ft|yd|mil|h|min|px|MB|cfm|eV|mol)[²³]?|°[CF]|%|in(?! 10)|d|x)(?![A-Za-z])"
    r"(?:/(?:\([A-Za-z ]{1,7}\)|[A-Za-z]{1,5}[²³]?))?"
)
FIGURE = re.compile(
    rf"(?<![A-Za-z])(?:[±<>≤≥~]?\s?[-−+]?[0-9][0-9 .,:/×·^−½-]*\s?{UNIT}"
    r"|(?:[kM]?Hz|[µnm]m|[µn]s|mJ|m?m/s|J/cm²|kW|mW)(?![A-Za-z])|[A-Z]{1,2}\d*\b|\d+[A-Z]?\b|M²|https?://\S+)"
)
APART = ("; ", ": ", ", ", " · ", " (", " | ", " or ", " and ")
FEW = 8  # letters of its own below which a pattern says little
DEEPEST, MOST = 9, 10  # how far holes are read into holes, and how many patterns are tried on one text
LONGEST = 700  # letters of a text that is tried against the patterns; a longer one is read sentence by sentence only
CACHED = 20_000
MOST_READINGS = 3000  # of parts of one text; what somebody made up for it would be read in ever more ways


@dataclass(frozen=True)
class Pattern:
    """One message with holes. literal: how many letters of it are its own; order: which hole each group fills.

    pieces: its own text before, between and after the holes.
    """

    source: str
    target: str
    literal: int
    order: tuple[int, ...]
    pieces: tuple[str, ...]

    @classmethod
    def of(cls, source: str, target: str) -> Pattern:
        """Of a message and its translation."""
        own = HOLE.sub("", source)
        return cls(
            source, target, len(own), tuple(int(one) for one in HOLE.findall(source)),
            tuple(HOLE.sub("\0", source).split("\0")),
        )  # fmt: skip

    def words(self) -> list[str]:
        """Its own whole words, the longest first: a text without them is not of it."""
        whole = HOLE.sub("\0", self.source)
        return sorted(
            (m[0] for m in WORD.finditer(whole)
             if whole[max(m.start() - 1, 0) : m.start()] != "\0" and whole[m.end() : m.end() + 1] != "\0"),
            key=len, reverse=True,
        )  # fmt: skip

    def fits(self, text: str) -> list[tuple[str, ...]]:
        """What may fill its holes, by their numbers: the first as short as can be, or as long; none if nothing does."""
        ways: list[tuple[str, ...]] = []
        if not text.startswith(self.pieces[0]) or not text.endswith(self.pieces[-1]):
            return ways
        at = 0
        for piece in self.pieces:
            at = text.find(piece, at)
            if at < 0:
                return ways
            at += len(piece)
        for greedy in (False, True):
            found = _compiled(self.source, greedy).fullmatch(text)
            if found is None:
                break
            filled = dict(zip(self.order, found.groups(), strict=True))
            values = tuple(filled[number] for number in sorted(filled))
            if values not in ways:
                ways.append(values)
        return ways

    def filled(self, values: tuple[str, ...]) -> str:
        """The translation with these in its holes."""
        by = dict(zip(sorted(set(self.order)), values, strict=True))
        return HOLE.sub(lambda hole: by.get(int(hole[1]), hole[0]), self.target)


@cache
def _compiled(source: str, greedy: bool) -> re.Pattern[str]:
    parts, at = [], 0
    for hole in HOLE.finditer(source):
        # What is glued to the word before it may be left out: " on average{1}.".
        glued = hole.start() > 0 and not source[hole.start() - 1].isspace()
        parts += [re.escape(source[at : hole.start()]), f"(.{'*' if glued else '+'}{'' if greedy else '?'})"]
        at = hole.end()
    return re.compile("".join([*parts, re.escape(source[at:])]), re.S)


@lru_cache(maxsize=256)
def _held(typed: tuple[str, ...]) -> re.Pattern[str]:
    return re.compile(rf"(?<!\w)(?:{'|'.join(re.escape(one) for one in sorted(typed, key=len, reverse=True))})(?!\w)")


class Matcher:
    """All messages of one language. exact: msgid to translation. whole: those that are never read out of a text."""

    def __init__(self, messages: dict[str, str], whole: frozenset[str] = frozenset()) -> None:
        self.exact = messages
        self._by_word: dict[str, list[Pattern]] = defaultdict(list)
        self._any: list[Pattern] = []
        for source, target in messages.items():
            if source in whole or "<" in source or not HOLE.search(source):
                continue
            pattern = Pattern.of(source, target)
            words = pattern.words()
            (self._by_word[words[0]] if words else self._any).append(pattern)
        self._known: dict[tuple[str, int], tuple[str, int]] = {}
        self._spent = threading.local()

    def say(self, text: str, typed: tuple[str, ...] = ()) -> str:
        """A text in this language; what it does not know stays, and so does what somebody typed."""
        core = text.strip()
        self._spent.readings = 0
        if core in self.exact and not HOLE.search(core):
            return text.replace(core, self.exact[core])
        if not typed:
            return self.read(text, 0)[0]
        said, cost = self.read(_held(typed).sub(lambda one: chr(0xE000 + typed.index(one[0])), text), 0)
        if cost:
            # What somebody typed may be a word of ours too: a sentence that is whole without it is ours.
            ours, left = self.read(text, 0)
            if left == 0:
                return ours
        return HELD.sub(lambda mark: typed[ord(mark[0]) - 0xE000], said)

    def left(self, text: str) -> int:
        """How many letters of a text this language does not know."""
        self._spent.readings = 0
        return self.read(text, 0)[1]

    def read(self, text: str, depth: int) -> tuple[str, int]:
        """A part of a text that is said: (it in this language, letters of it that were not understood)."""
        found = self._known.get((text, depth))
        if found is None:
            self._spent.readings += 1
            found = self._read(text, depth)
            if self._spent.readings <= MOST_READINGS:  # else it may not have been read to its end
                if len(self._known) >= CACHED:
                    self._known.clear()
                self._known[text, depth] = found
        return found

    def _read(self, text: str, depth: int) -> tuple[str, int]:
        """(the text in this language, letters of it that were not understood)."""
        core = text.strip()
        before, after = text[: len(text) - len(text.lstrip())], text[len(text.rstrip()) :]
        said, cost = self._core(core, depth)
        return before + said + after, cost

    def _core(self, core: str, depth: int) -> tuple[str, int]:
        if core in self.exact and not HOLE.search(core):
            return self.exact[core], 0
        cost = unread(core)
        core = DATE.sub(lambda day: f"{day[1]} {self.exact.get(day[2], day[2])}", core)
        if cost == 0 or depth > DEEPEST or self._spent.readings > MOST_READINGS:
            return core, cost
        best = (core, cost)
        # Sentence by sentence first: that is how they are gathered, and a short text is read fast.
        sentences = SENTENCE.split(core)
        if len(sentences) > 1:
            best = min(best, self._joined(sentences, " ", depth), key=lambda one: one[1])
        if best[1] == 0 or len(core) > LONGEST:
            return best
        other = core[0].swapcase() + core[1:]
        for text, turned in ((core, False), (other, True)) if other != core else ((core, False),):
            if turned and text in self.exact:
                return _turn(self.exact[text], core), 0
            for reading in self._patterns(text, depth, few=False):
                if reading[1] < best[1]:
                    best = (_turn(reading[0], core), reading[1]) if turned else reading
                if best[1] == 0:
                    return best
        # A pattern of few letters, "{0} in {1}", fits nearly anything: a list is cut at its commas before.
        for reading in itertools.chain(self._parts(core, depth), self._patterns(core, depth, few=True)):
            if reading[1] < best[1]:
                best = reading
            if best[1] == 0:
                break
        return best

    def _patterns(self, text: str, depth: int, few: bool) -> Iterator[tuple[str, int]]:
        """Readings by the patterns that fit, the most literal first. few: those of few letters, else the others."""
        known = {word: None for word in WORD.findall(text)}
        likely = [pattern for word in known for pattern in self._by_word.get(word, ())] + self._any
        likely = [one for one in likely if (one.literal < FEW) == few]
        likely.sort(key=lambda one: -one.literal)
        fitting = ((pattern, values) for pattern in likely for values in pattern.fits(text))
        for pattern, values in itertools.islice(fitting, MOST):
            read = [self.read(value, depth + 1) for value in values]
            yield pattern.filled(tuple(one[0] for one in read)), sum(one[1] for one in read)

    def _parts(self, core: str, depth: int) -> Iterator[tuple[str, int]]:
        """Readings by the parts of a list, and without the stop at the end."""
        if core[-1] in ".?!:;,)" and len(core) > 1:
            said, cost = self.read(core[:-1], depth + 1)
            yield said + core[-1], cost
        if core[0] in "(“\"'" and len(core) > 1:
            said, cost = self.read(core[1:], depth + 1)
            yield core[0] + said, cost
        for sign in APART:
            # One cut in two at each place: a list is read whole where it can be, and else from its first part on.
            if sign in core:
                parts = core.split(sign)
                yield self._joined(parts, sign, depth)
                for at in range(1, min(len(parts), 6)) if len(parts) > 2 else ():
                    yield self._joined([sign.join(parts[:at]), sign.join(parts[at:])], sign, depth)

    def _joined(self, parts: list[str], sign: str, depth: int) -> tuple[str, int]:
        read = [self.read(part, depth + 1) for part in parts]
        between = f" {self.exact.get(sign.strip(), sign.strip())} " if sign.strip().isalpha() else sign
        return between.join(one[0] for one in read), sum(one[1] for one in read)


def unread(text: str) -> int:
    """Letters of a text that mean something in one language only."""
    return len(LETTER.findall(FIGURE.sub(" ", DATED.sub(" ", text))))


def _turn(said: str, like: str) -> str:
    """A translation with its first letter large or small as the text's is."""
    place = next((at for at, sign in enumerate(said) if sign.isalpha()), 0)
    first = said[place : place + 1]
    return said[:place] + (first.upper() if like[0].isupper() else first.lower()) + said[place + 1 :]
