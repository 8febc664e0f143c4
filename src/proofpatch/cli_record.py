"""The completion record of a job file: what can be said from the file and its patch log, without a shop."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from proofpatch.cli_show import wrapped
from proofpatch.documents.record import NOT_RECORDED, record_page
from proofpatch.shop.finished import Logged, finished
from proofpatch.shop.log import graded_to
from proofpatch.shop.offered import paper_of


def file_record(work: Any, graded: Sequence[Any], belief: Any, air: Mapping[str, Any] | None) -> dict[str, Any]:
    """The record of a job file.

    Args:
        work: the job. graded: patches of its log. belief: with them. air: of the hazards' record.

    Raises:
        InputError: a line of the file that cannot stand on paper.
    """
    paper = paper_of(work)
    logged = Logged(patches=[graded_to(one, "") for one in graded])
    parties = {name: one.record() for name, one in (("shop", paper.shop), ("customer", paper.customer))}
    head = {
        "number": f"C-{paper.number.removeprefix('Q-')}", "version": 1, "day": datetime.date.today().isoformat(),
        "title": work.title, "wanted": "", "site": paper.site, "locale": paper.locale, **parties,
    }  # fmt: skip
    return {**head, **finished(work, logged, belief, air)}


def write_record(record: Mapping[str, Any], work: Any, path: Path) -> None:
    """The record into a file as a draft, whole or not at all.

    Raises:
        InputError: it cannot be written, or a name has letters without a shape.
    """
    from proofpatch.documents.record import record_pdf
    from proofpatch.documents.whole import write_whole

    paper = work.offer["letterhead"].get("paper", "a4")
    write_whole(path, record_pdf(record, paper, draft=True), "page")


def record_lines(record: Mapping[str, Any], pdf: Any = None) -> list[str]:
    """The record as text: the answer, what was done and measured, what is open, what comes next, what it rests on."""
    page = record_page(record)
    lines = [*wrapped(page["lead"]), "", *wrapped(page["agreed"]["words"])]
    lines += [line for text in page["agreed"]["scope"] for line in wrapped(f"- {text}", "  ", "  ")]
    lines += ["", "Done:"]
    for name, area, state, passes, time, span in page["zones"]:
        worked = [f"passes {passes}", f"time at it {time}", span] if time else []
        said = "; ".join(dict.fromkeys([area, state, *(one for one in worked if NOT_RECORDED not in one)]))
        lines += wrapped(f"{name}: {said}", "  ", "  ")
    lines += wrapped(f"{page['areas']} {page['beam']}", "  ")
    for text in (*page["settings"], page["patches"], *page["days"]):
        lines += wrapped(text, "  ", "  ")
    lines += ["", "Measured before and after:"]
    lines += [line for one in page["pairs"] for text in one["lines"] for line in wrapped(text, "  ")] or [
        "  Not measured: no photos before and after were compared."
    ]
    lines += ["", f"How it looks, by eye, in the words of {page['trade']}:"]
    for name, words, who in page["looks"]:
        lines += wrapped(f"{name}: {words} {who}".rstrip(), "  ", "  ")
    lines += [*wrapped(page["visual_note"], "  "), "", "Residue and waste:"]
    lines += [line for text in page["waste"] for line in wrapped(text, "  ", "  ")]
    lines += ["", "Open points:"]
    lines += [line for text in page["open"] for line in wrapped(f"- {text}", "  ", "  ")]
    for part, sentences in page["care"]:
        lines += ["", f"{part}:", *(line for text in sentences for line in wrapped(f"- {text}", "  ", "  "))]
    lines += ["", "What this rests on:"]
    lines += [line for cite, of in page["sources"] for line in wrapped(f"- {cite}: {of}", "  ", "  ")]
    lines += ["", *wrapped(page["limits"])]
    return [*lines, "", f"The draft is in {pdf}."] if pdf else lines
