"""What two photos of one place came to, in the sentences of every face."""

from __future__ import annotations

from math import cos, radians

from proofpatch.photos.pairs import Pair
from proofpatch.shop.tone_words import tone_change
from proofpatch.units import show

TILT = 20  # degrees a photo may be tilted unnoticed, as an example


def pair_words(pair: Pair, error: float | None = None) -> list[str]:
    """What a pair came to, in sentences. error: relative, of its area, where that rests on taps."""
    if pair.share is None:
        return ["Laid over by hand.", pair.because]
    lines = [f"{_percent(pair.share)} of {'the piece' if pair.piece else 'what both photos show'} changed"]
    lines[0] += "." if pair.area is None else f": {show(pair.area, 'area')}."
    if error is not None:
        lines.append(
            f"The area is good to {_percent(error)} from the taps, if the photo before looks straight at the place. "
            f"Taken at a tilt of {TILT}°, it may be another {100 * (1 - cos(radians(TILT))):.0f} % off."
        )
    if pair.tone is not None:
        lines.append(f"There the tone moved by {tone_change(pair.tone)}.")
    lines.append(pair.because)
    if pair.rest is not None:
        lines.append(f"Ground that did not change differs by {pair.rest:.1f} between the photos: that much is no news.")
    return lines


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %"
