"""The renderer itself: what it says of a made photo is so."""

import ast
import dataclasses
import io
from pathlib import Path

import made_colour
import made_pair
import numpy as np
import pytest
from made_camera import BENCH, curve, developed
from made_photo import (
    BARE,
    LIES,
    SUBSTRATES,
    USUAL,
    Box,
    Camera,
    Light,
    Pose,
    Scene,
    Step,
    pair,
    photograph,
    scene,
    stand_in,
    surface,
    treated,
)
from made_scene import COARSE, Layer, cut_shadow, sheet_layer
from made_view import view
from PIL import Image, ImageOps
from scipy import ndimage

DOT = 12000.0  # pixels of a metre
PLAIN = {"full_well": 1e12, "read": 0.0, "quality": 98, "subsampling": 0, "defocus": 0.0}
FLAT = Light(vignette=0.0)
PARTS = {"camera", "coating", "colour", "pair", "patch", "photo", "scene", "texture", "view"}
NOTHING = Layer(np.zeros((2, 2, 3), dtype=np.float32), 1.0)


def rng(seed=0):
    return np.random.default_rng(seed)


def seen(photo):
    """The upright picture, 0 to 255."""
    return np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(photo.jpeg))).convert("RGB"), dtype=float)


def card(reflectance, scale=5000.0):
    """A sheet of given reflectance (H, W) on the bench."""
    linear = np.repeat(np.asarray(reflectance, dtype=np.float32)[..., None], 3, axis=2)
    size = (linear.shape[1] / scale, linear.shape[0] / scale)
    return Scene(size, sheet_layer(linear, scale), NOTHING)


def test_it_shares_nothing_with_what_it_judges():
    for part in PARTS:
        file = Path(made_pair.__file__).with_name(f"made_{part}.py")
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            names = [one.name for one in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            for name in names:
                assert name.split(".")[0] not in {"cv2", "skimage", "proofpatch"}, (file.name, name)


# IEC 61966-2-1: the two pieces of the curve meet at 0.0031308 and 0.04045; half is 0.73536 and 0.21404 (its equations).
@pytest.mark.parametrize(("linear", "value"), [(0, 0), (0.0031308, 0.04045), (0.5, 0.73536), (0.21404, 0.5), (1, 1)])
def test_the_curve_is_the_standards(linear, value):
    assert made_colour.encode(linear) == pytest.approx(value, abs=5e-5)
    assert made_colour.decode(value) == pytest.approx(linear, abs=5e-5)


# Red, green and blue of sRGB in CIELAB under D65, widely tabulated, to two digits (from memory, unverified).
@pytest.mark.parametrize(
    ("rgb", "lab"),
    [((1, 0, 0), (53.24, 80.09, 67.20)), ((0, 1, 0), (87.73, -86.18, 83.18)), ((0, 0, 1), (32.30, 79.19, -107.86))],
)
def test_lab_of_the_primaries(rgb, lab):
    assert made_colour.lab(rgb) == pytest.approx(np.array(lab), abs=0.03)
    assert made_colour.from_lab(made_colour.lab(rgb)) == pytest.approx(np.array(rgb), abs=1e-9)


@pytest.mark.parametrize("lie", LIES)
@pytest.mark.parametrize("left", [0.0, 0.07, 0.5, 1.0])
def test_what_is_left_is_what_was_asked(lie, left):
    patch = treated(surface("oak", "varnish", (180, 200), DOT, rng()), Step(left, lie, filled=0.3), rng(1))
    # Counted by hand: pixels of the area that hold film and are no pore.
    surface_open = patch.area & ~patch.pores
    assert np.count_nonzero(patch.left) == round(left * np.count_nonzero(surface_open))
    assert not (patch.left & ~surface_open).any()
    assert (patch.thickness[patch.left] > 0).all()
    assert (patch.thickness[surface_open & ~patch.left] == 0).all()
    assert patch.fraction == pytest.approx(left, abs=1e-3)
    assert patch.area[:20].sum() == 0  # untouched film around it


def test_every_substrate_and_film_can_be_told_apart_and_be_bared():
    assert set(USUAL) == set(SUBSTRATES)
    for substrate, films in USUAL.items():
        for coating in films:
            patch = treated(surface(substrate, coating, (100, 100), DOT, rng()), BARE, rng(1))
            assert patch.area.all()
            assert patch.fraction == 0
            assert patch.linear.min() >= 0
            assert patch.linear.max() <= 1
            assert patch.linear[patch.open].mean(axis=0) == pytest.approx(patch.clean, rel=1e-4)
            assert np.linalg.norm(made_colour.lab(patch.whole) - made_colour.lab(patch.clean)) > 5, (substrate, coating)


def test_pores_are_few_dark_and_apart():
    for substrate, low, high in (("oak", 0.02, 0.15), ("mahogany", 0.01, 0.1), ("paper", 0.0, 0.0)):
        patch = treated(surface(substrate, "soot", (300, 300), DOT, rng()), BARE, rng(1))
        assert low <= patch.pores.mean() <= high
        if patch.pores.any():
            assert patch.linear[patch.pores].mean() < 0.7 * patch.linear[patch.open].mean()


def test_untouched_film_has_no_fraction():
    patch = treated(surface("pine", "latex pale", (60, 60), DOT, rng()), None, rng(1))
    assert not patch.area.any()
    assert np.isnan(patch.fraction)
    assert patch.linear[~patch.pores].mean(axis=0) == pytest.approx(patch.whole, rel=1e-4)


def test_the_tint_is_what_was_asked():
    step = Step(0.0, darkening=6.0, yellowing=4.0)
    patch = treated(surface("oak", "latex white", (200, 200), DOT, rng()), step, rng(1))
    assert (patch.darkening, patch.yellowing) == pytest.approx((6, 4), abs=1e-3)
    assert patch.linear[patch.open].mean(axis=0) == pytest.approx(patch.tinted, rel=1e-4)


def test_heat_shows_where_it_is_said_to_be():
    step = Step(0.0, hot=0.6, burnt=5)
    patch = treated(surface("pine", "latex pale", (240, 240), DOT, rng()), step, rng(1))
    spared = patch.open & ~patch.hot & ~patch.burnt
    assert patch.hot.any()
    assert patch.burnt.any()
    assert not patch.hot[:, 100:140].any()
    for where in (patch.hot, patch.burnt):
        assert patch.linear[where & patch.open].mean() < 0.8 * patch.linear[spared].mean()


# A pinhole by hand, f = 0.75 · 4000 = 3000 px. Straight above at 0.4 m: 40 mm is 300 px. Leaned 30° toward the reader,
# a point 0.1 m nearer to him: 3000 · 0.1 cos 30° / (0.4 − 0.1 sin 30°) = 742.3 px down.
def test_the_pinhole_by_hand():
    camera = Camera((4000, 3000), barrel=0.0)
    centre = np.array((1999.5, 1499.5))
    above = view(Pose(0.4, aim=(0.1, 0.1)), camera, (0.2, 0.2))
    assert above.pixels((0.14, 0.1)) - centre == pytest.approx(np.array((300, 0)), abs=1e-6)
    leaned = view(Pose(0.4, 30, 90, aim=(0.1, 0.1)), camera, (0.2, 0.2))
    assert leaned.pixels((0.1, 0.2)) - centre == pytest.approx(np.array((0, 742.3)), abs=0.05)
    # Rolled clockwise, what was to the right stands above the middle.
    rolled = view(Pose(0.4, roll=90, aim=(0.1, 0.1)), camera, (0.2, 0.2))
    assert rolled.pixels((0.14, 0.1)) - centre == pytest.approx(np.array((0, -300)), abs=1e-6)
    # k = 0.02 at r = 0.1 (300 px): 0.1 is seen at r with r (1 + 0.02 r²) = 0.1, so r = 0.09998, 299.94 px.
    bent = view(Pose(0.4, aim=(0.1, 0.1)), Camera((4000, 3000), barrel=0.02), (0.2, 0.2))
    assert bent.pixels((0.14, 0.1))[0] - centre[0] == pytest.approx(299.94, abs=0.005)
    # Lifted by 10 mm in its middle, the sheet is 0.39 m away there: 3000 · 40 / 390 = 307.69 px.
    lifted = view(Pose(0.4, aim=(0.1, 0.1)), camera, (0.2, 0.2), 0.01)
    assert lifted.pixels((0.1, 0.14)) - centre == pytest.approx(np.array((0, 307.69)), abs=0.005)
    assert lifted.pixels((0.0, 0.14)) - centre == pytest.approx(np.array((-750, 300)), abs=1e-6)  # its end lies flat


@pytest.mark.parametrize("bulge", [0.0, 0.004, -0.003])
@pytest.mark.parametrize("pose", [Pose(0.2), Pose(0.35, 60, 200, 33), Pose(0.3, 40, 90, -170, (0.0, 0.12))])
def test_there_and_back(pose, bulge):
    points = np.stack(np.meshgrid(np.linspace(0, 0.19, 5), np.linspace(0, 0.14, 4)), axis=-1)
    way = view(pose, Camera(barrel=0.03), (0.19, 0.14), bulge)
    assert way.sheet(way.pixels(points)) == pytest.approx(points, abs=1e-9)


@pytest.mark.parametrize(
    ("pose", "defocus", "bulge"),
    [
        (Pose(0.12), 0.0, 0.0),
        (Pose(0.12, 40, 130, 20), 0.6, 0.0),
        (Pose(0.12, 20, 10), 4.0, 0.0),
        (Pose(0.12, 30), 0.6, 3e-3),
        (Pose(0.15, 60, 200, 33), 0.6, 0.0),
    ],
)
def test_dots_are_drawn_where_the_view_says(pose, defocus, bulge):
    scale, at = 6000.0, [(0.025, 0.02), (0.04, 0.03), (0.06, 0.042), (0.022, 0.042), (0.058, 0.018)]
    sheet = np.full((360, 480), 0.8)
    down, across = (np.indices(sheet.shape) + 0.5) / scale
    for x, y in at:
        sheet -= 0.7 * np.clip(0.5 + (0.6e-3 - np.hypot(across - x, down - y)) * scale, 0, 1)
    camera = Camera((1201, 899), barrel=0.03, **PLAIN | {"defocus": defocus})
    photo = photograph(dataclasses.replace(card(sheet, scale), bulge=bulge), pose, FLAT, camera, rng())
    picture = made_colour.decode(seen(photo)[..., 1] / 255)
    for want in photo.view.pixels(at):
        column, row = np.round(want).astype(int)
        near = picture[row - 18 : row + 19, column - 18 : column + 19]
        weight = np.clip(near.max() - near - 0.02, 0, None)
        found = np.array((column, row)) + [(weight.sum(axis=n) @ np.arange(-18, 19)) / weight.sum() for n in (0, 1)]
        assert found == pytest.approx(want, abs=0.05 + defocus / 100)


def test_every_orientation_stands_upright_again():
    sheet = np.full((60, 80), 0.5)
    sheet[:20, :30] = 0.05
    upright = None
    for n in range(1, 9):
        camera = Camera((320, 240), **PLAIN, orientation=n)
        photo = photograph(card(sheet, 1000.0), Pose(0.1), FLAT, camera, rng())
        raw = Image.open(io.BytesIO(photo.jpeg))
        assert raw.size == ((320, 240) if n < 5 else (240, 320))
        assert raw.getexif()[0x0112] == n
        upright = seen(photo) if n == 1 else upright
        assert np.abs(seen(photo) - upright).max() <= 6


def test_a_grey_card_keeps_its_ratios():
    levels = np.array((0.05, 0.1, 0.2, 0.4, 0.8))
    sheet = np.repeat(np.repeat(levels[None], 100, axis=0), 40, axis=1)
    camera = Camera((800, 600), barrel=0.0, **PLAIN)
    photo = photograph(card(sheet, 2000.0), Pose(0.12), FLAT, camera, rng())
    picture = made_colour.decode(seen(photo) / 255)
    middles = photo.view.pixels([((n + 0.5) * 0.02, 0.025) for n in range(5)]).astype(int)
    found = np.array([picture[v - 10 : v + 10, u - 10 : u + 10].mean() for u, v in middles])
    assert found / found[4] == pytest.approx(levels / levels[4], rel=0.015)
    # The best lit paper, 0.86, comes to 0.72: so does 0.8 in proportion.
    assert found[4] == pytest.approx(0.72 * 0.8 / 0.86, rel=0.01)


def test_light_falls_off_as_asked():
    light = Light(0.7, toward=0, vignette=0.0, cast=(1.0, 0.8, 0.5))
    photo = photograph(card(np.full((100, 200), 0.8), 1000.0), Pose(0.3), light, Camera((800, 600), **PLAIN), rng())
    picture = made_colour.decode(seen(photo) / 255)
    ends = [picture[v - 3 : v + 4, u - 3 : u + 4].mean(axis=(0, 1)) for u, v in
            photo.view.pixels([(0.02, 0.05), (0.18, 0.05)]).astype(int)]  # fmt: skip
    assert ends[1] / ends[0] == pytest.approx(np.full(3, 0.3**0.8), rel=0.03)  # 80 % of the way from 1 to 0.3
    assert ends[0] / ends[0][0] == pytest.approx(np.array((1.0, 0.8, 0.5)), rel=0.03)


def test_glare_clips_and_says_so():
    sheet = card(np.full((100, 200), 0.8), 1000.0)
    plain, bright = (
        photograph(sheet, Pose(0.25), Light(glare=one, glare_at=(0.1, 0.05)), Camera((640, 480)), rng())
        for one in (0, 2.0)
    )
    assert not plain.clipped.any()
    u, v = bright.view.pixels((0.1, 0.05)).astype(int) // 8
    assert bright.clipped[v, u]


# Light comes in quanta: σ² = s/N + (r/N)², N electrons at 1 and r of them read.
@pytest.mark.parametrize("level", [0.05, 0.3])
def test_noise_is_that_of_counted_light(level):
    camera = Camera(full_well=500.0, read=5.0)
    grey, ones = np.full((300, 400, 3), level, dtype=np.float32), np.ones((300, 400), dtype=np.float32)
    picture = developed(grey, ones, 0 * ones, (1.0, 1.0, 1.0), camera, 1.0, rng())
    spread = made_colour.decode(picture / 255).std()
    assert spread == pytest.approx(np.sqrt(level / 500 + (5 / 500) ** 2), rel=0.03)


@pytest.fixture(scope="module")
def laid():
    boxes = {"a": Box(0.025, 0.03, 0.015, 0.015), "b": Box(0.045, 0.03, 0.015, 0.015)}
    raster = stand_in((0.09, 0.07), boxes)
    return scene(raster, (0.09, 0.07), boxes, {"a": Step(0.4), "b": BARE}, rng(4), "pine", "alkyd black", beyond=0.03)


def test_windows_show_their_patches(laid):
    photo = photograph(laid, Pose(0.09, 15, 40), FLAT, Camera((1600, 1200), **PLAIN), rng())
    picture = made_colour.decode(seen(photo) / 255)
    for name, patch in laid.patches.items():
        box = laid.boxes[name]
        rows, columns = np.indices(patch.area.shape) + 0.5
        points = np.stack([box.left + columns / patch.scale, box.top + rows / patch.scale], axis=-1)
        u, v = np.moveaxis(photo.view.pixels(points), -1, 0)
        got = np.stack([ndimage.map_coordinates(picture[..., n], [v, u], order=1) for n in range(3)], axis=-1)
        inner = (slice(20, -20), slice(20, -20))
        ratio = got[inner].mean(axis=(0, 1)) / patch.linear[inner].mean(axis=(0, 1))
        assert ratio == pytest.approx(np.full(3, 0.72 / 0.86), rel=0.02)
        assert np.corrcoef(got[inner].ravel(), patch.linear[inner].ravel())[0, 1] > (0.97 if name == "a" else 0.8)


def test_paper_throws_its_shadow_on_the_lamps_side():
    shade = cut_shadow((100, 100), DOT, 180.0)  # lamp at the left
    assert shade[50, 0] < 0.6
    assert shade[50, 40] == 1
    assert shade[50, -1] == 1


def test_the_tone_curve_rises_and_keeps_its_ends():
    for strength in (0.0, 0.5, 0.9):
        table = curve(strength).astype(int)
        assert (table[0], table[-1]) == (0, 255)
        assert (np.diff(table) >= 0).all()
    assert curve(0.5)[3000] < curve(0.0)[3000]  # darks darker
    assert curve(0.5)[25000] > curve(0.0)[25000]  # lights lighter


def test_blur_and_smear_spread_an_edge():
    sheet = np.full((60, 80), 0.1)
    sheet[:, 40:] = 0.8
    widths = []
    for change in ({}, {"defocus": 2.0}, {"defocus": 5.0}, {"motion": 12.0}, {"motion": 12.0, "motion_toward": 90.0}):
        camera = Camera((640, 480), **PLAIN | change)
        picture = made_colour.decode(
            seen(photograph(card(sheet, 1000.0), Pose(0.1), FLAT, camera, rng()))[240, :, 1] / 255
        )
        share = (picture[280:360] - picture[285]) / (picture[355] - picture[285])
        steps = np.clip(np.diff(share), 0, None)
        middle = steps @ np.arange(79) / steps.sum()
        widths.append(np.sqrt(steps @ (np.arange(79) - middle) ** 2 / steps.sum()))
    sharp, *rest = widths
    # Spreads add by their squares; a smear of length n has one of n / √12.
    expected = [np.hypot(sharp, one) for one in (2.0, 5.0, 12 / np.sqrt(12), 0.0)]
    assert rest == pytest.approx(expected, rel=0.1, abs=0.1)


def test_the_same_seed_gives_the_same_bytes(laid):
    shots = [photograph(laid, Pose(0.15, 30), Light(0.3), Camera((640, 480)), rng(n)).jpeg for n in (1, 1, 2)]
    assert shots[0] == shots[1] != shots[2]
    assert Image.open(io.BytesIO(shots[0])).size == (640, 480)
    one, two = (treated(surface("oak", "soot", (50, 50), DOT, rng(7)), Step(0.3), rng(8)).linear for _ in range(2))
    assert (one == two).all()


@pytest.mark.parametrize("framed", [False, True])
def test_a_pair_shows_one_place(framed):
    window = Box(0.025, 0.026, 0.05, 0.035)
    frame = (stand_in((0.1, 0.08), {"a": window}), (0.1, 0.08), window) if framed else None
    cameras = (Camera((1000, 750), **PLAIN),) * 2
    poses = (Pose(0.12, 10, 30), Pose(0.13, 25, 200, 15))
    two = pair(
        (0.07, 0.05), rng(5), "mahogany", "rust", Step(0.0), 0.15, poses=poses, cameras=cameras, lights=(FLAT, FLAT),
        frame=frame, shift=(0.002, -0.001, 4.0),
    )  # fmt: skip
    assert two.cleaned == pytest.approx(0.15 * 0.07 * 0.05, rel=1e-3)
    scale, (rows, columns) = two.patch.scale, np.indices(two.patch.area.shape)
    within = (abs(rows / scale - 0.025) < 0.012) & (abs(columns / scale - 0.035) < 0.018)
    untouched = within & ~ndimage.binary_dilation(two.patch.area, iterations=8)
    points = (np.argwhere(untouched)[::7, ::-1] + 0.5) / scale

    def light(which, points):
        u, v = two.pixels(which, points).T
        return ndimage.map_coordinates(seen((two.before, two.after)[which])[..., 0], [v, u], order=1)

    right = np.corrcoef(light(0, points), light(1, points))[0, 1]
    wrong = np.corrcoef(light(0, points), light(1, points + np.array((1.5e-3, 0))))[0, 1]
    assert right > 0.9
    assert wrong < right - 0.1
    cleaned = (np.argwhere(ndimage.binary_erosion(two.patch.area & within, iterations=8))[::7, ::-1] + 0.5) / scale
    assert np.abs(light(1, cleaned) - light(0, cleaned)).mean() > 3 * np.abs(light(1, points) - light(0, points)).mean()


def test_beyond_the_piece_lies_the_bench(laid):
    assert laid.behind.scale == COARSE
    photo = photograph(laid, Pose(0.4), FLAT, Camera((400, 300), **PLAIN), rng())
    corner = made_colour.decode(seen(photo)[2:6, 2:6] / 255).mean(axis=(0, 1))
    assert corner == pytest.approx(BENCH * 0.72 / 0.86, rel=0.05)
