"""The drawn bench: every label there, two settings on one scale, the same bytes twice, whole or not at all."""

import io

import pytest
import vl_convert
from PIL import Image

import proofpatch as pp
from proofpatch.bench import lay_out
from proofpatch.errors import InputError
from proofpatch.hazards import CAUTIONS
from proofpatch.pictures.bench import bench_spec, counted, write_picture
from proofpatch.pictures.look import VEGA_LITE

LASER = pp.laser("pulsed-500")
A = pp.Setting(300.0, 20e3, 200e-9, 0.45e-3, 0.04, 10.0, 0.05, 3)


@pytest.fixture(scope="module")
def sides(varnished_oak):
    belief = pp.prior(varnished_oak, LASER, draws=128)
    return lay_out([A, A.with_(travel_speed=0.03)], LASER.top_hat_share, LASER, belief)


def text_of(spec):
    """All words a specification shows."""
    if isinstance(spec, dict):
        return " ".join(text_of(v) for v in spec.values())
    if isinstance(spec, list):
        return " ".join(text_of(v) for v in spec)
    return spec if isinstance(spec, str) and not spec.startswith("data:") else ""


def test_every_part_and_caution_is_there(sides):
    words = text_of(bench_spec(sides)).replace("\u00a0", " ")
    for part in ("Setting A", "Setting B", "One pulse", "How they overlap", "Where the dose falls",
                 "How hot a bare place gets", "What limits what"):  # fmt: skip
        assert part in words
    for caution in CAUTIONS:
        assert caution.split(".")[0] in words


def test_both_columns_share_their_scales(sides):
    spec = bench_spec(sides)
    tops = []
    for column in spec["vconcat"][0]["hconcat"]:
        pulse = next(part for part in column["vconcat"] if part.get("title", {}).get("text") == "One pulse")
        tops.append(pulse["layer"][0]["encoding"]["y"]["scale"]["domainMax"])
    assert tops[0] == tops[1]


def test_svg_and_png_are_written_and_repeat(sides, tmp_path):
    for name in ("a.svg", "b.svg", "a.png"):
        write_picture(sides, tmp_path / name)
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()
    image = Image.open(io.BytesIO((tmp_path / "a.png").read_bytes()))
    assert 2 * 620 < image.width < 2 * 800
    assert image.height > image.width


def test_one_setting_without_a_surface_fits_a_phone():
    sides = lay_out([A], LASER.top_hat_share, LASER)
    svg = vl_convert.vegalite_to_svg(bench_spec(sides), vl_version=VEGA_LITE)
    assert "No surface was named" in svg
    assert float(svg.split('width="')[1].split('"')[0]) <= 375


def test_refuses_what_it_cannot_write(sides, tmp_path):
    with pytest.raises(InputError):
        write_picture(sides, tmp_path / "bench.pdf")
    with pytest.raises(InputError):
        write_picture(sides, tmp_path / "nowhere" / "bench.svg")


def test_chances_never_round_to_certainty():
    assert counted(0.0) == "under 0.1 in 100"
    assert counted(1.0) == "over 99.9 in 100"
    assert counted(0.28) == "28 in 100"
