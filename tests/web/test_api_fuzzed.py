"""The shop over HTTP fuzzed from its own document: nothing that can be sent breaks it."""

import itertools
import json
import random
import tomllib
from collections import Counter

import pytest
import schemathesis
import trimesh
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from made_api import DOOR, EXAMPLES, GRADE, HERE, PAN, PIPE, made
from made_browser import PATIENT
from made_offer import DAY, made_quote
from made_photo import shot
from made_run import opened, ready
from schemathesis.checks import not_a_server_error
from schemathesis.generation import GenerationMode
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

import proofpatch as pp
from proofpatch.learn.memory.exchange import Exchanged, packed
from proofpatch.materials import coating_ids, substrate_ids
from proofpatch.physics.setting import Setting
from proofpatch.shop.log import stamp
from proofpatch.shop.papers import Signed, quotes_of, send_quote, take_acceptance
from proofpatch.shop.settings import settings_of
from proofpatch.shop.starts import switch
from proofpatch.shop.store import Store
from proofpatch.shop.tables import KINDS
from proofpatch.web.api import create_api
from proofpatch.web.app import create

STRIP = {"grades": [{"step": "A1", "residue": "partial", "harm": "none"}]}
CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]


@pytest.fixture(scope="module")
def fuzzed(tmp_path_factory):
    """(its document, what is really there) of a shop with jobs, patches and a photo."""
    store = Store.open(tmp_path_factory.mktemp("shop"))
    app = create(store)
    client = TestClient(app, base_url=f"{HERE}/api/")
    barn = json.loads(json.dumps(tomllib.loads((EXAMPLES / "barn.toml").read_text("utf-8")), default=str))
    jobs = [made(client, tables) for tables in (PAN, DOOR, PIPE, barn)]
    for job in jobs[1:]:  # so that there is something to undo
        now = client.get(f"jobs/{job}").json()
        tables = now["tables"] | {"job": now["tables"]["job"] | {"title": "Another"}}
        assert client.put(f"jobs/{job}", json={"version": now["version"], "tables": tables}).status_code == 200
    patch = client.post(f"jobs/{jobs[0]}/graded", json=GRADE).json()["graded"]["id"]
    photo = client.post(f"jobs/{jobs[0]}/photos", files={"photo": ("a.jpg", shot())}).json()
    pipe = trimesh.creation.box((0.2, 0.1, 0.1)).export(file_type="stl")
    sent = client.post(f"jobs/{jobs[0]}/scans", files={"scan": ("a.stl", pipe)}, data={"kind": "stl"}).json()
    strip = client.post(f"jobs/{jobs[0]}/strips").json()["id"]
    client.post(f"jobs/{jobs[0]}/strips/{strip}/photos", files={"photo": ("a.jpg", shot())})
    quote = send_quote(store, jobs[0], made_quote(), "a4", "", b"%PDF").id
    ran = ready(store)[1]
    opened(store, ran)
    begun = client.post(f"jobs/{ran}/run", json={"what": "note", "words": "dry"}).json()["id"]
    signed = Signed("A. Fenwick", DAY, stamp())
    take_acceptance(store, quotes_of(store, jobs[0])[0], signed, b"%PDF")
    seen = client.post(f"jobs/{jobs[0]}/graded", json=GRADE).json()["graded"]["id"]
    bill = client.post(f"jobs/{jobs[0]}/quotes/{quote}/invoices", json={}).json()["id"]
    decided = {"patch": seen, "name": "A", "decision": "approved"}
    approval = client.post(f"jobs/{jobs[0]}/approvals", json=decided).json()["id"]
    lot = client.post("lots", files={"file": ("theirs.jsonl", foreign("Weir Workshop"))}).json()["id"]
    told = {"finish": "shellac", "how": "laboratory", "who": "A. Reed", "day": "2026-03-11"}
    said = client.post(f"jobs/{jobs[0]}/confirmed", json=told)
    known = {
        "one": [said.json()["id"]], "told": told, "lot": [lot], "laser": ["pulsed-300"], "setting": ["memory"],
        "quote": [quote], "id": jobs, "pan": jobs[:1], "PUT": jobs[1:], "POST": jobs[1:], "spare": [made(client, PIPE)],
        "patch": [patch], "strip": [strip], "digest": [photo["digest"]], "scan": [sent["digest"]],
        "invoice": [bill], "approval": [approval], "decided": decided,
        "ready": [ran], "entry": [begun],
        "name": [*coating_ids(), *substrate_ids()], "tables": [PAN, DOOR, PIPE, barn], "store": store,
    }  # fmt: skip
    yield schemathesis.openapi.from_asgi("/api/openapi.json", app, headers={"Host": "127.0.0.1"}), known
    store.close()


def foreign(shop):
    """A file of another shop."""
    setting = Setting(0.25e3, 20e3, 2e-7, 0.45e-3, 0.1, 10.0, 0.05)
    job = Exchanged(pp.Surface("wax", "oak"), pp.laser("pulsed-500"), (pp.Graded(setting, "trace", "none"),))
    return packed([job], Ed25519PrivateKey.generate(), shop, "2026-05-04")


OPERATIONS = [
    (path, method) for path, methods in create_api(None, None).openapi()["paths"].items() for method in methods
]  # fmt: skip


OF_PATH = {"patch": "patch", "entry": "run", "lot": "lot", "id": "job"}
# Of the run: what comes through, laid over what was made up.
OF_RUN = {"/run": {"what": "note", "words": "dry"}, "/day": {"name": "window", "ok": True},
          "/control": {"residue": "clean", "harm": "none"}}  # fmt: skip

# Addresses of what stands in the first job.
ON_PAN = ("graded", "strips", "{quote}", "{scan}", "{invoice}", "{approval}", "/approvals", "/start", "/confirmed")


def version_of(store, case):
    """Of what an address changes that is no thing of its own: the shop's settings, the start of a job."""
    kept = settings_of(store)[1]
    if "setting" in case.path_parameters:
        return kept.version if kept else 0
    if "/confirmed" in case.path:
        every = [*store.all("confirmed"), *store.all("confirmed", deleted=True)]
        return next((one.version for one in every), 0)
    if not case.path.endswith("/start"):
        return None
    switch(store, True, kept.version if kept else 0)
    return next((one.version for one in store.all("start", case.path_parameters["id"])), 1)


def real(case, known, pick):
    """The same case of things that are there, and of bodies that come far."""
    # What is changed and put away are other jobs than the one that patches are laid on.
    theirs = any(part in case.path for part in ON_PAN)
    runs = case.path.split("{id}")[-1].startswith(("/run", "/day", "/control"))
    which = "ready" if runs else "pan" if theirs else "spare" if case.method == "DELETE" else case.method
    for name in case.path_parameters:
        case.path_parameters[name] = pick(
            KINDS if name == "kind" else known.get(which, known["id"]) if name == "id" else known[name]
        )
    body = case.body if isinstance(case.body, dict) else {}
    for holds in (case.query, body):
        if "version" in holds:
            store = known["store"]
            name = next((name for name in ("patch", "entry", "lot") if name in case.path_parameters), "id")
            now = version_of(store, case)
            if now is None:
                now = store.get(OF_PATH[name], case.path_parameters[name]).version
            holds["version"] = pick([now, now, 1])
    if "tables" in body:
        # Some of what was made up laid over a job that can be read.
        found = body["tables"] if isinstance(body["tables"], dict) and pick([True, False]) else {}
        body["tables"] = {**pick(known["tables"]), **{name: found[name] for name in found if pick([True, False])}}
    elif runs and body:
        good = OF_RUN["/" + case.path.rsplit("/", 1)[1]]
        body = good if pick([True, False]) else body | good
    elif "residue" in body:
        body = GRADE if pick([True, False]) else body | GRADE
    elif "decision" in body:
        body = known["decided"] if pick([True, False]) else body | known["decided"]
    elif "grades" in body:
        body = STRIP if pick([True, False]) else body | STRIP
    elif "photo" in body:
        body["photo"] = shot()
    elif case.path.endswith("/quotes/{quote}/invoices"):
        body = {"notes": ["in time"]} if pick([True, False]) else body | {"number": "", "day": None, "due": None}
    elif case.path.endswith("/payments") and body:
        body = {"amount": "12.00"} if pick([True, False]) else body | {"amount": "7", "paid": None}
    elif "file" in body:
        body["file"] = foreign(f"Mill {pick(range(10**6))}")
    elif "scan" in body:
        body |= {"scan": trimesh.creation.box((0.2, 0.1, 0.1)).export(file_type="stl"), "kind": "stl"}
    elif case.path.endswith("/measured"):
        body = {"unit": "m"} if pick([True, False]) else body | {"unit": "m", "picks": ["s-top"]}
    elif case.path.endswith("/confirmed") and body:
        now = version_of(known["store"], case)
        body = known["told"] | {"version": now} if pick([True, True, False]) else body | known["told"]
    elif case.path == "/hazards" and body:
        body = {name: value for name, value in body.items() if pick([True, False])} | {"laser": "pulsed-300"}
    if body:
        case.body = body
    return case


@pytest.mark.parametrize(("path", "method"), OPERATIONS)
def test_nothing_that_can_be_sent_breaks_it(fuzzed, path, method):
    schema, known = fuzzed
    one = schema[path][method]
    right, wrong = (
        one.as_strategy(generation_mode=mode) for mode in (GenerationMode.POSITIVE, GenerationMode.NEGATIVE)
    )
    writes = method in ("post", "put") and ("/jobs" in path)
    checks = [HealthCheck.too_slow, HealthCheck.filter_too_much, HealthCheck.data_too_large]
    reached, turn, chance = Counter(), itertools.count(1), random.Random(0)

    # Made anew each time from the same seed; shrinking would go through the physics again and again.
    @settings(max_examples=16 if writes else 30, derandomize=True, deadline=None, database=None,
              phases=[Phase.generate], suppress_health_check=checks)  # fmt: skip
    @given(st.one_of(right, right, wrong))
    def sent(case):
        if next(turn) % 4:
            case = real(case, known, chance.choice)
        answer = case.call(headers={"Host": "127.0.0.1"}, timeout=PATIENT / 1000)
        case.validate_response(answer, checks=CHECKS)
        reached[answer.status_code] += 1
        if answer.status_code >= 400:
            assert {"field", "problem", "remedy"} <= set(answer.json())

    sent()
    assert min(reached) in (200, 201)  # the fuzz came through to what is there
