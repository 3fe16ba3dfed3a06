"""Parts of a plant that stand just as a starter file has them: examples, until somebody has measured them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.starter import LIKE, own_text, starter_text


def untouched(scenario: Scenario) -> tuple[str, ...]:
    """The parts that are those of a file that `cyclesim new` writes, to the last number; in the file's order.

    One that the user has put in anew and found the same is named too: nothing tells the two apart.
    """
    parts = dict(_parts(scenario))
    # to read a starter takes a check longer than to judge a plant
    alike = [like for like in LIKE if any(f"{name}:" in own_text(like) for name in parts)]
    starters = [dict(_parts(load_text(starter_text(like)))) for like in (None, *alike)]
    return tuple(name for name, part in parts.items() if any(s.get(name) == part for s in starters))


def _parts(scenario: Scenario) -> Iterator[tuple[str, object]]:
    """What is measured or read off a data sheet, part by part, by its name."""
    plant = scenario.plant
    for key in type(plant).model_fields:
        value = getattr(plant, key)
        if isinstance(value, Mapping):
            yield from value.items()
        elif key == "tub":
            yield key, value
