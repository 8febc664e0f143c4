"""An empty shop offers the invented workshop: taken in while the pages stay open, marked, put away, brought back."""

import datetime
import io
import re

import pytest
from fastapi.testclient import TestClient
from made_browser import LAPTOP, PATIENT, PHONE, accessible_in_both, leads_on
from made_counter import pdf_text, squeezed
from made_laptop import served
from made_pages import NEW, seen
from playwright.sync_api import expect
from pypdf import PdfReader

from proofpatch import demo_shop
from proofpatch.demo_shop import fill, missing, pieces, prices
from proofpatch.shop.charges import charges_of
from proofpatch.shop.folder_zip import read_folder, write_folder
from proofpatch.shop.invented import NAME, invented_among, is_invented, learned_from, put_away
from proofpatch.shop.settings import keep_settings, settings_of
from proofpatch.shop.sites import sites_of
from proofpatch.shop.store import Store
from proofpatch.web.app import create

TITLES = [one["job"]["title"] for one in pieces()]
QUICK = [one for one in pieces() if one["job"]["title"].startswith(("Rainwater", "Garden", "Side"))]
MARK = "Neither piece nor workshop exists"


@pytest.fixture
def few(monkeypatch):
    """The workshop with the pieces that need no patch, so that it is taken in within seconds."""
    monkeypatch.setattr(demo_shop, "pieces", lambda: QUICK)


def home(client):
    return seen(client.get("/"))


def test_it_is_offered_taken_in_marked_put_away_and_brought_back(client, store, few):
    assert f"{len(QUICK)} pieces, from one that is refused" in home(client)
    assert client.post("/invented").headers["location"] == "/"
    client.app.state.desk.run(lambda: None)  # one piece has had its turn
    for _ in QUICK:
        client.app.state.desk.run(lambda: None)
    page = client.get("/")
    assert page.text.count('class="tag"') == len(QUICK)
    assert "refresh" not in page.headers
    assert settings_of(store)[0].name == NAME
    jobs = store.all("job")
    for entry in jobs:
        assert MARK in seen(client.get(f"/jobs/{entry.id}/survey"))
        assert MARK in seen(client.get(f"/jobs/{entry.id}/piece"))
    assert MARK in seen(client.get("/learned"))
    client.post("/invented")
    assert len(store.all("job")) == len(QUICK)  # once
    client.post("/invented/away")
    assert store.all("job") == []
    assert (settings_of(store)[0].name, charges_of(store)[0]) == ("", {})
    assert "Look at the invented workshop" not in home(client)
    assert "Bring the invented workshop back" in home(client)
    client.post("/invented/back")
    assert {one.id for one in store.all("job")} == {one.id for one in jobs}
    assert (settings_of(store)[0].name, charges_of(store)[0]) == (NAME, prices())


def test_a_piece_of_ones_own_is_never_marked_nor_put_away_nor_headed_by_the_invented_name(client, store, few):
    fill(store, lambda line: None)
    own = client.post("/new", data=NEW).headers["location"]
    assert MARK not in client.get(own).text
    assert MARK not in seen(client.get("/learned"))
    assert "Look at the invented" not in home(client)
    assert missing(store) == []
    client.post("/invented/away")
    assert [one.title for one in store.all("job")] == [NEW["title"]]
    client.post("/invented/back")
    assert len(store.all("job")) == 1 + len(QUICK)
    assert settings_of(store)[0].name == ""  # papers of the own piece stay without it


def test_what_the_shop_made_its_own_stays_when_it_is_put_away(store, few):
    fill(store, lambda line: None)
    keep_settings(store, {"name": "Weir Workshop"}, settings_of(store)[1].version)
    put_away(store, prices())
    assert settings_of(store)[0].name == "Weir Workshop"


def test_papers_of_an_invented_piece_say_so_whatever_the_shop_is_called(client, store, few):
    fill(store, lambda line: None)
    keep_settings(store, {"name": "Weir Workshop"}, settings_of(store)[1].version)
    (table,) = (one for one in store.all("job") if one.title.startswith("Side"))
    for sheet in ("survey", "hazards", "record"):
        assert f"Invented:{squeezed(table.title)}" in pdf_text(client.get(f"/jobs/{table.id}/{sheet}.pdf"))
    own = client.post("/new", data=NEW).headers["location"].removesuffix("/survey")
    assert "Invented" not in pdf_text(client.get(f"{own}/survey.pdf"))
    assert {one["title"]: one["invented"] for one in client.get("/api/jobs").json()["jobs"]} == {
        NEW["title"]: False, **{one["job"]["title"]: True for one in QUICK},
    }  # fmt: skip
    assert client.get(f"/api/jobs/{table.id}").json()["invented"] is True


def test_each_page_of_a_quote_of_an_invented_piece_says_so(counter, monkeypatch):
    """What is sent to a customer, and what comes after it."""
    monkeypatch.setattr("proofpatch.shop.invented.BY", "")  # who made the job of the tests
    quote = counter.send()
    pages = PdfReader(io.BytesIO(counter.get(f"{quote}.pdf").content)).pages
    assert len(pages) > 1
    assert all("Invented · " in one.extract_text() for one in pages)
    assert counter.accept(quote).status_code == 303
    today = datetime.date.today().isoformat()
    bill = counter.post(f"{quote}/invoice", number="I-1", day=today, due=today).headers["location"]
    assert "Invented:" in pdf_text(counter.client.get(f"{bill}.pdf"))


def test_one_that_was_cut_off_is_offered_the_rest(client, store, monkeypatch):
    monkeypatch.setattr(demo_shop, "pieces", lambda: QUICK[:1])
    fill(store, lambda line: None)
    monkeypatch.setattr(demo_shop, "pieces", lambda: QUICK)
    assert "Take in the rest of it" in home(client)
    fill(store, lambda line: None)
    assert sorted(one.title for one in store.all("job")) == sorted(one["job"]["title"] for one in QUICK)
    assert "Take in the rest of it" not in home(client)


def test_the_mark_stays_with_a_piece_that_was_changed_and_one_that_came_in_a_folder(client, store, few, tmp_path):
    fill(store, lambda line: None)
    gate = next(one for one in store.all("job") if one.title.startswith("Garden"))
    store.change("job", gate.id, gate.version, gate.data, "Gate", by="A. Owner")
    assert is_invented(store, gate.id)
    packed = io.BytesIO()
    write_folder(store, gate.id, packed)
    other = Store.open(tmp_path / "other")
    read_folder(other, packed)
    assert invented_among(other, [gate.id]) == {gate.id}
    other.close()


def test_invented_grades_teach_no_shop_with_a_piece_of_its_own(client, store, few):
    fill(store, lambda line: None)
    assert len(learned_from(store)) == len(QUICK)
    client.post("/new", data=NEW)
    assert [one.title for one in learned_from(store)] == [NEW["title"]]
    assert sites_of(store) == []


def test_the_whole_of_it_stands_still_when_the_server_ends(store, monkeypatch):
    taken = []
    monkeypatch.setattr("proofpatch.web.filling.take_in", lambda store, tables, going: taken.append(going))
    with TestClient(create(store, patience=None), base_url="http://127.0.0.1", follow_redirects=False) as client:
        client.app.state.desk.run(lambda: client.app.state.filling.begin())
    client.app.state.desk.run(lambda: None)
    client.app.state.desk.run(lambda: None)
    assert not client.app.state.filling.going
    assert all(not going() for going in taken)


def test_in_a_browser(browser, store, few):
    with served(create(store)) as address:
        for size in (PHONE, LAPTOP):
            page = browser.new_page(viewport=size, base_url=address)
            page.set_default_timeout(PATIENT)
            page.goto("/")
            accessible_in_both(page, "empty shop", size["width"])
        page.get_by_role("button", name="Look at the invented workshop").click()
        expect(page.locator(".tag")).to_have_count(len(QUICK))  # the page looks again by itself
        expect(page.get_by_text("looks again by itself")).to_have_count(0)
        accessible_in_both(page, "with invented pieces", LAPTOP["width"])
        page.set_viewport_size(PHONE)
        page.reload()
        accessible_in_both(page, "with invented pieces", PHONE["width"])
        page.get_by_role("link", name=re.compile("Garden gate")).first.click()
        expect(page.get_by_role("heading", name="So far it looks like")).to_be_visible()  # no page at work any more
        expect(page.get_by_text(MARK)).to_be_visible()
        accessible_in_both(page, "an invented piece", PHONE["width"])
        page.goto("/")
        with leads_on(page):
            page.get_by_role("button", name="Put the invented workshop away").click()
        page.get_by_role("button", name="Bring the invented workshop back").click()
        expect(page.locator(".tag")).to_have_count(len(QUICK))
