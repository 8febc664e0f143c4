"""Files from shop to shop."""

import json
from dataclasses import replace

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

import proofpatch as pp
from proofpatch.learn.memory import exchange
from proofpatch.learn.memory.exchange import ORIGINS, Exchanged, fingerprint, packed, unpacked

# RFC 8032, 7.1, test 1: secret key, public key, signature of the empty message.
SECRET = "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60"
PUBLIC = "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"
KEY = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(SECRET))


@pytest.fixture(scope="module")
def jobs(at_work):
    surface = pp.Surface([pp.Layer({"oil-varnish": 0.7, "shellac": 0.3}, condition="aged")], "oak", moisture=0.1)
    own = replace(pp.laser("pulsed-500"), power_factor=0.93, measured=("Measured by Ida Blom on 3 May.",))
    graded = (
        pp.Graded(at_work(passes=2), "partial", "none", fraction_left=0.4, seconds=2.0, length=0.1, grader="Ida Blom"),
        pp.Graded(at_work(passes=8), "clean", "tint", laser="pulsed-300", wiped=False, waited=9e4, grader="Jonas"),
    )
    return [Exchanged(surface, own, graded, at_work(passes=6)), Exchanged(pp.Surface("wax", "oak"), own, ())]


@pytest.fixture(scope="module")
def file(jobs):
    return packed(jobs, KEY, "Invented Workshop", "2026-05-04")


def resigned(lines):
    """The lines under a true signature, as someone with a key of his own could make them."""
    body = b"".join(line + b"\n" for line in lines)
    return body + json.dumps({"signature": KEY.sign(body).hex()}).encode() + b"\n"


def test_what_goes_in_comes_out(jobs, file):
    found = unpacked(file)
    assert (found.shop, found.made, found.origin) == ("Invented Workshop", "2026-05-04", ORIGINS[0])
    assert found.key == fingerprint(KEY.public_key())
    first = found.jobs[0]
    assert first.surface == jobs[0].surface
    assert first.recipe == jobs[0].recipe
    assert first.laser == replace(jobs[0].laser, measured=())
    for one, other in zip(first.graded, jobs[0].graded, strict=True):
        assert replace(one, grader=None, laser=None) == replace(other, grader=None, laser=None)
    assert first.graded[1].laser == pp.laser("pulsed-300")


def test_the_key_is_the_standards_own(file):
    assert json.loads(file.split(b"\n")[0])["key"] == PUBLIC


def test_nobody_is_named(file):
    for word in (b"Ida", b"Blom", b"Jonas", b"3 May"):
        assert word not in file
    assert [g.grader for g in unpacked(file).jobs[0].graded] == ["grader 1", "grader 2"]


def test_equal_jobs_make_equal_files(jobs, file):
    assert packed(jobs, KEY, "Invented Workshop", "2026-05-04") == file


def test_any_changed_byte_is_refused(file):
    for place in range(0, len(file), 97):
        changed = bytearray(file)
        changed[place] ^= 1
        with pytest.raises(pp.InputError) as slip:
            unpacked(bytes(changed))
        assert str(slip.value).count(".") == 2  # what is wrong, and what to do


def test_lines_taken_out_or_turned_round_are_refused(file):
    lines = file.split(b"\n")
    for changed in ([lines[0], lines[2], lines[1], *lines[3:]], [lines[0], *lines[2:]], lines[:-2], lines[1:]):
        with pytest.raises(pp.InputError):
            unpacked(b"\n".join(changed))


def test_a_foreign_file_is_refused():
    for foreign in (
        b"",
        b"%PDF-1.7\n1 0 obj\n",
        b'{"a": 1}\n{"b": 2}\n{"c": 3}\n',
        b"\xff\xfe\n\n\n",
        b"[1]\n[2]\n[3]\n",
    ):
        with pytest.raises(pp.InputError, match=r"no exchange file|cannot be read"):
            unpacked(foreign)
    with pytest.raises(pp.InputError, match="bytes"):
        unpacked("text")


def test_an_oversized_file_is_refused(file, monkeypatch):
    monkeypatch.setattr(exchange, "MOST_BYTES", len(file) - 1)
    with pytest.raises(pp.InputError, match="larger than"):
        unpacked(file)


def test_another_version_is_refused(file):
    lines = file.split(b"\n")[:-2]
    with pytest.raises(pp.InputError, match="another version"):
        unpacked(resigned([lines[0].replace(b'"version":1', b'"version":3'), *lines[1:]]))


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (b'"passes":2', b'"passes":-2'),
        (b'"residue":"partial"', b'"residue":"spotless"'),
        (b'"average_power":250.0', b'"average_power":NaN'),
        (b'"average_power":250.0', b'"average_power":1e999'),
        (b'"average_power":250.0', b'"average_power":"250"'),
        (b'"oil-varnish"', b'"moon-dust"'),
        (b'"substrate":"oak"', b'"substrate":null'),
        (b'"graded":[{', b'"customer":"x","graded":[{'),
        (b'"m2":', b'"m3":'),
        (b'"spot_radius":', b'"other":1,"spot_radius":'),
        (b'"patterns":["line"', b'"patterns":["spiral"'),
        (b'"surface":{', b'"surface":[{},'),
        (b'"energy_limits":[[', b'"energy_limits":[[1,'),
    ],
)
def test_what_cannot_be_is_refused_though_it_be_signed(file, before, after):
    lines = file.split(b"\n")[:-2]
    assert before in lines[1]
    with pytest.raises(pp.InputError, match="Line 2") as slip:
        unpacked(resigned([lines[0], lines[1].replace(before, after), *lines[2:]]))
    assert slip.value.field == "file"


def test_a_deep_or_long_line_is_refused(file):
    head = file.split(b"\n")[0]
    for line in (b"[" * 100_000, b'{"a":"' + b"x" * exchange.MOST_LINE + b'"}'):
        with pytest.raises(pp.InputError):
            unpacked(resigned([head, line]))


def test_the_owner_sets_what_it_counts(file):
    (site,) = unpacked(file).sites(0.25, draws=256)
    assert site.weight == 0.25
    assert site.patches == 2
    own = fingerprint(KEY.public_key())
    assert site.laser is None  # two lasers
    assert site.grader is None
    one = unpacked(file)
    alone = replace(one, jobs=(replace(one.jobs[0], graded=one.jobs[0].graded[:1]),))
    (site,) = alone.sites(1.0, draws=256)
    assert site.laser == f"{own}: pulsed-500"
    assert site.grader == f"{own}: grader 1"
    with pytest.raises(pp.InputError, match="weight"):
        unpacked(file).sites(2.0, draws=256)


def test_where_it_comes_from_is_said(jobs, file):
    assert "From Invented Workshop, made 2026-05-04: 2 jobs, 2 graded patches, 1 recipe;" in unpacked(file).because
    starter = unpacked(packed(jobs, KEY, "proofpatch", "2026-05-04", ORIGINS[1]))
    assert "they are published data" in starter.because
    with pytest.raises(pp.InputError, match="where its patches come from"):
        packed(jobs, KEY, "a", "b", "hearsay")
    with pytest.raises(pp.InputError, match="shop"):
        packed(jobs, KEY, "a\nb", "c")
