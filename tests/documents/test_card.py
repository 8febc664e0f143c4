"""The recipe's card: the same figures as the record, the stops in front."""

import io

import pytest
from pypdf import PdfReader

import proofpatch as pp
from proofpatch.cli_show import margin_words
from proofpatch.documents.card import card_pdf
from proofpatch.errors import InputError
from proofpatch.records import recipe_record
from proofpatch.units import show


@pytest.fixture(scope="module")
def recipe():
    """(record, margins) of a recipe that is not confirmed yet."""
    belief = pp.prior(pp.Surface(["fresh-grease"], "mild-steel"), "pulsed-500")
    found = pp.recipe(belief, pp.Limits(p_clean=0.5, p_harm=0.3))
    assert found.setting is not None
    record = recipe_record(found)
    return record, margin_words(record, belief.laser)


def words(pdf):
    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages).split())


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_it_says_what_the_record_says_on_one_page(recipe, paper):
    record, margins = recipe
    pdf = card_pdf(record, margins, "Vice <b>#set page()", False, paper)
    said = words(pdf)
    assert len(PdfReader(io.BytesIO(pdf)).pages) == 1
    assert "Vice <b>#set page()" in said
    for key, kind in (("average_power_W", "power"), ("repetition_rate_Hz", "frequency"), ("travel_speed_m_s", "speed")):
        assert show(record["setting"][key], kind) in said
    assert "Stop: not confirmed" in said
    assert "no protection covers this job" in said
    assert "no protection covers this job" not in words(card_pdf(record, margins, "Vice", True, paper))


def test_no_card_of_no_recipe(recipe):
    record, margins = recipe
    with pytest.raises(InputError):
        card_pdf({**record, "setting": None}, margins, "Vice", True)
    with pytest.raises(InputError):
        card_pdf(record, margins, "Vice", True, "a5")
