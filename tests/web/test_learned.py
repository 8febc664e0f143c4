"""What was learned, on screen, over HTTP and at the command line; what a job starts from, jobs like it, lots."""

import html
import re
import threading

import pytest
from fastapi.testclient import TestClient
from made_api import HERE, wrong
from made_browser import LAPTOP, PHONE, accessible_in_both
from made_cli import told
from made_lent import KEY, WHEN
from made_photo import shot
from playwright.sync_api import expect

import proofpatch as pp
from proofpatch.cli import main
from proofpatch.cli_memory import alike_lines
from proofpatch.learn.memory.exchange import ORIGINS, Exchanged, Photo, packed
from proofpatch.shop.foretold import KIND as SAID
from proofpatch.shop.lent_photos import bare
from proofpatch.shop.log import graded_to
from proofpatch.shop.lots import KIND, bring_in
from proofpatch.shop.people import keep_item
from proofpatch.shop.photos import add_photo
from proofpatch.shop.starts import start_of, switch
from proofpatch.web.app import create
from proofpatch.web.come_to import keep
from proofpatch.web.road import road

LEAD = {"status": "negative", "method": "laboratory test of a chip through all layers", "date": "2025-03-11"}


@pytest.fixture
def take_in(store, at_work):
    def made(title, *residues, substrate="oak"):
        data = {"job": {"title": title, "laser": "pulsed-500"}, "surface": {"substrate": substrate}, "lead": LEAD,
                "layers": [{"coating": "oil-varnish", "condition": "aged"}]}  # fmt: skip
        entry = store.add("job", data, title=title)
        for n, residue in enumerate(residues):
            graded = pp.Graded(at_work(passes=8 + n), residue, "none", seconds=2.0, length=0.1)
            store.add("patch", graded_to(graded, WHEN), entry.id, f"{residue}, none")
        keep(store, road(store, entry))
        return entry

    return made


@pytest.fixture
def file(at_work):
    def made(shop="Weir Workshop", origin=ORIGINS[0]):
        oak = pp.Surface([pp.Layer("oil-varnish", condition="aged")], "oak")
        laid = (pp.Graded(at_work(passes=9), "trace", "none"),)
        job = Exchanged(oak, pp.laser("pulsed-500"), laid, at_work(passes=7))
        return packed([job], KEY, shop, "2026-05-04", origin)

    return made


def seen(answer):
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", answer.text)).split())


def version(answer):
    return re.search(r'name="version" value="(\d+)"', answer.text)[1]


def test_an_empty_shop_says_what_is_needed(client):
    page = seen(client.get("/learned"))
    assert "Nothing was graded yet, so nothing was learned." in page
    assert "No forecast was kept yet. Each grade of a patch is one" in page
    assert "Nothing of other shops counts here." in seen(client.get("/learned/lots"))


def test_page_api_and_command_line_tell_the_same(client, api, store, take_in, capsys):
    take_in("Chest", "trace", "trace")
    take_in("Desk", substrate="walnut")
    record = told(capsys, "memory", store.folder)
    answered = api.get("learned").json()
    assert {name: answered[name] for name in record} == record
    page = seen(client.get("/learned"))
    assert record["because"] in page
    assert "The next patch teaches most on oil varnish on walnut." in page
    oak, walnut = record["pairs"]
    assert "First job of oil varnish on walnut here" in walnut["because"]
    start = "With memory on: first job of oil varnish on walnut here"  # it does not start from it yet
    for said in (start, oak["next"], *(one["said"][1:] for one in oak["most"]), record["skill"]["because"]):
        assert said in page
    assert (record["skill"]["forecasts"], record["skill"]["jobs_wanted"]) == (4, 4)
    assert "too few to tell skill from luck. 4 more jobs" in record["skill"]["because"]


def test_the_switch_says_what_it_does_and_does_it(client, api, store, take_in):
    take_in("Chest", "trace", "trace")
    new = take_in("New")
    page = client.get("/learned")
    assert "every job on which nothing was laid yet starts from what the other jobs taught" in seen(page)
    assert "Memory is off: this job starts from published data alone." in seen(client.get(f"/jobs/{new.id}/forecast"))
    assert client.post("/learned/use", data={"use": "on", "version": version(page)}).status_code == 303
    assert "no forecast rests on other jobs any more" in seen(client.get("/learned"))
    assert "moves with what other jobs teach until then" in seen(client.get(f"/jobs/{new.id}/forecast"))
    now = api.get("learned").json()
    assert wrong(api.put("settings/memory", json={"used": False, "version": now["version"] + 1}), 409) == "version"
    assert api.put("settings/memory", json={"used": False, "version": now["version"]}).json()["used"] is False


def test_a_job_is_started_anew_on_its_page_and_back(client, api, store, take_in):
    client.post("/learned/use", data={"use": "on", "version": 0})
    take_in("Past", "trace", "trace")
    mine = take_in("Mine", "partial")
    before = start_of(store, mine)
    take_in("Later", "trace", "trace", "trace")
    page = client.get(f"/jobs/{mine.id}/start")
    assert "This job starts from published data and from other jobs." in seen(page)
    assert "Jobs graded since do not move it." in seen(page)
    assert start_of(store, mine).recalled == before.recalled
    assert client.post(f"/jobs/{mine.id}/start", data={"version": version(page)}).status_code == 303
    after = start_of(store, mine)
    assert after.recalled != before.recalled
    page = client.get(f"/jobs/{mine.id}/start")
    assert "Nothing was learned since that would change it." in seen(page)
    client.post(f"/jobs/{mine.id}/start/undo", data={"version": version(page)})
    assert start_of(store, mine).recalled == before.recalled
    said = api.get(f"jobs/{mine.id}/start").json()
    assert (said["used"], said["kept"]) == (True, True)
    assert api.post(f"jobs/{mine.id}/start", json={"version": said["version"]}).json()["name"] == after.recalled.name
    undo = "Undo: start from what it was before"
    assert undo in seen(client.get(f"/jobs/{mine.id}/start"))
    client.post("/learned/use", data={"use": "off", "version": 1})
    assert undo not in seen(client.get(f"/jobs/{mine.id}/start"))  # it starts from published data, whatever is kept


def test_jobs_like_this_one_with_photo_link_and_outcome(client, api, store, take_in):
    lone = take_in("Lone")
    assert "No other job with as many layers has a graded patch yet." in seen(client.get(f"/jobs/{lone.id}/alike"))
    other = take_in("Chest", "trace", "trace")
    digest = add_photo(store, shot(), other.id).data["digest"]
    page = client.get(f"/jobs/{lone.id}/alike")
    assert "Chest is most like this one." in seen(page)
    assert "Nothing was graded here yet, so it is compared by what published data say" in seen(page)
    assert "2 graded patches, none harmed." in seen(page)
    assert f'src="/photos/{digest}"' in page.text
    assert f'href="/jobs/{other.id}/recipe"' in page.text
    record = api.get(f"jobs/{lone.id}/alike").json()
    (row,) = record["jobs"]
    assert "never one to work by" in " ".join(alike_lines(record))
    assert (row["id"], row["photo"]) == (other.id, digest)


def test_a_file_is_looked_at_taken_weighed_and_taken_out(client, store, take_in, file):
    take_in("Chest", "trace")
    look = client.post("/learned/lots/look", files={"file": ("theirs.jsonl", file(origin=ORIGINS[1]))})
    assert "Weir Workshop lends 1 job." in seen(look)
    assert "This is published data, not patches of a shop." in seen(look)
    assert not store.all(KIND)
    digest = re.search(r'name="digest" value="(\w+)"', look.text)[1]
    wrong_weight = client.post("/learned/lots", data={"digest": digest, "weight": "heavy"})
    assert (wrong_weight.status_code, 'value="heavy"' in wrong_weight.text) == (422, True)
    assert client.post("/learned/lots", data={"digest": digest, "weight": "0.4"}).status_code == 303
    (lot,) = store.all(KIND)
    assert lot.data["weight"] == 0.4
    page = seen(client.get("/learned"))
    assert "1 job of published data, not of a shop" in page
    assert "and 1 job of others" in page
    assert client.post(f"/learned/lots/{lot.id}/weight", data={"version": 1, "weight": "25 %"}).status_code == 303
    assert store.all(KIND)[0].data["weight"] == 0.25
    assert client.post(f"/learned/lots/{lot.id}/weight", data={"version": 2, "weight": "2"}).status_code == 422
    client.post(f"/learned/lots/{lot.id}/delete", data={"version": 2})
    assert "others" not in seen(client.get("/learned")).partition("By kind of work")[0]
    other_tab = client.post(f"/learned/lots/{lot.id}/weight", data={"version": 3, "weight": "0.5"})
    assert other_tab.status_code == 422
    assert "The lot was taken out. Bring it back first." in seen(other_tab)
    assert store.get(KIND, lot.id).data["weight"] == 0.25
    client.post(f"/learned/lots/{lot.id}/restore", data={"version": 3})
    assert "and 1 job of others" in seen(client.get("/learned"))


def test_two_tabs_with_one_file_bring_it_in_once_and_say_so(client, store, file):
    data = file()
    look = client.post("/learned/lots/look", files={"file": ("theirs.jsonl", data)})
    digest = re.search(r'name="digest" value="(\w+)"', look.text)[1]
    lot = bring_in(store, data)
    for weight in ("heavy", "0.4"):
        late = client.post("/learned/lots", data={"digest": digest, "weight": weight})
        assert late.status_code == 422
        assert "This file was brought in already." in seen(late)
    assert [one.id for one in store.all(KIND)] == [lot.id]
    assert client.post("/learned/lots/none/weight", data={"version": 1, "weight": "0.4"}).status_code == 404


def test_a_stopped_job_says_so_above_the_jobs_like_it(client, api, store, take_in, capsys):
    take_in("Chest", "trace")
    lone = take_in("Lid")
    stop = {**lone.data, "job": {**lone.data["job"], "year": 1950}, "layers": [{"coating": "oil paint"}]}
    store.change("job", lone.id, lone.version, {key: one for key, one in stop.items() if key != "lead"}, "Lid")
    page = seen(client.get(f"/jobs/{lone.id}/alike"))
    assert page.index("Stop: ") < page.index("Likeness counts")
    record = told(capsys, "alike", lone.id, "--folder", store.folder)
    assert api.get(f"jobs/{lone.id}/alike").json() == record
    assert record["stop"] == client.app.state.desk.wait(lone.id).closed
    assert record["stop"] in page
    with pytest.raises(SystemExit):
        main(["alike", lone.id, "--folder", str(store.folder)])
    assert "Stop: " in capsys.readouterr().out


def test_what_is_being_worked_out_stands_in_its_room(store, take_in):
    take_in("Chest", "trace")
    with TestClient(create(store, patience=0), base_url=HERE) as hasty:
        page = hasty.get("/learned")
        assert "Working out what was learned" in seen(page)
        assert re.findall(r'<a href="([^"]*)" aria-current="page"', page.text) == ["/learned"]
        hasty.app.state.desk.run(lambda: None)


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda data: data.replace(b"trace", b"clean"), "The file was changed after it was signed"),
        (lambda data: b"%PDF-1.7\n", "This is no exchange file of proofpatch"),
        (lambda data: b"\n" * 50_000_001, "The file is larger than 50 MB."),
        (lambda data: b"", "No file was chosen."),
    ],
)
def test_a_bad_file_is_one_sentence(client, api, store, file, spoil, said):
    answer = client.post("/learned/lots/look", files={"file": ("theirs.jsonl", spoil(file()))})
    assert answer.status_code == 422
    assert said in seen(answer)
    for path in ("lots", "lots/look"):
        assert wrong(api.post(path, files={"file": ("theirs.jsonl", spoil(file()))})) == "file"
    assert not store.all(KIND)


def test_what_is_given_is_the_same_jobs_everywhere(client, api, store, take_in, capsys, tmp_path):
    mine = take_in("Chest of Mrs Fenwick", "trace")
    take_in("Desk", "partial", substrate="walnut")
    out = tmp_path / "ours.jsonl"
    record = told(capsys, "lend", out, "--folder", store.folder)
    assert record["jobs"] == 2
    assert client.get("/learned/lots/ours.jsonl").content == out.read_bytes() == api.get("lots/ours").content
    one = client.get("/learned/lots/ours.jsonl", params={"kind": "oil varnish on oak"})
    assert one.content == api.get("lots/ours", params={"job": mine.id}).content
    assert one.content.count(b"\n") == 3
    assert b"Fenwick" not in one.content
    assert client.get("/learned/lots/ours.jsonl", params={"kind": "none"}).status_code == 422


def test_lots_over_http_and_at_the_command_line(api, store, file, capsys, tmp_path):
    (tmp_path / "theirs.jsonl").write_bytes(file())
    look = told(capsys, "borrow", tmp_path / "theirs.jsonl", "--folder", store.folder, "--look")
    assert api.post("lots/look", files={"file": ("theirs.jsonl", file())}).json() == look
    lot = api.post("lots", files={"file": ("theirs.jsonl", file())}, data={"weight": "0.2"}).json()
    assert (lot["weight"], lot["counting"], lot["published"]) == (0.2, 1, False)
    assert wrong(api.put(f"lots/{lot['id']}", json={"version": 1, "weight": 2})) == "weight"
    assert api.put(f"lots/{lot['id']}", json={"version": 1, "weight": 1}).json()["weight"] == 1
    with pytest.raises(SystemExit) as end:
        main(["lots", str(store.folder), "--lot", "", "--take-out"])
    assert end.value.code == 2
    assert "No lot begins with ''." in capsys.readouterr().err
    listed = told(capsys, "lots", store.folder, "--lot", lot["id"][:6], "--take-out")
    assert [one["id"] for one in listed["taken_out"]] == [lot["id"]]
    assert wrong(api.put(f"lots/{lot['id']}", json={"version": 3, "weight": 1}), 409) == KIND
    assert api.post(f"lots/{lot['id']}/restore", params={"version": 3}).json()["deleted"] is None


# Twelve jobs with forecasts as they might have been kept: what they came to is drawn, the words of the picture with it.
def twelve(store, take_in):
    for n in range(10):
        entry = take_in(f"Piece {n}")
        patch = store.add(
            "patch", graded_to(pp.Graded(SETTING, "clean" if n % 3 else "partial", "none"), WHEN), entry.id
        )
        said = {"clean": 0.9 if n % 3 else 0.2, "harm": 0.05, "after": 0, "late": False, "start": None}
        store.add(SAID, {"said": {patch.id: said}}, entry.id)


SETTING = pp.Setting(
    average_power=250.0, repetition_rate=20e3, pulse_width=200e-9, spot_radius=0.45e-3, sweep_width=0.1,
    sweep_speed=10.0, travel_speed=0.05, passes=8,
)  # fmt: skip


@pytest.mark.parametrize("size", [PHONE, LAPTOP], ids=["phone", "laptop"])
def test_nothing_is_found_against_access(page, store, take_in, file, size):
    page.set_viewport_size(size)
    twelve(store, take_in)
    mine = take_in("Mine", "trace")
    add_photo(store, shot(), store.in_order("job")[0].id)
    bring_in(store, file())
    page.goto("/learned")
    expect(page.get_by_role("heading", level=1)).to_contain_text("are remembered")
    page.get_by_role("button", name="Switch memory on").click()
    expect(page.get_by_role("button", name="Switch memory off")).to_be_visible()
    picture = page.locator("figure svg:visible")
    expect(picture).to_have_count(1)
    expect(picture).to_have_attribute("aria-label", re.compile("times the chance"))
    for path in ("/learned", "/learned/lots", f"/jobs/{mine.id}/alike", f"/jobs/{mine.id}/start"):
        page.goto(path)
        accessible_in_both(page, path, size["width"])
    page.goto("/learned/lots")
    page.get_by_label("File of another shop").set_input_files(
        {"name": "more.jsonl", "mimeType": "text/plain", "buffer": file("Mill Workshop")}
    )
    page.get_by_role("button", name="Look into the file").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Mill Workshop lends 1 job")
    accessible_in_both(page, "look", size["width"])
    page.get_by_role("button", name="Bring it in").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("2 files")


def photographed(store, entry):
    store.add("strip", {"name": "A", "steps": [{}, {}]}, entry.id, "Strip A")
    keep_item(store, entry.id, 0, "Mrs Fenwick", "", "")
    for n, about in enumerate(("A1", "strip A", "the room")):
        add_photo(store, shot((60 + n, 40)), entry.id, about=about)


def test_what_goes_along_is_said_before_the_file_is_made_and_is_the_same_everywhere(
    client, api, store, take_in, capsys, tmp_path
):
    photographed(store, take_in("Oak door", "trace"))
    kind = "oil varnish on oak"
    plain = seen(client.get("/learned/lots/give", params={"kind": kind}))
    assert "No photo goes along." in plain
    assert "No title and no customer’s name goes along." in plain
    assert "Fenwick" not in plain
    chosen = {"photos": "on", "names": "on"}
    page = client.get("/learned/lots/give", params={"kind": kind, **chosen})
    assert "2 small photos of patches and strips" in seen(page)
    assert "Oak door, of Mrs Fenwick" in seen(page)
    assert page.text.count("data:image/jpeg;base64,") == 2
    look = told(capsys, "lend", tmp_path / "o.jsonl", "--folder", store.folder, "--photos", "--names", "--look")
    assert look == api.get("lots/ours/look", params={"photos": True, "names": True}).json()
    assert (look["photos"], look["names"]) == (2, [{"title": "Oak door", "customer": "Mrs Fenwick"}])
    assert not (tmp_path / "o.jsonl").exists()
    none = api.get("lots/ours/look").json()
    assert (none["photos"], none["names"]) == (0, [])
    assert "No photo and no title or customer goes along." in none["because"]
    told(capsys, "lend", tmp_path / "o.jsonl", "--folder", store.folder, "--photos", "--names")
    data = (tmp_path / "o.jsonl").read_bytes()
    assert client.get("/learned/lots/ours.jsonl", params={"kind": kind, **chosen}).content == data
    assert api.get("lots/ours", params={"photos": True, "names": True}).content == data
    assert client.get("/learned/lots/give").status_code == 422


@pytest.fixture
def with_photo(at_work):
    oak = pp.Surface([pp.Layer("oil-varnish", condition="aged")], "oak")
    laid = (pp.Graded(at_work(passes=9), "trace", "none"),)
    photo = Photo.of("A1", bare(shot()))
    job = Exchanged(oak, pp.laser("pulsed-500"), laid, title="Oak door", customer="Mrs Fenwick", photos=(photo,))
    return packed([job], KEY, "Weir Workshop", "2026-05-04")


@pytest.mark.parametrize("face", ["page", "http", "command line"])
def test_photos_of_others_are_taken_only_by_who_chooses_to(
    client, api, store, take_in, with_photo, capsys, tmp_path, face
):
    mine = take_in("Mine", "trace")
    for wanted in (False, True):
        files = {"file": ("theirs.jsonl", with_photo)}
        if face == "page":
            look = client.post("/learned/lots/look", files=files)
            assert "Oak door, of Mrs Fenwick" in seen(look)
            assert "1 photo in it" in seen(look)
            digest = re.search(r'name="digest" value="(\w+)"', look.text)[1]
            client.post(
                "/learned/lots", data={"digest": digest, "weight": "0.4"} | ({"photos": "on"} if wanted else {})
            )
        elif face == "http":
            assert api.post("lots/look", files=files).json()["photos"] == 1
            api.post("lots", files=files, data={"photos": str(wanted).lower()})
        else:
            (tmp_path / "theirs.jsonl").write_bytes(with_photo)
            told(capsys, "borrow", tmp_path / "theirs.jsonl", "--folder", store.folder, *["--photos"] * wanted)
        assert len(store.all("photo")) == wanted
        (lot,) = store.all(KIND)
        (row,) = api.get(f"jobs/{mine.id}/alike").json()["jobs"]
        assert (row["title"], row["customer"], bool(row["photo"])) == ("Oak door", "Mrs Fenwick", wanted)
        if not wanted:  # the file is known from now on; as if it never was, so that it can be brought in again
            store.change(KIND, lot.id, lot.version, {**lot.data, "digest": "", "key": "another"})
            store.delete(KIND, lot.id, lot.version + 1)
    page = client.get(f"/jobs/{mine.id}/alike")
    assert f'src="/photos/{row["photo"]}"' in page.text
    assert client.get(f"/photos/{row['photo']}").status_code == 200


def test_published_data_are_offered_where_nothing_is_and_come_with_one_press(client, api, store, capsys):
    page = seen(client.get("/learned/lots"))
    assert "1 of 32 published cases prints fluence" in page
    assert "Materials 17(10) (2024) 2414" in page
    offered = api.get("lots").json()["starter"]
    assert told(capsys, "lots", store.folder)["starter"] == offered
    assert not store.all(KIND)
    assert client.post("/learned/lots/starter").status_code == 303
    (lot,) = store.all(KIND)
    assert lot.data["weight"] == offered["weight"] == 0.1
    page = seen(client.get("/learned/lots"))
    assert "Published data, not patches of a shop." in page
    assert "To begin with" not in page
    assert "1 job of published data, not of a shop" in seen(client.get("/learned"))
    assert wrong(api.post("lots/starter", json={})) == "starter"
    assert client.post("/learned/lots/starter").status_code == 422
    client.post(f"/learned/lots/{lot.id}/delete", data={"version": 1})
    assert api.get("lots").json()["lots"] == []


@pytest.mark.parametrize("face", ["http", "command line"])
def test_published_data_count_as_the_owner_says(api, store, capsys, face):
    if face == "http":
        lot = api.post("lots/starter", json={"weight": 0.3}).json()
    else:
        lot = told(capsys, "borrow", "--starter", "--weight", "0.3", "--folder", store.folder)
    assert (lot["weight"], lot["published"], lot["counting"]) == (0.3, True, 1)


# numba's own threading layer ends the process where two threads call it at once (its manual, "Threading layers"; from
# memory). A site that is missing is worked out with the kernels.
def test_what_other_jobs_teach_is_worked_out_on_the_thread_of_the_kernels_alone(client, store, take_in, monkeypatch):
    other, mine = take_in("Lid", "trace"), take_in("Door")
    switch(store, True, 0)
    for one in store.all("site", other.id):
        store.delete("site", one.id, one.version)
    threads, update = [], pp.update

    def noted(*given):
        threads.append(threading.current_thread().name)
        return update(*given)

    monkeypatch.setattr(pp, "update", noted)
    assert client.get(f"/api/jobs/{mine.id}/forecast").status_code == 200
    assert client.get(f"/api/jobs/{mine.id}/lasers").status_code == 200
    assert threads
    assert {name.partition("_")[0] for name in threads} == {"desk"}
