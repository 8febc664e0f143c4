"""Weight and speed of the pages on a phone, in a real browser: python benchmarks/phone.py [--empty]

Bytes: all a first look at a page of a job fetches, as it goes over the air with its headers, without photos. Asked: at
most 300 kB.

Charts: from the last byte of the page (responseEnd) to the first frame that shows the chart, the processor slowed to a
quarter as the browser's own tools do it; style and type are kept from an earlier look. The frame is taken to be shown
at the second turn of the screen after the chart stands in the page, and never before the first paint of the page. On
the bench a knob is turned and the time counts from the last byte of the answer. The middle of some looks, the slowest
behind it. Asked: 200 ms. Beside it the same of a page without a chart: what is left is the chart's.

By the clock this means something on a machine that does nothing else only. So the work is measured too: the time the
page's main thread was on a processor, unslowed, times the slowing; drawing into pixels goes on elsewhere and is not in.
"""

from __future__ import annotations

import contextlib
import shutil
import socket
import statistics
import tempfile
import threading
import time
from collections.abc import Iterator
from typing import Any

import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page, ViewportSize, sync_playwright

from proofpatch.demo_shop import pieces, take_in
from proofpatch.shop.store import Store
from proofpatch.web.app import create

SIZE: ViewportSize = {"width": 360, "height": 740}
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-dev-shm-usage"]
PIECES = ("Side table, mahogany", "Tea kitchen wall, fired brick")  # stopped by lead; with a strip laid
STEPS = ("survey", "forecast", "patches", "recipe", "hazards", "piece")
MOST_BYTES, MOST_MS, SLOWED, LOOKS = 300_000, 200.0, 4, 5
# Runs before the page: waits for what matches, then for two turns of the screen.
SHOWN = """(what) => {
  const seen = () => [...document.querySelectorAll(what)].some((one) => one.getClientRects().length);
  const look = () => { if (!seen()) return requestAnimationFrame(look);
    requestAnimationFrame(() => requestAnimationFrame(() => { window.shown = performance.now(); })); };
  document.addEventListener("readystatechange", look, { once: true }); look(); }"""
SINCE = """() => { const [page] = performance.getEntriesByType("navigation");
  const paint = performance.getEntriesByName("first-contentful-paint")[0]?.startTime ?? 0;
  return Math.max(window.shown, paint) - page.responseEnd; }"""
TURNED = """() => new Promise((done) => { const drawn = document.querySelector("#drawn-b");
  new MutationObserver(() => requestAnimationFrame(() => requestAnimationFrame(() => {
    const asked = performance.getEntriesByType("resource").filter((one) => one.initiatorType === "fetch").at(-1);
    done(performance.now() - asked.responseEnd); }))).observe(drawn, { childList: true });
  const knob = document.querySelector("#r-b-power");
  knob.value = Number(knob.value) > 500 ? Number(knob.value) - 37 : Number(knob.value) + 41;
  knob.dispatchEvent(new Event("input", { bubbles: true })); })"""


@contextlib.contextmanager
def served(store: Store) -> Iterator[str]:
    """The address of the pages over a store."""
    with contextlib.closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = uvicorn.Server(uvicorn.Config(create(store, patience=None), port=port, log_level="error"))
    threading.Thread(target=server.run, daemon=True).start()
    while not server.started:
        time.sleep(0.05)
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True


def phone(browser: Browser) -> BrowserContext:
    """Touch, and twice the pixels."""
    return browser.new_context(viewport=SIZE, is_mobile=True, has_touch=True, device_scale_factor=2)


def weight(browser: Browser, address: str) -> tuple[int, int]:
    """(bytes, of them the page itself) of a first look."""
    context = phone(browser)
    page, asked = context.new_page(), []

    def keep(one: Any) -> None:
        asked.append(one)

    page.on("requestfinished", keep)
    page.goto(address, wait_until="networkidle")
    sizes = [(one.url, one.sizes()) for one in asked if "/photos/" not in one.url]
    context.close()
    whole = [(url, each["responseBodySize"] + each["responseHeadersSize"]) for url, each in sizes]
    return sum(size for _, size in whole), next(size for url, size in whole if url == address)


def looks(page: Page, address: str, what: str) -> list[float]:
    """Times from the last byte to the chart [ms], a first look for the style and type left out."""
    page.add_init_script(f"({SHOWN})({what!r})")
    found = []
    for _ in range(LOOKS + 1):
        page.goto(address)
        page.wait_for_function("() => window.shown")
        found.append(page.evaluate(SINCE))
    return found[1:]


def work(browser: Browser, address: str, what: str) -> list[float]:
    """Processor time of the main thread from a page's address to its chart, as if it were slowed [ms]."""
    page = phone(browser).new_page()
    page.add_init_script(f"({SHOWN})({what!r})")
    tools = page.context.new_cdp_session(page)
    tools.send("Performance.enable", {"timeDomain": "threadTicks"})

    def spent() -> float:
        rows = tools.send("Performance.getMetrics")["metrics"]
        return next(float(row["value"]) for row in rows if row["name"] == "TaskDuration") * 1e3

    found = []
    for _ in range(LOOKS + 1):
        page.goto(address)
        page.wait_for_function("() => window.shown")
        found.append(spent() * SLOWED)  # counted from each page's own beginning
    return found[1:]


def slowed(browser: Browser) -> Page:
    """A page of a phone whose processor is a quarter as fast as this one's."""
    page = phone(browser).new_page()
    page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": SLOWED})
    return page


def said(words: str, found: list[float]) -> str:
    middle = statistics.median(found)
    share = middle / MOST_MS
    return f"{words:30} {middle:5.0f} ms, {share:4.2f} of what is allowed; slowest {max(found):5.0f} ms"


def main() -> None:
    """Prints one line a page."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        store = Store.open(folder)
        jobs = {one["job"]["title"]: take_in(store, one).id for one in pieces() if one["job"]["title"] in PIECES}
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        with served(store) as address:
            for title, job in jobs.items():
                for step in STEPS:
                    size, own = weight(browser, f"{address}/jobs/{job}/{step}")
                    print(f"{title[:22]:22} {step:10} {size / 1000:5.0f} kB, {size / MOST_BYTES:4.2f} of what is "
                          f"allowed; {own / 1000:.0f} kB of it the page")  # fmt: skip
            job = f"{address}/jobs/{jobs[PIECES[1]]}"
            bench = f"{address}/bench?coating=oil-varnish&substrate=oak"
            for words, at, what in (
                ("a page without a chart", f"{job}/piece", "form"),
                ("window of a forecast", f"{job}/forecast", ".plot svg"),
                ("window of a recipe", f"{job}/recipe", ".plot svg"),
                ("narrowing of a belief", f"{job}/patches", ".narrow svg"),
                ("bench, first look", bench, ".drawn svg"),
            ):  # fmt: skip
                print(said(f"{words}, work", work(browser, at, what)))
                print(said(f"{words}, clock", looks(slowed(browser), at, what)))
            page = slowed(browser)
            page.goto(bench)
            print(said("bench, a knob turned", [page.evaluate(TURNED) for _ in range(LOOKS)]))
        browser.close()
        store.close()


if __name__ == "__main__":
    main()
