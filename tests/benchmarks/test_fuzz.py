"""A few seconds of the fuzz; benchmarks/fuzz.py does it for an hour. And that it sees what it is there to see."""

import http.server
import random
import re
import threading
from pathlib import Path
from types import SimpleNamespace

import pytest
from fuzz import Fuzz, run
from fuzz_files import job_file, mesh, photo, unpackable
from fuzz_page import Page
from fuzz_shop import Request
from fuzz_values import as_json, changed, made

DOCUMENT = Path(__file__).resolve().parents[2] / "docs" / "fuzz.md"


def test_ten_seconds_find_nothing():
    # Two workers share two cores: what takes long here hangs nowhere else, and ten seconds may be few requests.
    found = run(10, seed=7, patience=90, most=2, least=40)
    assert dict(found.findings) == {}
    assert sum(found.answers.values()) > 30
    assert {200, 422} <= set(found.answers)
    assert all(found.sent[kind] for kind in ("interface", "pages", "files"))


class Bad(http.server.BaseHTTPRequestHandler):
    """Answers what a path asks for."""

    def do_GET(self):
        status = int(self.path.strip("/"))
        self.send_response(status)
        if status != 418:
            self.send_header("Content-Security-Policy", "default-src 'self'")
        self.end_headers()

    def log_message(self, *_):
        pass


@pytest.fixture
def bad():
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Bad)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    shop = SimpleNamespace(port=server.server_address[1], faults=list, process=SimpleNamespace(poll=lambda: None))
    yield Fuzz(random.Random(1), shop, Path(), {}, b"", {})
    server.shutdown()
    server.server_close()


def test_it_sees_a_fault_a_missing_policy_and_what_the_server_says(bad):
    bad.ask(Request("GET", "/200"))
    assert not bad.findings
    bad.ask(Request("GET", "/500"))
    bad.ask(Request("GET", "/418"))
    bad.shop.faults = lambda: ["store.py line 7: KeyError"]
    bad.ask(Request("GET", "/200"))
    said = ["status 500", "status 418 without a policy", "the server's fault: store.py line 7: KeyError"]
    assert list(bad.findings) == said


def test_it_sees_that_nothing_comes(bad):
    bad.settle, bad.patience = lambda: None, 0.2
    bad.shop.port, asked = 9, bad.shop.port  # nobody listens there
    bad.ask(Request("GET", "/200"))
    assert list(bad.findings) == ["the connection ended"]
    bad.shop.port = asked


def test_the_same_seed_draws_the_same():
    schema = {
        "type": "object",
        "properties": {"a": {"type": "number"}, "b": {"type": "array", "items": {"type": "string"}}},
    }

    def drawn(seed):
        rng = random.Random(seed)
        return [as_json(changed(made(schema, {}, rng), rng), rng) for _ in range(50)] + [photo(rng), mesh(rng)]

    assert drawn(3) == drawn(3)
    assert drawn(3) != drawn(4)


def test_a_page_is_read_as_a_browser_does():
    page = Page(
        '<a href="/x#y">x</a><form action="/f" method="post"><input name="a" value="1"><textarea name="t">w</textarea>'
        '<select name="s"><option value="p"><option value="q"></select><input type="file" name="photo"></form>'
    )
    (form,) = page.forms
    assert page.links == ["/x"]
    assert form["fields"] == [["a", "1", "text"], ["t", "w", "textarea"], ["photo", "", "file"]]
    assert form["choices"]["s"] == ["p", "q"]


def test_a_job_file_is_changed_and_a_broken_zip_is_still_bytes():
    rng = random.Random(2)
    text = '[job]\ntitle = "a"\n[surface]\nsubstrate = "oak"\n'
    assert len({job_file(text, rng) for _ in range(20)}) > 15
    with pytest.raises(Exception, match="zip"):
        [unpackable(b"no zip", rng) for _ in range(20)]


def test_what_is_kept_says_what_it_came_to():
    text = DOCUMENT.read_text("utf-8")
    kept = re.search(r"<!-- fuzz -->\n(.*)<!-- end of fuzz -->", text, re.DOTALL)[1]
    assert "Findings: 0." in kept
    assert int(re.search(r"(\d+) requests in", kept)[1]) > 5000
    assert re.search(r"seed \d+; commit \w+; ", kept)
