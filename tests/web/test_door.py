"""The shop opened to its network: nobody passes without a key, no key is worth anything elsewhere."""

import re
from types import SimpleNamespace

import argon2
import pytest
from fastapi.testclient import TestClient
from made_pages import NEW

from proofpatch.shop import door as kept
from proofpatch.web.app import create
from proofpatch.web.door import COOKIE, FREE_TRIES, MOST_TRIES, SPAN, Door, Tries, own_addresses, own_names
from proofpatch.web.shell import inside

GOOD = "seven grey herons over the kiln"
LAPTOP_AT = "192.168.7.2:8400"
OPENS = {"passphrase": GOOD, "name": "phone at the bench"}


@pytest.fixture
def clock(monkeypatch):
    """The door's clock, in a list of one."""
    now = [1000.0]
    monkeypatch.setattr("proofpatch.web.door.time", SimpleNamespace(monotonic=lambda: now[0]))
    return now


@pytest.fixture
def network(store, monkeypatch):
    """The pages opened to a network; call it with an address for a device there."""
    # How dear a guess is, tests/shop/test_door.py asks.
    monkeypatch.setattr(kept, "HASHER", argon2.PasswordHasher(time_cost=1, memory_cost=64))
    kept.set_passphrase(store, GOOD)
    app = create(store, patience=None, door=Door(store, 8400, ("workbench", "workbench.local")))
    open_clients = []

    def device(address="192.168.7.20", base=f"http://{LAPTOP_AT}", **more):
        found = TestClient(app, base_url=base, follow_redirects=False, client=(address, 50000), **more)
        found.headers["origin"] = base
        open_clients.append(found)
        return found

    yield device
    for one in open_clients:
        one.close()


@pytest.fixture
def laptop(network):
    return network("127.0.0.1", "http://127.0.0.1:8400")


@pytest.fixture
def phone(network):
    found = network()
    assert found.post("/door", data=OPENS).status_code == 303
    return found


def test_without_a_key_every_page_leads_to_the_door(network):
    stranger = network()
    for path in ("/", "/new", "/shop", "/shop/devices", "/bench", "/lasers", "/jobs/x/survey", "/photos/x", "/nothing"):
        answer = stranger.get(path)
        assert (answer.status_code, answer.headers["location"][:12]) == (303, "/door?after="), path
    spec = stranger.get("/api/openapi.json")
    assert spec.status_code == 401
    assert set(spec.json()) == {"field", "problem", "remedy"}


def test_without_a_key_nothing_is_changed(network, store):
    stranger = network()
    for path in (
        "/new",
        "/shop",
        "/shop/devices/code",
        "/shop/devices/end",
        "/shop/devices/passphrase",
        "/jobs/x/grade",
    ):
        assert stranger.post(path, data=NEW).status_code == 401, path
    assert stranger.post("/api/jobs", json={}).status_code == 401
    assert store.count("job") == 0


def test_the_passphrase_opens_and_the_page_asked_for_comes(network):
    phone = network()
    asked = phone.get("/shop?x=1")
    door = phone.get(asked.headers["location"])
    assert 'value="/shop?x=1"' in door.text
    answer = phone.post("/door", data={**OPENS, "after": "/shop?x=1"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/shop?x=1")
    said = answer.headers["set-cookie"].lower()
    assert "httponly" in said
    assert "samesite=lax" in said
    assert "secure" not in said
    assert phone.get("/shop").status_code == 200
    assert phone.post("/new", data=NEW).status_code == 303


@pytest.mark.parametrize(
    "after", ["//evil.example/", "https://evil.example", "/\\evil.example", "javascript:1", "", "/a\nb"]
)
def test_the_door_leads_nowhere_else(after):
    assert inside(after) == "/"


def test_a_wrong_passphrase_does_not_open_and_is_slowed_down(network, clock):
    phone = network()
    for _ in range(FREE_TRIES):
        answer = phone.post("/door", data={**OPENS, "passphrase": "not this one"})
        assert (answer.status_code, "not the shop" in answer.text) == (403, True)
        assert COOKIE not in answer.cookies
    for said in ("not this one", GOOD):  # the right one neither, while it has to wait
        answer = phone.post("/door", data={**OPENS, "passphrase": said})
        assert answer.status_code == 429
        assert int(answer.headers["retry-after"]) >= 1
        assert "Wait" in answer.text
    clock[0] += 1.05
    assert phone.post("/door", data=OPENS).status_code == 303


def test_how_long_tries_wait():
    tries = Tries()
    waits = []
    for number in range(14):
        waits.append(tries.wait("a", now=1000.0))
        tries.wrong("a", now=1000.0)
        assert tries.wait("b", now=1000.0) == 0.0 or number >= MOST_TRIES
    assert waits[: FREE_TRIES + 4] == [0, 0, 0, 1, 2, 4, 8]
    assert max(waits) <= 900.0
    assert tries.wait("a", now=3000.0) == 0.0


def test_many_addresses_together_are_slowed_down_too():
    tries = Tries()
    for number in range(MOST_TRIES):
        assert tries.wait(f"10.0.0.{number}", now=float(number)) == 0.0
        tries.wrong(f"10.0.0.{number}", now=float(number))
    assert tries.wait("10.0.0.200", now=30.0) == pytest.approx(SPAN - 30.0)
    assert tries.wait("10.0.0.200", now=SPAN + 1.0) == 0.0


def test_right_ones_are_not_counted_however_many_sign_in():
    tries = Tries()
    for number in range(2 * MOST_TRIES):
        assert tries.wait(f"10.0.0.{number}", now=1.0) == 0.0
        tries.wrong(f"10.0.0.{number}", now=1.0)
        tries.right(f"10.0.0.{number}")


def test_a_stolen_cookie_is_worth_nothing_elsewhere_and_ends_the_stay(network, phone, laptop):
    thief = network("192.168.7.66")
    thief.cookies.set(COOKIE, phone.cookies[COOKIE])
    assert thief.get("/").status_code == 303
    assert phone.get("/").status_code == 303
    assert "shown from another address" in laptop.get("/shop/devices").text


def test_a_made_up_cookie_opens_nothing(network):
    for token in ("", "x", "A" * 43, "x" * 5000, "' OR 1=1 --"):
        stranger = network()
        stranger.cookies.set(COOKIE, token)
        assert stranger.get("/").status_code == 303


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "http://192.168.7.2", "https://192.168.7.2:8400", None]
)
def test_a_change_asked_for_by_another_site_is_not_made(phone, store, origin):
    # Plain http carries no Sec-Fetch-Site: the origin has to say where a change comes from.
    phone.headers.pop("origin")
    more = {} if origin is None else {"origin": origin}
    assert phone.post("/new", data=NEW, headers=more).status_code == 403
    assert phone.post("/door", data=OPENS, headers=more).status_code == 403
    assert store.count("job") == 0


@pytest.mark.parametrize(
    "host", ["evil.example:8400", "evil.example", "192.168.7.3:8400", "127.0.0.1:8400", "localhost", ""]
)
def test_another_name_for_this_machine_is_not_answered(phone, host):
    # A page elsewhere can point its own name at this machine (rebinding), and ask under it.
    for path in ("/", "/door", "/static/style.css", "/api/jobs"):
        assert phone.get(path, headers={"host": host}).status_code == 421, path


def test_the_machines_own_names_are_answered(network):
    for base in ("http://workbench:8400", "http://workbench.local:8400", "http://WORKBENCH.local:8400"):
        assert network("192.168.7.20", base).get("/door").status_code == 200


def test_nobody_outside_is_taken_for_this_machine(network):
    # Nor by what he writes himself.
    for headers in ({"x-forwarded-for": "127.0.0.1"}, {"forwarded": "for=127.0.0.1"}, {"x-real-ip": "127.0.0.1"}):
        assert network().get("/", headers=headers).status_code == 303
    assert network("127.0.0.1", "http://192.168.7.2:8400").get("/").status_code == 303


def test_this_machine_needs_no_key(laptop):
    assert laptop.get("/").status_code == 200
    assert laptop.get("/door").headers["location"] == "/"
    assert laptop.post("/new", data=NEW).status_code == 303


def test_the_code_opens_one_device_and_looking_does_not_use_it_up(network, laptop, monkeypatch):
    assert laptop.post("/shop/devices/code").status_code == 303
    monkeypatch.setattr("proofpatch.web.devices.own_addresses", lambda: ["192.168.7.2"])
    shown = laptop.get("/shop/devices").text
    path = re.search(rf"http://{LAPTOP_AT}(/join/[\w-]+)", shown)[1]
    assert "<svg" in shown
    first, second = network("192.168.7.30"), network("192.168.7.31")
    for _ in range(3):
        assert "Open the shop on this device?" in first.get(path).text
    assert first.post(path, data={"name": "tablet"}).status_code == 303
    assert first.get("/").status_code == 200
    assert second.post(path, data={"name": "late"}).status_code == 410
    assert second.get(path).status_code == 410
    assert second.get("/").status_code == 303
    assert second.post("/join/made-up", data={}).status_code == 410


def test_a_code_ends_and_a_new_one_ends_the_old(clock):
    door = Door(None, 8400)
    code = door.codes.make()
    assert door.codes.good(code)
    newer = door.codes.make()
    assert (door.codes.good(code), door.codes.good(newer), door.codes.good("")) == (False, True, False)
    clock[0] += 301.0
    assert not door.codes.good(newer)
    assert not door.codes.spend(newer)


def test_only_the_laptop_shows_codes_and_keeps_the_passphrase(phone, store):
    for path in ("code", "end", "passphrase", "0123456789abcdef/end"):
        assert phone.post(f"/shop/devices/{path}", data={"passphrase": "x" * 20, "again": "x" * 20}).status_code == 403
    page = phone.get("/shop/devices").text
    assert "Passphrase" not in page
    assert "phone at the bench is signed in" in page
    assert kept.passphrase_fits(store, GOOD)


def test_the_laptop_signs_one_device_out(network, phone, laptop, store):
    other = network("192.168.7.21")
    other.post("/door", data={**OPENS, "name": "second"})
    keys = {one.name: one.id for one in kept.devices(store)}
    assert laptop.post(f"/shop/devices/{keys['second']}/end").status_code == 303
    assert (phone.get("/").status_code, other.get("/").status_code) == (200, 303)
    assert laptop.post("/shop/devices/end").status_code == 303
    assert phone.get("/").status_code == 303


def test_a_device_signs_itself_out(phone, store):
    (own,) = kept.devices(store)
    assert phone.post(f"/shop/devices/{own.id}/end").headers["location"] == "/door"
    assert phone.get("/").status_code == 303


def test_the_passphrase_is_set_on_the_laptop(laptop, phone, store):
    data = {"passphrase": "another five unrelated words", "again": "another five unrelated word"}
    assert "do not match" in laptop.post("/shop/devices/passphrase", data=data).text
    assert phone.get("/").status_code == 200
    data["again"] = data["passphrase"]
    assert laptop.post("/shop/devices/passphrase", data=data).status_code == 303
    assert kept.passphrase_fits(store, data["passphrase"])
    assert phone.get("/").status_code == 303


def test_a_stranger_may_send_little(network):
    stranger = network()
    answer = stranger.post("/door", data={"passphrase": "x" * 30_000})
    assert (answer.status_code, "0.02 MB" in answer.text) == (413, True)
    answer = stranger.post("/new", content=b"x" * 1_000_000)
    assert answer.status_code == 401


@pytest.mark.parametrize("path", ["/", "/door", "/shop/devices", "/join/x"])
def test_the_policy_allows_no_script_of_a_page(network, laptop, path):
    policy = (laptop if path.startswith("/shop") else network()).get(path).headers["content-security-policy"]
    assert "script-src 'self'" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy


def test_a_name_cannot_break_the_list(network, laptop):
    network().post("/door", data={**OPENS, "name": "<script>alert(1)</script>"})
    page = laptop.get("/shop/devices").text
    assert "<script>alert" not in page
    assert "&lt;script&gt;" in page


def test_without_a_network_the_page_says_how_to_open_one(client):
    page = client.get("/shop/devices").text
    assert "answers this machine only" in page
    assert "proofpatch serve --network" in page
    assert client.get("/door").status_code == 404


def test_this_machine_knows_its_own_names():
    assert all(own_names())
    assert not any(one.startswith("127.") for one in own_addresses())
