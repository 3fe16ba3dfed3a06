"""Amounts in words."""

import pytest

from cyclesim.analysis.amounts import (
    apart,
    at_least,
    exactly,
    flow,
    flows_apart,
    lasting,
    listed,
    times_apart,
)


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
    jets = ["heating", "bathing, jets"]
    assert "heating; and bathing, jets" == listed(jets)
    assert "bathing, circulator; heating; and bathing, jets" == listed(["bathing, circulator", *jets])


def test_a_flow_has_the_digits_of_the_duty_table() -> None:
    """One decimal below 100, none above, none that says nothing."""
    assert ("28.5 L/min", "60 L/min", "460 L/min") == tuple(flow(x / 60_000) for x in (28.5, 60.0, 460.4))


def test_two_numbers_that_differ_read_differently() -> None:
    """As many digits as make them differ; the limit of 6 ft/s is 1.83 m/s and not 1.8288."""
    assert ("1.90", "1.83") == apart(1.9, 1.8288, 2)
    assert ("1.832", "1.829") == apart(1.832, 1.8288, 2)
    assert ("60.04 L/min", "60 L/min") == flows_apart(60.04 / 60_000, 60 / 60_000)
    assert ("121 s", "125 s") == times_apart(121.0, 125.0)
    assert ("29 s", "14 min") == times_apart(29.0, 840.0)


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(25.1, "26 s"), (119.5, "2 min"), (125.0, "3 min"), (180.0, "3 min"), (7190.0, "2 h"), (7201.0, "2.1 h"),
     (172_801.0, "2.1 days")],
)  # fmt: skip
def test_what_must_not_be_less_is_rounded_up(seconds: float, words: str) -> None:
    """125 s are not 2 min."""
    assert words == at_least(seconds)


def test_what_is_keyed_in_is_not_rounded() -> None:
    """A length that a controller offers, or a limit in a file, is told whole."""
    assert ("150 s", "3 min", "25 h", "90 min") == tuple(exactly(x) for x in (150, 180, 90_000, 5400))
