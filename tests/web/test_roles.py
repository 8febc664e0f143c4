"""What each role may change: every address that changes something is classified, refused and allowed as it says."""

import re
from types import SimpleNamespace

import pytest
from fastapi.testclient import TestClient
from made_pages import NEW, PAN, at, laid, seen, send
from starlette.routing import Mount

from proofpatch import InputError
from proofpatch.shop import door as kept
from proofpatch.shop.roles import OPERATOR, OWNER, ROLES, VIEWER, covers
from proofpatch.web.api import create_api
from proofpatch.web.app import create
from proofpatch.web.door import COOKIE, Door
from proofpatch.web.once import MADE, SENT
from proofpatch.web.roles import CHANGES, LOOKS, REMEDY, SAID, least, may

AT = "http://192.168.7.2:8400"
LISTED = {change: role for role, changes in CHANGES.items() for change in changes}
RANK = ("", *ROLES)
ID = "01234567-89ab-cdef-0123-456789abcdef"


def walked(routes, below=""):
    """(method, address) of every route of an application that is not only looked at."""
    for route in routes:
        inner = getattr(route, "original_route", route)
        if hasattr(route, "effective_candidates"):
            yield from walked(route.effective_candidates(), below)
        elif isinstance(inner, Mount):
            # Only what is known to be below: files, which are only read, and the interface.
            assert inner.path in ("/static", "/api"), inner.path
            if inner.path == "/api":
                yield from walked(create_api(None, None).routes, "/api")
        else:
            for method in set(route.methods) - set(LOOKS):
                yield method, below + route.path


@pytest.fixture(scope="module")
def changes(tmp_path_factory):
    """Every change that the pages and the interface take."""
    door = Door(SimpleNamespace(), 8400)
    store = SimpleNamespace(folder=tmp_path_factory.mktemp("no"))
    return sorted(set(walked(create(store, patience=None, door=door).routes)))


@pytest.fixture
def shop(store):
    app = create(store, patience=None, door=Door(store, 8400))
    opened = []

    def device(role):
        """A device of that role; "": one that did not sign in."""
        found = TestClient(app, base_url=AT, follow_redirects=False, client=("192.168.7.20", 50000))
        found.headers["origin"] = AT
        if role:
            found.cookies.set(COOKIE, kept.sign_in(store, role, "192.168.7.20", role))
        opened.append(found)
        return found

    yield device
    for one in opened:
        one.close()


def test_every_change_is_classified_and_nothing_else_is(changes):
    known = {f"{method} {path}" for method, path in changes}
    assert known == set(LISTED), known ^ set(LISTED)
    # Found another way too: what the interface says of itself, and what the sources say.
    said = {
        f"{method.upper()} /api{path}"
        for path, methods in create_api(None, None).openapi()["paths"].items()
        for method in methods
        if method.upper() not in LOOKS
    }
    assert said == {one for one in known if " /api/" in one}
    assert len(known) > 90


def test_each_address_asks_for_the_role_it_is_listed_under(changes):
    for method, path in changes:
        asked = re.sub(r"\{(\w+)(:int)?\}", lambda found: "3" if found[2] or found[1] == "number" else "x", path)
        assert least(method, asked) == LISTED[f"{method} {path}"], path


# A later page, a spelling of a path that a router reads in another way, a method nobody thought of.
@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("POST", "/a-page-of-next-year"), ("POST", "/jobs/x/a-new-step"), ("PATCH", "/jobs/x/notes"), ("POST", "/"),
        ("POST", "/lasers/new"), ("POST", "/lasers/new\n"), ("POST", "/shop\n"), ("POST", "//shop/here"),
        ("POST", "/jobs/x/notes/"), ("POST", "/jobs/x/../shop"), ("DELETE", "/api/jobs/x"), ("POST", "/API/bench"),
        ("post", "/shop/here"), ("BREW", "/shop/here"),
    ],
)  # fmt: skip
def test_what_is_not_listed_is_the_owners(method, path):
    assert least(method, path) == OWNER
    assert [may(role, method, path) for role in RANK] == [False, False, False, True]


def test_roles_stand_one_above_the_other():
    assert [[covers(a, b) for b in RANK] for a in RANK] == [[n <= m for n in range(4)] for m in range(4)]


def test_each_role_is_answered_or_refused_at_every_change(shop, store, changes):
    job = store.add("job", {"job": {"title": "Side table"}}, title="Side table").id
    devices = {role: shop(role) for role in ROLES}
    before = {one.id for one in kept.devices(store)}
    for method, path in changes:
        asked = re.sub(r"\{(key|id)\}", job, path)
        asked = re.sub(r"\{(\w+)(:int)?\}", lambda found: "3" if found[2] or found[1] == "number" else "x", asked)
        for role, device in devices.items():
            if path == "/door":
                continue  # slowed down on purpose; see test_door.py
            answer = device.request(method, asked, data={} if "/api/" not in path else None)
            refused = answer.status_code == 403 and REMEDY in answer.text.replace("\u00a0", " ")
            allowed = RANK.index(role) >= RANK.index(LISTED[f"{method} {path}"])
            assert refused is not allowed, (role, method, path, answer.status_code)
    assert before <= {one.id for one in kept.devices(store)}


def test_a_viewer_looks_everywhere_and_changes_nothing(shop, store, client, pan):
    viewer = shop(VIEWER)
    last = [one.number for one in store.history("job", pan.rsplit("/", 1)[1])]
    for path in ("/", f"{pan}/survey", f"{pan}/piece", "/shop", "/shop/prices", "/bench", "/lasers"):
        assert viewer.get(path).status_code == 200, path
    for path, form in (("/new", NEW), (f"{pan}/notes", {"note": "no"}), (f"{pan}/delete", {"version": 1})):
        answer = viewer.post(path, data=form)
        assert answer.status_code == 403
        assert SAID[VIEWER] in seen(answer)
    answer = viewer.post("/api/jobs", json={"title": "Skillet"})
    assert (answer.status_code, answer.json()["field"]) == (403, "role")
    assert (store.count("job"), store.count("note")) == (1, 0)
    assert [one.number for one in store.history("job", pan.rsplit("/", 1)[1])] == last
    assert viewer.post("/shop/here", data={"units": "us"}).status_code == 303
    assert viewer.post("/appearance", data={"appearance": "dark"}).status_code == 303


def test_an_operator_works_and_leaves_money_settings_and_deleting_alone(shop, store, client, pan):
    worker, owner = shop(OPERATOR), shop(OWNER)
    step = laid(client, pan)
    form = {"step": step, "residue": "clean", "harm": "none", "power": "", "grader": "R."}
    assert worker.post(f"{pan}/patches", data=form).status_code == 303
    assert worker.post(f"{pan}/notes", data={"note": "handle is loose"}).status_code == 303
    assert worker.post("/new", data=PAN).status_code == 303
    (patch,) = store.all("patch")
    assert worker.post(f"{pan}/patches/{patch.id}/delete", data={"version": patch.version}).status_code == 303
    version = at(store, pan).version
    for path in ("/shop", "/shop/prices", f"{pan}/delete", f"{pan}/offer", f"{pan}/undo", "/shop/devices/code"):
        answer = worker.post(path, data={"version": version})
        assert answer.status_code == 403, path
        assert SAID[OPERATOR] in seen(answer)
    assert at(store, pan).deleted is None
    assert owner.post(f"{pan}/delete", data={"version": version}).status_code == 303
    assert at(store, pan).deleted is not None


def test_the_laptop_is_the_owners_and_gives_roles_that_hold_at_once(shop, store):
    laptop = TestClient(create(store, patience=None, door=Door(store, 8400)), base_url="http://127.0.0.1:8400",
                        follow_redirects=False, client=("127.0.0.1", 50000))  # fmt: skip
    phone = shop(OPERATOR)
    (key,) = (one.id for one in kept.devices(store))
    assert phone.post("/shop", data={"version": 0}).status_code == 403
    assert phone.post(f"/shop/devices/{key}/role", data={"role": OWNER}).status_code == 403
    for role, status in ((OWNER, 422), (VIEWER, 403)):
        assert laptop.post(f"/shop/devices/{key}/role", data={"role": role}).status_code == 303
        assert phone.post("/shop", data={"version": 0}).status_code == status
        assert f"signed in as {'an owner' if role == OWNER else 'a viewer'}" in seen(phone.get("/shop/devices"))
    # An owner's phone is not the laptop: keys are given out there only.
    assert laptop.post(f"/shop/devices/{key}/role", data={"role": OWNER}).status_code == 303
    assert phone.post(f"/shop/devices/{key}/role", data={"role": OWNER}).status_code == 403
    assert "not known" in laptop.post(f"/shop/devices/{key}/role", data={"role": "king"}).text
    assert laptop.post("/shop/devices/nobody/role", data={"role": OWNER}).status_code == 422
    laptop.close()


def test_a_code_is_for_the_role_the_laptop_chose_and_the_passphrase_for_an_operator(store):
    door = Door(store, 8400)
    app = create(store, patience=None, door=door)
    with TestClient(app, base_url="http://127.0.0.1:8400", client=("127.0.0.1", 5), follow_redirects=False) as laptop:
        for role, wanted in ((VIEWER, VIEWER), (OWNER, OWNER), ("", OPERATOR), ("king", OPERATOR)):
            laptop.post("/shop/devices/code", data={"role": role})
            with TestClient(app, base_url=AT, client=("192.168.7.9", 5), follow_redirects=False) as phone:
                phone.headers["origin"] = AT
                assert phone.post(f"/join/{door.codes.now()[0]}", data={"name": role}).status_code == 303
            assert {one.name: one.role for one in kept.devices(store)}[role or kept.NAMELESS] == wanted
    kept.sign_in(store, "by passphrase", "192.168.7.9")
    assert {one.name: one.role for one in kept.devices(store)}["by passphrase"] == OPERATOR
    with pytest.raises(InputError):
        kept.sign_in(store, "x", "192.168.7.9", "king")


def test_a_kept_entry_that_is_refused_says_whose_it_is_and_stays(shop, store, pan):
    viewer = shop(VIEWER)
    answer = viewer.post(f"{pan}/notes", data={"note": "kept away"}, headers={SENT: ID})
    assert (answer.status_code, answer.headers[SENT], MADE in answer.headers) == (403, ID, False)
    assert SAID[VIEWER] in seen(answer)
    assert not store.stands(ID)
    # The same entry, once it may.
    (key,) = (one.id for one in kept.devices(store))
    kept.give_role(store, key, OPERATOR)
    assert viewer.post(f"{pan}/notes", data={"note": "kept away"}, headers={SENT: ID}).json() == {"made": True}
    assert store.count("note") == 1


def open_forms(page):
    """(method, address) of the forms of a page that can be sent."""
    forms = re.findall(r"<form\b([^>]*)>(.*?)</form>", page, re.S)
    for head, inside in forms:
        said = dict(re.findall(r'\b(action|method)="([^"]*)"', head))
        if not inside.startswith('<fieldset class="barred" disabled>'):
            yield said.get("method", "get").upper(), said.get("action", "")


def test_pages_offer_a_role_only_what_it_may_and_say_why_once(shop, store, client, pan):
    laid(client, pan)
    client.post(f"{pan}/notes", data={"note": "handle is loose"})
    send(client, store, pan, "piece", customer="Mrs A. Fenwick")
    steps = ("survey", "forecast", "patches", "measure", "recipe", "offer", "hazards", "run", "record", "piece")
    shut = 0
    for role in ROLES:
        device = shop(role)
        for path in ("/", "/new", "/shop", "/shop/prices", "/shop/devices", "/lasers", *(f"{pan}/{s}" for s in steps)):
            page = device.get(path)
            assert page.status_code in (200, 303), path
            assert all(may(role, *one) for one in open_forms(page.text)), (role, path)
            barred = page.text.count('class="barred"')
            assert page.text.count('id="role"') == (1 if barred else 0), (role, path)
            assert role != OWNER or not barred, path
            shut += barred
    assert shut > 25
