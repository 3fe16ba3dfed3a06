"""Power cuts: how cold each part got, and how long it would have withstood."""

import math
from collections.abc import Callable

import pytest
from scipy.integrate import solve_ivp

from cyclesim.analysis.history import History
from cyclesim.analysis.metrics import OutageMetrics
from cyclesim.analysis.outages import had_it_failed
from cyclesim.analysis.result import measure, simulate
from cyclesim.physics.pieces import Piece
from cyclesim.physics.stays import Body, Stay
from cyclesim.scenario.blocks.model import Scenario

Run = Callable[..., History]
H = 3600


def cut(history: History, water_c: float = 36.0) -> OutageMetrics:
    """The only power cut of a history whose tub is as warm as that throughout, water and shell."""
    history.trace.tub.put(Piece(0, history.trace.span_s, water_c, water_c, 0.0, 0.0, 0.0))
    history.trace.end_water_c = water_c
    (outage,) = measure(history).outages
    return outage


# Lumped water in a pipe: t = tau ln((Ti - Ta) / (0 - Ta)), the structure of ASHRAE Fundamentals ch. 23 eq. 1
# (seen second-hand) with the film added; four cases computed apart, B by an ODE integration too; 1 %.
@pytest.mark.parametrize(
    ("tau_h", "from_c", "zero_h"),
    [(1.626, 5, 0.659), (5.017, 5, 2.034), (1.626, 38, 2.551), (5.017, 38, 7.869)],
)
def test_hours_until_zero(run: Run, tau_h: float, from_c: float, zero_h: float) -> None:
    """A pipe beside air of -10 degC, from the cut at 01:20 on, over the hours of its zone."""
    history = run(zone_c=-10.0, hours=48, power=[(4800, "lost"), (4800 + 2 * H, "on")])
    history.plant.__dict__["bodies"] = (Body("bench", 0.02, tau_h * H, 1.0, "soil"),)
    history.trace.stays["bench"].put(Stay(0, 0, 4800, True, from_c, from_c, 0.0, from_c, from_c))
    history.trace.stays["bench"].put(Stay(0, 4800, 48 * H, False, from_c, from_c, 0.0, from_c, from_c))
    outage = cut(history)
    assert pytest.approx(zero_h, rel=0.01) == outage.until_zero_h["bench"]
    assert ("2027-03-01T01:20:00+00:00", 2.0) == (outage.from_local, outage.lasts_h)
    after_2_h = -10.0 + (from_c + 10.0) * math.exp(-2.0 / tau_h)
    assert ("bench", pytest.approx(after_2_h)) == (outage.coldest_part, outage.coldest_c)


def test_a_part_that_stood_before_the_cut_is_as_cold_as_it_was(run: Run) -> None:
    """A pipe with tau = 5 h that stood from 0 h at 20 degC is at -10 + 30 / e when the power fails at 5 h."""
    history = run(zone_c=-10.0, hours=48, power=[(5 * H, "lost"), (6 * H, "on")])
    history.plant.__dict__["bodies"] = (Body("bench", 0.02, 5.0 * H, 1.0, "soil"),)
    history.trace.stays["bench"].put(Stay(0, 0, 48 * H, False, 20.0, -9.9, 0.0, 20.0, 20.0))
    left_h = 5.0 * math.log(30.0 / math.e / 10.0)
    assert pytest.approx(left_h, rel=1e-9) == cut(history).until_zero_h["bench"]


# From 0 degC on, t = share m L R / (0 - Ta) with a constant zone and no ice in the way: worked apart for the
# same four cases (334 kJ/kg, 1000 kg/m3); 0.3 % for 333.5 kJ/kg and 999.8 kg/m3.
@pytest.mark.parametrize(("ua_w_k", "from_c", "ice_h"), [(1 / 0.6439, 5.0, 1.293), (1 / 1.9864, 38.0, 3.989)])
def test_hours_until_a_tenth_is_ice(run: Run, ua_w_k: float, from_c: float, ice_h: float) -> None:
    """A metre of 2 in pipe (2.165 L) beside -10 degC, bare and with 13 mm of foam."""
    history = run(zone_c=-10.0, hours=48, power=[(4800, "lost"), (4800 + 2 * H, "on")])
    history.plant.__dict__["bodies"] = (Body("bench", 0.0021648, 2.1648 * 4200.0, ua_w_k, "soil"),)
    history.trace.stays["bench"].put(Stay(0, 0, 4800, True, from_c, from_c, 0.0, from_c, from_c))
    history.trace.stays["bench"].put(Stay(0, 4800, 48 * H, False, from_c, from_c, 0.0, from_c, from_c))
    outage = cut(history)
    zero_h, frozen_h = outage.until_zero_h["bench"], outage.until_frozen_h["bench"]
    assert zero_h is not None
    assert frozen_h is not None
    assert pytest.approx(ice_h, rel=0.003) == frozen_h - zero_h


def test_a_thaw_takes_ice_off(run: Run) -> None:
    """Two hours of four freeze half; expected a hot hour melts that and four again; a mild one costs less."""
    history = run(zone_c=-10.0, hours=48, power=[(H, "lost"), (2 * H, "on")])
    zones = history.trace.zones
    assert zones is not None
    series, due_j = zones.series["soil"], 0.1 * 0.002 * 999.84 * 333_500.0
    ua = due_j / (10.0 * 4 * H)  # four hours at -10 degC freeze a tenth
    history.plant.__dict__["bodies"] = (Body("bench", 0.002, 1e-6, ua, "soil"),)
    history.trace.stays["bench"].put(Stay(0, 0, 48 * H, True, 5.0, 5.0, 0.0, 5.0, 5.0))
    first = int(H - zones.origin_s) // H
    assert pytest.approx(4.0, rel=1e-3) == cut(history).until_frozen_h["bench"]
    for hour, temp in enumerate([-10.0, -10.0, 50.0, -10.0, -10.0]):
        series[first + hour] = temp
    assert pytest.approx(3.0 + 4.0, rel=1e-3) == measure(history).outages[0].until_frozen_h["bench"]
    series[first + 2] = 5.0
    assert pytest.approx(5.5, rel=1e-3) == measure(history).outages[0].until_frozen_h["bench"]


def test_the_tub_freezes_with_its_shell(run: Run) -> None:
    """From 0 degC on at -30: scipy integrates the shell beside water that stays at 0 until a tenth is ice."""
    history = run(("insulation: 50 mm", "insulation: 0 mm"), zone_c=-30.0, power=[(H, "lost"), (2 * H, "on")])
    node, outage = history.plant.tub_node, cut(history)
    due_j = 0.1 * history.plant.volume_m3 * 999.84 * 333_500.0

    def loses(_: float, state: list[float]) -> list[float]:
        water, shell, _lost = state
        over = node.g_w_k * (water - shell)
        out = over + node.ua_cover_w_k * (water + 30.0)
        cools = (over - node.ua_shell_w_k * (shell + 30.0)) / node.shell_j_k
        return [-out / node.water_j_k, cools, 0.0] if water > 0.0 else [0.0, cools, out]

    def at_zero(_: float, state: list[float]) -> float:
        return state[0]

    def frozen(_: float, state: list[float]) -> float:
        return state[2] - due_j

    at_zero.terminal = frozen.terminal = True  # type: ignore[attr-defined]
    told = solve_ivp(loses, (0.0, 999 * H), [36.0, 36.0, 0.0], events=at_zero, rtol=1e-9, atol=1e-9)
    start = [0.0, told.y[1, -1], 0.0]
    more = solve_ivp(loses, (told.t[-1], 999 * H), start, events=frozen, rtol=1e-9, atol=1e-6)
    assert pytest.approx(more.t[-1] / H, rel=1e-4) == outage.until_frozen_h["tub"]


def test_what_never_freezes_within_ten_days_has_no_hours(run: Run) -> None:
    """Beside a zone of 0.5 degC nothing reaches 0."""
    history = run(zone_c=0.5, hours=48, power=[(H, "lost"), (2 * H, "on")])
    history.trace.stays["bench"].put(Stay(0, 0, 48 * H, False, 5.0, 5.0, 0.0, 5.0, 5.0))
    outage = cut(history)
    assert {"tub": None, "bench": None} == outage.until_zero_h == outage.until_frozen_h


def test_the_tub_cools_with_its_shell(run: Run) -> None:
    """Water and shell from 36 degC beside -30 degC, integrated apart by scipy at tight tolerance."""
    history = run(("insulation: 50 mm", "insulation: 0 mm"), zone_c=-30.0, power=[(H, "lost"), (2 * H, "on")])
    node = history.plant.tub_node

    def cools(_: float, temps: list[float]) -> list[float]:
        water, shell = temps
        over = node.g_w_k * (water - shell)
        return [
            (-over - node.ua_cover_w_k * (water + 30.0)) / node.water_j_k,
            (over - node.ua_shell_w_k * (shell + 30.0)) / node.shell_j_k,
        ]

    def freezes(_: float, temps: list[float]) -> float:
        return temps[0]

    told = solve_ivp(cools, (0.0, 240.0 * H), [36.0, 36.0], events=freezes, rtol=1e-9, atol=1e-9)
    (zero_s,) = told.t_events[0]
    assert pytest.approx(zero_s / H, rel=1e-5) == cut(history).until_zero_h["tub"]


def test_a_run_tells_its_power_cut(
    scenario: Callable[..., Scenario], winter: tuple[tuple[str, str], ...]
) -> None:
    """Eight hours from 03:00 on 5 January; a run without a cut has none."""
    (outage,) = simulate(scenario(*winter), days=6).metrics.outages
    assert ("2027-01-05T03:00:00+00:00", 8.0) == (outage.from_local, outage.lasts_h)
    assert {"tub", "suction", "bench", "filter", "element", "unit", "boiler"} <= set(outage.until_zero_h)
    assert () == simulate(scenario(), days=2).metrics.outages


@pytest.mark.parametrize("hour", [10, 46])  # well within the run, and at its end
def test_a_room_that_stores_heat_cools_before_what_is_in_it(run: Run, hour: int) -> None:
    """900 kJ/K that lose 25 W/K, kept at 5 degC beside -10, and a pipe of 1 h: scipy integrates both."""
    stores = "soil: {follows: weather, above_by: 2 K, loses: 25 W/K, stores: 900 kJ/K}"
    history = run(("soil: {depth: 600 mm}", stores), zone_c=5.0, hours=48)
    zones = history.trace.zones
    assert zones is not None
    powerless = {"soil": [-10.0] * len(zones.series["soil"])}
    history.trace.zones = zones._replace(powerless=powerless)
    history.plant.__dict__["bodies"] = (Body("bench", 0.02, 1.0 * H, 1.0, "soil"),)
    history.trace.stays["bench"].put(Stay(0, 0, 48 * H, False, 5.0, 5.0, 0.0, 5.0, 5.0))
    history.trace.tub.put(Piece(0, history.trace.span_s, 36.0, 36.0, 0.0, 0.0, 0.0))
    history.trace.end_water_c = 36.0

    def cools(_: float, temps: list[float]) -> list[float]:
        pipe, room = temps
        return [(room - pipe) / H, 25.0 * (-10.0 - room) / 900e3]

    def freezes(_: float, temps: list[float]) -> float:
        return temps[0]

    told = solve_ivp(cools, (0.0, 24.0 * H), [5.0, 5.0], events=freezes, rtol=1e-9, atol=1e-9)
    ((zero_s,),) = told.t_events
    outage = had_it_failed(history.plant, history.trace, (hour * H, (hour + 1.0) * H))
    assert outage is not None
    assert pytest.approx(zero_s / H, rel=0.02) == outage.until_zero_h["bench"]
