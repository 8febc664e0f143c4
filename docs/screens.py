"""Makes docs/screen-*.png from the real pages over the invented workshop: python docs/screens.py"""

from __future__ import annotations

import io
import shutil
import tempfile
import threading
import time
from pathlib import Path

import uvicorn
from PIL import Image
from playwright.sync_api import Page, sync_playwright

from proofpatch.demo_shop import fill
from proofpatch.shop.store import Store
from proofpatch.web.app import create

PORT = 8499
LAPTOP, TALL, PHONE = (1440, 900), (1440, 1180), (360, 740)
# file -> (piece, step of it or a page of its own, size, theme)
SCREENS = {
    "screen-jobs": ("", "/", LAPTOP, "light"),
    "screen-forecast": ("Tea kitchen wall, fired brick", "forecast", TALL, "light"),
    "screen-patch": ("Tea kitchen wall, fired brick", "patches", PHONE, "light"),
    "screen-recipe": ("Chest lid, oak", "recipe", TALL, "dark"),
    "screen-bench": ("Chest lid, oak", "bench", TALL, "light"),
}


def pictures() -> dict[str, bytes]:
    """Each picture as a browser shows it."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        store = Store.open(folder)
        fill(store, print)
        jobs = {entry.title: entry.id for entry in store.all("job")}
        server = uvicorn.Server(uvicorn.Config(create(store, None), host="127.0.0.1", port=PORT, log_level="error"))
        thread = threading.Thread(target=server.run)
        thread.start()
        while not server.started:
            time.sleep(0.05)
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"])
        found = {}
        for name, (piece, step, (width, height), theme) in SCREENS.items():
            page = browser.new_page(viewport={"width": width, "height": height}, color_scheme=theme,
                                    base_url=f"http://127.0.0.1:{PORT}")  # fmt: skip
            path = (
                step if not piece else f"/bench?job={jobs[piece]}" if step == "bench" else f"/jobs/{jobs[piece]}/{step}"
            )
            found[name] = _shot(page, path)
        browser.close()
        server.should_exit = True
        thread.join()
        store.close()
        return found


def _shot(page: Page, path: str) -> bytes:
    """A page as PNG; a palette is enough for one ink, one paper and one mark."""
    page.goto(path, wait_until="networkidle")
    with Image.open(io.BytesIO(page.screenshot())) as whole:
        out = io.BytesIO()
        whole.convert("RGB").quantize(64).save(out, "PNG", optimize=True)
    return out.getvalue()


if __name__ == "__main__":
    for name, content in pictures().items():
        Path(__file__).with_name(f"{name}.png").write_bytes(content)
