"""What the values of the dimensions come to, and what is then on in a cone's states."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from cyclesim.control.step import LEVEL_LOW, State
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.wired import Water, WhatIsOn, Wiring
from cyclesim.verification.cone import Cone
from cyclesim.verification.environment import MOTOR, Dim
from cyclesim.verification.faults import FAULTS, FaultyPlant, PlantFault, welds


class Around(NamedTuple):
    """What the values of the dimensions come to."""

    mask: int
    people: bool
    positions: tuple[str, ...]
    hot: frozenset[str]
    """What nobody switches and gives heat, and steered collectors that no water should run through."""
    cold: frozenset[str]
    """Of the latter those that would cool it."""
    half: frozenset[str]
    """And those that should not be let in by half."""
    windows: frozenset[str]
    low: bool
    circuits: frozenset[str] = frozenset()
    """Those that have no power alone."""
    unfed: frozenset[str] = frozenset()
    """What hangs on them."""


class Flows:
    """A cone's wiring with its faults, asked by the values of dimensions. *extra*: as in `Wiring`."""

    def __init__(
        self,
        plant: Assembly,
        cone: Cone,
        dims: Sequence[Dim],
        extra: Sequence[str],
        faults: frozenset[PlantFault],
    ) -> None:
        self.dims = dims
        self.wiring = Wiring(FaultyPlant(plant, faults) if faults else plant, cone.controller, extra)
        self.devices = self.wiring.devices
        self.welded = frozenset(self.wiring.contact(*contact) for contact in welds(faults))
        self._low = cone.controller.bit(LEVEL_LOW)
        self._forced = self._low if any(FAULTS[fault.kind].low for fault in faults) else 0
        usual = zip(plant.turnable, plant.usually, strict=True)
        self._usual = dict(usual)
        self._arounds: dict[tuple[int, ...], Around] = {}
        self._felt: dict[int, int] = {}
        self._alike: dict[object, int] = {}

    def around(self, env: tuple[int, ...]) -> Around:
        """What the values of the dimensions come to."""
        known = self._arounds.get(env)
        if known is None:
            values = [dim.values[k] for dim, k in zip(self.dims, env, strict=True)]
            mask = self._forced
            for value in values:
                mask |= value.mask
            out = frozenset(value.unfed for value in values if value.unfed)
            circuits = self.wiring.plant.scenario.circuits
            position_of = {d.name: v.position for d, v in zip(self.dims, values, strict=True) if v.position}
            known = self._arounds[env] = Around(
                mask,
                any(value.people for value in values),
                tuple(
                    position_of.get(f"valve {valve}") or position_of.get(f"{MOTOR} {valve}", own)
                    for valve, own in self._usual.items()
                ),
                frozenset(name for v in values if (name := v.hot or v.cold or v.half)),
                frozenset(value.cold for value in values if value.cold),
                frozenset(value.half for value in values if value.half),
                frozenset(name for value in values for name in value.windows),
                bool(mask & self._low),
                out,
                frozenset(name for circuit in out for name in circuits[circuit].feeds),
            )
        return known

    def effect(self, state: State, env: tuple[int, ...], feedback: int) -> WhatIsOn:
        """What is on as wired, welded or not, and the water that it moves."""
        around = self.around(env)
        facts = around.mask | feedback
        return self.wiring.effect(state, facts, around.positions, self.welded, around.unfed)

    def felt(self, effect: WhatIsOn) -> int:
        """A number that effects share from which an instant follows alike, whatever is around."""
        number = self._felt.get(id(effect))
        if number is None:
            like = effect.contacts, effect.levels, effect.on, effect.water.told
            number = self._felt[id(effect)] = self._alike.setdefault(like, len(self._alike))
        return number

    def coasted(self, effect: WhatIsOn, levels: Sequence[int], around: Around) -> Water:
        """The water while some pumps that are off still turn."""
        return self.wiring.water(tuple(levels), any(effect.contacts), around.positions, low=around.low)
