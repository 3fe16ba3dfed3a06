"""First-order decay against half-lives worked out from published and round rate constants."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cyclesim.physics.decay import left, seconds_until

H = 3600.0
starts, half_lives = st.floats(0.01, 50.0), st.floats(60.0, 1e7)


@pytest.mark.parametrize(
    ("rate_per_h", "half_life_h"),
    [
        (0.05, 13.863),  # ln 2 / k, computed
        (0.1, 6.931),
        (0.5, 1.386),
        # mains water at 22.3 degC, 3.33 mg/L: Water Supply 24(12) 4046, 2024, abstract seen; ln 2 / k
        (0.0347, 19.98),
    ],
)
def test_a_half_life_is_that_of_its_rate(rate_per_h: float, half_life_h: float) -> None:
    """What exp(-k t) leaves of 3 mg/L after 7 h is what the half-life leaves."""
    assert pytest.approx(3.0 * math.exp(-rate_per_h * 7.0), rel=1e-3) == left(3.0, half_life_h * H, 7.0 * H)


@pytest.mark.parametrize(("half_life_h", "until_h"), [(3.0, 4.7549), (20.0, 31.699)])
def test_three_is_one_after_log2_of_three_half_lives(half_life_h: float, until_h: float) -> None:
    """log2(3) = 1.5849625 half-lives, computed by hand."""
    assert pytest.approx(until_h, rel=1e-4) == seconds_until(3.0, 1.0, half_life_h * H) / H


@given(starts, st.floats(0.001, 1.0), half_lives)
def test_what_is_left_then_is_the_least(start: float, share: float, half_life_s: float) -> None:
    """The two functions are each other's inverse."""
    age_s = seconds_until(start, share * start, half_life_s)
    assert pytest.approx(share * start) == left(start, half_life_s, age_s)


@given(starts, half_lives, st.floats(0.0, 1e6), st.floats(0.0, 1e6))
def test_two_whiles_in_a_row_are_one(start: float, half_life_s: float, one: float, two: float) -> None:
    """Decay has no memory, and never adds."""
    twice = left(left(start, half_life_s, one), half_life_s, two)
    assert pytest.approx(left(start, half_life_s, one + two), rel=1e-6, abs=1e-300) == twice
    assert twice <= start


def test_what_is_low_already_needs_no_time() -> None:
    """Nothing is left to wait for."""
    assert seconds_until(1.0, 2.0, H) == 0.0
