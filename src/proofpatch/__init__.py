"""proofpatch: from "can a pulsed laser clean this?" to a recipe that holds.

The whole job in six calls: `prior`, `forecast`, `next_patch`, `update`, `recipe`, `hours`. SI floats throughout.
"""

import os
from typing import TYPE_CHECKING, Any

# Read when NumPy and the kernels start. The cores are the kernels': threads of matrix products that spin while they
# wait cost a decision a quarter of its time. A program that wants it otherwise says so in its environment.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_WAIT_POLICY", "passive")

from proofpatch.errors import InputError
from proofpatch.lasers import laser
from proofpatch.learn.belief import Belief, prior
from proofpatch.learn.evidence import HARMS, RESIDUES, Graded
from proofpatch.learn.forecast import Window, forecast
from proofpatch.learn.limits import PRESETS, Hand, Limits
from proofpatch.learn.patches import Patch, next_patch
from proofpatch.learn.recipe import Recipe, recipe
from proofpatch.learn.surface import Layer, Surface
from proofpatch.learn.update import update
from proofpatch.offer.hours import Hours, hours
from proofpatch.physics.heat_stack import HeatLayer
from proofpatch.physics.setting import Setting

if TYPE_CHECKING:
    from proofpatch.physics.layered import layered_rise

__version__ = "0.1.0"
__all__ = [
    "HARMS", "PRESETS", "RESIDUES", "Belief", "Graded", "Hand", "HeatLayer", "Hours", "InputError", "Layer", "Limits",
    "Patch", "Recipe", "Setting", "Surface", "Window", "forecast", "hours", "laser", "layered_rise", "next_patch",
    "prior", "recipe", "update",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    # The solver's own imports cost a quarter of every cold command, and few calls want it.
    if name == "layered_rise":
        from proofpatch.physics.layered import layered_rise

        return layered_rise
    raise AttributeError(f"module 'proofpatch' has no attribute {name!r}")
