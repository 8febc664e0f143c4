"""Strips, grades, beliefs and recipes on their pages, without a browser; the same as at the command line."""

import json
import re

import pytest
from fastapi.testclient import TestClient
from made_cli import told
from made_pages import at, laid, seen, send
from made_photo import shot

import proofpatch as pp
from proofpatch.shop.log import graded_from
from proofpatch.web.app import create
from proofpatch.web.come_to import beliefs
from proofpatch.web.road import road


def test_no_step_and_no_setting_before_the_stops_are_settled(client, store, job):
    for step in ("patches", "recipe"):
        page = seen(client.get(f"{job}/{step}"))
        assert "Stop: lead" in page
        assert not re.search(r"\d+ (W|kHz|ns)\b", page)
    for path, form in (("strips", {}), ("patches", {"step": "A1", "residue": "clean", "harm": "none"})):
        assert "Stop: lead" in seen(client.post(f"{job}/{path}", data=form))
    assert store.all("patch") + store.all("strip") == []


# The same log at the command line: the same strip and the same recipe, to the digit.
def test_patches_and_recipe_agree_with_the_command_line(client, store, pan, tmp_path, capsys):
    for residue in ("partial", "clean", "clean"):
        form = {"step": laid(client, pan), "residue": residue, "harm": "none", "seconds": "2 s",
                "length": "100 mm", "waited": "10 min"}  # fmt: skip
        assert client.post(f"{pan}/patches", data=form).status_code == 303
    path = tmp_path / "pan.toml"
    path.write_text(
        '[job]\ntitle = "Skillet"\nlaser = "pulsed-500"\n[limits]\npreset = "ordinary"\n[evidence]\nkind = "grease"\n'
        'substrate = "cast-iron"\nyear = "2020"\n[lead]\nstatus = "negative"\nmethod = "laboratory test of a chip '
        'through all layers"\ndate = "2025-03-11"\n',
        encoding="utf-8",
    )
    lines = [json.dumps(one.data) for one in reversed(store.all("patch"))]
    path.with_suffix(".patches.jsonl").write_text("\n".join(lines) + "\n", encoding="utf-8")

    strip, recipe = told(capsys, "patch", path, "--count", "3"), told(capsys, "recipe", path)
    page = seen(client.get(f"{pan}/patches"))
    for line in (strip["pays_because"], strip["more"], *(one["because"] for one in strip["patches"])):
        assert " ".join(line.split()) in page
    assert "no protection covers this job: do not start" in page  # nothing is caught yet
    page = seen(client.get(f"{pan}/recipe"))
    for line in (recipe["because"], *(one["because"] for one in recipe["alternatives"])):
        assert line in page


def test_a_grade_that_is_none_is_refused_and_one_can_be_taken_back(client, store, pan):
    step = laid(client, pan)
    assert step == "A1"
    for form, said in (
        ({"residue": "clean", "harm": "none"}, "No step does not wait"),
        ({"step": step, "residue": "clean"}, "what it did"),
        ({"step": step, "residue": "spotless", "harm": "none"}, "spotless"),
        ({"step": step, "residue": "clean", "harm": "none", "seconds": "soon"}, "seconds"),
        ({"step": step, "residue": "clean", "harm": "none", "seconds": "2 s"}, "length"),
        ({"step": step, "residue": "clean", "harm": "none", "knob-power": "9 kW"}, "Power"),
        ({"step": step, "residue": "clean", "harm": "none", "knob-rate": "fast"}, "Rate"),
        ({"step": step, "residue": "clean", "harm": "none", "grader": "A\u0007B"}, "grader"),
        ({"step": "B7", "residue": "clean", "harm": "none"}, "B7 does not wait"),
    ):  # fmt: skip
        answer = client.post(f"{pan}/patches", data=form)
        assert answer.status_code == 422
        assert said in re.search(r'role="alert">([^<]*)', answer.text)[1]
    assert store.all("patch") == []
    client.post(f"{pan}/patches", data={"step": step, "residue": "clean", "harm": "none"})
    (kept,) = store.all("patch")
    assert "Lay A2" in seen(client.get(f"{pan}/patches"))
    client.post(f"{pan}/patches/{kept.id}/delete", data={"version": kept.version})
    assert "Lay A1" in seen(client.get(f"{pan}/patches"))
    # A grade that was taken back comes back, unless the step was graded anew.
    client.post(f"{pan}/patches/{kept.id}/restore", data={"version": kept.version + 1})
    assert [one.id for one in store.all("patch")] == [kept.id]
    client.post(f"{pan}/patches/{kept.id}/delete", data={"version": kept.version + 2})
    client.post(f"{pan}/patches", data={"step": step, "residue": "partial", "harm": "none"})
    again = client.post(f"{pan}/patches/{kept.id}/restore", data={"version": kept.version + 3})
    assert "graded anew" in seen(again)


def test_a_strip_stays_as_it_was_laid_out_and_ends_at_the_first_harm(client, store, pan):
    laid(client, pan)
    (strip,) = store.all("strip")
    client.post(f"{pan}/strips", data={})
    assert store.all("strip") == [strip]  # two presses, one strip
    for step, harm in (("A1", "none"), ("A2", "marked")):
        photo = {"photo": ("a.jpg", shot(), "image/jpeg")}
        form = {"step": step, "residue": "partial", "harm": harm}
        assert client.post(f"{pan}/patches", data=form, files=photo).status_code == 303
    assert [one.data["setting"] for one in reversed(store.all("patch"))] == [
        {**one["setting"], **one_dialled(one, row)} for one, row in zip(
            strip.data["steps"][:2], reversed(store.all("patch")), strict=True)]  # fmt: skip
    page = seen(client.get(f"{pan}/patches"))
    assert "A2 shows marked on the cast iron. Strip A ends here" in page
    assert "not laid" in page
    assert {one.data["about"] for one in store.all("photo")} == {"A1", "A2"}
    assert laid(client, pan) == "B1"
    (last,) = [one for one in store.all("strip") if one.data["name"] == "B"]
    client.post(f"{pan}/strips/{last.id}/end", data={"version": last.version})
    assert "Strip A ends here" in seen(client.get(f"{pan}/patches"))  # nothing of B was laid: it is away
    assert laid(client, pan) == "C1"  # no name is used twice


def one_dialled(step, patch):
    """What is read off a panel is shorter than what was computed, by less than one part in a hundred."""
    for key, value in step["setting"].items():
        if isinstance(value, float):
            assert patch.data["setting"][key] == pytest.approx(value, rel=0.01)
    return patch.data["setting"]


# The belief after each patch is kept as it was; nothing is recomputed to show it.
def test_what_was_believed_is_kept_patch_by_patch(client, store, pan):
    client.get(f"{pan}/patches")
    for residue in ("partial", "clean"):
        client.post(f"{pan}/patches", data={"step": laid(client, pan), "residue": residue, "harm": "none"})
        client.get(f"{pan}/patches")
    rows = beliefs(store, road(store, at(store, pan)))
    assert [None if patch is None else patch.title for patch, _ in rows] == [
        None,
        "A1: partial, none",
        "A2: clean, none",
    ]
    found = road(store, at(store, pan))
    belief = pp.prior(found.work.surface, found.work.laser, found.work.hand, seed=found.work.seed)
    after = pp.update(belief, [graded_from(found.patches[0].data)])
    assert rows[1][1]["chance"] == pp.forecast(after, found.work.limits).chance
    assert rows[0][1]["chance"] == pp.forecast(belief, found.work.limits).chance
    assert len({json.dumps(one["levels"]) for _, one in rows}) == 3
    kept = store.all("belief")
    with TestClient(create(store, patience=None), base_url="http://127.0.0.1") as later:
        later.get(f"{pan}/patches")
    assert store.all("belief") == kept  # looking writes nothing


# A recipe is kept as it was when it was decided; what is graded later does not change it, and is told.
def test_a_recipe_is_decided_and_kept_as_it_was(client, store, pan):
    assert client.post(f"{pan}/recipe").status_code == 404  # nothing is confirmed yet
    assert store.all("recipe") == []
    lab = {"status": "negative", "date": "2025-03-11"}
    send(client, store, pan, "settle", hazard="chromate", method="laboratory hexavalent chromium of a chip", **lab)
    send(client, store, pan, "settle", hazard="cadmium", method="laboratory test of a chip", **lab)
    send(client, store, pan, "about", thickness="2 um", year="2020")  # so thin that masks are made for its fume
    for _ in range(16):
        if road(store, at(store, pan)).recipe[0]["confirmed"]:
            break
        client.post(f"{pan}/patches", data={"step": laid(client, pan), "residue": "clean", "harm": "none"})
    # Nothing protects the job yet: no recipe to work by.
    assert client.post(f"{pan}/recipe").status_code == 404
    assert "Cover the hazards first" in seen(client.get(f"{pan}/recipe"))
    room = {"capture": "98 %", "flow": "60000 m³/h", "length": "9 m", "width": "6 m", "height": "4 m", "across": "3 m",
            "up": "2 m"}  # fmt: skip
    door = {"openings-0-name": "barn door", "openings-0-wall": "south", "openings-0-start": "2 m",
            "openings-0-end": "4 m"}  # fmt: skip
    send(client, store, pan, "place", **room, **door)
    for step in ("hazards", "recipe", "patches"):
        assert "Stop: close barn door: the beam looks out of it." in seen(client.get(f"{pan}/{step}"))
    assert client.post(f"{pan}/recipe").status_code == 404
    assert "Cover the hazards first" in seen(client.get("/"))
    send(client, store, pan, "place", **room, **door, **{"openings-0-closed": "yes"})
    answer = client.post(f"{pan}/recipe")
    assert answer.status_code == 303, seen(answer)
    client.post(f"{pan}/recipe")
    (kept,) = store.all("recipe")  # deciding the same twice is deciding once
    record = json.loads(json.dumps(road(store, at(store, pan)).recipe[0]))
    assert kept.data["record"] == record
    assert client.get(f"{pan}/recipe.pdf").content.startswith(b"%PDF")
    client.post(f"{pan}/patches", data={"step": laid(client, pan), "residue": "partial", "harm": "tint"})
    assert "Patches were graded since." in seen(client.get(f"{pan}/recipe")) or road(
        store, at(store, pan)).recipe[0]["setting"] is None  # fmt: skip
    assert store.get("recipe", kept.id).data["record"] == record


# What an attack found: each of these once went wrong.
def test_a_step_is_graded_once_and_a_grade_after_a_stop_is_told(client, store, pan):
    step = laid(client, pan)
    grade = {"step": step, "residue": "partial", "harm": "none"}
    assert [client.post(f"{pan}/patches", data=grade).status_code for _ in range(2)] == [303, 303]
    assert len(store.all("patch")) == 1  # pressed twice is once
    answer = client.post(f"{pan}/patches", data={**grade, "residue": "clean", "knob-power": "123 W"})
    assert answer.status_code == 422
    assert 'name="step" value="A2"' in answer.text
    assert "123 W" not in answer.text  # nothing of A1 stands in the form of A2
    now = at(store, pan)
    data = {key: table for key, table in now.data.items() if key != "lead"}
    store.change("job", now.id, now.version, {**data, "evidence": {**data["evidence"], "year": "1905"}})
    answer = client.post(f"{pan}/patches", data={"step": "A2", "residue": "clean", "harm": "burnt"})
    assert (answer.status_code, "A2: clean, burnt, was not kept" in seen(answer)) == (409, True)
    assert len(store.all("patch")) == 1
