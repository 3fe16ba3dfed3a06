"""Air blown through the water: the heat and water it carries off, and the duty of its blower."""

from dataclasses import dataclass
from math import pi
from typing import NamedTuple

from cyclesim.spreads import Assumption

from .curves import PumpCurve
from .evaporation import PRESSURE_PA, VAPOUR_SHARE, WATER_J_KG_K, ZERO_C_K, saturation
from .friction import darcy_factor
from .water import G, density_kg_m3

LINE_AIR_C = Assumption(40.0, 20.0, 60.0, "air behind a blower, common practice, no source")
HEAD_PA_M = 9806.65
"""Pressure of a metre of conventional water, the unit of a blower curve's head."""

_DRY_AIR_J_KG_K = 287.042  # gas constant; ASHRAE Fundamentals 2017 ch. 1, read in psychrolib
_INTAKE_C = 20.0
_FREE_AIR_KG_M3 = PRESSURE_PA / (_DRY_AIR_J_KG_K * (_INTAKE_C + ZERO_C_K))
_ROUGHNESS_M = 1.5e-6


class AirTake(NamedTuple):
    """Heat (W) and water (kg/s) that blown air carries off, and their slopes over the water's temperature."""

    heat_w: float
    evaporated_kg_s: float
    heat_slope_w_k: float
    evaporated_slope_kg_s_k: float


def humidity_ratio(vapour_pa: float) -> float:
    """Vapour per dry air [kg/kg] at a vapour pressure [Pa], at the air pressure of the sea's level."""
    return VAPOUR_SHARE * vapour_pa / (PRESSURE_PA - vapour_pa)


def enthalpy_j_kg(air_c: float, ratio: float) -> float:
    """Enthalpy (J per kg of dry air) of moist air: ASHRAE Fundamentals 2017 ch. 1, eq. 30 (in psychrolib).

    *ratio*: kilograms of water in a kilogram of dry air.
    """
    return 1006.0 * air_c + ratio * (2501000.0 + 1860.0 * air_c)


def blown_air(
    flow_m3_s: float, air_c: float, humidity: float, water_c: float, air_heat_w: float = 0.0
) -> AirTake:
    """What air drawn in at air_c and relative humidity 0..1 takes from water it leaves saturated and as warm.

    The balance is that of wetting moist air: m ((h_out - h_in) - (W_out - W_in) h_water), so that the water
    left behind cools by heat_w and what replaces the evaporated water is counted apart. flow_m3_s is the
    volume at the intake. air_heat_w is what the blower puts into the air; the water gets that back. Saturated
    is an upper bound: coarse bubbles in shallow water may leave drier (common practice, no source).
    """
    ratio_in = humidity_ratio(humidity * saturation(air_c)[0])
    dry_m3_kg = _DRY_AIR_J_KG_K * (air_c + ZERO_C_K) * (1.0 + ratio_in / VAPOUR_SHARE) / PRESSURE_PA
    dry_kg_s = flow_m3_s / dry_m3_kg
    vapour_pa, vapour_pa_k = saturation(water_c)
    ratio = humidity_ratio(vapour_pa)
    ratio_k = VAPOUR_SHARE * PRESSURE_PA * vapour_pa_k / (PRESSURE_PA - vapour_pa) ** 2
    liquid = WATER_J_KG_K * water_c
    gained = ratio - ratio_in
    taken = enthalpy_j_kg(water_c, ratio) - enthalpy_j_kg(air_c, ratio_in) - gained * liquid
    taken_k = 1006.0 + 1860.0 * ratio - gained * WATER_J_KG_K
    taken_k += ratio_k * (2501000.0 + 1860.0 * water_c - liquid)
    return AirTake(dry_kg_s * taken - air_heat_w, dry_kg_s * gained, dry_kg_s * taken_k, dry_kg_s * ratio_k)


def air_viscosity_pa_s(air_c: float) -> float:
    """Dynamic viscosity (Pa s) of air by Sutherland's law; 1.716e-5 and 110.4 K from memory, not opened."""
    kelvin = air_c + ZERO_C_K
    grown: float = (kelvin / ZERO_C_K) ** 1.5
    return 1.716e-5 * grown * (ZERO_C_K + 110.4) / (kelvin + 110.4)


@dataclass(frozen=True, slots=True)
class Injectors:
    """Air holes alike, and what one of them does by its data sheet: a flow of free air at a pressure.

    Free air: 20 degC at the sea's level. All get the same: the line between them is left out.
    """

    count: int
    each_m3_s: float
    each_pa: float

    def pressure_pa(self, flow_m3_s: float, density: float) -> float:
        """What a flow of free air through all of them asks for [Pa], as dense as it is in the line [kg/m3].

        A hole's drop goes with mass flow squared over density.
        """
        share = flow_m3_s / self.count / self.each_m3_s
        return self.each_pa * share * share * _FREE_AIR_KG_M3 / density


@dataclass(frozen=True, slots=True)
class AirLine:
    """Pipe from a blower to air holes depth_m under water; fittings_k is the sum of K on the pipe's speed.

    loop_m is how far the line rises above the rest and comes back, so that water cannot run into the blower:
    it costs its length in friction, and no pressure for its height, because air weighs next to nothing.
    The holes' own drop is that of the injectors; without them it belongs into fittings_k.
    """

    depth_m: float
    bore_m: float
    length_m: float
    fittings_k: float = 0.0
    loop_m: float = 0.0
    air_c: float = LINE_AIR_C.value
    water_c: float = 38.0
    injectors: Injectors | None = None

    def pressure_pa(self, flow_m3_s: float) -> float:
        """Pressure (Pa above the room's) that this flow, measured at an intake at 20 degC, asks for.

        Water over the holes, and Darcy-Weisbach for air as dense as the line's pressure and warmth make it.
        """
        static_pa = density_kg_m3(self.water_c) * G * self.depth_m
        if flow_m3_s <= 0.0:
            return static_pa
        mass_kg_s = flow_m3_s * PRESSURE_PA / (_DRY_AIR_J_KG_K * (_INTAKE_C + ZERO_C_K))
        density = (PRESSURE_PA + static_pa) / (_DRY_AIR_J_KG_K * (self.air_c + ZERO_C_K))
        speed_m_s = mass_kg_s / (density * pi / 4.0 * self.bore_m**2)
        reynolds = density * speed_m_s * self.bore_m / air_viscosity_pa_s(self.air_c)
        along = darcy_factor(reynolds, _ROUGHNESS_M / self.bore_m) * (self.length_m + 2.0 * self.loop_m)
        line_pa = (along / self.bore_m + self.fittings_k) * density * speed_m_s**2 / 2.0
        holes_pa = self.injectors.pressure_pa(flow_m3_s, density) if self.injectors else 0.0
        return static_pa + line_pa + holes_pa


class BlowerDuty(NamedTuple):
    """Flow (m3/s at the intake) and pressure (Pa) where blower and line meet; why_not says if they do not."""

    flow_m3_s: float
    pressure_pa: float
    why_not: str | None


def blower_duty(curve: PumpCurve, line: AirLine) -> BlowerDuty:
    """Where a blower's falling curve (head in metres of conventional water) meets what the line asks for.

    Without enough pressure for the depth no air flows; a meeting beyond the curve's last point is not
    extrapolated: that point's flow is given, and why.
    """
    static_pa, shut_off_pa = line.pressure_pa(0.0), curve.head_m(0.0) * HEAD_PA_M
    if shut_off_pa <= static_pa:
        asked_kpa, most_kpa = static_pa / 1e3, shut_off_pa / 1e3
        why = f"the water asks for {asked_kpa:.1f} kPa, the blower gives {most_kpa:.1f} kPa at most"
        return BlowerDuty(0.0, shut_off_pa, why)
    low, high = 0.0, curve.last_flow_m3_s
    if curve.head_m(high) * HEAD_PA_M > line.pressure_pa(high):
        asked_kpa = line.pressure_pa(high) / 1e3
        why = f"the blower's curve ends before its pressure falls to the {asked_kpa:.1f} kPa asked there"
        return BlowerDuty(high, curve.head_m(high) * HEAD_PA_M, why)
    while high - low > 1e-9 * curve.last_flow_m3_s:
        middle = 0.5 * (low + high)
        if curve.head_m(middle) * HEAD_PA_M > line.pressure_pa(middle):
            low = middle
        else:
            high = middle
    return BlowerDuty(low, curve.head_m(low) * HEAD_PA_M, None)
