"""A plant that is not quite as told, and scenarios with blocks changed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.tolerance import Tolerance


class Variant(NamedTuple):
    """A plant and programme with one input off."""

    scenario: Scenario
    tolerance: Tolerance


def with_each(scenario: Scenario, block: str, change: Callable[[Any], Any]) -> Scenario:
    """The scenario with every element of one block of its plant changed."""
    plant = scenario.plant
    made = {name: change(thing) for name, thing in getattr(plant, block).items()}
    return scenario.model_copy(update={"plant": plant.model_copy(update={block: made})})


def with_plant(scenario: Scenario, **blocks: object) -> Scenario:
    """The scenario with these blocks of its plant in place of its own."""
    return scenario.model_copy(update={"plant": scenario.plant.model_copy(update=blocks)})
