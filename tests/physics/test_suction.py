"""What a pump can draw, against printed examples, a standard atmosphere and the steam tables."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cyclesim.physics.friction import darcy_factor
from cyclesim.physics.suction import air_pressure_pa, npsh_available_m
from cyclesim.physics.water import density_kg_m3, viscosity_pa_s

FOOT_M, PSI_PA, G = 0.3048, 6894.757, 9.80665


def celsius(fahrenheit: float) -> float:
    """Degrees Celsius."""
    return (fahrenheit - 32.0) / 1.8


@pytest.mark.parametrize(
    ("above_ft", "lost_ft", "air_psi", "printed_ft", "off_ft"),
    [
        # A water-treatment handbook's examples 10.10 and 10.11, seen second-hand on a page that prints them:
        # water of 60 degF, air of 14.7 psi taken as 34 ft, vapour 0.256 psi taken as 0.6 ft, losses of 0.4
        # and 2 ft, level 15 ft above the pump: 46 ft; 20 ft below it: 11 ft. They round to whole feet.
        (-15.0, 2.4, 14.7, 46.0, 0.3),
        (20.0, 2.4, 14.7, 11.0, 0.3),
        # TP-410, flow-of-fluids handbook, example 7.32: water of 60 degF, 5 psi over sea-level air on it,
        # level 25 ft below the pump, 6 ft lost. Inputs seen second-hand in the fluids library's notebook,
        # which works it out as 13.887 ft (its printed answer was not seen).
        (25.0, 6.0, 14.6959 + 5.0, 13.887, 0.05),
    ],
)
def test_npsh_of_printed_examples(
    above_ft: float, lost_ft: float, air_psi: float, printed_ft: float, off_ft: float
) -> None:
    """Air and vapour pressure are ours; the digits of the examples are as rough as said."""
    got_m = npsh_available_m(-lost_ft * FOOT_M, above_ft * FOOT_M, celsius(60.0), air_psi * PSI_PA)
    assert pytest.approx(printed_ft, abs=off_ft) == got_m / FOOT_M


def test_a_textbook_pump_begins_to_cavitate_where_its_text_says() -> None:
    """Example 14-3 of a university textbook on fluid mechanics, seen second-hand in a companion code.

    Water of 25 degC, 1.219 m above the pump, 10.5 ft of 4 in pipe of 0.02 in roughness,
    K 0.5 + 3 x 0.3 + 6.0. The pump needs 6.13 ft at 600 gpm and 7.0 ft at 680: "above approximately
    600 gpm" it cavitates.
    """
    bore_m, area_m2 = 4 * 0.0254, math.pi / 4 * (4 * 0.0254) ** 2

    def spare_ft(gpm: float) -> float:
        speed_m_s = gpm * 6.309e-5 / area_m2
        reynolds = speed_m_s * bore_m * density_kg_m3(25.0) / viscosity_pa_s(25.0)
        k = darcy_factor(reynolds, 0.02 / 4) * 10.5 * FOOT_M / bore_m + 0.5 + 3 * 0.3 + 6.0
        got_m = npsh_available_m(-k * speed_m_s**2 / (2 * G), -1.219, 25.0)
        return got_m / FOOT_M - (6.13 + (7.0 - 6.13) * (gpm - 600.0) / 80.0)

    assert spare_ft(585.0) > 0.0 > spare_ft(615.0)


@pytest.mark.parametrize("water_c", [5.0, 20.0, 38.0, 40.0, 60.0])
def test_the_most_that_can_be_lifted_follows_the_steam_tables(water_c: float) -> None:
    """A pump that needs nothing, on a pipe that costs nothing, lifts until the water boils (IAPWS-IF97)."""
    from iapws import IAPWS97  # the oracle: another formulation than the one under test

    water = IAPWS97(T=water_c + 273.15, P=0.101325)
    boils_pa = IAPWS97(T=water_c + 273.15, x=0).P * 1e6
    lift_m = (101_325.0 - boils_pa) / (water.rho * G)
    assert pytest.approx(0.0, abs=0.01) == npsh_available_m(0.0, lift_m, water_c)


@pytest.mark.parametrize("altitude_m", [-400.0, 0.0, 400.0, 1500.0, 3000.0, 5000.0])
def test_air_thins_out_as_in_the_standard_atmosphere(altitude_m: float) -> None:
    """The U.S. Standard Atmosphere of 1976 as the fluids library has it (geopotential heights)."""
    from fluids.atmosphere import ATMOSPHERE_1976

    assert pytest.approx(ATMOSPHERE_1976(altitude_m).P, rel=1e-3) == air_pressure_pa(altitude_m)


@given(st.floats(0, 60), st.floats(0, 4000), st.floats(-3, 5))
def test_height_heat_and_lift_take_from_it(water_c: float, altitude_m: float, above_m: float) -> None:
    """Thinner air, warmer water and a higher pump each leave less."""
    here = npsh_available_m(-0.5, above_m, water_c, air_pressure_pa(altitude_m))
    assert here > npsh_available_m(-0.5, above_m, water_c, air_pressure_pa(altitude_m + 100.0))
    assert here > npsh_available_m(-0.5, above_m, water_c + 5.0, air_pressure_pa(altitude_m))
    assert here > npsh_available_m(-0.5, above_m + 0.1, water_c, air_pressure_pa(altitude_m))
