"""The drawn bench: every label there, two settings on one scale, the same bytes twice, whole or not at all."""

import io

import numpy as np
import pytest
import vl_convert
from PIL import Image

import proofpatch as pp
from proofpatch.bench import lay_out, ratios
from proofpatch.errors import InputError
from proofpatch.hazards import CAUTIONS
from proofpatch.pictures import bench as drawn
from proofpatch.pictures.bench import bench_spec, counted, dose_lines, heat_lines, pulse_lines, write_picture
from proofpatch.pictures.look import VEGA_LITE
from proofpatch.units import show

LASER = pp.laser("pulsed-500")
A = pp.Setting(300.0, 20e3, 200e-9, 0.45e-3, 0.04, 10.0, 0.15, 3)


@pytest.fixture(scope="module")
def sides(varnished_oak):
    belief = pp.prior(varnished_oak, LASER, draws=128)
    return lay_out([A, A.with_(travel_speed=0.12)], LASER.top_hat_share, LASER, belief)


def text_of(spec):
    """All words a specification shows, one space between any two."""
    if isinstance(spec, (dict, list)):
        parts = spec.values() if isinstance(spec, dict) else spec
        return " ".join(" ".join(text_of(v) for v in parts).split())
    return " ".join(spec.split()) if isinstance(spec, str) and not spec.startswith("data:") else ""


def test_every_part_and_caution_is_there(sides):
    words = text_of(bench_spec(sides))
    for part in ("Setting A", "Setting B", "One pulse", "How they overlap", "Where the dose falls",
                 "How hot a bare place gets", "What limits what"):  # fmt: skip
        assert part in words
    for caution in CAUTIONS:
        assert caution.split(".")[0] in words


def parts_named(spec, title):
    """Every chart with such a heading."""
    if isinstance(spec, list):
        return [found for entry in spec for found in parts_named(entry, title)]
    if not isinstance(spec, dict):
        return []
    if isinstance(spec.get("title"), dict) and "".join(spec["title"].get("text", "")).startswith(title):
        return [spec]
    return [found for entry in spec.values() for found in parts_named(entry, title)]


def domains(chart):
    return {
        tuple(layer["encoding"]["y"]["scale"]["domain"]) for layer in chart["layer"] if "y" in layer.get("encoding", {})
    }


def test_both_columns_share_their_scales(sides):
    for title in ("One pulse", "How hot"):
        charts = parts_named(bench_spec(sides), title)
        assert len(charts) == 2
        assert len(domains(charts[0]) | domains(charts[1])) == 1


def test_every_level_is_named_where_it_is_drawn(sides):
    said = text_of(bench_spec(sides))
    for words in ("oil varnish leaves", "oak marked", "clean from", "oak tints", "dark oak tints"):
        assert words in said, words
    level = sides[0].record["dose_to_tint_J_m2"]["p50"]
    assert f"oak tints {show(float(f'{level:.2g}'), 'fluence')}" in said


# Read without colour: every rule of harm is dashed, every one of the coating is not; doubt is dots or slanting lines.
def test_harm_is_told_from_coating_by_shape(sides):
    for lines in (pulse_lines(sides[0]), dose_lines(sides[0])):
        assert [line.harm for line in lines] == [False, True]
    chart = parts_named(bench_spec(sides[:1]), "One pulse")[0]
    rules = [layer for layer in chart["layer"] if layer["mark"]["type"] == "rule" and "x" not in layer["encoding"]]
    dashed = [layer["data"]["values"][0]["y"] for layer in rules if "strokeDash" in layer["mark"]]
    solid = [layer["data"]["values"][0]["y"] for layer in rules if "strokeDash" not in layer["mark"]]
    inside = [line for line in pulse_lines(sides[0]) if line.middle <= domains(chart).pop()[1]]
    assert dashed == [line.middle for line in inside if line.harm]
    assert solid == [line.middle for line in inside if not line.harm]


def test_every_ratio_stands_in_the_table(sides):
    said = text_of(bench_spec(sides))
    for ratio in ratios(*sides).values():
        assert "same" in said if abs(ratio - 1) < 0.005 else f"{ratio:.3g} ×" in said


# What is drawn ends before the paper does, on every side of every shape of sheet.
@pytest.mark.parametrize(("count", "narrow"), [(1, False), (2, False), (2, True)])
def test_nothing_is_cut_off(sides, tmp_path, monkeypatch, count, narrow):
    monkeypatch.setattr(drawn, "PNG_SCALE", 1.0)
    write_picture(sides[:count], tmp_path / "sheet.png", narrow)
    image = np.asarray(Image.open(tmp_path / "sheet.png").convert("L")).astype(int)
    paper = int(image[0, 0])
    for edge in (image[:, :4], image[:, -4:], image[:4], image[-4:]):
        assert np.all(np.abs(edge - paper) < 12)
    assert image.shape[1] <= (360 if narrow or count == 1 else 760)


def test_an_old_picture_stays_when_the_new_one_fails(sides, tmp_path, monkeypatch):
    file = tmp_path / "bench.svg"
    file.write_text("old")

    def full(_):
        raise OSError(28, "No space left on device")

    def stopped(_):
        raise KeyboardInterrupt

    for broken, raised in ((full, InputError), (stopped, KeyboardInterrupt)):
        monkeypatch.setattr("os.fsync", broken)
        with pytest.raises(raised):
            write_picture(sides[:1], file)
        assert file.read_text() == "old"
        assert list(tmp_path.iterdir()) == [file]


def test_a_band_that_marks_by_itself_is_said(varnished_oak):
    belief = pp.prior(varnished_oak, LASER, draws=64)
    sides = lay_out([A.with_(travel_speed=0.005)], LASER.top_hat_share, LASER, belief)
    assert "band alone marks dark bare oak" in text_of(bench_spec(sides))


def test_a_metal_has_its_melting_and_a_lasting_limit(tmp_path):
    belief = pp.prior(pp.Surface([pp.Layer("loose-rust")], "mild-steel"), LASER, draws=64)
    sides = lay_out([A.with_(pattern="sine")], LASER.top_hat_share, LASER, belief)
    assert [line.words.partition(" ")[0] for line in heat_lines(sides[0])] == ["harm", "melts"]
    said = text_of(bench_spec(sides))
    assert "melts" in said
    assert "harm if it lasts" in said


def test_settings_worlds_apart_are_drawn(varnished_oak, tmp_path):
    belief = pp.prior(varnished_oak, LASER, draws=32)
    faint = A.with_(average_power=0.02, repetition_rate=1e6, sweep_width=2e-3, sweep_speed=0.1, travel_speed=1e-3)
    strong = A.with_(repetition_rate=5e3, sweep_speed=50.0, travel_speed=0.5, passes=40, pattern="spiral")
    write_picture(lay_out([faint, strong], LASER.top_hat_share, LASER, belief), tmp_path / "far.svg")
    text = (tmp_path / "far.svg").read_text()
    assert "NaN" not in text
    assert "Infinity" not in text


def test_svg_and_png_are_written_and_repeat(sides, tmp_path):
    for name in ("a.svg", "b.svg", "a.png"):
        write_picture(sides[:1], tmp_path / name)
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()
    image = Image.open(io.BytesIO((tmp_path / "a.png").read_bytes()))
    assert 2 * 328 < image.width <= 2 * 360
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
