"""A job taken along and brought in, on the pages."""

import io

import pytest
from fastapi.testclient import TestClient
from made_browser import PHONE, accessible_in_both
from made_offer import made_photo
from made_pages import seen

from proofpatch.shop.folder_zip import write_folder
from proofpatch.shop.photos import add_photo
from proofpatch.shop.store import Store
from proofpatch.web.app import create


@pytest.fixture
def second(tmp_path):
    """Another shop and its pages."""
    store = Store.open(tmp_path / "second")
    with TestClient(create(store, patience=None), base_url="http://127.0.0.1", follow_redirects=False) as found:
        yield store, found
    store.close()


def sent(client, content, name="job.zip"):
    return client.post("/jobs/import", files={"folder": (name, content, "application/zip")})


def test_out_of_one_shop_and_into_another(client, store, job, second):
    add_photo(store, made_photo(), job.rsplit("/", 1)[1])
    assert f'href="{job}/folder.zip"' in client.get(f"{job}/piece").text
    assert 'href="/jobs/import"' in client.get("/").text
    answer = client.get(f"{job}/folder.zip")
    assert (answer.status_code, answer.headers["content-type"]) == (200, "application/zip")
    assert answer.headers["content-disposition"] == 'attachment; filename="side-table.zip"'
    other, theirs = second
    page = sent(theirs, answer.content)
    assert page.status_code == 200
    assert "Side table is here, with all its records." in seen(page)
    assert f'href="{job}/survey"' in page.text
    again = io.BytesIO()
    write_folder(other, job.rsplit("/", 1)[1], again)
    assert again.getvalue() == answer.content
    assert theirs.get(f"{job}/survey").status_code == 200
    late = sent(theirs, answer.content)
    assert late.status_code == 422
    assert "'Side table' is in this shop already." in seen(late)
    assert other.count("job") == 1


def test_what_is_no_folder_is_one_sentence(client, store):
    for answer in (sent(client, b"no zip"), sent(client, b""), client.post("/jobs/import", data={"folder": "x"}),
                   client.post("/jobs/import", data={})):  # fmt: skip
        assert answer.status_code == 422
        assert answer.text.count('role="alert"') == 1
    assert "is no zip" in seen(sent(client, b"no zip"))
    assert "No file was chosen." in seen(client.post("/jobs/import", data={}))
    assert store.count("job") == 0
    assert client.get("/jobs/00000000000000000000000000000000/folder.zip").status_code == 404


def test_the_page_on_a_phone(page):
    page.set_viewport_size(PHONE)
    page.goto("/jobs/import")
    accessible_in_both(page, "bring in", PHONE["width"])
