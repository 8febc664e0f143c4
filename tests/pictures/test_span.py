"""A dimension line of a row."""

import re

from proofpatch.pictures.span import EDGE, WIDE, span_svg


def test_a_line_stands_to_scale_between_the_ends_of_its_axis():
    picture = span_svg(0.9, 0.85, 1.0, 0.8, 1.0)
    disc = float(re.search(r'cx="([\d.]+)"', picture)[1])
    low, high = (float(x) for x in re.search(r'd="M([\d.]+) 10.0H([\d.]+)"', picture).groups())
    assert (disc, high) == (WIDE / 2, WIDE - EDGE)
    assert abs((disc - low) / (high - low) - 1 / 3) < 1e-3
