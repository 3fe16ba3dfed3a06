"""An open water surface: evaporation, convection and sky radiation, and the moist air they need.

Everything at 101,325 Pa: 1000 m up, evaporation is a few per cent faster than said here.
"""

from math import exp, log
from typing import NamedTuple

from cyclesim.spreads import Assumption

PRESSURE_PA = 101325.0
ZERO_C_K = 273.15
WATER_J_KG_K = 4186.0
"""Heat capacity of liquid water beside moist air (ASHRAE Fundamentals ch. 1: h = 4.186 t, from memory)."""
VAPOUR_SHARE = 0.621945  # molar masses of water and dry air; ASHRAE Fundamentals 2017 ch. 1, as in psychrolib

# activity factor of a hot tub 1.0: ASHRAE HVAC Applications, from memory. Its 0.5 of a residential pool
# gives half of what still hot water loses by the independent formula in the tests.
ACTIVITY = Assumption(
    1.0, 0.75, 1.5, "ASHRAE natatoriums, spa 1.0, quoted from memory; undisturbed water 0.74"
)
WIND_AT_WATER = Assumption(0.3, 0.1, 0.7, "share of a weather station's wind, common practice, no source")
EMISSIVITY = Assumption(
    0.95, 0.93, 0.97, "handbooks' value for water, quoted from memory; document not checked"
)
BOWEN_PA_K = 61.3
"""0.46 mm of mercury per K at sea level: Bowen, Physical Review 27 (1926) 779, from memory, not opened."""

_STEFAN_W_M2_K4 = 5.670374419e-8  # exact by the SI of 2019
_TRIPLE_C = 0.01
_STILL_W_M2_PA, _WIND_W_M2_PA = 0.089, 0.0782


def _log_pressure(temp_c: float) -> tuple[float, float]:
    """Logarithm of the saturation pressure (Pa) and its slope (1/K): Hyland and Wexler."""
    t = temp_c + ZERO_C_K
    if temp_c <= _TRIPLE_C:
        poly = -9.677843e-3 + t * (6.2215701e-7 + t * (2.0747825e-9 - t * 9.484024e-13))
        turn = -9.677843e-3 + t * (1.24431402e-6 + t * (6.2243475e-9 - t * 3.7936096e-12))
        return -5674.5359 / t + 6.3925247 + t * poly + 4.1635019 * log(t), (
            5674.5359 / t + 4.1635019
        ) / t + turn
    poly = -4.8640239e-2 + t * (4.1764768e-5 - t * 1.4452093e-8)
    turn = -4.8640239e-2 + t * (8.3529536e-5 - t * 4.3356279e-8)
    return -5800.2206 / t + 1.3914993 + t * poly + 6.5459673 * log(t), (5800.2206 / t + 6.5459673) / t + turn


def saturation(temp_c: float) -> tuple[float, float]:
    """Saturation pressure of water vapour (Pa) and its slope (Pa/K), over ice below 0.01 degC.

    Hyland and Wexler (1983) as in ASHRAE Fundamentals 2017 ch. 1, eq. 5 and 6; the coefficients were read in
    psychrolib. -100 to 200 degC.
    """
    log_pa, slope = _log_pressure(temp_c)
    pressure = exp(log_pa)
    return pressure, pressure * slope


def latent_heat(water_c: float) -> tuple[float, float]:
    """Heat of evaporation (J/kg) and its slope (J/(kg K)), 0 to 60 degC.

    A cubic fitted to IAPWS-IF97 for this module; the tests compare it live, within 0.002 %.
    """
    t = water_c
    return (
        2500917.0 + t * (-2374.14 + t * (0.53298 - t * 0.0125129)),
        -2374.14 + t * (1.06596 - t * 0.0375387),
    )


def dew_point_c(vapour_pa: float) -> float:
    """Temperature (degC) at which a vapour pressure (Pa, above 0) saturates: Newton on its logarithm."""
    aim = log(vapour_pa)
    x = log(vapour_pa / 611.2)
    temp_c = 243.12 * x / (17.62 - x)  # Magnus (WMO), the starting guess only
    for _ in range(20):
        known, slope = _log_pressure(temp_c)
        step = (aim - known) / slope
        temp_c += step
        if abs(step) < 1e-9:
            break
    return temp_c


def sky_c(air_c: float, humidity: float, cloud: float) -> float:
    """Temperature (degC) of a black sky over air of this relative humidity (0..1) and cloud cover (0..1).

    Clear: e = 0.711 + 0.56 d + 0.73 d2, d = dew point in degC / 100 (Berdahl and Martin, Solar Energy 32,
    1984, 663), without its terms for the hour and the air pressure. Cloud fills 0.784 of what is missing to
    black. Both were read in the source of an open building simulator, not in the paper. Published forms
    differ by 4 K, in cold dry or hot wet air by 10 K. The dew point is taken as -38 degC or more (below, the
    parabola would rise again) and the sky never warmer than the air.
    """
    dew = max(dew_point_c(max(humidity, 0.01) * saturation(air_c)[0]), -38.0) / 100.0
    clear = min(0.711 + 0.56 * dew + 0.73 * dew**2, 1.0)
    black: float = (clear + (1.0 - clear) * 0.784 * cloud) ** 0.25
    return black * (air_c + ZERO_C_K) - ZERO_C_K


class SurfaceLoss(NamedTuple):
    """What leaves an open surface, each positive when the water loses: W, W, W and kg/s."""

    evaporation_w: float
    convection_w: float
    radiation_w: float
    evaporated_kg_s: float


def open_surface(
    area_m2: float,
    air_c: float,
    humidity: float,
    wind_m_s: float,
    sky_c: float,
    water_c: float,
    *,
    activity: float = ACTIVITY.value,
) -> SurfaceLoss:
    """Losses [W, kg/s] of an uncovered surface of area_m2 [m2] and water_c [degC].

    air_c [degC], humidity [0 to 1] and wind_m_s [m/s] of the air over the water, sky_c: temperature of a
    black sky [degC]; activity: how much more evaporates than at rest, as a factor.
    Evaporation: w = A (pw - pa)(0.089 + 0.0782 V) / Y in kPa and kJ/kg, times an activity factor (ASHRAE
    HVAC Applications, natatoriums; SI coefficients from memory, its US-unit form seen second-hand agrees
    within 1 %). Negative where vapour condenses on cold water. Convection has the same speed law by Bowen's
    ratio. The surface sees nothing but sky: walls, trees and a roof are warmer, so radiation is an upper
    bound.
    """
    return surface_and_slope(area_m2, air_c, humidity, wind_m_s, sky_c, water_c, activity)[0]


def surface_and_slope(
    area_m2: float,
    air_c: float,
    humidity: float,
    wind_m_s: float,
    sky_c: float,
    water_c: float,
    activity: float,
    emissivity: float = EMISSIVITY.value,
) -> tuple[SurfaceLoss, float, float]:
    """The losses of open_surface, and exact slopes over water_c: their sum [W/K], what evaporates [kg/(s K)].

    area_m2, air_c, humidity, wind_m_s, sky_c, water_c and activity as there; emissivity: of the water [0 to
    1].
    """
    wet_w_pa = area_m2 * activity * (_STILL_W_M2_PA + _WIND_W_M2_PA * wind_m_s)
    at_water, at_water_k = saturation(water_c)
    drive = at_water - humidity * saturation(air_c)[0]
    latent, latent_k = latent_heat(water_c)
    black_w_k4 = area_m2 * emissivity * _STEFAN_W_M2_K4
    water_k = water_c + ZERO_C_K
    evaporated = wet_w_pa * drive / latent
    loss = SurfaceLoss(
        wet_w_pa * drive,
        wet_w_pa * BOWEN_PA_K * (water_c - air_c),
        black_w_k4 * (water_k**4 - (sky_c + ZERO_C_K) ** 4),
        evaporated,
    )
    loss_k = wet_w_pa * (at_water_k + BOWEN_PA_K) + 4.0 * black_w_k4 * water_k**3
    return loss, loss_k, (wet_w_pa * at_water_k - evaporated * latent_k) / latent
