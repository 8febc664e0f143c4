"""The recipe's card: the same figures as the record, the stops in front."""

import dataclasses
import io
import re

import pytest
from pypdf import PdfReader

import proofpatch as pp
from proofpatch.cli_show import margin_words
from proofpatch.documents.card import card_pdf
from proofpatch.errors import InputError
from proofpatch.materials import coating_ids
from proofpatch.records import recipe_record
from proofpatch.records_hazards import UNCOVERED
from proofpatch.shop.job import Job
from proofpatch.units import show


@pytest.fixture(scope="module")
def recipe():
    """(record, margins, job) of a recipe that is not confirmed yet."""
    work = Job("Vice", pp.Surface(["fresh-grease"], "mild-steel"), pp.laser("pulsed-500"))
    belief = pp.prior(work.surface, work.laser)
    found = pp.recipe(belief, pp.Limits(p_clean=0.5, p_harm=0.3))
    assert found.setting is not None
    record = recipe_record(found)
    return record, margin_words(record, work.laser), work


def words(pdf):
    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages).split())


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_it_says_what_the_record_says_on_one_page(recipe, paper):
    record, margins, work = recipe
    pdf = card_pdf(record, margins, work, "Vice <b>#set page()", UNCOVERED, paper)
    said = words(pdf)
    assert len(PdfReader(io.BytesIO(pdf)).pages) == 1
    assert "Vice <b>#set page()" in said
    for key, kind in (("average_power_W", "power"), ("repetition_rate_Hz", "frequency"), ("travel_speed_m_s", "speed")):
        assert show(record["setting"][key], kind) in said
    assert "Stop: not confirmed" in said
    assert "no protection covers this job" in said
    assert "no protection covers this job" not in words(card_pdf(record, margins, work, "Vice", None, paper))


def test_no_card_of_no_recipe(recipe):
    record, margins, work = recipe
    with pytest.raises(InputError):
        card_pdf({**record, "setting": None}, margins, work, "Vice", None)
    with pytest.raises(InputError):
        card_pdf(record, margins, work, "Vice", None, "a5")


def test_it_says_what_to_hold_and_on_what(recipe):
    record, margins, work = recipe
    one, held = record["setting"], work.laser.handpiece
    said = words(card_pdf(record, margins, work, "Vice", None))
    assert work.laser.title in said
    assert "Fresh grease or oil on mild steel, as described" in said
    assert f"Spot {show(2 * one['spot_radius_m'], 'length', 'metric')}" in said
    assert f"Sweep speed {show(one['sweep_speed_m_s'], 'speed')}" in said
    assert f"Stand-off {show(held.stand_off, 'length')}; " in said
    surveyed = dataclasses.replace(work, surveyed=True)
    assert "as described" not in words(card_pdf(record, margins, surveyed, "Vice", None))


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_passes_are_work_and_a_long_surface_still_fits(recipe, paper):
    record, margins, work = recipe
    many = pp.Layer({key: 0.1 for key in coating_ids()[:10]})
    deep = dataclasses.replace(work, surface=pp.Surface([many] * 3, "mild-steel"))
    for passes in (1, 4):
        setting = {**record["setting"], "passes": passes}
        pdf = card_pdf({**record, "setting": setting, "gentler": setting}, margins, deep, "Vice", UNCOVERED, paper)
        assert len(PdfReader(io.BytesIO(pdf)).pages) == 1
        said = words(pdf)
        assert "or another over" in said
        assert f"Passes {passes} " in said
        assert ("lay them one after another" in said) == (passes > 1)
        assert not re.search(rf"Passes {passes} leave it", said)
