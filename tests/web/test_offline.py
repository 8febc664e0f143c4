"""A phone that trusts the shop: opens without the laptop in reach, keeps what is written, sends it once when back.

The browser trusts the shop's authority through its own store of authorities, as a phone does; nothing is overruled.
"""

import re
import ssl

import httpx2
import numpy as np
import pytest
from made_away import kept, on_phone, reached, until
from made_browser import LAPTOP, PHONE, accessible, leads_on, whole
from made_laid import photo_of
from made_laptop import silent
from made_photo import shot
from offline import Network, drops, mornings, said, strip_of, zoned
from playwright.sync_api import Error, expect

from proofpatch.shop.certificate import AUTHORITY
from proofpatch.shop.check import check
from proofpatch.web.offline import worker_text


@pytest.fixture
def client(laptop):
    """Another device, which checks the shop's certificate; one server, as the kernels have one worker at a time."""
    trusts = ssl.create_default_context(cafile=laptop.certificate.folder / AUTHORITY)
    with httpx2.Client(base_url=laptop.address, verify=trusts, timeout=120) as found:
        yield found


@pytest.fixture
def strip(client, store, pan):
    """The address of a job with a strip that waits for its grades."""
    client.get(f"{pan}/patches")
    assert client.post(f"{pan}/strips").status_code == 303
    return pan


def waits(page, many):
    entries = "1 entry waits" if many == 1 else f"{many} entries wait"
    expect(page.locator("#queue")).to_contain_text(f"{entries} on this phone")


def all_sent(page):
    """A grade is worked out before it is answered; a busy machine takes its time."""
    expect(page.get_by_role("heading", level=1)).to_have_text("Nothing waits on this phone.", timeout=180_000)


def grade(page, step, residue, harm="none", photo=None):
    page.locator(f".grades label:has(input[name=residue][value={residue}])").click()
    page.locator(f".grades label:has(input[name=harm][value={harm}])").click()
    if photo:
        page.get_by_text("Photo, waiting, who judged").click()
        page.get_by_label(f"Photo of {step}").set_input_files(
            {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": photo}
        )
    with leads_on(page):
        page.get_by_role("button", name=f"Keep the grade of {step}").click()


def test_a_strip_is_graded_without_the_laptop_and_sent_once_in_order(roaming, laptop, store, strip):
    kept(roaming, f"{strip}/patches")
    for step in ("A2", "A3"):
        on_phone(roaming, f"{strip}/patches?step={step}")
    laptop.shut()
    roaming.goto(f"{strip}/patches")
    expect(roaming.locator("#reach")).to_contain_text(re.compile(r"From \d\d:\d\d: the laptop is not in reach"))
    expect(roaming.locator("#reach")).to_contain_text("Chances and belief are of that time")
    grade(roaming, "A1", "partial", photo=shot())
    expect(roaming.get_by_role("heading", level=1)).to_contain_text("Lay A2")
    waits(roaming, 1)
    expect(roaming.locator(".strip")).to_contain_text("partial, none: waits on this phone")
    grade(roaming, "A2", "clean")
    expect(roaming.get_by_role("heading", level=1)).to_contain_text("Lay A3")
    waits(roaming, 2)
    # A phone that was switched off in between still has them.
    roaming.goto("/waiting")
    expect(roaming.locator("#entries li")).to_have_count(2)
    expect(roaming.locator("#entries li").first).to_contain_text("Grade of A1")
    expect(roaming.locator("#entries li").first).to_contain_text("with a photo")
    laptop.open()
    roaming.get_by_role("button", name="Send them now").click()
    all_sent(roaming)
    first, second = store.in_order("patch")
    assert (first.title, second.title) == ("A1: partial, none", "A2: clean, none")
    assert first.data["when"] <= second.data["when"] <= first.created.isoformat()
    assert [one.data["about"] for one in store.all("photo")] == ["A1"]


# The truth of the photo is the renderer's, which shares no code with the grader.
def test_a_photo_of_a_strip_waits_and_is_graded_when_the_laptop_is_back(
    roaming, laptop, client, store, strip, tmp_path
):
    (laid,) = store.all("strip")
    base = f"{strip}/strips/{laid.id}"
    (tmp_path / "sheet.pdf").write_bytes(client.get(f"{base}/sheet.pdf").content)
    left = {"1": 0.6, "2": 0.2, "3": 0.0}
    photo, _ = photo_of(tmp_path / "sheet.pdf", left, np.random.default_rng(5), size=(2400, 1800))
    kept(roaming, f"{strip}/patches")
    laptop.shut()
    roaming.goto(f"{strip}/patches")
    roaming.get_by_text("Grade the whole strip from one photo").click()
    roaming.get_by_label("Photo of the strip in its sheet").set_input_files(
        {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": photo}
    )
    with leads_on(roaming):
        roaming.get_by_role("button", name="Look at the photo").click()
    said = "Photo of strip A waits on this phone. It is graded when the laptop is back."
    expect(roaming.locator(".caution", has_text=said)).to_be_visible()
    waits(roaming, 1)
    expect(roaming.get_by_role("heading", level=1)).to_contain_text("Lay A1")  # a photo is no grade: the step stays
    accessible(roaming, "a photo that waits", PHONE["width"])
    roaming.goto("/waiting")
    expect(roaming.locator("#entries li")).to_contain_text("Photo of strip A")
    laptop.open()
    roaming.get_by_role("button", name="Send them now").click()
    all_sent(roaming)
    accessible(roaming, "a photo that arrived", PHONE["width"])
    roaming.get_by_role("link", name="Photo of strip A has arrived: look at what it shows.").click()
    expect(roaming.get_by_role("heading", level=1)).to_contain_text("The photo shows 3 steps of strip A")
    shares = re.findall(r"Still covered: ([\d.]+) ±", whole(roaming).locator("#main").inner_text())
    assert [float(one) for one in shares] == pytest.approx([100 * one for one in left.values()], abs=5)
    (seen,), (full,) = store.all("seen"), store.all("photo")
    assert ([one["digest"] for one in seen.data["photos"]], full.data["about"]) == ([full.data["digest"]], "strip A")


def test_the_page_opens_without_the_laptop_or_says_that_it_was_never_here(roaming, laptop, store, job):
    kept(roaming, f"{job}/piece")
    roaming.goto("/trust")
    laptop.shut()
    roaming.goto(f"{job}/piece")
    expect(roaming.locator("#reach")).to_contain_text("the laptop is not in reach")
    accessible(roaming, "kept page", PHONE["width"])
    roaming.goto("/trust")  # not a page that is kept
    expect(roaming.locator("#reach")).to_contain_text("was not opened on this phone before")
    expect(roaming.get_by_role("link", name=re.compile("Side table: customer and notes"))).to_be_visible()
    accessible(roaming, "waiting", PHONE["width"])
    # A laptop that takes the call and never answers does not hold the phone either.
    with silent(laptop.port):
        roaming.goto(f"{job}/piece")
        expect(roaming.locator("#reach")).to_contain_text("the laptop is at work, or not in reach")
    laptop.open()
    reached(roaming, f"{job}/piece")


def test_a_conflict_shows_both_sides_and_holds_up_its_own_job_only(roaming, laptop, client, store, strip):
    other = client.post("/new", data={"title": "Door", "kind": "grease", "substrate": "cast-iron", "year": "2020"})
    other = other.headers["location"].removesuffix("/survey")
    kept(roaming, f"{strip}/patches")
    kept(roaming, f"{strip}/piece")
    kept(roaming, f"{other}/piece")
    on_phone(roaming, f"{strip}/patches?step=A2")
    roaming.context.set_offline(True)
    roaming.goto(f"{strip}/patches")
    grade(roaming, "A1", "partial", photo=shot())
    expect(roaming.locator(".strip")).to_contain_text("waits on this phone")
    for many, job, words in ((2, strip, "after the grade"), (3, other, "of the door")):
        roaming.goto(f"{job}/piece")
        roaming.get_by_label("A note").fill(words)
        with leads_on(roaming):
            roaming.get_by_role("button", name="Add the note").click()
        waits(roaming, many)
    # Meanwhile at the laptop: the same step, judged otherwise.
    form = {"step": "A1", "residue": "clean", "harm": "none"}
    assert client.post(f"{strip}/patches", data=form).status_code == 303
    roaming.goto("/waiting")
    roaming.context.set_offline(False)
    roaming.get_by_role("button", name="Send them now").click()
    expect(roaming.locator("#entries .wrong")).to_contain_text("The laptop says: A1 does not wait for a grade")
    expect(roaming.locator("#entries li").first).to_contain_text("partial, none")
    assert [one.data["text"] for one in store.all("note")] == ["of the door"]
    accessible(roaming, "conflict", PHONE["width"])
    roaming.get_by_role("link", name="Mend it").click()
    expect(roaming.locator("#entries .said")).to_contain_text("does not ask for this any more")
    roaming.get_by_role("button", name="Send it as a note").click()
    all_sent(roaming)
    first, second = sorted(one.data["text"] for one in store.all("note", strip.rsplit("/", 1)[1]))
    assert first.startswith("Not kept as it was meant. Grade of A1")
    assert second == "after the grade"
    assert (len(store.all("patch")), [one.data["about"] for one in store.all("photo")]) == (1, ["Grade of A1"])


def test_dropping_asks_once_and_harm_ends_the_strip_on_the_phone_too(roaming, laptop, client, store, strip):
    kept(roaming, f"{strip}/patches")
    laptop.shut()
    roaming.goto(f"{strip}/patches")
    grade(roaming, "A1", "clean", "marked")
    expect(roaming.locator("p.stop", has_text="A1 shows marked: the strip ends here")).to_be_visible()
    expect(roaming.locator("dl.dial")).to_have_count(0)  # nothing more is laid
    expect(roaming.get_by_role("link", name="Go on to")).to_have_count(0)
    expect(roaming.get_by_role("button", name="Keep the grade")).to_have_count(0)
    (entry,) = store.all("strip")
    store.change("strip", entry.id, entry.version, {**entry.data, "ended": True})
    laptop.open()
    roaming.goto("/waiting")
    drop = roaming.get_by_role("button", name="Drop it")
    drop.click()
    expect(roaming.locator("#entries li")).to_have_count(1)
    roaming.get_by_role("button", name="Really drop it").click()
    all_sent(roaming)
    assert store.all("patch") == []


def test_a_refusal_while_the_laptop_is_there_comes_at_its_field(roaming, store, strip):
    reached(roaming, f"{strip}/patches")
    roaming.get_by_label("Seconds of the stroke").fill("soon")
    grade(roaming, "A1", "clean")
    expect(roaming.locator("p.wrong")).to_contain_text("seconds")
    expect(roaming.locator("#queue")).to_be_hidden()


def test_who_does_not_trust_the_shop_does_not_get_in(browser, laptop):
    page = browser.new_page()
    with pytest.raises(Error, match="ERR_CERT_AUTHORITY_INVALID"):
        page.goto(laptop.address)
    page.close()


def test_signing_out_wipes_the_pages_and_a_new_version_replaces_the_files(roaming, client, laptop, job, monkeypatch):
    client.get(f"{job}/survey")  # worked out
    kept(roaming, f"{job}/piece")
    names = "() => caches.keys().then((all) => all.sort().join())"
    before = roaming.evaluate(names)
    given = worker_text()
    version = re.search(r'"version": "(\w+)"', given)[1]
    monkeypatch.setattr("proofpatch.web.offline.worker_text", lambda: given.replace(version, "anew"))
    assert before == f"files {version},pages"
    laptop.shut()
    laptop.renew()
    laptop.open()
    roaming.goto(f"{job}/piece")
    until(lambda: roaming.evaluate(names) == "files anew,pages")
    roaming.evaluate("() => new Promise((done) => { const line = new MessageChannel(); line.port1.onmessage = done; "
                   "navigator.serviceWorker.controller.postMessage({ wipe: true }, [line.port2]); })")  # fmt: skip
    assert roaming.evaluate(names) == "files anew"


def test_the_shop_can_be_put_on_the_home_screen(roaming):
    roaming.goto("/")
    told = roaming.context.new_cdp_session(roaming).send("Page.getAppManifest")
    assert (told["errors"], '"display": "standalone"' in told["data"]) == ([], True)
    assert roaming.context.new_cdp_session(roaming).send("Page.getInstallabilityErrors")["installabilityErrors"] in (
        [], [{"errorId": "in-incognito", "errorArguments": []}],
    )  # fmt: skip


# Random drops of the network; benchmarks/offline.py runs ten times as many.
def test_nothing_is_lost_and_nothing_made_twice(roaming, laptop, store, pan):
    zoned(store, pan)
    steps, network = strip_of(store, pan, 4), Network(np.random.default_rng(7))
    laptop.shut()
    laptop.open(network.over)
    troubles, count = drops(roaming, network, store, pan, 20, steps)
    assert troubles == []
    assert count >= 40
    assert {one.data["what"] for one in store.all("run")} == {"begin", "note", "incident", "check", "end"}
    assert mornings(store, pan) > 0
    assert check(store.folder).whole
    told = said(20, count, store, network, troubles)[0]
    assert f"{store.count('run')} entries of the run" in told
    assert f"{mornings(store, pan)} answers of a morning" in told
    assert min(network.fates[fate] for fate in ("request lost", "answer lost")) > 5


@pytest.mark.parametrize("size", [PHONE, LAPTOP], ids=["phone", "laptop"])
def test_the_page_of_trust_walks_through_it(roaming, client, laptop, size):
    roaming.set_viewport_size(size)
    roaming.goto("/trust")
    for line in re.findall(r".{1,23}(?::|$)", laptop.certificate.fingerprint):
        expect(roaming.locator(".prints")).to_contain_text(line.strip(":").replace(":", " "))
    answer = client.get("/trust/proofpatch-shop.crt")
    assert (answer.headers["content-type"], answer.content) == ("application/x-x509-ca-cert", laptop.certificate.der)
    accessible(roaming, "trust", size["width"])


def test_a_phone_that_is_led_to_the_door_keeps_no_page(roaming, laptop, strip):
    kept(roaming, f"{strip}/patches")
    names = "async () => (await (await caches.open('pages')).keys()).map((one) => new URL(one.url).pathname)"
    assert f"{strip}/patches" in roaming.evaluate(names)
    roaming.goto("/door")  # as one that was signed out on the laptop
    assert [name for name in roaming.evaluate(names) if name.startswith("/jobs/")] == []


def test_what_was_still_to_be_kept_is_not_kept_after_a_wipe(roaming, strip):
    kept(roaming, f"{strip}/patches")
    links = [f"{strip}/{name}" for name in ("survey", "piece", "recipe", "measure", "hazards")]
    roaming.evaluate(
        "(links) => new Promise((done) => { const line = new MessageChannel(); line.port1.onmessage = done; "
        "const worker = navigator.serviceWorker.controller; worker.postMessage({ keep: links }); "
        "worker.postMessage({ wipe: true }, [line.port2]); })", links
    )  # fmt: skip
    roaming.wait_for_timeout(1500)  # the rest of the list would come in by then
    assert roaming.evaluate("async () => (await (await caches.open('pages')).keys()).map((one) => one.url)") == []
