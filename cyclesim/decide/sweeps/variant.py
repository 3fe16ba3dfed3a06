"""A plant with one input off, and what such an input is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, NamedTuple

from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.tolerance import Tolerance


class Variant(NamedTuple):
    """A plant and programme with one input off."""

    scenario: Scenario
    tolerance: Tolerance


@dataclass(frozen=True, slots=True)
class Input:
    """One input: what it is, its ends as text and as variants; None where it is not off to that side."""

    name: str
    low_text: str
    high_text: str
    source: str
    low: Variant | None
    high: Variant | None


def with_each(scenario: Scenario, block: str, change: Callable[[Any], Any]) -> Scenario:
    """The scenario with every element of one block of its plant changed."""
    plant = scenario.plant
    made = {name: change(thing) for name, thing in getattr(plant, block).items()}
    return scenario.model_copy(update={"plant": plant.model_copy(update={block: made})})


def with_plant(scenario: Scenario, **blocks: object) -> Scenario:
    """The scenario with these blocks of its plant in place of its own."""
    return scenario.model_copy(update={"plant": scenario.plant.model_copy(update=blocks)})
