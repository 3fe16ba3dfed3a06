"""Blown air against psychrolib, a textbook's duct and curves that meet at known points."""

import psychrolib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cyclesim.physics.blowing import HEAD_PA_M, AirLine, air_viscosity_pa_s, blower_duty, blown_air
from cyclesim.physics.curves import PumpCurve

psychrolib.SetUnitSystem(psychrolib.SI)
SEA_LEVEL_PA = 101325.0
airs = st.floats(-20.0, 35.0)
wets = st.floats(0.1, 1.0)


@settings(deadline=None)
@given(air_c=airs, humidity=wets, water_c=st.floats(5.0, 45.0))
def test_heat_taken_is_the_rise_of_enthalpy(air_c: float, humidity: float, water_c: float) -> None:
    """The water loses the rise of psychrolib's enthalpies less that of the liquid gone with the vapour."""
    wet_in = psychrolib.GetHumRatioFromRelHum(air_c, humidity, SEA_LEVEL_PA)
    wet_out = psychrolib.GetSatHumRatio(water_c, SEA_LEVEL_PA)
    dry_kg_s = 0.02 / psychrolib.GetMoistAirVolume(air_c, wet_in, SEA_LEVEL_PA)
    rise = psychrolib.GetMoistAirEnthalpy(water_c, wet_out) - psychrolib.GetMoistAirEnthalpy(air_c, wet_in)
    take = blown_air(0.02, air_c, humidity, water_c)
    assert dry_kg_s * (wet_out - wet_in) == pytest.approx(take.evaporated_kg_s, rel=1e-4, abs=1e-9)
    liquid = (wet_out - wet_in) * 4186 * water_c
    assert dry_kg_s * (rise - liquid) == pytest.approx(take.heat_w, rel=1e-4, abs=0.05)


def test_heat_taken_by_steam_tables() -> None:
    """20 L/s of dry air at 10 degC cost a tub at 38 degC what warming and wetting it takes, within 1 %.

    Hand balance: 0.02 m3/s of ideal air at 283.15 K; cp 1006; wetted to 0.62198 x 6632.84/(101325 - 6632.84)
    kg/kg at the heat of evaporation 2410.76 kJ/kg (CoolProp 8.0.0, IAPWS-95).
    """
    dry_kg_s = 0.02 * SEA_LEVEL_PA / (287.055 * 283.15)
    wetted = 0.62198 * 6632.84 / (SEA_LEVEL_PA - 6632.84)
    assert dry_kg_s * (1006 * 28 + wetted * 2410.76e3) == pytest.approx(
        blown_air(0.02, 10.0, 0.0, 38.0).heat_w, rel=0.01
    )


def test_what_the_blower_puts_into_the_air_reaches_the_water() -> None:
    """300 W of compression in the air lessen the water's loss by 300 W."""
    assert blown_air(0.02, 10.0, 0.5, 38.0).heat_w - 300.0 == pytest.approx(
        blown_air(0.02, 10.0, 0.5, 38.0, 300.0).heat_w
    )


@given(air_c=airs, humidity=wets, water_c=st.floats(5.0, 45.0))
def test_slopes_are_those_of_the_values(air_c: float, humidity: float, water_c: float) -> None:
    """The stated slopes are the central differences of heat and water."""
    less, more = (blown_air(0.02, air_c, humidity, water_c + step) for step in (-0.01, 0.01))
    take = blown_air(0.02, air_c, humidity, water_c)
    assert (more.heat_w - less.heat_w) / 0.02 == pytest.approx(take.heat_slope_w_k, rel=1e-4)
    difference = (more.evaporated_kg_s - less.evaporated_kg_s) / 0.02
    assert difference == pytest.approx(take.evaporated_slope_kg_s_k, rel=1e-4)


@pytest.mark.parametrize(
    ("air_c", "viscosity"),  # air tables of textbooks (1.729, 1.825, 1.918e-5), from memory, not opened
    [(0.0, 1.729e-5), (20.0, 1.825e-5), (40.0, 1.918e-5)],
)
def test_viscosity_of_air(air_c: float, viscosity: float) -> None:
    """Sutherland's law is within 1 % of the tables at the warmth of air lines."""
    assert viscosity == pytest.approx(air_viscosity_pa_s(air_c), rel=0.01)


def test_textbook_duct() -> None:
    """0.35 m3/s of air at 35 degC through 150 m of 0.267 m plastic duct lose 20 m of air, 225 Pa, within 2 %.

    A university fluid-mechanics textbook's example (f 0.0180, 6.24 m/s, rho 1.145), from memory, not opened.
    """
    at_20_c = 0.35 * 293.15 / 308.15  # the same mass as the example's 0.35 m3/s at 35 degC
    line = AirLine(depth_m=0.0, bore_m=0.267, length_m=150.0, air_c=35.0)
    assert 1.145 * 9.81 * 20.0 == pytest.approx(line.pressure_pa(at_20_c), rel=0.02)


def test_water_over_the_holes() -> None:
    """Without flow the line asks for the water's weight: 0.7 m at 38 degC is 6816 Pa (992.966 kg/m3)."""
    line = AirLine(depth_m=0.7, bore_m=0.04, length_m=10.0)
    assert 992.966 * 9.80665 * 0.7 == pytest.approx(line.pressure_pa(0.0), rel=1e-4)


def test_fittings_and_loop() -> None:
    """A K of 4 adds four dynamic heads; a loop costs twice its height in pipe and nothing for its height."""
    bare = AirLine(depth_m=0.0, bore_m=0.04, length_m=10.0, air_c=20.0)
    fitted = AirLine(depth_m=0.0, bore_m=0.04, length_m=10.0, fittings_k=4.0, air_c=20.0)
    dynamic_pa = 1.204 / 2.0 * (0.01 / 1.2566e-3) ** 2  # 1.204 kg/m3: air at 20 degC, handbooks
    assert 4.0 * dynamic_pa == pytest.approx(fitted.pressure_pa(0.01) - bare.pressure_pa(0.01), rel=1e-3)
    looped = AirLine(depth_m=0.0, bore_m=0.04, length_m=7.0, loop_m=1.5, air_c=20.0)
    assert bare.pressure_pa(0.01) == pytest.approx(looped.pressure_pa(0.01))


def test_blower_meets_a_wide_line() -> None:
    """Where friction is nothing, H = 2 (1 - (Q/0.04)2) m meets a static head of 1 m at Q = 0.04/sqrt 2."""
    wide = AirLine(depth_m=9806.65 / (992.966 * 9.80665), bore_m=1.0, length_m=0.1)
    duty = blower_duty(PumpCurve.quadratic(2.0, 0.04), wide)
    assert duty.why_not is None
    assert 0.04 / 2**0.5 == pytest.approx(duty.flow_m3_s, rel=1e-3)
    assert HEAD_PA_M == pytest.approx(duty.pressure_pa, rel=1e-3)


@settings(deadline=None, max_examples=30)
@given(depth=st.floats(0.1, 1.2), bore=st.floats(0.025, 0.08), length=st.floats(1.0, 30.0))
def test_duty_lies_on_both_curves(depth: float, bore: float, length: float) -> None:
    """Blower and line agree about the pressure at the duty; a deeper outlet never gets more air."""
    curve = PumpCurve.from_points([(0.0, 1.9), (0.02, 1.4), (0.045, 0.0)])
    line = AirLine(depth, bore, length, fittings_k=6.0)
    duty = blower_duty(curve, line)
    assert duty.why_not is None
    assert line.pressure_pa(duty.flow_m3_s) == pytest.approx(duty.pressure_pa, rel=1e-4)
    assert blower_duty(curve, AirLine(depth + 0.1, bore, length, fittings_k=6.0)).flow_m3_s <= duty.flow_m3_s


def test_blower_too_weak_for_the_depth() -> None:
    """A blower of 0.8 m cannot blow 1 m deep: no flow, and it says why."""
    duty = blower_duty(PumpCurve.quadratic(0.8, 0.03), AirLine(depth_m=1.0, bore_m=0.05, length_m=5.0))
    assert duty.flow_m3_s == 0.0
    assert duty.why_not is not None
    assert "asks for 9.7 kPa" in duty.why_not
    assert "gives 7.8 kPa" in duty.why_not


def test_meeting_beyond_the_curve_is_not_guessed() -> None:
    """A curve that ends above the line's need gives its last flow and says so."""
    curve = PumpCurve.from_points([(0.0, 2.0), (0.01, 1.8)])
    duty = blower_duty(curve, AirLine(depth_m=0.3, bore_m=0.2, length_m=1.0))
    assert duty.flow_m3_s == 0.01
    assert duty.why_not is not None
    assert "ends" in duty.why_not
