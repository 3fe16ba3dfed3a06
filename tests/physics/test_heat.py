"""Two-node tub and standing water: against arithmetic, calorimetry and a numerical integrator."""

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from cyclesim.physics.heat import HOUR_S, TwoNode, ZoneFilter, relax

# 1500 L measured at 10 degC and the mean heat capacity from 10 to 38 degC: IAPWS-IF97, iapws 1.5.5
WATER_J_K = 1499.55 * 117148.0 / 28.0


def zero_or(low: float, high: float) -> st.SearchStrategy[float]:
    """Zero, or a value spread over decades."""
    return st.just(0.0) | st.floats(math.log10(low), math.log10(high)).map(lambda x: 10.0**x)


nodes = st.builds(
    TwoNode,
    st.floats(4.0, 7.5).map(lambda x: 10.0**x),
    zero_or(1e-3, 1e7),
    zero_or(1e-2, 1e3),
    zero_or(1e-2, 1e3),
    zero_or(1e-2, 1e3),
)
temps = st.floats(-20.0, 60.0)
heats = st.floats(-1e3, 1e4)
spans = st.floats(0.0, 5e5) | st.just(HOUR_S)


@pytest.mark.parametrize(
    "values",
    [
        (6.2e6, 2.6e6, 209.0, 5.0, 4.0),  # concrete shell
        (6.2e6, 6e4, 900.0, 2.0, 5.0),  # acrylic shell
        (6.2e6, 2.6e6, 209.0, 0.0, 0.0),  # nothing lost
        (6.2e6, 2.6e6, 0.0, 3.0, 4.0),  # not coupled
        (6.2e6, 0.0, 209.0, 3.0, 4.0),  # shell without capacity
        (4e5, 4e5, 10.0, 10.0, 10.0),  # alike in everything
    ],
)
@pytest.mark.parametrize("dt_s", [60.0, HOUR_S, 2e5])
def test_advance_agrees_with_a_numerical_integrator(values: tuple[float, ...], dt_s: float) -> None:
    """Temperatures and their integrals equal scipy's stiff integration of the two differential equations."""
    cw, cs, g, uw, us = values
    node, f_w, f_s = TwoNode(*values), 1500.0 + uw * 12.0, us * 8.0
    cs = cs or 1.0  # a capacity that no time here can tell from none

    def rates(_: float, y: list[float]) -> list[float]:
        tw, ts = y[0], y[1]
        return [(f_w - uw * tw - g * (tw - ts)) / cw, (f_s - us * ts + g * (tw - ts)) / cs, tw, ts]

    start_s = node.steady_shell(36.0, f_s) if values[1] == 0.0 else 20.0
    known = solve_ivp(rates, (0.0, dt_s), [36.0, start_s, 0.0, 0.0], method="Radau", rtol=1e-10, atol=1e-8)
    assert pytest.approx(known.y[:, -1].tolist(), rel=1e-6) == node.advance(36.0, start_s, f_w, f_s, dt_s)


@settings(deadline=None)
@given(node=nodes, tw=temps, ts=temps, heat_w=heats, zone_c=temps, dt_s=spans)
def test_energy_balances(
    node: TwoNode, tw: float, ts: float, heat_w: float, zone_c: float, dt_s: float
) -> None:
    """What is stored equals what came in less what the two integrals say was lost."""
    f_w, f_s = heat_w + node.ua_water_w_k * zone_c, node.ua_shell_w_k * zone_c
    tw1, ts1, int_w, int_s = node.advance(tw, ts, f_w, f_s, dt_s)
    stored = node.c_water_j_k * (tw1 - tw) + node.c_shell_j_k * (ts1 - ts)
    terms = (f_w * dt_s, f_s * dt_s, -node.ua_water_w_k * int_w, -node.ua_shell_w_k * int_s)
    scale = sum(map(abs, terms)) + node.c_water_j_k + node.c_shell_j_k
    assert pytest.approx(sum(terms), abs=1e-9 * scale) == stored


@settings(deadline=None)
@given(node=nodes, tw=temps, ts=temps, heat_w=heats, zone_c=temps, dt_s=spans, share=st.floats(0.0, 1.0))
def test_two_steps_equal_one(
    node: TwoNode, tw: float, ts: float, heat_w: float, zone_c: float, dt_s: float, share: float
) -> None:
    """Splitting a piece anywhere changes neither temperatures nor integrals."""
    f_w, f_s = heat_w + node.ua_water_w_k * zone_c, node.ua_shell_w_k * zone_c
    whole = node.advance(tw, ts, f_w, f_s, dt_s)
    first = node.advance(tw, ts, f_w, f_s, share * dt_s)
    second = node.advance(first[0], first[1], f_w, f_s, dt_s - share * dt_s)
    hot = 100.0 + abs(heat_w) * dt_s / node.c_water_j_k
    assert pytest.approx(whole[:2], abs=1e-9 * hot) == second[:2]
    for once, a, b in zip(whole[2:], first[2:], second[2:], strict=True):
        assert pytest.approx(once, abs=1e-9 * hot * (dt_s + 1.0)) == a + b


@settings(deadline=None)
@given(node=nodes, tw=temps, ts=temps, heat_w=heats, more_w=st.floats(0.0, 1e4), dt_s=spans)
def test_more_heat_cools_nothing(
    node: TwoNode, tw: float, ts: float, heat_w: float, more_w: float, dt_s: float
) -> None:
    """Water and shell are at least as warm with more heat as with less."""
    less = node.advance(tw, ts, heat_w, 0.0, dt_s)
    more = node.advance(tw, ts, heat_w + more_w, 0.0, dt_s)
    slack = 1e-9 * (100.0 + (abs(heat_w) + more_w) * dt_s / node.c_water_j_k)
    assert more[0] >= less[0] - slack
    assert more[1] >= less[1] - slack


@settings(deadline=None)
@given(node=nodes, heat_w=heats, zone_c=temps, dt_s=spans)
def test_steady_state_stays(node: TwoNode, heat_w: float, zone_c: float, dt_s: float) -> None:
    """Where an equilibrium exists, starting in it changes nothing, and the shell agrees with steady_shell."""
    f_w, f_s = heat_w + node.ua_water_w_k * zone_c, node.ua_shell_w_k * zone_c
    at = node.steady(f_w, f_s)
    assume(at is not None)
    assert at is not None
    scale = 1.0 + abs(at[0]) + abs(at[1])
    assert pytest.approx(at, abs=1e-8 * scale) == node.advance(*at, f_w, f_s, dt_s)[:2]
    if node.ua_shell_w_k + node.g_w_k > 0.0:
        assert pytest.approx(at[1], abs=1e-9 * scale) == node.steady_shell(at[0], f_s)


def test_two_bodies_without_loss_meet_at_their_weighted_mean() -> None:
    """Calorimetry: the difference decays with g (1/C + 1/C), the heat-weighted mean stays."""
    node = TwoNode(6e6, 2e6, 200.0, 0.0, 0.0)
    tw, ts, *_ = node.advance(38.0, 10.0, 0.0, 0.0, 5000.0)
    assert pytest.approx((6.0 * 38.0 + 2.0 * 10.0) / 8.0, rel=1e-12) == (6.0 * tw + 2.0 * ts) / 8.0
    assert pytest.approx(28.0 * math.exp(-200.0 * (1 / 6e6 + 1 / 2e6) * 5000.0), rel=1e-12) == tw - ts
    assert node.steady(1.0, 0.0) is None


def test_without_loss_the_water_rises_in_a_straight_line() -> None:
    """A kilowatt into a megajoule per kelvin is 3.6 K an hour, however long it lasts."""
    node = TwoNode(1e6, 0.0, 0.0, 0.0, 0.0)
    assert pytest.approx((10.0 + 3.6, 7.0), rel=1e-13) == node.advance(10.0, 7.0, 1000.0, 0.0, HOUR_S)[:2]
    assert pytest.approx(10.0 + 3.6e4, rel=1e-12) == node.advance(10.0, 7.0, 1000.0, 0.0, 1e4 * HOUR_S)[0]
    assert (
        pytest.approx(10.0 * HOUR_S + 1.8 * HOUR_S, rel=1e-13)
        == node.advance(10.0, 7.0, 1000.0, 0.0, HOUR_S)[2]
    )
    assert node.steady_shell(38.0, 0.0) == 38.0


def test_a_shell_without_capacity_is_the_limit_of_a_light_one() -> None:
    """A milligram of shell and no shell give the same water and shell temperature."""
    light, none = TwoNode(6e6, 1e-6, 200.0, 3.0, 4.0), TwoNode(6e6, 0.0, 200.0, 3.0, 4.0)
    assert pytest.approx(none.advance(38.0, 20.0, 1500.0, 40.0, 5e4), rel=1e-9) == light.advance(
        38.0, 20.0, 1500.0, 40.0, 5e4
    )
    # and its time constant is that of a wall in series: C / (UA + g UA_s / (g + UA_s))
    tau_s = 6e6 / (3.0 + 200.0 * 4.0 / 204.0)
    assert (
        pytest.approx(38.0 * math.exp(-5e4 / tau_s), rel=1e-12) == none.advance(38.0, 0.0, 0.0, 0.0, 5e4)[0]
    )


def test_heat_up_takes_what_steam_tables_say() -> None:
    """1500 L from 10 to 38 degC at 3 kW: 48.80 kWh, 16.27 h (IAPWS-IF97), next to no shell."""
    node = TwoNode(WATER_J_K, 1e-3, 200.0, 0.0, 0.0)
    crossing_s = node.first_crossing(10.0, 10.0, 3000.0, 0.0, 1e5, 38.0, rising=True)
    assert crossing_s is not None
    assert pytest.approx(16.27, rel=0.003) == crossing_s / HOUR_S
    assert pytest.approx(48.80, rel=0.003) == 3.0 * crossing_s / HOUR_S
    assert pytest.approx(1.721, rel=0.003) == node.advance(10.0, 10.0, 3000.0, 0.0, HOUR_S)[0] - 10.0


def test_cool_down_takes_what_newton_says() -> None:
    """1500 L, 10 W/K, air at 5 degC: 38 to 36 degC in 10.90 h, time constant 174.3 h (Newton's law, IF97)."""
    node = TwoNode(WATER_J_K, 1e-3, 200.0, 10.0, 0.0)
    crossing_s = node.first_crossing(38.0, 38.0, 50.0, 0.0, 1e5, 36.0, rising=False)
    assert crossing_s is not None
    assert pytest.approx(10.90, rel=0.003) == crossing_s / HOUR_S
    left_k = node.advance(38.0, 38.0, 50.0, 0.0, 174.3 * HOUR_S)[0] - 5.0
    assert pytest.approx(33.0 / math.e, rel=0.003) == left_k


@pytest.mark.parametrize(("litres", "expected_s"), [(1.0, 30.7), (0.5, 15.3)])
def test_trapped_water_boils_up_fast(litres: float, expected_s: float) -> None:
    """3 kW into a litre (half a litre) of trapped water: 38 to 60 degC in 30.7 (15.3) s; 4184 J/(kg K)."""
    node = TwoNode(litres * 4184.0, 0.0, 0.0, 0.0, 0.0)
    assert pytest.approx(expected_s, rel=0.005) == node.first_crossing(
        38.0, 38.0, 3000.0, 0.0, 60.0, 60.0, rising=True
    )


@settings(deadline=None, max_examples=200)
@given(
    node=nodes,
    tw=temps,
    ts=temps,
    heat_w=heats,
    dt_s=st.floats(1.0, 3e5),
    share=st.floats(0.0, 1.0),
    rising=st.booleans(),
)
def test_first_crossing_agrees_with_dense_sampling(
    node: TwoNode, tw: float, ts: float, heat_w: float, dt_s: float, share: float, rising: bool
) -> None:
    """No sample before the crossing has reached the level, the crossing is on it, and none is missed."""
    up = 1.0 if rising else -1.0

    def water_c(t_s: float) -> float:
        return node.advance(tw, ts, heat_w, 0.0, t_s)[0]

    times_s = [dt_s * i / 200 for i in range(1, 201)]
    sampled_c = [water_c(t_s) for t_s in times_s]
    lowest, highest = min(tw, *sampled_c), max(tw, *sampled_c)
    level_c = lowest + share * (highest - lowest)
    crossing_s = node.first_crossing(tw, ts, heat_w, 0.0, dt_s, level_c, rising)
    slack_k = 1e-9 * (100.0 + abs(heat_w) * dt_s / node.c_water_j_k)
    if up * (tw - level_c) >= 0.0:
        assert crossing_s == 0.0
    elif crossing_s is None:
        assert all(up * (c - level_c) < slack_k for c in sampled_c)
    else:
        assert 0.0 <= crossing_s <= dt_s
        around_k = abs(water_c(crossing_s + 1e-3) - water_c(max(0.0, crossing_s - 1e-3)))
        assert pytest.approx(level_c, abs=slack_k + around_k) == water_c(crossing_s)
        earlier = [c for t_s, c in zip(times_s, sampled_c, strict=True) if t_s < crossing_s]
        assert all(up * (c - level_c) < slack_k for c in earlier)


def test_a_hump_is_crossed_on_its_near_side_and_only_below_its_top() -> None:
    """Water warmed by a hot shell and cooled by the air rises and falls: the top decides what is reached."""
    node = TwoNode(1e6, 1e6, 200.0, 50.0, 0.0)
    humps = [node.advance(20.0, 60.0, 0.0, 0.0, 60.0 * i)[0] for i in range(1000)]
    top_c = max(humps)
    assert 0 < humps.index(top_c) < 999
    near_s = node.first_crossing(20.0, 60.0, 0.0, 0.0, 60_000.0, top_c - 0.5, rising=True)
    assert near_s is not None
    assert near_s < 60.0 * humps.index(top_c)
    assert node.first_crossing(20.0, 60.0, 0.0, 0.0, 60_000.0, top_c + 0.01, rising=True) is None
    # the way up is seen, too, in a piece that ends before the top
    assert pytest.approx(near_s) == node.first_crossing(20.0, 60.0, 0.0, 0.0, near_s + 1.0, top_c - 0.5, True)
    # falling below the start is seen past the top
    far_s = node.first_crossing(20.0, 60.0, 0.0, 0.0, 60_000.0, 19.9, rising=False)
    assert far_s is not None
    assert far_s > 60.0 * humps.index(top_c)


def test_a_level_at_the_start_is_crossed_at_once() -> None:
    """At or beyond the level already, in either direction, the answer is 0."""
    node = TwoNode(1e6, 1e6, 200.0, 50.0, 0.0)
    assert node.first_crossing(38.0, 30.0, 0.0, 0.0, 60.0, 38.0, rising=True) == 0.0
    assert node.first_crossing(38.0, 30.0, 0.0, 0.0, 60.0, 38.0, rising=False) == 0.0
    assert node.first_crossing(39.0, 30.0, 0.0, 0.0, 60.0, 38.0, rising=True) == 0.0


@pytest.mark.parametrize(
    "values", [(0.0, 1.0, 1.0, 1.0, 1.0), (1.0, -1.0, 1.0, 1.0, 1.0), (1.0, 1.0, 1.0, float("nan"), 1.0)]
)
def test_impossible_nodes_are_refused(values: tuple[float, ...]) -> None:
    """Water without capacity, and negative or undefined values, raise ValueError."""
    with pytest.raises(ValueError, match="negative"):
        TwoNode(*values)


def test_standing_water_keeps_a_third_after_one_time_constant() -> None:
    """Newton's law: 1/e of the difference is left after tau; none with tau 0, all with tau endless."""
    assert pytest.approx(5.0 + 33.0 / math.e, rel=1e-14) == relax(38.0, 5.0, 7200.0, 7200.0)
    assert relax(38.0, 5.0, 1.0, 0.0) == 5.0
    assert relax(38.0, 5.0, 1e9, math.inf) == 38.0


@settings(deadline=None, max_examples=40)
@given(
    zone_c=st.lists(temps, min_size=1, max_size=30),
    tau_s=st.floats(600.0, 1e6),
    start=st.integers(-200, 2000),
    steps=st.integers(0, 4000),
    temp0_c=temps,
    origin=st.integers(-300, 300),
)
def test_zone_filter_agrees_with_small_steps(
    zone_c: list[float], tau_s: float, start: int, steps: int, temp0_c: float, origin: int
) -> None:
    """Any start and end, before, within and after the series, equals Runge-Kutta steps of 20 s to 1e-6 K."""
    step_s = 20.0
    temp_c = temp0_c
    for i in range(start, start + steps):
        hour = math.floor((i - origin) * step_s / HOUR_S)
        zone = zone_c[min(max(hour, 0), len(zone_c) - 1)]
        k1 = (zone - temp_c) / tau_s
        k2 = (zone - temp_c - k1 * step_s / 2.0) / tau_s
        k3 = (zone - temp_c - k2 * step_s / 2.0) / tau_s
        k4 = (zone - temp_c - k3 * step_s) / tau_s
        temp_c += step_s / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4)
    passed = ZoneFilter(zone_c, tau_s, origin_s=origin * step_s)
    assert pytest.approx(temp_c, abs=1e-6) == passed.temp_at(
        (start + steps) * step_s, start * step_s, temp0_c
    )


@settings(deadline=None)
@given(node=nodes, tw=temps, ts=temps, heat_w=heats, dt_s=spans, level=temps, rising=st.booleans())
def test_a_crossing_is_found_whether_its_end_is_known_or_not(
    node: TwoNode, tw: float, ts: float, heat_w: float, dt_s: float, level: float, rising: bool
) -> None:
    """Told where the piece ends, the same crossing is found, or none."""
    ends = node.advance(tw, ts, heat_w, 0.0, dt_s)
    assume(abs(ends[0] - level) > 1e-6)  # at its very end rounding decides
    known = node.first_between((tw, ts), ends, heat_w, 0.0, dt_s, level, rising)
    assert known == node.first_crossing(tw, ts, heat_w, 0.0, dt_s, level, rising)


def test_zone_filter_without_time_constant_is_the_zone() -> None:
    """With no heat capacity the water is as warm as the hour's zone; an empty series is refused."""
    assert ZoneFilter([1.0, 9.0, 4.0], 0.0, origin_s=-3600.0).temp_at(1800.0, -3600.0, 38.0) == 9.0
    with pytest.raises(ValueError, match="1 hour or more"):
        ZoneFilter([], 100.0)
