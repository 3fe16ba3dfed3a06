"""What plumbing would help where no programme can."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from cyclesim.scenario.model import Scenario


@dataclass(frozen=True)
class Plumbing:
    """One change of the pipes, in a sentence, and the scenario with it."""

    kind: str
    subject: str
    sentence: str
    scenario: Scenario


def plumbing(scenario: Scenario, legs: Collection[str]) -> Iterator[Plumbing]:
    """The changes that may help some legs."""
    del scenario, legs
    return iter(())
