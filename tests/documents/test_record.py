"""The completion record on paper: every figure of the record, tagged, nothing lost, no grade of a standard claimed."""

import base64
import datetime
import io
import re

import pytest
from made_record import finished_gate, with_photos
from pypdf import PdfReader

import proofpatch as pp
from proofpatch.documents.paper import Signature
from proofpatch.documents.record import mass_words, record_page, record_pdf
from proofpatch.errors import InputError
from proofpatch.shop.completions import keep_record, record_of, with_words
from proofpatch.shop.job import job_from
from proofpatch.shop.kept_pairs import MOST, laid, pairs_of
from proofpatch.shop.pairs import pair_jpegs
from proofpatch.shop.store import LARGEST, Store
from proofpatch.units import shown_in

SIZES = {"a4": (595.28, 841.89), "us-letter": (612.0, 792.0)}  # pt; ISO 216 and 8.5 by 11 in
AIR = {"waste": "Residue, filters and wipes are waste: bag them wet.", "filters": "HEPA."}


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    """(the record of a finished gate with everything, its pictures)."""
    store = Store.open(tmp_path_factory.mktemp("record") / "shop")
    entry = finished_gate(store, air={"capture": "90 %"})
    with_photos(store, entry)
    work = job_from(entry.data)
    belief = pp.prior(work.surface, work.laser, work.hand, seed=work.seed)
    found = record_of(store, entry, work, 2, belief, AIR)
    pictures = [pair_jpegs(laid(store, one.data)[0], 1200) for one in pairs_of(store, entry.id)]
    yield with_words(found, ["The hinge was freed."], ["The customer paints the hinge."]), pictures
    store.close()


@pytest.fixture(scope="module")
def bare(tmp_path_factory):
    """The record of the same job of which nothing was logged, graded or photographed."""
    store = Store.open(tmp_path_factory.mktemp("bare") / "shop")
    entry = finished_gate(store, agreed=False, log=False)
    yield record_of(store, entry, job_from(entry.data))
    store.close()


def read(pdf):
    return PdfReader(io.BytesIO(pdf))


def words(pdf):
    return " ".join(" ".join(page.extract_text() for page in read(pdf).pages).split())


def squeezed(text):
    return re.sub(r"\s", "", text)


def flat(value):
    """Every text of a page's words but the names of its files and the letterhead's empty fields."""
    if isinstance(value, dict):
        return [text for key, one in value.items() if key not in ("files", "alt", "photo_alt") for text in flat(one)]
    if isinstance(value, (list, tuple)):
        return [text for one in value for text in flat(one)]
    return [value] if isinstance(value, str) else []


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_every_word_and_figure_of_the_page_is_on_paper(done, paper):
    record, pictures = done
    pdf = record_pdf(record, paper, pictures)
    said = squeezed(words(pdf))
    for text in flat(record_page(record)):
        assert squeezed(text) in said, text
    for page in read(pdf).pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(SIZES[paper], abs=0.5)


def test_the_figures_are_those_of_the_record(done):
    record, pictures = done
    said = words(record_pdf(record, "a4", pictures))
    pair = record["pairs"][0]
    assert f"{100 * pair['share']:.1f} % of the piece changed" in said
    assert f"{pair['tone']['change']:.1f} ± {pair['tone']['error']:.1f} CIEDE2000" in said
    assert "Area in all 2.68 m²" in said
    assert "500 W" in said
    assert "Quote Q-2026-014, version 1, accepted by A. Fenwick on 2 March 2026." in said
    assert "An alarm. The chiller ran warm." in said
    assert mass_words(record["waste"]["mass_kg"]["p50"]) in said
    assert "The hinge was freed." in said
    assert "The customer paints the hinge." in said
    assert "No clearance".lower() in said.lower()
    assert "A visual comparison only. It is no grade of ISO 8501-1 or SSPC and claims none" in said
    for one in record["sources"]:
        assert squeezed(one["cite"]) in squeezed(said)


# PDF 1.7 (ISO 32000-1), 14.8: a tagged document is marked, has a structure tree and a language.
def test_it_is_tagged_and_its_pictures_speak(done):
    record, pictures = done
    pdf = record_pdf(record, "a4", pictures)
    root = read(pdf).trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert "/StructTreeRoot" in root
    assert root["/Lang"].startswith("en")
    alts = re.findall(r"/Alt", "".join(str(one.get_object()) for one in _all(read(pdf))))
    assert len(alts) >= 2
    assert record_pdf(record, "a4", pictures) == pdf


def _all(reader):
    return [reader.get_object(n) for n in range(1, len(reader.xref[0]) + 1) if reader.get_object(n) is not None]


def test_of_a_job_without_photos_or_grades_it_says_so_in_each_place(bare):
    said = words(record_pdf(bare, draft=True))
    for sentence in (
        "What was done is not recorded.", "Nothing was agreed in writing.", "Settings really used: not recorded.",
        "Start of day: not recorded.", "Not measured: no photos before and after were compared.",
        "Outer face Not measured.", "Rails Not measured.", "Mass that came off: not measured.",
        "Beam on: not recorded.", "Draft, not handed over", "None is on record.",
    ):  # fmt: skip
        assert sentence in said, sentence
    assert "CIEDE2000" not in said
    assert "within the visual limit" not in said


def test_a_signature_stands_under_it(done):
    record, pictures = done
    png = base64.b64decode(
        "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNkYPhfDwAChwGA60e6kgAAAABJRU5ErkJggg=="
    )
    when = datetime.datetime(2026, 3, 10, 9, 30, tzinfo=datetime.UTC)
    signed = Signature("A. Fenwick", when, png, ("I have looked at it.",))
    pdf = record_pdf(record, "a4", pictures, signature=signed)
    assert "Customer: A. Fenwick, 10 March 2026, 09:30 UTC" in words(pdf)
    assert "I have looked at it." in words(pdf)
    assert "name, signature, date" not in words(pdf)
    on_paper = Signature("A. Fenwick", datetime.datetime(2026, 3, 10), b"", ())
    assert "signed on paper" in words(record_pdf(record, signature=on_paper))


# A thing of the store holds 2 MB; a paper is kept as text, four thirds as long.
def test_it_can_be_kept_with_as_many_pictures_as_it_shows(done):
    record, _ = done
    from PIL import Image

    out = io.BytesIO()
    Image.effect_noise((1200, 900), 120).convert("RGB").save(out, "JPEG", quality=95)
    full = {**record, "pairs": record["pairs"] * MOST}
    pdf = record_pdf(full, "a4", [(out.getvalue(), out.getvalue())] * MOST)
    assert len(pdf) * 4 / 3 < 0.9 * LARGEST
    assert words(pdf).count("Before. Taken") == MOST


def test_what_was_typed_is_never_markup_and_a_letter_without_a_shape_is_refused(done):
    record, _ = done
    odd = with_words({**record, "title": "Gate <b>#set page() $x$"}, ["#import *"], [])
    said = words(record_pdf(odd))
    assert "Gate <b>#set page() $x$" in said
    assert "#import *" in said
    for field, changed in (
        ("title", {"title": "王"}), ("customer.name", {"customer": {**record["customer"], "name": "王"}}),
        ("remarks", {"remarks": ["王"]}),
    ):  # fmt: skip
        with pytest.raises(InputError, match="no shape for 王") as caught:
            record_pdf({**record, **changed})
        assert caught.value.field == field
    with pytest.raises(InputError, match="a5"):
        record_pdf(record, "a5")


def test_it_speaks_the_units_of_the_shop(done):
    record, _ = done
    with shown_in("us"):
        said = words(record_pdf(record, "us-letter"))
    assert "28.8 ft²" in said  # 2.68 m²
    assert "m²" not in said.replace(" m².", "")  # but for the words of the quote, as it was sent


# The international avoirdupois pound of 1959 is 0.45359237 kg, exactly; sixteen ounces.
@pytest.mark.parametrize(
    ("mass", "metric", "us"), [(0.45359237, "450 g", "1 lb"), (0.01234, "12 g", "0.44 oz"), (2.5, "2.5 kg", "5.5 lb")]
)
def test_masses_are_said_as_scales_show_them(mass, metric, us):
    assert mass_words(mass) == metric
    with shown_in("us"):
        assert mass_words(mass) == us


def test_the_pdf_is_kept_as_it_is(store, bare):
    entry = store.add("job", {"job": {"title": "Gate"}}, title="Gate")
    pdf = record_pdf(bare)
    kept = keep_record(store, entry.id, with_words(bare, [], []), "a4", pdf)
    assert base64.b64decode(store.get("paper", kept.data["pdf"]).data["pdf"]) == pdf
