"""What the documents show can be run."""

import re
from pathlib import Path

import pytest

import proofpatch as pp
from proofpatch.survey.clear import hazards
from proofpatch.survey.evidence import HISTORY, TESTS

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
