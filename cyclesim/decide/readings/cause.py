"""One thing that may be wrong with a plant, by an amount that is not known, or outright."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from cyclesim.decide.readings.built import AsBuilt
from cyclesim.decide.readings.doubts import with_part
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.units import format_quantity

AsChanged = Callable[[AsBuilt, float], AsBuilt]
Texts = dict[str, str]
"""Keys of the file by their dotted path, with the text of their values."""
Written = Callable[[Scenario, float], Texts]


@dataclass(frozen=True, slots=True)
class Cause:
    """One thing that may be wrong.

    *value* in words is `unit`, e.g. `x its drop`; from *low* to *high*, equally likely on a scale by factors
    where *by_factors*, else by amounts. One that is there or not has no unit, and both ends the same. *doubt*
    is the usual doubt that it takes the place of; *feels* the kinds of reading that it moves. *weight*: how
    likely it is beside other causes beforehand. *written* gives the keys of the file that say it, as texts.
    """

    name: str
    change: AsChanged
    feels: frozenset[str]
    unit: str = ""
    told: float = 1.0
    low: float = 1.0
    high: float = 1.0
    by_factors: bool = False
    doubt: str = ""
    weight: float = 1.0
    written: Written | None = None

    @property
    def outright(self) -> bool:
        """Whether it has no amount."""
        return self.low == self.high

    def at(self, share: float) -> float:
        """The value at a share of the way from its lowest to its highest."""
        if self.by_factors:
            return float(self.low * (self.high / self.low) ** share)
        return self.low + (self.high - self.low) * share


def of_part(block: str, name: str, changed: Callable[[Any, float], Any]) -> AsChanged:
    """A change of one element of a block of the plant."""

    def change(built: AsBuilt, value: float) -> AsBuilt:
        thing = getattr(built.scenario.plant, block)[name]
        return replace(built, scenario=with_part(built.scenario, block, name, changed(thing, value)))

    return change


def times(*names: str) -> Callable[[Any, float], Any]:
    """A thing with these fields so many times as large."""

    def changed(thing: Any, factor: float) -> Any:
        return thing.model_copy(update={name: getattr(thing, name) * factor for name in names})

    return changed


def resisting(thing: Any, factor: float) -> Any:
    """A thing whose drop is so many times what is told."""
    return thing.model_copy(update={"drop": thing.drop._replace(head_m=thing.drop.head_m * factor)})


def at_head(path: str, head_m: float, flow_m3_s: float) -> Texts:
    """A key whose value is a head at a flow."""
    return {path: f"{format_quantity(head_m, 'head')} at {format_quantity(flow_m3_s, 'flow')}"}
