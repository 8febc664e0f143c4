"""The offer on pages: the figures of the command line, prices, the quote and its versions."""

import copy
import datetime
import json
import re
from decimal import Decimal

import pytest
from made_counter import Counter, pdf_text, squeezed
from made_gate import SHOP, gate, job_file
from made_pages import seen

from proofpatch.cli import main
from proofpatch.errors import InputError
from proofpatch.shop.charges import charges_of, keep_charges, tables_of
from proofpatch.shop.papers import quotes_of
from proofpatch.shop.store import Overtaken

CUSTOMER = "Mrs A. Fenwick\nWeir Cottage\nLow Weir"


def test_page_pdf_api_and_command_line_agree(counter, store, tmp_path, capsys, monkeypatch):
    entry = store.get("job", counter.key)
    path = tmp_path / "gate.toml"
    path.write_text(job_file(tables_of(store, entry)), "utf-8")
    path.with_suffix(".patches.jsonl").write_text(
        "".join(json.dumps(dict(one.data)) + "\n" for one in store.in_order("patch", counter.key)), "utf-8"
    )
    with pytest.raises(SystemExit) as done:
        main(["offer", str(path), "--json"])
    record = json.loads(capsys.readouterr().out)
    assert done.value.code == 0
    assert counter.client.get(f"/api{counter.base}/offer").json() == record
    page = seen(counter.get("/offer")).replace("\u00a0", " ")
    for words in (record["answer"], record["because"], *(one["sentence"] for one in record["doubts"][:4])):
        assert words.replace("\u00a0", " ") in page
    for one in (record, *record["choices"]):
        assert f"€{Decimal(one['gross']):.2f}" in page
    for value in record["for_chance"].values():
        assert f"€{value}" in page
    quote = counter.send()
    sheet = pdf_text(counter.get(f"{quote}.pdf"))
    (sent,) = counter.client.get(f"/api{counter.base}/quotes").json()["quotes"]
    assert sent["quote"] == record["quote"] == store.all("quote")[0].data["quote"]
    assert counter.client.get(f"/api{counter.base}/quotes/{sent['id']}").json() == sent
    shown = seen(counter.get(quote))
    for line in record["quote"]["lines"]:
        assert f"€{line['amount']}" in shown
        assert f"€{line['amount']}" in sheet
    assert f"€{record['gross']}" in sheet
    assert squeezed("To the acceptance") not in sheet


def test_what_is_missing_is_said_with_the_next_step(client, store, job):
    assert "Stop: lead" in seen(client.get(f"{job}/offer"))
    bare = Counter(client, store, gate(store, zones=[]))
    assert "No price without an area." in seen(bare.get("/offer"))
    unpriced = Counter(client, store, gate(store))
    page = unpriced.get("/offer")
    assert "Nothing of the job has a price" in seen(page)
    assert 'href="/shop/prices"' in page.text
    assert unpriced.get("/quote").status_code == 303
    # Without its confirming patch the recipe gives a range, and no quote.
    keep_charges(store, SHOP, 0)
    last = store.in_order("patch", unpriced.key)[-1]
    store.delete("patch", last.id, last.version)
    page = seen(unpriced.get("/offer"))
    assert "Not to be quoted yet." in page
    record = client.get(f"/api/jobs/{unpriced.key}/offer").json()
    assert record["answer"] == "Not to be quoted yet."
    assert "What stands here is no quote." in record["because"]
    assert "If it holds: €" in page
    assert unpriced.get("/quote").status_code == 303
    assert unpriced.post("/quotes", mark="x").status_code == 303
    assert store.count("quote") == 0
    none = store.in_order("patch", unpriced.key)
    for one in none:
        store.delete("patch", one.id, one.version)
    assert "No price without a recipe." in seen(unpriced.get("/offer"))
    assert client.get(f"/api{unpriced.base}/offer").json()["answer"] == "no recipe"


def test_nothing_that_was_sent_can_be_altered(counter, store):
    quote = counter.send()
    entry = store.all("quote")[0]
    before = counter.get(f"{quote}.pdf").content
    kept = json.dumps(entry.data, sort_keys=True)
    counter.post("/offer", **{"offer.price": "1 850,50", "prices.subcontract": "Primer coat; 120,00"})
    changed = copy.deepcopy(SHOP)
    changed["letterhead"]["name"] = "Another name"
    keep_charges(store, changed, 1)
    assert counter.get(f"{quote}.pdf").content == before
    assert json.dumps(store.get("quote", entry.id).data, sort_keys=True) == kept
    for kind, key in (("quote", entry.id), ("paper", entry.data["pdf"])):
        for act in (lambda k, i: store.change(k, i, 1, {}), lambda k, i: store.delete(k, i, 1)):
            with pytest.raises(InputError, match="stays as it is"):
                act(kind, key)
    # A mistake is put right by a version that says what changed.
    second = counter.send()
    page = seen(counter.get(second))
    assert "Changed since version 1" in page
    total = Decimal("1850.50") * Decimal("1.2")
    assert f"Total: now €{total:,.2f}, was" in page
    assert squeezed("Changed since version 1") in pdf_text(counter.get(f"{second}.pdf"))
    old = counter.accept(quote)
    assert old.status_code == 422
    assert "Version 2 was sent since." in seen(old)
    assert counter.accept(second).status_code == 303
    assert "Version 2 says all this already." in seen(counter.get("/quote"))
    with pytest.raises(InputError, match="stays as it is"):
        store.change("acceptance", store.all("acceptance")[0].id, 1, {})


def test_two_tabs_send_once_and_keep_both_changes(counter, store):
    mark = counter.mark()
    assert counter.post("/quotes", mark=mark).status_code == 303
    late = counter.post("/quotes", mark=mark)
    assert late.status_code == 422
    assert "It is not what you looked at any more." in seen(late)
    assert store.count("quote") == 1
    form = {"version": store.get("job", counter.key).version, "offer.strips": "2"}
    assert counter.client.post(f"{counter.base}/offer", data=form).status_code == 303
    other = counter.client.post(f"{counter.base}/offer", data={**form, "offer.strips": "3"})
    assert other.status_code == 409
    assert store.get("job", counter.key).data["offer"]["strips"] == 2
    undone = counter.post("/undo", after=f"{counter.base}/offer")
    assert undone.headers["location"] == f"{counter.base}/offer"
    assert "strips" not in store.get("job", counter.key).data["offer"]
    # The shop's prices, too: the first of two tabs stands.
    page = {"version": 1, "prices.labour": "40"}
    assert counter.client.post("/shop/prices", data=page).status_code == 303
    assert counter.client.post("/shop/prices", data={**page, "prices.labour": "50"}).status_code == 409
    assert charges_of(store)[0]["prices"]["labour"] == "40"
    assert counter.client.post("/shop/prices/undo", data={"version": 2}).status_code == 303
    assert charges_of(store)[0]["prices"]["labour"] == "38.00"
    with pytest.raises(Overtaken):
        keep_charges(store, SHOP, 0)  # a tab that was opened before anything was kept


ABSURD = [
    ("/offer", "offer.pieces", "0", "no whole number from 1"), ("/offer", "offer.pieces", "1e9", "no whole number"),
    ("/offer", "offer.distance", "99999999", "not from 0 to 10000"), ("/offer", "offer.price", "1.850", "two ways"),
    ("/offer", "offer.price", "-5", "outside 0"), ("/offer", "offer.waiting", "soon", "does not start with a number"),
    ("/offer", "prices.chance", "130 %", "too large"), ("/offer", "zones[0].masking", "2", "no unit"),
    ("/offer", "prices.subcontract", "Refinishing 200", "has no sum"),
    ("/quote", "offer.valid_days", "900", "1 to 365"),
    ("/quote", "offer.customer", "\n".join(["x"] * 13), "more than 12 lines"),
    ("/quote", "offer.customer", "y" * 300, "at most 200 characters"),
]  # fmt: skip


def test_an_absurd_value_gets_one_sentence_at_its_field(counter, store):
    before = store.get("job", counter.key).version
    for path, field, value, said in ABSURD:
        form = {"offer.site": "Kept words", "offer.travel": "25 min", field: value}
        answer = counter.post(path, **form)
        assert answer.status_code == 422, (field, value)
        assert said in seen(answer), (field, value)
        assert len(re.findall('role="alert"', answer.text)) == 1, (field, value)
        assert f'id="e-{field}"' in answer.text, (field, value)
        # What was typed stands there again, the right and the wrong.
        assert (value if "\n" not in value else "x\nx") in answer.text
        assert ("Kept words" if path == "/quote" else "25 min") in answer.text
    assert store.get("job", counter.key).version == before


NO_PRICES = [
    ("prices.labour", "lots", "no sum"), ("prices.mark_up", "0.5", "A margin and a mark-up are given."),
    ("prices.tax", "300 %", "too large"), ("letterhead.terms", "no head here", "has no head"),
    ("rates.breaks", "7", "not from 0 to 0.9"), ("letterhead.locale", "xx_nowhere", "language"),
]  # fmt: skip


def test_a_price_of_the_shop_that_is_none_is_refused_and_nothing_typed_lost(client, store):
    keep_charges(store, SHOP, 0)
    for field, value, said in NO_PRICES:
        form = {"version": 1, "prices.margin": "25 %", "prices.energy": "0,31", field: value}
        answer = client.post("/shop/prices", data=form)
        assert answer.status_code == 422, field
        assert said in seen(answer), field
        assert 'value="0,31"' in answer.text
    assert charges_of(store)[0] == SHOP


def test_every_remembered_rate_says_where_it_comes_from(client):
    page = seen(client.get("/shop/prices"))
    assert page.count("from memory, unverified") + page.count("common practice, no source") >= 15
    assert "left out: 30 min, 18.3 min to 48.3 min; from memory, unverified" in page


def test_a_job_says_its_own_prices_over_those_of_the_shop(counter, store):
    entry = store.get("job", counter.key)
    data = {**entry.data, "prices": {"labour": "100", "mark_up": 0.5, "currency": "JPY"}}
    store.change("job", counter.key, entry.version, data)
    found = tables_of(store, store.get("job", counter.key))["prices"]
    assert (found["labour"], found["currency"], found["laser"]) == ("100", "JPY", "14.00")
    assert "margin" not in found
    assert "¥" in seen(counter.get("/offer"))


def test_a_ceiling_is_chosen_on_the_page_and_stands_on_the_paper(counter, store):
    assert counter.post("/offer", **{"offer.basis": "cheap"}).status_code == 422
    assert counter.post("/offer", **{"offer.basis": "not more than", "offer.price": "500"}).status_code == 303
    assert '<option value="not more than" selected' in counter.get("/offer").text
    assert "Not more than €600.00" in seen(counter.get("/quote"))
    quote = counter.send()
    assert store.all("quote")[0].data["quote"]["basis"] == "not more than"
    assert squeezed("Not more than €600.00 with VAT") in pdf_text(counter.get(f"{quote}.pdf"))
    assert counter.accept(quote).status_code == 303
    # What it took is billed: less than the ceiling.
    bill = {"number": "I-1", "day": datetime.date.today().isoformat(), "due": datetime.date.today().isoformat()}
    made = counter.post(f"{quote}/invoice", **bill, extra="Took less time; -50.00")
    assert made.status_code == 303, seen(made)
    assert "€540.00" in seen(counter.client.get(made.headers["location"]))


def test_long_and_right_to_left_names_stand_on_page_and_paper(counter, store):
    name = "أحمد بن يوسف الحدّاد"
    long = "Donaudampfschifffahrtselektrizitätenhauptbetriebswerkbauunterbeamtengesellschaft"
    counter.post("/quote", **{"offer.customer": f"{name}\n{long}", "offer.number": "Q-7"})
    quote = counter.send()
    page = counter.get(quote)
    assert f'<b dir="auto">{name}</b>' in page.text
    assert long in page.text
    text = pdf_text(counter.get(f"{quote}.pdf"))
    assert "Donaudampfschifffahrt" in text
    assert counter.accept(quote, name=name).status_code == 303
    assert counter.accept(quote).status_code == 422  # once
    lost = Counter(counter.client, store, gate(store))
    lost.post("/quote", **{"offer.customer": "王", "offer.number": "Q-8"})
    refused = lost.post("/quotes", mark=lost.mark())
    assert refused.status_code == 422
    assert "no shape for 王" in seen(refused)
    assert len(quotes_of(store, lost.key)) == 0
    same = Counter(counter.client, store, gate(store))
    same.post("/quote", **{"offer.number": "Q-7"})
    twice = same.post("/quotes", mark=same.mark())
    assert "is on a quote of another job" in seen(twice)
