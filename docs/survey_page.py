"""Draws docs/survey-page.png, the survey record of docs/examples/table.toml. Run: python docs/survey_page.py"""

from __future__ import annotations

import datetime
from pathlib import Path

from proofpatch.cli_survey import surveyed
from proofpatch.documents.survey import survey_png
from proofpatch.records_survey import survey_record

HERE = Path(__file__).resolve().parent
DAY = datetime.date(2026, 3, 2)


def page() -> bytes:
    """The page as a picture."""
    finding, title = surveyed(str(HERE / "examples" / "table.toml"), {})
    return survey_png(survey_record(finding), title, day=DAY)


if __name__ == "__main__":
    HERE.joinpath("survey-page.png").write_bytes(page())
