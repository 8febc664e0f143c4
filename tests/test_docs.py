"""What the documents show can be run."""

import math
import re
from importlib import import_module
from pathlib import Path

import pytest

import proofpatch as pp
from proofpatch.physics import beam, kinetics, optics, pulses, removal
from proofpatch.physics import sweep as sweeps
from proofpatch.survey.evidence import HISTORY, TESTS
from proofpatch.survey.suspicions import hazards

ROOT = Path(__file__).resolve().parent.parent
DOCS = ROOT / "docs"
PUBLISHED = (ROOT / "tests" / "survey" / "published.csv").read_text("utf-8").splitlines()[1:]


def test_the_python_of_the_readme_runs():
    (snippet,) = re.findall(r"```python\n(.*?)```", (ROOT / "README.md").read_text("utf-8"), re.DOTALL)
    names: dict[str, object] = {}
    exec(compile(snippet, "README.md", "exec"), names)
    assert isinstance(names["recipe"], pp.Recipe)


@pytest.mark.parametrize(
    "document", sorted([ROOT / "README.md", *DOCS.rglob("*.md")]), ids=lambda p: str(p.relative_to(ROOT))
)
def test_every_link_leads_somewhere(document):
    for target in re.findall(r"\]\(([^)#]+)\)", document.read_text("utf-8")):
        assert (document.parent / target).exists(), target


def test_every_document_is_in_the_index():
    named = {(DOCS / one).resolve() for one in re.findall(r"\]\(([^)#]+)\)", (DOCS / "README.md").read_text("utf-8"))}
    assert {path for path in DOCS.rglob("*.md") if path != DOCS / "README.md"} <= named


def test_the_reference_says_what_the_code_says(monkeypatch):
    monkeypatch.syspath_prepend(str(DOCS))
    import reference_pages

    for name, page in reference_pages.PAGES.items():
        assert page() == (DOCS / "reference" / name).read_text("utf-8"), "stale: make reference"


def test_each_equation_of_the_model_is_computed_where_it_says():
    rows = re.findall(r"`((?:physics|learn|offer)/\w+)\.py`((?: `\w+`)+)", (DOCS / "model.md").read_text("utf-8"))
    assert len(rows) > 25
    for module, names in rows:
        found = import_module(f"proofpatch.{module.replace('/', '.')}")
        for name in re.findall(r"`(\w+)`", names):
            assert callable(getattr(found, name)), (module, name)


# Each line of docs/model.md that is a formula in knobs, worked out by hand here, against what is computed there.
def test_the_equations_of_the_model_are_those_of_the_code():
    power, rate, width, w, m, v, u, sweep = 300.0, 20e3, 200e-9, 0.45e-3, 0.7, 10.0, 0.05, 0.1
    energy = power / rate
    assert pulses.pulse_energy(power, rate) == pytest.approx(energy)
    assert pulses.peak_power(energy, width) == pytest.approx(0.9394 * energy / width, rel=1e-4)
    assert pulses.available_power(rate, 500.0, 12e-3) == pytest.approx(min(500.0, rate * 12e-3))
    mean = energy / (math.pi * w**2)
    assert beam.mean_fluence(energy, w) == pytest.approx(mean)
    assert beam.peak_fluence(energy, w, m) == pytest.approx((2 - m) * mean)
    p, h = v / rate, u * sweep / v
    assert (sweeps.pulse_pitch(v, rate), sweeps.line_pitch(u, sweep, v)) == (pytest.approx(p), pytest.approx(h))
    assert sweeps.mean_dose(power, sweep, u) == pytest.approx(energy / (p * h))  # P/(W u), as pulses times energy
    assert optics.transmitted_share(1.3) == pytest.approx(math.exp(-1.3))
    assert removal.plume_saturation(3e4, 2e4) == pytest.approx(2e4 * (1 - math.exp(-1.5)))
    assert removal.blow_off_depth(3e4, 1e4, 2e-6) == pytest.approx(2e-6 * math.log(3.0))
    assert removal.incubation(50.0, 0.85) == pytest.approx(50.0 ** (0.85 - 1))
    assert removal.lift_margin(9e3, 4e3, 0.02, 30.0, 1e6, 50e-6) == pytest.approx(0.02 * 5e3 - (30 + 50))
    assert removal.surface_absorber_threshold(1500.0, width, 50.0, 3.6e6, 0.4) == pytest.approx(
        1500 / 2 * math.sqrt(math.pi * 50.0 * 3.6e6 * width) / 0.4
    )
    tint = kinetics.temperature_for_conversion(0.01, 0.5, 20.0, 120e3)
    assert 1 - math.exp(-math.exp(20.0 - 120e3 / (8.314462618 * tint)) * 0.5) == pytest.approx(0.01, rel=1e-6)


def test_the_drawing_of_the_model_is_what_its_script_draws(monkeypatch):
    monkeypatch.syspath_prepend(str(DOCS))
    import model_picture

    assert (DOCS / "model.svg").read_text("utf-8") == model_picture.draw()


def test_the_survey_page_names_every_finding_and_hazard():
    text = (DOCS / "survey.md").read_text("utf-8")
    for name in (*TESTS, *HISTORY, *hazards()):
        assert f"| `{name}`" in text, name
    for test in TESTS.values():
        assert f"| {', '.join(test.values) or 'a finish or coating by name'} | {test.strength:g} times |" in text, (
            test.id
        )
    for hazard in hazards().values():
        assert f"{hazard.name} | {hazard.settles} | {hazard.refused} |" in text, hazard.id
    assert f"Of {len(PUBLISHED)} evidence sets" in text


def test_the_contract_names_are_there():
    # design §8
    names = "Setting Layer Surface Graded Limits Hand prior forecast next_patch update recipe hours laser layered_rise"
    assert all(hasattr(pp, name) for name in names.split())


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda b, s: pp.forecast("b"), "belief"),
        (lambda b, s: pp.forecast(b, 0.9), "limits"),
        (lambda b, s: pp.recipe(None), "belief"),
        (lambda b, s: pp.next_patch(b, done=[3]), "done"),
        (lambda b, s: pp.update(3, []), "belief"),
        (lambda b, s: pp.Graded("s", "clean", "none"), "setting"),
        (lambda b, s: pp.Graded(s, "clean", "none", grader=3), "grader"),
        (lambda b, s: pp.Graded(s, "clean", "none", laser=3), "laser"),
        (lambda b, s: pp.hours(3, b, [1.0]), "recipe"),
        (lambda b, s: pp.prior(b.surface, 3), "laser"),
        (lambda b, s: pp.prior(b.surface, "pulsed-500", hand=3), "hand"),
        (lambda b, s: pp.Layer("wax", colour=[1, 2]), "colour"),
        (lambda b, s: pp.Layer(("a",)), "coating"),
        (lambda b, s: s.with_(pattern=[1, 2]), "pattern"),
    ],
)
def test_a_thing_of_the_wrong_kind_is_one_sentence(call, field, oak_belief, at_work):
    with pytest.raises(pp.InputError) as caught:
        call(oak_belief, at_work())
    assert caught.value.field == field
