"""Draws docs/model.svg, the one drawing of docs/model.md: python docs/model_picture.py"""

from pathlib import Path

WIDTH, HEIGHT = 760, 430
INK, SOFT, PAPER, MARK = "#1A1C20", "#4C4D50", "#F7F4EC", "#134A93"
FACE, FILM, GROUND = 150, 46, 110  # top of the film, its thickness, of the substrate shown
PLACES = (130, 380, 630)  # middles of the three pictures
HALF = 105
TITLES = ("blown off from above", "thrown off from below", "what stays as heat")
BELOW = tuple(
    words.split("|")
    for words in (
        "The film takes the light. Where a pulse|is stronger than the threshold, a thin|"
        "layer flies off; below it, none does.",
        "A clear film lets light through to the|ground. What turns to gas there pushes|"
        "the film off whole, if the bond is weak.",
        "All light that throws nothing off warms.|Pulse after pulse, line after line, and a|"
        "hand that stops: that is what scorches.",
    )
)


def draw() -> str:
    """The drawing as SVG."""
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" '
        'font-family="Helvetica, Arial, sans-serif" font-size="16" role="img">',
        "<title>Three things light does to a coat of varnish on wood</title>",
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="{PAPER}"/>',
        '<defs><pattern id="film" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        f'<path d="M0 0V8" stroke="{INK}" stroke-width="2"/></pattern>'
        '<pattern id="warm" width="9" height="9" patternUnits="userSpaceOnUse">'
        f'<circle cx="3" cy="3" r="1.8" fill="{INK}"/></pattern>'
        f'<marker id="tip" viewBox="0 0 8 8" refX="6" refY="4" markerWidth="5" markerHeight="5" orient="auto">'
        f'<path d="M0 0L8 4L0 8z" fill="{MARK}"/></marker></defs>',
    ]
    for place, title, lines in zip(PLACES, TITLES, BELOW, strict=True):
        parts.append(f'<text x="{place}" y="32" text-anchor="middle" font-weight="bold" fill="{INK}">{title}</text>')
        parts += [
            f'<text x="{place}" y="{FACE + FILM + GROUND + 40 + 22 * i}" text-anchor="middle" font-size="13" '
            f'fill="{SOFT}">{line}</text>'
            for i, line in enumerate(lines)
        ]
    parts += [*_above(PLACES[0]), *_below(PLACES[1]), *_heat(PLACES[2])]
    return "\n".join([*parts, "</svg>"]) + "\n"


def _ground(place: int) -> str:
    return (
        f'<rect x="{place - HALF}" y="{FACE + FILM}" width="{2 * HALF}" height="{GROUND}" fill="none" '
        f'stroke="{INK}" stroke-width="1.5"/>'
        f'<text x="{place - HALF + 8}" y="{FACE + FILM + GROUND - 10}" font-size="13" fill="{SOFT}">wood</text>'
    )


def _film(left: float, right: float, top: float = FACE) -> str:
    return (
        f'<rect x="{left}" y="{top}" width="{right - left}" height="{FILM}" fill="url(#film)" stroke="{INK}" '
        'stroke-width="1.5"/>'
    )


def _light(place: int, end: float) -> list[str]:
    return [
        f'<path d="M{place + off} 52V{end}" stroke="{MARK}" stroke-width="3" marker-end="url(#tip)"/>'
        for off in (-24, 0, 24)
    ]


def _above(place: int) -> list[str]:
    """A dent, and what flew off it."""
    dent = f"M{place - 45} {FACE}Q{place} {FACE + 44} {place + 45} {FACE}z"
    bits = ((-58, -16), (-44, -38), (50, -20), (62, -42), (-70, -46))
    return [
        _film(place - HALF, place + HALF), f'<path d="{dent}" fill="{PAPER}" stroke="{INK}" stroke-width="1.5"/>',
        *(f'<rect x="{place + x}" y="{FACE + y}" width="9" height="5" fill="{INK}"/>' for x, y in bits),
        _ground(place), *_light(place, FACE + 8),
    ]  # fmt: skip


def _below(place: int) -> list[str]:
    """Light through the film, gas below, the film lifting."""
    lifted = f"M{place - 50} {FACE + FILM}Q{place} {FACE + FILM - 26} {place + 50} {FACE + FILM}z"
    return [
        _film(place - HALF, place - 50), _film(place + 50, place + HALF),
        f'<path d="M{place - 50} {FACE}Q{place} {FACE - 26} {place + 50} {FACE}V{FACE + FILM}Q{place} '
        f'{FACE + FILM - 26} {place - 50} {FACE + FILM}z" fill="none" stroke="{INK}" stroke-width="1.5" '
        'stroke-dasharray="5 4"/>',
        f'<path d="{lifted}" fill="{PAPER}" stroke="{INK}" stroke-width="1.5"/>',
        f'<text x="{place}" y="{FACE + FILM - 2}" text-anchor="middle" font-size="11" fill="{SOFT}">gas</text>',
        _ground(place), *_light(place, FACE + FILM - 26),
    ]  # fmt: skip


def _heat(place: int) -> list[str]:
    """Bare ground, warm under the band; the hand goes on to the right."""
    warm = f"M{place - 60} {FACE + FILM}Q{place} {FACE + FILM + 78} {place + 60} {FACE + FILM}z"
    return [
        _film(place + 45, place + HALF), _ground(place), f'<path d="{warm}" fill="url(#warm)"/>',
        *_light(place, FACE + FILM - 6),
        f'<path d="M{place - 90} 92H{place - 40}" stroke="{INK}" stroke-width="2" marker-end="url(#tip)"/>',
        f'<text x="{place - 92}" y="80" font-size="13" fill="{SOFT}">hand</text>',
    ]  # fmt: skip


if __name__ == "__main__":
    Path(__file__).with_name("model.svg").write_text(draw(), encoding="utf-8")
