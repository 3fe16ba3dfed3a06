"""Sets of time against sets of whole seconds."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cyclesim.analysis.spans import (
    Spans,
    after,
    covers,
    first,
    integral,
    join,
    longer,
    meet,
    spans,
    total_s,
    without,
)

PAIRS = st.lists(
    st.tuples(st.integers(0, 40), st.integers(0, 40)).map(lambda p: (min(p), max(p))), max_size=8
)


def seconds(a: Spans) -> set[int]:
    """The whole seconds in a set."""
    return {k for start, end in a.tolist() for k in range(int(start), int(end))}


def told(pairs: list[tuple[int, int]]) -> set[int]:
    """The whole seconds in some pairs."""
    return {k for start, end in pairs for k in range(start, end)}


@given(PAIRS, PAIRS)
def test_sets_of_time_obey_the_algebra_of_sets(
    one: list[tuple[int, int]], two: list[tuple[int, int]]
) -> None:
    """Union, intersection and difference of spans are those of the whole seconds in them."""
    a, b = spans(one), spans(two)
    assert told(one) == seconds(a)
    assert told(one) | told(two) == seconds(join(a, b))
    assert told(one) & told(two) == seconds(meet(a, b))
    assert told(one) - told(two) == seconds(without(a, b))
    assert len(told(one)) == total_s(a)
    assert [k in told(one) for k in range(41)] == covers(a, np.arange(41.0)).tolist()


@given(PAIRS, PAIRS)
def test_spans_are_in_order_and_never_touch(one: list[tuple[int, int]], two: list[tuple[int, int]]) -> None:
    """Whatever made a set, its spans are in order, not empty and apart."""
    for a in (
        spans(one),
        join(spans(one), spans(two)),
        meet(spans(one), spans(two)),
        longer(spans(one), 3.0),
    ):
        assert bool(np.all(np.diff(a.ravel()) > 0.0))


def test_longer_spans_swallow_the_gaps_that_they_reach_over() -> None:
    """A span that ends 3 s later joins the next where that begins within 3 s."""
    assert [[0.0, 17.0], [30.0, 34.0]] == longer(spans([(0, 10), (13, 14), (30, 31)]), 3.0).tolist()


def test_what_is_left_after_a_wait() -> None:
    """A span shorter than the wait leaves nothing."""
    assert [[5.0, 9.0]] == after(spans([(0, 9), (20, 25)]), 5.0).tolist()


def test_the_first_of_each_span() -> None:
    """A shorter span is all first; the next begins where it did."""
    assert [[0.0, 5.0], [20.0, 22.0]] == first(spans([(0, 9), (20, 22)]), 5.0).tolist()


def test_integral_of_a_rate_that_pauses() -> None:
    """2 a second from 0 to 10, nothing to 20, 3 a second to 30: 20 at 15, and 35 at 25."""
    start, end, rate = np.array([0.0, 20.0]), np.array([10.0, 30.0]), np.array([2.0, 3.0])
    assert pytest.approx([8.0, 20.0, 35.0, 50.0]) == integral(
        start, end, rate, np.array([4.0, 15.0, 25.0, 90.0])
    )
