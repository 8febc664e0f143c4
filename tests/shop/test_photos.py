"""Photos: kept as the camera wrote them, handed out upright and without the place."""

import hashlib
import io
import os
import time

import pytest
from made_bomb import png
from made_photo import GPS, shot
from PIL import Image

from proofpatch import InputError
from proofpatch.photos import reading
from proofpatch.shop.database import PHOTOS
from proofpatch.shop.photos import add_photo, exported, photo_of, photo_path, sweep, thumbnail


def test_the_original_is_kept_byte_for_byte_under_its_digest(store):
    content = shot()
    entry = add_photo(store, content, title="left side", about="alcohol test")
    photo = photo_of(store, entry.data["digest"])
    assert photo.digest == hashlib.sha256(content).hexdigest()
    assert photo_path(store, photo).read_bytes() == content
    assert (entry.data["width"], entry.data["height"], entry.data["about"]) == (60, 40, "alcohol test")
    again = add_photo(store, content)
    assert again.id != entry.id
    assert len(list((store.folder / PHOTOS).glob("*/*"))) == 1


# Orientation 6: the camera was turned; what it wrote as left is at the top. EXIF 2.32, tag 274.
@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_orientation_is_honoured(store, kind):
    entry = add_photo(store, shot(orientation=6, kind=kind))
    assert (entry.data["width"], entry.data["height"]) == (40, 60)
    for content in (exported(store, entry.data["digest"]), thumbnail(store, entry.data["digest"])):
        with Image.open(io.BytesIO(content)) as picture:
            seen = picture.convert("RGB")
            assert seen.width < seen.height
            top, bottom = seen.getpixel((20, 4)), seen.getpixel((20, 55))
        assert top[0] > 180
        assert top[1] < 60
        assert min(bottom) > 230


@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
@pytest.mark.parametrize("mode", ["RGB", "L"])
def test_what_is_handed_out_says_no_place(store, kind, mode):
    content = shot(kind=kind, mode=mode)
    with Image.open(io.BytesIO(content)) as picture:
        assert picture.getexif().get_ifd(GPS)  # it was there
    digest = add_photo(store, content).data["digest"]
    for out in (exported(store, digest), thumbnail(store, digest)):
        with Image.open(io.BytesIO(out)) as picture:
            assert not dict(picture.getexif())
        assert b"Invented" not in out
        assert b"Exif" not in out


def test_a_palette_and_a_clear_ground_survive(store):
    for mode in ("P", "RGBA", "1"):
        digest = add_photo(store, shot(kind="PNG", mode=mode)).data["digest"]
        with Image.open(io.BytesIO(exported(store, digest))) as picture:
            assert picture.size == (60, 40)
            assert picture.convert("RGB").getpixel((50, 20)) == (255, 255, 255)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "empty"), (b"%PDF-1.7 and more", "no photo"), (shot()[:400], "no photo"),
        (b"\x00\x00\x00\x18ftypheic" + b"\x00" * 40, "compatible format"), (png(30_000, 30_000), "no photo"),
        (png(8000, 8000), "million pixels"), (shot(kind="GIF", mode="P"), "neither JPEG nor PNG"),
    ],
)  # fmt: skip
def test_what_is_no_photo_is_refused_in_a_sentence_and_not_kept(store, content, said):
    with pytest.raises(InputError, match=said):
        add_photo(store, content)
    assert list((store.folder / PHOTOS).iterdir()) == []
    assert store.all("photo") == []


def test_a_file_too_large_is_refused(store, monkeypatch):
    monkeypatch.setattr(reading, "LARGEST_FILE", 100)
    with pytest.raises(InputError, match="MB"):
        add_photo(store, shot())


def test_what_a_killed_process_left_is_swept_and_nothing_else(store):
    kept = photo_path(store, photo_of(store, add_photo(store, shot()).data["digest"]))
    half, orphan, fresh = kept.with_name(".half"), kept.with_name("0" * 64 + ".jpg"), kept.with_name(".now")
    for path in (half, orphan, fresh):
        path.write_bytes(b"x")
    old = time.time() - 2 * 86400
    for path in (half, orphan, kept):
        os.utime(path, (old, old))
    assert sweep(store) == 2
    assert sorted(kept.parent.iterdir()) == sorted([kept, fresh])
