"""Single faults: what can fail, what each failure does, and the same plant with it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

from cyclesim.physics.links import Drop, Link, PumpLink
from cyclesim.simulation.assembly import Assembly, BrokenParts, PlantDuty, Positions, Speeds
from cyclesim.simulation.programme import Programme
from cyclesim.verification.cone import Cone

CLOGGED_TIMES = 10.0
"""How many times its drop a clogged filter loses; project choice, no standard."""


class PlantFault(NamedTuple):
    """One thing that goes wrong, at any time, and stays wrong."""

    kind: str
    subject: str
    sentence: str
    """What happens, as a clause: `main does not start, or trips`."""
    any_order: bool = False
    """Whether the calendar no longer holds once it is possible."""


_Subjects = Iterator[tuple[str, str]]
"""What can fail so, and what then happens, as a clause."""


@dataclass(frozen=True)
class FaultKind:
    """One way to fail: everything that is known of it, for all that reads it."""

    subjects: Callable[[Assembly, Programme], _Subjects]
    link: Callable[[Link], Link] | None = None
    """What it makes of the link of its subject's name: it changes where water runs, and nothing else."""
    dead: bool = False
    """Whether its subject, a pump or all that hangs on a circuit, does nothing, whatever its contact says."""
    proof: bool | None = None
    """What the means of proof of its subject then says."""
    own_switch: bool | None = None
    """Whether its subject's own flow switch is then closed."""
    welds: bool = False
    """Whether the contact that is its subject (`main/low`, `element/on`) stays closed."""
    sticks: bool = False
    """Whether the valve that is its subject (`sun_valve/to_sun`) stays in that position."""
    low: bool = False
    """Whether the water is below the suction fittings."""
    everywhere: bool = False
    """Whether every rule can see it; else only one that looks at its subject."""
    known: bool = False
    """Whether the search lets it come without any fault, so that it adds nothing."""
    any_order: bool = False
    barrier: bool = False
    """Whether its subject is a barrier against what rules forbid, which it takes away."""
    replayed: bool = True
    """Whether the engine can be given it."""


def _pumps_and_blowers(plant: Assembly, programme: Programme) -> _Subjects:
    del programme
    for name in (*plant.pumps, *plant.sheet.air, *plant.sheet.circulators):
        yield name, f"{name} does not start, or trips"


def _circuits(plant: Assembly, programme: Programme) -> _Subjects:
    """Each circuit alone, and each residual-current device with all behind it; one for all is a cut."""
    del programme
    circuits = plant.scenario.circuits
    if len(circuits) < 2:
        return
    for name in circuits:
        yield name, f"the breaker of {name} trips"
    for rcd in dict.fromkeys(circuit.rcd for circuit in circuits.values() if circuit.rcd):
        yield f"{rcd}{_RCD}", f"the residual-current device {rcd} trips"


_RCD = "/rcd"
"""What follows the name of a residual-current device, which a circuit may have, too."""


def parts_of(fault: PlantFault, plant: Assembly) -> frozenset[str]:
    """The machines that a fault is about: its subject, or all that hangs on a circuit."""
    circuits = plant.scenario.circuits
    if fault.kind != "circuit":
        return frozenset({fault.subject.partition("/")[0]})
    name, _, of_rcd = fault.subject.partition("/")
    cut = [c for n, c in circuits.items() if (c.rcd == name if of_rcd else n == name)]
    return frozenset(thing for circuit in cut for thing in circuit.feeds)


def _valves(plant: Assembly, programme: Programme) -> _Subjects:
    del programme
    for name, valve in plant.sheet.valves.items():
        if valve.usual != "shut":
            yield name, f"{name} is left shut"


def _shut(link: Link) -> Link:
    return replace(link, shut=True) if isinstance(link, Drop) else link


def _motor_valves(plant: Assembly, programme: Programme) -> _Subjects:
    """Valves that steered collectors have, each stuck where their water runs."""
    del programme
    for steered in plant.steered.values():
        if steered.valve is not None:
            valve, position = steered.valve
            at = position if position in ("open", "shut") else f"at {position}"
            yield f"{valve}/{position}", f"{valve} sticks {at}, whatever its motor is told"


def _filters(plant: Assembly, programme: Programme) -> _Subjects:
    del programme
    for name, sheet in plant.sheet.equipment.items():
        if sheet.kind in ("filter", "strainer"):
            yield name, f"{name} clogs to ten times its drop"


def _clogged(link: Link) -> Link:
    return replace(link, head_m=CLOGGED_TIMES * link.head_m) if isinstance(link, Drop) else link


def _check_valves(plant: Assembly, programme: Programme) -> _Subjects:
    del programme
    for name, pump in plant.pumps.items():
        if pump.check_valve:
            yield name, f"the check valve of {name} leaks"
    for name in plant.sheet.check_valves:
        yield name, f"{name} leaks"


def _leaking(link: Link) -> Link:
    if isinstance(link, PumpLink):
        return replace(link, check_valve=False)
    return replace(link, one_way=False) if isinstance(link, Drop) else link


def _proofs(says: str) -> Callable[[Assembly, Programme], _Subjects]:
    def subjects(plant: Assembly, programme: Programme) -> _Subjects:
        for source in programme.controller.sources:
            device = plant.sheet.treatment.get(source.name) or plant.sheet.heat_sources[source.name]
            if "proving" in source.table.states and device.proof.by != "none":
                proof = f"the {device.proof.by.replace('_', ' ')} of {source.name}"
                yield source.name, f"{proof} says {says} whatever the flow"

    return subjects


def _own_switches(stays: str) -> Callable[[Assembly, Programme], _Subjects]:
    def subjects(plant: Assembly, programme: Programme) -> _Subjects:
        del plant
        for source in programme.controller.sources:
            if source.own_switch:
                yield source.name, f"the own flow switch of {source.name} stays {stays}"

    return subjects


def _contactors(plant: Assembly, programme: Programme) -> _Subjects:
    del plant
    for machine in programme.controller.pumps:
        for speed in machine.speeds:
            contactor = f"{machine.name} {speed}" if len(machine.speeds) > 1 else machine.name
            yield f"{machine.name}/{speed}", f"the contactor of {contactor} welds"
    for source in programme.controller.sources:
        yield f"{source.name}/on", f"the contactor of {source.name} welds"


def _sensors(plant: Assembly, programme: Programme) -> _Subjects:
    del programme
    if plant.scenario.schedule.heating or plant.scenario.schedule.frost_protection or plant.steered:
        yield "high", "a temperature sensor reads high"
        yield "low", "a temperature sensor reads low"
        yield "open", "a temperature sensor is open"


def _always(subject: str, sentence: str) -> Callable[[Assembly, Programme], _Subjects]:
    return lambda *_: iter([(subject, sentence)])


FAULTS: dict[str, FaultKind] = {
    "no start": FaultKind(_pumps_and_blowers, dead=True),
    "circuit": FaultKind(_circuits, dead=True),
    "valve shut": FaultKind(_valves, link=_shut),
    "motor valve": FaultKind(_motor_valves, sticks=True),
    "clogged": FaultKind(_filters, link=_clogged),
    "check valve": FaultKind(_check_valves, link=_leaking),
    "false yes": FaultKind(_proofs("yes"), proof=True, barrier=True),
    "false no": FaultKind(_proofs("no"), proof=False),
    "own yes": FaultKind(_own_switches("closed"), own_switch=True, barrier=True, replayed=False),
    "own no": FaultKind(_own_switches("open"), own_switch=False, replayed=False),
    "welded": FaultKind(_contactors, welds=True, barrier=True),
    "sensor": FaultKind(_sensors, known=True, replayed=False),  # every thermostat may say anything
    "level low": FaultKind(
        _always("tub", "the water falls below the suction fittings"), low=True, everywhere=True
    ),
    "restart": FaultKind(
        _always("controller", "the controller restarts in mid-run"),
        everywhere=True,
        any_order=True,
        replayed=False,
    ),
    "clock": FaultKind(  # without a calendar, a clock that is wrong is nothing new
        _always("controller", "its clock is reset to midnight after a power cut"), known=True, any_order=True
    ),
    "person": FaultKind(
        _always("panel", "a person presses anything at any time"), everywhere=True, any_order=True
    ),
}
"""Every way to fail by its name. What is put in here is verified, told and replayed like the rest."""


def faults_of(plant: Assembly, programme: Programme) -> Iterator[PlantFault]:
    """Every single fault that the plant can have."""
    for kind, fault in FAULTS.items():
        for subject, sentence in fault.subjects(plant, programme):
            yield PlantFault(kind, subject, sentence, fault.any_order)


def reroutes(fault: PlantFault) -> bool:
    """Whether a fault changes where water runs, and nothing else."""
    return FAULTS[fault.kind].link is not None


def misleads(fault: PlantFault, kept_out: str) -> bool:
    """Whether a sensor is wrong so that the sun is let in: cold collectors, or water at its high stop.

    Cold collectors need one that is too warm or a tub that is too cold, the high stop a tub that is too cold;
    an open sensor may be either.
    """
    lets_in = {"cold": ("high", "low", "open"), "stop": ("low", "open")}
    return fault.kind == "sensor" and fault.subject in lets_in.get(kept_out, ())


def touches(fault: PlantFault, cone: Cone, loops: Mapping[str, int], plant: Assembly) -> bool:
    """Whether a fault can be seen from within a cone; outside, the answer is that without it."""
    kind = FAULTS[fault.kind]
    if kind.known or kind.everywhere:
        return not kind.known
    if kind.link is not None or kind.sticks:
        inside = {loops.get(name) for name in cone.names if name in plant.pumps}
        name = fault.subject.partition("/")[0]
        placed = getattr(plant.turnable.get(name), "ways", (name,))[0]
        return loops.get(placed) in inside
    return not parts_of(fault, plant).isdisjoint(cone.names)


class FaultyPlant(Assembly):
    """The plant with what some faults do to its water, its pumps and its switches."""

    def __init__(self, plant: Assembly, faults: frozenset[PlantFault]) -> None:
        super().__init__(plant.scenario)
        self.temp_c = plant.temp_c
        self._sound = plant
        kinds = [(fault.subject, FAULTS[fault.kind]) for fault in sorted(faults)]
        self._rerouted = [(subject, kind.link) for subject, kind in kinds if kind.link is not None]
        self._stuck = dict(subject.split("/") for subject, kind in kinds if kind.sticks)
        self.broken = BrokenParts(
            frozenset(p for f in faults if FAULTS[f.kind].dead for p in parts_of(f, plant)),
            {subject: kind.proof for subject, kind in kinds if kind.proof is not None},
            {subject: kind.own_switch for subject, kind in kinds if kind.own_switch is not None},
        )

    @cached_property
    def written_against(self) -> frozenset[str]:
        """A fault turns nothing round that stands in the file."""
        return self._sound.written_against

    def duty(self, speeds: Speeds, positions: Positions | None = None, *, dry: bool = False) -> PlantDuty:
        """The duty with the faults; where none changes where water runs, it is that of the sound plant."""
        if self._stuck:
            at = zip(self.turnable, positions or self.usually, strict=True)
            positions = tuple(self._stuck.get(name, position) for name, position in at)
        if self._rerouted:
            return super().duty(speeds, positions, dry=dry)
        return self._sound.duty(speeds, positions, dry=dry)

    def links_at(self, speeds: Mapping[str, str], positions: Positions) -> Iterator[Link]:
        """The links with what the faults make of them."""
        for link in super().links_at(speeds, positions):
            for subject, change in self._rerouted:
                if link.name == subject:
                    link = change(link)
            yield link


def welds(faults: Iterable[PlantFault]) -> Iterator[tuple[str, str]]:
    """The contacts that some faults weld: (machine, speed), or "on" for what has none."""
    for fault in faults:
        if FAULTS[fault.kind].welds:
            name, _, speed = fault.subject.partition("/")
            yield name, speed
