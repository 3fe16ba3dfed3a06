"""Cautions by what the file holds: a fuel, a room below ground, chemicals, jets, frost."""

from pathlib import Path

import pytest

import cyclesim
from cyclesim.said.cautions import ADVICE, WATER, cautions_for

SHIPPED = sorted((Path(__file__).parents[2] / "schedules").glob("*.yaml"))
WORDS = {"cedar-yard": "carbon monoxide", "mill-race": "Never mix", "walled-garden": "below ground",
         "high-valley": "frost"}  # fmt: skip
"""What a file holds that another does not: a propane boiler, a salt cell, a pit, frost protection."""


@pytest.mark.parametrize(("name", "word"), WORDS.items(), ids=list(WORDS))
def test_what_can_hurt_is_told_where_it_is(name: str, word: str) -> None:
    """Each in one line of a small screen; water and advice frame them."""
    told = cautions_for(cyclesim.load(SHIPPED[0].with_stem(name)))
    assert (WATER, ADVICE) == (told[0], told[-1])
    assert any(word in caution for caution in told)
    assert all(len(caution) <= 78 for caution in told[1:-1])


def test_what_is_not_there_is_not_told() -> None:
    """No fuel in the garden, and no salt cell, boiler or pit in the yard."""
    garden = " ".join(cautions_for(cyclesim.load(SHIPPED[0].with_stem("walled-garden-circulator"))))
    yard = " ".join(cautions_for(cyclesim.load(SHIPPED[0].with_stem("cedar-yard"))))
    assert "carbon monoxide" not in garden
    assert "below ground" not in yard
    assert "Never mix" not in yard
    for told in (garden, yard):
        assert "electrician" in told
        assert "Suction" in told
