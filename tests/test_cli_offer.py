"""The offer at the command line: keys, exit codes, the page's own examples, the quote on paper."""

import io
import json
import re
import shlex
from decimal import Decimal
from pathlib import Path

import pytest
from made_cli import at_the_gate
from pypdf import PdfReader

DOCS = Path(__file__).parent.parent / "docs"
PAGE = (DOCS / "offer.md").read_text("utf-8")
GATE = (DOCS / "examples" / "gate.toml").read_text("utf-8")
KEYS = (
    "answer because currency setting time_s beam_on_s net tax gross loses below_floor earned_per_h parts rates doubts "
    "area_m2 pieces price_from chance cost cost_lines price_lines margin mark_up floor_per_h for_chance outcomes "
    "per_m2 per_piece choices quote assumptions"
)


@pytest.fixture
def run(capsys, tmp_path, monkeypatch):
    return at_the_gate("offer", capsys, tmp_path, monkeypatch)


def test_the_record_has_all_that_a_page_shows(run):
    code, out, err = run("gate.toml", "--json")
    record = json.loads(out)
    assert (code, err) == (0, "")
    assert set(KEYS.split()) <= set(record)
    assert Decimal(record["net"]) + Decimal(record["tax"]) == Decimal(record["gross"])
    assert sum(Decimal(one["sum"]) for one in record["price_lines"]) == Decimal(record["net"])
    assert Decimal(record["net"]) % 5 == 0  # its step
    assert (record["currency"], record["mark_up"]) == ("EUR", pytest.approx(1 / 3))
    assert len(record["outcomes"]) == 20
    costs = [one["cost"] for one in record["outcomes"]]
    assert costs == sorted(costs)
    dots = sum(cost > float(record["net"]) for cost in costs) / 20
    assert dots == pytest.approx(record["loses"], abs=0.05)
    sums = [Decimal(value) for value in record["for_chance"].values()]
    assert sums == sorted(sums)
    assert [one["name"] for one in record["choices"]][:1] == ["Front only"]
    assert Decimal(record["choices"][0]["net"]) < Decimal(record["net"])
    assert all(one["source"] for one in record["rates"])
    lines = record["quote"]["lines"]
    assert sum(Decimal(one["amount"]) for one in lines) == Decimal(record["net"])


def test_the_text_answers_first(run):
    code, out, err = run("gate.toml")
    assert (code, err) == (0, "")
    assert re.match(r"Quote €\d+\.00\. \d+ jobs in 20 like this cost you less\.", out)
    flat = " ".join(out.split())
    for said in ("Where the hours go", "What makes the doubt", "from memory, unverified", "Front only", "8 times in 10",
                 "no finished job of this shop corrects these hours yet", "a mark-up of 33.3 %"):  # fmt: skip
        assert said in flat
    assert all(len(line) <= 100 for line in out.splitlines())


def test_a_higher_chance_asks_more_and_an_own_price_is_looked_at(run):
    cheap, sure = (json.loads(run("gate.toml", "--chance", p, "--json")[1]) for p in ("60 %", "95 %"))
    assert Decimal(cheap["net"]) < Decimal(sure["net"])
    own = json.loads(run("gate.toml", "--price", "250", "--json")[1])
    assert (own["net"], own["price_from"]) == ("250.00", "owner")
    assert own["loses"] > cheap["loses"]


def test_pieces_are_priced_with_the_hand_learning(run, tmp_path):
    (tmp_path / "gate.toml").write_text(GATE.replace("[offer]\n", "[offer]\npieces = 4\n"), "utf-8")
    record = json.loads(run("gate.toml", "--json")[1])
    each = [Decimal(one["each"]) for one in record["per_piece"]]
    assert [one["pieces"] for one in record["per_piece"]] == [1, 2, 4, 5, 10]
    assert each == sorted(each, reverse=True)
    assert record["quote"]["pricing"] == "per piece"


def test_no_fee_is_credited_that_nobody_noted(run, tmp_path):
    (tmp_path / "gate.toml").write_text(GATE.replace("strips = 1\n", ""), "utf-8")
    quote = json.loads(run("gate.toml", "--json")[1])["quote"]
    assert Decimal(quote["credit"]) == 0
    assert dict(quote["terms"])["Test patches"].startswith("€60.00, due when they are laid, taken off the price")


def test_what_stops_the_pages_stops_the_price(run, tmp_path):
    lead = GATE[GATE.index("[lead]") : GATE.index("[limits]")]
    (tmp_path / "gate.toml").write_text(GATE.replace(lead, ""), "utf-8")
    code, out, _ = run("gate.toml", "--pdf", "quote.pdf")
    assert code == 1
    assert "Stop: lead" in out
    assert not (tmp_path / "quote.pdf").exists()


def test_without_a_confirming_patch_the_paper_is_an_estimate(run, tmp_path):
    out = run("gate.toml", "--pdf", "quote.pdf")[1]
    assert "this is an estimate, no quote" in " ".join(out.split())
    pages = PdfReader(tmp_path / "quote.pdf").pages
    said = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert "Estimate" in said
    assert "We accept estimate" in said
    assert "It depends on a test patch at this very setting" in said
    # A ceiling or a fixed sum is promised only of what was proven.
    for basis in ("not more than", "fixed", "estimate"):
        (tmp_path / "gate.toml").write_text(GATE.replace("[offer]\n", f'[offer]\nbasis = "{basis}"\n'), "utf-8")
        assert json.loads(run("gate.toml", "--json")[1])["quote"]["basis"] == "estimate"


def test_no_recipe_no_price(run, tmp_path):
    (tmp_path / "gate.toml").write_text(GATE.replace('p_harm = "30 %"', "p_harm = 0"), "utf-8")
    code, out, _ = run("gate.toml", "--json")
    assert code == 1
    assert json.loads(out)["answer"] == "no recipe"
    assert not (tmp_path / "quote.pdf").exists()


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [('margin = "25 %"', 'margin = "25 %"\nmark_up = 0.3', "prices.mark_up"),
     ("labour = 38.00", "labour = -1", "prices.labour"),
     ('"EUR"', '"XQQ"', "prices.currency"), ('tax = "20 %"', 'tax = "20 %"\ntax_per = "day"', "prices.tax_per"),
     ("strips = 1", 'basis = "cheap"', "offer.basis"),
     ("step = 5", 'subcontract = ["Refinishing"]', "prices.subcontract"), ('"en_IE"', '"nowhere"', "locale"),
     ('customer = ["Mr B. Hale",', 'customer = ["王",', "customer.name"), ("[[zones]]", "[[sones]]", "sones")],
)  # fmt: skip
def test_bad_input_is_one_sentence(run, tmp_path, old, new, field):
    (tmp_path / "gate.toml").write_text(GATE.replace(old, new), "utf-8")
    code, out, err = run("gate.toml", "--pdf", "quote.pdf")
    assert (code, out) == (2, "")
    assert len(err.strip().splitlines()) == 1
    assert field in err
    assert not (tmp_path / "quote.pdf").exists()


@pytest.mark.parametrize("words", [("--price", "0"), ("--price", "cheap"), ("--chance", "2"), ("--chance", "100 %"),
                                   ("--pdf", "quote.txt")])  # fmt: skip
def test_bad_options(run, words):
    code, out, err = run("gate.toml", *words)
    assert (code, out) == (2, "")
    assert words[0] in err


def test_the_examples_of_the_page_run(run, tmp_path):
    (block,) = re.findall(r"```sh\n(.*?)```", PAGE, re.DOTALL)
    for line in block.splitlines():
        words = shlex.split(line, comments=True)
        assert words[:2] == ["proofpatch", "offer"]
        assert run(*words[2:])[0] == 0, line
    pages = PdfReader(io.BytesIO((tmp_path / "quote.pdf").read_bytes())).pages
    said = " ".join(" ".join(page.extract_text() for page in pages).split())
    for words in (
        "Iron gate, loose rust off both faces",
        "Mr B. Hale",
        "Heron & Kiln Restoration",
        "VAT 20 %",
        "Acceptance",
    ):
        assert words in said


def test_the_python_of_the_page_runs():
    first, second = re.findall(r"```python\n(.*?)```", PAGE, re.DOTALL)
    names: dict[str, object] = {}
    exec(compile(first + second, "offer.md", "exec"), names)
    assert names["changed"][0] == "Total: now €420.00, was €790.00."
    assert names["page"].startswith(b"%PDF")
