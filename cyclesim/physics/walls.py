"""Conductances and heat capacities of shell, cover, pipe and housing, layer by layer."""

from dataclasses import dataclass
from math import acosh, log, pi, sqrt
from typing import Literal, NamedTuple

from cyclesim.spreads import Assumption

Fit = Literal["good", "fair", "poor"]
_EN_10456 = "EN ISO 10456:2007 as tabulated second-hand; heat capacity"
_EN_10077 = "EN ISO 10077-2:2003 as tabulated second-hand; heat capacity"


@dataclass(frozen=True, slots=True)
class Material:
    """Conductivity (W/(m K)) with its spread, density (kg/m3), heat capacity (J/(kg K)), and where from."""

    conductivity_w_mk: float
    density_kg_m3: float
    heat_capacity_j_kgk: float
    spread_w_mk: tuple[float, float]
    source: str

    @property
    def conductivity(self) -> Assumption:
        """Conductivity (W/(m K)) with its likely ends and its source."""
        return Assumption(self.conductivity_w_mk, *self.spread_w_mk, self.source)


MATERIALS = {
    # 1 % of steel; plain concrete of 2200-2400 kg/m3 conducts 1.65-2.0
    "concrete": Material(
        2.3, 2300.0, 1000.0, (1.65, 2.5), f"{_EN_10456} quoted from memory; document not checked"
    ),
    "brick": Material(
        0.77, 1700.0, 900.0, (0.6, 1.0), "UK design values, quoted from memory; document not checked"
    ),
    "timber": Material(0.13, 500.0, 1600.0, (0.11, 0.18), f"{_EN_10077} seen second-hand"),
    "acrylic": Material(0.18, 1180.0, 1500.0, (0.17, 0.21), f"{_EN_10077} seen second-hand"),
    "steel": Material(17.0, 7900.0, 460.0, (15.0, 17.0), f"{_EN_10077} seen second-hand; stainless"),
    # extruded or expanded polystyrene, polyisocyanurate; the wetter and older, the higher
    "foam": Material(0.036, 32.0, 1450.0, (0.025, 0.045), "common practice, no source"),
    "pipe foam": Material(0.038, 30.0, 1450.0, (0.033, 0.045), "common practice, no source"),
    # EN ISO 10077-2 has 0.17; 0.19 is usual in pipe makers' data
    "carbon steel": Material(
        50.0, 7800.0, 450.0, (45.0, 60.0), f"{_EN_10456} quoted from memory; document not checked"
    ),
    "copper": Material(
        380.0, 8900.0, 380.0, (330.0, 400.0), f"{_EN_10456} quoted from memory; document not checked"
    ),
    "PE": Material(
        0.50,
        980.0,
        1800.0,
        (0.35, 0.50),
        f"{_EN_10456} quoted from memory; document not checked; high density",
    ),
    "PVC": Material(
        0.19, 1390.0, 900.0, (0.16, 0.21), "pipe makers, quoted from memory; rest EN ISO 10077-2"
    ),
}


PIPE_OF = {"PVC": "PVC", "PE": "PE", "copper": "copper", "steel": "carbon steel"}
"""What a pipe is made of -> its material here."""

# resistances of ISO 6946 table 7, seen second-hand; 25 W/(m2 K) is its Rse of 0.04 m2 K/W
OUTSIDE_FILM_W_M2K = Assumption(25.0, 8.0, 33.0, "ISO 6946 Rse 0.04 m2K/W, seen second-hand; sheltered: 8")
UNDER_COVER_M2K_W = Assumption(0.10, 0.04, 0.10, "ISO 6946 Rsi upward, seen second-hand; wet air: less")
WATER_FILM_W_M2K = Assumption(300.0, 100.0, 1000.0, "common practice, no source")
PIPE_FILM_W_M2K = Assumption(10.0, 5.0, 15.0, "common practice, no source")
HOUSING_FILM_W_M2K = Assumption(8.0, 5.0, 12.0, "common practice, no source")
SOIL_W_MK = Assumption(
    1.5, 0.5, 2.5, "ISO 13370 clay or silt, quoted from memory; document not checked; dry sand 0.5"
)
# leaks at edge and fold, as a multiple of the tight cover's loss
COVER_FIT: dict[Fit, Assumption] = {
    "good": Assumption(1.2, 1.0, 1.5, "common practice, no source"),
    "fair": Assumption(1.6, 1.3, 2.2, "common practice, no source"),
    "poor": Assumption(2.5, 1.8, 4.0, "common practice, no source"),
}


class Off(NamedTuple):
    """How far what heat passes is from what is assumed here, as factors: conductivities, films, leaks."""

    wall: float = 1.0
    foam: float = 1.0
    pipe_foam: float = 1.0
    soil: float = 1.0
    outside_film: float = 1.0
    pipe_film: float = 1.0
    housing_film: float = 1.0
    cover_fit: float = 1.0


AS_ASSUMED = Off()


class ShellHeat(NamedTuple):
    """The shell as one node: its heat capacity (J/K), conductance to the water and to its zone (W/K)."""

    c_j_k: float
    g_w_k: float
    ua_w_k: float


def shell(
    wall_m: float,
    of: str,
    insulation_m: float,
    area_m2: float,
    outside: float | Literal["soil"] = OUTSIDE_FILM_W_M2K.value,
    off: Off = AS_ASSUMED,
) -> ShellHeat:
    """Shell node in the middle of the structural wall, insulation outside it.

    wall_m and insulation_m (0 allowed) are thicknesses [m], *of* the wall's material, area_m2 the wetted area
    [m2], outside a film [W/(m2 K)] or "soil", *off* by what factors materials and soil are off. Insulation
    and soil store no heat here.
    Raises ValueError for an unknown material or a size <= 0.
    """
    if of not in MATERIALS:
        raise ValueError(f"no material '{of}'; there are {', '.join(MATERIALS)}")
    if not (wall_m > 0.0 and area_m2 > 0.0 and insulation_m >= 0.0):
        raise ValueError(f"a wall has a thickness and an area: {wall_m} m, {insulation_m} m, {area_m2} m2")
    wall = MATERIALS[of]
    half_m2k_w = wall_m / 2.0 / (wall.conductivity_w_mk * off.wall)
    if outside == "soil":
        beyond_m2k_w = soil_resistance_m2k_w(area_m2) / off.soil
    else:
        beyond_m2k_w = 1.0 / (outside * off.outside_film)
    foam_m2k_w = insulation_m / (MATERIALS["foam"].conductivity_w_mk * off.foam)
    return ShellHeat(
        c_j_k=wall_m * area_m2 * wall.density_kg_m3 * wall.heat_capacity_j_kgk,
        g_w_k=area_m2 / (1.0 / WATER_FILM_W_M2K.value + half_m2k_w),
        ua_w_k=area_m2 / (half_m2k_w + foam_m2k_w + beyond_m2k_w),
    )


def soil_resistance_m2k_w(area_m2: float) -> float:
    """Resistance (m2 K/W) from a buried body of this surface to soil far away: a sphere of equal area.

    Source: conduction shape factors, Incropera & DeWitt table 4.1(b): bodies of any compact shape lie within
    a few per cent of q* = 1 on the length sqrt(A / 4 pi). From memory, not opened.
    """
    return sqrt(area_m2 / (4.0 * pi)) / SOIL_W_MK.value


def cover_ua(foam_m: float, fit: Fit, surface_m2: float, off: Off = AS_ASSUMED) -> float:
    """Conductance (W/K) from water through a foam cover to the air, leaks by its fit included."""
    foam_m2k_w = foam_m / (MATERIALS["foam"].conductivity_w_mk * off.foam)
    film_m2k_w = 1.0 / (OUTSIDE_FILM_W_M2K.value * off.outside_film)
    tight_w_m2k = 1.0 / (UNDER_COVER_M2K_W.value + foam_m2k_w + film_m2k_w)
    return COVER_FIT[fit].value * off.cover_fit * tight_w_m2k * surface_m2


def ring_resistance_mk_w(inner_m: float, outer_m: float, conductivity_w_mk: float) -> float:
    """Resistance (m K/W) of a metre of a ring between two diameters: ln(D/d) / (2 pi k)."""
    return log(outer_m / inner_m) / (2.0 * pi * conductivity_w_mk)


def pipe_ua_per_m(
    bore_m: float,
    outside_m: float,
    insulation_m: float = 0.0,
    *,
    of: str = "PVC",
    film_w_m2k: float = PIPE_FILM_W_M2K.value,
    depth_m: float | None = None,
    off: Off = AS_ASSUMED,
) -> float:
    """Conductance [W/(m K)] of a pipe from its water to the air, or to the soil at its depth if buried.

    bore_m and outside_m are the bare pipe's diameters [m], *of* its material, insulation_m how thick that is
    [m], film_w_m2k the film outside [W/(m2 K)], depth_m the depth of its axis [m], *off* by what factors
    materials and soil are off. Buried:
    shape factor of a cylinder under an isothermal surface, 2 pi k / acosh(2 z / D) (Incropera & DeWitt table
    4.1, from memory, not opened), with the undisturbed soil temperature at that depth as the zone. The inner
    film is left out, and so is the soil's own warming up: water that starts into cold ground loses more for
    some days.
    Raises ValueError where the pipe is no pipe or breaks the surface.
    """
    if not (0.0 < bore_m < outside_m and insulation_m >= 0.0):
        raise ValueError(f"no pipe: bore {bore_m} m, outside {outside_m} m, insulation {insulation_m} m")
    skin_m = outside_m + 2.0 * insulation_m
    inside_mk_w = ring_resistance_mk_w(bore_m, outside_m, MATERIALS[of].conductivity_w_mk)
    foam_mk_w = ring_resistance_mk_w(
        outside_m, skin_m, MATERIALS["pipe foam"].conductivity_w_mk * off.pipe_foam
    )
    if depth_m is None:
        beyond_mk_w = 1.0 / (pi * skin_m * film_w_m2k * off.pipe_film)
    elif depth_m > skin_m / 2.0:
        beyond_mk_w = acosh(2.0 * depth_m / skin_m) / (2.0 * pi * SOIL_W_MK.value * off.soil)
    else:
        raise ValueError(f"a pipe {skin_m} m thick is not buried at {depth_m} m")
    return 1.0 / (inside_mk_w + foam_mk_w + beyond_mk_w)


def pipe_wall_c_per_m(bore_m: float, outside_m: float, of: str = "PVC") -> float:
    """Heat capacity (J/(m K)) of a metre of pipe of this material without its water."""
    wall = MATERIALS[of]
    return pi / 4.0 * (outside_m**2 - bore_m**2) * wall.density_kg_m3 * wall.heat_capacity_j_kgk


def housing_ua(volume_m3: float, insulation_m: float = 0.0, off: Off = AS_ASSUMED) -> float:
    """Conductance [W/K] of a filter or heater housing to its room: a cylinder twice as high as wide.

    *insulation_m*: how thick that is all round [m], 0 where it is bare; the ends count as plane, and what
    leaves by the edges is left out.
    """
    width_m: float = (2.0 * volume_m3 / pi) ** (1.0 / 3.0)
    film_w_m2k = HOUSING_FILM_W_M2K.value * off.housing_film
    if not insulation_m:
        return film_w_m2k * 2.5 * pi * width_m**2
    skin_m, foam_w_mk = width_m + 2.0 * insulation_m, MATERIALS["pipe foam"].conductivity_w_mk * off.pipe_foam
    side_mk_w = ring_resistance_mk_w(width_m, skin_m, foam_w_mk) + 1.0 / (pi * skin_m * film_w_m2k)
    ends_m2k_w = insulation_m / foam_w_mk + 1.0 / film_w_m2k
    return 2.0 * width_m / side_mk_w + pi / 2.0 * width_m**2 / ends_m2k_w
