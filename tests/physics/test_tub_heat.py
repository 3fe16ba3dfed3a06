"""Tub, shell and bodies of water through time: by hand, against an integrator, and no heat goes missing."""

import math
from dataclasses import dataclass, field, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from cyclesim.physics import tub_heat
from cyclesim.physics.outside import Outside, Trial
from cyclesim.physics.stays import Body, Stay
from cyclesim.physics.tub_heat import Piece, TubHeat
from cyclesim.physics.tub_node import TubNode
from cyclesim.physics.warmth import BEND_K, Reach, below_s, cut, total, warmth
from cyclesim.physics.ways import Ways

L = 1e-3
PER_M3_K = 4.2e6
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
    """Each between tub and tub; those whose name begins with "behind" follow the one before."""
    zones: dict[str, list[float]]
    water_c: float = 38.0
    start_s: int = 0
    pieces: list[Piece] = field(default_factory=list)
    stays: list[Stay] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.now_s = self.start_s
        self.heat = TubHeat(
            self.tub,
            Ways(self.reaches(), PER_M3_K),
            range(len(self.bodies)),
            self.zones,
            self.start_s // HOUR_S * HOUR_S,
            self.start_s,
            self.water_c,
            self.pieces.append,
            lambda _, rows: self.stays.extend(Stay(*row) for row in np.atleast_2d(rows)),
        )

    def reaches(self) -> list[Reach]:
        """A reach for each body."""
        found: list[Reach] = []
        for k, body in enumerate(self.bodies):
            a = "tub"
            if body.name.startswith("behind"):
                a, before = f"node {k}", found[-1]
                found[-1] = replace(before, b=a)
            found.append(Reach(body.name, a, "tub", body.capacity_j_k, body.ua_w_k, body.zone))
        return found

    def advance(self, by_s: int) -> None:
        """Onwards by some seconds."""
        self.now_s += by_s
        assert self.heat.advance(self.now_s) is None

    def bodies_c(self) -> list[float]:
        """Temperature of each body now."""
        return [self.heat.body_c(i, self.now_s) for i in range(len(self.bodies))]


flows = st.sampled_from([0.0, 0.0, 1e-9, 0.002 * L, 0.01 * L, 0.3 * L, 2.0 * L, -0.3 * L])
powers = st.sampled_from([0.0, 500.0, 3000.0])
steps = st.tuples(
    st.tuples(flows, flows, flows),
    st.tuples(powers, powers),
    st.integers(1, 90) | st.integers(100, 4000) | st.integers(10_000, 60_000),
)
Step = tuple[tuple[float, float, float], tuple[float, float], int]
histories = st.lists(steps, min_size=1, max_size=8)
IN_LINE = [BODIES[0], Body("behind it", 30 * L, 1.3e5, 1.5, "room"), BODIES[2]]


def lived(run: Run, history: list[Step]) -> float:
    """Live a history: the first two bodies share one flow, and are heated; the heat that came in [J]."""
    came_in = 0.0
    for flow, heat, lasts in history:
        run.heat.change((flow[0], flow[0], flow[2]), dict(enumerate(heat)))
        run.advance(lasts)
        came_in += sum(heat) * lasts
    return came_in


@settings(deadline=None, max_examples=30)
@given(history=histories, start_s=st.integers(-50_000, 50_000))
def test_no_heat_is_made_or_lost(history: list[Step], start_s: int) -> None:
    """The change of heat content is what came in less every loss reported, in all and of each body."""
    run = Run(TUB, IN_LINE, ZONES, start_s=start_s)
    before = run.heat.heat_content_j()
    came_in = lived(run, history)
    run.heat.close()
    lost = sum(p.cover_loss_j + p.shell_loss_j for p in run.pieces) + sum(s.loss_j for s in run.stays)
    change = run.heat.heat_content_j() - before
    assert math.isclose(came_in - lost, change, abs_tol=1e-9 * before)


@settings(deadline=None, max_examples=25)
@given(history=histories, start_s=st.integers(-50_000, 50_000))
def test_pieces_and_stays_tile_the_time(history: list[Step], start_s: int) -> None:
    """Pieces of the tub and stays of each body follow one another without gap; a piece stays in its hour."""
    run = Run(TUB, IN_LINE, ZONES, start_s=start_s)
    lived(run, history)
    run.heat.close()
    spans = [[p[:2] for p in run.pieces]]
    spans += [[(s.start_s, s.end_s) for s in run.stays if s.body == i] for i in range(3)]
    for mine in spans:
        assert (start_s, run.now_s) == (mine[0][0], mine[-1][1])
        assert [end for _, end in mine[:-1]] == [begin for begin, _ in mine[1:]]
        assert all(begin < end for begin, end in mine)
    assert all(p.start_s // HOUR_S == (p.end_s - 1) // HOUR_S for p in run.pieces)


@settings(deadline=None, max_examples=25)
@given(history=histories, share=st.floats(0.0, 1.0))
def test_two_advances_nearly_equal_one(history: list[Step], share: float) -> None:
    """Where an advance is interrupted changes the tub by less than 0.05 K, and a body by less than 0.5 K.

    What returns is spread over a piece, also where 90 MJ of dry firing stand in 30 L to be flushed out.
    """
    one, two = Run(TUB, IN_LINE, ZONES), Run(TUB, IN_LINE, ZONES)
    for flow, heat, lasts in history:
        for run in (one, two):
            run.heat.change((flow[0], flow[0], flow[2]), dict(enumerate(heat)))
        one.advance(lasts)
        two.advance(int(share * lasts))
        two.advance(lasts - int(share * lasts))
    assert pytest.approx(one.heat.water_c, abs=0.05) == two.heat.water_c
    assert pytest.approx(one.heat.shell_c, abs=0.05) == two.heat.shell_c
    assert pytest.approx(one.bodies_c(), abs=0.5) == two.bodies_c()
    assert [s[:3] for s in one.stays] == [s[:3] for s in two.stays]


@settings(deadline=None, max_examples=30)
@given(history=histories)
def test_the_same_history_gives_the_same_heat(history: list[Step]) -> None:
    """Twice the same, to the last bit."""
    runs = Run(TUB, IN_LINE, ZONES), Run(TUB, IN_LINE, ZONES)
    for run in runs:
        lived(run, history)
    assert (runs[0].pieces, runs[0].stays) == (runs[1].pieces, runs[1].stays)


@settings(deadline=None, max_examples=25)
@given(history=histories)
def test_by_vector_and_slug_by_slug_say_the_same(history: list[Step]) -> None:
    """Water told by vector as long as it is one slug in each reach, and always slug by slug: within BEND_K.

    A passage that is worked out from vectors is linear in them; from slugs each is cut anew where it bends,
    by less than 2 mK, which in 30 L and their housing is 260 J.
    """
    by_vector, by_slug = Run(TUB, IN_LINE, ZONES), Run(TUB, IN_LINE, ZONES)
    water = by_slug.heat._outside._water
    for g in range(len(water.circuits)):
        water.open(g)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(water, "straighten", lambda *_: None)
        lived(by_slug, history)
    lived(by_vector, history)
    for run in (by_vector, by_slug):
        run.heat.close()
    assert pytest.approx(by_vector.heat.water_c, rel=1e-5) == by_slug.heat.water_c
    assert pytest.approx(by_vector.bodies_c(), rel=1e-4, abs=BEND_K) == by_slug.bodies_c()
    ours, theirs = (sorted(run.stays) for run in (by_vector, by_slug))
    assert [stay[:4] for stay in ours] == [stay[:4] for stay in theirs]
    for mine, other in zip(ours, theirs, strict=True):
        assert pytest.approx(mine.loss_j, rel=1e-3, abs=260.0) == other.loss_j
        temps = [(stay.start_c, stay.end_c, stay.coldest_c, stay.warmest_c) for stay in (mine, other)]
        assert pytest.approx(temps[0], rel=1e-4, abs=BEND_K) == temps[1]


def test_stays_are_the_same_however_many_are_told_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Flushes through two legs that stood, one too short to settle: told at the end, and two by two."""
    history: list[Step] = []
    for lasts_s in (700, 900, 40, 800, 3600):
        history += [((0.3 * L, 0.0, 0.0), (500.0, 0.0), lasts_s), ((0.0, 0.0, 0.0), (0.0, 0.0), 20_000)]
    told = []
    for at_once in (500, 2):
        monkeypatch.setattr("cyclesim.physics.stays._TOLD_AT_ONCE", at_once)
        run = Run(TUB, IN_LINE, ZONES)
        lived(run, history)
        run.heat.close()
        told.append(sorted(tuple(stay) for stay in run.stays))
    assert len(told[0]) == 2 * 10 + 1, "two legs that are flushed, and one that stands all the time"
    for at_the_end, by_two in zip(*told, strict=True):
        assert pytest.approx(at_the_end, rel=1e-9, abs=1e-6) == by_two


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
    run.heat.change([1.0 * L], {})
    run.advance(10)
    run.heat.change([0.0], {})
    assert [pytest.approx((5.0 + 38.0) / 2, abs=0.06)] == run.bodies_c()
    assert pytest.approx(38.0 - 16.5 / 84, abs=1e-3) == run.heat.water_c


def test_a_flush_moves_what_stood_in_the_first_leg_into_the_second() -> None:
    """Two legs of 20 L, at 5 and 20 degC: 10 L of tub water, and the second leg is half at 5 degC.

    The 10 L that reach the tub are the second leg's own, at 20 degC: 10 x 4.2 kJ x 18 K.
    """
    zones = still(5.0) | {"warm": [20.0] * 400}
    run = Run(tight(), [COLD, Body("behind", 20 * L, COLD.capacity_j_k, 8.4, "warm")], zones)
    run.advance(1_000_000)
    run.heat.change([1.0 * L, 1.0 * L], {})
    run.advance(10)
    run.heat.change([0.0, 0.0], {})
    first, second = run.bodies_c()
    assert pytest.approx((5.0 + 38.0) / 2, abs=0.05) == first
    assert pytest.approx((5.0 + 20.0) / 2, abs=0.05) == second
    given_j = WATER_J_K * (38.0 - run.heat.water_c)
    assert pytest.approx(10 * 4200.0 * 18.0, rel=4e-3) == given_j  # the tub falls by 0.12 K meanwhile
    assert pytest.approx(5.0, abs=0.05) == run.heat.coldest_c(1, run.now_s)
    run.heat.close()
    assert pytest.approx(5.0, abs=0.05) == run.stays[-1].coldest_c


def test_a_leg_that_has_turned_over_has_the_tubs_water() -> None:
    """After its 20 s leg and tub are at (84 x 38 + 5) / 85, but for 20 s along a leg of tau 10 000 s."""
    run = cold_leg()
    run.heat.change([1.0 * L], {})
    run.advance(20)
    mixed = (84 * 38.0 + 5.0) / 85
    assert pytest.approx(mixed, abs=0.05) == run.heat.water_c
    assert [pytest.approx(run.heat.water_c, abs=0.05)] == run.bodies_c()
    run.advance(5000)
    assert [pytest.approx(5.0 + (run.heat.water_c - 5.0) * (1.0 - 0.001), abs=1e-3)] == run.bodies_c()
    joined = run.bodies_c()
    run.heat.change([0.0], {})
    assert pytest.approx(joined, rel=1e-12) == run.bodies_c()
    run.heat.close()
    assert [False, True] == [s.joined for s in run.stays]


def test_a_trickle_loses_what_its_water_brings() -> None:
    """20 L of tau 10 000 s at 1 mL/s: NTU 2; it loses rho c Q (1 - exp(-2)) 33 K, its end is at 5 + 33 / e2.

    The tub is endless, so that it stays at 38 degC. Told as at the tub's temperature it would be 2.31 times
    as much: NTU / (1 - exp(-NTU)).
    """
    run = Run(tight(1e15), [COLD], still(5.0))
    run.heat.change([0.001 * L], {})
    run.advance(90_000)
    run.heat.close()
    run.stays.clear()
    run.advance(36_000)
    run.heat.close()
    lost_j = sum(stay.loss_j for stay in run.stays)
    brought_w = PER_M3_K * 1e-6 * (1.0 - math.exp(-2.0)) * 33.0
    assert pytest.approx(brought_w * 36_000, rel=5e-3) == lost_j
    assert pytest.approx(5.0 + 33.0 * math.exp(-2.0), abs=0.05) == run.heat.coldest_c(0, run.now_s)
    assert pytest.approx(5.0 + 33.0 * (1.0 - math.exp(-2.0)) / 2.0, abs=0.05) == run.bodies_c()[0]


def test_a_trickle_is_followed_once_a_piece(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pieces of 900 s for ten hours: 40, and a second try of the first; the tub as with two tries of each.

    The stream that leaves the tub may be BEND_K off at the end of a piece, half of that on the mean: at
    4.2 W/K less than 0.005 W.
    """
    tries, end_c = [0, 0], [0.0, 0.0]
    once = Outside.follow

    def counted(self: Outside, *args: float) -> Trial:
        tries[k] += 1
        return once(self, *args)

    monkeypatch.setattr(Outside, "follow", counted)
    for k, bend_k in enumerate((tub_heat.BEND_K, 0.0)):
        monkeypatch.setattr(tub_heat, "BEND_K", bend_k)
        run = Run(tight(), [COLD], still(5.0))
        run.heat.change([0.001 * L], {})
        run.advance(10 * HOUR_S)
        end_c[k] = run.heat.water_c
    assert 40 <= tries[0] <= 44
    assert tries[1] >= 79
    assert end_c[0] == pytest.approx(end_c[1], abs=0.005 * 10 * HOUR_S / WATER_J_K)


def test_a_trickle_is_told_by_the_hour_with_its_coldest_end() -> None:
    """1 mL/s through 20 L beside -10 degC: the end is at -10 + 48 / e2 = -3.5 degC, the mean far above."""
    run = Run(tight(1e15), [COLD], still(-10.0))
    run.heat.change([0.001 * L], {})
    run.advance(30 * HOUR_S)
    last = run.stays[-1]
    assert (29 * HOUR_S, 30 * HOUR_S, True) == last[1:4]
    assert pytest.approx(-10.0 + 48.0 * math.exp(-2.0), abs=0.05) == last.coldest_c
    assert pytest.approx(-10.0 + 48.0 * (1.0 - math.exp(-2.0)) / 2.0, abs=0.05) == last.end_c


def test_heat_into_standing_water_warms_it_where_it_is() -> None:
    """3 kW for 28 s into 20 L that lose none: 84 kJ, 1 K; the tub gets it when water moves."""
    run = Run(tight(3e6), [Body("heater", 20 * L, 8.4e4, 0.0, "z")], still(38.0))
    run.heat.change([0.0], {0: 3000.0})
    run.advance(28)
    assert [pytest.approx(39.0)] == run.bodies_c()
    assert pytest.approx(38.0) == run.heat.water_c
    run.heat.change([1.0 * L], {})
    run.advance(60)
    assert pytest.approx(38.0 + 84e3 / 3.084e6, abs=1e-6) == run.heat.water_c


def test_water_behind_a_heater_is_warmer_by_its_power_over_the_flow() -> None:
    """3 kW into 0.1 L/s: 3000 / 420 = 7.143 K behind it, and the tub gets all of it after 20 s of the leg."""
    heater = Body("heater", 1 * L, 4200.0, 0.0, "z")
    run = Run(tight(1e9), [heater, Body("behind", 2 * L, 8400.0, 0.0, "z")], still(20.0), water_c=20.0)
    run.heat.change([0.1 * L, 0.1 * L], {0: 3000.0})
    run.advance(20)
    assert pytest.approx(20.0, abs=1e-4) == run.heat.water_c
    run.advance(40)
    assert [pytest.approx(20.0 + 3.571, abs=1e-2), pytest.approx(27.143, abs=1e-2)] == run.bodies_c()
    run.heat.change([0.0, 0.0], {})
    assert [pytest.approx(20.0 + 3.571, abs=1e-2), pytest.approx(27.143, abs=1e-2)] == run.bodies_c()


def test_heating_a_tub_from_10_to_38() -> None:
    """1500 L at 3 kW without loss: 16.27 h and 1.721 K/h, from the enthalpies of IAPWS-IF97 (iapws 1.5.5)."""
    run = Run(tight(), [Body("element", 0.0, 0.0, 0.0, "z")], still(10.0), water_c=10.0)
    run.heat.change([0.0], {0: 3000.0})
    run.advance(HOUR_S)
    assert pytest.approx(1.721, rel=3e-3) == run.heat.water_c - 10.0
    reached_s = run.heat.advance(20 * HOUR_S, (38.0, True, None))
    assert reached_s is not None
    assert pytest.approx(16.27, rel=3e-3) == reached_s / HOUR_S


def test_a_tub_cools_from_38_to_36() -> None:
    """1500 L losing 10 W/K to 5 degC: time constant 174.3 h, times ln(33/31): 10.90 h."""
    run = Run(tight(ua_w_k=10.0), [], still(5.0))
    reached_s = run.heat.advance(20 * HOUR_S, (36.0, False, None))
    assert reached_s is not None
    assert pytest.approx(10.90, rel=3e-3) == reached_s / HOUR_S
    assert run.heat.water_c <= 36.0 + 1e-9


@settings(deadline=None, max_examples=30)
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
    """At the second returned the water has reached the level, at every piece's end before it had not.

    Where settled water takes its warmth from the tub as the hour or the heat changes, the tub steps by mK.
    """
    run = Run(TUB, BODIES, ZONES, water_c=water_c)
    run.advance(40_000)
    sign = 1.0 if rising else -1.0
    level_c = run.heat.water_c + off_k
    run.heat.change((flow, 0.0, flow), {1: heat_w})
    run.pieces.clear()
    at_s = run.heat.advance(run.now_s + to_s, (level_c, rising, None))
    for piece in run.pieces[1:]:
        assert sign * (piece.water_c - level_c) < 0.03
    if at_s is not None:
        assert sign * (run.heat.water_c - level_c) > -0.03
    else:
        assert sign * (run.heat.water_c - level_c) < 0.03


def test_a_level_passed_for_a_while_within_a_piece_is_seen() -> None:
    """A warm shell lifts the water by some hundredths before the cover's loss draws it down: one crossing.

    The shell gives 209 W/K x 6 K = 1254 W at first and fades in 1400 s or so, the cover takes 760 W: the top
    is some 0.03 K up after 12 minutes, and at the end of the hour the water is colder than at its start.
    """
    tub = TubNode(6.2e6, 3e5, 209.0, 20.0, "z", 0.0, "z")
    for level_c, seen in [(38.01, True), (38.1, False)]:
        run, other = Run(tub, [], still(0.0)), Run(tub, [], still(0.0))
        run.heat.shell_c = other.heat.shell_c = 44.0
        at_s = run.heat.advance(HOUR_S, (level_c, True, None))
        if not seen:
            assert at_s is None
            assert run.heat.water_c < 38.0
            continue
        assert at_s is not None
        assert 0 < at_s < 720
        other.advance(at_s - 1)
        assert other.heat.water_c < level_c <= run.heat.water_c


def test_a_level_that_rounding_hides_is_seen_as_the_next_piece_begins(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Water on its way through a leg when the hour ends: two pieces, of which the first ends past the level.

    Seen at once, and no piece without length is told.
    """
    run = Run(TUB, BODIES[:1], {"air": [10.0] * 9, "soil": [10.0] * 9, "room": [10.0] * 9}, start_s=3500)
    run.heat.change([0.1 * L], {})
    level_c = run.heat.water_c - 1e-9
    monkeypatch.setattr(TubHeat, "_crossing", lambda *_: None)
    assert 3600 == run.heat.advance(3690, (level_c, False, None))
    assert run.heat.water_c < level_c
    assert [(3500, 3600)] == [(piece.start_s, piece.end_s) for piece in run.pieces]


def test_two_bodies_of_which_one_runs_agree_with_a_numerical_integrator() -> None:
    """Five hours of weather with the first body running, against scipy over 200 slices of it.

    20 L at 0.07 L/s, warmed by 1800 W along its length: what comes back, all losses, and both nodes.
    """
    heat_w, hours, n, flow = 1800.0, 5, 200, 0.07 * L
    run = Run(TUB, BODIES[:2], ZONES)
    run.advance(2 * HOUR_S)
    leg, filter_ = BODIES[:2]
    carried = PER_M3_K * flow

    def rates(hour: int):  # type: ignore[no-untyped-def]
        def rate(_: float, y: np.ndarray) -> np.ndarray:
            water, shell, two, cells = y[0], y[1], y[2], y[3:]
            upstream = np.concatenate(([water], cells[:-1]))
            into_shell = TUB.g_w_k * (water - shell)
            gain = carried * (cells[-1] - water) - TUB.ua_cover_w_k * (water - AIR[hour]) - into_shell
            each = carried * (upstream - cells) + (heat_w - leg.ua_w_k * (cells - SOIL[hour])) / n
            return np.concatenate(
                (
                    [gain / TUB.water_j_k],
                    [(into_shell - TUB.ua_shell_w_k * (shell - SOIL[hour])) / TUB.shell_j_k],
                    [-filter_.ua_w_k * (two - ROOM[hour]) / filter_.capacity_j_k],
                    each * n / leg.capacity_j_k,
                )
            )

        return rate

    begins = run.bodies_c()
    y = np.array([run.heat.water_c, run.heat.shell_c, begins[1], *[begins[0]] * n])
    run.heat.change([flow, 0.0], {0: heat_w})
    for hour in range(2, 2 + hours):
        span = hour * HOUR_S, (hour + 1) * HOUR_S
        y = solve_ivp(rates(hour), span, y, method="BDF", rtol=1e-8, atol=1e-8).y[:, -1]
    run.advance(hours * HOUR_S)
    ours = [run.heat.water_c, run.heat.shell_c, run.bodies_c()[1], run.bodies_c()[0]]
    assert pytest.approx([y[0], y[1], y[2], y[3:].mean()], abs=0.02) == ours


def test_what_comes_into_the_tub_first_is_what_stood_in_front_of_it() -> None:
    """Two pipes of 20 L in line, one in still air of 10, one of 0 degC, for 5 time constants, then 1 L/s.

    20 s of the last pipe's water, then 20 s of the one before: 28 and 38 K apart from the tub, times exp(-5).
    """
    capacity = 20 * L * PER_M3_K
    pipes = [Body("pipe", 20 * L, capacity, capacity / 7200.0, "warm"),
             Body("behind it", 20 * L, capacity, capacity / 7200.0, "cold")]  # fmt: skip
    zones = {"z": [20.0] * 400, "warm": [10.0] * 400, "cold": [0.0] * 400}
    run = Run(tight(), pipes, zones)
    assert [] == run.heat.arriving()
    run.advance(36_000)
    tub_c = run.heat.water_c
    run.heat.change((1 * L, 1 * L), {})
    (stream,) = run.heat.arriving()
    assert pytest.approx(40.0) == total(stream)
    stood = [10.0 + 28.0 * math.exp(-5.0), 38.0 * math.exp(-5.0)]
    middles = [warmth(cut(cut(stream, at - 1.0)[1], 2.0)[0]) / 2.0 for at in (5.0, 15.0, 25.0, 35.0)]
    assert pytest.approx([stood[1], stood[1], stood[0], stood[0]], abs=0.1) == middles
    assert 40.0 == pytest.approx(below_s(stream, tub_c - 3.0))
    assert 20.0 == pytest.approx(below_s(stream, 5.0), abs=0.1)
    run.heat.change((-1 * L, -1 * L), {})
    assert pytest.approx(stood[1] * (1.0 - 40.0 / 7200.0) - 0.1, abs=1e-9) == run.heat.arrives_above_c()
    (backwards,) = run.heat.arriving()
    assert pytest.approx(stood[0], abs=0.1) == backwards[0][1]
    run.advance(600)
    assert [] == run.heat.arriving(), "nothing has been changed now"
    assert math.inf == run.heat.arrives_above_c()
    run.heat.change((0.0, 0.0), {})
    assert [] == run.heat.arriving()


@settings(max_examples=30, deadline=None)
@given(history=histories, chills_w=st.sampled_from([0.0, 0.0, -2000.0]))
def test_what_comes_into_the_tub_is_nowhere_colder_than_told(history: list[Step], chills_w: float) -> None:
    """Followed slug by slug, at each change of drawn histories, with heat put in and taken out."""
    run = Run(TUB, IN_LINE, ZONES)
    for (first, _, third), (one_w, two_w), lasts_s in history:
        run.heat.change((first, first, third), {0: one_w + chills_w, 1: two_w})
        coldest_c = min((t for s in run.heat.arriving() for slug in s for t in slug[1:]), default=math.inf)
        assert run.heat.arrives_above_c() <= coldest_c
        run.advance(lasts_s)


def test_the_time_below_a_level_of_a_slug_that_runs_through_it() -> None:
    """10 s from 30 to 20 degC are 4 s below 24; 5 s at 24 are not below it, 3 s at 23 are."""
    assert 7.0 == pytest.approx(below_s([(10.0, 30.0, 20.0), (5.0, 24.0, 24.0), (3.0, 23.0, 23.0)], 24.0))


def test_a_stay_tells_both_ends_of_what_stands() -> None:
    """Half of a cold pipe is filled with tub water: it stands with 38 degC at one end, 0 at the other."""
    capacity = 20 * L * PER_M3_K
    pipe = Body("pipe", 20 * L, capacity, capacity / 7200.0, "cold")
    run = Run(tight(), [pipe], {**still(20.0), "cold": [0.0] * 400})
    run.advance(20 * 3600)
    run.heat.change((1 * L,), {})
    run.advance(10)
    tub_c = run.heat.water_c
    run.heat.change((0.0,), {})
    run.advance(600)
    run.heat.close()
    stay = run.stays[-1]
    assert not stay.joined
    assert pytest.approx([0.0, 38.0], abs=0.1) == [stay.coldest_c, stay.warmest_c]
    assert pytest.approx(0.5 * tub_c, abs=0.2) == stay.start_c


def test_cold_water_is_told_in_the_stay_that_it_passed_in_where_what_follows_bends() -> None:
    """What stood at 0 degC passes the leg behind, which stood at 20: told there, and not after the stop.

    30 W/K of 0.2 L/s are 0.036 transfer units, so that the settled legs bend by more than one slug may.
    """
    bodies = [Body("leg", 20 * L, 9e4, 30.0, "z"), Body("behind", 20 * L, 9e4, 30.0, "warm")]
    run = Run(tight(), bodies, still(0.0) | {"warm": [20.0] * 400})
    run.advance(500_000)
    for flow, lasts_s in ((0.2 * L, 3600), (0.0, 60)):
        run.heat.change([flow, flow], {})
        run.advance(lasts_s)
    run.heat.close()
    _, moving, stood = (stay for stay in run.stays if stay.body == 1)
    assert pytest.approx(0.0, abs=1e-6) == moving.coldest_c
    assert stood.coldest_c > 30.0
