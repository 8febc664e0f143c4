"""Pictures that are small as files and large, or slow, as pictures: refused before they are drawn."""

import contextlib
import io
import json
import struct
import time
import zlib

import numpy as np
import pytest
from made_bomb import chunk, png
from PIL import Image

from proofpatch.errors import InputError
from proofpatch.measure.mesh_file import read_loose
from proofpatch.photos.reading import MOST_PIXELS, MOST_SCANS, opened, scans_of

PICTURES = ("GIF", "WEBP", "TIFF", "BMP")
FULL = bytes(4_000_000)  # more than a picture of 64 by 48 needs
SOON = 5.0  # s of work, whoever else is at work meanwhile; unbounded they take minutes or hours


def saved(kind, size=(64, 48), **more):
    out = io.BytesIO()
    Image.new("RGB", size, "tan").save(out, kind, **more)
    return out.getvalue()


def refused(content):
    began = time.process_time()
    with pytest.raises(InputError) as caught:
        opened(content)
    assert time.process_time() - began < SOON
    return str(caught.value)


@pytest.mark.parametrize("side", [7100, 65535, 2**31 - 1])
def test_a_png_of_a_few_bytes_that_says_it_is_huge(side):
    content = png(side, side, data=FULL)
    assert len(content) < 20_000
    assert "million pixels" in refused(content) or "no photo" in refused(content)


def test_the_words_and_colours_of_a_png_do_not_swell():
    words = chunk(b"zTXt", b"a\0\0" + zlib.compress(bytes(100_000_000), 9))
    colours = chunk(b"iCCP", b"a\0\0" + zlib.compress(bytes(100_000_000), 9))
    for one in (words, colours):
        began = time.process_time()
        with contextlib.suppress(InputError):
            opened(png(64, 48, one, data=FULL))
        assert time.process_time() - began < SOON


# ITU-T T.81, G.1: a progressive picture may be gone over as often as its writer likes; one turn of an even grey takes
# 75 bytes and, at 49 million pixels, a tenth of a second.
def test_a_jpeg_that_is_drawn_over_and_over():
    content = saved("JPEG", progressive=True)
    start = content.rindex(b"\xff\xda")
    turns = scans_of(content)
    assert 2 < turns < 15
    assert scans_of(saved("JPEG")) == 1
    bomb = content[:-2] + content[start:-2] * 200 + b"\xff\xd9"
    assert f"more than {MOST_SCANS} turns" in refused(bomb)
    fine = content[:-2] + content[start:-2] * (MOST_SCANS - turns) + b"\xff\xd9"
    assert opened(fine)[0] == "JPEG"


@pytest.mark.parametrize("filling", [b"\xff\xe0\x00\x02", b"\xff\x00", b"\xff", b"\xff\xda"])
def test_a_jpeg_of_nothing_but_markers(filling):
    # Read one by one, the parts before the picture alone would take a minute.
    refused(b"\xff\xd8" + filling * (20_000_000 // len(filling)))


def test_a_png_of_nothing_but_empty_chunks():
    refused(png(64, 48, chunk(b"abCd", b"") * 1_500_000, data=FULL))


def test_a_second_picture_and_what_a_phone_hangs_on_do_not_count():
    # A film behind the picture has FF DA in it by chance; the thumbnail stands inside a part of its own.
    exif = Image.Exif()
    exif[0x010E] = "\xff\xda" * 20
    content = saved("JPEG", exif=exif) + b"\xff\xda\x00\x02" * 1000
    assert scans_of(content) == 1
    assert opened(content)[0] == "JPEG"


@pytest.mark.parametrize("kind", ["GIF", "WEBP", "TIFF", "BMP", "ICO", "ICNS", "PPM", "TGA"])
def test_another_kind_is_told_so_and_never_drawn(kind, monkeypatch):
    several = (
        {"save_all": True, "append_images": [Image.new("RGB", (64, 48))] * 3} if kind in ("GIF", "WEBP", "TIFF") else {}
    )
    content = saved(kind, **several)
    monkeypatch.setattr("PIL.Image.open", lambda *_, **__: pytest.fail("it was opened"))
    assert ("neither JPEG nor PNG" if kind in PICTURES else "no photo that can be read") in refused(content)


def test_as_many_pixels_as_are_taken_are_taken():
    side = int(MOST_PIXELS**0.5)
    assert opened(saved("PNG", (side, side // 10)))[0] == "PNG"


def test_a_ply_whose_faces_have_corners_without_end():
    # Five bytes a face of few corners; of many each byte may become a face, sixty million of them.
    head = b"ply\nformat binary_little_endian 1.0\nelement vertex 3\nproperty float x\nproperty float y\n"
    head += b"property float z\nelement face 90000\nproperty list uchar uchar vertex_indices\nend_header\n"
    content = head + struct.pack("<9f", 0, 0, 0, 1, 0, 0, 0, 1, 0) + (b"\xff" + bytes([0, 1, 2] * 85)) * 90_000
    began = time.process_time()
    with pytest.raises(InputError, match="more corners"):
        read_loose(content, "ply")
    assert time.process_time() - began < SOON


def glb(tree, data):
    text = json.dumps(tree).encode()
    text += b" " * (-len(text) % 4)
    parts = struct.pack("<II", len(text), 0x4E4F534A) + text + struct.pack("<II", len(data), 0x004E4942) + data
    return struct.pack("<4sII", b"glTF", 2, 12 + len(parts)) + parts


def tree(**more):
    data = np.zeros((3, 3), np.float32).tobytes()
    return {
        "asset": {"version": "2.0"}, "buffers": [{"byteLength": len(data)}],
        "bufferViews": [{"buffer": 0, "byteOffset": 0, "byteLength": len(data)}],
        "accessors": [{"bufferView": 0, "componentType": 5126, "count": 3, "type": "VEC3"}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}], "nodes": [{"mesh": 0}],
        "scenes": [{"nodes": [0]}], "scene": 0, **more,
    }, data  # fmt: skip


# glTF 2.0, 3.5: the nodes form a strict tree; a node in two places doubles what is drawn with every level.
@pytest.mark.parametrize(
    "more",
    [
        {"nodes": [{"children": [n + 1, n + 1]} for n in range(40)] + [{"mesh": 0}]},
        {"nodes": [{"children": [1]}, {"children": [0]}]},
        {"nodes": [{"mesh": 0}] * 10_001},
        {"accessors": [{"bufferView": 0, "componentType": 5126, "count": 2**40, "type": "VEC3"}]},
        {"accessors": [{"componentType": 5126, "count": 3, "type": "VEC3", "sparse": {"count": 2**31}}]},
        {"buffers": [{"byteLength": 36, "uri": "file:///etc/passwd"}]},
        {"buffers": [{"byteLength": 36, "uri": "http://127.0.0.1/x"}]},
        {"meshes": [{"primitives": [{"attributes": {"POSITION": 0}}] * 20_000}]},
        {"meshes": [{"primitives": [{"attributes": {"POSITION": 0}}] * 100}], "nodes": [{"mesh": 0}] * 100},
        {"extensionsRequired": ["KHR_draco_mesh_compression"]},
    ],
)
def test_a_scan_that_swells_or_reaches_out(more):
    began = time.process_time()
    with pytest.raises(InputError):
        read_loose(glb(*tree(**more)), "glb")
    assert time.process_time() - began < SOON
