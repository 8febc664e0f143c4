"""The dose drawing: ink is dose, on one scale for all settings, and nothing in it breaks the pages' own rules."""

import base64
import io
import re

import numpy as np
import pytest
from PIL import Image

import proofpatch as pp
from proofpatch.bench import lay_out
from proofpatch.pictures.dose import dose_drawings

LASER = pp.laser("pulsed-500")
A = pp.Setting(300.0, 20e3, 200e-9, 0.45e-3, 0.04, 10.0, 0.05)


def drawn(*settings, belief=None):
    return dose_drawings(lay_out(settings, LASER.top_hat_share, LASER, belief, courses=False))


def ink(drawing):
    """The mask as an array."""
    found = re.search(r"base64,([^\"]+)\"", drawing.svg)[1]
    return np.asarray(Image.open(io.BytesIO(base64.b64decode(found)))).astype(float)


def test_half_the_dose_is_half_the_ink_and_half_as_high():
    full, half = drawn(A, A.with_(average_power=150.0))
    assert ink(half).mean() == pytest.approx(ink(full).mean() / 2, rel=0.02)
    tall = []
    for one in (full, half):
        y = [float(pair.split(",")[1]) for pair in re.search(r'points="([^"]+)" fill="none"', one.svg)[1].split()]
        tall.append(max(y) - min(y))
    assert tall[1] == pytest.approx(tall[0] / 2, rel=0.02)


def test_half_the_sweep_is_half_as_wide():
    wide, narrow = (ink(one).shape[1] for one in drawn(A, A.with_(sweep_width=0.02)))
    spot = 4 * A.spot_radius
    assert narrow / wide == pytest.approx((0.02 + spot) / (0.04 + spot), rel=0.02)


def test_a_hot_edge_is_darker_and_named():
    (one,) = drawn(A.with_(pattern="sine"))
    columns = ink(one).mean(axis=0)
    assert columns[:20].max() > 4 * columns[columns.size // 2 - 10 : columns.size // 2 + 10].mean()
    assert re.search(r">edge [\d.]+ J/cm²<", one.svg)


def test_the_levels_of_a_surface_are_dashed_for_harm(oak_belief):
    one = drawn(A, belief=oak_belief)[0]
    said = one.svg + " ".join(one.notes)
    assert "clean from" in said
    assert "oak tints" in said
    assert one.svg.count("stroke-dasharray") == len(re.findall(">oak tints [^<]+<", one.svg))


def test_no_inline_style_and_no_colour_but_the_pages(oak_belief):
    for one in drawn(A, A.with_(pattern="sine"), belief=oak_belief):
        assert "style" not in one.svg
        assert set(re.findall(r'(?:fill|stroke)="([^"]+)"', one.svg)) <= {
            "none", "var(--ink, #1A1C20)", "var(--paper, #F7F4EC)",
        }  # fmt: skip
