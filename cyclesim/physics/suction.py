"""What a pump can draw: the head left at its inlet above the pressure at which the water boils.

The head at a pump's inlet is the total head, so NPSH adds no velocity head.
"""

from cyclesim.physics.evaporation import PRESSURE_PA, saturation
from cyclesim.physics.water import G, density_kg_m3


def air_pressure_pa(altitude_m: float) -> float:
    """Mean pressure of the air, Pa, at a height above the sea, m (up to 11,000).

    International Standard Atmosphere (ISO 2533), its closed form for the troposphere from memory.
    """
    return PRESSURE_PA * float((1.0 - 2.25577e-5 * altitude_m) ** 5.25588)


def npsh_available_m(
    inlet_head_m: float, above_water_m: float, water_c: float, air_pa: float = PRESSURE_PA
) -> float:
    """Net positive suction head at a pump's inlet, m of the water that flows.

    `inlet_head_m` is the total head there over the water that it draws from, so minus what the way costs; the
    speed of the water in the pipe is in it and is not counted again.  `above_water_m` is the inlet's height.
    """
    free_m = (air_pa - saturation(water_c)[0]) / (density_kg_m3(water_c) * G)
    return free_m + inlet_head_m - above_water_m
