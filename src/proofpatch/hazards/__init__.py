"""What can hurt whom; so far the lines that go with every setting."""

from __future__ import annotations

# Said wherever a setting is named. Common practice, no source; local codes and the laser safety officer decide.
CAUTIONS = (
    "Eyes: class 4 laser. Everyone inside the laser area wears eyewear rated for this wavelength, power and pulse; "
    "keep others out.",
    "Fume: run extraction at the spot with a filter for fine dust and vapour; what comes off may be toxic. Residue is "
    "waste.",
    "Fire: clear solvents and rags, keep an extinguisher at hand, and watch the piece for at least an hour after the "
    "beam.",
    "These are usual cautions, not clearance: your laser safety officer, licensed practice and local rules decide.",
)
