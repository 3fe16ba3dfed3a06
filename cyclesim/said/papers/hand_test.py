"""A commissioning test as it is written down: what to set up, do and see, and what was seen."""

from __future__ import annotations

from dataclasses import dataclass

from cyclesim.scenario.reading.done_tests import DoneTest


@dataclass(frozen=True, slots=True)
class WrittenTest:
    """One test: the same plant with its barrier missing would show another reading."""

    id: str
    name: str
    why: str
    set_up: tuple[str, ...]
    do: str
    see: str
    within_s: int
    """How long one looks, at most [s]."""
    reading: str
    """What is to be noted."""
    if_not: str
    breaks: tuple[str, ...]
    """The rules that the plant breaks in this test without the barrier."""
    done: DoneTest | None = None
