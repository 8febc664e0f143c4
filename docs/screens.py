"""Makes docs/screen-*.png and docs/tutorial-*.png from the pages over the invented workshop: make screens

The tutorial's pictures are taken on its way: what it says to press is pressed here, in its order.
"""

from __future__ import annotations

import io
import shutil
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Literal

import uvicorn
from PIL import Image
from playwright.sync_api import Page, sync_playwright

from proofpatch.demo_shop import fill
from proofpatch.shop.store import Store
from proofpatch.web.app import create

PORT = 8499
LAPTOP, TALL, PHONE = (1440, 900), (1440, 1180), (360, 740)
WALKED, TALL_WALKED = (1180, 800), (1180, 1260)
INKS = 64  # of the palette: one ink, one paper, one mark, and what lies between
PIECE = "Chest lid, oak"
Theme = Literal["light", "dark"]
# file -> (piece, step of it or a page of its own, size, theme)
SCREENS: dict[str, tuple[str, str, tuple[int, int], Theme]] = {
    "screen-jobs": ("", "/", LAPTOP, "light"),
    "screen-forecast": ("Tea kitchen wall, fired brick", "forecast", TALL, "light"),
    "screen-patch": ("Tea kitchen wall, fired brick", "patches", PHONE, "light"),
    "screen-recipe": (PIECE, "recipe", TALL, "dark"),
    "screen-bench": (PIECE, "bench", TALL, "light"),
}
Keep = Callable[[str, Page], None]
MEASURED = (("air", "20 °C"), ("humidity", "50 %"), ("wood", "10 %"))


def pictures(folder: str) -> dict[str, bytes]:
    """Each picture as a browser shows it. folder: an empty one, for the shop."""
    found: dict[str, bytes] = {}
    store = Store.open(folder)
    with opened(store) as address, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"])

        def page_of(size: tuple[int, int], theme: Theme = "light") -> Page:
            width, height = size
            return browser.new_page(viewport={"width": width, "height": height}, color_scheme=theme, base_url=address)

        def keep(name: str, page: Page) -> None:
            page.wait_for_load_state("networkidle")
            found[name] = small(page.screenshot())

        laptop, phone = page_of(WALKED), page_of(PHONE)
        laptop.goto("/")
        keep("tutorial-empty", laptop)
        fill(store, print)
        jobs = {entry.title: entry.id for entry in store.all("job")}
        for name, (piece, step, size, theme) in SCREENS.items():
            page = page_of(size, theme)
            at = f"/bench?job={jobs[piece]}" if step == "bench" else f"/jobs/{jobs[piece]}/{step}" if piece else step
            page.goto(at, wait_until="networkidle")
            keep(name, page)
        walk(f"/jobs/{jobs[PIECE]}", laptop, phone, keep)
        browser.close()
    store.close()
    return found


@contextmanager
def opened(store: Store) -> Iterator[str]:
    """The address under which the pages answer."""
    server = uvicorn.Server(uvicorn.Config(create(store, None), host="127.0.0.1", port=PORT, log_level="error"))
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        assert thread.is_alive(), f"port {PORT} is taken"
        time.sleep(0.05)
    yield f"http://127.0.0.1:{PORT}"
    server.should_exit = True
    thread.join()


def walk(job: str, laptop: Page, phone: Page, keep: Keep) -> None:
    """The chest lid from the survey to the signed record, as docs/tutorial.md tells it."""
    laptop.goto("/")
    keep("tutorial-jobs", laptop)
    laptop.goto(f"{job}/survey")
    keep("tutorial-survey", laptop)
    resize(laptop, TALL_WALKED)  # the window is what it is about
    laptop.goto(f"{job}/forecast")
    keep("tutorial-forecast", laptop)
    resize(laptop, WALKED)
    phone.goto(f"{job}/patches")
    keep("tutorial-patches", phone)
    laptop.goto(f"{job}/recipe")
    keep("tutorial-recipe", laptop)
    press(laptop, "Work by this recipe")
    laptop.goto(f"{job}/measure")
    keep("tutorial-measure", laptop)
    laptop.goto(f"{job}/offer")
    keep("tutorial-offer", laptop)
    laptop.get_by_role("link", name="Write the quote").click()
    laptop.get_by_label("Customer").fill("Mrs A. Fenwick\nWeir Cottage\nLow Weir")
    laptop.get_by_label("Number").fill("Q-21")
    press(laptop, "Keep these words")
    keep("tutorial-quote", laptop)
    press(laptop, "Send version 1")
    laptop.goto(f"{job}/hazards")
    keep("tutorial-hazards", laptop)
    day(job, phone, keep)
    laptop.goto(f"{job}/record")
    press(laptop, "Write it; then it stays as it is")
    keep("tutorial-record", laptop)
    for tick in laptop.locator("[name^=tick-]").all():
        tick.check()
    laptop.get_by_label("Name of the customer").fill("A. Fenwick")
    laptop.get_by_label("Signed on paper", exact=True).check()
    press(laptop, "Keep the signature")
    keep("tutorial-signed", laptop)


def day(job: str, phone: Page, keep: Keep) -> None:
    """The start of the day, the control patch, and both zones."""
    phone.goto(f"{job}/run/day")
    keep("tutorial-day", phone)
    for check in phone.locator("[data-check]").all():
        check.locator("label:has(input[value=yes])").click()
    for name, value in MEASURED:
        if phone.locator(f"#value-{name}").count():
            phone.locator(f"#value-{name}").fill(value)
    press(phone, "Keep these answers")
    graded(phone, "#control")
    press(phone, "Keep the control patch")
    for zone in (1, 2):
        phone.goto(f"{job}/run?zone={zone}")
        press(phone, f"Begin zone {zone}")
        if zone == 1:
            keep("tutorial-run", phone)
        press(phone, f"Zone {zone} is done")
        graded(phone, "#check")
        press(phone, f"Keep the grade of zone {zone}")


def resize(page: Page, wanted: tuple[int, int]) -> None:
    """A page as large as that."""
    page.set_viewport_size({"width": wanted[0], "height": wanted[1]})


def press(page: Page, name: str) -> None:
    """A button, and the page that follows."""
    with page.expect_navigation():
        page.get_by_role("button", name=name, exact=True).click()


def graded(page: Page, form: str) -> None:
    """Clean, and no harm."""
    page.locator(f"{form} label:has(input[name=residue][value=clean])").click()
    page.locator(f"{form} label:has(input[name=harm][value=none])").click()


def small(shot: bytes) -> bytes:
    """A picture of the screen as a PNG with a palette."""
    with Image.open(io.BytesIO(shot)) as whole:
        out = io.BytesIO()
        whole.convert("RGB").quantize(INKS, method=Image.Quantize.FASTOCTREE).save(out, "PNG", optimize=True)
    return out.getvalue()


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as shop:
        for name, content in pictures(shop).items():
            Path(__file__).with_name(f"{name}.png").write_bytes(content)
