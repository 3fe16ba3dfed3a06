"""Open water against psychrolib, IAPWS, worked tub values and an independent evaporation formula."""

import math

import psychrolib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cyclesim.physics.evaporation import dew_point_c, latent_heat, open_surface, saturation, sky_c

psychrolib.SetUnitSystem(psychrolib.SI)
SEA_LEVEL_PA = 101325.0


@pytest.mark.parametrize("temp_c", [*range(-40, 61, 5), -0.5, 0.005, 0.5])
def test_saturation_pressure_is_that_of_the_handbook(temp_c: float) -> None:
    """Pressure over ice and water equals psychrolib's reading of ASHRAE Fundamentals 2017 ch. 1."""
    assert psychrolib.GetSatVapPres(temp_c) == pytest.approx(saturation(temp_c)[0], rel=1e-9)


@pytest.mark.parametrize(
    ("temp_c", "pressure_pa"),  # CoolProp 8.0.0 (IAPWS-95)
    [(5, 872.58), (10, 1228.20), (20, 2339.32), (38, 6632.84), (40, 7384.94)],
)
def test_saturation_pressure_of_the_scientific_formulation(temp_c: float, pressure_pa: float) -> None:
    """Over water the pressure is within 0.05 % of IAPWS-95."""
    assert pressure_pa == pytest.approx(saturation(temp_c)[0], rel=5e-4)


@pytest.mark.parametrize("temp_c", [-40, -20, -10, -1])
def test_saturation_pressure_over_ice(temp_c: float) -> None:
    """Below zero the pressure is the sublimation pressure of IAPWS R14-08, not that of undercooled water."""
    from iapws._iapws import _Sublimation_Pressure

    assert _Sublimation_Pressure(temp_c + 273.15) * 1e6 == pytest.approx(saturation(temp_c)[0], rel=1e-3)


@pytest.mark.parametrize("temp_c", [0.1, 5, 10, 20, 28, 38, 40, 50, 60])
def test_heat_of_evaporation(temp_c: float) -> None:
    """The heat of evaporation follows IAPWS-IF97 within 0.002 %."""
    from iapws import IAPWS97

    vapour, liquid = (IAPWS97(T=temp_c + 273.15, x=x).h for x in (1, 0))
    assert (vapour - liquid) * 1000 == pytest.approx(latent_heat(temp_c)[0], rel=2e-5)


@pytest.mark.parametrize("curve", [saturation, latent_heat])
@pytest.mark.parametrize("temp_c", [-30.0, -5.0, 4.0, 20.0, 38.0, 55.0])
def test_slopes_are_those_of_the_values(curve, temp_c: float) -> None:  # type: ignore[no-untyped-def]
    """The stated slope is the central difference of the values around it."""
    difference = (curve(temp_c + 0.01)[0] - curve(temp_c - 0.01)[0]) / 0.02
    assert difference == pytest.approx(curve(temp_c)[1], rel=1e-5)


@settings(deadline=None)
@given(air_c=st.floats(-35.0, 45.0), humidity=st.floats(0.05, 1.0))
def test_dew_point(air_c: float, humidity: float) -> None:
    """The dew point of any air is psychrolib's."""
    vapour_pa = humidity * psychrolib.GetSatVapPres(air_c)
    expected = psychrolib.GetTDewPointFromRelHum(air_c, humidity)
    assert expected == pytest.approx(dew_point_c(vapour_pa), abs=2e-3)


@pytest.mark.parametrize(
    ("water_c", "air_c", "humidity", "wind", "kg_h", "watts", "kg_h_half"),
    [  # computed with psychrolib 2.5.0 pressures and CoolProp 8.0.0 latent heat from the ASHRAE formula
        (38, 20, 0.5, 0.0, 0.7259, 486.1, 0.3630),
        (38, 20, 0.5, 0.1, 0.7897, 528.8, 0.3949),
        (38, 5, 0.8, 0.0, 0.7886, 528.1, 0.3943),
        (38, 5, 0.8, 1.0, 1.4815, 992.1, 0.7408),
        (28, 28, 0.5, 0.0, 0.2489, 168.3, 0.1244),
        (10, 5, 0.8, 0.0, 0.0686, 47.2, 0.0343),
    ],
)
def test_worked_tub_values(
    water_c: float, air_c: float, humidity: float, wind: float, kg_h: float, watts: float, kg_h_half: float
) -> None:
    """A square metre evaporates what the natatorium formula says, to every printed digit."""
    full = open_surface(1.0, air_c, humidity, wind, air_c, water_c)
    half = open_surface(1.0, air_c, humidity, wind, air_c, water_c, activity=0.5)
    assert kg_h == pytest.approx(full.evaporated_kg_s * 3600, abs=6e-5)
    assert watts == pytest.approx(full.evaporation_w, abs=0.06)
    assert kg_h_half == pytest.approx(half.evaporated_kg_s * 3600, abs=8e-5)  # printed from rounded halves


def test_the_older_us_unit_form() -> None:
    """W = (95 + 0.425 v)(pw - pa)/Y in lb/h, ft2, ft/min, inHg and Btu/lb gives the same within 1 %.

    Source: ASHRAE Transactions 104 (1998) pt 1A, paper 4146, abstract seen.
    """
    in_hg = (psychrolib.GetSatVapPres(38) - 0.8 * psychrolib.GetSatVapPres(5)) / 3386.389
    btu_lb = 2410.76 / 2.326
    lb_h_ft2 = (95 + 0.425 * 1.0 / 0.00508) * in_hg / btu_lb
    kg_h_m2 = lb_h_ft2 * 0.45359237 / 0.3048**2
    assert kg_h_m2 == pytest.approx(open_surface(1.0, 5, 0.8, 1.0, 0, 38).evaporated_kg_s * 3600, rel=0.01)


def still_air_kg_h(water_c: float, air_c: float, humidity: float) -> float:
    """A square metre of quiet water in still air by buoyancy: ASHRAE Transactions 120 (2014), SE-14-001.

    E0 = 35 rho_w (rho_r - rho_w)^(1/3) (W_w - W_r), dry-air densities; from memory, not opened.
    """
    wet = psychrolib.GetSatHumRatio(water_c, SEA_LEVEL_PA)
    room = psychrolib.GetHumRatioFromRelHum(air_c, humidity, SEA_LEVEL_PA)
    rho_wet = 1 / psychrolib.GetMoistAirVolume(water_c, wet, SEA_LEVEL_PA)
    rho_room = 1 / psychrolib.GetMoistAirVolume(air_c, room, SEA_LEVEL_PA)
    return 35 * rho_wet * (rho_room - rho_wet) ** (1 / 3) * (wet - room)


def test_the_independent_formula_is_the_published_one() -> None:
    """The yardstick reproduces rows of its look-up tables (50 % humidity), seen second-hand, within 0.5 %."""
    rows = {(28, 28): 0.1360, (28, 30): 0.0968, (30, 28): 0.1959, (30, 30): 0.1575}
    for (water_c, air_c), published in rows.items():
        assert published == pytest.approx(still_air_kg_h(water_c, air_c, 0.5), rel=5e-3)


@pytest.mark.parametrize(("air_c", "humidity"), [(20, 0.5), (10, 0.7), (5, 0.8), (0, 0.8)])
def test_hot_tub_against_the_independent_formula(air_c: float, humidity: float) -> None:
    """Still hot water evaporates as the buoyancy formula says within 12 %; half of it would be far off."""
    independent = still_air_kg_h(38, air_c, humidity)
    full = open_surface(1.0, air_c, humidity, 0.0, 0.0, 38).evaporated_kg_s * 3600
    assert independent == pytest.approx(full, abs=0.12 * independent)
    half = open_surface(1.0, air_c, humidity, 0.0, 0.0, 38, activity=0.5).evaporated_kg_s * 3600
    assert independent > 1.8 * half


@pytest.mark.parametrize(("water_c", "air_c"), [(28, 28), (28, 29), (30, 28), (30, 30)])
def test_mild_pool_against_the_independent_formula(water_c: float, air_c: float) -> None:
    """A mild pool with a pool's activity factor 0.5 agrees with the buoyancy formula within 35 %."""
    half = open_surface(1.0, air_c, 0.5, 0.0, 0.0, water_c, activity=0.5).evaporated_kg_s * 3600
    assert still_air_kg_h(water_c, air_c, 0.5) == pytest.approx(half, rel=0.35)


def test_convection_is_to_evaporation_as_heat_to_mass() -> None:
    """The ratio of the two coefficients is cp P / (0.622 Y) Le^(2/3) within 3 %.

    Chilton and Colburn's analogy; Lewis number of water vapour in air 0.87, from memory, not opened.
    """
    loss = open_surface(2.0, 10.0, 0.6, 0.7, 0.0, 38.0)
    drive_pa = psychrolib.GetSatVapPres(38) - 0.6 * psychrolib.GetSatVapPres(10)
    ratio = (loss.convection_w / 28.0) / (loss.evaporation_w / drive_pa)
    assert 1006 * SEA_LEVEL_PA / (0.622 * 2.41076e6) * 0.87 ** (2 / 3) == pytest.approx(ratio, rel=0.03)


@pytest.mark.parametrize("wind", [0.0, 1.0, 3.0])
def test_convection_against_the_plate_formula(wind: float) -> None:
    """The film coefficient is 5.7 + 3.8 V W/(m2 K) (McAdams, from memory, not opened) within 25 %."""
    film = open_surface(1.0, 10.0, 0.6, wind, 0.0, 38.0).convection_w / 28.0
    assert 5.7 + 3.8 * wind == pytest.approx(film, rel=0.25)


def test_radiation_to_a_black_sky() -> None:
    """Water at 311.15 K under a sky at 273.15 K loses 0.95 sigma (T4 - T4) = 205.0 W/m2."""
    expected = 0.95 * 5.670374e-8 * (311.15**4 - 273.15**4)
    assert 205.0 == pytest.approx(expected, abs=0.05)
    assert 3 * expected == pytest.approx(open_surface(3.0, 20.0, 0.5, 0.0, 0.0, 38.0).radiation_w, rel=1e-6)


def test_cold_water_in_muggy_air_gains() -> None:
    """Water colder than the air's dew point is warmed, and vapour condenses on it."""
    loss = open_surface(1.0, 30.0, 0.8, 0.5, 25.0, 12.0)
    assert max(loss) < 0


@settings(deadline=None)
@given(air_c=st.floats(-10.0, 35.0), humidity=st.floats(0.3, 1.0))
def test_clear_sky_lies_among_the_published_forms(air_c: float, humidity: float) -> None:
    """The clear sky is within 10 K of Clark and Allen's, which most building simulators use.

    0.787 + 0.764 ln(Td / 273): seen in the source of an open building library.
    """
    dew_k = psychrolib.GetTDewPointFromRelHum(air_c, humidity) + 273.15
    other_c = (0.787 + 0.764 * math.log(dew_k / 273.0)) ** 0.25 * (air_c + 273.15) - 273.15
    assert other_c == pytest.approx(sky_c(air_c, humidity, 0.0), abs=10.0)


@pytest.mark.parametrize("air_c", [0.0, 10.0, 20.0])
def test_clear_sky_against_a_form_without_humidity(air_c: float) -> None:
    """At middling humidity it is within 4 K of 0.0552 T^1.5 (Swinbank 1963, from memory, not opened)."""
    assert 0.0552 * (air_c + 273.15) ** 1.5 - 273.15 == pytest.approx(sky_c(air_c, 0.65, 0.0), abs=4.0)


@pytest.mark.parametrize(("air_c", "humidity"), [(-10.0, 0.8), (10.0, 0.7), (25.0, 0.5)])
def test_overcast_sky_against_another_cloud_factor(air_c: float, humidity: float) -> None:
    """Under full cloud it is within 5 K of Clark and Allen with Walton's factor 1.154 (same source)."""
    dew_k = psychrolib.GetTDewPointFromRelHum(air_c, humidity) + 273.15
    black = (0.787 + 0.764 * math.log(dew_k / 273.0)) * (1 + 0.224 - 0.35 + 0.28)
    assert black**0.25 * (air_c + 273.15) - 273.15 == pytest.approx(sky_c(air_c, humidity, 1.0), abs=5.0)


@given(air_c=st.floats(-40.0, 50.0), humidity=st.floats(0.0, 1.0), cloud=st.floats(0.0, 0.9))
def test_cloud_and_damp_warm_the_sky(air_c: float, humidity: float, cloud: float) -> None:
    """More cloud or damper air never makes the sky colder, and it is never warmer than the air."""
    here = sky_c(air_c, humidity, cloud)
    assert here - 1e-9 <= sky_c(air_c, humidity, cloud + 0.1) <= air_c + 1e-9
    assert here - 1e-9 <= sky_c(air_c, min(humidity + 0.1, 1.0), cloud)
