"""The printed frame: true to scale, its words to be read by eye and machine, its markers those of the family."""

import io

import cv2
import numpy as np
import pytest
from made_sheet import drawn_boxes, steps, words
from pypdf import PdfReader

from proofpatch.documents.sheet import DUST, HAIRLINE, STOP, frame_for, modules, sheet_pdf
from proofpatch.errors import InputError
from proofpatch.photos.frame import LAYOUTS, MM, MODULES, PAPERS, PLACES, RULER
from proofpatch.units import show


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("count", [1, 4, 12])
def test_two_pages_of_the_paper_say_all(paper, count):
    laid = steps(count)
    pdf = sheet_pdf(laid, "B", "Chest <b>#set page()", "7QK2", paper)
    pages = PdfReader(io.BytesIO(pdf)).pages
    assert len(pages) == 2
    for page in pages:
        # PDF 32000-1, 14.11.2: the media box is in points of 1/72 in.
        across, down = (float(side) / 72 * 0.0254 for side in page.mediabox[2:])
        assert (across, down) == pytest.approx(PAPERS[paper], abs=0.01 * MM)
    front, back = (" ".join(page.extract_text().split()) for page in pages)
    for said in (front, back):
        assert STOP in said
        assert "Chest <b>#set page()" in said
        assert "7QK2" in said
    assert "this line is 100 mm" in front
    assert "untouched coating" in front
    for name, setting in laid:
        assert name in front
        assert name in back
        assert show(setting["average_power_W"], "power") in front
        assert show(setting["average_power_W"], "power") in back
    assert all(line in back for line in DUST)
    assert show(laid[0][1]["pulse_width_s"], "time") in back


def test_it_is_tagged_and_names_its_language():
    pdf = PdfReader(io.BytesIO(sheet_pdf(steps(5), "A", "Gate", "7QK2")))
    assert pdf.trailer["/Root"]["/MarkInfo"]["/Marked"]
    assert "/StructTreeRoot" in pdf.trailer["/Root"]
    assert pdf.trailer["/Root"]["/Lang"].startswith("en")


@pytest.mark.parametrize("paper", PAPERS)
def test_every_black_box_of_the_file_stands_where_the_frame_says(paper):
    laid = steps(6)
    found = frame_for(laid, paper)
    boxes = drawn_boxes(sheet_pdf(laid, "A", "Gate", "7QK2", paper))
    for marker in found.markers:
        one = marker.box
        inside = [b for b in boxes if one.left - 1e-5 <= b[0] and b[2] <= one.left + one.width + 1e-5
                  and one.top - 1e-5 <= b[1] and b[3] <= one.top + one.height + 1e-5]  # fmt: skip
        # The outer edge is exact: the hairline only reaches inward.
        assert min(b[0] for b in inside) == pytest.approx(one.left, abs=5e-6)
        assert min(b[1] for b in inside) == pytest.approx(one.top, abs=5e-6)
        assert max(b[2] for b in inside) == pytest.approx(one.left + one.width, abs=5e-6)
        assert max(b[3] for b in inside) == pytest.approx(one.top + one.height, abs=5e-6)
    for grey in found.greys:
        box = (grey.box.left, grey.box.top, grey.box.left + grey.box.width, grey.box.top + grey.box.height)
        assert any(np.allclose(box, b, atol=5e-6) for b in boxes), grey
    assert pytest.approx(0.1) == RULER


# cv2's own drawing of the dictionary at 40 px a module against our bars painted one by one.
def test_markers_are_those_of_the_family():
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    for number in range(LAYOUTS * PLACES):
        face = np.full((MODULES * 40,) * 2, 255, dtype=np.uint8)
        for row, first, count in modules(number):
            face[row * 40 : (row + 1) * 40, first * 40 : (first + count) * 40] = 0
        assert np.array_equal(face, cv2.aruco.generateImageMarker(family, number, MODULES * 40))
    assert HAIRLINE < 2 / 50  # a fiftieth of a module


def test_steps_that_are_alike_still_say_what_to_dial_in():
    one = steps(1)[0][1]
    said = words(sheet_pdf([("A1", one), ("A2", one)], "A", "Gate", "7QK2"))
    assert said.count(f"power {show(one['average_power_W'], 'power')}") == 3  # two labels, once for all


@pytest.mark.parametrize(("count", "paper", "field"), [(0, "a4", "steps"), (13, "a4", "steps"), (3, "a5", "paper")])
def test_what_cannot_be_printed_is_one_sentence(count, paper, field):
    with pytest.raises(InputError) as caught:
        sheet_pdf(steps(count), "A", "Gate", "7QK2", paper)
    assert caught.value.field == field
