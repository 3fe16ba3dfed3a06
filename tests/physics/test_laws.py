"""Laws of heat: their slopes, their linearisation error, make-up water, and their cost."""

import timeit

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cyclesim.physics.blowing import blown_air
from cyclesim.physics.evaporation import open_surface
from cyclesim.physics.laws import (
    Law,
    air_law,
    bather_law,
    constant_law,
    heat_pump_law,
    surface_law,
)
from cyclesim.physics.sources import HeatPumpRating, RatedPoint

PUMP = HeatPumpRating.from_points(
    [RatedPoint(27.0, 27.0, 8000.0, 6.0), RatedPoint(7.0, 35.0, 4600.0, 3.3)], lowest_air_c=-15.0
)


@st.composite
def laws(draw: st.DrawFn) -> tuple[Law, float]:
    """Any law and a tub warm enough beside its air for its loss to be worth a per cent."""
    water_c = draw(st.floats(25.0, 42.0))
    air = [draw(st.floats(-20.0, water_c - 5.0))]
    wet, makeup = [draw(st.floats(0.1, 0.9))], draw(st.floats(2.0, 20.0))
    wind, sky = [draw(st.floats(0.0, 10.0))], [air[0] - draw(st.floats(0.0, 25.0))]
    each = draw(st.floats(60.0, 150.0))
    which = draw(
        st.sampled_from(
            [
                surface_law(draw(st.floats(1.0, 30.0)), air, wet, wind, sky, makeup_c=makeup),
                air_law(draw(st.floats(0.005, 0.05)), air, wet, makeup_c=makeup),
                heat_pump_law(PUMP, air, wet),
                constant_law(3000.0, 3500.0),
                constant_law([800.0]),
                bather_law(draw(st.integers(1, 8)), each, 1.0, makeup_c=makeup),
            ]
        )
    )
    return which, water_c


@settings(deadline=None, max_examples=300)
@given(case=laws(), off_k=st.floats(-1.0, 1.0))
def test_linear_within_a_per_cent(case: tuple[Law, float], off_k: float) -> None:
    """A kelvin away the linearised heat is within 1 % of the law's own heat there."""
    law, water_c = case
    here, there = law(0, water_c), law(0, water_c + off_k)
    assert there.heat_w == pytest.approx(here.heat_w + here.slope_w_k * off_k, rel=0.01)


@settings(deadline=None)
@given(case=laws(), off_k=st.floats(-1.0, 1.0))
def test_power_drawn_is_linear_within_two_per_cent(case: tuple[Law, float], off_k: float) -> None:
    """The electricity of a heat pump, too, follows its slope, across the kinks of its rated points."""
    law, water_c = case
    here, there = law(0, water_c), law(0, water_c + off_k)
    assert there.input_w == pytest.approx(here.input_w + here.input_slope_w_k * off_k, rel=0.02)


@settings(deadline=None)
@given(
    water_c=st.floats(5.0, 45.0),
    air=st.floats(-20.0, 40.0),
    wet=st.floats(0.0, 1.0),
    wind=st.floats(0.0, 15.0),
    makeup=st.floats(2.0, 20.0),
)
def test_warmer_water_never_gets_more_heat(
    water_c: float, air: float, wet: float, wind: float, makeup: float
) -> None:
    """No law's slope is above zero, in muggy air either, so that no tub runs away."""
    for law in (
        surface_law(3.0, [air], [wet], [wind], [air - 5.0], makeup_c=makeup),
        air_law(0.02, [air], [wet], makeup_c=makeup),
        heat_pump_law(PUMP, [air], [wet]),
        constant_law(5.0),
        bather_law(3, makeup_c=makeup),
    ):
        assert law(0, water_c).slope_w_k <= 0.0


@pytest.mark.parametrize(("water_c", "air"), [(38.0, 5.0), (38.0, 30.0), (15.0, 30.0), (5.0, 10.0)])
def test_exact_slopes_are_those_of_the_heat(water_c: float, air: float) -> None:
    """Surface and air, make-up and condensation included, have the slope of their own central difference."""
    for law in (
        surface_law(3.0, [air], [0.8], [2.0], [air - 9.0], makeup_c=8.0),
        air_law(0.02, [air], [0.8], makeup_c=8.0),
    ):
        difference = (law(0, water_c + 0.01).heat_w - law(0, water_c - 0.01).heat_w) / 0.02
        assert difference == pytest.approx(law(0, water_c).slope_w_k, rel=1e-4)


def test_surface_law_adds_the_make_up() -> None:
    """The heat is the hour's three losses and 4.186 kJ/(kg K) for what evaporates."""
    law = surface_law(3.0, [9.0, 5.0], [0.6, 0.8], [9.0, 2.0], [1.0, -6.0], makeup_c=10.0, wind_share=0.5)
    loss = open_surface(3.0, 5.0, 0.8, 1.0, -6.0, 38.0)
    expected = loss.evaporation_w + loss.convection_w + loss.radiation_w
    expected += loss.evaporated_kg_s * 4186 * 28
    exchange = law(1, 38.0)
    assert -expected == pytest.approx(exchange.heat_w)
    assert loss.evaporated_kg_s == exchange.evaporated_kg_s
    assert (0.0, 0.0) == (exchange.input_w, exchange.input_slope_w_k)


def test_a_tub_with_its_cover_off() -> None:
    """Three square metres at 38 degC in still air at 5 degC, 80 %, evaporate 3 x 0.7886 kg/h.

    0.7886 from psychrolib 2.5.0 and CoolProp 8.0.0 by the natatorium formula.
    """
    exchange = surface_law(3.0, [5.0], [0.8], [0.0], [-5.0], makeup_c=10.0)(0, 38.0)
    assert 3 * 0.7886 == pytest.approx(exchange.evaporated_kg_s * 3600, abs=2e-4)


def test_air_law_takes_what_the_air_takes() -> None:
    """The heat is the blown air's and its make-up's, less what the blower puts in; none drawn here."""
    take = blown_air(0.02, 5.0, 0.8, 38.0)
    exchange = air_law(0.02, [5.0], [0.8], makeup_c=10.0, air_heat_w=200.0)(0, 38.0)
    assert 200.0 - take.heat_w - take.evaporated_kg_s * 4186 * 28 == pytest.approx(exchange.heat_w)
    assert 0.0 == exchange.input_w


def test_condensed_water_needs_no_make_up() -> None:
    """Cold water in muggy air gains heat without any charge or credit for make-up water."""
    cold, warm = (surface_law(1.0, [30.0], [0.9], [1.0], [25.0], makeup_c=t)(0, 12.0) for t in (2.0, 30.0))
    assert cold.heat_w > 0 > cold.evaporated_kg_s
    assert cold == warm


def test_heat_pump_law_is_the_pump() -> None:
    """Heat and electricity are the pump's at the hour's air, taken over 0.05 K; their quotient is the COP."""
    exchange = heat_pump_law(PUMP, [0.0, 12.0], [0.9, 0.7])(1, 36.0)
    assert pytest.approx(PUMP.at(12.0, 0.7, 36.0), rel=1e-6) == (exchange.heat_w, exchange.input_w)
    assert PUMP.cop(12.0, 36.0) == pytest.approx(exchange.heat_w / exchange.input_w)
    assert exchange.input_slope_w_k > 0


def test_constant_law_by_the_hour() -> None:
    """A source with a profile gives each hour's heat, whatever the water."""
    law = constant_law([0.0, 700.0])
    assert (0.0, 700.0) == (law(0, 20.0).heat_w, law(1, 40.0).heat_w)
    assert (3000.0, 3000.0) == constant_law(3000.0, 3000.0)(5, 38.0)[:3:2]


def test_bathers_warm_and_carry_water_out() -> None:
    """Four people at 100 W each who carry out 6 L/h each: 400 W less 24 kg/h warmed by 28 K, 781 W."""
    exchange = bather_law(4, 100.0, 6.0, makeup_c=10.0)(0, 38.0)
    assert 400.0 - 781.4 == pytest.approx(exchange.heat_w, abs=0.1)
    assert 24.0 / 3600 == pytest.approx(exchange.evaporated_kg_s)


def test_a_surface_costs_microseconds() -> None:
    """An evaluation of the surface takes less than 15 microseconds at its quickest."""
    law = surface_law(3.0, [5.0], [0.8], [2.0], [-5.0], makeup_c=10.0)
    assert min(timeit.repeat(lambda: law(0, 38.0), number=200, repeat=20)) / 200 < 15e-6
