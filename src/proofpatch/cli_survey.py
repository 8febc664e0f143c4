"""The survey on the command line: what was found is read, the answer shown."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from proofpatch.cli_read import OPTIONS, at_options, read_clearances, read_laser, read_record
from proofpatch.cli_show import listed, wrapped
from proofpatch.errors import InputError
from proofpatch.lasers import laser as find_laser
from proofpatch.learn.limits import Hand
from proofpatch.phrases import in_100
from proofpatch.shop.job import DEFAULT_LASER, Job, read_job
from proofpatch.shop.surveyed import finding_of
from proofpatch.shop.values import read_value
from proofpatch.survey.decide import Finding, decide
from proofpatch.survey.evidence import TESTS, read_survey, split_item
from proofpatch.survey.stop import Lead
from proofpatch.units import show

GIVEN = ("evidence", "year", "lead", "suspect", "cleared", "laser")
SHOWN = 6  # coatings shown on screen


def surveyed(
    path: str | None, given: Mapping[str, Any], believed: Callable[[Job], float] | None = None
) -> tuple[Finding, str]:
    """(the finding, title) of a job file, or of the options; never both.

    believed: gives the forecast's chance for a job with its graded patches.

    Raises:
        InputError: both, or a value that is none.
        HardStop: the job names a coating that no beam touches.
    """
    used = [OPTIONS[name][0] for name in GIVEN if given.get(name)]
    if path is not None:
        if used:
            said = f"{used[0]} was given beside a job file."
            raise InputError(used[0], said, "Write it into the file, or leave the file out.")
        work = read_job(path)
        return finding_of(work, believed(work) if believed else None), work.title
    items: list[tuple[str, Any]] = [split_item(text, "--evidence") for text in given.get("evidence") or ()]
    if given.get("year") is not None:
        year = given["year"]
        number = int(year) if year.isascii() and year.isdigit() and len(year) <= 9 else year
        with at_options({"job.year": "--year"}):
            read_value("job.year", "year", number)
        items.append(("year", year))
    items += [("suspect", text) for text in given.get("suspect") or ()]
    with at_options({"evidence": "--evidence"}):
        findings = read_survey(items, "--evidence")
    with at_options({f"lead.{key}": "--lead" for key in ("status", "method", "date", "name", "controls", "reason")}):
        lead = Lead(**read_record(given["lead"], "--lead")) if given.get("lead") else Lead()
    laser = read_laser(given) or find_laser(DEFAULT_LASER)
    return decide(findings, laser, Hand(), lead, read_clearances(given)), "Survey"


def check_pdf(path: str | None, flag: str = "--pdf") -> Path | None:
    """The file to write into, refused before anything is computed.

    Raises:
        InputError: another ending, or no such folder.
    """
    if path is None:
        return None
    if not path.lower().endswith(".pdf"):
        raise InputError(flag, f"{flag}: {path[-40:]!r} does not end in .pdf.", "Name it like survey.pdf.")
    if not Path(path).resolve().parent.is_dir():
        raise InputError(flag, f"{flag}: there is no folder for {path[-40:]!r}.", "Name a place that exists.")
    return Path(path)


def survey_lines(record: Mapping[str, Any], pdf: Path | None = None) -> list[str]:
    """The answer, the stops, what to do next, and what it rests on; every figure from the record."""
    lines = wrapped(record["because"])
    if record["what_would_change"]:
        lines += wrapped(record["what_would_change"])
    if record["what_else_could_serve"]:
        lines += ["", *wrapped(f"What else could serve: {record['what_else_could_serve']}.")]
    if record["stops"]:
        lines.append("")
        for stop in record["stops"]:
            lines += wrapped(stop)
    lines += _next(record["next"], bool(record["stops"]))
    rows = [f"{record['finish_words'][key]}: {in_100(p)}" for key, p in list(record["finishes"].items())[:SHOWN]]
    lines += listed("What it may be:", rows)
    under = [f"{key}: {in_100(p)}" for key, p in list(record["substrates"].items())[:3]]
    lines += listed("On:", under)
    lines += listed("What does not fit:", record["doubts"])
    lines += listed("On record:", record["on_record"])
    lines += listed("Do not touch:", [one["text"] for one in record["do_not_touch"]])
    lines += listed("About the substrate:", [one["text"] for one in record["substrate_cautions"]])
    lines += listed("Assumed:", record["assumptions"])
    lines += listed("Sources:", record["sources"])
    lines += listed("Cautions:", record["cautions"])
    return [*lines, *(["", f"Written: {pdf}"] if pdf else [])]


def _next(test: Mapping[str, Any] | None, stopped: bool) -> list[str]:
    if test is None and stopped:
        return ["", *wrapped("No further test of the coating pays for its time; settle first what is open.")]
    if test is None:
        return ["", "No further test of the coating pays for its time; test patches tell more."]
    wait = f" Wait {show(test['wait_s'], 'duration')} before you call it nothing." if test["wait_s"] else ""
    known = TESTS.get(test["test"])
    values = ", ".join(known.values) if known else "oak, steel, brick, or wood, metal, stone, paper"
    return [
        "",
        *wrapped(f"Next: {test['ask']}. {test['why']} {test['how']}{wait}"),
        *wrapped(f"Then say {test['test']}=… with one of: {values}.", "  ", "  "),
    ]
