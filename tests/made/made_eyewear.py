"""What is left of a page behind tinted eyewear: a screenshot through a filter, and the contrast that remains.

The share of linear red, green and blue that passes is from memory, unverified: tints differ from maker to maker, and
the owner's own eyewear is the only real check. The eye is taken as adapted to the tint, so that luminance is that of
white behind the same tint; the 0.05 for stray light is WCAG's.
"""

import io

import numpy as np
from PIL import Image

TINTS = {"none, hue taken away": (1.0, 1.0, 1.0), "green": (0.12, 0.60, 0.18), "amber": (0.70, 0.42, 0.02)}
WEIGHTS = np.array((0.2126, 0.7152, 0.0722))  # WCAG 2.2, relative luminance
TEXT, SHAPE = 4.5, 3.0  # least contrast, WCAG 2.2, 1.4.3 and 1.4.11
RATIO = 2  # pixels of the screenshot a CSS px

# Where words stand, line by line, and where a state is told by a shape.
WORDS = """() => { const found = [], walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node; (node = walk.nextNode());) {
    const within = node.parentElement;
    if (!node.data.trim() || !within.checkVisibility() || within.closest("option, .skip")) continue;
    // Said to readers of the screen only.
    if ([within, within.parentElement].some((one) => getComputedStyle(one).clipPath !== "none")) continue;
    const range = document.createRange(); range.selectNodeContents(node);
    for (const box of range.getClientRects()) if (box.width > 6 && box.height > 6)
      found.push([node.data.trim().slice(0, 40), box.x + scrollX, box.y + scrollY, box.width, box.height]);
  } return found; }"""
SHAPES = """() => [...document.querySelectorAll(
    ".dot, .source, .glyph, input, select, svg circle, svg rect[stroke]")]
  .filter((one) => one.checkVisibility())
  .map((one) => [one.outerHTML.slice(0, 60), one.getBoundingClientRect()])
  .filter(([, box]) => box.width > 6 && box.height > 6)
  .map(([what, box]) => [what, box.x + scrollX - 3, box.y + scrollY - 3, box.width + 6, box.height + 6])"""


def linear(colour):
    """Linear light of sRGB, 0 to 255."""
    share = np.asarray(colour, dtype=float) / 255
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


EIGHT_BITS = linear(np.arange(256)).astype(np.float32)


def behind(colour, tint):
    """Luminance of a colour behind a tint, 1 that of white behind it."""
    passed = WEIGHTS * np.array(tint)
    return linear(colour) @ passed / passed.sum()


def contrast(one, other, tint=TINTS["none, hue taken away"]):
    """Contrast of two colours behind a tint."""
    low, high = sorted(float(behind(colour, tint)) for colour in (one, other))
    return (high + 0.05) / (low + 0.05)


def whole(page):
    """The whole page as pixels; as high as itself, so that nothing sticks over something else."""
    size = page.viewport_size
    high = page.evaluate("() => document.documentElement.scrollHeight")
    page.set_viewport_size({"width": size["width"], "height": high})
    # What was drawn is what was measured only if nothing moved meanwhile: a bar lets go, a line comes late.
    boxes, after = None, [page.evaluate(what) for what in (WORDS, SHAPES)]
    for _ in range(10):
        if boxes == after:
            break
        page.evaluate(
            "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done(true))))"
        )
        boxes = [page.evaluate(what) for what in (WORDS, SHAPES)]
        shot = np.asarray(Image.open(io.BytesIO(page.screenshot())).convert("RGB"))
        after = [page.evaluate(what) for what in (WORDS, SHAPES)]
    assert boxes == after, "the page does not come to rest"
    page.set_viewport_size(size)
    return shot, boxes


def lost(shot, boxes, tint, least):
    """(contrast, what) of what no longer stands out by so much, its strongest pixels taken against its ground."""
    shares = (WEIGHTS * np.array(tint) / (WEIGHTS @ np.array(tint))).astype(np.float32)
    found = []
    for what, *box in boxes:
        left, top, wide, high = (round(RATIO * one) for one in box)
        cut = shot[max(top, 0) : top + high, max(left, 0) : left + wide]
        if cut.size == 0:
            continue
        cut = EIGHT_BITS[cut] @ shares
        low, ground, high = np.quantile(cut, (0.01, 0.5, 0.99))
        ground = high if high - ground < ground - low else low
        ratio = (high + 0.05) / (low + 0.05)
        if ratio < least:
            found.append((round(float(ratio), 2), what))
    return found
