"""What is on, and what that does to the water: the engine's duty table and means of proof, with faults."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from cyclesim.control.step import LEVEL_LOW, POWER_LOST, State
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.simulation.assembly import Plant
from cyclesim.verification.cone import Cone
from cyclesim.verification.environment import Dim
from cyclesim.verification.faults import HYDRAULIC, FaultyPlant, PlantFault


class Around(NamedTuple):
    """What the values of the dimensions come to."""

    mask: int
    people: bool
    positions: tuple[str, ...]
    hot: frozenset[str]
    windows: frozenset[str]
    low: bool


class Water(NamedTuple):
    """Where water moves, as bits by the place of a device in `Flows.devices`."""

    sensed: int
    """As the means of proof say it, in the controller's bits."""
    enough: int
    still: int


class WhatIsOn(NamedTuple):
    """What is on."""

    contacts: tuple[tuple[int, ...], ...]
    """Per pump of the cone, the levels whose contacts are closed."""
    levels: tuple[int, ...]
    """Per pump of the cone, at which level it moves water."""
    on: tuple[bool, ...]
    started: frozenset[str]
    water: Water


_Asked = tuple[tuple[int, ...], tuple[bool, ...], tuple[str, ...], bool]
"""Levels of the cone's pumps, which contacts are closed, positions of valves, low water."""


class Flows:
    """Effects of a cone's states, each worked out once. *extra*: sources that nobody switches."""

    def __init__(
        self,
        plant: Plant,
        cone: Cone,
        dims: Sequence[Dim],
        extra: Sequence[str],
        faults: frozenset[PlantFault],
    ) -> None:
        self.faults = faults
        self.plant, self.controller, self.dims = plant, cone.controller, dims
        c = self.controller
        self.devices = (*(source.name for source in c.sources), *extra)
        self._speeds = {p.name: p.speeds for p in c.pumps}
        self._wet = {pump.name: i for i, pump in enumerate(c.pumps) if pump.name in plant.pumps}
        self._low = c.bit(LEVEL_LOW)
        self._own = sum(c.bit(f"flow.{s.name}.own") for s in c.sources if s.own_switch)
        self._lost = c.bit(POWER_LOST)
        self._wired = c.wired_facts | self._lost
        hydraulic = frozenset(f for f in faults if f.kind in HYDRAULIC)
        self._faulty = FaultyPlant(plant, hydraulic) if hydraulic else plant
        kinds = {fault.kind for fault in faults}
        self._forced = c.bit(LEVEL_LOW) if "level low" in kinds else 0
        self._arounds: dict[tuple[int, ...], Around] = {}
        self._effects: dict[object, WhatIsOn] = {}
        self._waters: dict[_Asked, Water] = {}

    def around(self, env: tuple[int, ...]) -> Around:
        """What the values of the dimensions come to."""
        found = self._arounds.get(env)
        if found is None:
            values = [dim.values[k] for dim, k in zip(self.dims, env, strict=True)]
            mask = self._forced
            for value in values:
                mask |= value.mask
            at = {d.name: v.position for d, v in zip(self.dims, values, strict=True) if v.position}
            usual = zip(self.plant.turnable, self.plant.usually, strict=True)
            found = self._arounds[env] = Around(
                mask,
                any(value.people for value in values),
                tuple(at.get(f"valve {name}", own) for name, own in usual),
                frozenset(value.hot for value in values if value.hot),
                frozenset(name for value in values for name in value.windows),
                bool(mask & self._low),
            )
        return found

    def effect(self, state: State, env: tuple[int, ...], told: int) -> WhatIsOn:
        """What is on as wired, welded or not, and the water that it moves."""
        key = (state, env, told & self._own)
        found = self._effects.get(key)
        if found is None:
            found = self._effects[key] = self._work_out(state, self.around(env), told)
        return found

    def _work_out(self, state: State, around: Around, told: int) -> WhatIsOn:
        c, facts = self.controller, around.mask | told
        wired = c.wired(state, facts & self._wired)
        contacts, on = [set(levels) for levels in wired.speeds], list(wired.on)
        stuck = {fault.subject for fault in self.faults if fault.kind == "welded"}
        dead = {fault.subject for fault in self.faults if fault.kind == "no start"}
        for i, pump in enumerate(c.pumps):
            for level, speed in enumerate(pump.speeds, 1):
                if f"{pump.name}/{speed}" in stuck and not facts & self._lost:
                    contacts[i].add(level)
        for k, source in enumerate(c.sources):
            if f"{source.name}/on" in stuck and not facts & self._lost:
                tripped = source.table.states[state[len(c.pumps) + k]] == "tripped"
                open_ = source.own_switch and not told & c.bit(f"flow.{source.name}.own")
                on[k] = on[k] or not (tripped or open_)  # limit and own switch stand after the contactor
        levels = tuple(
            0 if pump.name in dead else max(contacts[i], default=0) for i, pump in enumerate(c.pumps)
        )
        closed = tuple(tuple(sorted(x)) for x in contacts)
        water = self.water(levels, tuple(map(bool, closed)), around)
        return WhatIsOn(
            closed, levels, tuple(on), frozenset(c.starters[s].name for s in wired.started), water
        )

    def same_water(self, other: Flows) -> bool:
        """Whether all water that the other was asked about is the same here."""
        return all(self._solve(*key) == water for key, water in other._waters.items())

    def water(self, levels: tuple[int, ...], running: tuple[bool, ...], around: Around) -> Water:
        """The water at these levels of the cone's pumps; *running* is what their contacts say."""
        key = (levels, running, around.positions, around.low)
        found = self._waters.get(key)
        if found is None:
            found = self._waters[key] = self._solve(*key)
        return found

    def _solve(
        self, levels: tuple[int, ...], running: tuple[bool, ...], positions: tuple[str, ...], low: bool
    ) -> Water:
        plant = self._faulty

        def named(at: Sequence[int]) -> tuple[str, ...]:
            return tuple(
                self._speeds[name][at[self._wet[name]] - 1]
                if name in self._wet and at[self._wet[name]]
                else "stopped"
                for name in plant.pumps
            )

        duty = plant.duty(named(levels), positions, dry=low)
        said = replace(duty, speeds=named([int(x) for x in running]))  # a pump's contact knows no water
        sensed = enough = still = 0
        for k, name in enumerate(self.devices):
            if k < len(self.controller.sources):
                bit = self.controller.bit(f"flow.{name}.sensed")
                kinds = {fault.kind for fault in self.faults if fault.subject == name}
                if "false yes" in kinds or ("false no" not in kinds and plant.sensed(name, said)):
                    sensed |= bit
            if plant.has_flow(name, duty):
                enough |= 1 << k
            if abs(duty.flow_m3_s(plant.fed_through(name))) <= STILL_M3_S:
                still |= 1 << k
        return Water(sensed, enough, still)
