"""The drawn window: its field is the forecast's, its lines lie at the limits, nothing is printed off the laser."""

import io
import math
import re

import numpy as np
import pytest
import vl_convert
from PIL import Image

import proofpatch as pp
from proofpatch.learn.evidence import Graded
from proofpatch.learn.forecast import FASTEST_HAND, PASSES, SLOWEST_HAND
from proofpatch.learn.limits import Limits
from proofpatch.phrases import chance_words
from proofpatch.pictures.drawing import FILE, MIDDLE, WIDE, slip_box, spread
from proofpatch.pictures.field import ASK, HELD, contour, field_of
from proofpatch.pictures.look import MARK, NARROW, PAPER, TEXT
from proofpatch.pictures.window import Plot, drawn, window_svg
from proofpatch.pictures.window_words import in_words, short

LIMITS = Limits()
SIZE = (14, 11)


@pytest.fixture(scope="module")
def belief(greasy_pan):
    return pp.prior(greasy_pan, "pulsed-500", draws=1024)


@pytest.fixture(scope="module")
def chosen(belief):
    window = pp.forecast(belief, LIMITS)
    return window.settings[window.best]


@pytest.fixture(scope="module")
def held(belief, chosen):
    return field_of(belief, LIMITS, chosen, size=SIZE)


@pytest.fixture(scope="module")
def best(belief, chosen):
    return field_of(belief, LIMITS, chosen, held=False, size=SIZE)


def settings_of(field, points):
    """The settings of points (row, column), as one would dial them."""
    return [
        field.setting.with_(
            average_power=float(field.up[j]), repetition_rate=float(field.across[i]),
            travel_speed=float(field.travel[j, i]), passes=int(field.passes[j, i]),
        )
        for j, i in points
    ]  # fmt: skip


@pytest.mark.parametrize(("name", "draws"), [("held", HELD), ("best", ASK)])
def test_the_field_is_the_forecasts(belief, name, draws, request):
    field = request.getfixturevalue(name)
    points = np.argwhere(field.inside)[::5]
    window = pp.forecast(belief, LIMITS, settings_of(field, points), draws=draws)
    assert window.p_clean == pytest.approx([field.p_clean[j, i] for j, i in points], abs=1e-9)
    assert window.p_harm == pytest.approx([field.p_harm[j, i] for j, i in points], abs=1e-9)
    assert [field.open[j, i] for j, i in points] == window.admissible.tolist()


def test_inside_is_what_the_laser_takes(belief, held):
    for (j, i), inside in np.ndenumerate(held.inside):
        setting = settings_of(held, [(j, i)])[0]
        try:
            belief.laser.check(setting)
        except pp.InputError:
            assert not inside, setting
        else:
            assert inside, setting


# The rule of `Window.best` over every hand there is to choose from, asked outright; the hand taken may fall short of it
# by what a look with few draws can miss.
def test_the_hand_taken_is_about_the_best_one(belief, best):
    hands = [(float(u), n) for u in np.geomspace(SLOWEST_HAND, FASTEST_HAND, 11) for n in PASSES]
    lost = []
    for j, i in np.argwhere(best.inside)[::9]:
        here = settings_of(best, [(j, i)])[0]
        every = pp.forecast(
            belief, LIMITS, [here, *(here.with_(travel_speed=u, passes=n) for u, n in hands)], draws=ASK
        )
        score = every.p_clean * (1 - every.p_harm)
        lost.append(score[every.best] - score[0] if not every.admissible.any() else 0.0)
    assert np.mean(lost) < 0.01
    assert max(lost) < 0.08


@pytest.mark.parametrize(("kind", "limit"), [("p_clean", LIMITS.p_clean), ("p_harm", LIMITS.p_harm)])
def test_a_limits_line_lies_between_points_on_both_sides_of_it(belief, held, kind, limit):
    z = np.log(getattr(held, kind) / (1 - getattr(held, kind)))
    line = max(contour(z, math.log(limit / (1 - limit))), key=len)
    assert len(line) > 4
    for x, y in line[:: max(len(line) // 8, 1)]:
        ends = [(math.floor(y), math.floor(x)), (math.ceil(y), math.ceil(x))]
        asked = getattr(pp.forecast(belief, LIMITS, settings_of(held, ends), draws=HELD), kind)
        assert min(asked) <= limit <= max(asked)


def test_a_line_around_a_hill_is_closed_and_a_saddle_is_cut_once():
    y, x = np.mgrid[-1:1:41j, -1:1:41j]
    (line,) = contour(-np.hypot(x, y), -0.6)
    assert line[0] == line[-1]
    assert np.hypot(*(np.array(line) / 20 - 1).T) == pytest.approx(0.6, abs=0.01)
    saddle = contour(
        np.array([[1.0, -1.0], [-1.0, 1.5]]), 0.0
    )  # its middle is above: the two corners below are cut off
    assert sorted(sorted(end for end in part) for part in saddle) == [
        [(0.0, 0.5), (0.4, 1.0)], [(0.5, 0.0), (1.0, 0.4)]
    ]  # fmt: skip


def test_nothing_is_printed_outside_what_the_laser_can_do(held):
    picture = window_svg(held, ink=FILE)
    picture = re.sub(r"<text.*?</text>", "", picture)
    picture = re.sub(rf'<path [^>]*stroke="{MARK}"[^>]*/>', "", picture)  # the cross goes on to the axis
    pixels = np.asarray(Image.open(io.BytesIO(vl_convert.svg_to_png(picture))).convert("L"), float)
    plot = Plot(held, 48, 34, WIDE - 56, 384)
    corners, cut = plot.edge()
    assert len(cut) == 2
    (x0, y0), (x1, y1) = sorted(cut)
    y, x = np.mgrid[34:418, 52:680]  # the axis itself left out
    outside = (y < y0 + (y1 - y0) / (x1 - x0) * (x - x0) - 5) & (x < x1)
    paper = int(np.asarray(Image.new("RGB", (1, 1), PAPER).convert("L"))[0, 0])
    drawn_there = pixels[34:418, 52:680]
    assert outside.sum() > 3000
    assert np.abs(drawn_there[outside] - paper).max() < 3
    assert np.mean(np.abs(drawn_there[~outside] - paper) > 50) > 0.1
    assert corners[0] != corners[-1]


def test_no_dot_where_harm_is_unlikely(belief, held):
    plot = Plot(held, 48, 34, WIDE - 56, 384)
    group = re.search(r'stroke-linecap="round">(.*?)</g>', window_svg(held))[1]
    # Each is counted from the one before.
    dots = np.concatenate([
        np.cumsum([(float(x), float(y)) for x, y in re.findall(r"m(-?\d+) (-?\d+)h0", d)], axis=0)
        for d in re.findall(r' d="([^"]*)"', group)
    ])  # fmt: skip
    assert len(dots) > 200
    _, p_harm, printed = plot.here(dots[:, 0], dots[:, 1])
    assert printed.all()
    assert p_harm.min() >= 0.01
    # Straight lines between the points of a coarse field, against the kernels at the dot itself.
    few = dots[:: len(dots) // 40]
    low, high = held.across[[0, -1]], held.up[[0, -1]]
    rates = low[0] * (low[1] / low[0]) ** ((few[:, 0] - plot.left) / plot.width)
    powers = high[0] * (high[1] / high[0]) ** (1 - (few[:, 1] - plot.top) / plot.height)
    asked = [
        held.setting.with_(average_power=float(p), repetition_rate=float(f)) for p, f in zip(powers, rates, strict=True)
    ]
    assert pp.forecast(belief, LIMITS, asked, draws=HELD).p_harm.min() > 0.004


def test_the_words_are_the_forecasts(belief, chosen, held):
    window = pp.forecast(belief, LIMITS, [chosen])
    p_clean, p_harm, _ = window.at(chosen)
    clean, harm = chance_words(p_clean), chance_words(p_harm)
    assert held.chosen == pytest.approx((p_clean, p_harm), abs=1e-9)
    assert f"clean {clean}, harm {harm}" in in_words(held, "recipe")
    assert f"clean {clean}, harm {harm}" in drawn(held, "recipe").wide.split("aria-label")[1]
    small = re.findall(r"<text[^>]*>([^<]*)</text>", window_svg(held, NARROW, "recipe"))
    assert "recipe" in small
    assert not any(f"clean {clean}," in one for one in small)  # its page says it, and the drawing has little room
    said = " ".join(re.findall(r"<text[^>]*>([^<]*)</text>", window_svg(held, MIDDLE, "recipe")))
    assert re.search(rf"recipe:? clean {clean}, harm {harm}", said)


def boxes_of(picture):
    """Slips that are not turned: (left, top, right, bottom)."""
    flat = re.sub(r'<g transform="translate.*?</g>', "", picture)
    found = re.findall(r'<rect x="(-?\d+)" y="(-?\d+)" width="(\d+)" height="(\d+)" fill="var\(--paper\)"/>', flat)
    return [(int(x), int(y), int(x) + int(w), int(y) + int(h)) for x, y, w, h in found]


@pytest.mark.parametrize("width", [WIDE, MIDDLE, NARROW])
def test_labels_keep_their_size_and_off_each_other(held, chosen, width):
    patches = [
        Graded(chosen.with_(average_power=chosen.average_power * k), residue, harm)
        for k, residue, harm in ((1, "clean", "none"), (1, "partial", "none"), (0.6, "trace", "tint"))
    ]
    picture = window_svg(held, width, "aim here first", patches)
    assert {int(size) for size in re.findall(r'font-size="(\d+)"', picture)} == {TEXT}
    assert "scale(" not in picture
    tall = re.search(rf'width="{width}" height="(\d+)" viewBox="0 0 {width} (\d+)"', picture)
    assert tall[1] == tall[2]
    assert len(re.findall('<rect[^>]*stroke-width="1.6"', picture)) == len(patches)
    slips = boxes_of(picture)
    assert slips
    plot = Plot(held, 48, 34, width - 56, {WIDE: 384, MIDDLE: 320, NARROW: 265}[width])
    glyphs = [tuple(map(float, one)) for one in re.findall(
        r'<rect x="([\d.]+)" y="([\d.]+)" width="20" height="20"[^>]*stroke-width="1.6"', picture)]  # fmt: skip
    drawn_lines = re.findall(r'<path d="([^"]+)" stroke="var\(--ink\)" stroke-width="2.4"', picture)
    contours = [tuple(map(float, one)) for d in drawn_lines for one in re.findall(r"([\d.]+) ([\d.]+)", d)]
    assert len(glyphs) == len(patches)
    assert contours
    names = re.findall(
        r'fill="var\(--paper\)"/><text[^>]*>([^<]*)<', re.sub(r'<g transform="translate.*?</g>', "", picture)
    )
    for (left, top, right, bottom), words in zip(slips, names, strict=True):
        assert not any(left < x + 20 and x < right and top < y + 20 and y < bottom for x, y in glyphs), words
        if not words.startswith(("clean", "harm", "both")):  # those name a line and may lie on it
            assert not any(left < x < right and top < y < bottom for x, y in contours), words
            x, y = np.meshgrid(np.arange(left, right, 3), np.arange(top, bottom, 3))
            assert not plot.bare(x, y).any(), words
    for n, one in enumerate(slips):
        assert 0 <= one[0] < one[2] <= width
        for other in slips[:n]:
            assert one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]


def test_what_is_nowhere_is_said(belief, chosen):
    impossible = field_of(belief, Limits(0.9999, 1e-9, 0.1), chosen, size=(6, 5))
    assert not impossible.open.any()
    caption = drawn(impossible, "likeliest so far").caption
    assert "Nowhere are both limits held." in caption
    assert "No point reaches clean over 99 in 100." in caption
    assert "Bare paper" not in caption


def test_other_knobs_can_be_the_axes(belief, chosen):
    field = field_of(belief, LIMITS, chosen, knobs=("travel_speed", "average_power"), size=(5, 4))
    assert field.across[[0, -1]] == pytest.approx([SLOWEST_HAND, FASTEST_HAND])
    here = chosen.with_(average_power=float(field.up[1]), travel_speed=float(field.across[2]))
    there = pp.forecast(belief, LIMITS, [here], draws=HELD)
    assert field.p_clean[1, 2] == pytest.approx(there.p_clean[0], abs=1e-9)
    assert "hand travel, mm/s" in window_svg(field)


@pytest.mark.parametrize(
    ("p", "said"), [(0.65, "65"), (0.008, "0.8"), (0.0001, "under 0.1"), (0.999, "over 99"), (0.0094, "0.9")]
)
def test_a_cell_of_the_table_is_a_count_of_100(p, said):
    assert short(p) == said


def test_a_slip_is_as_wide_as_its_words():
    left, top, right, bottom = slip_box(100.0, 50.0, ["harm 5 in 100", "recipe"], 1, FILE)
    assert right - left == pytest.approx(spread("harm 5 in 100", FILE, True) + 10)
    assert bottom - top == 40
