"""Draws docs/demo.svg from what `proofpatch demo` really prints. Run: python docs/picture.py (a test keeps it true)."""

from __future__ import annotations

import html
from pathlib import Path

from proofpatch import demo

HERE = Path(__file__).resolve().parent
SHOWN = ("forecast", "next_patch", "a step", "confirm", "recipe", "hours", "The piece, revealed")
WIDTH, LINE, SIZE = 104, 19, 14


def demo_lines(seed: int = demo.SEED) -> list[str]:
    """Every line of the demo."""
    said: list[str] = []
    demo.play(seed, lambda text="": said.extend(str(text).split("\n")))
    return said


def chosen(lines: list[str]) -> list[str]:
    """The parts a reader should see: the forecast, the first strip, the recipe, the hours, the end."""
    found: list[str] = []
    taking, strips = False, 0
    for line, following in zip(lines, [*lines[1:], ""], strict=True):
        if following.startswith("----"):
            stage = line.split(". ")[-1]
            strips += stage.startswith("next_patch")
            taking = stage.startswith(SHOWN) and not (stage.startswith("next_patch") and strips > 1)
        if taking:
            found.append(line)
    return found


def svg(lines: list[str]) -> str:
    """A sheet of paper with the lines on it."""
    height = LINE * (len(lines) + 3)
    width = int(WIDTH * SIZE * 0.6) + 48
    rows = "\n".join(
        f'<text x="24" y="{LINE * (i + 2)}" xml:space="preserve">{html.escape(line)}</text>'
        for i, line in enumerate(lines)
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}">\n'
        f'<rect width="100%" height="100%" fill="#faf7f0"/>\n'
        f'<g font-family="DejaVu Sans Mono, monospace" font-size="{SIZE}" fill="#22201c">\n{rows}\n</g>\n</svg>\n'
    )


if __name__ == "__main__":
    HERE.joinpath("demo.svg").write_text(svg(chosen(demo_lines())), encoding="utf-8")
