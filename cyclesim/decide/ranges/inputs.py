"""What may be off: each input with its likely lowest and highest, as a scenario and a plant's tolerance."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from cyclesim.decide.ranges.paths import changed, field_at, value_at
from cyclesim.decide.ranges.stated import STATED, WIND, Stray
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.defaults import Default, filled_in
from cyclesim.simulation.assumptions import Granted, assumptions
from cyclesim.simulation.hourly_weather import mean_air_c
from cyclesim.simulation.tolerance import AS_TOLD
from cyclesim.simulation.variant import Variant
from cyclesim.spreads import Spread


@dataclass(frozen=True, slots=True)
class Input:
    """One input: what it is, its ends as text and as variants; None where it is not off to that side."""

    name: str
    low_text: str
    high_text: str
    source: str
    low: Variant | None
    high: Variant | None


@dataclass(frozen=True, slots=True)
class NotVaried:
    """A default that is not varied, and why."""

    input: str
    why: str


def inputs(scenario: Scenario) -> tuple[tuple[Input, ...], tuple[NotVaried, ...]]:
    """All that is varied of this scenario, and what of its defaults is not, with the reason."""
    defaults = (*filled_in(scenario), *assumptions(scenario))
    windy = any(default.path.startswith("place.weather.wind") for default in defaults)
    varied, skipped = list[Input](), list[NotVaried]()
    for stray in STATED:
        if stray.there(scenario) and not (stray is WIND and windy):  # a default has a spread of its own
            varied.append(_stated(scenario, stray))
    for name, (first, *others) in _grouped(defaults):
        spread = first.spread
        if not isinstance(spread, Spread) or first.not_varied:
            skipped.append(NotVaried(name, first.not_varied or f"no range: {spread}"))
        elif isinstance(first, Granted):
            varied.append(_granted(scenario, first, spread))
        else:
            varied.append(_default(scenario, name, (first, *others), spread))
    return tuple(ranged for ranged in varied if ranged.low or ranged.high), tuple(skipped)


def _grouped(defaults: Sequence[Default]) -> Iterator[tuple[str, list[Default]]]:
    """The same key of several elements of one block together: they are off together."""

    def key(default: Default) -> tuple[str, ...]:
        steps = default.path.split(".")
        if len(steps) == 1:
            return (default.path,)
        speed = f"{steps[-2]} " if steps[-2] in ("low", "high") else ""
        return (steps[0], steps[min(1, len(steps) - 2)], f"{speed}{steps[-1]}")

    for steps, group in groupby(sorted(defaults, key=key), key):
        name = f"{steps[2]} ({steps[1]})".replace("_", " ") if len(steps) == 3 else steps[0]
        yield name, list(group)


def _stated(scenario: Scenario, stray: Stray) -> Input:
    """What the file states, at the two ends of its spread; an end may be as told."""
    texts, variants = list[str](), list[Variant | None]()
    for text, end in zip(stray.spread.ends(), stray.ends, strict=True):
        as_told = end == stray.told
        texts.append("as told" if as_told else text)
        variants.append(None if as_told else stray.at(scenario, end))
    (low_text, high_text), (low, high) = texts, variants
    return Input(stray.name, low_text, high_text, stray.source, low, high)


def _granted(scenario: Scenario, number: Granted, spread: Spread) -> Input:
    """A number of the model at the two ends of its spread."""
    assert number.off is not None
    variants = [number.off(scenario, end / number.value) for end in spread.around(number.value, "fraction")]
    return Input(number.path, *spread.ends(), number.source, *variants)


def _default(scenario: Scenario, name: str, group: Sequence[Default], spread: Spread) -> Input:
    """One key that the file left out, at the two ends of its spread in every element that left it out."""
    ends: list[Variant | None] = []
    for side in (0, 1):
        varied, moves = scenario, False
        for default in group:
            value = _end(scenario, default, spread, side)
            moves |= value != field_at(scenario, default.path).value
            varied = changed(varied, default.path, value)
        ends.append(Variant(varied, AS_TOLD) if moves else None)
    return Input(name, *spread.ends(), group[0].source, *ends)


def _end(scenario: Scenario, default: Default, spread: Spread, side: int) -> Any:
    """The value of a key at one end of its spread, in SI."""
    owner, value, kind = field_at(scenario, default.path)
    if spread.times:
        return value_at(owner, [spread.times]) * spread.around(1.0)[side]
    if default.path.endswith(".fill_water"):
        return max(0.0, spread.around(mean_air_c(scenario.place.weather), kind)[side])
    end = spread.around(default.value or 0.0, kind)[side]
    return round(end) if isinstance(value, int) else end
