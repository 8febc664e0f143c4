"""What it is, what could bite, and whether to take the job (`survey.decide`, which asks the forecast)."""

from proofpatch.survey.clear import Clearance, Stop, never_stop, open_stop, stops
from proofpatch.survey.described import surface_of
from proofpatch.survey.evidence import Reading, Survey, read_survey, split_item
from proofpatch.survey.identify import Identity, identify
from proofpatch.survey.stop import HardStop, Lead, first_stop, never_pass

__all__ = [
    "Clearance", "HardStop", "Identity", "Lead", "Reading", "Stop", "Survey", "first_stop",
    "identify", "never_pass", "never_stop", "open_stop", "read_survey", "split_item", "stops", "surface_of",
]  # fmt: skip
