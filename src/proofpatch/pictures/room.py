"""A room to scale: walls, openings, the zone, where the beam looks out. SVG; nothing is told by hue."""

from __future__ import annotations

import html
import math
import textwrap
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

from proofpatch.documents.whole import write_whole
from proofpatch.hazards.room import LONGEST_NAME, Point, Wedge, Zone
from proofpatch.pictures.drawing import LINE, Box, apart
from proofpatch.pictures.look import INK, MARK, PAPER, SOFT, WASH, WORKS
from proofpatch.units import show

SIDE = 640.0  # px of the longer side of the room, or of all that is drawn across
MARGIN = 90.0  # px around it and around who stands outside; a wedge is cut there
PLANS = ((508.0, 90.0), (208.0, 60.0))  # the same for a page of 688 px, and for a phone's 328
FARTHEST = 6.0  # m from the walls to which people are drawn
TEXT, LETTER = 15, 9.0  # px, size of words; about the width of a letter, in the next best font too
EDGE = 5.0  # px a name keeps from walls and from the edge of the picture
Label = tuple[float, float, list[str], str]  # base line of the first line, lines, which end of them is there


def room_svg(zone: Zone, side: float = SIDE, margin: float = MARGIN) -> str:
    """The picture as text; side: px of the longer side, margin: around all."""
    room = zone.room
    west, south, east, north = _bounds(zone)
    scale = side / max(room.length, room.width, east - west)
    across, down = (east - west) * scale + 2 * margin, (north - south) * scale + 2 * margin + 40

    def at(point: Point) -> Point:
        return margin + (point[0] - west) * scale, margin + (north - point[1]) * scale

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{across:.0f}" height="{down:.0f}" '
        f'viewBox="0 0 {across:.0f} {down:.0f}" role="img" aria-label="{html.escape(words(zone))}">',
        f'<rect width="100%" height="100%" fill="{PAPER}"/>',
    ]
    left, top = at((0.0, room.width))
    box = f'x="{left:.1f}" y="{top:.1f}" width="{room.length * scale:.1f}" height="{room.width * scale:.1f}"'
    if zone.inside:
        parts.append(f'<rect {box} fill="{WASH}"/>')
    else:
        x, y = at(room.work)
        reach = zone.reach * scale
        parts += [
            f'<clipPath id="walls"><rect {box}/></clipPath>',
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{reach:.1f}" fill="{WASH}" stroke="{INK}" stroke-width="1.2" '
            'stroke-dasharray="7 5" clip-path="url(#walls)"/>',
        ]
    parts.append(f'<clipPath id="drawn"><rect width="{across:.1f}" height="{down - 50:.1f}"/></clipPath>')
    far = 3.0 * max(across, down) / scale
    parts += ['<g clip-path="url(#drawn)">', *_wedges(zone.wedges, at, far), "</g>"]
    parts.append(f'<rect {box} fill="none" stroke="{INK}" stroke-width="7"/>')
    labels: list[Label] = []
    marks = [(*at((one.x, one.y)), one.name) for one in (*room.shiny, *room.people)]
    marks = [(*at(room.work), "work"), *((x, y, name) for x, y, name in marks if 0 < x < across and 0 < y < down - 50)]
    taken: list[Box] = [(x - 9, y - 9, x + 9, y + 9) for x, y, _ in marks]
    for opening in room.openings:
        (x1, y1), (x2, y2) = (at(end) for end in room.ends(opening))
        line = f'x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"'
        if opening.closed:
            parts.append(f'<line {line} stroke="{SOFT}" stroke-width="7" stroke-dasharray="4 3"/>')
        else:
            parts.append(f'<line {line} stroke="{PAPER}" stroke-width="8"/>')
        said = f"{opening.name[:LONGEST_NAME]}, closed" if opening.closed else opening.name[:LONGEST_NAME]
        label = _at_opening(opening.wall, (x1 + x2) / 2, (y1 + y2) / 2, said, across)
        tries = [(label[0], label[1] + up, *label[2:]) for up in (0, LINE, -LINE, 2 * LINE, -2 * LINE)]
        beside = opening.wall in ("west", "east")
        labels.append(next((one for one in tries if beside and apart(_box(one), taken)), label))
        taken.append(_box(labels[-1]))
    for thing in room.shiny:
        x, y = at((thing.x, thing.y))
        parts.append(f'<rect x="{x - 6:.1f}" y="{y - 6:.1f}" width="12" height="12" fill="{PAPER}" stroke="{INK}" '
                     f'stroke-width="2" transform="rotate(45 {x:.1f} {y:.1f})"/>')  # fmt: skip
    for person in room.people:
        x, y = at((person.x, person.y))
        if 0.0 < x < across and 0.0 < y < down - 50:
            parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="7" fill="{PAPER}" stroke="{INK}" stroke-width="2"/>')
    x, y = at(room.work)
    parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="8" fill="{MARK}"/>')
    right, foot = left + room.length * scale, top + room.width * scale
    for x, y, name in marks:
        labels.append(_beside(x, y, name, _between(x, y, (left, top, right, foot), across), taken))
        taken.append(_box(labels[-1]))
    parts += [_text(x, y + LINE * n, line, end) for x, y, lines, end in labels for n, line in enumerate(lines)]
    parts += _scale_line(room.length, room.width, scale, down, margin)
    return "\n".join([*parts, "</svg>"]) + "\n"


def write_room(zone: Zone, path: str | Path) -> None:
    """The picture into an SVG or PNG file, whole or not at all.

    Raises:
        InputError: the place cannot be written.
    """
    content = room_svg(zone).encode()
    if str(path).lower().endswith(".png"):
        import vl_convert

        content = vl_convert.svg_to_png(room_svg(zone), scale=2)
    write_whole(Path(path), content, "picture")


def words(zone: Zone) -> str:
    """The picture in a sentence."""
    room = zone.room
    size = f"{show(room.length, 'length')} by {show(room.width, 'length')}"
    inside = "all of it in the zone" if zone.inside else f"in the zone within {show(zone.reach, 'length')} of the work"
    out = sorted({wedge.through for wedge in zone.wedges})
    return f"A room of {size}, {inside}; the beam looks out through {', '.join(out) if out else 'nothing'}."


def _bounds(zone: Zone) -> tuple[float, float, float, float]:
    """West, south, east and north end of what is drawn [m]: the room, and people not too far outside."""
    room = zone.room
    near = [
        (one.x, one.y) for one in room.people
        if -FARTHEST <= one.x <= room.length + FARTHEST and -FARTHEST <= one.y <= room.width + FARTHEST
    ]  # fmt: skip
    across, up = [0.0, room.length, *(x for x, _ in near)], [0.0, room.width, *(y for _, y in near)]
    return min(across), min(up), max(across), max(up)


def _wedges(wedges: Sequence[Wedge], at: Callable[[Point], Point], far: float) -> list[str]:
    """Wedges beyond their openings as far as the picture goes; of those of one opening only the outermost edges."""
    groups: dict[tuple[str, tuple[Point, Point], str], list[tuple[Point, Point]]] = {}
    for wedge in wedges:
        ends = _ends(wedge, min(wedge.reach, far))
        groups.setdefault((wedge.through, wedge.jambs, wedge.off), []).append(ends)
    filled, edges = [], []
    for (_, jambs, _), pairs in groups.items():
        for pair in pairs:
            corners = [at(point) for point in (jambs[0], pair[0], pair[1], jambs[1])]
            filled.append(f'<polygon points="{" ".join(f"{x:.1f},{y:.1f}" for x, y in corners)}" fill="{WASH}"/>')
        for side in (0, 1):
            jamb, other = jambs[side], jambs[1 - side]
            widest = min((pair[side] for pair in pairs), key=partial(_cosine, jamb, other))
            (x1, y1), (x2, y2) = at(jamb), at(widest)
            edges.append(f'<path d="M {x1:.1f} {y1:.1f} L {x2:.1f} {y2:.1f}" fill="none" stroke="{INK}" '
                         'stroke-width="1.2" stroke-dasharray="7 5"/>')  # fmt: skip
    return [*filled, *edges]


def _cosine(at: Point, one: Point, other: Point) -> float:
    """Of the angle between two points, seen from `at`."""
    ax, ay, bx, by = one[0] - at[0], one[1] - at[1], other[0] - at[0], other[1] - at[1]
    return (ax * bx + ay * by) / max(math.hypot(ax, ay) * math.hypot(bx, by), 1e-12)


def _ends(wedge: Wedge, far: float) -> tuple[Point, Point]:
    """Where the edges of a wedge end, one for each jamb."""
    first, last = wedge.jambs
    if not wedge.outside:
        return _along(wedge.origin, first, far), _along(wedge.origin, last, far)
    dx, dy = {"south": (0, -1), "north": (0, 1), "west": (-1, 0), "east": (1, 0)}[wedge.outside]
    along = abs(dy), abs(dx)  # jambs run from south or west
    return (
        (first[0] + far * (dx - along[0] * 40.0), first[1] + far * (dy - along[1] * 40.0)),
        (last[0] + far * (dx + along[0] * 40.0), last[1] + far * (dy + along[1] * 40.0)),
    )


def _along(origin: Point, through: Point, reach: float) -> Point:
    """The point at `reach` from the origin in the direction of another, never short of that one."""
    dx, dy = through[0] - origin[0], through[1] - origin[1]
    factor = max(reach / max(math.hypot(dx, dy), 1e-9), 1.0)
    return origin[0] + dx * factor, origin[1] + dy * factor


def _text(x: float, y: float, words: str, anchor: str = "start") -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-family="{html.escape(WORKS)}" font-size="{TEXT}" fill="{INK}" '
        f'text-anchor="{anchor}" paint-order="stroke" stroke="{PAPER}" stroke-width="4">{html.escape(words)}</text>'
    )


def _box(label: Label) -> Box:
    """What a name takes."""
    x, y, lines, end = label
    wide = LETTER * max(map(len, lines))
    left = x - wide * {"start": 0.0, "middle": 0.5, "end": 1.0}[end]
    return left, y - TEXT, left + wide, y + LINE * (len(lines) - 1) + 5


def _broken(words: str, wide: float) -> list[str]:
    """A name in lines of at most so many px."""
    return textwrap.wrap(words, max(int(wide / LETTER), 4)) or [""]


def _middle(x: float, lines: list[str], low: float, high: float) -> float:
    """Where the middle of lines is best, about x between two edges."""
    half = LETTER * max(map(len, lines)) / 2
    return max(low + half, min(x, high - half))


def _at_opening(wall: str, x: float, y: float, words: str, across: float) -> Label:
    """The name of an opening: outside, or where the picture ends within the wall."""
    if wall in ("south", "north"):
        lines = _broken(words, across - 2 * EDGE)
        up = -12 - LINE * (len(lines) - 1)
        return _middle(x, lines, EDGE, across - EDGE), y + (24 if wall == "south" else up), lines, "middle"
    if wall == "east" and x + 8 + LETTER * len(words) > across:
        lines = _broken(words, (x - 12 - EDGE) / 2)
        return x - 12, y + 5 - LINE / 2 * (len(lines) - 1), lines, "end"
    lines = _broken(words, across - x - 12)
    return x + (8 if wall == "east" else 12), y + 5 - LINE / 2 * (len(lines) - 1), lines, "start"


def _between(x: float, y: float, walls: Box, across: float) -> tuple[float, float]:
    """How far left and right a name may go from a mark without a wall in between."""
    left, top, right, foot = walls
    if x < left:
        return EDGE, left - EDGE
    if x > right:
        return right + EDGE, across - EDGE
    return (left + EDGE, right - EDGE) if top <= y <= foot else (EDGE, across - EDGE)


def _beside(x: float, y: float, name: str, span: tuple[float, float], taken: Sequence[Box]) -> Label:
    """A name beside its mark, or over or under it, off other names and within its span where any place is."""
    low, high = span
    words = name[:LONGEST_NAME]
    lines = _broken(words, (high - low) / 2)
    middle, more = _middle(x, lines, low, high), LINE * (len(lines) - 1)
    places: list[Label] = [
        place
        for far in (0, LINE, 2 * LINE)
        for place in (
            (x + 14, y + 5 + far, [words], "start"), (x - 14, y + 5 + far, [words], "end"),
            (x + 14, y + 5 - far, [words], "start"), (x - 14, y + 5 - far, [words], "end"),
            (middle, y + 28 + far, lines, "middle"), (middle, y - 16 - more - far, lines, "middle"),
        )
    ]  # fmt: skip
    inside = [place for place in places if _box(place)[0] >= low and _box(place)[2] <= high]
    free = (place for place in inside if apart(_box(place), taken))
    return next(free, (inside or places[4:])[0])


def _scale_line(length: float, width: float, scale: float, down: float, left: float) -> Sequence[str]:
    """A measure of one, two, five or ten metres."""
    metres = max((m for m in (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0) if m <= max(length, width) / 2), default=0.5)
    y, key = down - 28, "shaded: in the zone; dashed: it looks out"
    narrow = scale * max(length, width) < SIDE / 2
    return [
        f'<rect x="0" y="{down - 48:.1f}" width="100%" height="48" fill="{PAPER}"/>',
        f'<path d="M {left:.0f} {y - 6:.1f} v 12 M {left:.0f} {y:.1f} h {metres * scale:.1f} m 0 -6 v 12" '
        f'stroke="{INK}" stroke-width="1.5" fill="none"/>',
        _text(left + metres * scale + 10, y + 5, f"{metres:g} m" if narrow else f"{metres:g} m; {key}"),
        *([_text(4, y + 23, key)] if narrow else []),
    ]
