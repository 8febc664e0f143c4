"""The records of the command line as they come over HTTP: their main keys; what else they hold comes along."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict

from proofpatch.web.api.models import Setting


class Record(BaseModel):
    """A record as the command line prints it with --json: these keys at least."""

    model_config = ConfigDict(extra="allow")

    cautions: list[str]


class SurveyRecord(Record):
    answer: str
    because: str
    chance: float
    coatings: dict[str, float]
    next_test: str | None
    stops: list[str]


class Best(BaseModel):
    model_config = ConfigDict(extra="allow")

    setting: Setting
    p_clean: float
    p_harm: float
    area_rate_m2_s: float


class ForecastRecord(Record):
    answer: str
    chance: float
    because: str
    best: Best | None
    assumptions: list[str]
    sources: list[str]


class Patch(BaseModel):
    setting: Setting
    p_clean: float
    p_harm: float
    because: str


class PatchesRecord(Record):
    patches: list[Patch]


class RecipeRecord(Record):
    setting: Setting | None
    because: str
    governs: str | None
    p_clean: float | None
    p_harm: float | None
    area_rate_m2_s: float | None
    margins: dict[str, tuple[float, float]]
    gentler: Setting | None


class BeamRecord(Record):
    answers: list[str]
    eye_limit_J_m2_per_pulse: float | None
    eye_limit_W_m2: float
    governing_rule: str
    hazard_distance_m: float
    diffuse_distance_m: float
    skin_distance_m: float
    optical_density: float
    scale_number_D: int
    scale_number_R: int | None
    assumptions: list[str]
    sources: list[str]
    always: str


class PlanRecord(BeamRecord):
    title: str
    covered: bool
    on_record: list[str]
    air: dict[str, Any]
    fire: dict[str, Any]
    room: dict[str, Any] | None
    power: dict[str, Any] | None
    checklist: list[dict[str, Any]]


class OfferRecord(BaseModel):
    model_config = ConfigDict(extra="allow")

    answer: str
    because: str
    currency: str
    net: str
    tax: str
    gross: str
    loses: float
    below_floor: float | None
    time_s: dict[str, float]
    for_chance: dict[str, str]
    choices: list[dict[str, Any]]
    quote: dict[str, Any]
    assumptions: list[str]


class NoOffer(BaseModel):
    """Why there is none: a stop, or no recipe."""

    model_config = ConfigDict(extra="allow")

    because: str


class SentQuote(BaseModel):
    """A version as it was sent. accepted: who signed it, None: nobody yet."""

    id: str
    sent: str
    fingerprint: str
    quote: dict[str, Any]
    changes: list[str]
    accepted: dict[str, Any] | None


class Quotes(BaseModel):
    quotes: list[SentQuote]


class CompletionRecord(BaseModel):
    """What was agreed, done, measured and seen; what nobody looked at or measured is null."""

    model_config = ConfigDict(extra="allow")

    number: str
    version: int
    title: str
    agreed: dict[str, Any] | None
    zones: list[dict[str, Any]]
    areas: dict[str, Any] | None
    settings: list[dict[str, Any]]
    pairs: list[dict[str, Any]]
    incidents: list[dict[str, Any]]
    open: list[str]
    sources: list[dict[str, Any]]


class WrittenRecord(BaseModel):
    """A version as it was written. signed: who signed it, None: nobody yet."""

    id: str
    written: str
    fingerprint: str
    record: dict[str, Any]
    signed: dict[str, Any] | None


class CompletionRecords(BaseModel):
    records: list[WrittenRecord]


class Refusal(Record):
    setting: None
    because: str


class BenchRecord(Record):
    pulse_energy_J: float
    peak_power_W: float
    mean_fluence_J_m2: float
    peak_fluence_J_m2: float
    pulse_pitch_m: float
    pulse_overlap: float
    line_pitch_m: float
    line_overlap: float
    pulses_per_m2: float
    dose_J_m2: float
    area_rate_m2_s: float
    setting: Setting
    top_hat_share: float


class Lasers(BaseModel):
    lasers: list[dict[str, Any]]


class Materials(BaseModel):
    coatings: list[dict[str, Any]]
    substrates: list[dict[str, Any]]


class Material(BaseModel):
    model_config = ConfigDict(extra="allow")

    id: str
    title: str
    family: str
    names: list[str]
    values: list[dict[str, Any]]
