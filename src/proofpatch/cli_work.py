"""What a command works on: its job, the patches graded so far, and what they let one believe."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from proofpatch.cli_answer import note, refuse
from proofpatch.cli_read import read_job_or_options

BEAMS = ("patch", "recipe", "offer")  # answers that a beam would follow


def read_work(answer: str, path: str | None, given: Mapping[str, Any], json_: bool) -> Any:
    """The job; a material that no beam touches ends here, and what the survey leaves open where a beam would follow."""
    from proofpatch.shop.surveyed import beam_stop, refused
    from proofpatch.survey import HardStop

    try:
        work = read_job_or_options(path, given)
    except HardStop as stop:
        refuse(answer, stop.because, json_)
    why = refused(work) or (beam_stop(work) if answer in BEAMS else None)
    if why:
        refuse(answer, why, json_)
    return work


def patches_of(work: Any) -> list[Any]:
    """The graded patches of the job's log; what is torn in it is said on standard error."""
    from proofpatch.shop.log import read_log

    if work.path is None:
        return []
    graded, complaints = read_log(work.log_path, len(work.surface.coats), work.laser_on if work.laser_file else None)
    for line in complaints:
        note(line)
    return graded


def believe(work: Any, graded: Sequence[Any]) -> Any:
    """The belief of a job: its prior and what these patches taught."""
    import proofpatch as pp
    from proofpatch.learn.compiled import warm

    warm(note, len(work.surface.coats))
    belief = pp.prior(work.surface, work.laser, work.hand, seed=work.seed)
    return pp.update(belief, graded) if graded else belief


def chance_of(work: Any) -> float:
    """The forecast's chance for a job, with its graded patches."""
    import proofpatch as pp

    return float(pp.forecast(believe(work, patches_of(work)), work.limits).chance)


def tell_hazards(work: Any, answer: str) -> None:
    """On standard error: what is still there though taken on, and before a forecast what stops a beam."""
    from proofpatch.shop.surveyed import beam_stop, still_there

    for line in still_there(work):
        note(line)
    why = beam_stop(work) if answer == "forecast" and work.path is not None else None
    if why:
        note(f"{why} A forecast lays no beam.")
