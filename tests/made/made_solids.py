"""Solids of the layered solver's tests."""

import math
from dataclasses import dataclass

from proofpatch.physics.heat_stack import HeatLayer

UM = 1e-6
PULSE = 100e-9


@dataclass(frozen=True)
class Solid:
    """The inputs of thermal-optical.md §4.8."""

    conductivity: float
    density: float
    specific_heat: float

    @property
    def heat_capacity(self):
        return self.density * self.specific_heat

    @property
    def diffusivity(self):
        return self.conductivity / self.heat_capacity

    @property
    def effusivity(self):
        return math.sqrt(self.conductivity * self.heat_capacity)

    @property
    def conducting(self):
        return {"conductivity": self.conductivity, "diffusivity": self.diffusivity}

    def layer(self, thickness=None, absorption=None):
        return HeatLayer(thickness, self.conductivity, self.density, self.specific_heat, absorption)


MILD_STEEL = Solid(60.5, 7854, 434)
STAINLESS = Solid(14.9, 7900, 477)
ALUMINIUM = Solid(237, 2702, 903)
WOOD = Solid(0.1697, 692.7, 1661)
PAINT = Solid(0.25, 1400, 1400)
