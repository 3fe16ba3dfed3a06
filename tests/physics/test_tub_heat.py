"""Tub, shell and bodies of water through time: any history, an integrator, and no heat goes missing."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from cyclesim.physics.stays import Body
from cyclesim.physics.tub_heat import TubHeat
from cyclesim.physics.tub_node import TubNode
from cyclesim.physics.warmth import BEND_K
from tests.physics.tub_run import (
    AIR,
    BODIES,
    HOUR_S,
    IN_LINE,
    PER_M3_K,
    ROOM,
    SOIL,
    TUB,
    WATER_J_K,
    ZONES,
    L,
    Run,
    Step,
    flows,
    histories,
    lived,
    still,
    tight,
)


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


@pytest.mark.parametrize(("later_s", "heat_w"), [(0, 0.0), (0, 3000.0), (20, 3000.0)])
def test_a_close_makes_no_heat_as_water_has_settled_that_left_a_tub_of_another_warmth(
    later_s: int, heat_w: float
) -> None:
    """300 L that have cooled for 20 h pass at 8 L/s, and 0.9 K of the tub's 36 go into them meanwhile.

    A close tells what has been; the water goes on as it is, and the tub's temperature stays.
    """
    capacity = 300 * L * PER_M3_K
    store = Body("store", 300 * L, capacity, capacity / 72_000.0, "cool")
    run = Run(tight(2 * WATER_J_K), [store], still(20.0) | {"cool": [20.0] * 400}, water_c=36.0)
    run.advance(20 * HOUR_S)
    run.heat.change((8 * L,), {0: heat_w})
    before, began_s = run.heat.heat_content_j(), run.now_s
    run.advance(38 + later_s)
    tub_c = run.heat.water_c
    assert tub_c < 36.0 - 0.8
    run.heat.close()
    lost = sum(stay.loss_j for stay in run.stays if stay.start_s >= began_s)
    assert tub_c == pytest.approx(run.heat.water_c, abs=1e-9)
    came_in = heat_w * (38 + later_s)
    assert math.isclose(came_in - lost, run.heat.heat_content_j() - before, abs_tol=1e-9 * before)


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
        with np.errstate(invalid="ignore", over="ignore"):  # BDF subtracts rows that it has yet to fill
            y = solve_ivp(rates(hour), span, y, method="BDF", rtol=1e-8, atol=1e-8).y[:, -1]
    run.advance(hours * HOUR_S)
    ours = [run.heat.water_c, run.heat.shell_c, run.bodies_c()[1], run.bodies_c()[0]]
    assert pytest.approx([y[0], y[1], y[2], y[3:].mean()], abs=0.02) == ours
