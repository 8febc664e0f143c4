"""What is sent to the HTTP interface and what comes back; every number with the bounds anything real lies in."""

from __future__ import annotations

import datetime
from typing import Annotated, Any, Literal

from fastapi import Path, Query
from pydantic import BaseModel, ConfigDict, Field, WithJsonSchema

from proofpatch.learn.evidence import HARMS, RESIDUES
from proofpatch.learn.surface import MOST_LAYERS
from proofpatch.physics.setting import MOST_PASSES, PATTERNS
from proofpatch.shop.people import LONGEST_NOTE
from proofpatch.shop.run import LONGEST_BEAM, LONGEST_WORDS, MOST_PHOTOS, MOST_PIECES, WHATS
from proofpatch.shop.store import LONGEST_BY, LONGEST_TITLE
from proofpatch.shop.tables import KINDS
from proofpatch.shop.values import LONGEST_TEXT
from proofpatch.web.api.fields import (
    LONGEST_KEY,
    MOST_ENTRIES,
    MOST_SHOWN,
    MOST_VERSIONS,
    PRINTABLE,
    WORD,
    bounded,
    figure,
    knob,
    line,
    one_of,
    quantity,
    tables_schema,
    whole,
)

Tables = Annotated[dict[str, Any], WithJsonSchema(tables_schema())]
Key = Annotated[str, Path(pattern=r"^[0-9a-f]{32}$")]
Digest = Annotated[str, Path(pattern=r"^[0-9a-f]{64}$")]
Named = Annotated[str, Path(min_length=1, max_length=LONGEST_KEY, pattern=PRINTABLE)]
Version = Annotated[int, Query(ge=1, le=MOST_VERSIONS, description="the version the change was made on")]
Words = Annotated[str, Query(max_length=200, pattern=PRINTABLE, description="words that the title has, all of them")]
Most = Annotated[int, Query(ge=1, le=MOST_SHOWN)]
LaserId = Annotated[str, Field(pattern=WORD, description="a built-in laser")]


class Sent(BaseModel):
    """A body; what it does not know it refuses."""

    model_config = ConfigDict(extra="forbid")


class Setting(Sent):
    """The contract's keys of a setting, SI; `spot_radius_m` is the 1/e² radius at the work."""

    average_power_W: Annotated[float, knob("average_power")]
    repetition_rate_Hz: Annotated[float, knob("repetition_rate")]
    pulse_width_s: Annotated[float, knob("pulse_width")]
    spot_radius_m: Annotated[float, knob("spot_radius")]
    sweep_width_m: Annotated[float, knob("sweep_width")]
    sweep_speed_m_s: Annotated[float, knob("sweep_speed")]
    travel_speed_m_s: Annotated[float, knob("travel_speed")]
    passes: Annotated[int, whole(1, MOST_PASSES)] = 1
    pattern: Annotated[str, line(LONGEST_KEY), one_of(PATTERNS)] = PATTERNS[0]


class NewJob(Sent):
    """title: replaces the one of the tables. by: who says so."""

    tables: Tables
    title: Annotated[str | None, line(LONGEST_TITLE)] = None
    by: Annotated[str, line(LONGEST_BY)] = ""


class ChangedJob(NewJob):
    """version: the one the change was made on."""

    version: Annotated[int, whole(1, MOST_VERSIONS)]


class NewGraded(Sent):
    """A patch as it was laid and what came of it; docs/job-file.md, the patch log, says what each means."""

    setting: Setting
    residue: Annotated[str, line(LONGEST_KEY), one_of(RESIDUES)]
    harm: Annotated[str, line(LONGEST_KEY), one_of(HARMS)]
    fraction_left: Annotated[float | None, quantity("share")] = None
    fraction_error: Annotated[float | None, quantity("share")] = None
    layer: Annotated[int, whole(0, MOST_LAYERS - 1)] = 0
    seconds: Annotated[float | None, quantity("time")] = None
    length: Annotated[float | None, quantity("length")] = None
    wiped: Annotated[bool, Field(strict=True)] = True
    grader: Annotated[str | None, line(LONGEST_BY)] = None
    waited_s: Annotated[float | None, quantity("duration")] = None


class NewAnswer(Sent):
    """One check of the start of day. ok: in order, not, or left open. value: in SI, where it reads one; it decides."""

    name: Annotated[str, Field(pattern=WORD)]
    ok: Annotated[bool | None, Field(strict=True)] = None
    value: Annotated[float | None, bounded(-1e6, 1e6, "what was read [SI]")] = None
    words: Annotated[str, line(LONGEST_TEXT)] = ""
    by: Annotated[str, line(LONGEST_BY)] = ""


class NewControl(Sent):
    """A control patch at the recipe and what came of it; setting: as it was really dialled, if not the recipe's."""

    residue: Annotated[str, line(LONGEST_KEY), one_of(RESIDUES)]
    harm: Annotated[str, line(LONGEST_KEY), one_of(HARMS)]
    setting: Setting | None = None
    layer: Annotated[int, whole(0, MOST_LAYERS - 1)] = 0
    seconds: Annotated[float | None, quantity("time")] = None
    length: Annotated[float | None, quantity("length")] = None
    wiped: Annotated[bool, Field(strict=True)] = True
    grader: Annotated[str | None, line(LONGEST_BY)] = None
    waited_s: Annotated[float | None, quantity("duration")] = None


class NewEntry(Sent):
    """One thing that happened in a run; docs/api.md says what each needs. at: ISO with its zone; left out: now."""

    what: Annotated[str, line(LONGEST_KEY), one_of(WHATS)]
    zone: Annotated[int | None, whole(1, MOST_ENTRIES)] = None
    piece: Annotated[int | None, whole(1, MOST_PIECES)] = None
    at: Annotated[str | None, line(40)] = None
    setting: Setting | None = None
    passes: Annotated[int | None, whole(0, MOST_PASSES)] = None
    seconds: Annotated[float | None, bounded(0, LONGEST_BEAM, "beam on [s]")] = None
    residue: Annotated[str | None, line(LONGEST_KEY), one_of(RESIDUES)] = None
    harm: Annotated[str | None, line(LONGEST_KEY), one_of(HARMS)] = None
    fraction_left: Annotated[float | None, bounded(0, 1, "still covered [1]")] = None
    wiped: Annotated[bool, Field(strict=True)] = False
    photos: Annotated[list[Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]], Field(max_length=MOST_PHOTOS)] = []
    words: Annotated[str, Field(max_length=LONGEST_WORDS, pattern=PRINTABLE)] = ""
    sign: Annotated[str | None, Field(pattern=WORD)] = None
    grader: Annotated[str, line(LONGEST_BY)] = ""


class BenchAsked(Sent):
    """laser: its envelope then binds. top_hat_share: of that laser, if left out."""

    setting: Setting
    laser: LaserId | None = None
    top_hat_share: Annotated[float | None, quantity("share")] = None


class BeamAsked(Sent):
    """A beam as its data sheet has it, or the worst one of a laser, or both: what is given replaces the laser's."""

    laser: LaserId | None = None
    power_W: Annotated[float | None, figure("power", "power")] = None
    rate_Hz: Annotated[float | None, figure("rate", "frequency")] = None
    width_s: Annotated[float | None, figure("width", "time")] = None
    wavelength_m: Annotated[float | None, figure("wavelength", "length")] = None
    beam_diameter_m: Annotated[float | None, figure("diameter", "length")] = None
    divergence_rad: Annotated[float | None, figure("divergence", "angle")] = None
    focal_length_m: Annotated[float | None, figure("focal_length", "length")] = None
    exposure_s: Annotated[float | None, figure("exposure", "duration")] = None
    reflectance: Annotated[float | None, figure("reflectance", "share")] = None


class Trouble(BaseModel):
    """What is wrong, at which field, what to do."""

    field: str
    problem: str
    remedy: str


class Conflict(Trouble):
    """version: as it stands now. kept: number in the history of the change that came too late. Null: not about that."""

    version: int | None = None
    kept: int | None = None


Answers = dict[int | str, dict[str, Any]]
# What any address may answer besides; one that changes something; one of a thing; one that changes a thing.
ANY: Answers = {
    401: {"model": Trouble, "description": "Asked from the network by a device that has not signed in"},
    421: {"model": Trouble, "description": "Asked for under another name than this machine's"},
    422: {"model": Trouble, "description": "Something sent cannot be used"},
    503: {"model": Trouble, "description": "The shop's database cannot be used"},
}
CHANGE: Answers = {
    403: {"model": Trouble, "description": "Asked for by another site, or by a device whose role may not"},
    413: {"model": Trouble, "description": "Too large, or of no stated length"},
}
GONE: Answers = {404: {"model": Trouble, "description": "There is no such thing"}}
CHANGES: Answers = CHANGE | GONE | {
    409: {"model": Conflict, "description": "Changed meanwhile, deleted, or stopped before any beam"}
}  # fmt: skip


class Head(BaseModel):
    """What is known of a job beside its tables."""

    id: str
    version: int
    title: str
    created: datetime.datetime
    changed: datetime.datetime
    by: str
    deleted: datetime.datetime | None


class Listed(Head):
    """A job of the list. invented: a piece of the invented workshop, nothing of it is real."""

    invented: bool


class Job(Listed):
    """A job with its tables."""

    tables: dict[str, Any]


class Jobs(BaseModel):
    """The last changed first; more: there are others."""

    jobs: list[Listed]
    more: bool


class Past(BaseModel):
    """What a job said at one version; what: made, changed, deleted, restored, or aside for a change that came too
    late."""

    number: int
    version: int
    what: str
    tables: dict[str, Any]
    at: datetime.datetime
    by: str


class History(BaseModel):
    """The last changes, the first first; more: there are earlier ones."""

    history: list[Past]
    more: bool


class Graded(BaseModel):
    """A graded patch as it is kept; what was not said is null."""

    id: str
    version: int
    setting: Setting
    residue: str
    harm: str
    fraction_left: float | None = None
    fraction_error: float | None = None
    layer: int = 0
    seconds: float | None = None
    length: float | None = None
    wiped: bool = True
    grader: str | None = None
    waited_s: float | None = None
    when: str | None = None
    deleted: datetime.datetime | None = None


class AllGraded(BaseModel):
    """The graded patches of a job, in the order they were laid."""

    graded: list[Graded]


class OneCheck(BaseModel):
    """A check of the start of day; ok and value: as answered."""

    name: str
    title: str
    ask: str
    stop: str
    reads: str | None
    ok: bool | None
    value: float | None


class Day(BaseModel):
    """A day of a run. gate: why nobody begins, null: nothing that is known here; never a clearance.

    verdict, words: of its last control patch.
    """

    date: datetime.date
    gate: str | None
    checks: list[OneCheck] = []
    missing: list[str] = []
    stops: list[str] = []
    controls: list[str] = []
    verdict: str | None = None
    words: str | None = None


class RunEntry(BaseModel):
    """One thing that happened, as it is kept."""

    id: str
    version: int
    deleted: datetime.datetime | None
    data: dict[str, Any]


class ZoneStanding(BaseModel):
    """Where a zone stands; grade: (residue, harm) of its last check, null: not measured."""

    zone: int
    state: str
    minutes: float
    passes: int
    grade: tuple[str | None, str | None] | None


class Run(BaseModel):
    """The run of a job, its entries in the order they happened; zones of the only piece, or of all pieces together."""

    gate: str | None
    entries: list[RunEntry]
    zones: list[ZoneStanding]


class Taught(BaseModel):
    """A graded patch, and the record of what it taught."""

    graded: Graded
    taught: dict[str, Any]


class Photo(BaseModel):
    """A photo of a job; its file is at /photos/{digest}."""

    id: str
    version: int
    digest: str
    kind: str
    width: int
    height: int
    about: str
    created: datetime.datetime
    by: str


class Photos(BaseModel):
    """The photos of a job, the last first."""

    photos: list[Photo]


Kind = Annotated[Literal[KINDS], Path(description="kind of thing")]  # type: ignore[valid-type]  # the store's own list


class Thing(Head):
    """A thing of the store as it is kept: its kind, the job it belongs to, its data."""

    kind: str
    job: str | None
    data: dict[str, Any]


class Things(BaseModel):
    """The last changed first; more: there are others."""

    things: list[Thing]
    more: bool


class NewNote(Sent):
    """A note."""

    text: Annotated[str, Field(min_length=1, max_length=LONGEST_NOTE, pattern=PRINTABLE)]
    by: Annotated[str, line(LONGEST_BY)] = ""
