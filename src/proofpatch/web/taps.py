"""An outline being tapped on a photo: its whole state is in the address, so going back or putting the phone away loses
nothing.

A tap is (x, y, error) in whole pixels of the photo: a tap on a picture shown small is off by more of them.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Any
from urllib.parse import urlencode

from proofpatch.errors import InputError
from proofpatch.measure.registry import read_number
from proofpatch.measure.tables import instruments
from proofpatch.web.zone_form import written

Tap = tuple[int, int, int]
Box = tuple[float, float, float, float]  # left, top, width, height [px of the photo]
# What is known in the photo -> (how many taps it takes, the sizes it needs with their words).
WAYS: dict[str, tuple[int, dict[str, str]]] = {
    "rectangle": (4, {"width": "Width", "height": "Height"}), "length": (2, {"length": "Length"}), "frame": (0, {}),
}  # fmt: skip
CORNERS = ("upper left", "upper right", "lower right", "lower left")
ENDS = ("one end", "other end")
SHOWN = {"narrow": 328, "wide": 688}  # px the picture is wide
TALLEST = {"narrow": 492, "wide": 688}  # px it is tall at most
CLOSER = 6  # times, when a corner is tapped again
MOST = 100  # taps of one outline with its openings; as many as the interface takes in a list
LEAST_ERROR = 1
_TAP = re.compile(r"(\d{1,6})x(\d{1,6})x(\d{1,6})")


@dataclass(frozen=True)
class Taps:
    """What was said and tapped so far.

    zone: the number of the zone it goes into, empty for a new one; at: of the outline it replaces, empty for none.
    way: what is known, and width, height or length of it as typed. known: its taps. holes: the openings; hole: whether
    taps go into the last of them. rough: a first tap, waiting for the second one closer; quick: one tap is enough.
    """

    zone: str = ""
    at: str = ""
    way: str = ""
    width: str = ""
    height: str = ""
    length: str = ""
    known: tuple[Tap, ...] = ()
    points: tuple[Tap, ...] = ()
    holes: tuple[tuple[Tap, ...], ...] = ()
    hole: bool = False
    rough: Tap | None = None
    quick: bool = False
    homography: tuple[tuple[float, ...], ...] | None = field(default=None, compare=False)

    @property
    def step(self) -> str:
        """What comes next: "size", "known" or "outline"."""
        if self.way not in WAYS:
            return "size"
        return "known" if len(self.known) < WAYS[self.way][0] else "outline"

    @property
    def asked(self) -> str:
        """What the next tap is for, of what is known."""
        names = CORNERS if self.way == "rectangle" else ENDS
        return names[min(len(self.known), len(names) - 1)]

    def tapped(self, x: float, y: float, error: float) -> Taps:
        """With one tap more, where it belongs; a first one is only looked at closer.

        Raises:
            InputError: there are too many.
        """
        tap = (max(round(x), 0), max(round(y), 0), max(round(error), LEAST_ERROR))
        if len(self.points) + sum(map(len, self.holes)) >= MOST:
            raise InputError("tap", f"The outline has {MOST} taps.", "Tap the corners that matter only.")
        if self.rough is None and not self.quick:
            return replace(self, rough=tap)
        if self.step == "known":
            return replace(self, known=(*self.known, tap), rough=None)
        if self.hole:
            return replace(self, holes=(*self.holes[:-1], (*self.holes[-1], tap)), rough=None)
        return replace(self, points=(*self.points, tap), rough=None)

    def back(self) -> Taps:
        """Without the last tap."""
        if self.rough is not None:
            return replace(self, rough=None)
        if self.holes:
            rest, last = self.holes[:-1], self.holes[-1][:-1]
            return replace(self, holes=(*rest, last) if last else rest, hole=bool(last))
        if self.points:
            return replace(self, points=self.points[:-1], hole=False)
        return replace(self, known=self.known[:-1]) if self.known else replace(self, way="")

    def opening(self) -> Taps:
        """Taps go into a new opening from here on."""
        if self.hole and not self.holes[-1]:
            return self
        return replace(self, holes=(*self.holes, ()), hole=True)

    def box(self, size: tuple[int, int]) -> Box:
        """The part of a photo of this size that is shown: all of it, or what lies about a first tap."""
        if self.rough is None:
            return 0.0, 0.0, float(size[0]), float(size[1])
        wide, tall = size[0] / CLOSER, size[1] / CLOSER
        x, y, _ = self.rough
        left = min(max(x - wide / 2, 0.0), size[0] - wide)
        return left, min(max(y - tall / 2, 0.0), size[1] - tall), wide, tall

    def sized(self) -> None:
        """Raises InputError where what is known has no size."""
        for name, words in WAYS[self.way][1].items():
            if not getattr(self, name):
                raise InputError(name, f"{words} of what is known is missing.", "Measure it on the piece.")
            read_number(name, getattr(self, name), "length", words)

    def record(self, photo: str) -> dict[str, Any]:
        """The outline as `measure.outline.outline_from` reads it."""
        taps = [*self.known, *self.points, *(tap for hole in self.holes for tap in hole)]
        found: dict[str, Any] = {"photo": photo, "points": _plain(self.points)}
        if openings := [_plain(hole) for hole in self.holes if hole]:
            found["openings"] = openings
        if self.way == "rectangle":
            found |= {"corners": _plain(self.known), "width": self.width, "height": self.height}
        elif self.way == "length":
            ends = _plain(self.known)
            found |= {"start": ends[0], "end": ends[1], "length": self.length}
        elif self.homography is not None:
            found["homography"] = [list(row) for row in self.homography]
        return {**found, "tap_error": max(tap[2] for tap in taps)}

    @property
    def query(self) -> str:
        """The state as an address has it."""
        return urlencode({key: value for key, value in self.said().items() if value})

    def said(self) -> dict[str, str]:
        """The state as a form has it."""
        found = {one.name: getattr(self, one.name) for one in fields(self) if one.type == "str"}
        found |= {"known": _joined(self.known), "points": _joined(self.points)}
        found["holes"] = ".".join(_joined(hole) for hole in self.holes if hole)
        found["rough"] = _joined((self.rough,)) if self.rough else ""
        hole = "new" if self.hole and not self.holes[-1] else "yes" if self.hole else ""
        return {**found, "hole": hole, "quick": "yes" if self.quick else ""}


def taps_of(said: Mapping[str, Any], homography: tuple[tuple[float, ...], ...] | None = None) -> Taps:
    """The state of an address or a form.

    Raises:
        InputError: taps that are none.
    """
    given = {key: " ".join(str(said.get(key, "")).split())[:40] for key in
             ("zone", "at", "way", "width", "height", "length")}  # fmt: skip
    if given["way"] not in WAYS or (given["way"] == "frame" and homography is None):
        given["way"] = ""
    holes = tuple(_read(part) for part in str(said.get("holes", "")).split(".") if part)
    hole = bool(said.get("hole"))
    if said.get("hole") == "new":  # one that has no tap yet
        holes = (*holes, ())
    hole = hole and bool(holes)
    rough = _read(str(said.get("rough", "")))
    return Taps(
        **given, known=_read(str(said.get("known", ""))), points=_read(str(said.get("points", ""))), holes=holes,
        hole=hole, rough=rough[0] if rough else None, quick=bool(said.get("quick")), homography=homography,
    )  # fmt: skip


def taps_kept(record: Mapping[str, Any], zone: int, at: int) -> Taps:
    """The state an outline was kept in, to go on from."""
    error = max(round(float(record.get("tap_error", instruments()["photo", "reading"].value))), LEAST_ERROR)

    def taps(points: Any) -> tuple[Tap, ...]:
        return tuple((max(round(x), 0), max(round(y), 0), error) for x, y in points)

    way = "rectangle" if "corners" in record else "length" if "start" in record else "frame"
    sizes = {name: written(record[name], "length") for name in ("width", "height", "length") if name in record}
    known = record.get("corners") or ([record["start"], record["end"]] if way == "length" else [])
    found = Taps(
        zone=str(zone), at=str(at), way=way, known=taps(known), points=taps(record["points"]),
        holes=tuple(taps(hole) for hole in record.get("openings", ())),
    )  # fmt: skip
    return replace(found, width=sizes.get("width", ""), height=sizes.get("height", ""), length=sizes.get("length", ""))


def shown_size(size: tuple[int, int], name: str) -> tuple[int, int]:
    """Width and height of a picture of this size on a phone ("narrow") or a laptop ("wide") [px]."""
    share = min(SHOWN[name] / size[0], TALLEST[name] / size[1])
    return max(round(size[0] * share), 1), max(round(size[1] * share), 1)


def tap_error(shown: str, scale: float) -> float:
    """What a tap is off by, in pixels of the photo; scale: of them in one that is shown.

    The table's range is of pixels as they are shown; a thumb on a phone is taken at its end.
    """
    known = instruments()["photo", "reading"]
    reading = known.high if shown == "narrow" and known.high is not None else known.value
    return reading * scale


def _read(said: str) -> tuple[Tap, ...]:
    parts = [_TAP.fullmatch(part) for part in said.split("_")] if said else []
    if len(parts) > MOST or not all(parts):
        raise InputError("tap", "The taps cannot be read.", "Begin the outline again.")
    return tuple((int(one[1]), int(one[2]), max(int(one[3]), LEAST_ERROR)) for one in parts if one)


def _joined(taps: tuple[Tap, ...]) -> str:
    return "_".join(f"{x}x{y}x{error}" for x, y, error in taps)


def _plain(taps: tuple[Tap, ...]) -> list[list[int]]:
    return [[x, y] for x, y, _ in taps]
