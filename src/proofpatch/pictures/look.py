"""The look of every chart: one paper, one ink, one mark."""

from __future__ import annotations

import re
from typing import Any

INK, SOFT, RULE, HAIR, PAPER, MARK = "#1A1C20", "#4C4D50", "#7C776A", "#CDC7B8", "#F7F4EC", "#134A93"
WASH = "#E6DFCE"  # floor of a plan where eyewear is worn, never of one that is called anything else
SPEAKS = "Literata, Georgia, 'DejaVu Serif', serif"
WORKS = "'Atkinson Hyperlegible Next', 'Atkinson Hyperlegible', 'DejaVu Sans', Verdana, sans-serif"
NARROW = 328  # px, one setting; two stand side by side within 688
TEXT = 15  # px; nothing is smaller, so a picture is never to be scaled down
WORDS = 38  # characters of TEXT on a line of NARROW
VEGA_LITE = "6.4"


def config() -> dict[str, Any]:
    """Vega-Lite's configuration for print and screen."""
    text = {"labelFont": WORKS, "titleFont": WORKS, "labelColor": INK, "titleColor": SOFT}
    return {
        "background": PAPER,
        "font": WORKS,
        "view": {"stroke": None},
        "axis": {
            **text, "labelFontSize": TEXT, "titleFontSize": TEXT, "titleFontWeight": "normal", "grid": False,
            "domainColor": INK, "tickColor": INK, "labelFlush": True, "tickCount": 4,
        },
        "axisQuantitative": {"format": ".6~g"},
        "title": {
            "font": SPEAKS, "fontSize": 19, "fontWeight": 600, "color": INK, "anchor": "start", "offset": 8,
            "subtitleFont": WORKS, "subtitleFontSize": TEXT, "subtitleColor": SOFT, "subtitlePadding": 4,
        },
        "text": {"font": WORKS, "fontSize": TEXT, "fill": INK},
        "line": {"color": INK, "strokeWidth": 2},
        "rule": {"color": INK, "strokeWidth": 1.2},
        "concat": {"spacing": 28},
    }  # fmt: skip


def themed(svg: str, name: str = "") -> str:
    """A picture for within a page: colours and fonts are those of the page, its parts are named after `name` too."""
    for colour, token in (
        (INK, "ink"), (SOFT, "soft"), (RULE, "rule"), (HAIR, "hair"), (PAPER, "paper"), (MARK, "mark"), (WASH, "wash"),
    ):  # fmt: skip
        svg = svg.replace(f'"{colour}"', f'"var(--{token})"')
    svg = re.sub(r' font-family="[^"]*"', "", svg)
    return re.sub(r'( id="|url\(#)', rf"\g<1>{name}", svg) if name else svg
