"""Single faults: what each is called, what it touches, and the same plant with it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import NamedTuple

from cyclesim.physics.links import Drop, Link, Pump
from cyclesim.simulation.assembly import Broken, Plant, PlantDuty, Positions, Speeds
from cyclesim.simulation.programme import Programme
from cyclesim.verification.cone import Cone

CLOGGED_TIMES = 10.0
"""How many times its drop a clogged filter loses; project choice, no standard."""


class PlantFault(NamedTuple):
    """One thing that goes wrong, at any time, and stays wrong."""

    kind: str
    subject: str
    said: str
    """What happens, as a clause: `main does not start, or trips`."""
    any_order: bool = False
    """Whether the calendar no longer holds once it is possible."""


HYDRAULIC = ("valve shut", "clogged", "check valve")
"""Faults that change where water runs, and nothing else."""
SENSORS = "sensor"
"""Faults of temperature sensors: the search lets every thermostat say anything, so they add nothing to it."""


def faults_of(plant: Plant, programme: Programme) -> Iterator[PlantFault]:
    """Every single fault that the plant can have."""
    sheet, controller = plant.sheet, programme.controller
    for name in (*plant.pumps, *sheet.air):
        yield PlantFault("no start", name, f"{name} does not start, or trips")
    for name, valve in sheet.valves.items():
        if valve.usual != "shut":
            yield PlantFault("valve shut", name, f"{name} is left shut")
    for name, thing in sheet.equipment.items():
        if thing.kind in ("filter", "strainer"):
            yield PlantFault("clogged", name, f"{name} clogs to ten times its drop")
    for name, pump in plant.pumps.items():
        if pump.check_valve:
            yield PlantFault("check valve", name, f"the check valve of {name} leaks")
    for name in sheet.check_valves:
        yield PlantFault("check valve", name, f"{name} leaks")
    for source in controller.sources:
        device = sheet.treatment.get(source.name) or sheet.heat_sources[source.name]
        if "proving" in source.table.states and device.proof.by != "none":
            what = f"the {device.proof.by.replace('_', ' ')} of {source.name}"
            yield PlantFault("false yes", source.name, f"{what} says yes whatever the flow")
            yield PlantFault("false no", source.name, f"{what} says no whatever the flow")
        if source.own_switch:
            yield PlantFault("own yes", source.name, f"the own flow switch of {source.name} stays closed")
            yield PlantFault("own no", source.name, f"the own flow switch of {source.name} stays open")
    for machine in controller.pumps:
        for speed in machine.speeds:
            at = f"{machine.name} {speed}" if len(machine.speeds) > 1 else machine.name
            yield PlantFault("welded", f"{machine.name}/{speed}", f"the contactor of {at} welds")
    for source in controller.sources:
        yield PlantFault("welded", f"{source.name}/on", f"the contactor of {source.name} welds")
    if plant.scenario.schedule.heating or plant.scenario.schedule.frost_protection:
        for way in ("high", "low", "open"):
            yield PlantFault(SENSORS, way, f"a temperature sensor reads {way}" if way != "open" else
                        "a temperature sensor is open")  # fmt: skip
    yield PlantFault("level low", "tub", "the water falls below the suction fittings")
    yield PlantFault("restart", "controller", "the controller restarts in mid-run", True)
    yield PlantFault("clock", "controller", "its clock is reset to midnight after a power cut", True)
    yield PlantFault("person", "panel", "a person presses anything at any time", True)


def touches(fault: PlantFault, cone: Cone, loops: Mapping[str, int], plant: Plant) -> bool:
    """Whether a fault can be seen from within a cone; outside, the answer is that without it."""
    if fault.kind in HYDRAULIC:
        inside = {loops.get(name) for name in cone.names if name in plant.pumps}
        return loops.get(fault.subject) in inside
    if fault.kind in ("level low", "restart", "clock", "person"):
        return True
    return fault.kind != SENSORS and fault.subject.partition("/")[0] in cone.names


class FaultyPlant(Plant):
    """The plant with what some faults do to its water, its pumps and its switches."""

    def __init__(self, plant: Plant, faults: frozenset[PlantFault]) -> None:
        super().__init__(plant.scenario)
        self.temp_c = plant.temp_c
        self._sound = plant
        self._rerouted = {(fault.kind, fault.subject) for fault in faults if fault.kind in HYDRAULIC}

        def those(kind: str) -> list[str]:
            return [fault.subject for fault in faults if fault.kind == kind]

        self.broken = Broken(
            frozenset(those("no start")),
            dict.fromkeys(those("false no"), False) | dict.fromkeys(those("false yes"), True),
            dict.fromkeys(those("own yes"), True) | dict.fromkeys(those("own no"), False),
        )

    def duty(self, speeds: Speeds, positions: Positions | None = None, *, dry: bool = False) -> PlantDuty:
        """The duty with the faults; where none changes where water runs, it is that of the sound plant."""
        if self._rerouted:
            return super().duty(speeds, positions, dry=dry)
        return self._sound.duty(speeds, positions, dry=dry)

    def links_at(self, speeds: Mapping[str, str], positions: Positions) -> Iterator[Link]:
        """The links with what the faults make of them."""
        for link in super().links_at(speeds, positions):
            if isinstance(link, Drop) and ("valve shut", link.name) in self._rerouted:
                yield replace(link, shut=True)
            elif isinstance(link, Drop) and ("clogged", link.name) in self._rerouted:
                yield replace(link, head_m=CLOGGED_TIMES * link.head_m)
            elif isinstance(link, Drop) and ("check valve", link.name) in self._rerouted:
                yield replace(link, one_way=False)
            elif isinstance(link, Pump) and ("check valve", link.name) in self._rerouted:
                yield replace(link, check_valve=False)
            else:
                yield link


def welds(faults: Iterable[PlantFault]) -> Iterator[tuple[str, str]]:
    """The contacts that some faults weld: (machine, speed), or "on" for what has none."""
    for fault in faults:
        if fault.kind == "welded":
            name, _, speed = fault.subject.partition("/")
            yield name, speed
