"""Papers on pages: acceptance, sample approval, invoice and payments, signed with a finger or on paper."""

import base64
import datetime
import io
import re
from decimal import Decimal

import pytest
from fastapi.testclient import TestClient
from made_browser import PHONE, TOUCHED, accessible_in_both, leads_on, looked_at
from made_counter import Counter, drawn, pdf_text
from made_gate import SHOP, gate
from made_pages import seen
from PIL import Image
from playwright.sync_api import expect

from proofpatch.errors import InputError
from proofpatch.shop.charges import keep_charges
from proofpatch.web.app import create

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


def test_nobody_accepts_the_quote_of_a_job_that_something_stops(counter, store):
    quote = counter.send()
    entry = store.get("job", counter.key)
    store.change(
        "job", entry.id, entry.version, {**entry.data, "job": {**entry.data["job"], "suspects": ["nitrocellulose"]}}
    )
    page = seen(counter.get(quote))
    assert "Nobody can accept it until that is settled." in page
    assert "Accept for" not in page
    answer = counter.accept(quote)
    assert answer.status_code == 422
    assert "Stop: nitrocellulose" in seen(answer)
    assert store.all("acceptance") == []


def test_a_thing_of_another_job_is_not_shown(counter, store):
    quote = counter.send()
    other = Counter(counter.client, store, gate(store))
    for path in (quote, f"{quote}.pdf", f"{quote}/signed.pdf"):
        assert other.get(path).status_code == 404
    assert counter.client.get(f"/api{other.base}{quote}").status_code == 404


def test_a_customer_signs_on_a_phone_with_a_finger(browser, shop, store):
    keep_charges(store, SHOP, 0)
    job = f"/jobs/{gate(store).id}"
    with looked_at(browser, **TOUCHED, base_url=shop) as page:
        signed_by_touch(page, store, job)


def signed_by_touch(page, store, job):
    page.goto(f"{job}/offer")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Quote €")
    accessible_in_both(page, "offer", PHONE["width"])
    expect(page.locator("svg[role=img]:visible")).to_have_count(1)
    page.get_by_role("link", name="Write the quote").tap()
    page.get_by_label("Customer", exact=True).fill("Mrs A. Fenwick\nWeir Cottage")
    page.get_by_role("button", name="Keep these words").tap()
    expect(page.get_by_role("button", name="Undo: offer")).to_be_visible()
    accessible_in_both(page, "draft", PHONE["width"])
    with leads_on(page):
        page.get_by_role("button", name="Send version 1").tap()
    expect(page.get_by_role("heading", level=1)).to_contain_text("sent")
    accessible_in_both(page, "quote", PHONE["width"])
    with leads_on(page):
        page.get_by_role("link", name="To the acceptance").tap()
    for box in page.locator("input[name^=tick]").all():
        box.check()
    canvas = page.locator("canvas")
    canvas.scroll_into_view_if_needed()
    touch = page.context.new_cdp_session(page)
    box = canvas.bounding_box()
    for n in range(12):
        point = {"x": box["x"] + 30 + 20 * n, "y": box["y"] + (25 if n % 2 else 70)}
        touch.send("Input.dispatchTouchEvent", {"type": "touchMove" if n else "touchStart", "touchPoints": [point]})
    touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    expect(page.get_by_text("Signed.", exact=True)).to_be_visible()
    assert page.evaluate("() => scrollY") > 0
    # Without a name it comes back, the signature with it.
    page.wait_for_timeout(400)  # a stroke and a tap at once are two taps to a phone
    with leads_on(page):
        page.get_by_role("button", name="Accept").tap()
    expect(page.get_by_text("There is no name.")).to_be_visible()
    assert page.locator("input[name=signature]").input_value().startswith("data:image/png")
    page.get_by_label("Name of the customer").fill("A. Fenwick")
    with leads_on(page):
        page.get_by_role("button", name="Accept").tap()
    expect(page.get_by_role("heading", level=1)).to_contain_text("A. Fenwick accepted €")
    accessible_in_both(page, "accepted", PHONE["width"])
    signature = Image.open(io.BytesIO(base64.b64decode(store.all("acceptance")[0].data["signature"])))
    assert signature.width > 2 * signature.height  # the zigzag, cut to its ink
    for path in ("/shop/prices", f"{job}/approval"):
        page.goto(path)
        accessible_in_both(page, path, PHONE["width"])


def test_a_reader_without_a_script_sees_no_empty_field(store):
    keep_charges(store, SHOP, 0)
    with TestClient(create(store, patience=None), base_url="http://127.0.0.1", follow_redirects=False) as client:
        counter = Counter(client, store, gate(store))
        page = counter.get(counter.send()).text
    assert re.search(r'<div class="sign" data-signature hidden>', page)
    assert "Signed on paper" in page
