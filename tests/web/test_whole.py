"""A page is read when it is whole: not while it is on its way, nor while it says that it is at work."""

import http.server
import threading

import pytest
from made_browser import leads_on, whole
from playwright.sync_api import expect


@pytest.fixture
def slow():
    """(address, events by path) of pages whose second half comes when its event is set."""
    events = {"/form": threading.Event(), "/next": threading.Event()}

    class Halves(http.server.BaseHTTPRequestHandler):
        def do_GET(self):
            path = self.path.partition("?")[0]
            at_work = path == "/work"
            self.send_response(200)
            self.send_header("Content-Type", "text/html")
            if at_work:
                self.send_header("Refresh", "0; url=/form")
            self.end_headers()
            self.wfile.write(b"<!doctype html><html><body><h1>Here</h1>" + b" " * 4096)
            self.wfile.flush()
            if at_work:
                self.wfile.write(b'<p class="grows"></p>')
            else:
                events[path].wait(60)
                self.wfile.write(b'<form action="/next"><input name="late" value="1"><button>Go</button></form>')

        def log_message(self, *_):
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Halves)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_address[1]}", events
    for one in events.values():
        one.set()
    server.shutdown()
    server.server_close()


def test_what_is_on_its_way_is_waited_for(browser, slow):
    address, events = slow
    page, late = browser.new_page(base_url=address), []

    def soon(path):
        late.append(threading.Timer(0.3, events[path].set))
        late[-1].start()

    page.goto("/work", wait_until="commit")
    page.wait_for_url("**/form", wait_until="commit")
    expect(page.locator("h1")).to_have_text("Here")
    field = page.locator("input[name=late]")
    assert field.count() == 0
    soon("/form")
    assert whole(page).locator("input[name=late]").count() == 1
    soon("/next")
    with leads_on(page):
        page.get_by_role("button").click()
    assert ("late=1" in page.url, field.count()) == (True, 1)
    for one in late:
        one.join()
    page.close()
