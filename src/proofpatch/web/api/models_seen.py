"""What is sent and comes back where a strip is graded by its photos."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import Path
from pydantic import BaseModel, Field

from proofpatch.learn.evidence import HARMS, RESIDUES
from proofpatch.learn.surface import MOST_LAYERS
from proofpatch.photos.frame import MOST_STEPS
from proofpatch.shop.store import LONGEST_BY
from proofpatch.web.api.fields import LONGEST_KEY, line, one_of, quantity, whole
from proofpatch.web.api.models import Graded, Sent

StripKey = Annotated[str, Path(pattern=r"^[0-9a-f]{32}$", description="id of a thing of kind strip")]


class LaidStrip(BaseModel):
    """A strip as it was laid out: its name, and each step with its setting."""

    id: str
    strip: str
    steps: list[dict[str, Any]]


class SeenPhoto(BaseModel):
    """A photo. trouble: why it shows nothing. place_error_m: how far a window may be off, one standard deviation."""

    trouble: str | None
    markers: int
    place_error_m: float | None
    cautions: list[dict[str, str]]


class SeenStep(BaseModel):
    """A step over all photos; null is not told: grade by eye."""

    step: str
    setting: dict[str, Any]
    photos: int
    fraction_left: float | None
    fraction_error: float | None
    residue: str | None
    residue_chances: dict[str, float] | None
    harm: str | None
    harm_chances: dict[str, float] | None
    tone: dict[str, float] | None
    by_photo: list[dict[str, Any]]
    warnings: list[str]


class SeenStrip(BaseModel):
    """What the photos of a strip show; told: steps whose share left is told."""

    strip: str
    photos: list[SeenPhoto]
    steps: list[SeenStep]
    told: int
    because: str


class StepGrade(Sent):
    """A step that is kept; what is left out is as the photos say, where they do."""

    step: Annotated[str, line(LONGEST_KEY)]
    residue: Annotated[str | None, line(LONGEST_KEY), one_of(RESIDUES)] = None
    harm: Annotated[str | None, line(LONGEST_KEY), one_of(HARMS)] = None


class NewGrades(Sent):
    """The grades of a strip's steps; a step that was not laid is left out."""

    grades: Annotated[list[StepGrade], Field(min_length=1, max_length=MOST_STEPS)]
    layer: Annotated[int, whole(0, MOST_LAYERS - 1)] = 0
    wiped: Annotated[bool, Field(strict=True)] = True
    grader: Annotated[str | None, line(LONGEST_BY)] = None
    waited_s: Annotated[float | None, quantity("duration")] = None


class TaughtStrip(BaseModel):
    """The steps that are kept, and the record of what they taught."""

    graded: list[Graded]
    taught: dict[str, Any]
