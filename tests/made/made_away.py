"""A phone that trusts the shop and may be away from it; what it holds."""

import contextlib
import time

from made_browser import PATIENT, PHONE
from made_laptop import trusting_home
from playwright.sync_api import expect

# The machine is closed: nothing of the browser's own may call out.
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage"]  # fmt: skip


@contextlib.contextmanager
def away(play, program, laptop, home):
    """A page of a phone that trusts the laptop, its service worker at work."""
    env = trusting_home(home, laptop.certificate)
    browser = play.chromium.launch(executable_path=program, args=FLAGS, env=env)
    context = browser.new_context(viewport=PHONE, base_url=laptop.address, has_touch=True)
    context.set_default_timeout(PATIENT)
    page = context.new_page()
    page.goto("/waiting")
    page.evaluate("() => navigator.serviceWorker.ready")
    yield page
    browser.close()


def until(done):
    """Waits for something that the browser does behind the page."""
    end = time.monotonic() + 120
    while not done():
        assert time.monotonic() < end
        time.sleep(0.05)


def on_phone(page, path):
    asked = "(path) => caches.open('pages').then((cache) => cache.match(path)).then(Boolean)"
    until(lambda: page.evaluate(asked, path))


def reached(page, path):
    """Goes to a page until the laptop itself answers: on a busy machine the phone may have shown what it kept."""
    for _ in range(20):
        page.goto(path)
        if page.locator("#reach").is_hidden():
            return
    raise AssertionError(f"{path}: the laptop is not in reach")


def kept(page, path):
    """Looks at a page until it is worked out and on the phone."""
    reached(page, path)
    expect(page.locator("#main, .folder").first).to_be_visible()
    on_phone(page, path)


def all_sent(page):
    """A grade is worked out before it is answered; a busy machine takes its time."""
    page.goto("/waiting")
    page.get_by_role("button", name="Send them now").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Nothing waits on this phone.", timeout=180_000)
