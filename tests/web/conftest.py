"""A shop on a port of its own, and a real browser."""

import io
import re
import shutil
from dataclasses import dataclass

import pytest
from fastapi.testclient import TestClient
from made_away import FLAGS, away
from made_browser import LAPTOP, PATIENT, TOUCHED, looked_at
from made_counter import Counter
from made_gate import SHOP, gate
from made_laptop import Laptop, served
from made_pages import LEAD, NEW, PAN, send
from PIL import Image
from playwright.sync_api import expect, sync_playwright

from proofpatch.demo_shop import pieces, take_in
from proofpatch.shop.charges import keep_charges
from proofpatch.shop.photos import add_photo
from proofpatch.shop.store import Store
from proofpatch.web.app import create

expect.set_options(timeout=PATIENT)


@pytest.fixture
def shop(store):
    """The address of the pages over the store."""
    with served(create(store)) as address:
        yield address


FLOOR = ("Skillet, cast iron", "Side table, mahogany", "Tea kitchen wall, fired brick")  # recipe, stopped, strip laid


@dataclass(frozen=True)
class Floor:
    """A shop at work: its address, and its jobs by the first word of their title."""

    address: str
    jobs: dict[str, str]
    store: Store


@pytest.fixture(scope="session")
def floor(tmp_path_factory):
    """A shop with a piece at each kind of step, a photo, a laser; read only, as all tests of the phone share it."""
    store = Store.open(tmp_path_factory.mktemp("floor") / "shop")
    jobs = {}
    for tables in pieces():
        if (title := tables["job"]["title"]) in FLOOR:
            jobs[re.split(r"\W", title.lower())[0]] = f"/jobs/{take_in(store, tables).id}"
    out = io.BytesIO()
    Image.effect_noise((1600, 1200), 60).convert("RGB").save(out, "JPEG", quality=95)
    for job, about in (("tea", "A1"), ("skillet", "the lid")):
        add_photo(store, out.getvalue(), jobs[job].rsplit("/", 1)[1], about=about)
    with served(create(store, patience=None)) as address:
        yield Floor(address, jobs, store)
    store.close()


@pytest.fixture
def phone(browser, floor):
    """A page of that shop on a phone: touch, twice the pixels."""
    with looked_at(browser, **TOUCHED, base_url=floor.address) as found:
        yield found


@pytest.fixture(scope="session")
def play():
    with sync_playwright() as found:
        yield found


@pytest.fixture(scope="session")
def program():
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    assert found, "The browser is missing. Install it with: sudo apt-get install chromium"
    return found


@pytest.fixture
def laptop(store):
    """The shop open over https, to be shut and opened again."""
    found = Laptop(store)
    found.open()
    yield found
    found.shut()


@pytest.fixture
def roaming(play, program, laptop, tmp_path):
    """A page of a phone that trusts that laptop and may be out of its reach."""
    with away(play, program, laptop, tmp_path / "home") as page:
        yield page


@pytest.fixture(scope="session")
def browser(play, program):
    found = play.chromium.launch(executable_path=program, args=FLAGS)
    yield found
    found.close()


@pytest.fixture
def page(browser, shop):
    """A page of the shop."""
    with looked_at(browser, viewport=LAPTOP, base_url=shop) as found:
        yield found


@pytest.fixture
def client(store):
    with TestClient(create(store, patience=None), base_url="http://127.0.0.1", follow_redirects=False) as found:
        yield found


@pytest.fixture
def api(client):
    """The same shop's interface."""
    with TestClient(client.app, base_url=client.base_url.join("/api/")) as found:
        yield found


@pytest.fixture
def job(client):
    """The address of a new job."""
    answer = client.post("/new", data=NEW)
    assert answer.status_code == 303
    return answer.headers["location"].removesuffix("/survey")


@pytest.fixture
def pan(client, store):
    """The address of a job that nothing stops."""
    job = client.post("/new", data=PAN).headers["location"].removesuffix("/survey")
    send(client, store, job, "settle", **LEAD)
    return job


@pytest.fixture
def counter(client, store):
    """A job with a price, its quote written and not sent."""
    keep_charges(store, SHOP, 0)
    found = Counter(client, store, gate(store))
    words = {"offer.customer": "Mrs A. Fenwick\nWeir Cottage\nLow Weir", "offer.number": "Q-2026-021"}
    assert found.post("/quote", **words).status_code == 303
    return found
