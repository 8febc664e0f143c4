"""A packed job at the command line."""

import functools
import json

import pytest
from made_cli import asked
from made_offer import made_photo

from proofpatch.shop.photos import add_photo
from proofpatch.shop.store import Store


@pytest.fixture
def run(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return functools.partial(asked, capsys)


@pytest.fixture
def chest(run):
    store = Store.open("shop")
    entry = store.add("job", {"job": {"title": "Chest lid, oak"}}, title="Chest lid, oak")
    add_photo(store, made_photo(), entry.id)
    store.add("job", {"job": {"title": "Chest, pine"}}, title="Chest, pine")
    store.close()
    return entry.id


def test_out_of_one_shop_and_into_another(run, chest, tmp_path):
    code, out, err = run("pack", "chest lid", "chest.zip")
    assert (code, err) == (0, "")
    assert out == "Chest lid, oak: 2 records and 1 photo are in chest.zip.\n"
    code, out, _ = run("unpack", "chest.zip", "--folder", "second")
    assert (code, out) == (0, "Chest lid, oak is in the shop second.\n")
    code, out, _ = run("pack", chest, "again.zip", "--folder", "second", "--json")
    assert json.loads(out)["bytes"] == (tmp_path / "again.zip").stat().st_size
    assert (tmp_path / "again.zip").read_bytes() == (tmp_path / "chest.zip").read_bytes()
    code, out, err = run("unpack", "chest.zip", "--folder", "second")
    assert (code, out) == (2, "")
    assert err == "file: The job 'Chest lid, oak' is in this shop already. Nothing was made. Open it there.\n"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["pack", "chest", "c.zip"], "2 jobs of the shop have 'chest' in their title. Name one of: Chest"),
        (["pack", "table", "c.zip"], "No jobs of the shop have 'table' in their title."),
        (["pack", "chest lid", "c.tar"], "does not end in .zip"),
        (["pack", "chest lid", "c.zip", "--folder", "nowhere"], "There is no shop in the folder 'nowhere'."),
        (["pack", "chest lid", "no/such/c.zip"], "cannot be written"),
        (["unpack", "c.zip"], "cannot be read: No such file"),
        (["unpack", "shop/shop.sqlite3"], "is no zip"),
    ],
)
def test_what_cannot_be_is_one_sentence(run, chest, tmp_path, words, said):
    code, out, err = run(*words)
    assert (code, out) == (2, "")
    assert said in err
    assert err.count("\n") == 1
    assert not (tmp_path / "nowhere").exists()
