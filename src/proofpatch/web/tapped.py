"""Places tapped on a picture that is shown narrow, as shares of its width and height; an address lists those so far."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from proofpatch.shop.pairs import Point


def place_of(form: Mapping[str, Any], name: str, size: tuple[int, int]) -> Point:
    """Where the picture `name` of this size [px] was tapped: a browser says which pixel, its middle is meant."""
    said = [str(form.get(f"{name}.{axis}", "")) for axis in "xy"]
    at = [int(one) if one.isascii() and one.isdigit() and len(one) < 6 else 0 for one in said]
    return min((at[0] + 0.5) / size[0], 1.0), min((at[1] + 0.5) / size[1], 1.0)


def places_said(places: Sequence[Point]) -> str:
    """The list as an address has it."""
    return ",".join(f"{x:.4f} {y:.4f}" for x, y in places)


def places_of(said: str, most: int) -> tuple[Point, ...]:
    """The list an address has; whatever is no such list is none."""
    try:
        found = [tuple(float(part) for part in one.split(" ")) for one in said.split(",")] if said else []
    except ValueError:
        return ()
    fit = len(found) <= most and all(len(one) == 2 and all(0 <= v <= 1 for v in one) for one in found)
    return tuple((one[0], one[1]) for one in found) if fit else ()
