"""What it is and what could bite; so far the first hard stop before any beam."""

from proofpatch.survey.stop import HardStop, Lead, first_stop, never_pass

__all__ = ["HardStop", "Lead", "first_stop", "never_pass"]
