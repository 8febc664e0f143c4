"""The completion record from the store: every figure of what was logged, "not measured" where nobody looked, frozen."""

import datetime

import pytest
from made_gate import FINDS, gate
from made_offer import DAY
from made_record import ZONES, at, finished_gate, logged, photos, with_photos

import proofpatch as pp
from proofpatch.documents.record import record_page
from proofpatch.errors import InputError
from proofpatch.materials import coating_data, coating_mixture
from proofpatch.run.piece import piece_of
from proofpatch.shop.completions import (
    keep_record,
    record_of,
    record_standing,
    says_the_same,
    take_signature,
    with_words,
    written,
)
from proofpatch.shop.days import answer_check
from proofpatch.shop.finished import UNLOGGED
from proofpatch.shop.job import job_from
from proofpatch.shop.kept_pairs import add_pair, pairs_of
from proofpatch.shop.log import setting_to
from proofpatch.shop.papers import Signed, pdf_of
from proofpatch.shop.photos import photo_of, photo_path
from proofpatch.shop.run import add_entry, entries_of

AIR = {"waste": "Residue is waste.", "filters": "HEPA."}


def record(store, entry, **more):
    return record_of(store, entry, job_from(entry.data), 2, **more)


def test_it_says_what_was_logged(store):
    entry = finished_gate(store)
    found = record(store, entry)
    assert [(one["name"], one["state"], one["passes"], one["worked_s"]) for one in found["zones"]] == [
        ("outer face", "done", 2, 45 * 60.0), ("inner face", "stopped", 2, 35 * 60.0), ("rails", "done", 2, 45 * 60.0),
    ]  # fmt: skip
    assert found["beam_s"] == 3 * 900
    assert [one["zones"] for one in found["settings"]] == [[1, 2, 3]]
    assert found["settings"][0]["setting"] == {**setting_to(FINDS["at"][0].setting), "passes": 2}
    assert found["zones"][0]["grade"]["fraction_left"] == 0.006
    assert found["zones"][2]["grade"] is None
    assert found["incidents"] == [
        {"at": at(10, 20), "zone": "inner face", "title": "An alarm", "words": "The chiller ran warm", "photos": 0}
    ]
    assert found["agreed"]["number"] == "Q-2026-014"
    assert found["agreed"]["by"] == "A. Fenwick"
    # Areas of the job file: 1.1 + 1.1 + 8 × 0.06 m², a twentieth of the rails by hand.
    assert found["areas"]["all_m2"] == pytest.approx(2.68)
    assert found["areas"]["done_m2"] == pytest.approx(1.1 + 0.95 * 0.48)
    assert found["days"][0]["right"] == 2
    assert found["patches"]["harmed"] == 0
    assert [line for line in found["open"] if line.startswith("Inner face")] == [
        "Inner face: stopped.", f"Inner face: {found['zones'][1]['grade']['left_words']}",
        f"Inner face: {found['zones'][1]['grade']['surface_words']}",
    ]  # fmt: skip


def test_an_entry_taken_back_is_not_in_it(store):
    entry = finished_gate(store)
    row = next(one for one in entries_of(store, entry.id) if one.data["what"] == "incident")
    store.delete("run", row.id, row.version)
    found = record(store, entry)
    assert found["incidents"] == []
    store.restore("run", row.id, 2)
    assert len(record(store, entry)["incidents"]) == 1


def test_a_job_without_photos_or_grades_says_not_measured_in_each_place(store):
    entry = finished_gate(store, agreed=False, log=False)
    found = record(store, entry)
    assert [one["state"] for one in found["zones"]] == [None] * ZONES
    for one in found["zones"]:
        assert (one["passes"], one["worked_s"], one["grade"], one["began"]) == (None, None, None, None)
    assert (found["pairs"], found["settings"], found["beam_s"], found["agreed"]) == ([], [], None, None)
    assert found["waste"]["mass_kg"] is None
    assert UNLOGGED in found["open"]
    page = record_page(found)
    assert page["lead"].startswith("What was done is not recorded.")
    assert [words for _, words, _ in page["looks"]] == ["Not measured."] * ZONES
    assert page["settings"] == ["Settings really used: not recorded."]
    assert page["waste"][0] == "Mass that came off: not measured."
    # Nothing that rests on a look or a photo is among the sources.
    assert not any("CIEDE2000" in one["cite"] or "how it looks" in one["of"] for one in found["sources"])
    bare = gate(store, zones=[])
    page = record_page(record(store, bare))
    assert page["areas"] == "Area: not measured."
    assert page["looks"] == [["The piece", "Not measured.", ""]]


def test_a_check_that_reads_a_figure_and_was_only_ticked_is_not_measured(store):
    entry = finished_gate(store)
    piece = piece_of(job_from(entry.data).surface)
    for name, value in (("humidity", 0.5), ("metal", None), ("power", None)):
        answer_check(store, entry.id, datetime.date(2026, 3, 9), piece, name, True, value, at=at(8))
    found = record(store, entry)
    assert [(one["title"], one["value"]) for one in found["days"][0]["values"]] == [
        ("Humidity", 0.5),
        ("Temperature of the metal", None),
    ]
    assert record_page(found)["days"][0].endswith("Humidity: 50 %. Temperature of the metal: not measured.")


def test_photos_that_were_logged_but_never_compared_are_no_measurement(store):
    entry = finished_gate(store, log=False)
    digests = with_photos(store, entry)
    pair = pairs_of(store, entry.id)[0]
    store.delete("pair", pair.id, pair.version)
    add_entry(store, entry.id, {"what": "check", "zone": 1, "at": at(9), "photos": digests}, ZONES)
    found = record(store, entry)
    assert found["zones"][0]["photos"] == 2
    assert found["zones"][0]["grade"] is None
    assert found["pairs"] == []


# The made piece is known to the pixel: 40 % of it was gone over.
def test_what_the_photos_show_is_measured(store):
    entry = finished_gate(store)
    with_photos(store, entry)
    (pair,) = record(store, entry)["pairs"]
    truth = photos().cleaned / (0.2 * 0.15)
    assert pair["share"] == pytest.approx(truth, abs=0.03)
    assert pair["area_m2"] is None
    assert pair["tone"]["change"] > 3 * pair["tone"]["error"] > 0
    page = record_page(record(store, entry))
    assert f"{100 * pair['share']:.1f} % of the piece changed." in page["pairs"][0]["lines"]
    assert "Area cleaned: not measured." in page["pairs"][0]["lines"]
    assert any("Sharma" in one["cite"] for one in record(store, entry)["sources"])
    # With a length tapped in the photo before, the area follows; 0.2 m is the width of the piece.
    data = pairs_of(store, entry.id)[0].data
    add_pair(store, entry.id, data["before"], data["after"], "face", ends=((0.2, 0.5), (0.8, 0.5)), length=0.2)
    (measured,) = record(store, entry)["pairs"]
    assert measured["area_m2"] > 0
    assert measured["area_error"] > 0
    # A photo whose file is gone is said, and nothing else is lost.
    photo_path(store, photo_of(store, data["after"])).unlink()
    (lost,) = record(store, entry)["pairs"]
    assert lost["laid"] is False
    assert "gone from the shop's folder" in lost["lines"][0]


# Mass of a film: area × thickness × density; the middle of the draws lies near the data's own middle.
def test_the_mass_is_of_what_is_done_and_what_was_caught_is_said_only_where_it_is_known(store):
    entry = finished_gate(store)
    work = job_from(entry.data)
    belief = pp.prior(work.surface, work.laser, work.hand, seed=work.seed)
    waste = record(store, entry, belief=belief, air=AIR)["waste"]
    (key,) = work.surface.coats[0].shares
    least, most = (bound(key, end) for end in ("low", "high"))
    # 1.556 m² are done: the outer face and what the beam sees of the rails.
    assert 1.556 * least <= waste["mass_kg"]["p10"] < waste["mass_kg"]["p50"] < waste["mass_kg"]["p90"] <= 1.556 * most
    assert waste["caught_kg"] is None
    assert waste["words"] == "Residue is waste."
    caught = gate(store, air={"capture": "90 %"})
    for row in logged():
        add_entry(store, caught.id, row, ZONES)
    waste = record(store, caught, belief=belief, air=AIR)["waste"]
    assert waste["caught_kg"]["p50"] == pytest.approx(0.9 * waste["mass_kg"]["p50"])


def bound(key, end):
    """Least or most mass of a coating by the ends of its rows [kg/m²]."""
    rows = [coating_data(key, colour, state) for _, colour, state in coating_mixture(key)]
    pick = min if end == "low" else max
    return pick(getattr(row["thickness"], end) * row["density"].value for row in rows)


def test_what_was_written_is_frozen_and_a_change_is_a_new_version(store):
    entry = finished_gate(store)
    first = with_words(record(store, entry), ["The hinge was freed."], ["Paint the hinge."])
    kept = keep_record(store, entry.id, first, "a4", b"%PDF-1.7 first")
    assert pdf_of(store, kept.data["pdf"]) == b"%PDF-1.7 first"
    assert record_standing(store, entry.id) == "version 1, to be signed"
    for act in (lambda: store.change("record", kept.id, 1, {}), lambda: store.delete("record", kept.id, 1)):
        with pytest.raises(InputError, match="stays as it is"):
            act()
    with pytest.raises(InputError, match="Version 1 was written meanwhile"):
        keep_record(store, entry.id, first, "a4", b"")
    again = with_words(record(store, entry), ["The hinge was freed."], ["Paint the hinge."])
    assert (again["version"], again["number"]) == (2, first["number"])
    assert says_the_same(first, again)
    with pytest.raises(InputError, match="Nothing changed"):
        keep_record(store, entry.id, again, "a4", b"")
    add_entry(store, entry.id, logged()[0], ZONES)
    second = with_words(record(store, entry), [], [])
    newer = keep_record(store, entry.id, second, "a4", b"%PDF-1.7 second")
    own = written(store, entry.id)
    assert [one.version for one in own] == [1, 2]
    signed = Signed("A. Fenwick", DAY, "2026-03-10T10:00:00+00:00", ("Seen.",), b"")
    with pytest.raises(InputError, match="Version 2 was written since"):
        take_signature(store, own[0], signed, b"")
    take_signature(store, own[1], signed, b"%PDF-1.7 signed")
    assert written(store, entry.id)[1].signed == signed
    assert record_standing(store, entry.id) == "signed by A. Fenwick"
    with pytest.raises(InputError, match="signed before"):
        take_signature(store, own[1], signed, b"")
    assert store.get("record", newer.id).data["record"]["version"] == 2


def test_a_record_that_was_tampered_with_is_not_shown(store, monkeypatch):
    entry = finished_gate(store)
    kept = keep_record(store, entry.id, with_words(record(store, entry), [], []), "a4", b"%PDF")
    monkeypatch.setattr("proofpatch.shop.store.FROZEN", ())
    changed = {**kept.data, "record": {**kept.data["record"], "open": []}}
    store.change("record", kept.id, 1, changed)
    with pytest.raises(InputError, match="not what was written"):
        written(store, entry.id)


def test_two_jobs_never_share_a_number(store):
    numbers = set()
    for n in range(3):
        entry = gate(store) if n else finished_gate(store)
        found = record(store, entry)
        keep_record(store, entry.id, with_words(found, [], []), "a4", b"%PDF")
        numbers.add(found["number"])
    assert len(numbers) == 3
    year = datetime.date.today().year
    assert numbers == {"C-2026-014", f"C-{year}-001", f"C-{year}-002"}


@pytest.mark.parametrize("lines", [["x" * 301], ["one"] * 13, ["a\x00b"]])
def test_words_that_cannot_stand_on_paper(store, lines):
    entry = finished_gate(store, log=False)
    with pytest.raises(InputError, match="Give at most") as caught:
        with_words(record(store, entry), [], lines)
    assert caught.value.field == "open"


def test_a_pair_that_is_none(store):
    entry = finished_gate(store, log=False)
    digests = with_photos(store, entry)
    with pytest.raises(InputError, match="The photo after is not of this job"):
        add_pair(store, entry.id, digests[0], "0" * 64)
    with pytest.raises(InputError, match="the same one"):
        add_pair(store, entry.id, digests[0], digests[0])
    assert len(pairs_of(store, entry.id)) == 1


def test_a_batch_is_counted_in_pieces(store):
    entry = finished_gate(store, agreed=False, log=False, offer={"pieces": 3})
    for piece in (1, 2):
        for zone in (1, 2, 3):
            for n, what in enumerate(("begin", "end")):
                said = {"what": what, "zone": zone, "piece": piece, "at": at(7 + piece, 10 * zone + 5 * n)}
                add_entry(store, entry.id, said, ZONES)
    for piece, harm in ((1, "none"), (2, "tint")):
        said = {"what": "check", "zone": 2, "piece": piece, "residue": "clean", "harm": harm, "at": at(10, piece)}
        add_entry(store, entry.id, said, ZONES)
    found = record(store, entry)
    assert (found["pieces"], found["pieces_done"]) == (3, 1)
    assert [(one["state"], one["done_pieces"]) for one in found["zones"]] == [
        ("begun", 2), ("stopped", 1), ("begun", 2)]  # fmt: skip
    assert [one["passes"] for one in found["zones"]] == [2, 2, 2]
    # Areas of the job file are of one piece.
    assert found["areas"]["done_m2"] == pytest.approx(2 * 1.1 + 1.1 + 2 * 0.95 * 0.48)
    tinted = [line for line in found["open"] if line.startswith("Inner face, piece")]
    assert tinted == [f"Inner face, piece 2: {found['zones'][1]['grade']['surface_words']}"]
    page = record_page(found)
    assert page["lead"].startswith("1 of 3 pieces is done, 2.68")
    assert page["zones"][0][2] == "done on 2 of 3"
    assert page["looks"][1][0] == "Inner face, piece 2, the last one looked at"
