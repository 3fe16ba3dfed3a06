"""What the controller and what is beside it do to the plant: water, heat, and what is sensed of it.

Two contacts of one pump: the faster speed turns it, both are told closed, and a rule says so.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from typing import NamedTuple

from cyclesim.control.step import Controller, State
from cyclesim.physics.loops import Patterns
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.scenario.blocks.heat_sources import HeatPump
from cyclesim.simulation.assembly import Plant, PlantDuty, Positions
from cyclesim.simulation.exchanges import Exchanges, Numbered


class Now(NamedTuple):
    """What decides what the plant does: the controller's state, what is wired past it, valves, the level."""

    state: State
    wired: int
    """The facts that count beside the state."""
    positions: Positions


class Effect(NamedTuple):
    """What the controller's state and what is beside it do to the plant."""

    labels: tuple[str, ...]
    """What each machine's thing does, as the trace tells it."""
    second: dict[str, str]
    """A pump -> a second speed whose contact is closed too."""
    started: frozenset[str]
    """Contacts beside the controller that take effect."""
    dwells_s: tuple[int, ...]
    duty: PlantDuty
    patterns: Patterns
    blowing: tuple[str, ...]
    firing: tuple[str, ...]
    heat_w: float
    trapped_w: float
    laws: tuple[Numbered, ...]
    sensed: int
    felt: frozenset[str]
    """Devices whose own flow switch water moves."""


class Effects:
    """The effect of each state, worked out once."""

    def __init__(
        self,
        plant: Plant,
        controller: Controller,
        sources: Sequence[str],
        exchanges: Exchanges | None,
        patterns: Callable[[Sequence[float]], Patterns],
        low_bit: int,
        sensed_bits: Mapping[str, int],
        own_switched: Collection[str],
    ) -> None:
        self._plant, self._controller, self._exchanges = plant, controller, exchanges
        self._sources = sources
        self._patterns, self._low_bit = patterns, low_bit
        self._sensed_bits, self._own_switched = sensed_bits, own_switched
        self._known: dict[Now, Effect] = {}

    def of(self, now: Now) -> Effect:
        """What is on does to water and heat, and what the means of proof say of it."""
        effect = self._known.get(now)
        if effect is None:
            effect = self._known[now] = self._work_out(now)
        return effect

    def _work_out(self, now: Now) -> Effect:
        controller, plant = self._controller, self._plant
        pumps, first = len(plant.pumps), len(controller.pumps)
        wired = controller.wired(now.state, now.wired)
        labels, second = list(controller.names(now.state)), {}
        for i, (pump, levels) in enumerate(zip(controller.pumps, wired.speeds, strict=True)):
            if levels:
                labels[i] = pump.speeds[levels[-1] - 1]
                if len(levels) > 1:
                    second[pump.name] = pump.speeds[levels[0] - 1]
            elif labels[i] != "changing":
                labels[i] = "stopped"
        for i, (device, on) in enumerate(zip(controller.sources, wired.on, strict=True), first):
            if on:
                labels[i] = device.active
            elif labels[i] == device.active:
                labels[i] = "held_off"
        speeds = tuple("stopped" if name == "changing" else name for name in labels[:pumps])
        duty = plant.duty(speeds, now.positions, dry=bool(now.wired & self._low_bit))
        patterns = self._patterns(duty.plug_flows_m3_s)
        blown = zip(plant.sheet.air, labels[pumps:first], strict=True)
        blowing = tuple(n for n, s in blown if s == "on")
        firing = tuple(
            n for n, on in zip(self._sources, wired.on, strict=False) if on
        )  # treatment comes after
        heat_w, trapped_w = duty.pump_heat_w, 0.0
        laws: list[Numbered] = []
        for name in firing:
            flows = abs(duty.flow_m3_s(name)) > STILL_M3_S
            if isinstance(plant.sheet.heat_sources[name], HeatPump) and self._exchanges:
                if flows:  # without flow its own pressure switch stops it: no heat, no power
                    laws.append(self._exchanges.heat_pump(name))
            elif not flows:
                trapped_w += plant.sheet.heat_sources[name].output_w
            else:
                heat_w += plant.sheet.heat_sources[name].output_w
        if self._exchanges:
            laws += [self._exchanges.blown(name) for name in blowing]
        return Effect(
            tuple(labels),
            second,
            frozenset(controller.starters[k].name for k in wired.started),
            controller.dwells_s(now.state),
            duty,
            patterns,
            blowing,
            firing,
            heat_w,
            trapped_w,
            tuple(laws),
            sum(bit for n, bit in self._sensed_bits.items() if plant.sensed(n, duty)),
            frozenset(n for n in self._own_switched if plant.has_flow(n, duty)),
        )
