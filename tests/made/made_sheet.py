"""Printed sheets for the tests: what a file draws, read without the program that wrote it, and prints of it."""

import io
import subprocess
import tempfile
from functools import lru_cache
from pathlib import Path

import numpy as np
from PIL import Image
from pypdf import PdfReader

from proofpatch.documents.sheet import frame_for, modules, sheet_pdf
from proofpatch.photos.frame import MODULES

DPI = 300
POINT = 0.0254 / 72  # PDF 32000-1, 8.3.2.3


def steps(count, sweep=0.08):
    """Steps of a strip as the records have them; the figures are invented."""
    return [
        (f"A{n + 1}", {
            "average_power_W": 100.0 + 25 * n, "repetition_rate_Hz": 30e3, "pulse_width_s": 100e-9,
            "spot_radius_m": 0.35e-3, "sweep_width_m": sweep, "sweep_speed_m_s": 5.0, "travel_speed_m_s": 0.016,
            "passes": 1, "pattern": "line",
        })
        for n in range(count)
    ]  # fmt: skip


def words(pdf):
    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages).split())


def drawn_boxes(pdf):
    """(left, top, right, bottom) [m] of every filled upright rectangle of the first page."""
    page = PdfReader(io.BytesIO(pdf)).pages[0]
    height = float(page.mediabox.height)
    found, path = [], []

    def after(operator, operands, matrix, _):
        def at(x, y):
            a, b, c, d, e, f = matrix
            path.append((a * x + c * y + e, b * x + d * y + f))

        numbers = [float(one) for one in operands if not isinstance(one, (str, list, dict, bytes))]
        if operator in (b"m", b"l"):
            at(*numbers)
        elif operator == b"re":
            x, y, w, h = numbers
            for corner in ((x, y), (x + w, y), (x + w, y + h), (x, y + h)):
                at(*corner)
        elif operator in (b"f", b"f*", b"F"):
            x, y = np.array(path).T
            if len(set(np.round(x, 3))) == 2 and len(set(np.round(y, 3))) == 2:
                found.append((x.min() * POINT, (height - y.max()) * POINT, x.max() * POINT, (height - y.min()) * POINT))
            path.clear()
        elif operator in (b"S", b"n", b"s", b"W", b"B"):
            path.clear() if operator != b"W" else None

    page.extract_text(visitor_operand_after=after)
    return found


@lru_cache(maxsize=4)
def printed(count, paper="us-letter", sweep=0.08, finer=3):
    """(frame, print): the first page at DPI by poppler, (H, W) 0 to 255 as an ideal printer would lay it down.

    Poppler moves upright edges to whole pixels, 0.04 mm at DPI: so it draws `finer` times finer, and means are taken.
    """
    laid = steps(count, sweep)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sheet.pdf"
        path.write_bytes(sheet_pdf(laid, "A", "Oak chest", "7QK2", paper))
        wanted = ["-r", str(DPI * finer), "-gray", "-f", "1", "-l", "1", "-singlefile"]
        subprocess.run(["pdftoppm", *wanted, str(path), str(path)], check=True)
        face = np.asarray(Image.open(f"{path}.pgm"))
    rows, columns = (side // finer for side in face.shape)
    blocks = face[: rows * finer, : columns * finer].reshape(rows, finer, columns, finer)
    return frame_for(laid, paper), blocks.mean(axis=(1, 3), dtype=np.float32).round().astype(np.uint8)


def exact(frame, dpi=DPI):
    """The frame's markers at `dpi`, each pixel as black as its ink, as light (H, W); no rasteriser of a PDF."""
    per_metre = dpi / 0.0254
    rows, columns = round(frame.height * per_metre), round(frame.width * per_metre)
    face = np.ones((rows, columns))

    def covered(start, size):
        first, last = int(start * per_metre), int(np.ceil((start + size) * per_metre))
        pixel = np.arange(first, last)
        ends = np.minimum((start + size) * per_metre, pixel + 1) - np.maximum(start * per_metre, pixel)
        return slice(first, last), np.clip(ends, 0, 1)

    for marker in frame.markers:
        module = marker.box.width / MODULES
        for row, first, count in modules(marker.id):
            y, down = covered(marker.box.top + row * module, module)
            x, across = covered(marker.box.left + first * module, count * module)
            face[y, x] -= np.outer(down, across)
    return np.clip(face, 0, 1)
