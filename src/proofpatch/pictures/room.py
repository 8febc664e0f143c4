"""A room to scale: walls, openings, the zone, where the beam looks out. SVG; nothing is told by hue."""

from __future__ import annotations

import html
import math
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

from proofpatch.documents.whole import write_whole
from proofpatch.hazards.room import LONGEST_NAME, Point, Wedge, Zone
from proofpatch.pictures.look import HAIR, INK, MARK, PAPER, SOFT, WORKS
from proofpatch.units import show

SIDE = 640.0  # px of the longer side of the room
MARGIN = 90.0  # px around it and around who stands outside; a wedge is cut there
PLANS = ((508.0, 90.0), (208.0, 60.0))  # the same for a page of 688 px, and for a phone's 328
FARTHEST = 6.0  # m from the walls to which people are drawn
TEXT = 15


def room_svg(zone: Zone, side: float = SIDE, margin: float = MARGIN) -> str:
    """The picture as text; side: px of the longer side of the room, margin: around all."""
    room = zone.room
    west, south, east, north = _bounds(zone)
    scale = side / max(room.length, room.width)
    across, down = (east - west) * scale + 2 * margin, (north - south) * scale + 2 * margin + 40

    def at(point: Point) -> Point:
        return margin + (point[0] - west) * scale, margin + (north - point[1]) * scale

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{across:.0f}" height="{down:.0f}" '
        f'viewBox="0 0 {across:.0f} {down:.0f}" role="img" aria-label="{html.escape(words(zone))}">',
        f'<rect width="100%" height="100%" fill="{PAPER}"/>',
        '<defs><pattern id="zone" width="9" height="9" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        f'<line x1="0" y1="0" x2="0" y2="9" stroke="{HAIR}" stroke-width="3"/></pattern></defs>',
    ]
    left, top = at((0.0, room.width))
    box = f'x="{left:.1f}" y="{top:.1f}" width="{room.length * scale:.1f}" height="{room.width * scale:.1f}"'
    if zone.inside:
        parts.append(f'<rect {box} fill="url(#zone)"/>')
    else:
        x, y = at(room.work)
        reach = zone.reach * scale
        parts += [
            f'<clipPath id="walls"><rect {box}/></clipPath>',
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{reach:.1f}" fill="url(#zone)" clip-path="url(#walls)"/>',
        ]
    parts.append(f'<clipPath id="drawn"><rect width="{across:.1f}" height="{down - 50:.1f}"/></clipPath>')
    far = 3.0 * max(across, down) / scale
    parts += ['<g clip-path="url(#drawn)">', *_wedges(zone.wedges, at, far), "</g>"]
    parts.append(f'<rect {box} fill="none" stroke="{INK}" stroke-width="7"/>')
    for opening in room.openings:
        (x1, y1), (x2, y2) = (at(end) for end in room.ends(opening))
        line = f'x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"'
        if opening.closed:
            parts.append(f'<line {line} stroke="{SOFT}" stroke-width="7" stroke-dasharray="4 3"/>')
        else:
            parts.append(f'<line {line} stroke="{PAPER}" stroke-width="8"/>')
        dx, dy = {"south": (0, 24), "north": (0, -12), "west": (12, 5), "east": (8, 0)}[opening.wall]
        anchor = {"west": "start", "east": "start"}.get(opening.wall, "middle")
        label = f"{opening.name}, closed" if opening.closed else opening.name
        parts.append(_text((x1 + x2) / 2 + dx, (y1 + y2) / 2 + dy, label[:LONGEST_NAME], anchor))
    for thing in room.shiny:
        x, y = at((thing.x, thing.y))
        parts.append(f'<rect x="{x - 6:.1f}" y="{y - 6:.1f}" width="12" height="12" fill="{PAPER}" stroke="{INK}" '
                     f'stroke-width="2" transform="rotate(45 {x:.1f} {y:.1f})"/>')  # fmt: skip
        parts.append(_beside(x, y, thing.name, across))
    for person in room.people:
        x, y = at((person.x, person.y))
        if 0.0 < x < across and 0.0 < y < down - 50:
            parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="7" fill="{PAPER}" stroke="{INK}" stroke-width="2"/>')
            parts.append(_beside(x, y, person.name, across))
    x, y = at(room.work)
    parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="8" fill="{MARK}"/>')
    parts.append(_text(x + 14, y + 5, "work"))
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
            filled.append(f'<polygon points="{" ".join(f"{x:.1f},{y:.1f}" for x, y in corners)}" fill="url(#zone)"/>')
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


def _beside(x: float, y: float, name: str, across: float) -> str:
    """A name beside its mark, on the side that has room."""
    words = name[:LONGEST_NAME]
    right = x + 14 + 8.5 * len(words) < across - 20 or x < across / 2
    return _text(x + 14 if right else x - 14, y + 5, words, "start" if right else "end")


def _scale_line(length: float, width: float, scale: float, down: float, left: float) -> Sequence[str]:
    """A measure of one, two, five or ten metres."""
    metres = max((m for m in (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0) if m <= max(length, width) / 2), default=0.5)
    y, key = down - 28, "striped: in the zone; dashed: it looks out"
    narrow = scale * max(length, width) < SIDE / 2
    return [
        f'<rect x="0" y="{down - 48:.1f}" width="100%" height="48" fill="{PAPER}"/>',
        f'<path d="M {left:.0f} {y - 6:.1f} v 12 M {left:.0f} {y:.1f} h {metres * scale:.1f} m 0 -6 v 12" '
        f'stroke="{INK}" stroke-width="1.5" fill="none"/>',
        _text(left + metres * scale + 10, y + 5, f"{metres:g} m" if narrow else f"{metres:g} m; {key}"),
        *([_text(4, y + 23, key)] if narrow else []),
    ]
