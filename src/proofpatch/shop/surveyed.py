"""What the survey says of a job: its finding, and what stops a beam; the same for every face."""

from __future__ import annotations

from typing import Any

from proofpatch.shop.job import Job, with_layers
from proofpatch.survey.clear import never_stop, open_stop
from proofpatch.survey.decide import Finding, decide
from proofpatch.survey.evidence import Survey, read_survey
from proofpatch.survey.refit import NONE, Counts
from proofpatch.survey.stop import SURE, first_stop


def finding_of(work: Job, believed: float | None = None, seen: Counts = NONE) -> Finding:
    """What the piece is, what bites, and whether to take it.

    Args:
        believed: the forecast's chance with the job's graded patches; None: from the survey alone.
        seen: what confirmed pieces of the shop say of the tests; what stops a beam (`beam_stop`) never asks them.

    Raises:
        InputError: as `decide`.
    """
    return decide(
        _findings(work), work.laser, work.hand, work.lead, work.cleared, work.surface.substrate_thickness, work.seed,
        believed, described=not work.surveyed, seen=seen,
    )  # fmt: skip


def _findings(work: Job) -> Survey:
    return work.survey or with_layers(_told_by(work), work.surface.coats)


def _told_by(work: Job) -> Survey:
    """What a job without findings says of its piece: the coating by name is what its owner was told."""
    shares = work.surface.coats[0].shares
    favourite = max(shares, key=lambda key: shares[key])
    items: list[tuple[str, Any]] = [("substrate", work.surface.substrate)]
    items += [("year", work.year)] if work.year else []
    items += [("told", favourite)] if shares[favourite] >= SURE else []
    return read_survey([*items, *(("suspect", one) for one in work.suspects)])


def refused(work: Job) -> str | None:
    """Why no answer at all is given, not even a forecast."""
    return never_stop(work.survey) if work.survey is not None else None


def open_hazard(work: Job) -> str | None:
    """The first hazard that nothing on record settles."""
    # Where the survey made the layers, its own rules speak of lead too.
    why = None if work.surveyed else first_stop(work.surface, work.year, work.lead, work.suspects)
    return why or open_stop(_findings(work), work.lead, work.cleared)


def beam_stop(work: Job) -> str | None:
    """Why no patch, no recipe and no price is given."""
    why = open_hazard(work)
    counted = work.survey.layers or 1 if work.survey is not None else 1
    if why is None and work.surveyed and counted > 1:
        why = (
            f"Stop: {counted} layers were counted and only the top one was tested; describe each under "
            "[[layers]] before any patch or recipe."
        )
    return why


def still_there(work: Job) -> list[str]:
    """What was taken on, with its controls."""
    records = [("lead", work.lead), *((one.hazard, one) for one in work.cleared)]
    return [
        f"Still there, taken on by {one.name}: {name}. Controls: {one.controls}. Reason: {one.reason}."
        for name, one in records
        if one.accepted
    ]
