"""Heat sources: a heat pump against Carnot and its own data sheet, fuel, wood and sun against calculus."""

from datetime import datetime

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from cyclesim.physics.sources import HeatPumpRating, RatedPoint, SolarCollector, WoodStove

SHEET = (
    RatedPoint(27.0, 27.0, 8000.0, 6.0),
    RatedPoint(15.0, 26.0, 5900.0, 4.6),
    RatedPoint(7.0, 35.0, 4600.0, 3.3),
)


def carnot(air_c: float, water_c: float) -> float:
    """Ideal COP between air and water; without bound where the air is the warmer."""
    return (water_c + 273.15) / (water_c - air_c) if water_c > air_c else float("inf")


@st.composite
def pumps(draw: st.DrawFn) -> HeatPumpRating:
    """Any data sheet that a machine could have, contradictions included."""
    points = []
    for _ in range(draw(st.integers(1, 5))):
        air, water = draw(st.floats(-20.0, 35.0)), draw(st.floats(15.0, 60.0))
        cold, hot = air - 10.0 + 273.15, water + 5.0 + 273.15
        ideal = min(1.0 / max(1.0 - cold / hot, 1e-9), 33.0)
        cop = draw(st.floats(0.2, 0.9)) * ideal
        assume(cop >= 1.0)
        points.append(RatedPoint(air, water, draw(st.floats(1e3, 2e4)), cop))
    return HeatPumpRating.from_points(points, lowest_air_c=-25.0)


airs = st.floats(-25.0, 45.0)
waters = st.floats(1.0, 60.0)


@pytest.mark.parametrize(
    ("air_c", "water_c", "ideal"),
    [(7, 35, 11.005), (7, 40, 9.489), (2, 38, 8.643), (-7, 35, 7.337), (15, 38, 13.528)],
)
def test_one_point_stays_plausible(air_c: float, water_c: float, ideal: float) -> None:
    """A pump rated 4.5 at 7/35 stays below Carnot and from 0.3 to 0.5 of it at every point of the table.

    Carnot: exact arithmetic; 0.35-0.45 of it is common practice for such machines, no source.
    """
    pump = HeatPumpRating.from_points([RatedPoint(7.0, 35.0, 6000.0, 4.5)], lowest_air_c=-15.0)
    assert ideal == pytest.approx(carnot(air_c, water_c), abs=6e-4)
    assert 0.3 * ideal < pump.cop(air_c, water_c) < 0.5 * ideal


@settings(deadline=None)
@given(pump=pumps(), air_c=airs, water_c=waters, humidity=st.floats(0.0, 1.0))
def test_never_above_carnot(pump: HeatPumpRating, air_c: float, water_c: float, humidity: float) -> None:
    """Whatever the data sheet and the weather, heat per electricity stays below the ideal."""
    heat_w, input_w = pump.at(air_c, humidity, water_c)
    assert heat_w < input_w * carnot(air_c, water_c)


@settings(deadline=None)
@given(pump=pumps(), air_c=airs, water_c=waters, step=st.floats(0.01, 20.0), humidity=st.floats(0.0, 1.0))
def test_warmer_air_helps_and_warmer_water_hinders(
    pump: HeatPumpRating, air_c: float, water_c: float, step: float, humidity: float
) -> None:
    """Output and COP never fall with the air's temperature and never rise with the water's."""
    tiny = 1.0 + 1e-9
    here_w, here_cop = pump.at(air_c, humidity, water_c)[0], pump.cop(air_c, water_c)
    assert here_w <= pump.at(air_c + step, humidity, water_c)[0] * tiny
    assert here_w * tiny >= pump.at(air_c, humidity, water_c + step)[0]
    assert here_cop <= pump.cop(air_c + step, water_c) * tiny
    assert here_cop * tiny >= pump.cop(air_c, water_c + step)


def test_a_consistent_data_sheet_is_reproduced() -> None:
    """COP at the rated points is the sheet's; the output passes them within 5 %."""
    pump = HeatPumpRating.from_points(SHEET, lowest_air_c=-10.0)
    for point in SHEET:
        assert point.cop == pytest.approx(pump.cop(point.air_c, point.water_c))
        assert point.output_w == pytest.approx(pump.output_w(point.air_c, point.water_c), rel=0.05)
    assert pump.misfit() < 0.05


def test_between_rated_points_it_truly_rises_and_falls() -> None:
    """Inside the data sheet's range output and COP change by a visible amount, not only not the wrong way."""
    pump = HeatPumpRating.from_points(SHEET, lowest_air_c=-10.0)
    assert 1.1 < pump.output_w(20.0, 30.0) / pump.output_w(12.0, 30.0) < 1.5
    assert 1.1 < pump.cop(20.0, 30.0) / pump.cop(12.0, 30.0) < 1.5
    assert 1.1 < pump.cop(12.0, 28.0) / pump.cop(12.0, 38.0) < 1.6


def test_no_heat_pump_gives_less_heat_than_it_draws() -> None:
    """One that is rated 1.2 at 7/35 would fall to 0.63 at -25/45 by its share of Carnot; 1 is the law.

    Efforts: 1 - 270.15/313.15 = 0.137 and 1 - 238.15/323.15 = 0.263; 1.2 x 0.137 / 0.263 = 0.63.
    """
    pump = HeatPumpRating.from_points([RatedPoint(7.0, 35.0, 6000.0, 1.2)], lowest_air_c=-30.0)
    assert 1.0 == pump.cop(-25.0, 45.0)
    heat_w, drawn_w = pump.at(-25.0, 0.0, 45.0)
    assert heat_w == drawn_w > 0.0


def test_output_is_not_extrapolated_upwards() -> None:
    """Above the warmest rated air and below the coldest rated water the output stays as rated."""
    pump = HeatPumpRating.from_points([RatedPoint(7.0, 35.0, 6000.0, 4.0)], lowest_air_c=-15.0)
    assert 6000.0 == pytest.approx(pump.output_w(30.0, 20.0))
    assert 6000.0 * 0.7 > pump.output_w(-10.0, 35.0) > 6000.0 * 0.5  # 2.5 % per K: exp(-0.425) = 0.65


def test_mild_days_gain_only_what_was_rated() -> None:
    """A pump rated 4.5 at 7/35 is not said to pass COP 7.5 in summer; one rated 9 at 27/27 gets its 9."""
    one = HeatPumpRating.from_points([RatedPoint(7.0, 35.0, 6000.0, 4.5)], lowest_air_c=-15.0)
    assert 4.5 < one.cop(35.0, 20.0) < 7.5
    mild = HeatPumpRating.from_points([*SHEET[1:], RatedPoint(27.0, 27.0, 8000.0, 9.0)], lowest_air_c=-15.0)
    assert 9.0 == pytest.approx(mild.cop(27.0, 27.0))
    assert 9.0 == pytest.approx(mild.cop(35.0, 20.0))


def test_points_that_contradict_are_averaged_and_told() -> None:
    """Two ratings of one condition give the mean work per heat, and misfit says how far off each is."""
    both = [RatedPoint(7.0, 35.0, 5000.0, 3.0), RatedPoint(7.0, 35.0, 5000.0, 5.0)]
    pump = HeatPumpRating.from_points(both, lowest_air_c=-15.0)
    assert 2 / (1 / 3 + 1 / 5) == pytest.approx(pump.cop(7.0, 35.0))
    assert 0.25 == pytest.approx(pump.misfit())


def test_defrost_costs_output_and_not_electricity() -> None:
    """In saturated air at 2 degC a tenth of the heat is lost, at 75 % half of that, in dry air nothing."""
    pump = HeatPumpRating.from_points([RatedPoint(7.0, 35.0, 6000.0, 4.0)], lowest_air_c=-15.0)
    dry_w, input_w = pump.at(2.0, 0.5, 35.0)
    assert (0.9 * dry_w, input_w) == pytest.approx(pump.at(2.0, 1.0, 35.0))
    assert (0.95 * dry_w, input_w) == pytest.approx(pump.at(2.0, 0.75, 35.0))
    assert pump.at(5.0, 0.5, 35.0) == pump.at(5.0, 1.0, 35.0)


def test_defrost_in_a_rating_is_not_counted_twice() -> None:
    """A sheet that rates the pump at 2 degC has the defrosting in it already."""
    rated = [RatedPoint(7.0, 35.0, 6000.0, 4.0), RatedPoint(2.0, 35.0, 4600.0, 3.3)]
    pump = HeatPumpRating.from_points(rated, lowest_air_c=-15.0)
    assert 4600.0 == pytest.approx(pump.at(2.0, 0.9, 35.0)[0], rel=0.01)


def test_too_cold_to_run() -> None:
    """Below its lowest air temperature the pump gives and draws nothing."""
    pump = HeatPumpRating.from_points(SHEET, lowest_air_c=-5.0)
    assert (0.0, 0.0) == pump.at(-5.1, 0.8, 38.0)
    assert pump.at(-5.0, 0.8, 38.0)[0] > 0


@pytest.mark.parametrize(
    "point",
    [(7.0, 35.0, 6000.0, 8.0), (7.0, 35.0, 0.0, 4.0), (7.0, 35.0, 6000.0, 0.9), (30.0, 20.0, 6000.0, 34.0)],
)
def test_ratings_that_no_machine_reaches_are_refused(point: tuple[float, float, float, float]) -> None:
    """A COP above the refrigerant's ideal or below 1, or no output raises ValueError."""
    with pytest.raises(ValueError, match="COP"):
        HeatPumpRating.from_points([RatedPoint(*point)], lowest_air_c=-15.0)
    with pytest.raises(ValueError, match="one rated point"):
        HeatPumpRating.from_points([], lowest_air_c=-15.0)


@pytest.mark.parametrize("until_s", [0.0, 1800.0, 7200.0, 9000.0, 40000.0])
def test_stove_gives_what_its_profile_integrates_to(until_s: float) -> None:
    """The heat given is the integral of the heat, while it burns and while it dies down."""
    stove = WoodStove(12e3, 7200.0, 3600.0)
    assert quad(stove.heat_w, 0.0, until_s, points=[7200.0])[0] == pytest.approx(stove.given_j(until_s))


def test_stove_profile() -> None:
    """Even while burning, 1/e of it one time constant later, nothing before it is lit."""
    stove = WoodStove(12e3, 7200.0, 3600.0)
    assert (0.0, 12e3, 12e3) == (stove.heat_w(-1.0), stove.heat_w(0.0), stove.heat_w(7200.0))
    assert 12e3 * 0.36787944 == pytest.approx(stove.heat_w(10800.0))
    assert 0.0 == WoodStove(12e3, 7200.0, 0.0).heat_w(7201.0)


SUN = SolarCollector(3000.0, 900.0, 16.0, 8.0)


@pytest.mark.parametrize(
    ("day", "peak_w", "length_h"), [((2027, 6, 21), 3000.0, 16.0), ((2027, 12, 21), 900.0, 8.0)]
)
def test_a_day_of_sun(day: tuple[int, int, int], peak_w: float, length_h: float) -> None:
    """A day gives peak times length times 2/pi, is dark outside its length and even about noon."""
    hourly = SUN.hourly_w(datetime(*day), 24)
    assert peak_w * length_h * 0.63661977 == pytest.approx(sum(hourly), rel=1e-3)
    dark = int(12 - length_h / 2)
    assert [0.0] * dark == pytest.approx(hourly[:dark], abs=1e-3)
    assert min(hourly[dark : 24 - dark]) > 0
    assert hourly[:12] == pytest.approx(hourly[:11:-1])
    assert 0.97 * peak_w < max(hourly) < peak_w


def test_hours_that_start_between_hours_add_up_alike() -> None:
    """Shifted hours leave a midsummer day's sum, and a polar day has no seam at midnight."""
    assert sum(SUN.hourly_w(datetime(2027, 6, 21), 24)) == pytest.approx(
        sum(SUN.hourly_w(datetime(2027, 6, 20, 23, 40), 24)), rel=1e-3
    )
    polar = SolarCollector(3000.0, 0.0, 24.0, 0.0)
    two_days = polar.hourly_w(datetime(2027, 6, 20, 0, 30), 48)
    assert 3000.0 * 24 * 0.63661977 * 2 == pytest.approx(sum(two_days), rel=1e-3)
    assert 0.0 == pytest.approx(sum(polar.hourly_w(datetime(2027, 12, 21), 24)), abs=60.0)
