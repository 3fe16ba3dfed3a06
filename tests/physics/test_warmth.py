"""Water that carries its heat: against the exponential profile, many stirred slices, and its own balance."""

from itertools import pairwise
from math import exp, expm1

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cyclesim.physics import warmth
from cyclesim.physics.settled import Stirred, forces, profile, settle
from cyclesim.physics.warmth import Reach, Slug, Surroundings
from cyclesim.physics.water_age import Pattern, Plug, pattern_of

RHO_C = 4.15e6
TAU_S = 9000.0


def reach(name: str, a: str, b: str, litres: float, tau_s: float = TAU_S, zone: str = "air") -> Reach:
    """A reach with the heat capacity of so many litres of water."""
    capacity = litres * 1e-3 * RHO_C
    return Reach(name, a, b, capacity, capacity / tau_s, zone)


def layout(reaches: list[Reach], flows: list[float]) -> Pattern:
    """How water moves through the reaches, by warmth volume."""
    return pattern_of([Plug(r.name, r.a, r.b, r.capacity_j_k / RHO_C) for r in reaches], 0, flows)


def held_j(slugs: list[Slug]) -> float:
    """Heat above 0 degC."""
    return RHO_C * warmth.warmth(slugs)


def at_place(slugs: list[Slug], share: float) -> float:
    """Temperature at a share of the volume, from the front."""
    return warmth.cut(slugs, share * warmth.total(slugs))[1][0][1]


NTUS = (0.01, 0.05, 0.2, 1.0, 2.0, 5.0)


@pytest.mark.parametrize("ntu", NTUS)
@pytest.mark.parametrize("steps", [1, 7])
def test_a_long_flow_ends_in_the_exponential_profile(ntu: float, steps: int) -> None:
    """T_out = T_z + (T_in - T_z) exp(-NTU), loss rho c Q (1 - exp(-NTU)) (T_in - T_z), by the formula."""
    one = reach("leg", "tub", "tub", 20.0)
    flow = one.ua_w_k / (RHO_C * ntu)
    passes_s = 0.02 / flow
    pattern, k_s = layout([one], [flow]), Surroundings(-5.0)
    contents = {0: [(0.02, 3.0, 3.0)]}
    for _ in range(steps):
        stream = [(1.05 * passes_s / steps, 38.0, 38.0)]
        contents = warmth.move([one], pattern, contents, stream, {0: k_s}, RHO_C).contents
    assert contents[0][0][1] == pytest.approx(-5.0 + 43.0 * exp(-ntu), abs=0.02)
    for share in (0.25, 0.5, 0.9):
        exact = -5.0 + 43.0 * exp(-ntu * (1.0 - share))
        assert at_place(contents[0], share) == pytest.approx(exact, abs=5e-3 * (38.0 - exact) + 2e-3)
    after = warmth.move([one], pattern, contents, [(600.0, 38.0, 38.0)], {0: k_s}, RHO_C)
    lost = RHO_C * flow * -expm1(-ntu) * 43.0 * 600.0
    assert after.lost_j[0] == pytest.approx(lost, rel=5e-3)
    assert -after.returned_j == pytest.approx(lost, rel=5e-3)
    settled = settle([one], pattern, RHO_C, ["air"])
    at = forces(settled.zones, 1, 38.0, {"air": -5.0}, {})
    assert settled.outlet[0] @ at == pytest.approx(-5.0 + 43.0 * exp(-ntu), rel=1e-12)
    assert settled.lost_w[0] @ at * 600.0 == pytest.approx(lost, rel=1e-12)
    assert settled.held_j[0] @ at == pytest.approx(held_j(after.contents[0]), rel=2e-4)


@pytest.mark.parametrize("ntu", NTUS)
def test_the_profile_that_is_left_is_the_exponential_with_all_its_heat(ntu: float) -> None:
    """At every place within 5 mK, and the mean -5 + 43 (1 - exp(-NTU)) / NTU exactly."""
    one = reach("leg", "tub", "tub", 20.0)
    flow = one.ua_w_k / (RHO_C * ntu)
    mean = -5.0 + 43.0 * -expm1(-ntu) / ntu
    slugs = profile(one, flow, 38.0, -5.0 + 43.0 * exp(-ntu), one.capacity_j_k * mean, RHO_C)
    assert held_j(slugs) == pytest.approx(one.capacity_j_k * mean, rel=1e-12)
    for share in np.linspace(0.0, 0.999, 40):
        assert at_place(slugs, share) == pytest.approx(-5.0 + 43.0 * exp(-ntu * (1.0 - share)), abs=5e-3)


@pytest.mark.parametrize("ntu", NTUS)
def test_a_zone_that_swings_is_followed_still_and_flowing(ntu: float) -> None:
    """Hour by hour between -10 and 10 degC: 3 h still, flow for six passages, 3 h still, beside 2000 slices.

    The slices are stepped along the characteristic (one slice per step), each nearing its zone exactly: for
    one reach that is exact but for the slice's own width.
    """
    one, slices = reach("leg", "tub", "tub", 20.0), 2000
    flow = one.ua_w_k / (RHO_C * ntu)
    step_s = 0.02 / flow / slices
    pattern = layout([one], [flow])
    zone = [10.0 * (-1.0) ** k for k in range(10_000)]
    cells = np.full(slices, 30.0)
    contents, now, lost = [(0.02, 30.0, 30.0)], 0.0, 0.0
    cells_lost = 0.0

    def stand_on(cells: np.ndarray, seconds: float) -> np.ndarray:
        nonlocal contents, now
        end = now + seconds
        while now < end - 1e-9:
            until = min(end, 3600.0 * (now // 3600.0 + 1.0))
            z = zone[int(now // 3600.0)]
            cells = z + (cells - z) * exp(-(until - now) / TAU_S)
            contents = warmth.stand(contents, until - now, 1.0 / TAU_S, z / TAU_S)
            now = until
        return cells

    cells = stand_on(cells, 3 * 3600.0)
    assert held_j(contents) == pytest.approx(one.capacity_j_k * cells.mean(), rel=1e-9)
    begins, before = now, held_j(contents)
    passages = 6.0 if ntu > 0.1 else 20.0
    end, came = now + passages * 0.02 / flow, 0.0
    while now < end - 1e-9:
        until = min(end, 3600.0 * (now // 3600.0 + 1.0), now + 900.0)
        near = {0: Surroundings(zone[int(now // 3600.0)])}
        moved = warmth.move([one], pattern, {0: contents}, [(until - now, 38.0, 38.0)], near, RHO_C)
        contents, now = moved.contents[0], until
        lost, came = lost + moved.lost_j[0], came - moved.returned_j
    assert came == pytest.approx(lost + held_j(contents) - before, rel=1e-9)
    at, kept = begins, exp(-step_s / TAU_S)
    for _ in range(round((end - begins) / step_s)):  # half a step before entering, half after
        z = zone[int((at + 0.5 * step_s) // 3600.0)]
        fresh = z + (38.0 - z) * exp(-0.5 * step_s / TAU_S)
        cells_lost += one.capacity_j_k / slices * float(np.sum(cells - z)) * (1.0 - kept)
        cells = np.concatenate(([fresh], (z + (cells - z) * kept)[:-1]))
        at += step_s
    assert lost == pytest.approx(cells_lost, rel=5e-3, abs=5e-3 * one.capacity_j_k)
    assert contents[0][1] == pytest.approx(cells[-1], abs=0.05)
    cells = stand_on(cells, 3 * 3600.0)
    assert held_j(contents) == pytest.approx(one.capacity_j_k * cells.mean(), rel=5e-3, abs=400.0)


temps = st.floats(-20.0, 45.0)
sizes = st.floats(0.05, 5.0)


@st.composite
def lines(draw: st.DrawFn, whole: float) -> list[Slug]:
    """Some slugs that add up to *whole*."""
    parts = draw(st.lists(sizes, min_size=1, max_size=5))
    return [(part * whole / sum(parts), draw(temps), draw(temps)) for part in parts]


@st.composite
def cases(
    draw: st.DrawFn,
) -> tuple[list[Reach], Pattern, dict[int, list[Slug]], dict[int, Surroundings], float]:
    """Suction, filter with a pump's heat, two legs side by side of which one is a trickle, a return."""
    reaches = [
        reach("suction", "tub", "in", draw(st.floats(1.0, 40.0)), zone="soil"),
        Reach("pump", "in", "out", draw(st.sampled_from([0.0, 0.002 * RHO_C])), 0.0),
        reach("main", "out", "back", draw(st.floats(1.0, 40.0))),
        reach("bleed", "out", "back", draw(st.floats(0.5, 40.0)), draw(st.floats(1000.0, 20_000.0))),
        reach("return", "back", "tub", draw(st.floats(1.0, 40.0))),
    ]
    if not reaches[1].capacity_j_k:
        reaches[1] = Reach("pump", "in", "out", 0.0)
    share, flow = draw(st.floats(0.001, 0.5)), draw(st.floats(2e-5, 3e-3))
    flows = [flow, flow, flow * (1.0 - share), flow * share, flow]
    if draw(st.booleans()):
        flows = [-q for q in flows]
    contents = {i: draw(lines(r.capacity_j_k / RHO_C)) for i, r in enumerate(reaches) if r.capacity_j_k}
    beside = {i: Surroundings(draw(temps)) for i in (0, 2, 3, 4)} | {
        1: Surroundings(0.0, draw(st.floats(0.0, 2e3)))
    }
    return reaches, layout(reaches, flows), contents, beside, draw(st.floats(1.0, 3600.0))


@settings(max_examples=150, deadline=None)
@given(cases(), temps)
def test_no_heat_is_lost_between_reaches_or_made(case, tub_c: float) -> None:  # type: ignore[no-untyped-def]
    """Heat in less heat out less losses is what the contents gained, each and all, to 1e-9."""
    reaches, pattern, contents, beside, dt = case
    moved = warmth.move(reaches, pattern, contents, [(dt, tub_c, tub_c)], beside, RHO_C)
    gained = sum(held_j(moved.contents[i]) - held_j(contents[i]) for i in contents)
    heat = sum(b.heat_w for b in beside.values()) * dt
    scale = RHO_C * abs(pattern.flows[0]) * dt * 50.0 + sum(r.capacity_j_k for r in reaches) * 50.0
    assert abs(heat - sum(moved.lost_j.values()) - moved.returned_j - gained) < 1e-9 * scale
    assert moved.lost_j[1] == pytest.approx(0.0, abs=1e-9 * scale)
    for i, slugs in moved.contents.items():
        assert warmth.total(slugs) == pytest.approx(reaches[i].capacity_j_k / RHO_C, rel=1e-9)


@settings(max_examples=150, deadline=None)
@given(cases(), temps)
def test_no_water_is_colder_than_all_that_it_has_met(case, tub_c: float) -> None:  # type: ignore[no-untyped-def]
    """Without heat put in, every temperature stays between the coldest and the warmest of what there was."""
    reaches, pattern, contents, beside, dt = case
    beside = {**beside, 1: Surroundings(0.0)}
    met = [tub_c, *(b.zone_c for i, b in beside.items() if i != 1)]
    met += [t for slugs in contents.values() for t in warmth.ends(slugs)]
    moved = warmth.move(reaches, pattern, contents, [(dt, tub_c, tub_c)], beside, RHO_C)
    for slugs in moved.contents.values():
        low, high = warmth.ends(slugs)
        assert min(met) - 0.02 <= low <= high <= max(met) + 0.02


@settings(max_examples=100, deadline=None)
@given(cases(), st.floats(-5.0, 40.0), st.floats(0.0, 40.0), st.integers(1, 5))
def test_a_reach_never_loses_more_than_its_water_brings(
    case,
    zone_c: float,
    above_k: float,
    pieces: int,  # type: ignore[no-untyped-def]
) -> None:
    """A leg beside colder air loses at most what came in and what it held, both above its zone."""
    reaches, pattern, contents, _, dt = case
    beside = {i: Surroundings(zone_c) for i in range(5)}
    tub_c, lost, came = zone_c + above_k, dict.fromkeys(range(5), 0.0), RHO_C * abs(pattern.flows[0]) * dt
    contents = {i: [(v, zone_c + abs(a), zone_c + abs(b)) for v, a, b in s] for i, s in contents.items()}
    had = sum(held_j(s) - RHO_C * warmth.total(s) * zone_c for s in contents.values())
    for _ in range(pieces):
        moved = warmth.move(reaches, pattern, contents, [(dt / pieces, tub_c, tub_c)], beside, RHO_C)
        contents = moved.contents
        for i, j in moved.lost_j.items():
            assert j >= -1e-6 * (abs(j) + came + 1e3)
            lost[i] += j
    assert sum(lost.values()) <= came * above_k + had + 1e-6 * came


@settings(max_examples=100, deadline=None)
@given(cases(), temps, st.integers(2, 6))
def test_cutting_the_time_in_pieces_changes_nothing(case, tub_c: float, pieces: int) -> None:  # type: ignore[no-untyped-def]
    """Contents and losses are those of one go, but for bend and two joinings, BEND_K each."""
    reaches, pattern, contents, beside, dt = case
    at_once = warmth.move(reaches, pattern, contents, [(dt, tub_c, tub_c)], beside, RHO_C)
    now, lost = contents, dict.fromkeys(range(5), 0.0)
    for _ in range(pieces):
        moved = warmth.move(reaches, pattern, now, [(dt / pieces, tub_c, tub_c)], beside, RHO_C)
        now = moved.contents
        lost = {i: lost[i] + moved.lost_j[i] for i in lost}
    for i in contents:
        assert held_j(now[i]) == pytest.approx(
            held_j(at_once.contents[i]), abs=3 * warmth.BEND_K * reaches[i].capacity_j_k
        )
        assert lost[i] == pytest.approx(
            at_once.lost_j[i], rel=2e-3, abs=3 * warmth.BEND_K * reaches[i].capacity_j_k + 0.01 * RHO_C * 1e-3
        )


@pytest.mark.parametrize("flow_l_s", [0.02, 0.4, -0.4])
def test_many_stirred_slices_agree(flow_l_s: float) -> None:
    """The same network in slices: each step moves every one to the place of the next."""
    reaches = [
        reach("suction", "tub", "in", 12.0),
        Reach("heater", "in", "out", 4.0e-3 * RHO_C, 2.0, "air"),
        reach("main", "out", "back", 8.0),
        reach("bleed", "out", "back", 4.0, 5000.0),
        reach("return", "back", "tub", 12.0),
    ]
    flow = flow_l_s * 1e-3
    flows = [flow, flow, 0.8 * flow, 0.2 * flow, flow]
    pattern = layout(reaches, flows)
    beside = {
        0: Surroundings(5.0),
        1: Surroundings(20.0, 3000.0),
        2: Surroundings(-10.0),
        3: Surroundings(-10.0),
        4: Surroundings(0.0),
    }
    contents = {0: [(0.012, 4.0, 12.0)], 1: [(0.004, 20.0, 20.0)], 2: [(0.008, -2.0, 3.0)]}
    contents |= {3: [(0.004, 1.0, 1.0)], 4: [(0.012, 6.0, 6.0)]}
    seconds = 27.0 / abs(flow_l_s)
    moved = warmth.move(reaches, pattern, contents, [(seconds, 38.0, 38.0)], beside, RHO_C)
    step, cells = 0.005 / abs(flow_l_s), {}
    for i, slugs in contents.items():  # inlet first
        n = round(warmth.total(slugs) / abs(flows[i]) / step)
        cells[i] = np.array([at_place(slugs, (k + 0.5) / n) for k in range(n)])[::-1].copy()
    order = [0, 1, 2, 3, 4] if flow > 0.0 else [4, 2, 3, 1, 0]
    for _ in range(round(seconds / step)):
        ends = {i: c[-1] for i, c in cells.items()}
        both = 0.8 * ends[2] + 0.2 * ends[3]
        came = {0: 38.0, 1: ends[0], 2: ends[1], 3: ends[1], 4: both}
        if flow < 0.0:
            came = {4: 38.0, 2: ends[4], 3: ends[4], 1: both, 0: ends[1]}
        for i in order:
            r, near, before = reaches[i], beside[i], cells[i]
            cells[i] = np.concatenate(([came[i]], before[:-1]))
            cells[i] += step * (near.heat_w / r.capacity_j_k + r.rate_1_s * (near.zone_c - before))
    for i, slugs in moved.contents.items():
        assert held_j(slugs) / reaches[i].capacity_j_k == pytest.approx(cells[i].mean(), abs=0.05), i
        assert at_place(slugs, 0.5) == pytest.approx(cells[i][len(cells[i]) // 2], abs=0.1), i


def test_water_that_circles_keeps_its_heat() -> None:
    """A pump pushes more than comes from the tub, the rest goes round: balance, and the end as solved."""
    reaches = [
        reach("suction", "tub", "in", 5.0),
        reach("pump", "in", "out", 3.0),
        reach("bypass", "out", "in", 4.0),
        reach("return", "out", "tub", 5.0),
    ]
    pattern = layout(reaches, [0.2e-3, 1.0e-3, 0.8e-3, 0.2e-3])
    beside = {i: Surroundings(0.0, 500.0 if i == 1 else 0.0) for i in range(4)}
    contents = {i: [(r.capacity_j_k / RHO_C, 10.0, 10.0)] for i, r in enumerate(reaches)}
    turn = warmth.turn_s(reaches, pattern, RHO_C)
    assert turn == pytest.approx(5.0)  # 4 L at 0.8 L/s
    for _ in range(400):
        moved = warmth.move(reaches, pattern, contents, [(turn, 38.0, 38.0)], beside, RHO_C)
        gained = sum(held_j(moved.contents[i]) - held_j(contents[i]) for i in contents)
        given = 500.0 * turn - sum(moved.lost_j.values()) - moved.returned_j
        assert given == pytest.approx(gained, abs=1e-3)
        contents = moved.contents
    settled = settle(reaches, pattern, RHO_C, ["air"])
    at = forces(settled.zones, 4, 38.0, {"air": 0.0}, {1: 500.0})
    for k, i in enumerate(settled.moving):
        assert held_j(contents[i]) == pytest.approx(float(settled.held_j[k] @ at), rel=1e-3)
        assert contents[i][0][1] == pytest.approx(float(settled.outlet[k] @ at), abs=0.02)


def test_settled_rows_add_up() -> None:
    """What all lose is what the tub gives and the heat put in; two zones, one reach without loss."""
    reaches = [
        reach("suction", "tub", "in", 12.0, zone="soil"),
        Reach("pump", "in", "out", 0.0),
        reach("return", "out", "tub", 12.0),
    ]
    pattern = layout(reaches, [1e-3] * 3)
    settled = settle(reaches, pattern, RHO_C, ["soil", "air"])
    at = forces(settled.zones, 3, 38.0, {"soil": 8.0, "air": -3.0}, {1: 400.0})
    lost = float((settled.lost_w @ at).sum())
    back = float(settled.outlet[2] @ at)
    assert lost == pytest.approx(400.0 + RHO_C * 1e-3 * (38.0 - back), rel=1e-9)
    first = 8.0 + 30.0 * exp(-12.0 / TAU_S)
    assert back == pytest.approx(
        -3.0 + (first + 400.0 / (RHO_C * 1e-3) + 3.0) * exp(-12.0 / TAU_S), rel=1e-12
    )


def test_a_slug_is_cut_turned_and_joined() -> None:
    """By hand: 1 m3 of 10 to 20 and 3 m3 of 20 to 50, cut at 2 m3 where it is 30."""
    line: list[Slug] = [(1.0, 10.0, 20.0), (3.0, 20.0, 50.0)]
    first, rest = warmth.cut(line, 2.0)
    assert first == [(1.0, 10.0, 20.0), (1.0, 20.0, 30.0)]
    assert rest == [(2.0, 30.0, 50.0)]
    assert warmth.turned(line) == [(3.0, 50.0, 20.0), (1.0, 20.0, 10.0)]
    assert warmth.joined(line) == [(4.0, 10.0, 50.0)]
    assert warmth.warmth(line) == 15.0 + 105.0
    assert warmth.ends(line) == (10.0, 50.0)
    assert warmth.mix([(1.0, [(2.0, 0.0, 20.0)]), (3.0, [(1.0, 10.0, 10.0), (1.0, 30.0, 30.0)])]) == [
        (1.0, 7.5, 10.0),
        (1.0, 25.0, 27.5),
    ]


def test_the_wall_holds_a_front_of_warmth_back() -> None:
    """Half of the capacity in the wall: the front is at the end when twice the water has passed."""
    one = Reach("pipe", "tub", "tub", 2.0 * 0.01 * RHO_C)  # 10 L of water, as much again in the wall
    content: list[Slug] = [(0.02, 10.0, 10.0)]
    outlet = []
    for _ in range(24):
        content, out = warmth.push(content, [(1.0, 40.0, 40.0)], 1e-3, one.rate_1_s, 0.0)
        outlet.append(out[-1][2])
    rises = next(k for k, (a, b) in enumerate(pairwise(outlet), start=2) if b > 25.0 >= a)
    assert rises == 21


def test_circling_water_counts_as_stirred_over_long_stretches() -> None:
    """20 min in one go: heat balances, it nears the solved end with 20 L of 0.2 L/s, 1 - exp(-t / 100 s)."""
    reaches = [
        reach("suction", "tub", "in", 5.0),
        reach("pump", "in", "out", 3.0),
        reach("bypass", "out", "in", 4.0),
        reach("return", "out", "tub", 8.0),
    ]
    pattern = layout(reaches, [0.2e-3, 1.0e-3, 0.8e-3, 0.2e-3])
    settled = settle(reaches, pattern, RHO_C, ["air"])
    at = forces(settled.zones, 4, 38.0, {"air": 0.0}, {1: 500.0})
    contents = {i: [(r.capacity_j_k / RHO_C, 10.0, 10.0)] for i, r in enumerate(reaches)}
    stirred = Stirred(reaches, pattern, settled, RHO_C)
    for seconds in (100.0, 1200.0):
        done = stirred.over(seconds, contents, at)
        gained = sum(held_j(done.contents[i]) - held_j(contents[i]) for i in contents)
        assert 500.0 * seconds - sum(done.lost_j.values()) - done.returned_j == pytest.approx(
            gained, rel=1e-9
        )
        share = 1.0 - exp(-seconds * (1.0 / 100.0 + 1.0 / TAU_S))
        whole = float((settled.held_j @ at).sum()) - sum(held_j(s) for s in contents.values())
        assert gained == pytest.approx(share * whole, rel=1e-6)


def test_settled_water_beside_a_tub_that_warms_is_what_it_was_as_it_left() -> None:
    """By the closed form along one reach, and slug by slug through a fork whose sides take 40 and 160 s.

    2 K/h for an hour; T(s) = -5 + (38 - r s + 5) exp(-k s) so long after it left a tub of 38 degC.
    """
    r = 2.0 / 3600.0
    one = [reach("leg", "tub", "tub", 20.0)]
    settled = settle(one, layout(one, [1e-4]), RHO_C, ["air"])
    at = forces(settled.zones, 1, 38.0, {"air": -5.0}, {}, r)
    k, stay_s = one[0].rate_1_s, one[0].capacity_j_k / (RHO_C * 1e-4)
    ages = np.linspace(0.0, stay_s, 20_001)
    course = -5.0 + (43.0 - r * ages) * np.exp(-k * ages)
    assert settled.outlet[0] @ at == pytest.approx(float(course[-1]), rel=1e-12)
    held = one[0].capacity_j_k * float(np.trapezoid(course, ages)) / stay_s
    assert settled.held_j[0] @ at == pytest.approx(held, rel=1e-8)
    assert settled.lost_w[0] @ at == pytest.approx(k * held + 5.0 * one[0].ua_w_k, rel=1e-8)

    fork = [
        reach("out", "tub", "fork", 12.0),
        reach("near", "fork", "join", 20.0),
        reach("far", "fork", "join", 80.0),
        reach("back", "join", "tub", 12.0),
    ]
    pattern = layout(fork, [1e-3, 0.5e-3, 0.5e-3, 1e-3])
    settled, contents = settle(fork, pattern, RHO_C, ["air"]), {}
    contents = {i: [(x.capacity_j_k / RHO_C, 36.0, 36.0)] for i, x in enumerate(fork)}
    beside = {i: Surroundings(-5.0, 700.0 if i == 1 else 0.0) for i in range(4)}
    done = warmth.move(fork, pattern, contents, [(3600.0, 36.0, 38.0)], beside, RHO_C)
    at = forces(settled.zones, 4, 38.0, {"air": -5.0}, {1: 700.0}, r)
    for place, i in enumerate(settled.moving):
        assert held_j(done.contents[i]) / fork[i].capacity_j_k == pytest.approx(
            float(settled.held_j[place] @ at) / fork[i].capacity_j_k, abs=5e-3
        )
        assert done.contents[i][0][1] == pytest.approx(float(settled.outlet[place] @ at), abs=0.01)
