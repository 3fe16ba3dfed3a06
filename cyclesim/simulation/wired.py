"""One instant as wired: which contacts are closed, what water they move, what is sensed of it.

The run, the search and the reading of a trace all ask here, so that none has a picture of its own. Nothing
here takes time: an instant says which times begin and which are over, and whoever asks counts seconds or
keeps an order.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from cyclesim.control.step import LEVEL_LOW, POWER_LOST, ControlLogic, State
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.simulation.assembly import Assembly, PlantDuty, Positions, Speeds

Welded = frozenset[tuple[int, int]]
"""(machine, level) of contacts that are stuck closed."""
NONE: Welded = frozenset()


class Surroundings(NamedTuple):
    """What is so around a controller."""

    positions: Positions
    welded: Welded
    unfed: frozenset[str]
    """What hangs on a circuit that has no power."""


class Water(NamedTuple):
    """Water that moves, with what it is to each device: bits by the device's place."""

    duty: PlantDuty
    sensed: int
    """As the means of proof say it, in the controller's facts."""
    enough: int
    still: int
    back: int
    """Devices through which it runs backwards; none of their sensors tells that from too little."""

    @property
    def told(self) -> tuple[int, int, int]:
        """All that devices and their sensors can tell of it."""
        return self[1:4]


class WhatIsOn(NamedTuple):
    """What is on."""

    contacts: tuple[tuple[int, ...], ...]
    """Per pump, the levels whose contacts are closed with power behind them, slowest first."""
    levels: tuple[int, ...]
    """Per pump, the level at which it moves water, or air: the faster of two contacts turns it."""
    on: tuple[bool, ...]
    """Per source and treatment device of the controller."""
    started: frozenset[str]
    """Contacts beside the controller that take effect."""
    water: Water
    dry: int
    """The devices that are on in still water, as bits by their place."""
    own_still: int
    """The heat sources whose own water no circulator turns, on or not, as bits by their place."""


class Settled(NamedTuple):
    """An instant after its pass, when switches and means of proof have followed the water."""

    facts: int
    risen: int
    """Devices whose means of proof has seen the rise of still water, as bits by their place."""
    effect: WhatIsOn
    feels: int
    """Devices whose own flow switch feels water and is not closed yet, as bits by their place."""
    stops: int
    """Devices whose own flow switch feels none."""


def water_at(plant: Assembly, devices: Sequence[str], duty: PlantDuty) -> tuple[int, int, int]:
    """Which devices get the flow that they need, in which the water stands still, through which it runs
    backwards: bits by their place."""
    enough = still = back = 0
    for k, name in enumerate(devices):
        enough |= plant.has_flow(name, duty) << k
        still |= plant.is_still(name, duty) << k
        back |= (plant.forward_m3_s(plant.fed_through(name), duty) < -STILL_M3_S) << k
    return enough, still, back


class Wiring:
    """A plant behind the contacts of a controller, or of a part of one; each answer is worked out once.

    *extra*: sources that nobody switches, whose water is asked for too; their places come last.
    """

    def __init__(self, plant: Assembly, controller: ControlLogic, extra: Iterable[str] = ()) -> None:
        self.plant, self.controller = plant, controller
        c, sources = controller, controller.sources
        self.devices = (*(source.name for source in sources), *extra)
        self.first = len(c.pumps)
        """Where sources begin among the machines."""
        self.deciding = c.wired_facts | c.bit(POWER_LOST) | c.bit(LEVEL_LOW)
        """The facts that decide, beside the state, what is on and what water moves."""
        self.sensed = [c.bit(f"flow.{s.name}.sensed") for s in sources]
        self.trips = [c.bit(f"{s.name}.trips") for s in sources]
        self.resets = [c.bit(f"{s.name}.reset") for s in sources]
        self.own = {k: c.bit(f"flow.{s.name}.own") for k, s in enumerate(sources) if s.own_switch}
        """Place of a device -> the fact that its own flow switch is closed."""
        self.feedback = sum({*self.sensed, *self.trips, *self.own.values()})
        """The facts that the plant itself decides."""
        sheets = {k: plant.sheet.heat_sources.get(name) for k, name in enumerate(self.devices)}
        self.rising = {k for k, sheet in sheets.items() if sheet and sheet.proof.by == "temperature_rise"}
        """Devices whose means of proof sees a rise that only still water shows."""
        self.limited = {k for k, s in enumerate(sources) if plant.trips_dry(s.name)}
        """Devices with a high limit that feels their own water, and trips them where it stands still."""
        self._wet = {pump.name: i for i, pump in enumerate(c.pumps) if pump.name in plant.pumps}
        at = {pump.name: i for i, pump in enumerate(c.pumps)}
        own = {k: sheet.own_water for k, sheet in sheets.items() if sheet and sheet.own_water}
        self.turned_by = {k: at[c.circulator] for k, c in own.items() if c.circulator in at}
        """Place of a source with water of its own -> its circulator's among the pumps."""
        self._held = {k for k, circuit in own.items() if circuit.flow_switch}
        self._all_sensed = sum(self.sensed)
        self._low = c.bit(LEVEL_LOW)
        self._effects: dict[tuple[State, int, Positions, Welded, frozenset[str]], WhatIsOn] = {}
        self.waters: dict[tuple[tuple[int, ...], bool, Positions, bool], Water] = {}
        """What was asked about: the pumps' levels, whether any contact is closed, valves, low water."""

    def contact(self, name: str, speed: str) -> tuple[int, int]:
        """The machine and the level of a contact: a pump at a speed, a device at any other word."""
        machines = self.controller.machines
        i = next(i for i, machine in enumerate(machines) if machine.name == name)
        return i, self.controller.pumps[i].speeds.index(speed) + 1 if i < self.first else 1

    def effect(
        self,
        state: State,
        facts: int,
        positions: Positions,
        welded: Welded = NONE,
        unfed: frozenset[str] = frozenset(),
    ) -> WhatIsOn:
        """What is on, and the water that it moves; *unfed* is what hangs on a circuit without power."""
        key = state, facts & self.deciding, positions, welded, unfed
        known = self._effects.get(key)
        if known is None:
            known = self._effects[key] = self._work_out(*key)
        return known

    def _work_out(
        self, state: State, facts: int, positions: Positions, welded: Welded, unfed: frozenset[str]
    ) -> WhatIsOn:
        wired = self.controller.wired(state, facts, welded)
        dead = self.plant.broken.dead | unfed
        on = tuple(
            is_on and source.name not in dead
            for source, is_on in zip(self.controller.sources, wired.on, strict=True)
        )
        levels = tuple(
            0 if pump.name in dead else max(closed, default=0)
            for pump, closed in zip(self.controller.pumps, wired.speeds, strict=True)
        )
        own_still = sum(1 << k for k, i in self.turned_by.items() if not levels[i])
        on = tuple(is_on and not (k in self._held and own_still >> k & 1) for k, is_on in enumerate(on))
        starters = (self.controller.starters[k] for k in wired.started)
        started = frozenset(starter.name for starter in starters if starter.target not in unfed)
        closed = any(wired.speeds[i] for i in self._wet.values())
        water = self.water(levels, closed, positions, low=bool(facts & self._low))
        dry = sum(1 << k for k, is_on in enumerate(on) if is_on) & water.still
        contacts = tuple(
            () if pump.name in unfed else closed  # it is closed, and a contact of it says so; nothing runs
            for pump, closed in zip(self.controller.pumps, wired.speeds, strict=True)
        )
        return WhatIsOn(contacts, levels, on, started, water, dry, own_still)

    def may_trip(self, effect: WhatIsOn) -> int:
        """The devices whose high limit feels water that stands and is heated, as bits by their place."""
        found = effect.dry
        for k in self.turned_by:
            still = k < len(effect.on) and effect.on[k] and effect.own_still >> k & 1
            found = found | 1 << k if still else found & ~(1 << k)
        return found

    def water(self, levels: tuple[int, ...], closed: bool, positions: Positions, *, low: bool) -> Water:
        """The water at these levels of the pumps; *closed*: whether any pump's contact is."""
        key = levels, closed, positions, low
        known = self.waters.get(key)
        if known is None:
            known = self.waters[key] = self._solve(*key)
        return known

    def same_water(self, other: Wiring) -> bool:
        """Whether all that the other was asked about is the same here."""
        return all(self._solve(*key)[1:] == water[1:] for key, water in other.waters.items())

    def _solve(self, levels: tuple[int, ...], closed: bool, positions: Positions, low: bool) -> Water:
        plant = self.plant
        duty = plant.duty(self._speeds(levels), positions, dry=low)
        proving = zip(self.devices, self.sensed, strict=False)  # what nobody switches proves nothing
        sensed = sum(bit for name, bit in proving if plant.sensed(name, duty, closed))
        return Water(duty, sensed, *water_at(plant, self.devices, duty))

    def _speeds(self, levels: Sequence[int]) -> Speeds:
        """The speed of every pump of the plant; those that are not the controller's stand still."""
        at = {name: levels[i] for name, i in self._wet.items()}
        speeds = {name: self.controller.pumps[i].speeds for name, i in self._wet.items()}
        return tuple(speeds[n][at[n] - 1] if at.get(n) else "stopped" for n in self.plant.pumps)

    def settled(
        self,
        was: WhatIsOn,
        state: State,
        facts: int,
        positions: Positions,
        risen: int = 0,
        welded: Welded = NONE,
        unfed: frozenset[str] = frozenset(),
    ) -> Settled:
        """What follows in the very instant in which the machines have come to a state, or facts have changed.

        *was*: what was on before; *unfed*: as in `effect`. An own flow switch opens at once where it feels no
        water, and what it holds goes off with it; it closes later. Means of proof are read where water or
        heat has changed.
        """
        effect = self.effect(state, facts, positions, welded, unfed)
        feels = stops = 0
        if self.own:
            before, stuck = facts, self.plant.broken.own_switch
            for k, bit in self.own.items():
                if stuck.get(self.devices[k]):
                    facts |= bit
                elif self.devices[k] in stuck or not effect.water.enough >> k & 1:
                    facts &= ~bit
                    stops |= 1 << k
                elif not facts & bit:
                    feels |= 1 << k
            if facts != before:
                effect = self.effect(state, facts, positions, welded, unfed)
        water = effect.water
        risen &= water.still
        if water.told != was.water.told or effect.on != was.on:
            facts = facts & ~self._all_sensed | water.sensed
            if risen:
                facts &= ~sum(bit for k, bit in enumerate(self.sensed) if risen >> k & 1)
        return Settled(facts, risen, effect, feels, stops)
