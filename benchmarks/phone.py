"""Weight and speed of the pages on a phone, in a real browser: python benchmarks/phone.py [--charts]

Bytes: all a first look at a page of a job fetches, as it goes over the air with its headers, without photos. Asked: at
most 300 kB. With --charts this part is left out.

Charts: what a chart costs a processor four times as slow as this one, in all of the main thread and of drawing into
pixels: asked 200 ms. A page is looked at with its chart and with the chart cut out of it, in turns, the whole of it in
view; the chart's is the difference, caption and table under it and its script included. Counted is the time that the
threads of the page were on a processor, not the clock, so that other work on this machine weighs little; style and type
are kept from an earlier look. On the bench a knob is turned; what the browser does from that on is counted whole, the
server's time stands beside it.

By the clock: from the last byte of the page (of the answer, on the bench) to the second turn of the screen after the
chart stands in the page, never before the first paint, the main thread slowed as the browser's own tools do it; beside
it the same page without. This means something on a machine that does nothing else only: the load is printed.
"""

from __future__ import annotations

import contextlib
import gzip
import json
import os
import re
import shutil
import statistics
import sys
import tempfile
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from phone_serve import Shop, served
from playwright.sync_api import Browser, BrowserContext, Page, ViewportSize, sync_playwright

from proofpatch.demo_shop import pieces, take_in
from proofpatch.shop.store import Store

SIZE: ViewportSize = {"width": 360, "height": 740}
WHOLE: ViewportSize = {"width": 360, "height": 3200}  # every chart is in view
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-dev-shm-usage"]
PIECES = ("Side table, mahogany", "Tea kitchen wall, fired brick")  # stopped by lead; with a strip laid
STEPS = ("survey", "forecast", "patches", "recipe", "hazards", "piece")
MOST_BYTES, MOST_MS, SLOWED, LOOKS = 300_000, 200.0, 4, 10
TRACED, PIXELS = "disabled-by-default-devtools.timeline", ("RasterTask", "ImageDecodeTask")
SETTLED = 150  # ms after the last request: by then all is drawn
WINDOW = r'<figure class="window">.*?</figure>|<script src="/static/window.js"[^>]*></script>'
# Runs before the page: waits for what matches, then for two turns of the screen.
SHOWN = """(what) => {
  const seen = () => [...document.querySelectorAll(what)].some((one) => one.getClientRects().length);
  const look = () => { if (!seen()) return requestAnimationFrame(look);
    requestAnimationFrame(() => requestAnimationFrame(() => { window.shown = performance.now(); })); };
  document.addEventListener("readystatechange", look, { once: true }); look(); }"""
SINCE = """() => { const [page] = performance.getEntriesByType("navigation");
  const paint = performance.getEntriesByName("first-contentful-paint")[0]?.startTime ?? 0;
  return Math.max(window.shown, paint) - page.responseEnd; }"""
# [from the last byte of the answer to the picture, from the question to the first byte] in ms.
TURNED = """() => new Promise((done) => { const drawn = document.querySelector("#drawn-b");
  new MutationObserver((_, watch) => requestAnimationFrame(() => requestAnimationFrame(() => {
    const asked = performance.getEntriesByType("resource").filter((one) => one.initiatorType === "fetch").at(-1);
    watch.disconnect();
    done([performance.now() - asked.responseEnd, asked.responseStart - asked.requestStart]); })))
    .observe(drawn, { childList: true });
  const knob = document.querySelector("#r-b-power");
  knob.value = Number(knob.value) > 500 ? Number(knob.value) - 37 : Number(knob.value) + 41;
  knob.dispatchEvent(new Event("input", { bubbles: true })); })"""


@dataclass(frozen=True)
class Chart:
    """words; path of its page; cut: what is its own of the page; what: shows when it is there."""

    words: str
    path: str
    cut: str
    what: str

    def without(self) -> str:
        """Path of the same page without it."""
        return f"/without{self.path}"


def charts(job: str) -> list[Chart]:
    """One of each kind."""
    two = r'<div class="(?:wide|narrow)">\s*<svg.*?</svg>\s*</div>'
    return [
        Chart("window of a forecast", f"/jobs/{job}/forecast", WINDOW, ".plot svg"),
        Chart("window of a recipe", f"/jobs/{job}/recipe", WINDOW, ".plot svg"),
        Chart("narrowing of a belief", f"/jobs/{job}/patches", two, ".narrow svg"),
        Chart("bench, first look", "/bench?coating=oil-varnish&substrate=oak", r"<svg xmlns.*?</svg>", ".drawn svg"),
    ]


def phone(browser: Browser, size: ViewportSize = SIZE) -> BrowserContext:
    """Touch, and twice the pixels."""
    return browser.new_context(viewport=size, is_mobile=True, has_touch=True, device_scale_factor=2)


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


def cut_out(shop: Shop, chart: Chart) -> tuple[str, str]:
    """(a page as it is, without its chart); the shop has both from now on."""
    with urllib.request.urlopen(shop.address + chart.path) as answer:
        page = answer.read().decode()
    rest, count = re.subn(chart.cut, "", page, flags=re.DOTALL)
    if not count:
        raise SystemExit(f"No chart is found on the page: {chart.words}.")
    shop.extra[chart.without().partition("?")[0]] = rest.encode()
    return page, rest


def spent(events: list[dict[str, Any]]) -> tuple[float, float]:
    """(main thread, drawing into pixels) of the busiest page of a trace: time on a processor, slowed [ms]."""
    names = {(one["pid"], one["tid"]): one["args"]["name"] for one in events if one.get("name") == "thread_name"}
    took: dict[int, list[float]] = {}
    for one in events:
        main = names.get((one["pid"], one["tid"])) == "CrRendererMain"
        if "tdur" in one and (one["name"] in PIXELS or (main and one["name"] == "RunTask")):
            took.setdefault(one["pid"], [0.0, 0.0])[one["name"] in PIXELS] += one["tdur"] * SLOWED / 1e3
    main_ms, pixels = max(took.values())
    return main_ms, pixels


@contextlib.contextmanager
def traced(browser: Browser, page: Page, into: list[tuple[float, float]]) -> Iterator[None]:
    """Adds what was spent meanwhile, and until nothing is left to draw."""
    browser.start_tracing(page=page, categories=[TRACED])
    yield
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(SETTLED)
    into.append(spent(json.loads(browser.stop_tracing())["traceEvents"]))


def work(browser: Browser, shop: Shop, chart: Chart) -> tuple[list[tuple[float, float]], list[tuple[float, float]]]:
    """(main thread, pixels) of a page with its chart and without [ms], in turns; a first look of each left out."""
    page = phone(browser, WHOLE).new_page()
    with_it: list[tuple[float, float]] = []
    without: list[tuple[float, float]] = []
    for n in range(LOOKS + 1):
        both = ((with_it, chart.path), (without, chart.without()))
        for found, path in both[:: 1 - 2 * (n % 2)]:  # the second look may pay for the first
            page.goto("about:blank")
            with traced(browser, page, found):
                page.goto(shop.address + path)
            if not n and found is with_it:
                foot = page.locator(chart.what).locator("visible=true").last.bounding_box()
                if foot is None or foot["y"] + foot["height"] > WHOLE["height"]:
                    raise SystemExit(f"Not in view, so not drawn: {chart.words}.")
    page.context.close()
    return with_it[1:], without[1:]


def looks(browser: Browser, address: str, what: str) -> list[float]:
    """Times from the last byte to what is waited for [ms], a first look for the style and type left out."""
    page = slowed(browser)
    page.add_init_script(f"({SHOWN})({what!r})")
    found = []
    for _ in range(LOOKS + 1):
        page.goto(address)
        page.wait_for_function("() => window.shown")
        found.append(page.evaluate(SINCE))
    page.context.close()
    return found[1:]


def slowed(browser: Browser) -> Page:
    """A page of a phone whose processor is a quarter as fast as this one's."""
    page = phone(browser).new_page()
    page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": SLOWED})
    return page


def turned(browser: Browser, page: Page) -> list[tuple[float, float]]:
    """(main thread, pixels) of turning a knob [ms]."""
    page.locator("#drawn-b").scroll_into_view_if_needed()
    found: list[tuple[float, float]] = []
    for _ in range(LOOKS + 1):
        page.wait_for_timeout(SETTLED)
        with traced(browser, page, found):
            page.evaluate(TURNED)
    return found[1:]


def said(words: str, parts: list[tuple[float, float]]) -> str:
    """The middle of main thread and pixels, together against what is allowed."""
    main_ms, pixels = (statistics.median(part) for part in zip(*parts, strict=True))
    both = [sum(pair) for pair in parts]
    middle = statistics.median(both)
    return (
        f"  {words:20} main thread {main_ms:4.0f} ms, pixels {pixels:4.0f} ms; together {middle:4.0f} ms, "
        f"{middle / MOST_MS:4.2f} of what is allowed; most {max(both):4.0f} ms"
    )


def by_clock(words: str, found: list[float]) -> str:
    return f"  {words:20} {statistics.median(found):5.0f} ms; slowest {max(found):5.0f} ms"


def look_at(browser: Browser, shop: Shop, chart: Chart) -> None:
    """All of one chart, a line each."""
    page, rest = cut_out(shop, chart)
    own = "".join(re.findall(chart.cut, page, re.DOTALL))
    over_air = len(gzip.compress(page.encode(), 5)) - len(gzip.compress(rest.encode(), 5))
    nodes = len(re.findall(r"<[a-zA-Z]", own))
    drawings = re.findall(r"<svg xmlns.*?</svg>", own, re.DOTALL)
    shown = min(len(re.findall(r"<[a-zA-Z]", one)) for one in drawings)
    print(f"{chart.words}: {nodes} elements, {shown} of them the drawing of a phone; "
          f"{len(own) / 1000:.0f} kB, {over_air / 1000:.1f} kB over the air")  # fmt: skip
    with_it, without = work(browser, shop, chart)
    pairs = zip(with_it, without, strict=True)
    print(said("the chart", [(a[0] - b[0], a[1] - b[1]) for a, b in pairs]))
    print(said("the page with it", with_it))
    print(by_clock("with it, clock", looks(browser, shop.address + chart.path, chart.what)))
    print(by_clock("without, clock", looks(browser, shop.address + chart.without(), "form, h1")), flush=True)


def look_at_knob(browser: Browser, shop: Shop, path: str) -> None:
    """A knob of the bench turned."""
    print("bench, a knob turned")
    page = phone(browser).new_page()
    page.goto(shop.address + path)
    print(said("all of it", turned(browser, page)))
    page.context.close()
    page = slowed(browser)
    page.goto(shop.address + path)
    found = [page.evaluate(TURNED) for _ in range(LOOKS + 1)][1:]
    print(by_clock("after answer, clock", [one for one, _ in found]))
    print(by_clock("server, not slowed", [one for _, one in found]))


def main() -> None:
    """Prints some lines a page."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        store = Store.open(folder)
        jobs = {one["job"]["title"]: take_in(store, one).id for one in pieces() if one["job"]["title"] in PIECES}
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        with served(store) as shop:
            for title, job in jobs.items() if "--charts" not in sys.argv else ():
                for step in STEPS:
                    size, own = weight(browser, f"{shop.address}/jobs/{job}/{step}")
                    print(f"{title[:22]:22} {step:10} {size / 1000:5.0f} kB, {size / MOST_BYTES:4.2f} of what is "
                          f"allowed; {own / 1000:.0f} kB of it the page")  # fmt: skip
            every = charts(jobs[PIECES[1]])
            for chart in every:
                look_at(browser, shop, chart)
            look_at_knob(browser, shop, every[-1].path)
        print(f"load {', '.join(f'{one:.1f}' for one in os.getloadavg())} on {os.cpu_count()} cores")
        browser.close()
        store.close()


if __name__ == "__main__":
    main()
