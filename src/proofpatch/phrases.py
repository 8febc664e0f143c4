"""Words put together: the first letter raised or lowered, several things joined or counted, a chance as a count."""

from __future__ import annotations

from collections.abc import Sequence


def raised(words: str) -> str:
    """With a capital first letter; the rest as it is."""
    return words[:1].upper() + words[1:]


def many_of(count: int, word: str) -> str:
    """A number of things, the word for one of them in the plural where they are not one."""
    return f"{count} {word}{'' if count == 1 else 'es' if word.endswith('ch') else 's'}"


def lowered(words: str) -> str:
    """With a small first letter; the rest as it is."""
    return words[:1].lower() + words[1:]


def listed(words: Sequence[str]) -> str:
    """One or more things in a sentence: "a", "a and b", "a, b and c"."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def in_100(p: float, known: bool = True) -> str:
    """A chance as a count; what is neither sure nor ruled out never reads as either. known: it can be sure at all."""
    return "certain" if known and p > 1.0 - 1e-9 else f"{min(max(round(100 * p), 1), 99)} in 100"


def chance_words(p: float) -> str:
    """A chance as a count, small ones in 1000; never one that knows no doubt."""
    if p > 0.995:
        return "over 99 in 100"
    return in_100(p) if p >= 0.0095 else f"{round(1000 * p)} in 1000" if p >= 0.0005 else "under 1 in 1000"


def of_100(p: float) -> str:
    """How many of 100 cases, of what is never sure: that a beam does what is wanted."""
    return in_100(p, known=False).replace(" in", " of")
