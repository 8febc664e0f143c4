"""A job as one file: out of a shop and into another without loss, and a refusal in one sentence for any other file."""

import copy
import csv
import hashlib
import io
import json
import tomllib
import zipfile
from pathlib import Path

import numpy as np
import pytest
from made_gate import gate
from made_offer import made_photo, made_quote
from made_record import finished_gate, with_photos
from made_whole import STOOL
from pypdf import PdfReader

from proofpatch.documents.quote import quote_pdf
from proofpatch.errors import InputError
from proofpatch.shop.completions import keep_record, record_of, take_signature, with_words, written
from proofpatch.shop.folder_zip import read_folder, write_folder
from proofpatch.shop.job import job_from
from proofpatch.shop.lasers import add_laser
from proofpatch.shop.papers import Signed, quotes_of, send_quote, take_acceptance
from proofpatch.shop.people import add_note, keep_item
from proofpatch.shop.photos import add_photo, photo_of, photo_path, thumbnail
from proofpatch.shop.scans import add_scan, scan_path
from proofpatch.shop.store import Overtaken, Store
from proofpatch.shop.strips import lay_out

LASER = tomllib.loads((Path(__file__).parents[2] / "docs" / "own-laser.toml").read_text("utf-8"))


def laid(store, key):
    """The strip that the patches of the gate are the steps of."""
    settings = [one.data["setting"] for one in store.in_order("patch", key)]
    step = {"p_clean": 0.9, "p_harm": 0.01, "because": "It is a step."}
    lay_out(store, key, [{"setting": one, **step} for one in settings], [{"power": "300 W"}] * len(settings))


@pytest.fixture
def job(store):
    """A job with something of everything: versions, a change too late, a struck patch, photo, papers, a signature."""
    entry = gate(store)
    changed = store.change("job", entry.id, 1, {**entry.data, "offer": {"site": "Our yard"}}, by="A. Owner")
    with pytest.raises(Overtaken):
        store.change("job", entry.id, 1, {**entry.data, "offer": {"site": "Too late"}})
    keep_item(store, entry.id, 0, "Mrs A. Fenwick", "0555 0199", "down to bare iron")
    add_note(store, entry.id, "=1+1 looks like a sum to a spreadsheet")
    add_photo(store, made_photo(), entry.id, about="before")
    add_scan(store, STOOL, "stool.stl", entry.id)
    laid(store, entry.id)
    patch = store.in_order("patch", entry.id)[0]
    store.delete("patch", patch.id, 1)
    quote = made_quote()
    send_quote(store, entry.id, quote, "a4", "", quote_pdf(quote))
    signed = Signed("A. Fenwick", quote.day, "2026-03-03T10:00:00+00:00", ("Read.",), made_photo())
    take_acceptance(store, quotes_of(store, entry.id)[0], signed, b"%PDF-1.7 signed")
    return changed.id


def packed(store, job):
    out = io.BytesIO()
    write_folder(store, job, out)
    return out.getvalue()


def files_of(content):
    with zipfile.ZipFile(io.BytesIO(content)) as found:
        return {one.filename: found.read(one) for one in found.infolist()}


def zipped(files, way=zipfile.ZIP_STORED):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", way) as made:
        for name, content in files.items():
            made.writestr(name, content)
    return out.getvalue()


def resealed(files):
    """The same files with sums that fit them again, as somebody would who knows how."""
    contents = json.loads(files["contents.json"])
    contents["sha256"] = {name: hashlib.sha256(one).hexdigest() for name, one in files.items()
                          if name != "contents.json"}  # fmt: skip
    return zipped({**files, "contents.json": json.dumps(contents).encode()})


def everything(store):
    """All that a shop holds, for comparison."""
    return {
        kind: [(one, [(p.version, p.what, p.at, p.by, p.data) for p in store.history(kind, one.id)])
               for gone in (False, True) for one in store.in_order(kind, deleted=gone)]
        for kind in ("job", "patch", "photo", "scan", "note", "item", "customer", "quote", "paper", "acceptance",
                     "laser")
    }  # fmt: skip


def test_a_scan_that_is_another_or_nobodys_is_refused(store, other, job):
    files = files_of(packed(store, job))
    name = next(one for one in files if one.startswith("scans/"))
    for wrong in ({**files, name: STOOL[:-1]}, {**files, f"scans/{hashlib.sha256(b'?').hexdigest()}.stl": b"?"}):
        with pytest.raises(InputError, match="scans are not those"):
            read_folder(other, io.BytesIO(resealed(wrong)))
    assert other.all("job") == []
    # One whose file is gone is left out, and named.
    scan = store.all("scan", job)[0].data["digest"]
    scan_path(store.folder, scan, "stl").unlink()
    without = packed(store, job)
    assert json.loads(files_of(without)["contents.json"])["missing_photos"] == [scan]
    read_folder(other, io.BytesIO(without))
    assert packed(other, job) == without


def test_out_in_and_out_again_is_the_same_bytes(store, other, job):
    first = packed(store, job)
    assert first == packed(store, job)
    taken = read_folder(other, io.BytesIO(first))
    assert (taken.entry, taken.stayed) == (store.get("job", job), ())
    assert everything(other) == everything(store)
    assert packed(other, job) == first
    digest = other.all("photo", job)[0].data["digest"]
    assert photo_path(other, photo_of(other, digest)).read_bytes() == made_photo()
    assert thumbnail(other, digest) == thumbnail(store, digest)
    scan = other.all("scan", job)[0].data
    assert scan_path(other.folder, scan["digest"], "stl").read_bytes() == STOOL
    # What was sent is still known by its fingerprint, and still frozen.
    assert quotes_of(other, job)[0].sent.fingerprint == quotes_of(store, job)[0].sent.fingerprint
    with pytest.raises(InputError, match="stays as it is"):
        other.delete("quote", quotes_of(other, job)[0].entry.id, 1)


def test_it_can_be_read_without_us(store, job):
    files = files_of(packed(store, job))
    assert [name.partition("/")[0] for name in files] == sorted(name.partition("/")[0] for name in files)
    said = files["README.txt"].decode()
    for name in {name.partition("/")[0] for name in files} - {"README.txt"}:
        assert name in said
    (photo,) = (one for name, one in files.items() if name.startswith("photos/"))
    assert photo == made_photo()
    papers = {name: one for name, one in files.items() if name.startswith("papers/")}
    assert len(papers) == 2
    (quote,) = (one for name, one in papers.items() if "accepted" not in name)
    assert "Oak dairy door" in PdfReader(io.BytesIO(quote)).pages[0].extract_text()
    rows = list(csv.DictReader(io.StringIO(files["lists/patch.csv"].decode("utf-8-sig"))))
    kept = store.in_order("patch", job) + store.in_order("patch", job, deleted=True)
    assert {one["id"]: (one["residue"], float(one["setting.average_power_W"])) for one in rows} == {
        one.id: (one.data["residue"], one.data["setting"]["average_power_W"]) for one in kept
    }
    # A cell that a spreadsheet would compute stands as text.
    (note,) = csv.DictReader(io.StringIO(files["lists/note.csv"].decode("utf-8-sig")))
    assert note["text"] == "'=1+1 looks like a sum to a spreadsheet"
    job_file = json.loads(files["records/job.json"])[0]
    assert [one["what"] for one in job_file["history"]] == ["made", "changed", "aside"]
    assert job_file["history"][2]["data"]["offer"]["site"] == "Too late"


def test_what_is_there_already_stays_and_nothing_is_made(store, other, job):
    content = packed(store, job)
    before = everything(store)
    with pytest.raises(InputError, match="'Iron gate' is in this shop already"):
        read_folder(store, io.BytesIO(content))
    store.delete("job", job, 2)
    with pytest.raises(InputError, match="already, put away"):
        read_folder(store, io.BytesIO(content))
    store.restore("job", job, 3)
    assert {**everything(store), "job": 0} == {**before, "job": 0}
    # A second job of the same customer finds her there.
    read_folder(other, io.BytesIO(content))
    second = gate(store)
    laid(store, second.id)
    keep_item(store, second.id, 0, "Mrs A. Fenwick", "0555 0200", "")
    taken = read_folder(other, io.BytesIO(packed(store, second.id)))
    assert taken.stayed == (
        "The customer 'Mrs A. Fenwick' was here already and stays as it is; the folder has another version of it.",
    )
    assert other.all("customer")[0].data["contact"] == "0555 0199"


def test_the_laser_of_the_job_comes_along_unless_one_is_called_so(store, other, tmp_path):
    add_laser(store, LASER)
    entry = gate(store, job={"title": "Iron gate", "laser": next(iter(LASER)), "year": 2001})
    laid(store, entry.id)
    content = packed(store, entry.id)
    assert read_folder(other, io.BytesIO(content)).stayed == ()
    assert other.all("laser") == store.all("laser")
    assert packed(other, entry.id) == content
    third = Store.open(tmp_path / "third")
    mine = add_laser(third, copy.deepcopy(LASER))
    assert "the folder's own laser of that name was left out" in read_folder(third, io.BytesIO(content)).stayed[0]
    assert third.all("laser") == [mine]
    third.close()


def test_a_photo_that_is_gone_or_damaged_is_named_and_the_rest_is_packed(store, other, job):
    digest = store.all("photo", job)[0].data["digest"]
    path = photo_path(store, photo_of(store, digest))
    path.write_bytes(path.read_bytes()[:-1] + b"?")
    content = packed(store, job)
    assert json.loads(files_of(content)["contents.json"])["missing_photos"] == [digest]
    assert "files not here" in files_of(content)["README.txt"].decode()
    read_folder(other, io.BytesIO(content))
    assert packed(other, job) == content


def refused(other, content):
    """The sentence of a refusal; the shop is as empty as before."""
    with pytest.raises(InputError) as caught:
        read_folder(other, io.BytesIO(content))
    assert caught.value.field == "file"
    assert all(not found for found in everything(other).values())
    return str(caught.value)


def test_a_part_of_it_is_none(store, other, job):
    content = packed(store, job)
    for part in [0, 1, 30, *range(100, len(content), len(content) // 25)]:
        assert "is no zip, or a part of it is missing or damaged" in refused(other, content[:part])


def test_a_byte_that_changed_is_noticed(store, other, job):
    content = packed(store, job)
    for place in range(50, len(content) - 2000, len(content) // 40):
        torn = bytearray(content)
        torn[place] ^= 0x20
        assert refused(other, bytes(torn))
    files = files_of(content)
    files["lists/patch.csv"] += b"1,2\r\n"
    assert "lists/patch.csv in it was changed" in refused(other, zipped(files))
    del files["lists/patch.csv"]
    assert "lists/patch.csv is missing" in refused(other, zipped(files))


def test_foreign_files_are_refused_before_they_are_unpacked(store, other, job, monkeypatch):
    files = files_of(packed(store, job))
    assert "is no zip" in refused(other, b"")
    assert "is no zip" in refused(other, made_photo())
    assert "no packed job of proofpatch" in refused(other, zipped({"word/document.xml": b"<w/>"}))
    assert "no packed job of proofpatch" in refused(other, zipped({"contents.json": b"[1]"}))
    assert "contents.json in it cannot be read" in refused(other, zipped({"contents.json": b"[" * 100_000}))
    for name in ("../../etc/passwd", "/etc/passwd", "photos/../x.jpg", "records\\job.json", "C:/x", "records/"):
        assert "which no packed job has" in refused(other, zipped({**files, name: b"x"}))
    newer = json.dumps({**json.loads(files["contents.json"]), "version": 2}).encode()
    assert "by a newer proofpatch" in refused(other, zipped({**files, "contents.json": newer}))
    out = io.BytesIO(zipped(files))
    with zipfile.ZipFile(out, "a") as made, pytest.warns(UserWarning, match="Duplicate name"):
        made.writestr("README.txt", b"twice")
    assert "holds a file twice" in refused(other, out.getvalue())


# 42 kB that unpack to gigabytes are known since the 1990s; here one of 300 MB of noughts.
def test_a_bomb_is_not_unpacked(store, other, job):
    files = files_of(packed(store, job))
    bomb = zipped({**files, "records/note.json": bytes(300_000_000)}, zipfile.ZIP_DEFLATED)
    assert len(bomb) < 2_000_000
    assert "larger than any job" in refused(other, bomb)
    # One whose list says it is small.
    lying = bytearray(zipped({**files, "lists/note.csv": bytes(1_000_000)}, zipfile.ZIP_DEFLATED))
    at = lying.rindex(b"lists/note.csv") - 46 + 24  # size in the central directory (APPNOTE 4.3.12)
    lying[at : at + 4] = (10).to_bytes(4, "little")
    assert refused(other, bytes(lying))


# Whatever is wrong with a zip, it is one sentence: what unpacks it has errors of its own.
@pytest.mark.parametrize("way", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_a_zip_with_any_bytes_changed_is_refused_or_read(store, other, way):
    content = zipped(files_of(packed(store, store.add("job", {"job": {"title": "Gate"}}, title="Gate").id)), way)
    rng, said = np.random.default_rng(5), set()
    for _ in range(400):
        spoiled = bytearray(content)
        for at in rng.integers(0, len(content), rng.integers(1, 5)):
            spoiled[at] = rng.integers(0, 256)
        try:
            read_folder(other, io.BytesIO(bytes(spoiled)))  # what was changed may be read by nobody
        except InputError as error:
            said.add(error.field)
    assert said <= {"file"}


def test_a_lock_or_a_strange_way_of_packing(store, other, job):
    content = bytearray(zipped(files_of(packed(store, job))))
    at = content.rindex(b"contents.json") - 46
    locked, strange = bytearray(content), bytearray(content)
    locked[at + 8] |= 1  # general purpose flag: encrypted
    strange[at + 10 : at + 12] = (97).to_bytes(2, "little")  # a method nothing here knows
    for one in (locked, strange):
        assert "packed in a way that cannot be read" in refused(other, bytes(one))


def record(change):
    """Changes the first record of a file and seals the folder again."""

    def make(files, name):
        found = json.loads(files[name])
        change(found[0])
        return resealed({**files, name: json.dumps(found).encode()})

    return make


@pytest.mark.parametrize(
    ("name", "change", "said"),
    [
        ("records/job.json", lambda one: one.update(id="../../x"), "its id is not one of a shop"),
        ("records/job.json", lambda one: one["data"].update(offer={}), "not what its history says"),
        ("records/job.json", lambda one: one.update(version=9), "versions do not follow"),
        ("records/job.json", lambda one: one["history"].pop(0), "versions do not follow"),
        ("records/note.json", lambda one: one.update(job="0" * 32), "belongs to another job"),
        ("records/note.json", lambda one: one.update(created="yesterday"), "its times cannot be read"),
        ("records/note.json", lambda one: one.update(deleted=one["created"]), "not what its history says"),
        ("records/note.json", lambda one: one.update(title="a\nb"), "no line of text"),
        ("records/note.json", lambda one: one.update(more=1), "not those of a record"),
        ("records/note.json", lambda one: one.update(data=[1]), "data are no record"),
        ("records/quote.json", lambda one: [x["data"].pop("quote") for x in (one, *one["history"])], "cannot be read"),
        ("records/paper.json", lambda one: one["data"].update(pdf={"file": "photos/x"}), "paper of the folder is miss"),
        ("records/customer.json", lambda one: one.update(kind="job"), "holds no records of that kind"),
    ],
)
def test_records_that_contradict_themselves(store, other, job, name, change, said):
    assert said in refused(other, record(change)(files_of(packed(store, job)), name))


def test_a_photo_by_a_wrong_name_or_that_is_none(store, other, job):
    files = files_of(packed(store, job))
    name = next(one for one in files if one.startswith("photos/"))
    assert "Its photos are not those" in refused(other, resealed({**files, name: files[name] + b"x"}))
    other_name = f"photos/{hashlib.sha256(b'no picture').hexdigest()}.jpg"
    contents = json.loads(files["contents.json"])
    contents["photos"] = [{"digest": other_name[7:71], "added": contents["photos"][0]["added"]}]
    del files[name]
    files["records/photo.json"] = files["records/photo.json"].replace(name[7:71].encode(), other_name[7:71].encode())
    swapped = {**files, other_name: b"no picture", "contents.json": json.dumps(contents).encode()}
    with pytest.raises(InputError, match="no photo"):
        read_folder(other, io.BytesIO(resealed(swapped)))
    assert other.count("job") == 0


def test_an_empty_job_goes_out_and_in(store, other):
    entry = store.add("job", {"job": {"title": "Bare {braces} %s"}}, title="Bare {braces} %s")
    content = packed(store, entry.id)
    assert "Bare {braces} %s" in files_of(content)["README.txt"].decode()
    read_folder(other, io.BytesIO(content))
    assert packed(other, entry.id) == content
    with pytest.raises(InputError, match="There is no job"):
        write_folder(store, "0" * 32, io.BytesIO())


def test_a_finished_job_comes_back_with_its_run_and_its_signed_record(store, other):
    entry = finished_gate(store)
    laid(store, entry.id)
    with_photos(store, entry)
    pair = store.all("pair", entry.id)[0]
    store.delete("pair", pair.id, 1)  # not to be measured here; taken back, it comes along all the same
    record = with_words(record_of(store, entry, job_from(entry.data)), ["Freed."], ["Paint the hinge."])
    keep_record(store, entry.id, record, "a4", b"%PDF-1.7 record")
    signed = Signed("A. Fenwick", made_quote().day, "2026-03-10T10:00:00+00:00", ("Seen.",), b"")
    take_signature(store, written(store, entry.id)[0], signed, b"%PDF-1.7 signed")
    content = packed(store, entry.id)
    assert {"lists/run.csv", "lists/day.csv", "lists/record.csv", "records/pair.json"} <= set(files_of(content))
    read_folder(other, io.BytesIO(content))
    assert packed(other, entry.id) == content
    (back,) = written(other, entry.id)
    assert (back.signed, back.record) == (signed, written(store, entry.id)[0].record)
    assert record_of(other, entry, job_from(entry.data))["zones"] == record["zones"]
    with pytest.raises(InputError, match="stays as it is"):
        other.delete("record", back.entry.id, 1)


def told(change):
    """The same of what a record says, now and in its history."""
    return record(lambda one: [change(part["data"]) for part in (one, *one["history"])])


# What another shop packed is read before it is kept: a page would stumble over it for good.
@pytest.mark.parametrize(
    ("kind", "change"),
    [
        ("run", lambda data: data.update(what="dance")),
        ("run", lambda data: data.update(at="yesterday")),
        ("run", lambda data: data.update(passes=-1)),
        ("run", lambda data: data.pop("photos")),
        ("run", lambda data: data.update(zone=1e9)),
        ("day", lambda data: data.update(date="9 March")),
        ("day", lambda data: data["checks"]["window"].update(value="dry")),
        ("day", lambda data: data.update(controls=[1])),
        ("day", lambda data: data.update(checks=[])),
        ("pair", lambda data: data.update(places=[[0.1]])),
        ("photo", lambda data: data.update(digest="../x")),
        ("recipe", lambda data: data.update(record={})),
        ("record", lambda data: data["record"].update(title="Another")),
    ],
)
def test_what_a_page_would_stumble_over_stays_out(packed_run, other, kind, change):
    name = f"records/{kind}.json"
    assert f"A {kind} in the folder cannot be used: it cannot be read" in refused(other, told(change)(packed_run, name))


@pytest.fixture(scope="module")
def packed_run(tmp_path_factory):
    """The files of a finished job's folder."""
    store = Store.open(tmp_path_factory.mktemp("run") / "shop")
    entry = finished_gate(store, agreed=False)
    laid(store, entry.id)
    with_photos(store, entry)
    pair = store.all("pair", entry.id)[0]
    store.delete("pair", pair.id, 1)
    setting = next(one.data["setting"] for one in store.in_order("patch", entry.id))
    store.add("recipe", {"record": {"setting": setting}, "forecast": {}, "patches": []}, entry.id)
    keep_record(store, entry.id, with_words(record_of(store, entry, job_from(entry.data)), [], []), "a4", b"%PDF-1.7 r")
    content = packed(store, entry.id)
    store.close()
    return files_of(content)
