"""What the things that are on do to the plant's heat, and what they are called in the trace.

Two contacts of one pump: the faster speed turns it, both are told closed, and a rule says so.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from cyclesim.control.step import State
from cyclesim.physics.loops import Patterns
from cyclesim.scenario.blocks.heat_sources import HeatPump
from cyclesim.simulation.assembly import PlantDuty
from cyclesim.simulation.exchanges import Exchanges, Numbered
from cyclesim.simulation.wired import WhatIsOn, Wiring


class Effect(NamedTuple):
    """What the controller's state and what is beside it do to the plant."""

    what: WhatIsOn
    labels: tuple[str, ...]
    """What each machine's thing does, as the trace tells it."""
    second: dict[str, str]
    """A pump -> a second speed whose contact is closed too."""
    duty: PlantDuty
    patterns: Patterns
    blowing: tuple[str, ...]
    firing: tuple[str, ...]
    heats_w: Mapping[str, float]
    """Heat that is given to the water in each pump and source, whether it moves or not."""
    laws: tuple[Numbered, ...]


class Effects:
    """The effect of each state, worked out once."""

    def __init__(
        self,
        wiring: Wiring,
        exchanges: Exchanges | None,
        patterns: Callable[[Sequence[float]], Patterns],
    ) -> None:
        self._wiring, self._exchanges, self._patterns = wiring, exchanges, patterns
        self._known: dict[int, Effect] = {}

    def of(self, state: State, what: WhatIsOn) -> Effect:
        """What that does which is on in a state; *what* is as the wiring has it."""
        effect = self._known.get(id(what))
        if effect is None:
            effect = self._known[id(what)] = self._work_out(state, what)
        return effect

    def _work_out(self, state: State, what: WhatIsOn) -> Effect:
        controller, plant = self._wiring.controller, self._wiring.plant
        pumps, first = len(plant.pumps), len(controller.pumps)
        labels, second = list(controller.names(state)), {}
        for i, (pump, levels) in enumerate(zip(controller.pumps, what.contacts, strict=True)):
            if levels:
                labels[i] = pump.speeds[levels[-1] - 1]
                if len(levels) > 1:
                    second[pump.name] = pump.speeds[levels[0] - 1]
            elif labels[i] != "changing":
                labels[i] = "stopped"
        for i, (device, on) in enumerate(zip(controller.sources, what.on, strict=True), first):
            if on:
                labels[i] = device.active
            elif labels[i] == device.active:
                labels[i] = "held_off"
        after = zip(plant.sheet.air, labels[pumps:first], strict=False)  # circulators come after
        blowing = tuple(n for n, s in after if s == "on")
        heat = plant.sheet.heat_sources
        devices = zip(self._wiring.devices, what.on, strict=False)
        firing = tuple(name for name, on in devices if on and name in heat)
        duty = what.water.duty
        heats_w = dict(duty.pump_heats_w)
        laws: list[Numbered] = []
        for name in firing:
            if heat[name].own_water is not None:  # its heat goes into its own water
                continue
            flows = not plant.is_still(name, duty)
            if isinstance(heat[name], HeatPump) and self._exchanges:
                if flows:  # without flow its own pressure switch stops it: no heat, no power
                    laws.append(self._exchanges.heat_pump(name))
            else:
                heats_w[name] = heat[name].output_w
        if self._exchanges:
            laws += [self._exchanges.blown(name) for name in blowing]
        return Effect(
            what,
            tuple(labels),
            second,
            duty,
            self._patterns(duty.plug_flows_m3_s),
            blowing,
            firing,
            heats_w,
            tuple(laws),
        )
