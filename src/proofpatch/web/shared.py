"""A part of a road that is worked out once, for all roads that differ only in what happened on the day."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Generic, Protocol, TypeVar

Part = TypeVar("Part")


class Holds(Protocol):
    """parts: what was worked out so far, by name; copies of one thing hold the same table."""

    @property
    def parts(self) -> dict[str, Any]:
        """The table."""
        ...


class shared(Generic[Part]):  # read like a property
    """A property kept in the table of parts; it may rest on nothing in which the copies differ."""

    def __init__(self, make: Callable[[Any], Part]) -> None:
        self.make, self.name, self.__doc__ = make, "", make.__doc__

    def __set_name__(self, _: type, name: str) -> None:
        self.name = name

    def __get__(self, one: Holds, _: type | None = None) -> Part:
        if self.name not in one.parts:
            one.parts[self.name] = self.make(one)
        found: Part = one.parts[self.name]
        return found
