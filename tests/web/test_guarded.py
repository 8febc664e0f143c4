"""Every address of the shop walked: who may ask, who may change, and what every answer carries."""

import re

import argon2
import pytest
from fastapi.testclient import TestClient
from made_pages import NEW
from made_routes import routes_of

from proofpatch.shop import door as kept
from proofpatch.web.app import create
from proofpatch.web.door import COOKIE, Door
from proofpatch.web.guard import HEADERS

GOOD = "seven grey herons over the kiln"
AT = "http://192.168.7.2:8400"
HERE = "http://127.0.0.1:8400"
OPEN = ("/door", "/appearance", "/trust", "/sw.js", "/join/")
CHANGES = ("POST", "PUT", "DELETE", "PATCH")


@pytest.fixture
def app(store, monkeypatch):
    monkeypatch.setattr(kept, "HASHER", argon2.PasswordHasher(time_cost=1, memory_cost=64))
    kept.set_passphrase(store, GOOD)
    return create(store, patience=None, door=Door(store, 8400))


def asking(app, address="192.168.7.20", base=AT):
    return TestClient(
        app, base_url=base, follow_redirects=False, client=(address, 50000), raise_server_exceptions=False
    )


@pytest.fixture
def phone(app):
    found = asking(app)
    found.headers["origin"] = AT
    assert found.post("/door", data={"passphrase": GOOD, "name": "phone"}).status_code == 303
    return found


@pytest.fixture
def routes(app):
    found = sorted(set(routes_of(app)))
    assert sum(method in CHANGES for method, _ in found) > 90
    assert sum(path.startswith("/api/") for _, path in found) > 40
    return found


def rows(store):
    return [store.count(kind) for kind in ("job", "note", "photo", "patch", "shop", "prices", "laser")]


def test_no_route_changes_anything_for_another_site(app, phone, routes, store):
    laptop, before = asking(app, "127.0.0.1", HERE), rows(store)
    phone.headers.pop("origin")
    for method, path in (one for one in routes if one[0] in CHANGES):
        for client, headers in (
            (phone, {}), (phone, {"origin": "http://elsewhere.example"}), (phone, {"origin": "null"}),
            (laptop, {"origin": "http://elsewhere.example"}), (laptop, {"origin": "null"}),
            (laptop, {"sec-fetch-site": "cross-site"}), (laptop, {"sec-fetch-site": "same-site"}),
        ):  # fmt: skip
            answer = client.request(method, path, headers=headers)
            assert answer.status_code == 403, (method, path, headers)
    assert rows(store) == before


def test_no_route_answers_a_device_that_has_not_signed_in(app, routes, store):
    stranger, before = asking(app), rows(store)
    stranger.headers["origin"] = AT
    for method, path in routes:
        if path.startswith(OPEN):
            continue
        answer = stranger.request(method, path)
        to_the_door = answer.status_code == 303 and answer.headers["location"].startswith("/door?after=")
        assert answer.status_code == 401 or (to_the_door and method == "GET"), (method, path, answer.status_code)
    assert rows(store) == before


def test_the_heads_close_what_a_page_of_ours_never_needs():
    policy = dict(part.strip().split(" ", 1) for part in HEADERS["Content-Security-Policy"].split(";"))
    assert {name: policy.pop(name) for name in ("img-src", "form-action")} == {
        "img-src": "'self' data:", "form-action": "'self'",
    }  # fmt: skip
    assert {policy[name] for name in ("default-src", "script-src", "style-src")} == {"'self'"}
    assert {policy[name] for name in ("object-src", "base-uri", "frame-ancestors")} == {"'none'"}
    assert HEADERS["X-Content-Type-Options"] == "nosniff"
    same = ("Referrer-Policy", "Cross-Origin-Opener-Policy", "Cross-Origin-Resource-Policy")
    assert {HEADERS[name] for name in same} == {"same-origin"}


def test_every_answer_carries_the_heads(phone, routes):
    seen = set()
    for method, path in routes:
        answer = phone.request(method, path, headers={"origin": AT})
        seen.add(answer.status_code // 100)
        assert answer.status_code < 500, (method, path, answer.text[-300:])
        for name, value in HEADERS.items():
            assert answer.headers[name] == value, (method, path, name)
        private = answer.headers["cache-control"]
        assert private in ("no-store", "no-cache") or private.startswith("private,"), (method, path)
    assert seen == {2, 3, 4}


def test_a_fault_carries_them_too_and_tells_nothing_of_itself(app, phone, monkeypatch):
    def broken(*_, **__):
        raise RuntimeError("the secret of the house")

    monkeypatch.setattr("proofpatch.shop.store.Store.all", broken)
    for path in ("/", "/api/jobs"):
        answer = phone.get(path)
        assert answer.status_code == 500
        assert "secret" not in answer.text
        assert "a fault of proofpatch" in answer.text
    assert all(phone.get("/").headers[name] == value for name, value in HEADERS.items())


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"sec-fetch-site": "cross-site", "sec-fetch-mode": "no-cors", "sec-fetch-dest": "image"}, 403),
        ({"sec-fetch-site": "same-site", "sec-fetch-mode": "cors", "sec-fetch-dest": "empty"}, 403),
        ({"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate", "sec-fetch-dest": "iframe"}, 403),
        ({"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate", "sec-fetch-dest": "document"}, 200),
        ({"sec-fetch-site": "same-origin", "sec-fetch-mode": "no-cors", "sec-fetch-dest": "image"}, 200),
        ({"sec-fetch-site": "none", "sec-fetch-mode": "navigate", "sec-fetch-dest": "document"}, 200),
    ],
)
def test_a_page_elsewhere_has_nothing_worked_out_or_drawn_here(app, headers, status):
    # The laptop needs no key: any page open in its browser could ask it for the bench again and again.
    assert asking(app, "127.0.0.1", HERE).get("/shop", headers=headers).status_code == status


def test_a_key_that_was_there_before_is_not_taken_over(app):
    # Fixation: somebody sets a cookie of his choice, and the owner signs in with it.
    chosen = "A" * 43
    owner, thief = asking(app), asking(app)
    owner.headers["origin"] = thief.headers["origin"] = AT
    owner.cookies.set(COOKIE, chosen)
    answer = owner.post("/door", data={"passphrase": GOOD})
    key = re.search(rf"{COOKIE}=([\w-]+)", answer.headers["set-cookie"])[1]
    assert key != chosen
    thief.cookies.set(COOKIE, chosen)
    assert thief.get("/shop").status_code == 303


def test_a_key_is_worth_nothing_after_signing_out(app, phone, store):
    key = phone.cookies[COOKIE]
    (own,) = kept.devices(store)
    assert phone.post(f"/shop/devices/{own.id}/end").status_code == 303
    again = asking(app)
    again.cookies.set(COOKIE, key)
    assert again.get("/shop").status_code == 303


@pytest.mark.parametrize(
    "name", ["..", ".", "%2e%2e", "..%2f", "%2e%2e%2f", "..%5c", "%5c..%5c", "....//", "%00", "//etc"]
)
def test_no_path_leads_out_of_the_pages_files(phone, name):
    for head in ("/static/", "/photos/", "/materials/", "/lasers/", "/api/photos/", "/trust/", "/jobs/"):
        for tail in ("app.py", "etc/passwd", "shop.sqlite3", "tls/signer.key"):
            answer = phone.get(f"{head}{name}/{tail}")
            assert answer.status_code in (303, 401, 404, 405), (head, tail, answer.status_code)
            assert b"root:" not in answer.content
            assert b"import annotations" not in answer.content


@pytest.mark.parametrize(
    "to", ["//elsewhere.example", "/\\elsewhere.example", "https://elsewhere.example", "/%0d%0aX: y"]
)
def test_no_form_leads_to_another_site(phone, to):
    job = phone.post("/new", data=NEW).headers["location"].removesuffix("/survey")
    for path, field in (("/door", "after"), ("/appearance", "back"), (f"{job}/job", "after")):
        answer = phone.post(path, data={field: to, "passphrase": GOOD, "title": "a", "version": "1"})
        where = answer.headers.get("location", "/")
        assert where.startswith("/"), (path, where)
        assert not where.startswith(("//", "/\\")), (path, where)
        assert "x" not in {name for name in answer.headers if name == "x"}
