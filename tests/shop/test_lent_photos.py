"""Photos and names that go from shop to shop: only where they were chosen, small, bare, and read with care."""

import base64
import io
import json
import struct

import pytest
from made_bomb import png
from made_lent import KEY, file, graded_job
from made_photo import shot
from PIL import Image

import proofpatch as pp
from proofpatch.errors import InputError
from proofpatch.learn.memory import exchange
from proofpatch.learn.memory.exchange import MOST_PHOTO, Exchanged, Photo, packed, parts_of, unpacked
from proofpatch.shop.check import check
from proofpatch.shop.lent_photos import bare
from proofpatch.shop.likeness import alike_of
from proofpatch.shop.lots import KIND, bring_in, file_of, given_file, lots_of, preview
from proofpatch.shop.people import keep_item
from proofpatch.shop.photos import add_photo, thumbnail


def refused(store, data):
    with pytest.raises(InputError) as caught:
        bring_in(store, data, photos=True)
    assert caught.value.field == "file"
    assert not store.all(KIND)
    return str(caught.value)


@pytest.fixture
def photographed(store, at_work):
    """A shop with a job that has a strip, photos of it, of a patch and of the room."""
    entry = graded_job(store, at_work, "Oak door")
    store.add("strip", {"name": "A", "steps": [{}, {}]}, entry.id, "Strip A")
    keep_item(store, entry.id, 0, "Mrs Fenwick", "Weir Cottage", "")
    for n, about in enumerate(("strip A", "A2", "the room", "")):
        add_photo(store, shot((640 + 9 * n, 400)), entry.id, about=about)
    return entry


def test_nothing_goes_along_unless_it_was_chosen_and_the_file_is_the_plain_one(store, photographed):
    data = given_file(store)
    assert json.loads(data.split(b"\n")[0])["version"] == exchange.PLAIN
    assert b"Oak door" not in data
    assert b"Fenwick" not in data
    assert unpacked(data).photos == 0


def test_photos_of_patches_go_bare_and_small_and_no_other_photo(store, photographed):
    parcel = unpacked(given_file(store, photos=True))
    photos = parcel.jobs[0].photos
    assert [one.shows for one in photos] == ["A2", "strip A"]
    assert not parcel.jobs[0].title
    for one in photos:
        assert len(one.content) <= MOST_PHOTO
        with Image.open(io.BytesIO(one.content)) as picture:
            assert max(picture.size) <= 480
            assert not dict(picture.getexif())
            assert set(picture.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


def test_a_comment_in_a_photo_does_not_go_along():
    out = io.BytesIO()
    Image.new("RGB", (64, 48)).save(out, "JPEG", comment=b"taken at Weir Cottage")
    assert b"Weir" in out.getvalue()
    assert b"Weir" not in bare(out.getvalue())


def test_names_go_along_where_they_were_chosen(store, photographed):
    data = given_file(store, names=True)
    (job,) = unpacked(data).jobs
    assert (job.title, job.customer, job.photos) == ("Oak door", "Mrs Fenwick", ())
    assert b"Cottage" not in data
    assert "1 job names the piece or its customer." in unpacked(data).because


def test_the_taker_sees_photos_first_and_has_them_only_if_he_takes_them(store, photographed, other, at_work):
    data = given_file(store, photos=True, names=True)
    mine = graded_job(other, at_work)
    seen = preview(other, data)
    assert seen.parcel.photos == 2
    assert not other.all("photo")
    lot = bring_in(other, data)
    assert not other.all("photo")
    assert not list((other.folder / "photos").glob("*/*"))
    (row,), _ = alike_of(other, mine)
    assert (row.title, row.customer, row.photo) == ("Oak door", "Mrs Fenwick", None)
    kept = file_of(other, lot)  # what is kept still shows its signature, without the photos
    assert unpacked(kept).key == lots_of(other)[0].entry.data["key"]
    assert unpacked(kept).photos == 0


def test_photos_that_were_taken_are_shown_among_jobs_like_one(store, photographed, other, at_work):
    mine = graded_job(other, at_work)
    bring_in(other, given_file(store, photos=True), photos=True)
    assert lots_of(other)[0].entry.data["photos"] == 2
    (row,), _ = alike_of(other, mine)
    assert row.photo.title == "A2"
    assert row.photo.job is None
    assert thumbnail(other, row.photo.data["digest"])
    assert not check(other.folder).troubles


def jpeg(side=40):
    out = io.BytesIO()
    Image.new("RGB", (side, side), "brown").save(out, "JPEG")
    return out.getvalue()


def with_photo(theirs, content):
    one = theirs[0]
    return file([Exchanged(one.surface, one.laser, one.graded, photos=(Photo.of("A1", content),))])


@pytest.fixture(scope="module")
def theirs(at_work):
    oak = pp.Surface([pp.Layer("oil-varnish", condition="aged")], "oak")
    return [Exchanged(oak, pp.laser("pulsed-500"), (pp.Graded(at_work(), "trace", "none"),))]


def jpeg_bomb(side=60_000):
    """A JPEG that says it is so large (ITU-T T.81, B.2.2: lines and samples follow the frame's marker)."""
    content = bytearray(jpeg())
    at = content.index(b"\xff\xc0") + 5
    content[at : at + 4] = struct.pack(">HH", side, side)
    return bytes(content)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (png(30_000, 30_000), "Photo 1 in the file: The file is no photo"),
        (jpeg_bomb(), "Photo 1 in the file: The file is no photo"),
        (jpeg_bomb(6_000), "Photo 1 in the file: It is larger than 480"),
        (jpeg(481), "Photo 1 in the file: It is larger than 480"),
        (jpeg()[:200], "Photo 1 in the file: The file is no photo"),
        (b"%PDF-1.7\n", "Photo 1 in the file: The file is no photo"),
        (b"GIF89a\x01\x00\x01\x00\x00\x00\x00;", "Photo 1 in the file: The file is no photo"),
    ],
    ids=["png bomb", "jpeg bomb", "large", "a little large", "cut", "pdf", "gif"],
)
def test_a_photo_that_is_none_is_refused_with_one_sentence_though_it_be_signed(store, theirs, content, said):
    found = refused(store, with_photo(theirs, content))
    assert said in found
    assert found.count(". ") == 1


def test_a_photo_that_was_changed_is_refused(store, theirs):
    data = with_photo(theirs, jpeg())
    head, jobs, signature, (photo,) = parts_of(data)
    other = json.dumps({"photo": base64.b64encode(jpeg(32)).decode()}, separators=(",", ":")).encode()
    assert "changed after it was signed" in refused(store, data.replace(photo, other))
    assert "changed after it was signed" in refused(store, data.replace(b'"photos":1', b'"photos":2') + photo + b"\n")
    assert "not the whole" in refused(store, data + photo + b"\n")
    digest = json.loads(jobs[0])["photos"][0]["sha256"].encode()
    assert "changed after it was signed" in refused(store, data.replace(digest, digest[::-1]))
    left_out = b"\n".join([head, *jobs, signature, b""])
    assert unpacked(left_out).photos == 0  # what was signed is whole without them
    assert preview(store, data).parcel.photos == 1


def test_photos_too_large_or_too_many_are_refused_on_both_ways(theirs, monkeypatch):
    with pytest.raises(InputError, match="60 kB"):
        with_photo(theirs, bytes(MOST_PHOTO + 1))
    data = with_photo(theirs, jpeg())
    monkeypatch.setattr(exchange, "MOST_PHOTO", 100)
    with pytest.raises(InputError, match="has more than"):
        unpacked(data)
    monkeypatch.setattr(exchange, "MOST_PHOTO", MOST_PHOTO)
    monkeypatch.setattr(exchange, "MOST_PHOTO_BYTES", 100)
    with pytest.raises(InputError, match="One file takes"):
        unpacked(data)
    with pytest.raises(InputError, match="One file takes"):
        with_photo(theirs, jpeg())
    one = theirs[0]
    with pytest.raises(InputError, match="12 are the most"):
        Exchanged(one.surface, one.laser, one.graded, photos=(Photo.of("A1", jpeg()),) * 13)


@pytest.mark.parametrize("version", [1, 2])
def test_a_plain_file_holds_nothing_more_and_names_are_one_line(theirs, version):
    one = theirs[0]
    named = packed([Exchanged(one.surface, one.laser, one.graded, title="Door")], KEY, "Weir", "2026-05-04")
    head, jobs, _, _ = parts_of(named)
    body = head.replace(b'"version":2,', b'"version":%d,' % version) + b"\n" + jobs[0] + b"\n"
    if version == 1:
        body = body.replace(b',"photos":0,"of":null', b"")
    data = body + json.dumps({"signature": KEY.sign(body).hex()}, separators=(",", ":")).encode() + b"\n"
    if version == 2:
        assert unpacked(data).jobs[0].title == "Door"
        return
    with pytest.raises(InputError, match="Line 2"):
        unpacked(data)
    for title in ("a\nb", "x" * 81):
        with pytest.raises(InputError, match="title"):
            Exchanged(one.surface, one.laser, one.graded, title=title)
