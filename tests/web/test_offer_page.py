"""The offer on pages: the figures of the command line, papers that nothing alters, signatures, money that came in."""

import base64
import copy
import datetime
import io
import json
import re
from decimal import Decimal

import pytest
from fastapi.testclient import TestClient
from made_browser import PHONE, TOUCHED, accessible_in_both
from made_gate import SHOP, gate, job_file
from made_pages import seen
from PIL import Image, ImageDraw
from playwright.sync_api import expect
from pypdf import PdfReader

from proofpatch.cli import main
from proofpatch.errors import InputError
from proofpatch.shop.charges import charges_of, keep_charges, tables_of
from proofpatch.shop.papers import quotes_of
from proofpatch.shop.store import Overtaken
from proofpatch.web.app import create

TICKED = {"tick-0": "yes", "tick-1": "yes"}
CUSTOMER = "Mrs A. Fenwick\nWeir Cottage\nLow Weir"


def drawn(size=(640, 200), points=((60, 140), (160, 40), (300, 150), (560, 60))):
    picture = Image.new("RGBA", size)
    ImageDraw.Draw(picture).line(points, fill=(250, 250, 250, 255), width=5)  # the pale ink of a dark page
    out = io.BytesIO()
    picture.save(out, "PNG")
    return f"data:image/png;base64,{base64.b64encode(out.getvalue()).decode()}"


def squeezed(text):
    return re.sub(r"\s", "", text)


def pdf_text(answer):
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/pdf"
    return squeezed("".join(one.extract_text() for one in PdfReader(io.BytesIO(answer.content)).pages))


class Counter:
    """The pages of one job with what is sent to them."""

    def __init__(self, client, store, entry):
        self.client, self.store, self.key, self.base = client, store, entry.id, f"/jobs/{entry.id}"

    def get(self, path):
        return self.client.get(f"{self.base}{path}")

    def post(self, path, **form):
        version = self.store.get("job", self.key).version
        return self.client.post(f"{self.base}{path}", data={"version": version, **form})

    def mark(self):
        return re.search(r'name="mark" value="([^"]*)"', self.get("/quote").text)[1]

    def send(self):
        answer = self.post("/quotes", mark=self.mark())
        assert answer.status_code == 303, seen(answer)
        return answer.headers["location"].removeprefix(self.base)

    def accept(self, quote, **form):
        return self.post(f"{quote}/accept", **{"name": "A. Fenwick", "signature": drawn(), **TICKED, **form})


@pytest.fixture
def counter(client, store):
    keep_charges(store, SHOP, 0)
    found = Counter(client, store, gate(store))
    assert found.post("/quote", **{"offer.customer": CUSTOMER, "offer.number": "Q-2026-021"}).status_code == 303
    return found


# The command line reads the very tables with the shop's behind them, as a job file; it prints the same digits.
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


HALF = [
    ({"tick-1": ""}, "Not ticked"), ({"name": ""}, "There is no name."), ({"signature": ""}, "There is no signature."),
    ({"signature": drawn(points=((1, 1), (1, 1)))}, "Nothing is drawn"), ({"option": "Twice"}, "is not in the quote"),
    ({"signature": "data:image/png;base64,AAAA"}, "cannot be read"),
    ({"signature": drawn((5000, 20))}, "cannot be read"),
    ({"on_paper": "yes"}, "here and on paper"), ({"signature": "", "on_paper": "yes", "signed_on": "soon"}, "no date"),
    ({"signature": "", "on_paper": "yes", "signed_on": "2020-01-01"}, "before the quote was sent"),
]  # fmt: skip


def test_half_a_signature_is_none(counter, store):
    quote = counter.send()
    for form, said in HALF:
        answer = counter.accept(quote, **form)
        assert answer.status_code == 422, said
        assert said in seen(answer)
        if "signature" not in form:
            assert 'name="signature" value="data:image/png' in answer.text  # it need not be drawn again
    assert store.count("acceptance") == 0


def test_signed_on_paper_works_without_a_script(counter, store):
    quote = counter.send()
    answer = counter.accept(quote, signature="", on_paper="yes", option="")
    assert answer.status_code == 303
    assert "on paper" in seen(counter.get(quote))
    assert "signedonpaper" in pdf_text(counter.get(f"{quote}/signed.pdf"))
    assert [step["finding"] for step in _steps(counter) if step["name"] == "Offer"] == [
        store.all("quote")[0].title.replace("sent", "accepted")
    ]


def _steps(counter):
    page = counter.get("/offer").text
    found = re.findall(r"<b>([^<]+)</b> <small>([^<]+)</small></span></a></li>", page)
    return [{"name": name, "finding": finding.replace("\u00a0", " ")} for name, finding in found]


def test_the_invoice_is_of_what_was_accepted_and_payments_come_off(counter, store):
    counter.post("/offer", **{"zones[0].front": "yes"})
    quote = counter.send()
    options = dict((name, Decimal(value)) for name, _, value in store.all("quote")[0].data["quote"]["options"])
    assert counter.accept(quote, option="Front only").status_code == 303
    front = options["Front only"] * Decimal("1.2")
    assert f"accepted €{front:.2f}" in seen(counter.get(quote))
    today = datetime.date.today().isoformat()
    pay = {"paid": today, "how": "deposit"}
    for value in ("0", "-3", "10.005", "1e9"):
        assert counter.post(f"{quote}/payments", amount=value, **pay).status_code == 422
    assert counter.post(f"{quote}/payments", amount="60,00", **pay).status_code == 303
    told = {"number": "I-1", "day": today, "due": today, "extra": "Second coat of oil; 45,00"}
    assert counter.post(f"{quote}/invoice", **{**told, "due": "2001-01-01"}).status_code == 422
    answer = counter.post(f"{quote}/invoice", **told)
    bill = answer.headers["location"].removeprefix(counter.base)
    credit = Decimal(store.all("quote")[0].data["quote"]["credit"])
    owed = (options["Front only"] + 45) * Decimal("1.2") - credit - 60
    assert f"€{owed:.2f}" in seen(counter.get(bill)).split("Invoice I-1")[0]
    assert f"€{owed:.2f}" in pdf_text(counter.get(f"{bill}.pdf"))
    first = counter.get(f"{bill}.pdf").content
    assert counter.post(f"{quote}/payments", amount=str(owed), **pay).status_code == 303
    assert "Paid in full." in seen(counter.get(bill))
    assert "Paidinfull" in pdf_text(counter.get(f"{bill}/now.pdf"))
    assert counter.get(f"{bill}.pdf").content == first  # as it was handed out
    assert counter.post(f"{quote}/invoice", **told).status_code == 422  # its number is taken
    # A payment noted by mistake is struck, and comes back.
    last = store.in_order("payment", counter.key)[-1]
    counter.client.post(f"{counter.base}/payments/{last.id}/delete", data={"version": last.version})
    assert f"€{owed:.2f}" in seen(counter.get(bill)).split("Invoice I-1")[0]
    counter.client.post(f"{counter.base}/payments/{last.id}/restore", data={"version": last.version + 1})
    assert "Paid in full." in seen(counter.get(bill))


def test_a_sample_is_approved_or_not_and_stays_so(counter, store):
    patch = store.in_order("patch", counter.key)[-1].id
    form = {"patch": patch, "name": "A. Fenwick", "signature": drawn(), "seen": "Bare and bright.", "where": "low left"}
    assert "Nothing was decided." in seen(counter.post("/approval", **form))
    assert "There is no reason." in seen(counter.post("/approval", **form, decision="refused"))
    assert counter.post("/approval", **form, decision="approved").status_code == 303
    (kept,) = store.all("approval")
    text = pdf_text(counter.get(f"/approvals/{kept.id}.pdf"))
    assert "Bareandbright." in text
    assert "lowleft" in text
    assert "A. Fenwick approved A" in seen(counter.get("/approval"))
    with pytest.raises(InputError, match="stays as it is"):
        store.change("approval", kept.id, 1, {})
    assert counter.post("/approval", **{**form, "decision": "refused", "reason": "Too bright"}).status_code == 303
    assert "Toobright" in pdf_text(counter.get(f"/approvals/{store.all('approval')[0].id}.pdf"))


# What a program says makes the very papers of the pages.
def test_papers_over_http(counter, store):
    api, base = counter.client, f"/api{counter.base}"
    quote = counter.send().removeprefix("/quotes/")
    early = api.post(f"{base}/quotes/{quote}/invoices", json={})
    assert (early.status_code, early.json()["field"]) == (422, "quote")
    assert counter.accept(f"/quotes/{quote}").status_code == 303
    paid = api.post(f"{base}/quotes/{quote}/payments", json={"amount": "60.00", "how": "test patches"})
    assert (paid.status_code, api.get(f"{base}/payments").json()["payments"]) == (201, [paid.json()])
    body = {"extra": [{"words": "Hinges", "amount": "40.00"}], "notes": ["Thank you."]}
    made = api.post(f"{base}/quotes/{quote}/invoices", json=body)
    assert made.status_code == 201, made.text
    bill = made.json()
    gross = store.get("quote", quote).data["quote"]
    net = sum(Decimal(one["amount"]) for one in gross["lines"]) + 40
    assert (Decimal(bill["net"]), Decimal(bill["gross"])) == (net, net * Decimal("1.2"))
    assert Decimal(bill["owed"]) == net * Decimal("1.2") - 60
    assert api.get(f"{base}/invoices").json()["invoices"] == [bill] == [api.get(f"{base}/invoices/{bill['id']}").json()]
    assert api.get(f"{base}/invoices/{bill['id']}.pdf").content == counter.get(f"/invoices/{bill['id']}.pdf").content
    again = api.post(f"{base}/quotes/{quote}/invoices", json={"number": bill["number"]})
    assert (again.status_code, again.json()["field"]) == (422, "number")
    patch = store.in_order("patch", counter.key)[-1].id
    asked = {"patch": patch, "decision": "refused", "name": "A. Fenwick"}
    assert api.post(f"{base}/approvals", json=asked).json()["field"] == "reason"
    kept = api.post(f"{base}/approvals", json={**asked, "reason": "too pale", "seen": ["Pale.", "Even."]})
    assert (kept.status_code, kept.json()["approved"], kept.json()["seen"]) == (201, False, ["Pale.", "Even."])
    assert kept.json()["number"] in seen(counter.get("/approval"))
    assert pdf_text(api.get(f"{base}/approvals/{kept.json()['id']}.pdf"))
    signed = api.post(f"{base}/approvals", json={**asked, "decision": "approved", "signature": drawn()})
    assert signed.json()["number"] == kept.json()["number"].replace("-S1", "-S2")


# Another device approves while the sheet of this one is printed: each has a number of its own.
def test_two_approvals_at_once_have_two_numbers(counter, store, monkeypatch):
    from proofpatch.web import issued

    patch = store.in_order("patch", counter.key)[-1].id
    form = {"patch": patch, "decision": "approved", "name": "A. Fenwick", "on_paper": "yes"}
    print_, printed = issued.approval_pdf, []

    def meanwhile(*given, **more):
        printed.append(given[0].number)
        if len(printed) == 1:
            assert counter.post("/approval", **form).status_code == 303
        return print_(*given, **more)

    monkeypatch.setattr(issued, "approval_pdf", meanwhile)
    assert counter.post("/approval", **form).status_code == 303
    numbers = [one.data["number"][-3:] for one in store.in_order("approval", counter.key)]
    assert (numbers, [one[-3:] for one in printed]) == (["-S1", "-S2"], ["-S1", "-S1", "-S2"])


def test_a_thing_of_another_job_is_not_shown(counter, store):
    quote = counter.send()
    other = Counter(counter.client, store, gate(store))
    for path in (quote, f"{quote}.pdf", f"{quote}/signed.pdf"):
        assert other.get(path).status_code == 404
    assert counter.client.get(f"/api{other.base}{quote}").status_code == 404


def test_a_customer_signs_on_a_phone_with_a_finger(browser, shop, store):
    keep_charges(store, SHOP, 0)
    job = f"/jobs/{gate(store).id}"
    context = browser.new_context(**TOUCHED, base_url=shop)
    page = context.new_page()
    troubles = []
    page.on("console", lambda said: troubles.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda said: troubles.append(str(said)))
    page.goto(f"{job}/offer")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Quote €")
    accessible_in_both(page, "offer", PHONE["width"])
    expect(page.locator("svg[role=img]:visible")).to_have_count(1)
    page.get_by_role("link", name="Write the quote").tap()
    page.get_by_label("Customer", exact=True).fill("Mrs A. Fenwick\nWeir Cottage")
    page.get_by_role("button", name="Keep these words").tap()
    expect(page.get_by_role("button", name="Undo: offer")).to_be_visible()
    accessible_in_both(page, "draft", PHONE["width"])
    page.get_by_role("button", name="Send version 1").tap()
    expect(page.get_by_role("heading", level=1)).to_contain_text("sent")
    accessible_in_both(page, "quote", PHONE["width"])
    page.get_by_role("link", name="To the acceptance").tap()
    for box in page.locator("input[name^=tick]").all():
        box.check()
    canvas = page.locator("canvas")
    canvas.scroll_into_view_if_needed()
    touch = context.new_cdp_session(page)
    box = canvas.bounding_box()
    for n in range(12):
        point = {"x": box["x"] + 30 + 20 * n, "y": box["y"] + (25 if n % 2 else 70)}
        touch.send("Input.dispatchTouchEvent", {"type": "touchMove" if n else "touchStart", "touchPoints": [point]})
    touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    expect(page.get_by_text("Signed.", exact=True)).to_be_visible()
    assert page.evaluate("() => scrollY") > 0
    # Without a name it comes back, the signature with it.
    page.wait_for_timeout(400)  # a stroke and a tap at once are two taps to a phone
    page.get_by_role("button", name="Accept").tap()
    expect(page.get_by_text("There is no name.")).to_be_visible()
    assert page.locator("input[name=signature]").input_value().startswith("data:image/png")
    page.get_by_label("Name of the customer").fill("A. Fenwick")
    page.get_by_role("button", name="Accept").tap()
    expect(page.get_by_role("heading", level=1)).to_contain_text("A. Fenwick accepted €")
    accessible_in_both(page, "accepted", PHONE["width"])
    signature = Image.open(io.BytesIO(base64.b64decode(store.all("acceptance")[0].data["signature"])))
    assert signature.width > 2 * signature.height  # the zigzag, cut to its ink
    for path in ("/shop/prices", f"{job}/approval"):
        page.goto(path)
        accessible_in_both(page, path, PHONE["width"])
    context.close()
    assert [line for line in troubles if "status of 4" not in line] == []


def test_a_reader_without_a_script_sees_no_empty_field(store):
    keep_charges(store, SHOP, 0)
    with TestClient(create(store, patience=None), base_url="http://127.0.0.1", follow_redirects=False) as client:
        counter = Counter(client, store, gate(store))
        page = counter.get(counter.send()).text
    assert re.search(r'<div class="sign" data-signature hidden>', page)
    assert "Signed on paper" in page
