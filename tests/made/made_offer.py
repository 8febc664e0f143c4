"""An invented workshop's quote, of any length."""

import datetime
import io
from decimal import Decimal

import numpy as np
from PIL import Image, ImageDraw

from proofpatch.offer.quote import Line, Party, Quote
from proofpatch.offer.tax import Tax
from proofpatch.offer.told import FINISH, if_sample_fails, method_words, said_of, terms

DAY = datetime.date(2026, 3, 2)
SHOP = Party(
    "Heron & Kiln Restoration", ("7 Tannery Yard", "Low Weir LW4 2QT"),
    ("Tel. 0555 0142 · workshop@heron-kiln.example", "Tax no. XX 000 123"),
)  # fmt: skip
CUSTOMER = Party("Mrs A. Fenwick", ("Weir Cottage", "3 Mill Lane", "Low Weir LW4 1AA"))
TAX = Tax(Decimal("0.2"), "VAT")


def made_quote(lines=3, **changed):
    """A quote with so many lines, or these."""
    parts = ("Outer face", "Inner face", "Edges and rebate", "Moulding", "Frame")
    found = lines if isinstance(lines, tuple) else tuple(
        Line(f"{parts[i % len(parts)]}{f' {i // len(parts) + 1}' if lines > len(parts) else ''}",
             Decimal("180.00") + Decimal(i) * Decimal("7.35"), f"{0.4 + 0.1 * (i % 7):.2f} m²")
        for i in range(lines)
    )  # fmt: skip
    given = {
        "number": "Q-2026-014", "day": DAY, "valid_until": DAY + datetime.timedelta(days=30), "shop": SHOP,
        "customer": CUSTOMER, "title": "Oak dairy door, green paint off both faces", "lines": found,
        "site": "Our workshop",
        "scope": ("The door, both faces and all edges, 3.4 m².", "Hinges and latch are covered, not cleaned."),
        "method": method_words(["latex-paint"], "oak", 4), "finish": FINISH,
        "sample": "As on the signed sample C1, inside face, low left.",
        "unchanged": said_of("unchanged", "oak"), "cautions": said_of("cautions", "oak"),
        "excluded": said_of("excluded", "oak"), "assumed": said_of("assumed", "oak"),
        "duration": "About two days in our workshop.", "starts": "Within three weeks of your signature.", "tax": TAX,
        "deposit": Decimal("0.3"), "credit": Decimal("54.00"), "terms": terms(),
        "if_sample_fails": if_sample_fails(Decimal(54), "£54.00"), "currency": "GBP", "locale": "en_GB",
        "options": (("Outer face only", "About a day; the inner face stays painted.", Decimal("340.00")),
                    ("Gentler", "Slower, half the chance of a mark.", Decimal("690.00"))),
    }  # fmt: skip
    return Quote(**(given | changed))


def made_photo():
    """A patch on painted wood, drawn; JPEG."""
    rng = np.random.default_rng(1)
    ground = np.clip(np.array([96, 120, 84]) + rng.normal(0, 6, (600, 800, 1)), 0, 255)
    ground[150:450, 220:560] = np.clip(
        np.array([188, 150, 104]) + 12 * np.sin(np.arange(340) / 7)[None, :, None] + rng.normal(0, 5, (300, 340, 1)),
        0, 255,
    )  # fmt: skip
    picture = Image.fromarray(ground.astype(np.uint8))
    ImageDraw.Draw(picture).rectangle((220, 150, 560, 450), outline=(20, 20, 20), width=3)
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=90)
    return out.getvalue()
