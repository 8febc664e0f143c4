"""A phone signs in in a real browser; 127.0.0.2 stands for an address in the network."""

import re

import pytest
from made_browser import LAPTOP, PATIENT, PHONE, accessible, leads_on, whole
from made_laptop import free_port, served
from made_pages import NEW, laid
from playwright.sync_api import expect

from proofpatch.shop import door as kept
from proofpatch.web.app import create
from proofpatch.web.door import Door

GOOD = "seven grey herons over the kiln"
THEMES = ("light", "dark")


@pytest.fixture
def opened(store):
    """(address on this machine, address in the network) of a shop opened to it."""
    kept.set_passphrase(store, GOOD)
    port = free_port()
    with served(create(store, door=Door(store, port)), "0.0.0.0", port) as address:
        yield address, address.replace("127.0.0.1", "127.0.0.2")


@pytest.fixture
def devices(browser, opened):
    """Call it with which address (0: the laptop's, 1: the network's) for a page there."""
    contexts = []

    def device(which, theme="light"):
        shape = {"viewport": PHONE, "has_touch": True, "is_mobile": True} if which else {"viewport": LAPTOP}
        contexts.append(browser.new_context(base_url=opened[which], color_scheme=theme, **shape))
        contexts[-1].set_default_timeout(PATIENT)
        return contexts[-1].new_page()

    yield device
    for context in contexts:
        context.close()


def test_a_phone_signs_in_by_passphrase_works_and_is_signed_out(devices, store):
    phone, laptop = devices(1), devices(0)
    phone.goto("/new")
    expect(phone.get_by_role("heading", level=1)).to_have_text("This phone is not signed in yet.")
    phone.get_by_label("Passphrase").fill("not this one")
    with leads_on(phone):
        phone.get_by_role("button", name="Open the shop").tap()
    expect(phone.get_by_role("alert")).to_contain_text("not the shop's passphrase")
    phone.get_by_label("Passphrase").fill(GOOD)
    phone.get_by_label("Name of this device").fill("phone at the bench")
    phone.get_by_role("button", name="Open the shop").tap()
    expect(phone).to_have_url(re.compile("/new$"))
    whole(phone)
    phone.request.post("/new", form=NEW, headers={"origin": phone.evaluate("() => location.origin")})
    assert store.count("job") == 1
    assert phone.evaluate("() => document.cookie") == ""  # no script reads the key
    laptop.goto("/shop/devices")
    laptop.get_by_role("button", name="Sign out phone at the bench").click()
    expect(laptop.get_by_text("signed out on the laptop")).to_be_visible()
    phone.reload()
    expect(phone.get_by_role("heading", level=1)).to_have_text("This phone is not signed in yet.")


def test_the_code_of_the_laptop_opens_the_phone(devices, opened, store, monkeypatch):
    monkeypatch.setattr("proofpatch.web.devices.own_addresses", lambda: ["127.0.0.2"])
    laptop, phone = devices(0), devices(1)
    laptop.goto("/shop/devices")
    laptop.get_by_role("button", name="Show a code").click()
    expect(laptop.locator("svg.code")).to_be_visible()
    path = re.search(r"/join/[\w-]+", laptop.get_by_text("Or type:").inner_text())[0]
    phone.goto(opened[1] + path)
    phone.get_by_role("button", name="Open the shop").tap()
    expect(phone).to_have_url(f"{opened[1]}/")
    (known,) = kept.devices(store)
    assert known.name == kept.NAMELESS
    assert known.address.startswith("127.0.0.")


@pytest.mark.parametrize("theme", THEMES)
def test_the_doors_pages_are_open_to_everyone(devices, opened, theme, monkeypatch, store):
    monkeypatch.setattr("proofpatch.web.devices.own_addresses", lambda: ["127.0.0.2"])
    kept.sign_in(store, "phone at the bench", "192.168.7.20")
    kept.sign_out(store, kept.devices(store)[0].id, "signed out on the laptop")
    for name in ("tablet", "phone of the second hand"):
        kept.sign_in(store, name, "192.168.7.21")
    laptop, phone = devices(0, theme), devices(1, theme)
    laptop.goto("/shop/devices")
    laptop.get_by_role("button", name="Show a code").click()
    path = re.search(r"/join/[\w-]+", laptop.get_by_text("Or type:").inner_text())[0]
    for page, place, width in (
        (laptop, "/shop/devices", 1440), (phone, "/door", 360), (phone, path, 360), (phone, "/join/none", 360),
    ):  # fmt: skip
        page.goto(opened[page is phone] + place)
        accessible(page, f"{place} {theme}", width)
    laptop.set_viewport_size(PHONE)
    accessible(laptop, f"/shop/devices {theme}, narrow", 360)


def test_another_site_cannot_use_the_phones_key(devices, opened, store):
    phone = devices(1)
    phone.goto("/door")
    phone.get_by_label("Passphrase").fill(GOOD)
    phone.get_by_role("button", name="Open the shop").tap()
    expect(phone).to_have_url(f"{opened[1]}/")
    # A page under another name of the same port posts a form here: refused, whatever key comes along.
    form = f'<form method="post" action="{opened[1]}/new"><input name="title" value="theirs"></form>'
    phone.route("http://elsewhere.example/", lambda route: route.fulfill(body=form, content_type="text/html"))
    phone.goto("http://elsewhere.example/")
    with phone.expect_navigation() as gone:
        phone.evaluate("() => document.forms[0].submit()")
    assert gone.value.status == 403
    assert store.count("job") == 0


def test_two_phones_and_a_laptop_on_one_job_keep_every_grade_once(devices, client, pan, store):
    assert laid(client, pan) == "A1"
    one, two, laptop = devices(1), devices(1), devices(0)
    for phone, name in ((one, "first phone"), (two, "second phone")):
        phone.goto("/door")
        phone.get_by_label("Passphrase").fill(GOOD)
        phone.get_by_label("Name of this device").fill(name)
        phone.get_by_role("button", name="Open the shop").tap()
        expect(phone.get_by_role("heading", level=1)).not_to_have_text("This phone is not signed in yet.")
    for page in (one, two, laptop):
        page.goto(f"{pan}/patches")
        expect(whole(page).get_by_role("heading", level=1)).to_contain_text("Lay A1")

    def grade(page, residue):
        page.locator(".grades label", has_text=residue).first.click()
        page.locator(".grades label", has_text="none").last.click()
        with leads_on(page):
            page.get_by_role("button", name="Keep the grade of A1").click()

    grade(one, "partial")
    expect(one.get_by_role("heading", level=1)).to_contain_text("Lay A2")
    grade(two, "trace")  # the same step, from a page that does not know yet
    expect(two.get_by_role("alert")).to_contain_text("A1")
    laptop.reload()
    expect(laptop.get_by_text("partial, none").first).to_be_visible()
    assert [entry.data["residue"] for entry in store.all("patch")] == ["partial"]
    # What the second phone wanted to say is still there to be said of the next step.
    expect(two.get_by_role("heading", level=1)).to_contain_text("Lay A2")
