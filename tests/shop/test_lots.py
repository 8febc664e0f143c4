"""Files from shop to shop, in the shop: what is given, brought in, weighed, taken out and brought back."""

import json

import pytest
from made_lent import KEY, file, graded_job

import proofpatch as pp
from proofpatch.errors import InputError
from proofpatch.learn.memory.exchange import ORIGINS, Exchanged, unpacked
from proofpatch.shop.learned import learned
from proofpatch.shop.likeness import alike_of
from proofpatch.shop.lots import (
    KIND,
    bring_in,
    file_of,
    given_file,
    lent_sites,
    lots_of,
    own_name,
    preview,
    weigh,
)
from proofpatch.shop.memory import population_of
from proofpatch.shop.people import keep_item
from proofpatch.shop.store import Store


@pytest.fixture(scope="module")
def theirs(at_work):
    """Jobs of another shop."""
    oak = pp.Surface([pp.Layer("oil-varnish", condition="aged")], "oak", condition="aged")
    laser = pp.laser("pulsed-500")
    laid = [pp.Graded(at_work(passes=8 + n), "trace", "none", seconds=2.0, length=0.1, grader="Jo") for n in range(3)]
    return [Exchanged(oak, laser, tuple(laid[:2]), at_work(passes=6)), Exchanged(oak, laser, tuple(laid[2:]))]


def test_what_is_given_names_nobody_and_is_signed_with_the_shops_own_key(store, at_work):
    entry = graded_job(store, at_work, "Chest of Mrs Fenwick")
    keep_item(store, entry.id, 0, "Mrs Fenwick", "Weir Cottage", "down to bare wood")
    data = given_file(store)
    for word in (b"Fenwick", b"Weir", b"Ida", b"bare wood", b"Chest"):
        assert word not in data
    parcel = unpacked(data)
    assert (parcel.key, len(parcel.jobs), parcel.origin) == (own_name(store), 1, ORIGINS[0])
    with pytest.raises(InputError, match="no graded patch"):
        given_file(store, ["0" * 32])


def test_a_shop_without_grades_has_nothing_to_give(store):
    with pytest.raises(InputError, match="nothing to lend"):
        given_file(store)


def test_a_lot_counts_by_its_weight_and_not_at_all_once_it_is_taken_out(store, at_work, theirs):
    graded_job(store, at_work)
    alone = population_of(store)
    seen = preview(store, file(theirs))
    assert (seen.jobs, seen.new) == (2, 2)
    assert not store.all(KIND)  # a look keeps nothing
    lot = bring_in(store, file(theirs), 0.5)
    assert [one.weight for _, one in lent_sites(store)] == [0.5, 0.5]
    assert len(population_of(store).sites) == len(alone.sites) + 2
    (row,) = learned(store)
    assert (row.jobs, row.lent) == (1, (2, 3))
    lot = weigh(store, lot.id, lot.version, 0.0)
    assert population_of(store).known(population_of(store).sites[0].surface).all == 1
    store.delete(KIND, lot.id, lot.version)
    assert len(population_of(store).sites) == len(alone.sites)
    assert lots_of(store) == []
    (gone,) = lots_of(store, taken_out=True)
    store.restore(KIND, lot.id, gone.entry.version)
    assert (lots_of(store)[0].counts, lots_of(store)[0].weight) == (2, 0.0)


def test_the_file_of_a_lot_is_kept_byte_for_byte(store, theirs):
    data = file(theirs)
    assert file_of(store, bring_in(store, data)) == data
    assert unpacked(data).key == lots_of(store)[0].entry.data["key"]


def test_a_job_told_twice_counts_once_and_the_fuller_telling_counts(store, theirs, at_work):
    first = bring_in(store, file(theirs[:1]))
    more = (*theirs[0].graded, pp.Graded(at_work(passes=20), "clean", "none"))
    fuller = [Exchanged(theirs[0].surface, theirs[0].laser, more), theirs[1]]
    assert preview(store, file(fuller)).new == 2
    second = bring_in(store, file(fuller))
    assert [lot.counts for lot in lots_of(store)] == [0, 2]
    assert sum(site.patches for _, site in lent_sites(store)) == 4
    store.delete(KIND, second.id, second.version)
    assert [site.patches for _, site in lent_sites(store)] == [2]
    assert preview(store, file(theirs)).new == 1
    assert first.version == 1


def test_published_data_that_came_as_a_file_is_said_to_be_that(store, theirs):
    bring_in(store, file(theirs, origin=ORIGINS[1]))
    assert lots_of(store)[0].published
    assert learned(store)[0].published == 2


def test_recipes_that_others_came_to_stand_among_jobs_like_one(store, at_work, theirs):
    mine = graded_job(store, at_work)
    bring_in(store, file(theirs))
    rows, tested = alike_of(store, mine)
    assert tested
    assert {row.origin for row in rows} == {"Weir Workshop"}
    assert [row.recipe["passes"] for row in rows if row.recipe] == [6]


def refused(store, data, field="file"):
    with pytest.raises(InputError) as caught:
        bring_in(store, data)
    assert caught.value.field == field
    assert not store.all(KIND)
    return str(caught.value)


def test_bad_files_are_one_sentence_at_the_field(store, at_work, theirs, tmp_path):
    data = file(theirs)
    assert "changed after it was signed" in refused(store, data.replace(b"trace", b"clean", 1))
    assert "no exchange file" in refused(store, b"PK\x03\x04 a zip")
    assert "no exchange file" in refused(store, json.dumps({"file": "another"}).encode() + b"\n{}\n{}\n")
    assert "larger than" in refused(store, bytes(50_000_001))
    assert "No job in this file" in refused(store, file([Exchanged(theirs[0].surface, theirs[0].laser, ())]))
    other = Store.open(tmp_path / "other")
    graded_job(other, at_work)
    own = given_file(other)
    assert "of this very shop" in refused(other, own)
    other.close()
    with pytest.raises(InputError, match="weight"):
        bring_in(store, data, 1.5)
    lot = bring_in(store, data)
    with pytest.raises(InputError, match="brought in already"):
        bring_in(store, data)
    store.delete(KIND, lot.id, 1)
    with pytest.raises(InputError, match="taken out"):
        bring_in(store, data)
    with pytest.raises(InputError, match="one go"):
        bring_in(store, file(theirs[1:]), most=0)


def signed(line):
    """A file of one job as somebody with a key may write it, whatever stands in it."""
    head = json.loads(file([]).split(b"\n")[0])
    body = "".join(json.dumps(one) + "\n" for one in (head, line)).encode()
    return body + (json.dumps({"signature": KEY.sign(body).hex()}) + "\n").encode()


@pytest.mark.parametrize(("key", "value"), [("id", ["pulsed"]), ("id", {}), ("wavelength", 10**400), ("m2", 10**400)])
def test_a_signed_line_that_no_job_can_be_worked_out_of_is_one_sentence(store, theirs, key, value):
    line = json.loads(file(theirs).split(b"\n")[1])
    line["laser"][key] = value
    assert "Line 2 of the file" in refused(store, signed(line))
