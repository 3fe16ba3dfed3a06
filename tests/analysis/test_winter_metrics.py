"""Heat pumps, boilers, blowers and people in numbers, against rows written by hand; runs that balance."""

from collections.abc import Callable

import pytest

from cyclesim.analysis.history import History
from cyclesim.analysis.result import measure, simulate
from cyclesim.physics.pieces import Exchanged, Piece
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.rated import highest_cop
from cyclesim.simulation.trace import Rows

Run = Callable[..., History]
Build = Callable[..., Scenario]
Changes = tuple[tuple[str, str], ...]
H, KWH = 3600, 3.6e6


def did(history: History, name: str, *rows: tuple[int, int, float, float, float]) -> None:
    """What one law did: (from h, to h, heat kWh, input kWh, evaporated kg)."""
    own = history.trace.exchanges[name] = Rows(name, Exchanged)
    for start, end, heat, drawn, gone in rows:
        own.put(Exchanged(0, start * H, end * H, heat * KWH, drawn * KWH, gone))


def test_a_heat_pumps_cop_is_its_heat_over_its_electricity(run: Run, winter: Changes) -> None:
    """4 kWh from 1 and 5 kWh from 2 kWh: 9 from 3; the second half of the second hour is dearer."""
    dear = (
        "tariff: 0.20 EUR/kWh",
        'tariff: {otherwise: 0.20 EUR/kWh, windows: [{from: "01:30", to: "02:00", price: 0.40 EUR/kWh}]}',
    )
    history = run(*winter, dear, sources={"unit": [(0, "firing"), (2 * H, "off")]})
    did(history, "unit", (0, 1, 4.0, 1.0, 0.0), (1, 2, 5.0, 2.0, 0.0))
    unit = measure(history).heat_sources["unit"]
    assert (pytest.approx(3.0), pytest.approx(9.0), pytest.approx(3.0)) == (
        unit.energy_kwh, unit.heat_kwh, unit.seasonal_cop,
    )  # fmt: skip
    assert pytest.approx(0.2 * 2.0 + 0.4 * 1.0) == unit.cost
    assert None is unit.fuel_kwh


def test_a_heat_pump_that_never_ran_has_no_cop(run: Run, winter: Changes) -> None:
    """No electricity, no ratio."""
    assert None is measure(run(*winter)).heat_sources["unit"].seasonal_cop


def test_a_boiler_burns_its_heat_over_its_efficiency(run: Run, winter: Changes) -> None:
    """An hour of 18 kW at 90 %: 20 kWh of fuel at 0.09, and 0.115 kWh for its fan at 0.20."""
    metrics = measure(run(*winter, sources={"boiler": [(H, "firing"), (2 * H, "off")]}))
    boiler, energy = metrics.heat_sources["boiler"], metrics.energy
    assert (pytest.approx(20.0), pytest.approx(18.0), pytest.approx(0.115)) == (
        boiler.fuel_kwh, boiler.heat_kwh, boiler.energy_kwh,
    )  # fmt: skip
    assert pytest.approx(20.0 * 0.09 + 0.115 * 0.20) == boiler.cost == energy.cost
    assert (pytest.approx(0.115), pytest.approx(20.0)) == (energy.energy_kwh, energy.fuel_kwh)
    (march,) = energy.by_month
    assert (pytest.approx(20.0), energy.cost) == (march.fuel_kwh, march.cost)


def test_a_blower_is_metered_and_has_its_duty(run: Run, winter: Changes) -> None:
    """690 W for 2 h in two goes; 600 mm of water at 36 degC ask for 993.7 x 9.807 x 0.6 = 5.85 kPa."""
    steps = [(H, "on"), (2 * H, "stopped"), (5 * H, "on"), (6 * H, "stopped")]
    metrics = measure(run(*winter, blowers={"blower": steps}))
    blower = metrics.blowers["blower"]
    assert (2.0, 2, pytest.approx(1.38), pytest.approx(0.276)) == (
        blower.running_h, blower.starts, blower.energy_kwh, blower.cost,
    )  # fmt: skip
    assert (pytest.approx(600.0), None, pytest.approx(3.0)) == (
        blower.flow_l_min, blower.why_not, blower.wet_volume_l,
    )  # fmt: skip
    assert 5.85 < blower.pressure_kpa < 6.5
    assert pytest.approx(1.38) == metrics.energy.by_device["blower"].energy_kwh == metrics.energy.energy_kwh


def test_what_condenses_is_no_topping_up(run: Run, winter: Changes) -> None:
    """3 kg gone in one hour, 2 kg condensed in the next: 3 L were topped up, the rest runs over."""
    history = run(*winter)
    did(history, "open water", (0, 1, -2.0, 0.0, 3.0), (1, 2, 1.4, 0.0, -2.0))
    assert pytest.approx(3.0) == measure(history).tub.topped_up_l


def test_people_and_what_they_cost_the_water(run: Run, winter: Changes) -> None:
    """Two sessions, 50 min and 1 h; the water falls from 38 degC at 0 h to 26 degC at 24 h, 0.5 K an hour."""
    history = run(
        *winter,
        people=[(4 * H, "2"), (4 * H + 3000, "0"), (20 * H, "1"), (21 * H, "0")],
        cover=[(4 * H, "off"), (4 * H + 3000, "on"), (20 * H, "off"), (21 * H, "on")],
    )
    did(history, "open water", (4, 5, -2.0, 0.0, 1.5), (20, 21, -3.0, 0.0, 2.5))
    did(history, "bathers", (4, 5, 0.3, 0.0, 4.0))
    did(history, "blower", (4, 5, -0.5, 0.0, 0.25))
    history.trace.tub.put(Piece(0, 24 * H, 38.0, 38.0, 0.0, 0.0, 0.0))
    history.trace.end_water_c = 26.0
    tub = measure(history).tub
    assert (2, pytest.approx(50 / 60 + 1.0), pytest.approx(8.25)) == (
        tub.sessions,
        tub.bathed_h,
        tub.topped_up_l,
    )
    assert (pytest.approx(5.0), pytest.approx(0.3), pytest.approx(0.5)) == (
        tub.lost_from_open_water_kwh, tub.heat_from_bathers_kwh, tub.taken_by_air_kwh,
    )  # fmt: skip
    assert pytest.approx((36.0 + 28.0) / 2) == tub.mean_at_session_start_c


def test_under_a_cover_nobody_bathes(run: Run) -> None:
    """A jets programme with the cover on is no session."""
    tub = measure(run(people=[(H, "2"), (2 * H, "0")], cover=[(0, "on")])).tub
    assert (0, 0.0, None) == (tub.sessions, tub.bathed_h, tub.mean_at_session_start_c)


def test_heat_balances_with_everything_switched_on(scenario: Build, winter: Changes) -> None:
    """Ten days of January with sessions, blower, heat pump and a power cut: all that came went or stayed."""
    metrics = simulate(scenario(*winter), days=10).metrics
    tub, unit = metrics.tub, metrics.heat_sources["unit"]
    assert abs(tub.balance_error_kwh) < 1e-6
    assert (
        min(tub.lost_from_open_water_kwh, tub.taken_by_air_kwh, tub.topped_up_l, unit.heat_kwh or 0.0) > 0.1
    )
    assert 4 == tub.sessions, "1, 2, 8 and 9 January 2027 are Fridays and Saturdays"
    assert 1.0 < (unit.seasonal_cop or 0.0) < highest_cop(12.0, 36.0)


def test_a_stove_that_burns_into_still_water_is_in_the_balance(scenario: Build) -> None:
    """A fire of 3 h that no pump cools at first: 10 kW x 3 h, and 10 min of embers, reach the water."""
    stove = """  network: [[tub, suction, main, filter, stove, element, bench, tub]]"""
    sheet = """
    stove: {kind: wood, output: 10 kW, burns: [{start: "00:00", lasts: 3 h, days: saturday}],
            dies_down: 10 min, drop: 0.1 m at 400 L/min, volume: 20 L, needs_flow: 10 L/min, zone: room}
"""
    changes = ("  network: [[tub, suction, main, filter, element, bench, tub]]", sheet + stove)
    metrics = simulate(scenario(changes), days=4).metrics
    assert abs(metrics.tub.balance_error_kwh) < 1e-6
    heat_kwh = metrics.heat_sources["stove"].heat_kwh or 0.0
    assert 29.9 < heat_kwh < 30.0 + 10.0 * 10.0 / 60.0 + 0.1
