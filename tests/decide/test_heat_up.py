"""Warming up: the handbook's arithmetic, the engine's cold start against it, what must hold of any size."""

import math
from collections.abc import Callable
from datetime import date, datetime, time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cyclesim.decide.sizing.heat_up import Losses, Warmer, reached_s, with_losses_s, without_losses_s
from cyclesim.decide.sizing.heater_sizes import with_size
from cyclesim.physics import water
from cyclesim.physics.tub_node import TubNode
from cyclesim.scenario.blocks.heat_sources import HeatPump
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.rated import highest_cop
from cyclesim.scenario.reading.load import load_text
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.drive import Begins
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.programme import Programme
from tests.evidence.small import TIGHT
from tests.own_circuit import BOILER, HEAT_PUMP, PLANT

KWH = 3.6e6
# 1500 L measured at 10 degC, 1499.55 kg, heated by 117.148 kJ/kg to 38 degC: IAPWS-IF97 through iapws 1.5.5
IF97_J_K = 1499.55 * 117_148.0 / 28.0
DAY = date(2027, 1, 20)


def tight(ua_w_k: float = 0.0) -> Warmer:
    """A warmer of the tight tub, its shell without mass and with no loss but *ua_w_k* by the cover."""
    warmer = Warmer(load_text(TIGHT, "tight.yaml"), 38.0)
    node = warmer.plant.tub_node
    warmer.plant.__dict__["tub_node"] = TubNode(
        node.water_j_k, 0.0, 1e-9, ua_w_k, "outdoors", 0.0, "outdoors"
    )
    return warmer


def test_the_handbook_without_losses() -> None:
    """1500 L from 10 to 38 degC: 48.80 kWh, 16.27 h at 3 kW, 1.721 K/h (computed with iapws 1.5.5)."""
    hours = without_losses_s(IF97_J_K, 10.0, 38.0, 3000.0) / 3600.0
    assert 16.27 == pytest.approx(hours, rel=3e-3)
    assert 48.80 == pytest.approx(3.0 * hours, rel=3e-3)
    assert 1.721 == pytest.approx(28.0 / hours, rel=3e-3)
    # the same with 1000 kg/m3 and 4.186 kJ/(kg K): exact arithmetic
    assert 48.84 == pytest.approx(
        3.0 * without_losses_s(1500.0 * 4186.0, 10.0, 38.0, 3000.0) / 3600.0, abs=5e-3
    )


def test_the_handbook_with_losses() -> None:
    """Cooling 1500 L from 38 to 36 degC with 10 W/K at 5 degC: 10.90 h (computed), by hand tau ln(33/31)."""
    seconds = with_losses_s(IF97_J_K, 38.0, 36.0, 0.0, Losses(10.0, 5.0))
    assert seconds is not None
    assert 10.90 == pytest.approx(seconds / 3600.0, rel=3e-3)
    # 300 W against 10 W/K at 5 degC end at 35 degC: never at 36
    assert with_losses_s(IF97_J_K, 10.0, 36.0, 300.0, Losses(10.0, 5.0)) is None
    # no loss at all is the other formula
    assert without_losses_s(1e6, 10.0, 38.0, 1e3) == with_losses_s(1e6, 10.0, 38.0, 1e3, Losses(0.0, 5.0))


def test_the_engine_from_cold_agrees_with_the_handbook_on_a_tight_tub() -> None:
    """16.27 h at 3 kW, as above; the pipes' 1.7 L and 3 L of a housing and their loss stay under 0.4 %."""
    found = tight().warm_up(10.0, DAY)
    assert found.seconds is not None
    assert 16.27 == pytest.approx(found.seconds / 3600.0, rel=7e-3)
    assert found.balance is not None
    assert 48.80 == pytest.approx(found.balance.into_tub_water_kwh, rel=3e-3)
    assert 0.0 == found.balance.from_pumps_kwh
    assert 0.0 < found.balance.into_pipes_and_lost_there_kwh < 0.008 * 48.8


def test_a_heat_pump_on_water_of_its_own_gives_no_more_than_it_can() -> None:
    """Rated 7 kW in air of 7 degC, 5 kW at -7: in January air it gives less than 7 kW while it is called.

    By hand some 20 L in its circuit, pipes and housings, 40 K warmer, hold 1 kWh beside the tub's 50, and
    what leaves there at 10 W/K in ten hours is 3 kWh.
    """
    points = (
        "[{air: -7 degC, water: 45 degC, output: 5 kW, cop: 2.2}, "
        "{air: 7 degC, water: 45 degC, output: 7 kW, cop: 3.2}, "
        "{air: 20 degC, water: 45 degC, output: 10 kW, cop: 4}]"
    )
    pump = HEAT_PUMP.replace("[{air: 7 degC, water: 45 degC, output: 9 kW, cop: 3.2}]", points)
    levels = "starts_below: 55 degC, stops_above: 65 degC", "starts_below: 45 degC, stops_above: 52 degC"
    plant = PLANT.replace(BOILER, pump).replace(*levels)
    found = Warmer(load_text(plant, "own.yaml"), 38.0).after_a_fill(DAY)
    assert found.seconds is not None
    assert found.balance is not None
    assert found.balance.from_sources_kwh < 7.0 * (found.seconds / 3600.0 - found.balance.waited_h)
    lost = found.balance.into_pipes_and_lost_there_kwh
    assert 0.0 < lost < 0.1 * found.balance.into_tub_water_kwh


def test_the_engine_approaches_as_the_handbook_with_losses() -> None:
    """40 W/K against 10 degC with 3 kW: t = C/UA ln((P/UA)/(P/UA - dT)), written out here again."""
    warmer = tight(40.0)
    ours = warmer.warm_up(10.0, DAY).seconds
    assert ours is not None
    expected = IF97_J_K / 40.0 * math.log(75.0 / (75.0 - 28.0))
    assert expected == pytest.approx(ours, rel=1e-2)


def test_the_engine_cools_as_the_table_says() -> None:
    """38 to 36 degC with 10 W/K at 5 degC: 10.90 h (computed, 0.3 %), with nothing running."""
    sets = ("place.weather.mean=5 degC", "schedule.heating.keep_at=20 degC", "plant.tub.water=1500 L")
    scenario = load_text(TIGHT, "tight.yaml", sets=sets)
    plant = Assembly(scenario)
    plant.__dict__["tub_node"] = TubNode(IF97_J_K, 0.0, 1e-9, 10.0, "outdoors", 0.0, "outdoors")
    trace = simulate_trace(plant, Programme(scenario), days=1, start=DAY, begins=Begins(38.0))
    cold = next(float(s) for s, w in zip(trace.tub.start_s, trace.tub.water_c, strict=True) if w <= 36.0)
    before = cold - 3600.0
    rows = dict(zip(trace.tub.start_s.tolist(), trace.tub.water_c.tolist(), strict=True))
    share = (rows[before] - 36.0) / (rows[before] - rows[cold])
    assert 10.90 == pytest.approx((before + 3600.0 * share) / 3600.0, rel=3e-3)


@pytest.mark.parametrize(("m3_h", "rise_k"), [(1, 2.603), (2, 1.301), (4, 0.651), (8, 0.325)])
def test_what_passes_a_heater_warms_by(m3_h: float, rise_k: float) -> None:
    """3 kW into a flow at 38 degC (computed with iapws 1.5.5, 0.2 %)."""
    per_m3 = water.density_kg_m3(38.0) * water.heat_capacity_j_kg_k(38.0)
    assert rise_k == pytest.approx(3000.0 / (per_m3 * m3_h / 3600.0), rel=2e-3)


@settings(max_examples=8, deadline=None)
@given(st.floats(1500.0, 9000.0), st.floats(1.05, 2.0), st.floats(8.0, 34.0))
def test_a_larger_heater_is_sooner_warm_and_never_sooner_than_without_losses(
    size_w: float, times: float, from_c: float
) -> None:
    """In air colder than the water, with a pump that gives no heat."""
    scenario = load_text(TIGHT, "tight.yaml", sets=("place.weather.mean=2 degC",))
    small, large = (Warmer(with_size(scenario, "element", w), 38.0) for w in (size_w, times * size_w))
    slow, fast = (one.warm_up(from_c, DAY).seconds for one in (small, large))
    assert slow is not None
    assert fast is not None
    assert fast < slow
    assert fast >= without_losses_s(small.plant.tub_node.water_j_k, from_c, 38.0, times * size_w)


def test_a_start_in_time_is_in_time_and_not_early() -> None:
    """3 kW lift 1510 L by 5 K in about 2.93 h: for 18:00 it begins at 15:00, the last multiple of 5 min."""
    warmer = tight()
    ready = datetime.combine(DAY, time(18, 0))
    begin = warmer.latest_start(33.0, ready)
    assert begin is not None
    took = warmer.warm_up(33.0, begin.date(), begin.time()).seconds
    assert took is not None
    assert 0.0 <= (ready - begin).total_seconds() - took < 300.0
    assert 5.0 * IF97_J_K / 3000.0 == pytest.approx(took, rel=1e-2)
    weak = load_text(TIGHT, "t.yaml", sets=("plant.heat_sources.element.output=100 W",))
    assert Warmer(weak, 38.0).latest_start(5.0, ready) is None  # 33 K are 208 MJ, and 21 days of 100 W 181 MJ


def test_a_cold_start_waits_for_proof_and_rest(winter: Callable[..., Scenario]) -> None:
    """A proof of 5 s counts: heat is called in the first second, and fires when flow has been proven."""
    scenario = winter("schedule.heating.with=[element]")
    warmer = Warmer(scenario, 38.0)
    begins = Begins(10.0, just_filled=True)
    trace = simulate_trace(warmer.plant, warmer.programme, days=1, start=DAY, begins=begins)
    states = [(x.start_s, x.state) for x in trace.sources["element"]][:3]
    assert ["off", "proving", "firing"] == [state for _, state in states]
    assert 5 == states[2][0] - states[1][0]
    assert states[1][0] <= 2
    assert trace.tub.shell_c[0] == trace.zones.series["soil"][0]  # type: ignore[union-attr]


def test_a_run_begun_at_the_set_point_is_todays_run(winter: Callable[..., Scenario]) -> None:
    """The warm-up is nothing but such a beginning 14 days before: same seconds, same temperatures."""
    scenario = winter()
    ahead_s = 14 * 86_400
    usual = simulate_trace(Assembly(scenario), Programme(scenario), days=6, start=DAY)
    plant = Assembly(scenario)
    begins = Begins(plant.temp_c)
    long = simulate_trace(plant, Programme(scenario), days=20, start=date(2027, 1, 6), begins=begins)
    for one, other in (
        (usual.pumps, long.pumps),
        (usual.sources, long.sources),
        (usual.demands, long.demands),
    ):
        for name in one:
            cut = [(max(0, x.start_s - ahead_s), x.end_s - ahead_s, x.state)
                   for x in other[name] if x.end_s > ahead_s]  # fmt: skip
            assert cut == [tuple(x) for x in one[name]], name
    assert usual.end_water_c == pytest.approx(long.end_water_c, abs=1e-9)


def test_without_a_beginning_nothing_changes(winter: Callable[..., Scenario]) -> None:
    """A usual run has its warm-up and gives the same bytes."""
    scenario = winter()
    one, other = (
        simulate_trace(Assembly(scenario), Programme(scenario), days=3, start=DAY, **more)
        for more in ({}, {"begins": None})
    )
    assert one.tub.water_c.tobytes() == other.tub.water_c.tobytes()
    assert -14 * 86_400 == one.zones.origin_s  # type: ignore[union-attr]


def test_a_scaled_heat_pump_keeps_its_cop_below_carnot(winter: Callable[..., Scenario]) -> None:
    """Ideal (T_w)/(T_w - T_a) at 7/35 and 7/40: 11.005 and 9.489 (exact); ours stays below at any size."""
    assert 11.005 == pytest.approx(308.15 / 28.0, abs=1e-3)
    scenario = winter("schedule.heating.with=[heat_pump]")
    told = scenario.plant.heat_sources["heat_pump"]
    for size_w in (3000.0, 6000.0, 12_000.0):
        made = with_size(scenario, "heat_pump", size_w)
        sheet = made.plant.heat_sources["heat_pump"]
        assert isinstance(sheet, HeatPump)
        assert isinstance(told, HeatPump)
        assert size_w == pytest.approx(sheet.output_w)
        assert [p.cop for p in told.rated] == [p.cop for p in sheet.rated]
        warmer = Warmer(made, 38.0)
        begins = Begins(20.0)
        trace = simulate_trace(warmer.plant, warmer.programme, days=1, start=date(2027, 4, 20), begins=begins)
        rows = trace.exchanges["heat_pump"]
        cop = float(rows.heat_j.sum() / rows.input_j.sum())
        coldest = min(trace.zones.series["outdoors"])  # type: ignore[union-attr]
        assert 1.0 < cop < highest_cop(max(trace.zones.series["outdoors"]), 20.0)  # type: ignore[union-attr]
        assert coldest < 20.0
    assert reached_s(trace, 99.0) is None
