"""A substrate's heat and conductivity over temperature, as far as data go: what `physics.reacting` follows."""

from __future__ import annotations

from itertools import pairwise

from proofpatch.errors import InputError
from proofpatch.materials import substrate_data
from proofpatch.physics.clocks import ROOM
from proofpatch.physics.reacting import Curve
from proofpatch.physics.wood import wood_specific_heat
from proofpatch.sources import Datum

COLDEST, WARMEST = 280.0, 420.0  # K, the range of the wood equations; beyond it their last value is kept
STEP = 20.0  # K, between points of a curve
MOISTURE_OF_TABLES = 12.0  # %, at which the conductivities of wood are printed
BOIL, BOIL_OVER = 373.15, 30.0  # K; bound water leaves over some tens of kelvin (from memory, unverified)
SOLIDUS_TO_LIQUIDUS = 40.0  # K, for alloys; from memory, unverified
MOST_MOISTURE = 0.30  # of dry mass, fibre saturation


def substrate_curve(substrate: str, condition: str = "any", moisture: float | None = None) -> tuple[Curve, list[Datum]]:
    """The curve of a substrate and the data it rests on.

    Metals take up their heat of fusion from the melting point on, over 40 K. Wood's specific heat follows the handbook
    equation and its conductivity rises by the handbook's share per kelvin, both kept from 147 °C on, where no data were
    read; water leaves between 100 and 130 °C if a moisture is given, and takes its heat of evaporation. What has no
    such data keeps one value.

    Args:
        substrate: its id.
        condition: of wood.
        moisture: water over dry mass, 0 to 0.3 [1]; None: no water is credited (hotter, conservative).

    Returns:
        (curve, data).

    Raises:
        InputError: the id, condition or moisture cannot be used.
    """
    data = substrate_data(substrate, condition)
    used = [data[name] for name in ("density", "specific_heat", "conductivity")]
    density, heat, conductivity = (datum.value for datum in used)
    if moisture is not None and not 0 <= moisture <= MOST_MOISTURE:
        raise InputError(
            "moisture", f"A moisture of {moisture:g} is outside 0 to {MOST_MOISTURE}.", "Read it as a share."
        )
    slope = data.get("conductivity_slope")
    if slope is None:
        curve = Curve.steady(conductivity, density * heat)
    else:
        used.append(slope)
        count = round((WARMEST - COLDEST) / STEP)
        temperatures = [COLDEST + STEP * n for n in range(count + 1)]
        shape = [
            float(wood_specific_heat(t, MOISTURE_OF_TABLES) / wood_specific_heat(ROOM, MOISTURE_OF_TABLES))
            for t in temperatures
        ]
        heats = [0.0]
        for a, b in pairwise(shape):
            heats.append(heats[-1] + density * heat * STEP * (a + b) / 2)
        conductivities = [conductivity * (1 + slope.value * (t - ROOM)) for t in temperatures]
        temperatures.append(WARMEST + STEP)
        heats.append(heats[-1] + density * heat * STEP * shape[-1])
        conductivities.append(conductivities[-1])
        curve = Curve(tuple(temperatures), tuple(heats), tuple(conductivities))
        water = data.get("water_heat")
        if moisture and water is not None:
            used.append(water)
            dry = density / (1 + MOISTURE_OF_TABLES / 100)
            curve = curve.with_change(BOIL, dry * moisture * water.value, over=BOIL_OVER)
    fusion, melting = data.get("fusion_heat"), data.get("melting_temperature")
    if fusion is not None and melting is not None:
        used += [fusion, melting]
        curve = curve.with_change(melting.value, density * fusion.value, over=SOLIDUS_TO_LIQUIDUS)
    return curve, used
