"""A role in a real browser: pages that can only be looked at, and what waits on a phone that may not send it."""

import pytest
from made_away import FLAGS, kept, on_phone
from made_browser import LAPTOP, PATIENT, PHONE, accessible_in_both, leads_on
from made_laptop import Laptop, trusting_home
from playwright.sync_api import expect

from proofpatch.shop import door
from proofpatch.shop.roles import OPERATOR, VIEWER
from proofpatch.web.app import create
from proofpatch.web.door import COOKIE, Door, own_names
from proofpatch.web.roles import SAID

NAME = own_names()[0]  # of this machine, under which it is one of the network


@pytest.fixture
def laptop(store):
    found = Laptop(store)
    found.app = create(store, patience=None, door=Door(store, found.port, (NAME,)))
    found.app.state.certificate, found.app.state.port = found.certificate, found.port
    found.open()
    yield found
    found.shut()


@pytest.fixture
def phone(play, program, laptop, store, tmp_path):
    """A page of a phone that is signed in as an operator."""
    at = f"https://{NAME}:{laptop.port}"
    browser = play.chromium.launch(
        executable_path=program, args=[*FLAGS, f"--host-resolver-rules=MAP {NAME} 127.0.0.1"],
        env=trusting_home(tmp_path / "home", laptop.certificate),
    )  # fmt: skip
    context = browser.new_context(viewport=PHONE, base_url=at, has_touch=True)
    context.add_cookies([{"name": COOKIE, "value": door.sign_in(store, "phone", "127.0.0.1", OPERATOR), "url": at}])
    context.set_default_timeout(PATIENT)
    page = context.new_page()
    page.goto("/waiting")
    page.evaluate("() => navigator.serviceWorker.ready")
    yield page
    browser.close()


def test_an_entry_that_a_phone_may_not_send_stays_and_is_sent_once_it_may(phone, laptop, store, job):
    key = door.devices(store)[0].id
    kept(phone, f"{job}/piece")
    on_phone(phone, f"{job}/piece")
    laptop.shut()
    phone.goto(f"{job}/piece")  # as it was kept, while the phone might still write
    phone.get_by_label("A note").fill("handle is loose")
    with leads_on(phone):
        phone.get_by_role("button", name="Add the note").click()
    expect(phone.locator("#queue")).to_contain_text("1 entry waits on this phone")
    door.give_role(store, key, VIEWER)
    laptop.open()
    phone.goto("/waiting")
    phone.get_by_role("button", name="Send them now").click()
    expect(phone.locator("#entries .wrong")).to_contain_text(SAID[VIEWER])
    expect(phone.locator("#entries")).to_contain_text("handle is loose")
    expect(phone.get_by_role("button", name="Send it as a note")).to_have_count(0)
    accessible_in_both(phone, "refused", PHONE["width"])
    assert store.count("note") == 0
    phone.goto(f"{job}/piece")
    expect(phone.locator("#role")).to_have_text(SAID[VIEWER])
    expect(phone.get_by_role("button", name="Add the note")).to_have_count(0)
    expect(phone.get_by_label("A note")).to_be_disabled()
    phone.goto("/learned/lots")
    expect(phone.locator("#role")).to_have_text(SAID[VIEWER])
    expect(phone.get_by_role("heading", name="Borrow")).to_have_count(0)
    expect(phone.locator("#file")).to_be_hidden()
    phone.goto(f"{job}/piece")
    for size in (PHONE, LAPTOP):
        phone.set_viewport_size(size)
        accessible_in_both(phone, "a viewer's page", size["width"])
    door.give_role(store, key, OPERATOR)
    phone.goto("/waiting")
    phone.get_by_role("button", name="Send it again").click()
    expect(phone.get_by_role("heading", level=1)).to_have_text("Nothing waits on this phone.")
    assert [one.data["text"] for one in store.all("note")] == ["handle is loose"]


def test_a_form_refused_at_once_is_kept_too(phone, laptop, store, job):
    phone.goto(f"{job}/piece")
    phone.get_by_label("A note").fill("handle is loose")
    door.give_role(store, door.devices(store)[0].id, VIEWER)  # while the page is open
    phone.get_by_role("button", name="Add the note").click()
    expect(phone).to_have_url(f"https://{NAME}:{laptop.port}/waiting")
    expect(phone.locator("#entries .wrong")).to_contain_text(SAID[VIEWER])
    expect(phone.locator("#entries")).to_contain_text("handle is loose")
