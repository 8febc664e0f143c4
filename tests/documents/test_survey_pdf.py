"""The survey record in print: one page, every sentence of the record on it, nothing parsed as markup."""

import datetime
import io
import re

import pytest
from pypdf import PdfReader

from proofpatch import InputError
from proofpatch.documents.survey import survey_pdf, write_survey
from proofpatch.records_survey import survey_record
from proofpatch.survey import read_survey, split_item
from proofpatch.survey.decide import decide
from proofpatch.survey.evidence import TESTS

DAY = datetime.date(2026, 3, 2)
LITTLE = ("kind=clear film", "substrate=oak", "alcohol=none, 3 min", "year=1905", "beside=brass hinges, glass")
MUCH = (
    "kind=paint", "substrate=aluminium", "colour=yellow", "use=aircraft", "beside=wiring, decals, glass, leather",
    "suspect=mystery goo", "alcohol@top=none", "alcohol@leg=gummy", "acetone=none", "texture=textured", "layers=4",
    "condition=aged", "magnet=none", "uv=orange", "sheen=gloss", "scratch=hard", "water-drop=beads",
    "linseed-drop=beads", "lacquer-thinner=none", "xylene=none", "ammonia=none", "crazing=none", "marks=dead even",
    "warmth=none", "double-rubs=none", "use=boat hull, museum piece, cookware, deck, bolts, fire damage",
)  # fmt: skip


def record(*items):
    return survey_record(decide(read_survey(map(split_item, items)), "pulsed-500"))


def text_of(pdf):
    pages = PdfReader(io.BytesIO(pdf)).pages
    return len(pages), re.sub(r"\s+", "", "".join(page.extract_text() for page in pages))


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
@pytest.mark.parametrize("items", [(), LITTLE, MUCH], ids=["nothing", "little", "much"])
def test_it_is_one_page_that_holds_the_record(items, paper):
    one = record(*items)
    pages, text = text_of(survey_pdf(one, "Chest lid", paper, DAY))
    assert pages == 1
    shown = [one["because"], *one["stops"], *one["cautions"], *one["doubts"], "Chest lid", "2026-03-02"]
    shown += [part["text"] for part in (*one["do_not_touch"], *one["substrate_cautions"])]
    names = [part["name"].partition("@")[0] for part in one["evidence"][:20]]
    shown += [TESTS[name].title if name in TESTS else name.replace("-", " ").capitalize() for name in names]
    for words in shown:
        assert re.sub(r"\s+", "", words) in text, words


def test_titles_stand_where_the_record_has_ids():
    items = ("substrate=mild-steel", "told=oil-varnish", "uv=orange")
    _, text = text_of(survey_pdf(record(*items), "Gate", day=DAY))
    for said in ("UV", "Told", "oilvarnish", "mildsteel"):
        assert said in text
    for ids in ("oil-varnish", "mild-steel", "Uv"):
        assert ids not in text


def test_what_was_said_is_never_markup():
    nasty = "use=#panic() $x$ *b* ${ @ref <l> \\ //"
    pages, text = text_of(survey_pdf(record("kind=paint", nasty), "#set page() *T*", day=DAY))
    assert pages == 1
    assert "#panic()$x$*b*" in text
    assert "#setpage()*T*" in text


def test_the_same_record_gives_the_same_bytes():
    one = record(*LITTLE)
    assert survey_pdf(one, "Chest", day=DAY) == survey_pdf(one, "Chest", day=DAY)


def test_it_is_written_whole_or_not_at_all(tmp_path):
    path = tmp_path / "survey.pdf"
    path.write_bytes(b"old")
    with pytest.raises(InputError, match="paper"):
        write_survey(record(), "x", path, paper="a3")
    assert path.read_bytes() == b"old"
    write_survey(record(), "x", path)
    assert path.read_bytes().startswith(b"%PDF")
    assert list(tmp_path.iterdir()) == [path]
    with pytest.raises(InputError, match="cannot be written"):
        write_survey(record(), "x", tmp_path / "none" / "survey.pdf")
