"""The bench drawn: for one or two settings side by side pulse, overlap, dose map and heat, with words."""

from __future__ import annotations

import base64
import io
import os
import re
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from proofpatch.bench import Side
from proofpatch.errors import InputError
from proofpatch.hazards import CAUTIONS
from proofpatch.pictures.look import HAIR, INK, MARK, NARROW, PAPER, SOFT, SPEAKS, VEGA_LITE, config
from proofpatch.units import show

Spec = dict[str, Any]
ENDINGS = (".svg", ".png")
PNG_SCALE = 2.0
WORDS = 52  # characters on a line of NARROW
INK_RGB = (0x1A, 0x1C, 0x20)
ROOM_C = 20.0
HEAT_CAPTION = "face over time, one pass up to the hottest moment, then left to cool; by the layered solver"


def _label(x: Any, y: Any, words: str, **more: Any) -> Spec:
    """A direct label at data coordinates."""
    mark = {"type": "text", "align": "left", "baseline": "bottom", "dx": 4, "dy": -3} | more
    return {
        "data": {"values": [{"x": x, "y": y}]},
        "mark": mark | {"text": words},
        "encoding": {"x": {"field": "x", "type": "quantitative"}, "y": {"field": "y", "type": "quantitative"}},
    }


def _axis(title: str, **more: Any) -> Spec:
    return {"title": title} | more


def _framed(title: str, subtitle: str, height: int, layers: list[Spec]) -> Spec:
    return {
        "title": {"text": title, "subtitle": textwrap.wrap(subtitle, WORDS)},
        "width": NARROW - 60, "height": height, "layer": layers,
    }  # fmt: skip


def _curve(x: Any, y: Any, x_axis: Spec, y_axis: Spec, x_scale: Spec | None = None, y_top: float | None = None) -> Spec:
    values = [{"x": float(a), "y": float(b)} for a, b in zip(x, y, strict=True)]
    return {
        "data": {"values": values},
        "mark": {"type": "line", "clip": True},
        "encoding": {
            "x": {"field": "x", "type": "quantitative", "axis": x_axis, "scale": x_scale or {"nice": False}},
            "y": {
                "field": "y", "type": "quantitative", "axis": y_axis,
                "scale": {"domainMin": 0} | ({"domainMax": y_top} if y_top else {}),
            },
        },
    }  # fmt: skip


def pulse(side: Side, top: float) -> Spec:
    """Fluence of one pulse across the spot, both sides of its middle."""
    x = np.concatenate([-side.radius[::-1], side.radius[1:]]) * 1e3
    y = np.concatenate([side.fluence[::-1], side.fluence[1:]]) / 1e4
    peak, mean = side.record["peak_fluence_J_m2"], side.record["mean_fluence_J_m2"]
    layers = [
        _curve(x, y, _axis("across the spot, mm"), _axis("J/cm²"), y_top=top / 1e4 * 1.15),
        _label(float(x[0]), mean / 1e4, f"mean {show(mean, 'fluence')}", dx=2),
        {
            "data": {"values": [{"y": mean / 1e4}]},
            "mark": {"type": "rule", "strokeDash": [4, 3]},
            "encoding": {"y": {"field": "y", "type": "quantitative"}},
        },
        _label(0.0, peak / 1e4, f"{show(peak, 'fluence')} in the middle", align="center", dx=0),
    ]
    words = f"{show(side.record['pulse_energy_J'], 'energy')}, {show(side.setting.pulse_width, 'time')}"
    return _framed("One pulse", f"{words}, spot {show(2 * side.setting.spot_radius, 'length')} across", 120, layers)


def overlap(side: Side) -> Spec:
    """Spots of neighbouring pulses and lines, to scale."""
    w = side.setting.spot_radius
    pitch, line = side.record["pulse_pitch_m"], side.record["line_pitch_m"]
    width, height = NARROW - 60, 150
    span = max(6 * w, 2.4 * line)  # m over the height
    scale = height / span
    across = width / scale
    lines = (-1, 0, 1)
    spots = []
    for j in lines:
        count = int((across / 2 + w) / pitch) + 1
        step = max(1, round(w / 3 / pitch))
        for i in range(-count, count + 1, step):
            spots.append({"x": (i + 0.37 * (j % 3)) * pitch * 1e3, "y": j * line * 1e3})
    size = np.pi * (w * scale) ** 2
    half_x, half_y = across / 2 * 1e3, span / 2 * 1e3
    layer = {
        "data": {"values": spots},
        "mark": {"type": "point", "shape": "circle", "size": size, "stroke": INK, "strokeWidth": 0.7, "filled": False,
                 "opacity": 0.55, "clip": True},
        "encoding": {
            "x": {"field": "x", "type": "quantitative", "axis": _axis("along the line, mm"),
                  "scale": {"domain": [-half_x, half_x], "nice": False}},
            "y": {"field": "y", "type": "quantitative", "axis": _axis("hand, mm"),
                  "scale": {"domain": [-half_y, half_y], "nice": False}},
        },
    }  # fmt: skip
    words = f"pulses {show(pitch, 'length')} apart, lines {show(line, 'length')} apart, to scale"
    if w / 3 / pitch >= 1.5:
        words += f"; every {round(w / 3 / pitch)}th pulse drawn"
    return _framed("How they overlap", words, height, [layer])


def dose(side: Side, top: float, shared: bool) -> Spec:
    """The dose map over its profile; `top` is the darkest dose, the same for both settings where two are shown."""
    rows, columns = side.map.shape
    alpha = np.clip(side.map[::-1] / top, 0, 1) * 235
    picture = np.empty((rows, columns, 4), dtype=np.uint8)
    picture[..., :3] = INK_RGB
    picture[..., 3] = alpha
    image = Image.fromarray(picture, "RGBA")
    width = NARROW - 60
    height = int(np.clip(width * rows / columns, 40, 170))
    image = image.resize((2 * width, 2 * height), Image.Resampling.BOX)
    buffer = io.BytesIO()
    image.save(buffer, "PNG", optimize=False)
    uri = "data:image/png;base64," + base64.b64encode(buffer.getvalue()).decode()
    travelled = side.grid.pixel * rows
    map_chart = {
        "title": {
            "text": "Where the dose falls",
            "subtitle": textwrap.wrap(
                f"one pass, {show(travelled, 'length')} of hand travel; more ink is more dose"
                + (", the same ink in A and B" if shared else ""),
                WORDS - 4,
            ),
            "dx": -51,
        },
        "width": width, "height": height,
        "data": {"values": [{"url": uri}]},
        "mark": {"type": "image", "width": width, "height": height, "aspect": False},
        "encoding": {"url": {"field": "url", "type": "nominal"}, "x": {"value": width / 2}, "y": {"value": height / 2}},
    }  # fmt: skip
    edge, mid = side.record["dose_edge_J_m2"], side.record["dose_middle_J_m2"]
    x = side.across * 1e3
    layers = [
        _curve(x, side.profile / 1e4, _axis("along the line, mm"), _axis("J/cm²"), y_top=top / 1e4 * 1.25),
        _label(0.0, mid / 1e4, f"{show(mid, 'fluence')} in the middle", align="center", dx=0),
    ]
    if edge > 1.3 * mid:
        at = int(np.argmax(np.where(np.abs(x) >= 250 * side.setting.sweep_width, side.profile, 0)))
        layers.append(
            _label(float(x[at]), edge / 1e4, f"edge {show(edge, 'fluence')}", align="left" if x[at] < 0 else "right",
                   dx=6 if x[at] < 0 else -6, dy=10, baseline="top")
        )  # fmt: skip
    profile = {"width": width, "height": 90, "layer": layers}
    return {"vconcat": [map_chart, profile], "spacing": 6}


def heat(side: Side, top: float) -> Spec | None:
    """Face over time and hottest over depth at a bare place; None without a surface."""
    if not side.seconds.size:
        return None
    celsius, peak = side.face + ROOM_C, float(side.face.max()) + ROOM_C
    t, y = side.seconds * 1e3, celsius
    when = int(np.argmax(y))
    right = bool(t[when] > 0.6 * t[-1])
    over_time = [
        _curve(t, y, _axis("since the first pulse, ms"), _axis("°C"), y_top=(top + ROOM_C) * 1.2),
        _label(
            float(t[when]), float(y[when]), f"{peak:.0f} °C", align="right" if right else "left", dx=-5 if right else 5
        ),
    ]
    deep = side.hottest > max(0.05 * float(side.hottest.max()), 1.0)
    last = max(int(np.flatnonzero(deep)[-1]) if deep.any() else 1, 3)
    over_depth = [
        _curve(
            side.depth[: last + 1] * 1e3, side.hottest[: last + 1] + ROOM_C, _axis("below the face, mm", format="~g"),
            _axis("hottest, °C"), y_top=(top + ROOM_C) * 1.2,
        )
    ]  # fmt: skip
    return {
        "vconcat": [
            _framed("How hot a bare place gets", HEAT_CAPTION, 110, over_time),
            {"width": NARROW - 60, "height": 90, "layer": over_depth},
        ],
        "spacing": 10,
    }


def _words(
    lines: Sequence[str], size: int = 12, colour: str = INK, weight: str = "normal", width: int = NARROW
) -> Spec:
    """Lines of text as a chart of its own."""
    wrapped = [part for line in lines for part in _wrapped(line, WORDS * 12 // size * width // NARROW)]
    step = round(size * 1.45)
    return {
        "width": width - 60, "height": max(step * len(wrapped), step),
        "data": {"values": [{"n": n, "words": words} for n, words in enumerate(wrapped)]},
        "mark": {"type": "text", "align": "left", "baseline": "top", "fontSize": size, "fill": colour,
                 "fontWeight": weight, "font": SPEAKS if weight != "normal" else config()["font"]},
        "encoding": {
            "text": {"field": "words", "type": "nominal"}, "x": {"value": -51},
            "y": {"field": "n", "type": "quantitative", "axis": None,
                  "scale": {"domain": [0, max(len(wrapped), 1)], "reverse": True}},
        },
    }  # fmt: skip


def _wrapped(line: str, width: int) -> list[str]:
    """A line cut to pieces, never between a figure and its unit."""
    kept = re.sub(r"(?<=[0-9]) (?=[a-zA-Zµ%°])", "\u00a0", line)
    return textwrap.wrap(kept, width, break_long_words=False)


def counted(p: float) -> str:
    """A chance as a count that never rounds to certainty."""
    if p < 0.001:
        return "under 0.1 in 100"
    if p > 0.999:
        return "over 99.9 in 100"
    return f"{100 * p:.2g} in 100" if p < 0.1 else f"{100 * p:.0f} in 100"


def dialled(side: Side) -> list[str]:
    """What is dialled in, in words."""
    s = side.setting
    passes = "one pass" if s.passes == 1 else f"{s.passes} passes"
    return [
        f"{show(s.average_power, 'power')}, {show(s.repetition_rate, 'frequency')}, {show(s.pulse_width, 'time')}; "
        f"sweep {show(s.sweep_width, 'length')}{'' if s.pattern == 'line' else f' ({s.pattern})'} at "
        f"{show(s.sweep_speed, 'speed')}, "
        f"hand {show(s.travel_speed, 'speed')}, {passes}; {show(side.record['area_rate_m2_s'], 'area rate')}, beam on."
    ]  # fmt: skip


def bench_spec(sides: Sequence[Side]) -> Spec:
    """The whole sheet: a column for each setting on shared scales, the cautions below."""
    peak = max(float(side.fluence.max()) for side in sides)
    dark = max(float(np.percentile(side.map, 99.5)) for side in sides)
    highest = max(float(side.profile.max()) for side in sides)
    hot = max((float(side.face.max()) for side in sides if side.face.size), default=1.0)
    columns = []
    for name, side in zip("AB", sides, strict=False):
        head = f"Setting {name}" if len(sides) > 1 else "This setting"
        drawn = heat(side, hot)
        said = list(side.limits) or ["No surface was named: no temperatures and no chances. Add one to see them."]
        if side.limits:
            r = side.record
            said.insert(0, f"Clean {counted(r['p_clean'])}, harm {counted(r['p_harm'])}.")
        parts = [
            _words([head], 20, MARK, "600"), _words(dialled(side)), pulse(side, peak), overlap(side),
            dose(side, max(dark, highest), len(sides) > 1), *([drawn] if drawn else []),
            _words(["What limits what"], 16, INK, "600"), _words(said),
        ]  # fmt: skip
        columns.append({"vconcat": parts, "spacing": 22})
    page: Spec = {"hconcat": columns, "spacing": 44} if len(columns) > 1 else columns[0]
    foot = _words(list(CAUTIONS), 11, SOFT, width=NARROW if len(columns) == 1 else 2 * NARROW + 32)
    return {
        "$schema": "https://vega.github.io/schema/vega-lite/v6.json",
        "padding": {"left": 16, "right": 16, "top": 16, "bottom": 16},
        "config": config() | {"axisY": {"gridColor": HAIR, "minExtent": 34, "maxExtent": 34}},
        "vconcat": [page, foot], "spacing": 24, "background": PAPER,
    }  # fmt: skip


def _renumbered(svg: str) -> str:
    """The same drawing with its clip paths counted from 1: the renderer goes on counting from picture to picture."""
    order = {name: f"clip{n}" for n, name in enumerate(dict.fromkeys(re.findall(r"clip\d+", svg)), 1)}
    return re.sub(r"clip\d+", lambda found: order[found[0]], svg)


def write_picture(sides: Sequence[Side], path: str | Path) -> None:
    """Draw the bench into an SVG or PNG file, whole or not at all.

    Raises:
        InputError: another ending, or a place that cannot be written.
    """
    import vl_convert

    path = Path(path)
    if path.suffix.lower() not in ENDINGS:
        raise InputError(
            "picture", f"A picture {path.name[:40]!r} cannot be written.", f"End it in {' or '.join(ENDINGS)}."
        )
    spec = bench_spec(sides)
    if path.suffix.lower() == ".svg":
        content = _renumbered(vl_convert.vegalite_to_svg(spec, vl_version=VEGA_LITE)).encode()
    else:
        content = vl_convert.vegalite_to_png(spec, vl_version=VEGA_LITE, scale=PNG_SCALE)
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        beside.write_bytes(content)
        os.replace(beside, path)
    except OSError as trouble:
        beside.unlink(missing_ok=True)
        raise InputError(
            "picture", f"The picture cannot be written: {trouble.strerror}.", "Name another place."
        ) from None
