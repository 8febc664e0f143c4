"""The tutorial is walked: what it says to press is there, in its order, and its pictures are taken on the way."""

import re
from pathlib import Path

from made_browser import LAPTOP, PATIENT, PHONE
from made_laptop import served

from proofpatch.demo_shop import pieces, prices, take_in
from proofpatch.shop.invented import furnish
from proofpatch.web.app import create

DOCS = Path(__file__).parents[2] / "docs"
MOST = 1_500_000  # bytes of all pictures of the docs that a script draws as pixels


def test_what_the_tutorial_says_is_so(browser, store, monkeypatch):
    monkeypatch.syspath_prepend(str(DOCS))
    import screens

    (chest,) = (one for one in pieces() if one["job"]["title"] == screens.PIECE)
    furnish(store, prices())
    entry = take_in(store, {**chest, "patches": 8})
    pressed, taken = [], ["tutorial-empty"]
    press = screens.press
    monkeypatch.setattr(screens, "press", lambda page, name: (pressed.append(name), press(page, name)))
    with served(create(store, patience=None)) as address:
        laptop, phone = (browser.new_page(viewport=size, base_url=address) for size in (LAPTOP, PHONE))
        for page in (laptop, phone):
            page.set_default_timeout(PATIENT)
        screens.walk(f"/jobs/{entry.id}", laptop, phone, lambda name, page: taken.append(name))
    said = " ".join((DOCS / "tutorial.md").read_text("utf-8").split())
    at = 0
    for name in pressed:
        at = said.index(f"*{name}*", at)
    assert re.findall(r"\]\((tutorial-\w+)\.png\)", said) == taken
    assert sum(path.stat().st_size for path in DOCS.glob("*.png")) < MOST
