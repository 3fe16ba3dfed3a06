"""Numbers and times as a person reads them."""

import pytest

from cyclesim.said import words


@pytest.mark.parametrize(
    ("value", "shown"),
    [(0.02, "<0.1"), (-0.02, "0"), (9.96, "10.0"), (99.96, "100.0"), (1203.4, "1,203"), (-3.21, "-3.2")],
)
def test_number_keeps_no_more_digits_than_it_deserves(value: float, shown: str) -> None:
    """Small, large and negative numbers keep their size and sign with one decimal at most."""
    assert shown == words.number(value)


def test_plain_removes_terminal_control_signs() -> None:
    """An escape sequence in a title cannot reach the terminal."""
    assert words.plain("a\x1b[31mb\nc") == "a [31mb c"


def test_unknown_is_a_dash() -> None:
    """What is not known is shown as such, never as 0."""
    assert [
        words.number(None), words.hours(None), words.when(None), words.day(None),
    ] == ["-"] * 4  # fmt: skip
