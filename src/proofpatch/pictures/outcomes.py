"""Twenty jobs like this one, each a dot at its hours: filled inside the price, open where the job costs more."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from proofpatch.pictures.drawing import LINE, PAGE, WIDE, Ink, spread, svg, text

STEPS = (0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)  # h, between two ticks
HOUR = 3600.0
MOST_TICKS = 8


def outcomes_svg(
    outcomes: Sequence[Mapping[str, float]], time: Mapping[str, float], price: float, width: int = WIDE, ink: Ink = PAGE
) -> str:  # fmt: skip
    """The picture as text, `width` px wide; never to be scaled.

    Args:
        outcomes: equally likely jobs, each with its cost and time_s. time: p10, p50 and p90 of all [s].
        price: what is left of it without tax.
    """
    radius = 12.0 if width >= 600 else 7.0
    left, right = radius + 4, width - radius - 4
    hours = [one["time_s"] / HOUR for one in outcomes]
    low, high = min(*hours, time["p10"] / HOUR), max(*hours, time["p90"] / HOUR)
    room = (high - low) or max(high, 0.1)
    low, high = max(low - 0.04 * room, 0.0), high + 0.04 * room

    def x(value: float) -> float:
        return left + (right - left) * (value - low) / (high - low)

    columns = stacked([x(value) for value in hours], 2 * radius + 2, left)
    most = max(level for _, level in columns) + 1
    top = 2 * LINE + 18
    base = top + most * (2 * radius + 2) + 6
    parts = [_range(x, time, top - 14, width, ink)]
    for one, (place, level) in zip(outcomes, columns, strict=True):
        y = base - 4 - radius - level * (2 * radius + 2)
        paint = f'fill="{ink.ink}"' if one["cost"] <= price else f'fill="{ink.paper}" stroke="{ink.ink}"'
        line = "" if one["cost"] <= price else ' stroke-width="2.4"'
        r = radius - 1 if one["cost"] <= price else radius - 2
        parts.append(f'<circle cx="{place:.1f}" cy="{y:.1f}" r="{r:.1f}" {paint}{line}/>')
    marks = ticks(low, high, width)
    axis = f"M{left:.0f} {base}H{right:.0f}" + "".join(f"M{x(v):.1f} {base}v6" for v in marks)
    parts.append(f'<path d="{axis}" fill="none" stroke="{ink.ink}" stroke-width="1.2"/>')
    for v in marks:
        half = spread(clock(v), ink) / 2
        parts.append(text(min(max(x(v), half), width - half), base + 24, clock(v), "middle"))
    return svg((width, int(base + 34)), in_words(outcomes, time, price), parts, ink)


def stacked(places: Sequence[float], pitch: float, start: float) -> list[tuple[float, int]]:
    """(middle of its column, how many lie below it) of each place, columns a pitch wide."""
    counts: dict[int, int] = {}
    found = []
    for place in places:
        column = round((place - start) / pitch)
        found.append((start + column * pitch, counts.get(column, 0)))
        counts[column] = counts.get(column, 0) + 1
    return found


def ticks(low: float, high: float, width: int) -> list[float]:
    """Round hours between the ends, as many as have room."""
    most = min(MOST_TICKS, max(width // 80, 2))
    step = next((one for one in STEPS if (high - low) / one <= most), STEPS[-1])
    while (high - low) / step > most:
        step *= 2
    first = int(low / step) + (0 if low % step < 1e-9 else 1)
    return [step * n for n in range(first, int(high / step + 1e-9) + 1)]


def clock(hours: float) -> str:
    """An hour of the axis."""
    minutes = round(hours * 60)
    if minutes < 120:
        return f"{minutes}\u2009min"
    return f"{minutes // 60}\u2009h" + (f"\u2009{minutes % 60:02d}" if minutes % 60 else "")


def _range(x: Callable[[float], float], time: Mapping[str, float], y: float, width: int, ink: Ink) -> str:
    """The dimension line of 8 in 10 with its middle marked and named."""
    start, middle, end = (x(time[key] / HOUR) for key in ("p10", "p50", "p90"))
    d = f"M{start:.1f} {y:.0f}H{end:.1f}M{start:.1f} {y - 6:.0f}v12M{end:.1f} {y - 6:.0f}v12"
    said = f"8 in 10: {clock(time['p10'] / HOUR)} to {clock(time['p90'] / HOUR)}"
    half = spread(said, ink, True) / 2
    place = min(max((start + end) / 2, half + 2), width - half - 2)
    return (
        f'<path d="{d}" fill="none" stroke="{ink.ink}" stroke-width="1.6"/>'
        f'<circle cx="{middle:.1f}" cy="{y:.0f}" r="4" fill="{ink.ink}"/>'
        + text(place, y - 14, said, "middle", bold=True)
    )


def in_words(outcomes: Sequence[Mapping[str, float]], time: Mapping[str, float], price: float) -> str:
    """The picture in two sentences."""
    inside = sum(one["cost"] <= price for one in outcomes)
    low, middle, high = (clock(time[key] / HOUR) for key in ("p10", "p50", "p90"))
    return (
        f"{low} to {high} of work 8 times in 10, half of them under {middle}. "
        f"Of {len(outcomes)} jobs like this {inside} stay inside the price and {len(outcomes) - inside} cost more."
    )
