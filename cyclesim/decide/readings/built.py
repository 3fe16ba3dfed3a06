"""A plant as it may have been built or worn: a variant of what is told, with single parts out of order."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache

from cyclesim.decide.sweeps.varied import VariedPlant
from cyclesim.physics.network import Drop, Jet, Link
from cyclesim.physics.warmth import Reach
from cyclesim.physics.ways import Ways
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Positions
from cyclesim.simulation.tolerance import AS_TOLD, Tolerance
from cyclesim.simulation.variant import Variant


@dataclass(frozen=True, slots=True)
class OutOfOrder:
    """Parts that no key of the file describes."""

    jets: Mapping[str, float] = field(default_factory=dict)
    """A jet of a manifold, by its name in the network -> the share of its flow that it still passes."""
    leaking: frozenset[str] = frozenset()
    """Check valves that stand on their own and do not close."""
    stuck: frozenset[str] = frozenset()
    """Check valves that stand on their own and do not open."""


IN_ORDER = OutOfOrder()


@dataclass(frozen=True, slots=True)
class AsBuilt:
    """A scenario, how far its plant is from it, and what is out of order."""

    scenario: Scenario
    tolerance: Tolerance = AS_TOLD
    parts: OutOfOrder = IN_ORDER

    @classmethod
    def of(cls, variant: Variant) -> AsBuilt:
        """A variant with every part in order."""
        return cls(variant.scenario, variant.tolerance)


@lru_cache(maxsize=16)
def _ways(reaches: tuple[Reach, ...], per_m3_k: float) -> Ways:
    return Ways(reaches, per_m3_k)


class BuiltPlant(VariedPlant):
    """The plant with parts out of order."""

    def __init__(self, built: AsBuilt) -> None:
        super().__init__(built.scenario, built.tolerance)
        self.parts = built.parts

    @cached_property
    def ways(self) -> Ways:
        """How water moves, kept for all plants whose pipes hold and lose the same heat."""
        return _ways(self.reaches, self.per_m3_k)

    def links_at(self, speeds: Mapping[str, str], positions: Positions) -> Iterator[Link]:
        """The links with what is out of order in them."""
        parts = self.parts
        for link in super().links_at(speeds, positions):
            if isinstance(link, Jet) and link.name in parts.jets:
                yield replace(link, flow_m3_s=link.flow_m3_s * parts.jets[link.name])
            elif isinstance(link, Drop) and link.name in parts.stuck:
                yield replace(link, shut=True)
            elif isinstance(link, Drop) and link.name in parts.leaking:
                yield replace(link, one_way=False)
            else:
                yield link
