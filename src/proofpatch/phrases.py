"""Words put together: the first letter raised or lowered, several things joined."""

from __future__ import annotations

from collections.abc import Sequence


def raised(words: str) -> str:
    """With a capital first letter; the rest as it is."""
    return words[:1].upper() + words[1:]


def lowered(words: str) -> str:
    """With a small first letter; the rest as it is."""
    return words[:1].lower() + words[1:]


def listed(words: Sequence[str]) -> str:
    """One or more things in a sentence: "a", "a and b", "a, b and c"."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
