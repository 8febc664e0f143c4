"""The completion record on pages: as it stands, written once, signed with a finger or on paper, and over HTTP."""

import io
import json
import re

import pytest
from made_browser import PHONE, accessible_in_both, leads_on
from made_counter import TICKED, Pages, drawn, pdf_text, squeezed
from made_gate import gate
from made_pages import NEW, seen
from made_record import ZONES, finished_gate, logged, photos, with_photos
from pypdf import PdfReader

from proofpatch.documents.record import record_page
from proofpatch.errors import InputError
from proofpatch.shop.completions import written
from proofpatch.shop.kept_pairs import pairs_of
from proofpatch.shop.photos import add_photo
from proofpatch.shop.run import add_entry
from proofpatch.web.come_to import keep
from proofpatch.web.road import road


class Desk(Pages):
    """The record's pages of one job."""

    def get(self, path="/record"):
        return super().get(path)

    def post(self, path, **form):
        return self.client.post(f"{self.base}{path}", data=form)

    def write(self, **form):
        mark = re.search(r'name="mark" value="([^"]*)"', self.get().text)[1]
        return self.post("/record", **{"mark": mark, **form})

    def sign(self, at, **form):
        return self.post(f"{at}/sign", **{"name": "A. Fenwick", "signature": drawn(), **TICKED, **form})


@pytest.fixture
def desk(client, store):
    return Desk(client, store, finished_gate(store))


def test_page_paper_and_api_say_the_same(desk):
    record = desk.client.get(f"/api{desk.base}/record").json()
    page, sheet = seen(desk.get()).replace("\u00a0", " "), pdf_text(desk.get("/record.pdf"))
    assert "Draft,nothandedover" in sheet
    said = record_page(record)
    care = [line for _, lines in said["care"] for line in lines]
    looks, cites = [one[1] for one in said["looks"]], [one[0] for one in said["sources"]]
    for text in (said["lead"], said["areas"], said["beam"], said["visual_note"], *said["settings"], *said["waste"],
                 *said["open"], *looks, *care, *cites):  # fmt: skip
        assert squeezed(text) in squeezed(page), text
        assert squeezed(text) in sheet, text
    for row in said["zones"]:
        for cell in row:
            assert squeezed(cell) in squeezed(page)
    # The mass is that of the belief with the job's patches, as on the page of the offer; the waste's words those of
    # the page of the hazards.
    hazards = desk.client.get(f"/api{desk.base}/hazards").json()
    assert record["waste"]["words"] == hazards["air"]["waste"]
    assert desk.client.get(f"/api{desk.base}/records").json() == {"records": []}


def test_it_is_written_once_and_stays(desk, store):
    answer = desk.write(open="The customer paints the hinge.", remarks="The hinge was freed.\nOne bolt was lost.")
    assert answer.status_code == 303
    at = answer.headers["location"].removeprefix(desk.base)
    page = seen(desk.get(at))
    for words in ("The customer paints the hinge.", "One bolt was lost.", "Sign with the finger", "It stays as it is"):
        assert words in page
    before = desk.get(f"{at}.pdf")
    assert squeezed("The customer paints the hinge.") in pdf_text(before)
    assert squeezed("Draft") not in pdf_text(before)
    assert desk.get("/record.pdf").content == before.content
    assert "Version 1 says all this." in seen(desk.get())
    # One more entry of the run: the page says so, the paper stays, and the next begins with the same words.
    add_entry(store, desk.key, {**logged()[-1], "zone": 3}, ZONES)
    now = desk.get()
    assert "It changed since version 1 was written." in seen(now)
    assert "One bolt was lost.</textarea>" in now.text
    assert desk.get(f"{at}.pdf").content == before.content
    second = desk.write(open="The customer paints the hinge.", remarks="").headers["location"].removeprefix(desk.base)
    assert "Version 2 took its place." in seen(desk.get(at))
    late = desk.sign(at)
    assert late.status_code == 422
    assert "Version 2 was written since." in seen(late)
    assert desk.sign(second).status_code == 303


def test_two_tabs_write_once(desk, store):
    long = desk.write(open="x" * 301)
    assert long.status_code == 422
    assert "lines of 300 characters" in seen(long)
    mark = re.search(r'name="mark" value="([^"]*)"', desk.get().text)[1]
    assert desk.post("/record", mark=mark).status_code == 303
    late = desk.post("/record", mark=mark, remarks="Typed in vain")
    assert late.status_code == 422
    assert "It is not what you looked at any more." in seen(late)
    assert "Typed in vain</textarea>" in late.text
    assert len(written(store, desk.key)) == 1


def standing_of(desk, store):
    """(state, finding) of the record in the contents; what the list of jobs says comes next."""
    found = road(store, store.get("job", desk.key))
    keep(store, found)
    step, about = found.steps[-1], json.loads(store.all("survey", desk.key)[0].title)
    assert about["states"][-1] == step.state
    return step.state, step.finding, about["next"]


def test_the_contents_say_how_the_record_stands(desk, store):
    assert standing_of(desk, store)[:2] == ("to do", "")
    at = desk.write().headers["location"].removeprefix(desk.base)
    assert standing_of(desk, store) == ("begun", "version 1, to be signed", "Have the record signed")
    assert desk.sign(at).status_code == 303
    assert standing_of(desk, store) == ("done", "signed by A. Fenwick", "The record is signed")
    assert "signed by A. Fenwick" in seen(desk.get("/survey"))


def test_it_is_signed_with_a_finger(desk, store):
    at = desk.write().headers["location"].removeprefix(desk.base)
    for form, said in (
        ({"tick-1": ""}, "Not ticked"), ({"name": ""}, "There is no name."), ({"signature": ""}, "no signature"),
        ({"signature": "", "on_paper": "yes", "signed_on": "2020-01-01"}, "before the record was written"),
        ({"on_paper": "yes"}, "here and on paper"),
    ):  # fmt: skip
        answer = desk.sign(at, **form)
        assert answer.status_code == 422, said
        assert said in seen(answer)
        assert answer.text.count('role="alert"') == 1, said
    assert written(store, desk.key)[0].signed is None
    assert desk.get(f"{at}/signed.pdf").status_code == 404
    assert desk.sign(at).status_code == 303
    page = desk.get(at)
    assert "A. Fenwick signed that it is done." in seen(page)
    assert 'alt="Signature of A. Fenwick"' in page.text
    signed = desk.get(f"{at}/signed.pdf")
    assert squeezed("Customer: A. Fenwick") in pdf_text(signed)
    assert desk.get("/record.pdf").content == signed.content
    assert squeezed("Customer: A. Fenwick") not in pdf_text(desk.get(f"{at}.pdf"))
    (kept,) = desk.client.get(f"/api{desk.base}/records").json()["records"]
    assert (kept["signed"]["name"], kept["record"]["version"]) == ("A. Fenwick", 1)
    assert kept["fingerprint"] in seen(page)
    again = desk.sign(at)
    assert "signed before" in seen(again)
    with pytest.raises(InputError, match="stays as it is"):
        store.delete("record", kept["id"], 1)


def test_signed_on_paper_works_without_a_script(desk):
    at = desk.write().headers["location"].removeprefix(desk.base)
    assert desk.sign(at, signature="", on_paper="yes").status_code == 303
    assert ", on paper" in seen(desk.get(at))
    assert "signedonpaper" in pdf_text(desk.get(f"{at}/signed.pdf"))


def test_photos_are_chosen_taken_out_and_brought_back(desk, store):
    two = photos()
    assert "Two photos are needed" in seen(desk.get())
    digests = [add_photo(store, one.jpeg, desk.key).data["digest"] for one in (two.before, two.after)]
    before, after = digests
    assert "Not measured: no photos before and after were compared." in seen(desk.get())
    same = desk.post("/record/pairs", before=before, after=before)
    assert same.status_code == 422
    assert "Both photos are the same one." in seen(same)
    assert desk.post("/record/pairs", before=before, after=after, about="outer face").status_code == 303
    page = desk.get()
    assert "Outer face" in seen(page)
    shown = re.search(r'src="([^"]*compare/before.jpg[^"]*)"', page.text)[1].replace("&amp;", "&")
    assert desk.client.get(shown).headers["content-type"] == "image/jpeg"
    # The same sentences as on the page of before and after, which offers to take the pair in.
    compare = desk.client.get(f"{desk.base}/compare", params={"before": before, "after": after})
    line = re.search(r"[\d.]+ % of the piece changed\.", seen(compare))[0]
    assert line in seen(page)
    assert f'action="{desk.base}/record/pairs"' in compare.text
    (pair,) = pairs_of(store, desk.key)
    assert desk.post(f"/record/pairs/{pair.id}/delete", version=1).status_code == 303
    assert "Bring back the pair" in seen(desk.get())
    assert desk.post(f"/record/pairs/{pair.id}/restore", version=2).status_code == 303
    assert line in seen(desk.get())


def test_a_job_of_which_nothing_is_on_record(client, store):
    bare = Desk(client, store, gate(store, zones=[]))
    page = seen(bare.get())
    assert "What was done is not measured." in page
    for words in (
        "Area: not measured.",
        "Settings really used: not recorded.",
        "Not measured: no photos",
        "None is on",
    ):
        assert words in page, words
    assert "Nothing was agreed in writing." in pdf_text_words(bare.get("/record.pdf"))
    # Not even tested: the survey's own job has no layers that were confirmed, and still a page.
    job = client.post("/new", data=NEW).headers["location"].removesuffix("/survey")
    assert client.get(f"{job}/record").status_code == 200
    assert json.loads(client.get(f"/api{job}/record").text)["areas"] is None


def pdf_text_words(answer):
    return " ".join(" ".join(one.extract_text() for one in PdfReader(io.BytesIO(answer.content)).pages).split())


def test_a_refused_job_has_none(client, store):
    job = client.post("/new", data={**NEW, "substrate": "plastic"}).headers["location"].removesuffix("/survey")
    page = client.get(f"{job}/record")
    assert page.status_code == 200
    assert "This is not for a beam." in seen(page)
    assert "Write the record" not in seen(page)
    assert client.post(f"{job}/record", data={}).status_code in (200, 422)
    assert client.get(f"{job}/record.pdf").status_code == 404
    record = client.get(f"/api{job}/record").json()
    assert record["because"].startswith("Stop")
    assert store.count("record") == 0


def test_nobody_elses_record_is_shown(desk, store):
    at = desk.write().headers["location"].removeprefix(desk.base)
    other = Desk(desk.client, store, gate(store))
    for path in (at, f"{at}.pdf", f"{at}/signed.pdf"):
        assert other.get(path).status_code == 404


def test_the_pages_on_a_phone(page, store, shop):
    entry = finished_gate(store)
    with_photos(store, entry)
    page.set_viewport_size(PHONE)
    page.goto(f"/jobs/{entry.id}/record")
    page.locator("#f-open").wait_for()
    accessible_in_both(page, "record", PHONE["width"])
    page.locator("#f-open").fill("The customer paints the hinge.")
    with leads_on(page):
        page.get_by_role("button", name="Write it").click()
    assert "/records/" in page.url
    accessible_in_both(page, "written", PHONE["width"])
    for tick in page.locator("input[name^=tick]").all():
        tick.check()
    page.get_by_label("Name of the customer").fill("A. Fenwick")
    page.locator("canvas").scroll_into_view_if_needed()
    box = page.locator("canvas").bounding_box()
    page.mouse.move(box["x"] + 20, box["y"] + 40)
    page.mouse.down()
    page.mouse.move(box["x"] + 150, box["y"] + 20, steps=4)
    page.mouse.move(box["x"] + 200, box["y"] + 50, steps=4)
    page.mouse.up()
    page.get_by_role("button", name="Keep the signature").click()
    page.get_by_text("A. Fenwick signed that it is done.").wait_for()
    assert len(written(store, entry.id)[0].signed.signature) > 100
