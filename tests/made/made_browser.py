"""What every page has to hold in a browser."""

from pathlib import Path

AXE = Path(__file__).parents[1] / "web" / "axe.min.js"
PHONE, LAPTOP = {"width": 360, "height": 740}, {"width": 1440, "height": 900}
# Radio buttons and ticks lie in labels that are targets as a whole.
TARGETS = "button, input:not([type=hidden], [type=radio], [type=checkbox]), select, a.next, summary, .choices label"
LEAST_TARGET = 44  # px, WCAG 2.2, 2.5.5


def accessible(page, where, width):
    """Nothing against access, no sideways scroll, no target too small, all folds open."""
    page.evaluate("() => document.querySelectorAll('details').forEach((one) => { one.open = true })")
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("() => axe.run()")["violations"]
    assert [(one["id"], [node["html"][:120] for node in one["nodes"]]) for one in found] == [], where
    assert page.evaluate("() => document.documentElement.scrollWidth") <= width, where
    small = page.evaluate(
        "([what, least]) => [...document.querySelectorAll(what)].filter((one) => one.checkVisibility() && "
        "one.getBoundingClientRect().height < least).map((one) => one.outerHTML.slice(0, 120))",
        [TARGETS, LEAST_TARGET],
    )
    assert small == [], where
