"""What `proofpatch patch --sheet` does: the strip is laid out, its sheet printed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from proofpatch.cli_read import at_options
from proofpatch.documents.sheet import sheet_pdf
from proofpatch.documents.whole import write_whole
from proofpatch.shop.job import Job
from proofpatch.shop.log import stamp
from proofpatch.shop.strip_file import lay, strips_path


def lay_out(work: Job, patches: Sequence[Mapping[str, Any]], sheet: Path) -> dict[str, str]:
    """The name of the strip, kept beside the job, and where its sheet is.

    Raises:
        InputError: one of the two cannot be written.
    """
    assert work.path is not None
    laid = lay(strips_path(work.path), [one["setting"] for one in patches], stamp())
    paper = work.offer["letterhead"].get("paper", "a4")
    with at_options({"page": "--sheet"}):
        code = f"{work.path.stem[:8]} {laid.name}"
        write_whole(sheet, sheet_pdf(laid.steps, laid.name, work.title, code, paper), "page")
    return {"strip": laid.name, "sheet": str(sheet)}
