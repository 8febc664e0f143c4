"""What photos of a strip show, as a record for all faces: shares and grades with their uncertainty, tones, warnings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from proofpatch.photos.find import Found
from proofpatch.photos.flatten import Caution
from proofpatch.photos.grade import Seen
from proofpatch.photos.shot import Shot
from proofpatch.photos.tone import Tone
from proofpatch.shop.looks import Look

PROPOSED = "Every grade is a proposal from a photo: look at the piece before you keep it."


def seen_record(strip: str, steps: Sequence[tuple[str, Mapping[str, Any]]], look: Look) -> dict[str, Any]:
    """What the photos of a strip show; steps: (name, setting) of each in order."""
    return {
        "strip": strip,
        "photos": [
            {"trouble": trouble or None, **_shot_record(shot)}
            for shot, trouble in zip(look.shots, look.troubles, strict=True)
        ],
        "steps": [_step_record(name, setting, n, look) for n, (name, setting) in enumerate(steps, 1)],
        "told": sum(one.residue is not None for one in look.steps.values()),
        "because": PROPOSED,
    }


def percent(share: float, error: float | None = None) -> str:
    """A share in words, with its standard error."""
    return f"{100 * share:.1f} %" if error is None else f"{100 * share:.1f} ± {100 * error:.1f} %"


def worst_tone(look: Look, number: int) -> Tone | None:
    """The tone of a step in the photo that saw it worst; None: no photo told one."""
    tones = [tone for one in look.seen if number in one and (tone := one[number].tone) is not None]
    return max(tones, key=lambda tone: tone.change, default=None)


def _shot_record(shot: Shot | None) -> dict[str, Any]:
    found: Found | None = shot.found if shot else None
    cautions: Sequence[Caution] = shot.cautions if shot else ()
    return {
        "markers": len(found.markers) if found else 0,
        "place_error_m": found.error if found else None,
        "cautions": [asdict(one) for one in cautions],
    }


def _step_record(name: str, setting: Mapping[str, Any], number: int, look: Look) -> dict[str, Any]:
    """One step over all photos."""
    one = look.steps.get(number)
    tone = worst_tone(look, number)
    seen = [photo[number] for photo in look.seen if number in photo]
    return {
        "step": name,
        "setting": dict(setting),
        "photos": len(seen),
        "fraction_left": one.fraction_left if one else None,
        "fraction_error": one.fraction_error if one else None,
        "residue": one.residue if one else None,
        "residue_chances": one.residue_chances if one else None,
        "harm": one.harm if one else None,
        "harm_chances": one.harm_chances if one else None,
        "tone": asdict(tone) if tone else None,
        "by_photo": [_photo_record(photo) for photo in seen],
        "warnings": list(one.warnings) if one else [],
    }


def _photo_record(seen: Seen) -> dict[str, Any]:
    """What one photo shows of a step, all but the mask."""
    kept = (
        "fraction_left", "fraction_error", "unevenness", "tinted", "burnt", "hot_edge_share", "pores", "strange",
        "residue", "harm",
    )  # fmt: skip
    lists = {name: list(getattr(seen, name)) for name in ("hot_edges", "ring", "assumed")}
    return {name: getattr(seen, name) for name in kept} | lists
