"""The order of numbers in the rows the outcome runs on: layer, substrate, setting, hand."""

from __future__ import annotations

# SI; rises in K above ROOM.
LAYER = (
    "thickness", "thickness_spread", "absorption", "reflectance", "threshold", "width_exponent", "depth",
    "incubation", "decomposition_rise", "bond_energy", "toughness", "residual_heat", "plume_fluence",
    "heat_capacity", "conductivity", "soak_rise", "soak_share",
)  # fmt: skip
# With the discrepancy of the draw; a property the substrate has not is 0 (or huge for a limit).
SUBSTRATE = (
    "absorptance", "skin_share", "skin_depth", "diffuse_depth", "heat_capacity", "conductivity", "thickness",
    "flash_limit", "flash_reference_width", "flash_exponent", "melt_rise", "ln_frequency_factor", "activation_energy",
    "limit_rise", "gas_conversion", "gas_rise", "glue_depth", "glue_rise", "spread",
    "depth_factor", "heat_factor", "flash_factor", "lift_factor", "film_factor", "grader_noise",
    "need_by_rate", "need_by_width", "need_by_dose", "room_by_rate", "room_by_width", "room_by_dose",
)  # fmt: skip
# With what the laser and its pattern add.
SETTING = (
    "average_power", "repetition_rate", "pulse_width", "spot_radius", "sweep_width", "sweep_speed", "travel_speed",
    "passes", "top_hat_share", "rayleigh_range", "edge_dose", "middle_dose",
)  # fmt: skip
HAND = ("speed_spread", "stand_off_spread", "stop_seconds", "harm_quantile")

THICKNESS, THICKNESS_SPREAD, ABSORPTION, REFLECTANCE, THRESHOLD, WIDTH_EXPONENT, DEPTH = range(7)
INCUBATION, DECOMPOSITION, BOND, TOUGHNESS, RESIDUAL_HEAT, PLUME, FILM_HEAT, FILM_CONDUCTIVITY = range(7, 15)
SOAK_RISE, SOAK_SHARE = range(15, 17)
ABSORPTANCE, SKIN_SHARE, SKIN_DEPTH, DIFFUSE_DEPTH, HEAT_CAPACITY, CONDUCTIVITY, SOLID_THICKNESS = range(7)
FLASH_LIMIT, FLASH_WIDTH, FLASH_EXPONENT, MELT, LN_FREQUENCY, ACTIVATION, LIMIT = range(7, 14)
GAS_CONVERSION, GAS, GLUE_DEPTH, GLUE, SPREAD = range(14, 19)
DEPTH_FACTOR, HEAT_FACTOR, FLASH_FACTOR, LIFT_FACTOR, FILM_FACTOR, GRADER = range(19, 25)
NEED_BY_RATE, NEED_BY_WIDTH, NEED_BY_DOSE, ROOM_BY_RATE, ROOM_BY_WIDTH, ROOM_BY_DOSE = range(25, 31)
POWER, RATE, WIDTH, SPOT, SWEEP, SWEEP_SPEED, TRAVEL, PASSES, TOP_HAT, RAYLEIGH, EDGE, MIDDLE = range(12)
SPEED_SPREAD, STAND_OFF, STOP, QUANTILE = range(4)
