"""Tub, shell and bodies of water through time: by hand, against an integrator, and no heat goes missing."""

import math
from dataclasses import dataclass, field

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from cyclesim.physics.tub_heat import Body, Piece, Stay, TubHeat, TubNode

L = 1e-3
HOUR_S = 3600
# 1500 L measured at 10 degC and the mean heat capacity from 10 to 38 degC: IAPWS-IF97, iapws 1.5.5
WATER_J_K = 1499.55 * 117148.0 / 28.0

AIR = [8.0 + 6.0 * math.sin(k / 24 * 2 * math.pi) + (k % 5) for k in range(400)]
SOIL = [11.0 + k / 400 for k in range(400)]
ROOM = [19.0 if k % 7 else 12.0 for k in range(400)]
ZONES = {"air": AIR, "soil": SOIL, "room": ROOM}

TUB = TubNode(6.2e6, 2.6e6, 209.0, 5.0, "air", 4.0, "soil")
BODIES = [
    Body("leg", 20 * L, 9.0e4, 6.0, "soil"),
    Body("filter", 30 * L, 1.3e5, 1.5, "room"),
    Body("return", 8 * L, 3.6e4, 2.5, "air"),
]


def still(temp_c: float) -> dict[str, list[float]]:
    """One zone that never changes."""
    return {"z": [temp_c] * 400}


def tight(water_j_k: float = WATER_J_K, ua_w_k: float = 0.0) -> TubNode:
    """Water in a shell without heat capacity or loss of its own."""
    return TubNode(water_j_k, 0.0, 1e-9, ua_w_k, "z", 0.0, "z")


@dataclass
class Run:
    """A tub with what it reported."""

    tub: TubNode
    bodies: list[Body]
    zones: dict[str, list[float]]
    water_c: float = 38.0
    start_s: int = 0
    pieces: list[Piece] = field(default_factory=list)
    stays: list[Stay] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.now_s = self.start_s
        self.heat = TubHeat(
            self.tub,
            self.bodies,
            self.zones,
            self.start_s // HOUR_S * HOUR_S,
            self.start_s,
            self.water_c,
            self.pieces.append,
            self.stays.append,
        )

    def advance(self, by_s: int) -> None:
        """Onwards by some seconds."""
        self.now_s += by_s
        assert self.heat.advance(self.now_s) is None

    def bodies_c(self) -> list[float]:
        """Temperature of each body now."""
        return [self.heat.body_c(i, self.now_s) for i in range(len(self.bodies))]


flows = st.sampled_from([0.0, 0.0, 1e-9, 0.01 * L, 0.3 * L, 2.0 * L])
steps = st.tuples(
    st.tuples(flows, flows, flows),
    st.sampled_from([0.0, 500.0, 3000.0]),
    st.sampled_from([0.0, 0.0, 3000.0]),
    st.integers(1, 90) | st.integers(100, 4000) | st.integers(10_000, 60_000),
)
histories = st.lists(steps, min_size=1, max_size=8)


@settings(deadline=None)
@given(history=histories, start_s=st.integers(-50_000, 50_000))
def test_no_heat_is_made_or_lost(
    history: list[tuple[tuple[float, ...], float, float, int]], start_s: int
) -> None:
    """The change of heat content, trapped heat included, is what came in less every loss reported."""
    run = Run(TUB, BODIES, ZONES, start_s=start_s)
    before, came_in = run.heat.heat_content_j(), 0.0
    for flow, heat_w, trapped_w, lasts in history:
        run.heat.change(flow, heat_w, trapped_w)
        run.advance(lasts)
        came_in += (heat_w + trapped_w) * lasts
    run.heat.close()
    lost = sum(p.cover_loss_j + p.shell_loss_j for p in run.pieces) + sum(s.loss_j for s in run.stays)
    change = run.heat.heat_content_j() - before
    assert math.isclose(came_in - lost, change, abs_tol=1e-9 * before)


@settings(deadline=None)
@given(history=histories, start_s=st.integers(-50_000, 50_000))
def test_pieces_and_stays_tile_the_time(
    history: list[tuple[tuple[float, ...], float, float, int]], start_s: int
) -> None:
    """Pieces of the tub and stays of each body follow one another without gap; a piece stays in its hour."""
    run = Run(TUB, BODIES, ZONES, start_s=start_s)
    for flow, heat_w, trapped_w, lasts in history:
        run.heat.change(flow, heat_w, trapped_w)
        run.advance(lasts)
    run.heat.close()
    spans = [[p[:2] for p in run.pieces]]
    spans += [[(s.start_s, s.end_s) for s in run.stays if s.body == i] for i in range(3)]
    for mine in spans:
        assert (start_s, run.now_s) == (mine[0][0], mine[-1][1])
        assert [end for _, end in mine[:-1]] == [begin for begin, _ in mine[1:]]
        assert all(begin < end for begin, end in mine)
    assert all(p.start_s // HOUR_S == (p.end_s - 1) // HOUR_S for p in run.pieces)


@settings(deadline=None)
@given(history=histories, share=st.floats(0.0, 1.0))
def test_two_advances_equal_one(
    history: list[tuple[tuple[float, ...], float, float, int]], share: float
) -> None:
    """Where an advance is interrupted changes nothing."""
    one, two = Run(TUB, BODIES, ZONES), Run(TUB, BODIES, ZONES)
    for flow, heat_w, trapped_w, lasts in history:
        for run in (one, two):
            run.heat.change(flow, heat_w, trapped_w)
        one.advance(lasts)
        two.advance(int(share * lasts))
        two.advance(lasts - int(share * lasts))
    assert pytest.approx(one.heat.water_c, rel=1e-9) == two.heat.water_c
    assert pytest.approx(one.heat.shell_c, rel=1e-9) == two.heat.shell_c
    assert pytest.approx(one.bodies_c(), rel=1e-9) == two.bodies_c()
    assert [s.body for s in one.stays] == [s.body for s in two.stays]
    for a, b in zip(one.stays, two.stays, strict=True):
        assert pytest.approx(a, rel=1e-9, abs=1e-3) == b


@settings(deadline=None)
@given(history=histories)
def test_the_same_history_gives_the_same_heat(
    history: list[tuple[tuple[float, ...], float, float, int]],
) -> None:
    """Twice the same, to the last bit."""
    runs = Run(TUB, BODIES, ZONES), Run(TUB, BODIES, ZONES)
    for run in runs:
        for flow, heat_w, trapped_w, lasts in history:
            run.heat.change(flow, heat_w, trapped_w)
            run.advance(lasts)
    assert (runs[0].pieces, runs[0].stays) == (runs[1].pieces, runs[1].stays)


def test_a_body_that_stands_relaxes_to_its_zone() -> None:
    """90 kJ/K losing 6 W/K: time constant 15 000 s; from 38 beside 8 degC it is at 8 + 30/e after that."""
    run = Run(tight(), [Body("leg", 20 * L, 9e4, 6.0, "z")], still(8.0))
    run.advance(15_000)
    assert [pytest.approx(8.0 + 30.0 / math.e)] == run.bodies_c()
    run.advance(1_000_000)
    assert [pytest.approx(8.0, abs=1e-9)] == run.bodies_c()
    run.heat.close()
    assert pytest.approx(9e4 * 30.0) == run.stays[0].loss_j


COLD = Body("leg", 20 * L, 8.4e4, 8.4, "z")


def cold_leg() -> Run:
    """A tub of 84 times the capacity of its leg, and the leg at the 5 degC of its zone."""
    run = Run(tight(84 * 8.4e4), [COLD], still(5.0))
    run.advance(1_000_000)
    assert [pytest.approx(5.0, abs=1e-9)] == run.bodies_c()
    return run


def test_a_flush_of_half_a_leg_exchanges_half_its_heat() -> None:
    """10 of 20 L change places in 10 s: the leg is half way to the tub, which cools by half of 33 / 84 K."""
    run = cold_leg()
    run.heat.change([1.0 * L], 0.0, 0.0)
    run.advance(10)
    run.heat.change([0.0], 0.0, 0.0)
    assert [pytest.approx((5.0 + 38.0) / 2)] == run.bodies_c()
    assert pytest.approx(38.0 - 16.5 / 84) == run.heat.water_c


def test_a_flush_reaches_the_second_leg_behind_the_first() -> None:
    """Two legs of 20 L in line: 30 L of tub water fill one and half of the other, and no more is moved."""
    run = Run(tight(), [COLD, Body("behind", 20 * L, COLD.capacity_j_k, 1.0, "z")], still(5.0), water_c=38.0)
    run.advance(1_000_000)
    run.heat.change([1.0 * L, 1.0 * L], 0.0, 0.0, ahead_m3=[0.0, 20 * L])
    run.advance(30)
    run.heat.change([0.0, 0.0], 0.0, 0.0)
    first, second = run.bodies_c()
    assert pytest.approx(38.0, abs=0.1) == first
    assert pytest.approx((5.0 + 38.0) / 2, abs=0.3) == second
    given_j = WATER_J_K * (38.0 - run.heat.water_c)
    assert pytest.approx(1.5 * 33.0 * COLD.capacity_j_k, rel=0.02) == given_j


def test_a_leg_that_has_turned_over_is_at_the_tubs_temperature() -> None:
    """After its 20 s the leg and the tub are one: (84 x 38 + 5) / 85, and they stay together."""
    run = cold_leg()
    run.heat.change([1.0 * L], 0.0, 0.0)
    run.advance(19)
    assert [pytest.approx(5.0)] == run.bodies_c()
    run.advance(1)
    assert [pytest.approx((84 * 38.0 + 5.0) / 85)] == run.bodies_c() == [run.heat.water_c]
    run.advance(5000)
    assert [run.heat.water_c] == run.bodies_c()
    joined = run.heat.water_c
    run.heat.change([0.0], 0.0, 0.0)
    assert [joined] == run.bodies_c()
    assert [False, True] == [s.joined for s in run.stays]
    assert (20, pytest.approx((84 * 38.0 + 5.0) / 85)) == (
        run.stays[1].start_s - 1_000_000,
        run.stays[1].start_c,
    )


def test_a_trickle_is_not_waited_for() -> None:
    """A leg due in 20 s joins although another would take an hour, and that one joins in its own time."""
    run = Run(tight(), [COLD, Body("slow", 3.5995 * L, 1.5e4, 1.0, "z")], still(5.0))
    run.heat.change([1.0 * L, 0.001 * L], 0.0, 0.0)
    run.advance(4000)
    run.heat.close()
    assert [(0, 20), (1, 3600)] == [(s.body, s.end_s) for s in run.stays if not s.joined]


def test_trapped_heat_reaches_the_tub_when_it_ends() -> None:
    """3 kW for 100 s into standing water: nothing in the tub until then, 300 kJ of it afterwards."""
    run = Run(tight(3e6), [], still(38.0))
    run.heat.change([], 0.0, 3000.0)
    run.advance(100)
    assert (pytest.approx(38.0), 300_000.0) == (run.heat.water_c, run.heat.trapped_j)
    run.heat.change([], 0.0, 0.0)
    assert (pytest.approx(38.1), 0.0) == (run.heat.water_c, run.heat.trapped_j)


def test_heating_a_tub_from_10_to_38() -> None:
    """1500 L at 3 kW without loss: 16.27 h and 1.721 K/h, from the enthalpies of IAPWS-IF97 (iapws 1.5.5)."""
    run = Run(tight(), [], still(10.0), water_c=10.0)
    run.heat.change([], 3000.0, 0.0)
    run.advance(HOUR_S)
    assert pytest.approx(1.721, rel=3e-3) == run.heat.water_c - 10.0
    reached_s = run.heat.advance(20 * HOUR_S, (38.0, True))
    assert reached_s is not None
    assert pytest.approx(16.27, rel=3e-3) == reached_s / HOUR_S


def test_a_tub_cools_from_38_to_36() -> None:
    """1500 L losing 10 W/K to 5 degC: time constant 174.3 h, times ln(33/31): 10.90 h."""
    run = Run(tight(ua_w_k=10.0), [], still(5.0))
    reached_s = run.heat.advance(20 * HOUR_S, (36.0, False))
    assert reached_s is not None
    assert pytest.approx(10.90, rel=3e-3) == reached_s / HOUR_S
    assert run.heat.water_c <= 36.0 + 1e-9


@settings(deadline=None)
@given(
    heat_w=st.floats(0.0, 6000.0),
    water_c=st.floats(20.0, 40.0),
    off_k=st.floats(-2.0, 2.0),
    rising=st.booleans(),
    flow=flows,
    to_s=st.integers(1, 90_000),
)
def test_a_crossing_comes_at_the_first_whole_second(
    heat_w: float, water_c: float, off_k: float, rising: bool, flow: float, to_s: int
) -> None:
    """At the second returned the water has reached the level, at every piece's end before it had not."""
    run = Run(TUB, BODIES, ZONES, water_c=water_c)
    run.advance(40_000)
    sign = 1.0 if rising else -1.0
    level_c = run.heat.water_c + off_k
    run.heat.change((flow, 0.0, flow), heat_w, 0.0)
    run.pieces.clear()
    begin = run.now_s
    at_s = run.heat.advance(begin + to_s, (level_c, rising))

    other = Run(TUB, BODIES, ZONES, water_c=water_c)
    other.advance(40_000)
    other.heat.change((flow, 0.0, flow), heat_w, 0.0)
    end = begin + to_s if at_s is None else at_s
    moments = {p.end_s for p in run.pieces} | {end - 1, *range(begin, end, 307)}
    for moment in sorted(t for t in moments if begin <= t < end):
        other.heat.advance(moment)
        assert sign * (other.heat.water_c - level_c) < 1e-9
    other.heat.advance(end)
    assert pytest.approx(other.heat.water_c, rel=1e-9) == run.heat.water_c
    due = [moving for moving in run.stays if moving.end_s == end]  # a cold leg joins in this very second
    if at_s is not None and not due:
        assert sign * (run.heat.water_c - level_c) > -1e-9
    if at_s is None:
        assert sign * (run.heat.water_c - level_c) < 1e-9 or due


def test_a_level_passed_for_a_while_within_a_piece_is_seen() -> None:
    """A warm shell lifts the water by some hundredths before the cover's loss draws it down: one crossing.

    The shell gives 209 W/K x 6 K = 1254 W at first and fades in 1400 s or so, the cover takes 760 W: the top
    is some 0.03 K up after 12 minutes, and at the end of the hour the water is colder than at its start.
    """
    tub = TubNode(6.2e6, 3e5, 209.0, 20.0, "z", 0.0, "z")
    for level_c, seen in [(38.01, True), (38.1, False)]:
        run, other = Run(tub, [], still(0.0)), Run(tub, [], still(0.0))
        run.heat.shell_c = other.heat.shell_c = 44.0
        at_s = run.heat.advance(HOUR_S, (level_c, True))
        if not seen:
            assert at_s is None
            assert run.heat.water_c < 38.0
            continue
        assert at_s is not None
        assert 0 < at_s < 720
        other.advance(at_s - 1)
        assert other.heat.water_c < level_c <= run.heat.water_c


def test_two_bodies_of_which_one_runs_agree_with_a_numerical_integrator() -> None:
    """Five hours of weather with the first body running, against scipy's integration of the same equations.

    The running body (20 L at 0.07 L/s: 285.7 s, so from second 286 on) mixes with the tub and then shares its
    temperature; the other relaxes to its zone throughout.
    """
    heat_w, hours = 1800.0, 5
    run = Run(TUB, BODIES[:2], ZONES)
    run.advance(2 * HOUR_S)
    leg, filter_ = BODIES[:2]

    def rates(leg_joined: bool, hour: int):  # type: ignore[no-untyped-def]
        def rate(_: float, y: list[float]) -> list[float]:
            water, shell, one, two = y
            capacity = TUB.water_j_k + (leg.capacity_j_k if leg_joined else 0.0)
            to_leg = leg.ua_w_k * (one - SOIL[hour])
            gain = heat_w - TUB.ua_cover_w_k * (water - AIR[hour]) - TUB.g_w_k * (water - shell)
            water_rate = (gain - (to_leg if leg_joined else 0.0)) / capacity
            into_shell = TUB.g_w_k * (water - shell) - TUB.ua_shell_w_k * (shell - SOIL[hour])
            return [
                water_rate,
                into_shell / TUB.shell_j_k,
                water_rate if leg_joined else -to_leg / leg.capacity_j_k,
                -filter_.ua_w_k * (two - ROOM[hour]) / filter_.capacity_j_k,
            ]

        return rate

    def known(y: list[float], leg_joined: bool, begin: int, end: int) -> list[float]:
        hour = begin // HOUR_S
        found = solve_ivp(rates(leg_joined, hour), (begin, end), y, method="Radau", rtol=1e-10, atol=1e-9)
        values: list[float] = found.y[:, -1].tolist()
        return values

    y = [run.heat.water_c, run.heat.shell_c, *run.bodies_c()]
    run.heat.change([0.07 * L, 0.0], heat_w, 0.0)
    now = 2 * HOUR_S
    y = known(y, False, now, now + 286)
    both = (TUB.water_j_k * y[0] + leg.capacity_j_k * y[2]) / (TUB.water_j_k + leg.capacity_j_k)
    y = known([both, y[1], both, y[3]], True, now + 286, now + HOUR_S)
    for hour in range(3, 2 + hours):
        y = known(y, True, hour * HOUR_S, (hour + 1) * HOUR_S)
    run.advance(hours * HOUR_S)
    assert pytest.approx(y, rel=1e-7) == [run.heat.water_c, run.heat.shell_c, *run.bodies_c()]
