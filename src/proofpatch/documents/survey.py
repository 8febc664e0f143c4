"""The survey record on one page of PDF."""

from __future__ import annotations

import datetime
import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import typst

from proofpatch.documents.whole import write_whole
from proofpatch.errors import InputError
from proofpatch.materials import coating, coating_ids, substrate, substrate_ids
from proofpatch.phrases import in_100
from proofpatch.shop.settings import PAPERS
from proofpatch.survey.evidence import TESTS
from proofpatch.survey.finishes import finishes, words_of

TEMPLATE = Path(__file__).with_name("survey.typ")
FONTS: dict[str, Any] = {"ignore_system_fonts": True}  # the same page on every machine
SIZES = (10.5, 9.5, 8.75, 8.0, 7.25, 6.5)  # pt, the largest that fits one page
MOST_FINISHES = 6
MOST_EVIDENCE = 24
LONGEST_WORD = 30


def survey_pdf(record: Mapping[str, Any], title: str, paper: str = "a4", day: datetime.date | None = None) -> bytes:
    """One page of PDF.

    Args:
        record: of `records_survey.survey_record`. title: of the job.
        paper: a4 or us-letter. day: on it; None: today.

    Raises:
        InputError: another paper, or more than a page holds.
    """
    return bytes(typst.compile(str(TEMPLATE), format="pdf", sys_inputs=_fitted(record, title, paper, day), **FONTS))


def survey_png(record: Mapping[str, Any], title: str, paper: str = "a4", day: datetime.date | None = None) -> bytes:
    """The same page as a picture; arguments and errors as `survey_pdf`."""
    inputs = _fitted(record, title, paper, day)
    return bytes(typst.compile(str(TEMPLATE), format="png", ppi=96, sys_inputs=inputs, **FONTS))


def _fitted(record: Mapping[str, Any], title: str, paper: str, day: datetime.date | None) -> dict[str, str]:
    """Inputs of the template in the largest type that fits one page."""
    if paper not in PAPERS:
        raise InputError("paper", f"The paper {paper!r} is not known.", f"Use one of: {', '.join(PAPERS)}.")
    for points in SIZES:
        data = breakable(_page(record, title, paper, day or datetime.date.today(), points))
        inputs = {"data": json.dumps(data)}
        pages = typst.compile(str(TEMPLATE), format="svg", sys_inputs=inputs, **FONTS)
        if isinstance(pages, bytes) or len(pages) == 1:
            return inputs
    raise InputError("page", "The survey holds more than one page.", "Split it into pieces, or shorten what was said.")


def breakable(value: Any) -> Any:
    """The same with a place to break in every word longer than a column."""
    if isinstance(value, str):
        return re.sub(rf"(\S{{{LONGEST_WORD}}})(?=\S)", "\\1\u200b", value)
    if isinstance(value, dict):
        return {key: breakable(one) for key, one in value.items()}
    return [breakable(one) for one in value] if isinstance(value, list) else value


def write_survey(record: Mapping[str, Any], title: str, path: Path, paper: str = "a4") -> None:
    """The page into a file, whole or not at all.

    Raises:
        InputError: the file cannot be written; as `survey_pdf`.
    """
    write_whole(path, survey_pdf(record, title, paper), "page")


def _found(one: Mapping[str, str]) -> list[str]:
    name, at, spot = one["name"].partition("@")
    title = TESTS[name].title if name in TESTS else name.replace("-", " ").capitalize()
    return [f"{title}, {spot}" if at else title, _titled(one["value"])]


def _titled(value: str) -> str:
    """An id of a coating, a finish or a substrate as its title; anything else as it was said."""
    if value in finishes():
        return words_of(value)
    if value in coating_ids():
        return coating(value).title.lower()
    return substrate(value).title if value in substrate_ids() else value


def _page(record: Mapping[str, Any], title: str, paper: str, day: datetime.date, size: float) -> dict[str, Any]:
    """What the template shows, as words."""
    test = record["next"]
    shown = list(record["finishes"].items())[:MOST_FINISHES]
    evidence = record["evidence"]
    more = len(evidence) - MOST_EVIDENCE
    return {
        "paper": paper,
        "size": size,
        "title": title,
        "day": day.isoformat(),
        "date": [day.year, day.month, day.day],
        "because": record["because"],
        "change": record["what_would_change"],
        "instead": record["what_else_could_serve"],
        "stops": record["stops"],
        "on_record": record["on_record"],
        "finishes": [[record["finish_words"][key], in_100(p)] for key, p in shown],
        "substrates": [[_titled(key), in_100(p)] for key, p in list(record["substrates"].items())[:3]],
        "evidence": [*map(_found, evidence[:MOST_EVIDENCE]), *([["and", f"{more} more"]] if more > 0 else [])],
        "doubts": record["doubts"],
        "next": f"{test['ask'][0].upper()}{test['ask'][1:]}. {test['how']}" if test else "",
        "keep_off": [one["text"] for one in record["do_not_touch"]],
        "substrate": [one["text"] for one in record["substrate_cautions"]],
        "assumptions": record["assumptions"],
        "sources": record["sources"],
        "cautions": record["cautions"],
        "laser": record["laser"],
    }
