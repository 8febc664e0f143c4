"""What every page has to hold in a browser, and when it is there."""

import contextlib
from pathlib import Path

AXE = Path(__file__).parents[1] / "web" / "axe.min.js"
PHONE, LAPTOP = {"width": 360, "height": 740}, {"width": 1440, "height": 900}
TOUCHED = {"viewport": PHONE, "has_touch": True, "is_mobile": True, "device_scale_factor": 2}
PATIENT = 60_000  # ms; a page waits for a core that is another worker's too, a test that passes for none of it
LEAST_TARGET = 44  # px, WCAG 2.2, 2.5.5
# Everything a thumb may be after, smaller than that. Radio buttons and ticks lie in labels that are targets as a whole;
# a link within a sentence is as high as its line (2.5.5, inline), one that stands alone is not let off.
SMALL = """(least) => {
  const words = (block, link) => [...block.childNodes].filter((node) => !node.contains(link)
    && (node.nodeType === Node.TEXT_NODE || node.nodeName === "B")).map((node) => node.textContent).join("").trim();
  const inline = (one) => one.matches("a:not(.next)")
    && words(one.closest("p, li, td, th, dd, figcaption") ?? one, one).length > 12;
  const box = (one) => {
    const boxes = [one, ...(/radio|checkbox/.test(one.type) ? one.labels : [])]
      .map((part) => part.getBoundingClientRect());
    return boxes.reduce((a, b) => (a.width * a.height > b.width * b.height ? a : b));
  };
  const all = "a[href]:not(.skip), button, input:not([type=hidden]), select, textarea, summary";
  return [...document.querySelectorAll(all)]
    .filter((one) => one.checkVisibility({ visibilityProperty: true }) && !inline(one))
    .map((one) => [box(one), one]).filter(([{ width, height }]) => Math.min(width, height) < least - 0.01)
    .map(([{ width, height }, one]) => `${width.toFixed(0)} by ${height.toFixed(0)}: ${one.outerHTML.slice(0, 120)}`);
}"""
# A link is told from the words around it by its line, or by standing in a place for links; never by its hue.
UNLINED = """() => { const boxed = (one) => /flex|block|grid/.test(getComputedStyle(one).display);
  return [...document.querySelectorAll("main a[href], footer a[href]")].filter((one) => one.checkVisibility()
  && !one.matches(".next") && !one.querySelector("img")
  && ![one, ...one.children].some((part) => getComputedStyle(part).textDecorationLine.includes("underline")
    && !(part === one && one.children.length && [...one.children].every(boxed))))
  .map((one) => one.outerHTML.slice(0, 120)); }"""


@contextlib.contextmanager
def looked_at(browser, **shape):
    """A page of a browser of its own; what its console complained of is in `page.troubles`, refusals aside it must be
    nothing.
    """
    context = browser.new_context(**shape)
    context.set_default_timeout(PATIENT)
    page = context.new_page()
    page.troubles = []
    page.on("console", lambda said: page.troubles.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda said: page.troubles.append(str(said)))
    try:
        yield page
    finally:
        context.close()
    assert [line for line in page.troubles if "status of 4" not in line] == []


def whole(page):
    """Waits until the page that came is no page at work, is read to its end, and its scripts were run.

    A heading is there before the forms below it are, and a button before its script is.
    """
    page.wait_for_function("() => document.readyState === 'complete' && !document.querySelector('.grows')")
    return page


@contextlib.contextmanager
def leads_on(page):
    """Waits, after what is done within, until the page that it leads to is whole."""
    with page.expect_navigation():
        yield
    whole(page)


def visit(page, path):
    """Goes to a page and waits until it is whole."""
    page.goto(path)
    return whole(page)


def unfold(page):
    """Opens every fold, so that what lies in it is looked at too."""
    page.evaluate("() => document.querySelectorAll('details').forEach((one) => { one.open = true })")


def accessible(page, where, width, **rules):
    """Nothing against access, no sideways scroll, no target too small, all folds open.

    Args:
        rules: of axe, by name with dashes as underscores, switched on beside its usual ones.
    """
    unfold(whole(page))
    if not page.evaluate("() => 'axe' in window"):
        page.evaluate(AXE.read_text(encoding="utf-8"))
    # Every rule is asked; where one holds is not written down, which takes as long as asking.
    asked = {
        "rules": {name.replace("_", "-"): {"enabled": on} for name, on in rules.items()}, "resultTypes": ["violations"],
    }  # fmt: skip
    found = page.evaluate("(asked) => axe.run(asked)", asked)["violations"]
    assert [(one["id"], [node["html"][:120] for node in one["nodes"]]) for one in found] == [], where
    assert page.evaluate("() => document.documentElement.scrollWidth") <= width, where
    assert page.evaluate(SMALL, LEAST_TARGET) == [], where


def accessible_in_both(page, where, width):
    """The same in the light and in the dark, without asking for the page again: a theme is style alone."""
    for theme in ("light", "dark"):
        page.emulate_media(color_scheme=theme)
        accessible(page, f"{where} {theme}", width)
