"""What the photos of a strip show, step beside step, as a picture of its own: the overlay of each with its words."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from pathlib import Path

from proofpatch.documents.whole import write_whole
from proofpatch.photos.overlay import WIDTH
from proofpatch.pictures.drawing import FILE, LINE, svg, text

ACROSS, GAP, MARGIN = 3, 20, 20  # steps in a row; px
HEAD = 2.5 * LINE


def strip_svg(title: str, steps: Sequence[tuple[Sequence[str], bytes | None, int]], legend: Sequence[str]) -> str:
    """The picture.

    Args:
        steps: (lines of words, the first bold; JPEG of the overlay, None: not in a photo; its height at WIDTH [px]).
        legend: lines below all.
    """
    across = min(ACROSS, max(len(steps), 1))
    wide = 2 * MARGIN + across * WIDTH + (across - 1) * GAP
    y, parts = MARGIN + HEAD, [text(MARGIN, MARGIN + LINE, title, bold=True)]
    for row in (steps[n : n + across] for n in range(0, len(steps), across)):
        for n, (words, jpeg, tall) in enumerate(row):
            x = MARGIN + n * (WIDTH + GAP)
            parts += [text(x, y + LINE * (k + 0.75), line, bold=k == 0) for k, line in enumerate(words)]
            if jpeg:
                data = base64.b64encode(jpeg).decode()
                parts.append(
                    f'<image x="{x}" y="{y + LINE * len(words) + 8:.0f}" width="{WIDTH}" height="{tall}" '
                    f'href="data:image/jpeg;base64,{data}"/>'
                )
        y += LINE * max(len(words) for words, _, _ in row) + 8 + max(tall for _, _, tall in row) + GAP + LINE / 2
    parts += [text(MARGIN, y + LINE * k, line) for k, line in enumerate(legend)]
    tall = round(y + LINE * len(legend) + MARGIN / 2)
    says = " ".join([title, *(" ".join(words) for words, _, _ in steps)])
    return svg((wide, tall), says, parts, FILE)


def write_strip(content: str, path: str | Path) -> None:
    """The picture into an SVG or PNG file, whole or not at all.

    Raises:
        InputError: the place cannot be written.
    """
    made = content.encode()
    if str(path).lower().endswith(".png"):
        import vl_convert

        made = vl_convert.svg_to_png(content, scale=2)
    write_whole(Path(path), made, "picture")
