"""Makes docs/survey-screen.png from the real pages: python docs/survey_screen.py"""

from __future__ import annotations

import shutil
import tempfile
import threading
import time
from pathlib import Path

import uvicorn
from playwright.sync_api import sync_playwright

from proofpatch.shop.store import Store
from proofpatch.web.app import create

PORT = 8499


def picture() -> bytes:
    """The survey of an invented side table as a browser shows it."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        store = Store.open(folder)
        server = uvicorn.Server(uvicorn.Config(create(store, patience=None), host="127.0.0.1", port=PORT, log_level="error"))
        thread = threading.Thread(target=server.run)
        thread.start()
        while not server.started:
            time.sleep(0.05)
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page(viewport={"width": 1280, "height": 900}, base_url=f"http://127.0.0.1:{PORT}")
        page.goto("/new")
        page.get_by_label("The piece").fill("Side table, mahogany")
        page.get_by_label("What is on it?").select_option("clear film")
        page.get_by_label("What is under it?").select_option("mahogany")
        page.get_by_label("Year it was coated").fill("1905")
        page.get_by_role("button", name="Start the survey").click()
        page.wait_for_url("**/survey")
        content = page.screenshot()
        browser.close()
        server.should_exit = True
        thread.join()
        store.close()
        return content


if __name__ == "__main__":
    Path(__file__).with_name("survey-screen.png").write_bytes(picture())
