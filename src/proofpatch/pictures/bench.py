"""The bench drawn: for one or two settings side by side pulse, overlap, dose map and heat, with words."""

from __future__ import annotations

import base64
import io
import os
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from proofpatch.bench import FIGURES, PHASES, Side, ratios, shown
from proofpatch.bench_levels import band_alone_marks
from proofpatch.errors import InputError
from proofpatch.hazards import CAUTIONS
from proofpatch.physics.clocks import ROOM
from proofpatch.pictures import marks
from proofpatch.pictures.look import HAIR, INK, MARK, NARROW, PAPER, SOFT, VEGA_LITE, config
from proofpatch.pictures.marks import AXIS, PLOT, Frame, Line, Spec, words
from proofpatch.units import show

Floats = NDArray[np.float64]
ENDINGS = (".svg", ".png")
PNG_SCALE = 2.0
APART = NARROW + 36  # px from one setting to the other: laid by this alone, whatever their labels take
INK_RGB = (0x1A, 0x1C, 0x20)
ZERO_C = 273.15  # K
BINS = 127  # of a curve along the line: one for two px
DRAWN = 400  # bins of a course; the highest and the lowest of each are drawn
REACH = 3.0  # times what the setting gives, up to which a chart is stretched for a level
UNEVEN = 0.02  # of the chart: a smaller unevenness is not seen
SAME = 0.005  # a ratio so near 1 is called the same
SEVERAL = 1.5  # spots or lines that close together are drawn every so many
READ_LEVELS = (
    "Line: the middle of the belief; ruled (coating) or dotted (harm): where it lies 9 times in 10."
)  # fmt: skip


def _short(name: str, instead: str) -> str:
    return name if len(name) <= 12 else instead


def _line(side: Side, key: str, named: str, kind: str, unit: float, harm: bool) -> list[Line]:
    """A level of the record in axis units, or nothing where the belief has no middle of it."""
    level = side.record.get(key)
    if not level or level["p50"] is None:
        return []
    low, middle = level["p5"], level["p50"]
    high = level["p95"] if level["p95"] is not None else middle * 1e3
    low, middle, high = ((v - ZERO_C if kind == "temperature" else v / unit) for v in (low, middle, high))
    value = level["p50"] if kind == "temperature" else float(f"{level['p50']:.2g}")
    return [Line(f"{named} {show(value, kind)}", low, middle, high, harm)]


def pulse_lines(side: Side) -> list[Line]:
    """Where the coating leaves and where a pulse marks the substrate [J/cm²]."""
    coat, under = _short(side.coating, "coating"), _short(side.substrate, "substrate")
    marked = "flash_limit_J_m2" in side.record and not band_alone_marks(side.record)
    flash = _line(side, "flash_limit_J_m2", f"{under} marked", "fluence", 1e4, True) if marked else []
    return _line(side, "coating_threshold_J_m2", f"{coat} leaves", "fluence", 1e4, False) + flash


def dose_lines(side: Side) -> list[Line]:
    """What the coating needs and where harm begins, of one pass [J/cm²]."""
    under = _short(side.substrate, "substrate")
    word = "tints" if side.harm == "tints" else "harmed"
    return _line(side, "dose_to_clean_J_m2", "clean from", "fluence", 1e4, False) + _line(
        side, "dose_to_tint_J_m2", f"{under} {word}", "fluence", 1e4, True
    )


def heat_lines(side: Side) -> list[Line]:
    """Where a middling place is so hot that dark grain is harmed, and where the substrate melts [°C]."""
    under = _short(side.substrate, "substrate")
    named = f"dark {under} tints" if side.harm == "tints" else "harm if it lasts"
    return _line(side, "mean_limit_temperature_K", named, "temperature", 1.0, True) + _line(
        side, "melting_temperature_K", "melts", "temperature", 1.0, True
    )


def tallest(given: float, lines: Sequence[Line]) -> float:
    """Top of an axis that shows what is given and the levels within REACH of it."""
    return max([1.25 * given, *(1.2 * line.middle for line in lines if line.middle <= REACH * given)])


def pulse(side: Side, top: float, name: str = "") -> Spec:
    """Fluence of one pulse across the spot, both sides of its middle, against what the surface stands."""
    x = np.concatenate([-side.radius[::-1], side.radius[1:]]) * 1e3
    y = np.concatenate([side.fluence[::-1], side.fluence[1:]]) / 1e4
    r, lines = side.record, pulse_lines(side)
    frame = Frame(150, float(x[0]), float(x[-1]), top)
    under, over = marks.levels(frame, lines, (0.6 * float(y.max()), float(y.max())))
    said = [
        f"{show(r['pulse_energy_J'], 'energy')} in {show(side.setting.pulse_width, 'time')}, spot "
        f"{show(2 * side.setting.spot_radius, 'spot')} across: {show(r['peak_fluence_J_m2'], 'fluence')} in the "
        f"middle, {show(r['mean_fluence_J_m2'], 'fluence')} on average.",
        *([READ_LEVELS] if lines else []),
        *marks.beyond(frame, lines),
        *(
            [f"The heat of the band alone marks dark bare {side.substrate}."]
            if side.substrate and band_alone_marks(r)
            else []
        ),
    ]
    layers = [*under, marks.curve(frame, x, y, {"title": "across the spot, mm"}, {"title": "J/cm²"}), *over]
    return marks.framed(f"One pulse{name}", frame, layers, " ".join(said))


def span_of(side: Side) -> float:
    """Height of the overlap chart [m]."""
    return float(max(6 * side.setting.spot_radius, 2.4 * side.record["line_pitch_m"]))


def overlap(side: Side, span: float, name: str = "") -> Spec:
    """Spots of neighbouring pulses and lines, to scale; `span` is the chart's height [m]."""
    w, height = side.setting.spot_radius, 160
    pitch, line = side.record["pulse_pitch_m"], side.record["line_pitch_m"]
    across = PLOT * span / height
    size = np.pi * (w * height / span) ** 2
    every, few = max(1, round(w / 3 / pitch)), max(1, round(w / 3 / line))
    half_x, half_y = across / 2 * 1e3, span / 2 * 1e3
    spots = []
    for j in (-few, 0, few):
        count = int((across / 2 + w) / (every * pitch)) + 1
        spots += [{"x": i * every * pitch * 1e3, "y": j * line * 1e3} for i in range(-count, count + 1)]
    frame = {"nice": False}
    layer = {
        "data": {"values": spots},
        "mark": {"type": "point", "shape": "circle", "size": size, "stroke": INK, "strokeWidth": 0.8, "filled": False,
                 "opacity": 0.7, "clip": True},
        "encoding": {
            "x": {"field": "x", "type": "quantitative", "axis": {"title": "along the line, mm"},
                  "scale": {"domain": [-half_x, half_x]} | frame},
            "y": {"field": "y", "type": "quantitative", "axis": {"title": "hand, mm"},
                  "scale": {"domain": [-half_y, half_y]} | frame},
        },
    }  # fmt: skip
    thinned = " and ".join(
        f"every {n}{'rd' if n % 10 == 3 and n != 13 else 'nd' if n % 10 == 2 and n != 12 else 'th'} {what}"
        for n, what in ((every, "pulse"), (few, "line"))
        if n >= SEVERAL
    )
    said = f"Pulses {show(pitch, 'length')} apart, lines {show(line, 'length')} apart, to scale"
    said += f"; {thinned} drawn." if thinned else "."
    return marks.framed(f"How they overlap{name}", Frame(height, 0, 1, 1), [layer], said)


def _map_image(side: Side, dark: float, height: int) -> str:
    """The dose map as a picture for a chart: more ink is more dose."""
    rows, columns = side.map.shape
    picture = np.empty((rows, columns, 4), dtype=np.uint8)
    picture[..., :3] = INK_RGB
    picture[..., 3] = np.clip(side.map[::-1] / dark, 0, 1) * 235
    buffer = io.BytesIO()
    image = Image.fromarray(picture, "RGBA").resize((2 * PLOT, 2 * height), Image.Resampling.BOX)
    image.save(buffer, "PNG", optimize=False)
    return "data:image/png;base64," + base64.b64encode(buffer.getvalue()).decode()


def dose(side: Side, dark: float, top: float, shared: bool, name: str = "") -> Spec:
    """The dose map over its profile; `dark` is the dose of full ink, `top` the height of the profile [J/cm²]."""
    rows, columns = side.map.shape
    height = int(np.clip(PLOT * rows / columns, 40, 170))
    image = {
        "data": {"values": [{"url": _map_image(side, dark, height)}]},
        "mark": {"type": "image", "width": PLOT, "height": height, "aspect": False},
        "encoding": {"url": {"field": "url", "type": "nominal"}, "x": {"value": PLOT / 2}, "y": {"value": height / 2}},
    }  # fmt: skip
    x, y = side.across * 1e3, side.profile / 1e4
    cells = np.array_split(np.arange(x.size), min(BINS, x.size))
    place, low, mean, high = (
        np.array([f(part[cell]) for cell in cells])
        for f, part in ((np.mean, x), (np.min, y), (np.mean, y), (np.max, y))
    )
    frame, lines = Frame(140, float(x[0]), float(x[-1]), top), dose_lines(side)
    r = side.record
    under, over = marks.levels(frame, lines, (0.9 * float(mean.max()), float(mean.max())))
    notes = [
        f"One pass, {show(side.grid.pixel * rows, 'length')} of hand travel; more ink is more dose"
        f"{', the same ink in A and B' if shared else ''}. {show(r['dose_middle_J_m2'], 'fluence')} in the middle, "
        f"{show(r['dose_edge_J_m2'], 'fluence')} near an end.",
        *(["Pale: from pulse to pulse."] if np.any(high - low > UNEVEN * top) else []),
        *marks.beyond(frame, lines),
    ]
    if r.get("dose_to_clean_J_m2") and r["dose_to_clean_J_m2"]["p50"] is None:
        notes.append("No dose of such pulses cleans, in the middle of the belief.")
    layers = [
        *under, marks.area(frame, place, low, high),
        marks.curve(frame, place, mean, {"title": "along the line, mm"}, {"title": "J/cm² a pass"}), *over,
    ]  # fmt: skip
    profile = {"width": PLOT, "height": frame.height, "layer": layers}
    return marks.framed(f"Where the dose falls{name}", Frame(height, 0, 1, 1), [image], " ".join(notes), profile)


def _thinned(t: Floats, y: Floats) -> tuple[Floats, Floats]:
    """A course cut to what a chart can show: the first, highest, lowest and last of each of many stretches of time."""
    if t.size <= 4 * DRAWN:
        return t, y
    cell = np.minimum(((t - t[0]) / (t[-1] - t[0]) * DRAWN).astype(int), DRAWN - 1)
    keep: set[int] = set()
    for n in np.unique(cell):
        inside = np.flatnonzero(cell == n)
        keep |= {int(inside[0]), int(inside[-1]), int(inside[np.argmax(y[inside])]), int(inside[np.argmin(y[inside])])}
    order = np.array(sorted(keep))
    return t[order], y[order]


def heat(side: Side, top: float, name: str = "") -> Spec:
    """Face over time and hottest over depth at the hottest bare place."""
    title = f"How hot a bare place gets{name}"
    if not side.seconds.size:
        return {"vconcat": [words([f"{title}: not followed, too many pulses fall there."], colour=SOFT)]}
    start = ROOM - ZERO_C
    t, y = _thinned(side.seconds, side.face + start)
    unit, per = ("s", 1.0) if t[-1] > 2 else ("ms", 1e3)
    frame, lines = Frame(140, 0.0, float(t[-1]) * per, top), heat_lines(side)
    under, over = marks.levels(frame, lines)
    over_time = [
        *under, marks.curve(frame, t * per, y, {"title": f"since the first pulse, {unit}"}, {"title": "°C"}), *over
    ]  # fmt: skip
    deep = side.hottest > max(0.05 * float(side.hottest.max()), 1.0)
    last = max(int(np.flatnonzero(deep)[-1]) if deep.any() else 1, 3)
    depth = side.depth[: last + 1] * 1e3
    below = Frame(110, 0.0, float(depth[-1]), top)
    over_depth = [
        *marks.levels(below, lines)[0],
        marks.curve(below, depth, side.hottest[: last + 1] + start, {"title": "below the face, mm"},
                    {"title": "hottest, °C"}),
    ]  # fmt: skip
    said = [
        f"The hottest of {len(PHASES) ** 2} places, one pass up to its hottest moment, {y.max():.0f} °C, then left to "
        "cool; by the layered solver.",
        *marks.beyond(frame, lines),
    ]
    deeper = {"width": PLOT, "height": below.height, "layer": over_depth}
    return marks.framed(title, frame, over_time, " ".join(said), deeper)


def counted(p: float) -> str:
    """A chance as a count that never rounds to certainty."""
    if p < 0.001:
        return "under 0.1 in 100"
    if p > 0.999:
        return "over 99.9 in 100"
    return f"{100 * p:.2g} in 100" if p < 0.1 else f"{100 * p:.0f} in 100"


def dialled(side: Side) -> str:
    """What is dialled in, in words."""
    s = side.setting
    passes = "one pass" if s.passes == 1 else f"{s.passes} passes"
    return (
        f"{show(s.average_power, 'power')}, {show(s.repetition_rate, 'frequency')}, {show(s.pulse_width, 'time')}; "
        f"sweep {show(s.sweep_width, 'length')}{'' if s.pattern == 'line' else f' ({s.pattern})'} at "
        f"{show(s.sweep_speed, 'speed')}, "
        f"hand {show(s.travel_speed, 'speed')}, {passes}; {show(side.record['area_rate_m2_s'], 'area rate')}, beam on."
    )


def _cell(side: Side, key: str, kind: str) -> str:
    return counted(side.record[key]).removesuffix(" in 100") if kind == "chance" else shown(side.record, key)


def _times(ratio: float | None) -> str:
    if ratio is None:
        return ""
    return "same" if abs(ratio - 1) < SAME else f"{ratio:.3g} ×"


def figures(sides: Sequence[Side], narrow: bool) -> Spec:
    """Every figure of both settings with its ratio, a row each."""
    found, rows = ratios(*sides), []
    wide = NARROW if narrow else APART + NARROW
    ends = (38, 148, wide - AXIS - 6) if narrow else (wide * 0.52, wide * 0.74, wide - AXIS - 6)
    for key, (named, kind) in FIGURES.items():
        if all(key in side.record for side in sides):
            cells = [_cell(side, key, kind) for side in sides]
            rows.append((f"{named}, in 100" if kind == "chance" else named, *cells, _times(found.get(key))))
    rows = [("", "A", "B", "B over A"), *rows]
    step, second = (48, 20) if narrow else (27, 0)
    texts, rules = [], []
    for n, (named, *cells) in enumerate(rows):
        texts.append({"x": -AXIS, "y": n * step, "words": named, "align": "left"})
        texts += [
            {"x": end, "y": n * step + second, "words": cell, "align": "right"}
            for end, cell in zip(ends, cells, strict=True)
        ]
        rules.append({"x": -AXIS, "x2": ends[-1], "y": (n + 1) * step - 7})
    at = {channel: {"field": channel, "type": "quantitative", "scale": None, "axis": None} for channel in ("x", "y")}
    mark = {"type": "text", "baseline": "top"}
    return {
        "title": {"text": "Every figure", "frame": "group", "dx": -AXIS},
        "width": wide - AXIS - 8, "height": step * len(rows),
        "layer": [
            {"data": {"values": rules}, "mark": {"type": "rule", "stroke": HAIR, "strokeWidth": 1},
             "encoding": at | {"x2": {"field": "x2"}}},
            *({"data": {"values": [t for t in texts if t["align"] == align]}, "mark": mark | {"align": align},
               "encoding": at | {"text": {"field": "words", "type": "nominal"}}} for align in ("left", "right")),
        ],
    }  # fmt: skip


def _parts(sides: Sequence[Side], narrow: bool) -> list[list[Spec]]:
    """Each setting's charts from the top down, on scales that all settings share."""
    # The highest half percent is full ink, or the little there is where hardly anything is hit.
    dark = max(float(np.percentile(side.map, 99.5)) or float(side.map.max()) or 1.0 for side in sides)
    pulse_top = max(tallest(float(side.fluence.max()) / 1e4, pulse_lines(side)) for side in sides)
    dose_top = max(tallest(float(side.profile.max()) / 1e4, dose_lines(side)) for side in sides)
    heat_top = max(tallest(float(side.face.max(initial=0.0)) + ROOM - ZERO_C, heat_lines(side)) for side in sides)
    spans = [span_of(side) for side in sides]
    columns = []
    for n, side in enumerate(sides):
        shared, letter = len(sides) > 1, "AB"[n]
        name = f", {letter}" if shared and narrow else ""
        said = list(side.limits) or ["No surface was named: no temperatures and no chances. Add one to see them."]
        if side.limits:
            r = side.record
            said.insert(0, f"Clean {counted(r['p_clean'])}, harm {counted(r['p_harm'])}.")
        head = [words([f"Setting {letter}" if shared else "This setting"], 24, MARK, "600"), words([dialled(side)])]
        last = [words([f"What limits what{name}"], 19, INK, "600"), words(said)]
        columns.append([
            {"vconcat": head, "spacing": 4},
            pulse(side, pulse_top, name),
            overlap(side, max(spans) if max(spans) <= REACH * min(spans) else spans[n], name),
            dose(side, dark, dose_top, shared, name),
            *([heat(side, heat_top, name)] if any(other.seconds.size for other in sides) else []),
            {"vconcat": last, "spacing": 2},
        ])  # fmt: skip
    return columns


def bench_spec(sides: Sequence[Side], narrow: bool = False) -> Spec:
    """The whole sheet.

    Args:
        sides: one or two settings.
        narrow: both in one column, chart by chart, for a phone or a small page; else side by side.
    """
    rows = zip(*_parts(sides, narrow), strict=True)
    parts = [
        part
        for row in rows
        for part in (row if narrow else [{"hconcat": list(row), "bounds": "flush", "spacing": APART}])
    ]
    page: Spec = {"vconcat": parts, "spacing": 30}
    wide = NARROW if narrow or len(sides) == 1 else APART + NARROW
    table = [figures(sides, narrow)] if len(sides) > 1 else []
    return {
        "$schema": "https://vega.github.io/schema/vega-lite/v6.json",
        "padding": {"left": 14, "right": 14, "top": 16, "bottom": 16},
        "config": config() | {"axisY": {"minExtent": 47, "maxExtent": 47}},
        "vconcat": [page, *table, words(list(CAUTIONS), colour=SOFT, width=wide)], "spacing": 34, "background": PAPER,
    }  # fmt: skip


def _renumbered(svg: str) -> str:
    """The same drawing with its clip paths counted from 1: the renderer goes on counting from picture to picture."""
    order = {name: f"clip{n}" for n, name in enumerate(dict.fromkeys(re.findall(r"clip\d+", svg)), 1)}
    return re.sub(r"clip\d+", lambda found: order[found[0]], svg)


def _packed(png: bytes) -> bytes:
    """The same picture, a fraction of the size the renderer leaves it in."""
    buffer = io.BytesIO()
    Image.open(io.BytesIO(png)).convert("RGB").save(buffer, "PNG", compress_level=7)
    return buffer.getvalue()


def write_picture(sides: Sequence[Side], path: str | Path, narrow: bool = False) -> None:
    """Draw the bench into an SVG or PNG file, whole or not at all: the old picture stays until the new one is whole.

    Raises:
        InputError: another ending, or a place that cannot be written.
    """
    import vl_convert

    path = Path(path)
    if path.suffix.lower() not in ENDINGS:
        raise InputError(
            "picture", f"A picture {path.name[-40:]!r} cannot be written.", f"End it in {' or '.join(ENDINGS)}."
        )
    spec: Any = bench_spec(sides, narrow)
    if path.suffix.lower() == ".svg":
        content = _renumbered(vl_convert.vegalite_to_svg(spec, vl_version=VEGA_LITE)).encode()
    else:
        content = _packed(vl_convert.vegalite_to_png(spec, vl_version=VEGA_LITE, scale=PNG_SCALE))
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        with beside.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.replace(beside, path)
    except (OSError, ValueError) as trouble:
        _forget(beside)
        why = getattr(trouble, "strerror", None) or "the name is none"
        raise InputError("picture", f"The picture cannot be written: {why}.", "Name another place.") from None
    except BaseException:
        _forget(beside)
        raise


def _forget(beside: Path) -> None:
    """Take away what was begun, where there is anything."""
    try:
        beside.unlink(missing_ok=True)
    except (OSError, ValueError):
        return
