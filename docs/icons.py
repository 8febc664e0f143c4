"""Draws the icons of the home screen from the mark: python docs/icons.py

A maskable icon is cut to a circle or a square by the phone; what matters lies in the middle 80 % of it.
"""

from pathlib import Path

import vl_convert

STATIC = Path(__file__).resolve().parent.parent / "src" / "proofpatch" / "web" / "static"
PAPER, INK = "#F7F4EC", "#1A1C20"
MARK = (STATIC / "mark.svg").read_text(encoding="utf-8")
DRAWN = MARK[MARK.index("<rect") : MARK.index("</svg>")]
SIDE = 20  # units of the mark


def icon(size: int, filled: float) -> bytes:
    """The mark on paper, size px square, the mark over this share of it."""
    side = SIDE / filled
    edge = (side - SIDE) / 2
    look = f'fill="none" stroke="{INK}" stroke-width="1.6"'
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{-edge} {-edge} {side} {side}" width="{size}" '
        f'height="{size}"><rect x="{-edge}" y="{-edge}" width="{side}" height="{side}" fill="{PAPER}"/>'
        f"<g {look}>{DRAWN}</g></svg>"
    )
    return vl_convert.svg_to_png(svg)


def main() -> None:
    """Writes the three files."""
    for name, size, filled in (("icon-192", 192, 0.9), ("icon-512", 512, 0.9), ("icon-mask-512", 512, 0.55)):
        (STATIC / f"{name}.png").write_bytes(icon(size, filled))


if __name__ == "__main__":
    main()
