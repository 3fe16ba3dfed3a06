"""The network solver: conserved mass and energy, known answers, an independent solver, and odd plants."""

from collections.abc import Iterator
from itertools import count, pairwise
from math import log10, pi, sqrt
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cyclesim.physics.curves import PumpCurve
from cyclesim.physics.network import TUB, Drop, Duty, Jet, Link, PipeLink, PumpLink, solve
from cyclesim.physics.water import density_kg_m3, viscosity_pa_s

L_MIN = 1 / 60000
STRONG = PumpCurve.from_points([(0, 15), (250 * L_MIN, 13), (460 * L_MIN, 9.3), (600 * L_MIN, 5)])
WEAK = PumpCurve.quadratic(3, 200 * L_MIN)


def leg(name: str, a: str, b: str, length_m: float = 8, lift_m: float = 0) -> PipeLink:
    """A 63 PN10 leg with a few elbows."""
    return PipeLink(name, a, b, length_m, 0.057, 3.0, lift_m=lift_m)


def running(name: str, a: str, b: str, curve: PumpCurve = STRONG, *, check_valve: bool = False) -> PumpLink:
    """A pump that runs on its curve."""
    return PumpLink(name, a, b, curve, curve, check_valve)


def standing(name: str, a: str, b: str, curve: PumpCurve = STRONG, *, check_valve: bool = False) -> PumpLink:
    """A pump that stands still."""
    return PumpLink(name, a, b, None, curve, check_valve)


def plain_loss(link: Link, q: float, temp_c: float) -> float:
    """Head lost at flow q from the formulas of the books, written without the code under test."""
    if isinstance(link, Drop | Jet):
        return link.head_m * q * abs(q) / link.flow_m3_s**2
    if isinstance(link, PumpLink):
        if link.curve is not None:
            return -link.curve.head_m(q)
        return link.stopped_curve.head_m(0) * q * abs(q) / link.stopped_curve.last_flow_m3_s**2
    speed = q / (pi / 4 * link.bore_m**2)
    reynolds = abs(speed) * link.bore_m * density_kg_m3(temp_c) / viscosity_pa_s(temp_c)
    x, factor = 8.0, 0.0
    for _ in range(60):
        x = -2 * log10(link.roughness_m / link.bore_m / 3.7 + 2.51 * x / max(reynolds, 4000))
    if reynolds > 0:
        factor = 64 / min(reynolds, 2300)
    if reynolds > 2300:
        share = min((reynolds - 2300) / 1700, 1.0)
        factor = (1 - share) * factor + share / x**2
    friction = (factor * link.length_m / link.bore_m + link.k) * speed * abs(speed) / (2 * 9.80665)
    return link.lift_m + friction


def check_balances(links: list[Link], duty: Duty, temp_c: float) -> None:
    """Assert that no node gains water and that every loss agrees with the heads, bar closed one-way links."""
    gain = dict.fromkeys([end for link in links for end in (link.a, link.b)], 0.0)
    for link in links:
        flow = duty.flows_m3_s[link.name]
        gain[link.a] -= flow
        gain[link.b] += flow
        if isinstance(link, Drop) and link.shut:
            assert flow == 0
            continue
        one_way = (
            (isinstance(link, PumpLink) and link.check_valve)
            or (isinstance(link, Drop) and link.one_way)
            or (isinstance(link, PipeLink) and link.lift_m > 0)
        )
        if one_way:
            assert flow >= -1e-9
        if not {link.a, link.b} <= set(duty.heads_m):
            continue
        fall = duty.heads_m[link.a] - duty.heads_m[link.b]
        if one_way and flow == 0:
            assert fall <= plain_loss(link, 0.0, temp_c) + 1e-5
        else:
            lost, more = plain_loss(link, flow, temp_c), plain_loss(link, flow + 1e-7, temp_c)
            rounding = 2e-9 + 2e-12 * abs(more - lost) / 1e-7  # m, and m3/s at the slope of the loss
            assert pytest.approx(lost, abs=rounding) == fall
    assert all(abs(gained) <= 1e-12 for node, gained in gain.items() if node != TUB)


def manifold(node: str, jets: int, name: str = "jet") -> list[Link]:
    """Jets along a pipe, 400 mm apart."""
    found: list[Link] = []
    for i in range(jets):
        found += [
            PipeLink(f"{name}_reach_{i}", node, f"{name}_{i}", 0.4, 0.057, 0.3),
            Jet(f"{name}_{i}", f"{name}_{i}", TUB, 38 * L_MIN, 6),
        ]
        node = f"{name}_{i}"
    return found


# --- Answers known beforehand ---------------------------------------------------------------------------


def test_two_unlike_branches_share_by_the_root_of_their_losses() -> None:
    """Of two parallel drops, one with four times the other's K, the first gets half the other's flow."""
    links = [
        running("pump", TUB, "out"),
        Drop("tight", "out", TUB, 4, 0.005),
        Drop("wide", "out", TUB, 1, 0.005),
    ]
    flows = solve(links, 30).flows_m3_s
    assert pytest.approx(flows["wide"] / 2, rel=1e-9) == flows["tight"]
    # by hand: in parallel 1/sqrt(K) adds up, so the pair is one drop of 1 m at 7.5 L/s
    one = solve([running("pump", TUB, "out"), Drop("pair", "out", TUB, 1, 0.0075)], 30).flows_m3_s["pair"]
    assert pytest.approx(one, rel=1e-9) == flows["pump"]


def test_what_starts_in_one_part_moves_no_last_digit_in_another() -> None:
    """Parts that meet in the tub alone have the very flows that each has with the other pump standing."""

    def both(one: PumpLink, other: PumpLink) -> dict[str, float]:
        jets = [leg("suction", TUB, "s"), one, *manifold("p", 6)]
        sun = [other, Drop("collectors", "c", "back", 1, 2.5 * L_MIN), leg("back", "back", TUB, 9)]
        return dict(solve([*jets, *sun], 36).flows_m3_s)

    small = PumpCurve.quadratic(3, 4 * L_MIN)
    together = both(running("main", "s", "p"), running("sun", TUB, "c", small))
    main = both(running("main", "s", "p"), standing("sun", TUB, "c", small))
    sun = both(standing("main", "s", "p"), running("sun", TUB, "c", small))
    assert together["suction"] > 300 * L_MIN
    assert together["back"] > L_MIN
    assert together == {name: main[name] + sun[name] for name in together}  # each is 0.0 in one of them


def test_orifice_law() -> None:
    """A jet of 38 L/min at 6 m passes half of that at a quarter of the head."""
    tank = PumpCurve((0.0, 1.0), (1.5, 1.5), (0.0, 0.0))
    duty = solve([running("tank", TUB, "in", tank), Jet("jet", "in", TUB, 38 * L_MIN, 6)], 36)
    assert pytest.approx(19 * L_MIN, rel=1e-9) == duty.flows_m3_s["jet"]


def test_pumps_in_parallel_and_in_series() -> None:
    """At equal head two equal pumps side by side double the flow; in series they double the head."""
    alone = solve([running("p", TUB, "out"), Drop("load", "out", TUB, 8, 300 * L_MIN)], 20)
    q, h = alone.flows_m3_s["load"], alone.heads_m["out"]
    beside = [running("p1", TUB, "out"), running("p2", TUB, "out"), Drop("load", "out", TUB, h, 2 * q)]
    duty = solve(beside, 20)
    assert pytest.approx(2 * q, rel=1e-9) == duty.flows_m3_s["load"]
    assert pytest.approx(h, rel=1e-9) == duty.heads_m["out"]
    behind = [running("p1", TUB, "mid"), running("p2", "mid", "out"), Drop("load", "out", TUB, 2 * h, q)]
    duty = solve(behind, 20)
    assert pytest.approx(q, rel=1e-9) == duty.flows_m3_s["load"]
    assert pytest.approx(2 * h, rel=1e-9) == duty.heads_m["out"]


def test_manifold_starves_its_last_jet_a_little() -> None:
    """Along six jets each gets no more than the one before, and all together what the pump gives."""
    duty = solve([leg("suction", TUB, "s"), running("main", "s", "p"), *manifold("p", 6)], 36)
    jets = [duty.flows_m3_s[f"jet_{i}"] for i in range(6)]
    assert all(one >= other for one, other in pairwise(jets))
    assert jets[0] > jets[-1] * 1.001
    assert pytest.approx(duty.flows_m3_s["main"], rel=1e-12) == sum(jets)


# --- Two pumps ------------------------------------------------------------------------------------------


def two_pumps(first: PumpLink, second: PumpLink) -> list[Link]:
    """A shared suction leg, two pumps from `s`, each with its own leg to three jets."""
    return [
        leg("suction", TUB, "s"), first, second,
        leg("left", "l", "lj"), *manifold("lj", 3, "left_jet"),
        leg("right", "r", "rj"), *manifold("rj", 3, "right_jet"),
    ]  # fmt: skip


def test_shared_suction_costs_each_pump() -> None:
    """On one suction leg either of two pumps gives less than alone, and the leg carries both."""
    both = solve(two_pumps(running("p1", "s", "l"), running("p2", "s", "r")), 36)
    alone = solve(two_pumps(running("p1", "s", "l"), standing("p2", "s", "r", check_valve=True)), 36)
    assert both.flows_m3_s["p1"] < alone.flows_m3_s["p1"]
    assert pytest.approx(both.flows_m3_s["p1"] + both.flows_m3_s["p2"]) == both.flows_m3_s["suction"]
    assert both.heads_m["s"] < alone.heads_m["s"] < 0


def test_idle_pump_behind_its_check_valve_passes_nothing() -> None:
    """With its check valve an idle pump carries exactly zero, and so does its leg; that is no problem."""
    duty = solve(two_pumps(running("p1", "s", "l"), standing("p2", "s", "r", check_valve=True)), 36)
    assert [duty.flows_m3_s[name] for name in ("p2", "right", "right_jet_0")] == [0.0, 0.0, 0.0]
    assert duty.problems == ()


def test_back_fed_pump_robs_the_jets() -> None:
    """Without a check valve the other pump's water runs back through the idle one, and the jets get less."""

    def plant(check_valve: bool) -> list[Link]:
        return [leg("s1", TUB, "a"), running("p1", "a", "out"), leg("s2", TUB, "b"),
                standing("p2", "b", "out", check_valve=check_valve), *manifold("out", 6)]  # fmt: skip

    with_valve, without = solve(plant(True), 36), solve(plant(False), 36)
    assert without.flows_m3_s["p2"] < -10 * L_MIN
    assert all(without.flows_m3_s[f"jet_{i}"] < 0.9 * with_valve.flows_m3_s[f"jet_{i}"] for i in range(6))
    back = f"{-without.flows_m3_s['p2'] / L_MIN:.0f} L/min"
    assert f"p2 stands still without a check valve: {back} run back through it" in without.problems
    assert f"water runs backwards in s2, {back}: it comes back through p2" in without.problems


def test_back_fed_pump_by_hand() -> None:
    """A 9 m header feeds a standing pump of 3 m at 200 L/min backwards: 200 sqrt(9/3) L/min come back."""
    tank = PumpCurve((0.0, 1.0), (9.0, 9.0), (0.0, 0.0))
    duty = solve([running("tank", TUB, "out", tank), standing("idle", TUB, "out", WEAK)], 20)
    assert pytest.approx(-200 * sqrt(3) * L_MIN, rel=1e-9) == duty.flows_m3_s["idle"]


def test_weak_pump_beside_a_strong_one() -> None:
    """A pump too weak to open its check valve moves nothing; without the valve water runs back through it."""
    load = Drop("load", "out", TUB, 8, 300 * L_MIN)
    duty = solve([running("big", TUB, "out"), running("weak", TUB, "out", WEAK, check_valve=True), load], 20)
    head = duty.heads_m["out"]
    assert duty.flows_m3_s["weak"] == 0.0
    assert duty.problems == (f"weak cannot push against big: 3.0 m at no flow against {head:.1f} m",)
    duty = solve([running("big", TUB, "out"), running("weak", TUB, "out", WEAK), load], 20)
    assert duty.flows_m3_s["weak"] < 0
    assert any(said.startswith("weak is pushed backwards") for said in duty.problems)


def test_water_passes_on_through_an_idle_pump_in_series() -> None:
    """A check valve stops what comes back, not what another pump pushes through in the right direction."""
    links = [running("main", TUB, "mid"), standing("booster", "mid", "out", WEAK, check_valve=True),
             leg("return", "out", TUB)]  # fmt: skip
    duty = solve(links, 20)
    assert duty.flows_m3_s["booster"] > 100 * L_MIN
    assert duty.pump_heads_m["booster"] < 0


def test_even_pumps_pass_nothing_back() -> None:
    """Of two pumps a hundredth of a millimetre apart, one behind a check valve, neither feeds the other."""
    hair = PumpCurve((0.0, 1.0), (2e-5, 2e-5), (0.0, 0.0))
    links: list[Link] = [running("p1", "n", "x"), running("p2", "n", TUB, check_valve=True)]
    links += [leg("spout", "n", TUB, lift_m=3), running("draw", "x", "y", hair)]
    links += [Drop("easy", "y", TUB, 1, 0.005), Drop("other", "x", TUB, 1, 0.005)]
    flows = solve(links, 20).flows_m3_s
    assert flows["draw"] > 1e-6
    assert [flows["p1"], flows["p2"]] == [0.0, 0.0]


# --- What is said of odd plants -------------------------------------------------------------------------


def only_problem(links: list[Link]) -> str:
    """The one problem of a plant."""
    (said,) = solve(links, 36).problems
    return said


def test_run_out_is_told() -> None:
    """A pump past its last point is named with both flows."""
    said = only_problem([running("main", TUB, "out"), Drop("load", "out", TUB, 1, 600 * L_MIN)])
    flow = solve([running("main", TUB, "out"), Drop("load", "out", TUB, 1, 600 * L_MIN)], 36).flows_m3_s[
        "main"
    ]
    assert said == f"main runs at {flow / L_MIN:.0f} L/min, past the last point of its curve (600 L/min)"


def test_shut_ways_are_told() -> None:
    """A pump against a shut valve, or drawing from one, moves nothing, and the valve is named."""
    valve = Drop("valve", "v", "w", 0.1, 100 * L_MIN, shut=True)
    against = [leg("suction", TUB, "s"), running("main", "s", "v"), valve, leg("return", "w", TUB)]
    assert (
        only_problem(against) == "main pumps against a shut way: valve; no water moves in suction and return"
    )
    draws = [leg("suction", TUB, "v"), valve, running("main", "w", "p"), leg("return", "p", TUB)]
    assert only_problem(draws) == "main draws from a shut way: valve; no water moves in suction and return"
    assert set(solve(against, 36).flows_m3_s.values()) == {0.0}


def test_check_valve_the_wrong_way_round_is_told() -> None:
    """A check valve that faces the pump is named."""
    wrong = Drop("flap", "w", "p", 0.1, 100 * L_MIN, one_way=True)
    said = only_problem([running("main", TUB, "p"), wrong, leg("return", "w", TUB)])
    cause = "main pumps against flap, which lets water pass only the other way"
    assert said == f"{cause}; no water moves in flap and return"


def test_dead_end_is_told() -> None:
    """A pump whose pipe leads nowhere has no way to the tub."""
    said = only_problem([running("main", TUB, "p"), leg("stub", "p", "nowhere")])
    assert said == "main has no way to the tub; no water moves in stub"


def test_circuit_without_the_tub_is_told() -> None:
    """A pump in a ring of its own sends water round, and its nodes have no head to report."""
    duty = solve([running("main", "x", "y"), leg("ring", "y", "x", 20), leg("apart", TUB, TUB)], 36)
    assert duty.problems == ("main sends water round without reaching the tub",)
    assert duty.heads_m == {TUB: 0.0}
    assert duty.flows_m3_s["apart"] == 0.0


def test_spout_that_is_not_reached_is_told() -> None:
    """A free outlet above the head that is there stays dry while the rest runs."""
    links = [running("main", TUB, "p", WEAK), leg("return", "p", TUB), leg("spout", "p", TUB, lift_m=2.5)]
    duty = solve(links, 36)
    assert duty.flows_m3_s["spout"] == 0.0
    head = duty.heads_m["p"]
    assert duty.problems == (f"spout gets no water: its outlet needs 2.5 m and {head:.1f} m are there",)


def test_standing_plant_stands() -> None:
    """With no pump running every flow is exactly zero and nothing is complained about."""
    links = two_pumps(standing("p1", "s", "l"), standing("p2", "s", "r", check_valve=True))
    duty = solve([*links, leg("spout", "l", TUB, lift_m=0.3)], 36)
    assert set(duty.flows_m3_s.values()) == {0.0}
    assert duty.problems == ()


@pytest.mark.parametrize("links", [[], [Drop("v", TUB, "x", 1, 0.01, shut=True)], [leg("l", "x", "y")]])
def test_next_to_nothing_is_solved(links: list[Link]) -> None:
    """No links, only a shut one, or only one away from the tub: nothing flows, nothing fails."""
    duty = solve(links, 36)
    assert all(flow == 0 for flow in duty.flows_m3_s.values())
    assert duty.heads_m == {TUB: 0.0}


# --- Whatever the network -------------------------------------------------------------------------------


@pytest.mark.parametrize("temp_c", [10, 38])
def test_agrees_with_a_general_root_finder(temp_c: float) -> None:
    """scipy's root finder on the plain equations of two pumps on one suction leg gives the same flows."""
    from scipy.optimize import root

    links = two_pumps(running("p1", "s", "l"), running("p2", "s", "r", WEAK))
    duty = solve(links, temp_c)
    nodes = sorted({end for link in links for end in (link.a, link.b)} - {TUB})

    def residuals(unknown: np.ndarray) -> list[float]:
        flows = dict(zip([link.name for link in links], unknown[: len(links)] / 1000, strict=True))
        heads = dict(zip(nodes, unknown[len(links) :], strict=True)) | {TUB: 0.0}
        energy = [heads[x.a] - heads[x.b] - plain_loss(x, flows[x.name], temp_c) for x in links]
        mass = [1000 * sum(flows[x.name] * ((x.b == n) - (x.a == n)) for x in links) for n in nodes]
        return energy + mass

    start = np.concatenate([np.full(len(links), 2.0), np.full(len(nodes), 3.0)])
    found = root(residuals, start, tol=1e-12)
    assert found.success, found.message
    ours = [duty.flows_m3_s[link.name] * 1000 for link in links]
    assert list(found.x[: len(links)]) == pytest.approx(ours, rel=1e-6)


@st.composite
def networks(draw: st.DrawFn) -> list[Link]:
    """Series and parallel networks of any links between tub and tub, pumps of either state among them."""
    names, found = count(), []

    def element(a: str, b: str) -> Link:
        name = f"x{next(names)}"
        kind = draw(st.sampled_from(["pipe", "pipe", "drop", "jet", "pump"]))
        if kind == "pipe":
            size, k = (draw(st.floats(0.1, 30)), draw(st.floats(0.02, 0.08))), draw(st.floats(0, 10))
            return PipeLink(name, a, b, *size, k, lift_m=draw(st.sampled_from([0, 0, 0, 1.0])))
        if kind == "drop":
            one_way, shut = draw(st.booleans()), draw(st.sampled_from([False] * 4 + [True]))
            return Drop(name, a, b, draw(st.floats(0.05, 5)), 300 * L_MIN, one_way=one_way, shut=shut)
        if kind == "jet":
            return Jet(name, a, b, draw(st.floats(20, 60)) * L_MIN, 6)
        curve = draw(st.sampled_from([STRONG, WEAK, STRONG.at_speed(0.5)]))
        return PumpLink(name, a, b, draw(st.sampled_from([curve, curve, None])), curve, draw(st.booleans()))

    def build(a: str, b: str, depth: int) -> None:
        shape = draw(st.sampled_from(["one", "series", "series", "parallel"])) if depth else "one"
        if shape == "one":
            found.append(element(a, b))
        elif shape == "parallel":
            for _ in range(draw(st.integers(2, 3))):
                build(a, b, depth - 1)
        else:
            middle = f"n{next(names)}"
            build(a, middle, depth - 1)
            build(middle, b, depth - 1)

    build(TUB, "out", 4)
    found.append(running("driver", "out", "last"))
    build("last", TUB, 4)
    return found


@settings(max_examples=300, deadline=None)
@given(networks(), st.floats(2, 40))
def test_mass_and_energy_are_conserved(links: list[Link], temp_c: float) -> None:
    """In any series-parallel network no node gains water and every link's loss agrees with its heads."""
    duty = solve(links, temp_c)
    assert not any("could not be worked out" in said for said in duty.problems)
    check_balances(links, duty, temp_c)


@settings(max_examples=100, deadline=None)
@given(networks(), st.floats(2, 40), st.randoms(use_true_random=False))
def test_the_order_of_links_does_not_matter(links: list[Link], temp_c: float, chance: Random) -> None:
    """Writing the links in another order gives the same duty."""
    other = list(links)
    chance.shuffle(other)
    assert solve(links, temp_c).flows_m3_s == pytest.approx(solve(other, temp_c).flows_m3_s, abs=1e-7)


@st.composite
def loads(draw: st.DrawFn, *, jets_only: bool = False) -> list[Link]:
    """Passive series-parallel loads from `out` to the tub."""
    names: Iterator[int] = count()
    found: list[Link] = []

    def build(a: str, b: str, depth: int) -> None:
        if depth == 0:
            name = f"x{next(names)}"
            if jets_only or draw(st.booleans()):
                found.append(Jet(name, a, b, draw(st.floats(20, 200)) * L_MIN, 6))
            else:
                found.append(PipeLink(name, a, b, draw(st.floats(0.5, 20)), draw(st.floats(0.03, 0.08)), 2))
        elif draw(st.booleans()):
            build(a, b, depth - 1)
            build(a, b, depth - 1)
        else:
            middle = f"n{next(names)}"
            build(a, middle, depth - 1)
            build(middle, b, depth - 1)

    build("out", TUB, draw(st.integers(0, 4)))
    return found


@settings(max_examples=100, deadline=None)
@given(loads(), st.floats(0.3, 0.98))
def test_more_speed_is_more_flow_everywhere(links: list[Link], share: float) -> None:
    """In a loop of friction alone a faster pump raises every flow."""
    slow = solve([running("main", TUB, "out", STRONG.at_speed(share)), *links], 36).flows_m3_s
    fast = solve([running("main", TUB, "out"), *links], 36).flows_m3_s
    assert all(fast[name] > slow[name] > 0 for name in slow)


@settings(max_examples=100, deadline=None)
@given(loads(jets_only=True), st.floats(0.2, 1.5))
def test_orifices_scale_with_speed(links: list[Link], share: float) -> None:
    """Against orifices alone a share of the speed is that share of every flow, its square of every head."""
    full = solve([running("main", TUB, "out"), *links], 36)
    part = solve([running("main", TUB, "out", STRONG.at_speed(share)), *links], 36)
    for name, flow in full.flows_m3_s.items():
        assert pytest.approx(flow * share, rel=1e-8) == part.flows_m3_s[name]
    for node, head in full.heads_m.items():
        assert pytest.approx(head * share**2, rel=1e-8, abs=1e-9) == part.heads_m[node]


def test_half_speed_against_friction_alone() -> None:
    """Half the speed is half the flow, a quarter of the head and an eighth of the hydraulic power."""
    load = Drop("load", "out", TUB, 9, 400 * L_MIN)
    full = solve([running("main", TUB, "out"), load], 36)
    half = solve([running("main", TUB, "out", STRONG.at_speed(0.5)), load], 36)
    assert pytest.approx(full.flows_m3_s["load"] / 2, rel=1e-9) == half.flows_m3_s["load"]
    assert pytest.approx(full.heads_m["out"] / 4, rel=1e-9) == half.heads_m["out"]
    power = [duty.flows_m3_s["load"] * duty.heads_m["out"] for duty in (full, half)]
    assert pytest.approx(power[0] / 8, rel=1e-9) == power[1]
