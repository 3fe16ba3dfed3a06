"""The states of one element over time, put down one by one and many at a time."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from cyclesim.simulation.stream import Stream

STATES = ("stopped", "low", "high")
steps = st.tuples(st.integers(0, 3), st.integers(0, 2))


@given(batches=st.lists(st.lists(steps, min_size=1, max_size=6), max_size=4))
def test_many_at_a_time_say_what_one_by_one_does(batches: list[list[tuple[int, int]]]) -> None:
    """Batches of (seconds later, state), which may begin in the second in which another ended."""
    one_by_one, together, now = Stream("pump", "stopped"), Stream("pump", "stopped"), 0
    for batch in batches:
        seconds, states = [], []
        for k, (later_s, state) in enumerate(batch):
            now += max(later_s, min(k, 1))  # within a batch they rise
            one_by_one.put(now, STATES[state])
            seconds.append(now)
            states.append(state)
        together.put_all(np.array(seconds), np.array(states), STATES)
    one_by_one.end_s = together.end_s = now + 1
    assert list(together) == list(one_by_one)
    assert together.now == one_by_one.now


def test_a_second_state_in_one_instant_replaces_the_first() -> None:
    """Seconds by hand: high and stopped in second 9 give way to low, in which it was before."""
    stream = Stream("pump", "stopped")
    stream.put_all(np.array([5, 9]), np.array([1, 2]), STATES)
    stream.put(9, "stopped")
    stream.put_all(np.array([9, 12]), np.array([1, 1]), STATES)
    stream.end_s = 20
    assert [tuple(interval) for interval in stream] == [(0, 5, "stopped"), (5, 20, "low")]
