"""A figure that may vary as a dimension line with its middle marked, small enough for a row of a table."""

from __future__ import annotations

WIDE, TALL = 150, 20  # px
EDGE = 6  # px left free at both sides, so that an end tick or the disc is never cut


def span_svg(value: float, low: float, high: float, start: float, end: float) -> str:
    """The line from low to high on an axis from start to end, in the colour of the words around it."""

    def x(at: float) -> str:
        along = (at - start) / (end - start) if end > start else 0.5
        return f"{EDGE + min(max(along, 0.0), 1.0) * (WIDE - 2 * EDGE):.1f}"

    middle = TALL / 2
    ticks = "".join(f'<path d="M{x(at)} {middle - 5}v10"/>' for at in (low, high))
    return (
        f'<svg class="span" width="{WIDE}" height="{TALL}" viewBox="0 0 {WIDE} {TALL}" aria-hidden="true" '
        f'stroke="currentColor" stroke-width="1.5" fill="currentColor">'
        f'<path d="M{x(low)} {middle}H{x(high)}"/>{ticks}<circle cx="{x(value)}" cy="{middle}" r="4"/></svg>'
    )
