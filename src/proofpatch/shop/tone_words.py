"""How far a tone moved, in the words that every page and paper uses."""

from __future__ import annotations

from proofpatch.photos.tone import Tone


def tone_change(tone: Tone) -> str:
    """The change with its error, and which way lightness and yellowness went."""
    return (
        f"{tone.change:.1f} ± {tone.error:.1f} CIEDE2000, "
        f"{abs(tone.darker):.1f} {'darker' if tone.darker > 0 else 'lighter'} in L*, "
        f"{abs(tone.yellower):.1f} {'yellower' if tone.yellower > 0 else 'bluer'} in b*"
    )
