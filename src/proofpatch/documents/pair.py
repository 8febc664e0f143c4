"""Before and after on one page of PDF."""

from __future__ import annotations

import datetime
import json
from collections.abc import Sequence
from pathlib import Path

import typst

from proofpatch.documents.survey import FONTS, breakable
from proofpatch.errors import InputError
from proofpatch.shop.settings import PAPERS

TEMPLATE = Path(__file__).with_name("pair.typ")


def pair_pdf(
    title: str, pictures: tuple[bytes, bytes], taken: Sequence[str], lines: Sequence[str], paper: str = "a4",
    day: datetime.date | None = None, measured: bool = True,
) -> bytes:  # fmt: skip
    """One page of PDF.

    Args:
        title: of the job. pictures: JPEG files of the same place before and after. taken: what each is, and when.
        lines: what was measured, in sentences. paper: a4 or us-letter. day: on it; None: today.
        measured: whether what both show confirms that one lies over the other.

    Raises:
        InputError: another paper.
    """
    if paper not in PAPERS:
        raise InputError("paper", f"The paper {paper!r} is not known.", f"Use one of: {', '.join(PAPERS)}.")
    day = day or datetime.date.today()
    data = {
        "paper": paper, "title": title, "day": day.isoformat(), "date": [day.year, day.month, day.day],
        "measured": measured, "taken": list(taken), "lines": list(lines),
        "before": list(pictures[0]), "after": list(pictures[1]),
    }  # fmt: skip
    pictured = {name: data.pop(name) for name in ("before", "after")}
    inputs = {"data": json.dumps({**breakable(data), **pictured})}
    return bytes(typst.compile(str(TEMPLATE), format="pdf", sys_inputs=inputs, **FONTS))
