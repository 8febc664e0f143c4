"""What has to be cleared before any beam: what settles it, what is refused until then.

What `suspicions` names is a stop until a record shows it absent, or takes it on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from proofpatch.errors import InputError
from proofpatch.survey.evidence import Survey
from proofpatch.survey.identify import Identity, identify
from proofpatch.survey.stop import Lead, Record, never_pass, shows
from proofpatch.survey.suspicions import RULES, SURELY, Hazard, chance_of, hazards, unknown_suspects


@dataclass(frozen=True)
class Clearance(Record):
    """What is on record about one hazard by its id.

    Raises:
        InputError: an unknown hazard; as `Record`.
    """

    hazard: str = ""

    @property
    def place(self) -> str:
        """What to call it in an error."""
        return "cleared"

    def __post_init__(self) -> None:
        object.__setattr__(self, "hazard", self.hazard.strip().casefold().replace("_", "-").replace(" ", "-"))
        if self.hazard not in hazards() or self.hazard in ("lead", "solvent"):
            known = ", ".join(key for key in hazards() if key not in ("lead", "solvent"))
            raise InputError("cleared.hazard", f"cleared.hazard {self.hazard[:40]!r} is not known.", f"Known: {known}.")
        super().__post_init__()


@dataclass(frozen=True)
class Stop:
    """One hard stop.

    open: nothing on record settles it. never: nothing can. before_beam: it binds the beam only, the job may be taken.
    settled_by: what is on record. short: why what is on record does not settle it.
    """

    hazard: str
    reason: str
    settles: str
    refused: str
    open: bool = True
    never: bool = False
    before_beam: bool = False
    settled_by: str = ""
    short: str = ""

    @property
    def because(self) -> str:
        """The sentence to show, beginning with Stop and ending with the way out."""
        if self.never:
            return self.reason
        name = hazards()[self.hazard].name
        if not self.open:
            return f"{name.capitalize()} ({self.reason}): {self.settled_by}."
        until = f"Until that is settled: {self.refused}"
        short = f" {self.short}" if self.short else ""
        named = name if self.hazard in name else f"{name} ({self.hazard})"
        return f"Stop: {named}, because {self.reason}.{short} {until}. It is settled by {self.settles}."


def stops(
    survey: Survey, identity: Identity, lead: Lead | None = None, cleared: Sequence[Clearance] = ()
) -> tuple[Stop, ...]:
    """Every hard stop of a piece, the open ones first.

    Args:
        survey: what was said. identity: what it comes to.
        lead, cleared: what is on record.
    """
    found: list[Stop] = []
    for text in (*survey.suspects, *survey.uses, *survey.beside, survey.primer):
        why = never_pass(text)
        if why:
            found.append(Stop("suspect", why, "", "no beam", never=True))
    foil = never_pass("pvc") or ""
    if chance_of(identity, "plastic-foil") > SURELY or "plastic-foil" in survey.said("laboratory"):
        found.append(Stop("halogens", foil, "", "no beam", never=True))
    for key, rule in RULES.items():
        records = [lead] if key == "lead" and lead else [one for one in cleared if one.hazard == key]
        # What a test found is there, whether or not a rule would have presumed it.
        reason = rule(survey, identity) or ("a test found it" if any(r.status == "positive" for r in records) else "")
        if reason:
            found.append(_stop(key, reason, records, survey, identity))
    return tuple(sorted(found, key=lambda stop: (not stop.open, not stop.never)))


def never_stop(survey: Survey) -> str | None:
    """The sentence of a material that nothing lets pass, or None."""
    return next((stop.because for stop in stops(survey, identify(survey)) if stop.never), None)


def open_stop(survey: Survey, lead: Lead | None = None, cleared: Sequence[Clearance] = ()) -> str | None:
    """The sentence of the first stop that nothing on record clears, or None: no beam before it is None."""
    return next((stop.because for stop in stops(survey, identify(survey), lead, cleared) if stop.open), None)


def _stop(key: str, reason: str, records: Sequence[Record], survey: Survey, identity: Identity) -> Stop:
    """The stop of a hazard with what is on record about it; of several records all have to settle it."""
    about = hazards()[key]
    told = [_told(record, about, survey, identity) for record in records]
    settled = bool(told) and all(words for words, _ in told)
    short = next((why for words, why in told if not words and why), "")
    by = "; ".join(words for words, _ in told)
    return Stop(key, reason, about.settles, about.refused, not settled, before_beam=key == "solvent", settled_by=by,
                short=short)  # fmt: skip


def _told(record: Record, about: Hazard, survey: Survey, identity: Identity) -> tuple[str, str]:
    """(what a record settles, or ""; else why it does not)."""
    if record.status == "positive":
        return "", "It tested positive."
    if record.status == "negative":
        against = _against(about, survey, identity)
        if against:
            return "", against
        if not record.negative or (about.methods and not shows(record.method, about.methods)):
            return "", "The negative record names no date, or no method that can show it absent."
        if not record.dated_after(survey.year):
            return "", "The negative record is older than the coating."
        return f"not found by {record.method} on {record.date}", ""
    if record.status == "accepted":
        if not about.accept:
            return "", "It cannot be taken on, only shown absent."
        if not record.accepted:
            return "", "Taking it on needs name, controls and reason."
        return f"still there, taken on by {record.name}; controls: {record.controls}; reason: {record.reason}", ""
    return "", ""


def settles(record: Clearance) -> bool:
    """True of a negative record that names its date and a method that can show the hazard absent."""
    return record.negative and shows(record.method, hazards()[record.hazard].methods)


def _against(about: Hazard, survey: Survey, identity: Identity) -> str:
    """What was found that a negative record contradicts."""
    if {identity.favourite, *survey.said("laboratory")} & set(about.contradicted_by):
        return "The negative record contradicts what the coating is said to be."
    if about.id == "nitrocellulose" and {"dissolves", "gummy"} & set(survey.said("acetone")):
        return "The negative record contradicts what acetone did."
    if about.id == "suspect" and len(unknown_suspects(survey)) > 1:
        return "One record speaks of several suspects; name those that are left one by one."
    return ""
