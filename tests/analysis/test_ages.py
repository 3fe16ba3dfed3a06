"""Legs: stagnation, age and warmth against answers worked out by hand."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cyclesim.analysis.ages import Standing, Temperatures, histogram, never_moved
from cyclesim.analysis.history import History
from cyclesim.analysis.result import measure
from cyclesim.analysis.spans import spans
from cyclesim.physics.age_book import Emitted
from cyclesim.physics.heat import ZoneFilter
from cyclesim.physics.pieces import Piece
from cyclesim.physics.stays import Body, Stay
from cyclesim.simulation.trace import Zones

Run = Callable[..., History]
H = 3600.0


def stand(history: History, name: str, *rows: tuple[float, float, float, float]) -> None:
    """Rows (start h, end h, flow m3/s, oldest at the end h) of one element."""
    for start, end, flow, oldest in rows:
        t0, t1, peak = start * H, end * H, oldest * H
        mean = peak - 0.5 * (t1 - t0)
        above = min(t1 - t0, max(0.0, peak - 24.0 * H))
        history.trace.ages[name].put(
            Emitted(0, t0, t1, flow, peak, mean * (t1 - t0), mean * (t1 - t0), above)
        )


def test_a_leg_that_stands_for_ten_hours(run: Run) -> None:
    """A flush at 10:00 for an hour, then 13 h: 23 h stagnant, the longest 13 h from 11:00."""
    history = run()
    # 6 m of 57 mm bore hold 15.31 L (EN ISO 1452-2: 63 x 3.0 mm); 1 L/s for an hour is 3600 L
    stand(history, "suction", (0, 10, 0.0, 10), (10, 11, 1e-3, 10), (11, 24, 0.0, 13))
    leg = measure(history).legs["suction"]
    assert leg.kind == "leg"
    assert pytest.approx(15.31, rel=1e-3) == leg.volume_l
    assert pytest.approx(3600.0 / 15.31, rel=1e-3) == leg.exchanges_per_day
    assert (23.0, pytest.approx(100.0 * 23 / 24)) == (leg.stagnant_h, leg.stagnant_share_percent)
    assert (13.0, "2027-03-01T11:00:00+00:00") == (leg.longest_stagnant_h, leg.longest_stagnant_from)
    assert {12: 1, 24: 1} == {c.up_to_h: c.spells for c in leg.stagnant_spells if c.spells}
    assert (13.0, "2027-03-02T00:00:00+00:00") == (leg.oldest_water_h, leg.oldest_water_at)
    # mean of the oldest age: 5 h for 10 h, 9.5 h (as told above) for 1 h, 6.5 h for 13 h
    assert pytest.approx((5.0 * 10 + 9.5 * 1 + 6.5 * 13) / 24) == leg.oldest_water_mean_h
    assert 0.0 == leg.above_limit_h


def test_of_peaks_that_only_rounding_tells_apart_the_first_is_named(run: Run) -> None:
    """It stands twice for six hours; the second peak is higher by 1e-12 h, and the first is told."""
    history = run()
    stand(history, "suction", (0, 6, 0.0, 6), (6, 12, 1e-3, 6), (12, 18, 0.0, 6 + 1e-12), (18, 24, 1e-3, 1))
    leg = measure(history).legs["suction"]
    assert (pytest.approx(6.0), "2027-03-01T06:00:00+00:00") == (leg.oldest_water_h, leg.oldest_water_at)


def test_spells_fall_into_the_first_class_that_takes_them() -> None:
    """Exactly an hour is up to 1 h; a second more is up to 3 h; eight days are longer than all classes."""
    classes = histogram(spans([(0, 3600), (10_000, 13_601), (20_000, 20_000 + 8 * 86_400)]))
    assert {1: 1, 3: 1, None: 1} == {c.up_to_h: c.spells for c in classes if c.spells}


def test_water_that_never_moved_has_no_known_age(run: Run) -> None:
    """A leg that stood through warm-up (1 day here) and span: stagnation is told, age is None."""
    history = run()
    stand(history, "suction", (0, 24, 0.0, 48))
    leg = measure(history).legs["suction"]
    assert None is leg.oldest_water_h
    assert None is leg.mean_water_age_h
    assert 24.0 == leg.longest_stagnant_h
    assert never_moved(history.trace, history.ages["suction"])


def test_water_that_moved_in_the_warm_up_has_an_age(run: Run) -> None:
    """The same leg, moved an hour before the span begins, is 25 h old at the end."""
    history = run()
    stand(history, "suction", (0, 24, 0.0, 25))
    assert 25.0 == measure(history).legs["suction"].oldest_water_h
    assert 1.0 == measure(history).legs["suction"].above_limit_h


def test_how_long_cooling_water_stays_in_the_growth_band(run: Run) -> None:
    """From 60 degC towards 10 degC: in the band from tau ln(50/35) to tau ln(50/10)."""
    history = run(hours=240.0)
    tau = next(b.capacity_j_k / b.ua_w_k for b in history.plant.bodies if b.name == "bench")
    history.trace.stays["bench"].put(Stay(0, 0, 864_000, False, 60.0, 10.0, 5.0, 60.0, 60.0))
    stand(history, "bench", (0, 240, 0.0, 240))
    ((start, end),) = history.warm_and_still["bench"].tolist()
    assert pytest.approx(tau * math.log(50 / 35)) == start
    assert pytest.approx(tau * math.log(50 / 10)) == end
    leg = measure(history).legs["bench"]
    assert pytest.approx(tau * math.log(5 * 35 / 50) / H) == leg.longest_warm_still_h
    assert pytest.approx(10.0) == leg.coldest_water_c


def test_how_long_warming_water_stays_in_the_growth_band(run: Run) -> None:
    """From 0 towards 60 degC: in the band from tau ln(60/40) to tau ln(60/15)."""
    history = run(hours=240.0, zone_c=60.0)
    tau = next(b.capacity_j_k / b.ua_w_k for b in history.plant.bodies if b.name == "bench")
    history.trace.stays["bench"].put(Stay(0, 0, 864_000, False, 0.0, 60.0, 5.0, 0.0, 0.0))
    stand(history, "bench", (0, 240, 0.0, 240))
    assert [
        [pytest.approx(tau * math.log(60 / 40)), pytest.approx(tau * math.log(60 / 15))]
    ] == history.warm_and_still["bench"].tolist()


def test_the_warm_end_of_a_leg_counts(run: Run) -> None:
    """12 degC at one end, 30 at the other, 19 on the mean: some of it is above 20 degC for tau ln(20/10)."""
    history = run(hours=240.0)
    tau = next(b.capacity_j_k / b.ua_w_k for b in history.plant.bodies if b.name == "bench")
    history.trace.stays["bench"].put(Stay(0, 0, 864_000, False, 19.0, 10.0, 5.0, 12.0, 30.0))
    stand(history, "bench", (0, 240, 0.0, 240))
    assert [[0.0, pytest.approx(tau * math.log(2.0))]] == history.warm_and_still["bench"].tolist()


def test_the_cold_end_of_a_hot_leg_counts(run: Run) -> None:
    """44 degC at one end, 80 at the other: some of it is in the band from the start on."""
    history = run(hours=240.0)
    tau = next(b.capacity_j_k / b.ua_w_k for b in history.plant.bodies if b.name == "bench")
    history.trace.stays["bench"].put(Stay(0, 0, 864_000, False, 60.0, 10.0, 5.0, 44.0, 80.0))
    stand(history, "bench", (0, 240, 0.0, 240))
    assert [[0.0, pytest.approx(tau * math.log(7.0))]] == history.warm_and_still["bench"].tolist()


def test_flow_ends_a_warm_and_still_spell(run: Run) -> None:
    """Water at 30 degC beside a zone at 30 degC is warm all day, but still only while nothing flows."""
    history = run(zone_c=30.0)
    history.trace.stays["bench"].put(Stay(0, 0, 86_400, False, 30.0, 30.0, 0.0, 30.0, 30.0))
    stand(history, "bench", (0, 7, 0.0, 7), (7, 8, 1e-3, 7), (8, 24, 0.0, 16))
    stand(history, "bench, last jet", (0, 7, 0.0, 7), (7, 8, 1e-3, 7), (8, 24, 0.0, 16))
    legs = measure(history).legs
    assert (16.0, "2027-03-01T08:00:00+00:00") == (
        legs["bench"].longest_warm_still_h,
        legs["bench"].longest_warm_still_from,
    )
    assert 16.0 == legs["bench, last jet"].longest_warm_still_h, "a last stretch has its leg's temperature"


def test_heat_lost_is_told_apart_by_whether_the_leg_has_joined_the_tub(run: Run) -> None:
    """3.6 MJ lost while joined is 1 kWh flowing; 1.8 MJ while alone is half a kWh standing."""
    history = run()
    history.trace.stays["bench"].put(Stay(0, 0, 3600, True, 36.0, 36.0, 3.6e6, 36.0, 36.0))
    history.trace.stays["bench"].put(Stay(0, 3600, 86_400, False, 36.0, 20.0, 1.8e6, 36.0, 36.0))
    legs = measure(history).legs
    assert (1.0, 0.5) == (legs["bench"].heat_lost_flowing_kwh, legs["bench"].heat_lost_standing_kwh)
    assert None is legs["bench, last jet"].heat_lost_standing_kwh


def test_coldest_water_of_a_joined_leg_is_the_tubs(run: Run) -> None:
    """A leg that flows all day is as cold as the tub was at its coldest."""
    history = run()
    history.trace.stays["bench"].put(Stay(0, 0, 86_400, True, 36.0, 36.0, 0.0, 36.0, 36.0))
    for start, temp in ((0, 36.0), (3600, 34.5), (7200, 35.0)):
        history.trace.tub.put(Piece(start, start + 3600, temp, 20.0, 0.0, 0.0, 0.0))
    assert 34.5 == measure(history).legs["bench"].coldest_water_c


@given(
    st.lists(st.floats(-20.0, 30.0), min_size=4, max_size=30),
    st.floats(200.0, 1e6),
    st.floats(0.0, 90.0),
    st.lists(st.tuples(st.floats(0.0, 1e5), st.floats(0.0, 1e5)), min_size=1, max_size=9),
)
def test_many_readings_at_once_equal_single_ones(
    zone_c: list[float], tau_s: float, start_c: float, times: list[tuple[float, float]]
) -> None:
    """Standing water read as arrays is what the physics reads one time after the other."""
    one = ZoneFilter(zone_c, tau_s, -7200.0)
    many = Standing(Zones(-7200, {"z": zone_c}), Body("b", 1.0, tau_s, 1.0, "z"))
    since, late = np.array([a for a, _ in times]), np.array([a + b for a, b in times])
    told = [one.temp_at(t, t0, start_c) for t, t0 in zip(late.tolist(), since.tolist(), strict=True)]
    np.testing.assert_allclose(many.temp_at(late, since, np.full(len(late), start_c)), told, atol=1e-9)


@given(st.floats(-10.0, 80.0), st.floats(-10.0, 80.0), st.floats(1e3, 1e5))
def test_time_within_a_band_is_what_sampling_finds(start_c: float, zone_c: float, tau_s: float) -> None:
    """The closed form agrees with the same exponential looked at every second for an hour."""
    t = np.arange(3600.0) + 0.5
    temps = zone_c + (start_c - zone_c) * np.exp(-t / tau_s)
    one = np.ones(1)
    end_c = zone_c + (start_c - zone_c) * math.exp(-3600.0 / tau_s)
    piece = Temperatures(0.0 * one, 3600.0 * one, start_c * one, end_c * one, zone_c * one, tau_s)
    within = piece.within(20.0, 45.0)
    sampled = float(np.sum((temps >= 20.0) & (temps <= 45.0)))
    assert pytest.approx(sampled, abs=2.0) == float(np.sum(within[:, 1] - within[:, 0]))
