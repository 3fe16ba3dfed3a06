"""Blown air against psychrolib, a textbook's duct and curves that meet at known points."""

import psychrolib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cyclesim.physics.blowing import HEAD_PA_M, AirLine, Injectors, air_viscosity_pa_s, blower_duty, blown_air
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


@pytest.mark.parametrize(
    ("flow_l_min", "bore_mm", "length_m"), [(600, 57.0, 8.0), (900, 45.2, 12.0), (300, 30, 20)]
)
def test_the_line_beside_isothermal_flow(flow_l_min: float, bore_mm: float, length_m: float) -> None:
    """The line's own drop beside `fluids`: isothermal gas flow with Colebrook's factor, within 3 %.

    Isothermal flow knows that air thins out along the pipe; the line takes the density behind the blower's
    water for all of it, which is the end where the pipe's pressure is least.
    """
    from fluids import friction_factor, isothermal_gas

    line = AirLine(depth_m=0.6, bore_m=bore_mm / 1000.0, length_m=length_m)
    flow_m3_s, out_pa = flow_l_min / 60_000.0, SEA_LEVEL_PA + line.pressure_pa(0.0)
    kg_s = flow_m3_s * SEA_LEVEL_PA / (287.055 * 293.15)
    area, in_pa = 3.141592653589793 / 4.0 * line.bore_m**2, SEA_LEVEL_PA + line.pressure_pa(flow_m3_s)
    density = 0.5 * (in_pa + out_pa) / (287.055 * 313.15)
    reynolds = kg_s / area * line.bore_m / 1.918e-5  # viscosity of air at 40 degC, as above
    factor = friction_factor(Re=reynolds, eD=1.5e-6 / line.bore_m)
    passes = isothermal_gas(rho=density, fd=factor, P1=in_pa, P2=out_pa, L=length_m, D=line.bore_m)
    assert kg_s == pytest.approx(passes, rel=0.015)  # half of 3 %: flow goes with the root of the drop


def test_injectors_by_hand() -> None:
    """12 holes of 40 L/min at 2 kPa pass 12 x 40 L/min of free air at 2 kPa x 1.2041/1.2030.

    Free air at 20 degC has 1.2041 kg/m3 (handbooks), air of 40 degC and 101325 + 6816 Pa, 0.7 m deep, has
    108141/(287.055 x 313.15) = 1.2030; half of the flow asks for a quarter.
    """
    bare = AirLine(depth_m=0.7, bore_m=0.05, length_m=10.0)
    holes = AirLine(depth_m=0.7, bore_m=0.05, length_m=10.0, injectors=Injectors(12, 40.0 / 60_000, 2000.0))
    for share in (1.0, 0.5):
        flow = share * 12 * 40.0 / 60_000
        own_pa = holes.pressure_pa(flow) - bare.pressure_pa(flow)
        assert share**2 * 2000.0 * 1.2041 / 1.2030 == pytest.approx(own_pa, rel=1e-3)
    assert holes.pressure_pa(0.0) == bare.pressure_pa(0.0)


def test_injectors_are_orifices() -> None:
    """A hole of 4 mm with a coefficient of 0.62 at two pressures: mass flow by 0.62 A sqrt(2 rho dp).

    The sheet's point is worked out in free air at 2 kPa; the same hole then asks for 3 kPa at sqrt(1.5) of
    its flow in air as dense, within 1 % of the incompressible law, from memory.
    """
    area, free = 3.141592653589793 / 4.0 * 0.004**2, 1.2041
    each = 0.62 * area * (2.0 * 2000.0 / free) ** 0.5
    more = 0.62 * area * (2.0 * 3000.0 / free) ** 0.5
    assert pytest.approx(3000.0, rel=0.01) == Injectors(1, each, 2000.0).pressure_pa(more, free)
