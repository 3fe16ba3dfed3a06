"""The water age of one circuit, by hand: closed while it goes on, told of some plugs, kept for a next run.

What any history gives stands in `test_water_age_drawn.py`, beside slugs of water.
"""

from collections.abc import Sequence

import pytest

from cyclesim.physics.age_book import Emitted, Floats, Passages
from cyclesim.physics.circuit_age import Known, WaterAge, _Held
from cyclesim.physics.water_age import Pattern, Plug

L = 1e-3
DAY_S = 86_400.0
LEG = [Plug("leg", "tub", "tub", 20 * L)]


def followed(
    plugs: list[Plug], recorded: list[int], start_s: float = 0.0, known: Known | None = None
) -> tuple[WaterAge, list[Emitted]]:
    """A circuit full of tub water from *start_s* on, and the intervals that it tells."""
    rows: list[Emitted] = []

    def emit(plug: int, table: Floats) -> None:
        assert {plug} == set(table[:, 0])
        rows.extend(Emitted(*row) for row in table)

    return WaterAge(plugs, recorded, DAY_S, start_s, emit, known), rows


def test_standing_water_is_told_up_to_each_close_and_goes_on() -> None:
    """From 50 s on a leg stands; closed at 150 s and at 350 s.

    Its age runs from 0 to 100 s, then on to 300 s: integrals 100^2 / 2, and 200 s of 200 s in the mean.
    """
    age, rows = followed(LEG, [0], start_s=50.0)
    age.close(150.0)
    assert [(0, 50.0, 150.0, 0.0, 100.0, 5000.0, 5000.0, 0.0)] == rows
    age.close(150.0)
    assert 1 == len(rows)
    age.close(350.0)
    assert [(0, 150.0, 350.0, 0.0, 300.0, 40_000.0, 40_000.0, 0.0)] == rows[1:]


def test_a_flow_that_is_closed_in_its_midst_goes_on_as_if_it_was_not() -> None:
    """20 L at 0.5 L/s from 100 s on: new water alone after 40 s. Closed at 110, 150 and 170 s.

    Until 110 s, and until the last old drop leaves at 140 s, the oldest is what stood since 0; from then on
    it is 40 s, and the mean 20 s. So the oldest comes to 105 s x 10 s, then 125 s x 30 s and 40 s x 10 s,
    then 40 s x 20 s.
    """
    age, rows = followed(LEG, [0])
    run = age.pattern([0.5 * L])
    age.change(100.0, run)
    for at_s in (110.0, 150.0, 170.0):
        age.close(at_s)
    assert [(0.0, 100.0), (100.0, 110.0), (110.0, 150.0), (150.0, 170.0)] == [row[1:3] for row in rows]
    assert pytest.approx([5000.0, 1050.0, 3750.0 + 400.0, 800.0]) == [r.oldest_integral_s2 for r in rows]
    assert pytest.approx([100.0, 110.0, 140.0, 40.0]) == [r.oldest_peak_s for r in rows]
    assert pytest.approx(400.0) == rows[-1].mean_integral_s2
    assert pytest.approx((40.0, 20.0)) == age.ages(0, 170.0)


def test_only_what_is_asked_for_is_told_and_what_has_no_volume_never_is() -> None:
    """Suction, a valve of no volume, a leg; of the leg alone is told.

    At 1 L/s tub water is through the suction after 5 s and through the leg after 15 s: so old it is there.
    """
    plugs = [
        Plug("suction", "tub", "a", 5 * L),
        Plug("valve", "a", "b", 0.0),
        Plug("leg", "b", "tub", 10 * L),
    ]
    age, rows = followed(plugs, [2])
    run = age.pattern([L, L, L])
    assert ((0, 2), (2,)) == (run.moving, run.asked)
    age.change(10.0, run)
    age.change(40.0, age.still)
    age.close(100.0)
    assert {2} == {row.plug for row in rows}
    assert pytest.approx([10.0, 25.0, 75.0]) == [row.oldest_peak_s for row in rows]
    assert pytest.approx((65.0, 62.5)) == age.ages(0, 100.0)  # 5 s old as it stopped, 60 s ago
    assert pytest.approx((75.0, 70.0)) == age.ages(2, 100.0)


def test_each_end_of_a_leg_is_told_from_the_other() -> None:
    """10 L in 10 s from 100 s on: what came first is at the far end. Contents are read from end b."""
    for flow, births in ((L, (100.0, 110.0)), (-L, (110.0, 100.0))):
        age, _ = followed([Plug("leg", "tub", "tub", 10 * L)], [0])
        age.change(100.0, age.pattern([flow]))
        age.change(110.0, age.still)
        content = age.contents(0)
        assert pytest.approx(births) == (content[0][1], content[-1][2])


def test_water_that_a_slow_flow_left_is_followed_beside_what_has_stood() -> None:
    """A leg of 20 L gets 1/3 mL/s for 70,000 s and is 60,000 s old at its end; another stands.

    At 0.5 L/s through each the first gives up its oldest end first, of 60,000 s, and after 40 s is all new:
    in the mean of these 40 s its oldest is half as old, 30,000 s, and 20 s. The other is 70,000 s and on.
    Then both are 40 s old.
    """
    age, rows = followed([LEG[0], Plug("other", "tub", "tub", 20 * L)], [0, 1])
    age.change(0.0, age.pattern([20 * L / 60_000.0, 0.0]))
    age.change(70_000.0, age.pattern([0.5 * L, 0.5 * L]))
    age.close(70_100.0)
    slow, other = (row for row in rows if row.start_s == 70_000.0)
    assert pytest.approx((60_000.0, 30_020.0 * 40 + 40.0 * 60), rel=1e-9) == slow[4:6]
    assert pytest.approx((70_040.0, 70_020.0 * 40 + 40.0 * 60), rel=1e-9) == other[4:6]


@pytest.mark.parametrize("clears_s", [24_000.0, 30_000.0])
@pytest.mark.parametrize("others", [0, 1])
def test_slow_water_that_goes_back_is_as_old_as_it_is(others: int, clears_s: float) -> None:
    """A leg gets its volume in 30,000 s until 40,000 s, then as slowly from its other end, twice.

    The oldest drop, 30,000 s old at the far end, has all the way to go back: for 30,000 s it is the oldest,
    45,000 s in their mean and 60,000 s at their end; then 30,000 s is. So alone, and beside a leg that stood;
    and so in 24,000 s, in proportion.
    """
    plugs = [LEG[0], Plug("other", "tub", "tub", 20 * L)][: 1 + others]
    age, rows = followed(plugs, [0])
    slow = 20 * L / clears_s
    age.change(0.0, age.pattern([slow, 0.0][: 1 + others]))
    age.change(40_000.0, age.pattern([-slow, slow][: 1 + others]))
    age.close(40_000.0 + 2 * clears_s)
    assert pytest.approx((2 * clears_s, (1.5 + 1.0) * clears_s**2)) == rows[-1][4:6]


def test_the_first_water_of_a_run_is_as_old_as_the_run() -> None:
    """All is tub water at first, and half a second later none is older: the integral is 0.5^2 / 2."""
    age, rows = followed(LEG, [0])
    age.change(0.0, age.pattern([0.5 * L]))
    age.close(0.5)
    (row,) = rows
    assert pytest.approx((0.5, 0.125)) == (row.oldest_peak_s, row.oldest_integral_s2)


def test_water_that_passes_in_a_fifth_of_a_second_is_no_older() -> None:
    """0.1 L at 0.5 L/s, then at 1 L/s: as that begins the oldest is 0.2 s old, and never older."""
    age, rows = followed([Plug("short", "tub", "tub", 0.1 * L)], [0])
    age.change(0.0, age.pattern([0.5 * L]))
    age.change(10.0, age.pattern([L]))
    age.close(20.0)
    assert pytest.approx(0.2) == rows[-1].oldest_peak_s


@pytest.mark.parametrize("flows", [(0.5 * L, 0.0), (0.0, 0.5 * L)])
def test_whichever_leg_has_stood_for_less_a_passage_is_worked_out_once(flows: tuple[float, float]) -> None:
    """One of two legs is flushed before both are, three times: from the start, then from what both left."""
    age, _ = followed([LEG[0], Plug("other", "tub", "tub", 20 * L)], [0, 1])
    one, both = age.pattern(flows), age.pattern([0.5 * L, 0.5 * L])
    for begin in (1000.0, 9000.0, 20_000.0):
        for at_s, pattern in ((begin, one), (begin + 500.0, both)):
            age.change(at_s, pattern)
            age.change(at_s + 100.0, age.still)
    assert 2 == len(both.memo)


def test_patterns_that_are_known_serve_the_next_run(monkeypatch: pytest.MonkeyPatch) -> None:
    """Flushes of 200 s at 100, 1000 and 2000 s: from the start, and from its own profile.

    Each is worked out once, in the first run; the second tells the same.
    """
    worked_out = []
    really = WaterAge._work_out

    def work_out(age: WaterAge, pattern: Pattern, kinds: Sequence[_Held]) -> Passages:
        worked_out.append([kind.number for kind in kinds])
        return really(age, pattern, kinds)

    monkeypatch.setattr(WaterAge, "_work_out", work_out)
    known: Known = {}
    told = []
    for _ in range(2):
        age, rows = followed(LEG, [0], known=known)
        run = age.pattern([0.5 * L])
        for at_s in (100.0, 1000.0, 2000.0):
            age.change(at_s, run)
            age.change(at_s + 200.0, age.still)
        age.close(3000.0)
        told.append((rows, id(run)))
    assert told[0] == told[1]
    assert {(0.0,), (0.5 * L,)} == set(known)
    assert [[-1], [run.index]] == worked_out
