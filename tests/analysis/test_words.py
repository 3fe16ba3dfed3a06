"""Amounts in words."""

import pytest

from cyclesim.analysis.words import flow, lasting, listed


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(1.0, "1 s"), (2.5, "2.5 s"), (26.4, "26 s"), (840.0, "14 min"), (23_400.0, "6.5 h"), (86_400.0, "24 h"),
     (604_800.0, "7 days")],
)  # fmt: skip
def test_a_length_of_time_has_the_digits_it_deserves(seconds: float, words: str) -> None:
    """Seconds, minutes, hours, days."""
    assert words == lasting(seconds)


def test_flows_and_lists() -> None:
    """Litres per minute, with one decimal where small; a list with its `and`."""
    assert ("125 L/min", "6.2 L/min") == (flow(125 / 60_000), flow(6.2 / 60_000))
    assert ("a", "a and b", "a, b and c") == (listed(["a"]), listed(["a", "b"]), listed(["a", "b", "c"]))
