"""Water's properties against IAPWS-IF97 and against tabulated IAPWS-95 values."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cyclesim.physics.water import density_kg_m3, heat_capacity_j_kg_k, viscosity_pa_s


@pytest.mark.parametrize("temp_c", [0, 1, 2, 4, 7, 10, 15, 20, 25, 30, 34, 38, 40, 45, 50, 55, 60, 80, 99])
def test_properties_follow_the_industrial_formulation(temp_c: float) -> None:
    """Density, heat capacity and viscosity agree with IAPWS-IF97 and R12-08 at 101,325 Pa."""
    from iapws import IAPWS97  # the oracle: another formulation than the one under test

    water = IAPWS97(T=temp_c + 273.15, P=0.101325)
    assert water.rho == pytest.approx(density_kg_m3(temp_c), rel=5e-4)
    assert water.cp * 1000 == pytest.approx(heat_capacity_j_kg_k(temp_c), rel=1e-3)
    assert water.mu == pytest.approx(viscosity_pa_s(temp_c), rel=5e-3)


@pytest.mark.parametrize(
    ("temp_c", "density", "heat_capacity", "viscosity_upa_s"),
    [  # CoolProp 8.0.0 (IAPWS-95), 101,325 Pa
        (5, 999.967, 4205.0, 1518.17),
        (10, 999.702, 4195.2, 1305.90),
        (20, 998.207, 4184.1, 1001.60),
        (38, 992.966, 4179.3, 678.04),
        (40, 992.216, 4179.4, 652.73),
    ],
)
def test_properties_at_tub_temperatures(
    temp_c: float, density: float, heat_capacity: float, viscosity_upa_s: float
) -> None:
    """The values of the scientific formulation IAPWS-95 come out at the temperatures of tubs."""
    assert density == pytest.approx(density_kg_m3(temp_c), rel=5e-4)
    assert heat_capacity == pytest.approx(heat_capacity_j_kg_k(temp_c), rel=1e-3)
    assert viscosity_upa_s == pytest.approx(viscosity_pa_s(temp_c) * 1e6, rel=5e-3)


@settings(deadline=None)
@given(st.floats(5, 95))
def test_warmer_water_is_lighter_and_thinner(temp_c: float) -> None:
    """Above 4 degC both density and viscosity fall with temperature."""
    assert density_kg_m3(temp_c) > density_kg_m3(temp_c + 1)
    assert viscosity_pa_s(temp_c) > viscosity_pa_s(temp_c + 1)
