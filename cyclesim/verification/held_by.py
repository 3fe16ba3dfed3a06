"""What holds in a finished plant, one by one, and the same plant without it."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Literal, NamedTuple

from cyclesim.analysis.mends import replaced
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.schedule import Block, Keep
from cyclesim.scenario.forms.times import Occasion
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.verification.faults import PlantFault

BarrierKind = Literal[
    "proof",
    "block",
    "keep",
    "flow switch",
    "own flow switch",
    "own water switch",
    "high limit",
    "level switch",
    "changeover",
    "contact",
    "series",
]
"""What keeps something off, or on: an interlock of the file (proof, block, keep), or a part of the plant."""


class PlantBarrier(NamedTuple):
    """One thing that holds a rule, and the plant without it."""

    kind: BarrierKind
    subject: str
    """What it acts on: a heat source, a treatment device, a pump, or the tub."""
    line: Block | Keep | None = None
    """The interlock as the file has it."""
    starter: str = ""
    """The contact beside the controller that is the barrier itself."""


def barriers(plant: Assembly, programme: Programme) -> Iterator[PlantBarrier]:
    """Every barrier of a plant: interlocks of the file, then what is built in."""
    for line in plant.scenario.interlocks:
        if isinstance(line, Keep):
            yield PlantBarrier("keep", line.keep.pump, line)
        else:
            yield PlantBarrier("proof" if line.unless else "block", line.block, line)
    devices = {**{n: plant.sheet.heat_sources[n] for n in programme.switched}, **plant.sheet.treatment}
    for name, device in devices.items():
        if device.proof.by in ("flow_switch", "pressure_switch") and programme.proof_s(name) is not None:
            yield PlantBarrier("flow switch", name)
        if device.own_flow_switch_s is not None:
            yield PlantBarrier("own flow switch", name)
        circuit = getattr(device, "own_water", None)
        if circuit is not None and circuit.flow_switch:
            yield PlantBarrier("own water switch", name)
        if getattr(device, "high_limit_c", None) is not None:
            yield PlantBarrier("high limit", name)
    for name, treated in plant.sheet.treatment.items():
        if treated.with_ is not None:
            yield PlantBarrier("series", name)
    if plant.sheet.tub.level_switch:
        yield PlantBarrier("level switch", "tub")
    for name, pump in plant.pumps.items():
        if len(pump.speeds) > 1 and pump.changeover_s:
            yield PlantBarrier("changeover", name)
    for beside in programme.beside:
        if beside.line.contact_of and beside.starter.target in plant.pumps and not beside.line.every_s:
            yield PlantBarrier("contact", beside.starter.target, starter=beside.starter.name)


def without(scenario: Scenario, barrier: PlantBarrier) -> tuple[Scenario, frozenset[PlantFault]]:
    """The scenario without a barrier; a bridged switch is a fault of the same plant."""
    name, sheet = barrier.subject, scenario.plant
    put = partial(replaced, scenario)
    kind = "treatment" if name in sheet.treatment else "heat_sources"
    match barrier.kind:
        case "proof" | "block" | "keep":
            left = tuple(line for line in scenario.interlocks if line is not barrier.line)
            return put(left, "interlocks"), frozenset()
        case "flow switch":
            return scenario, frozenset({fault("false yes", name)})
        case "own flow switch":
            return put(None, "plant", kind, name, "own_flow_switch_s"), frozenset()
        case "own water switch":
            return put(False, "plant", kind, name, "own_water", "flow_switch"), frozenset()
        case "level switch":
            return put(False, "plant", "tub", "level_switch"), frozenset()
        case "changeover":
            return put(0.0, "plant", "pumps", name, "changeover_s"), frozenset()
        case "series":
            always = (Occasion.model_validate({"start": "00:00", "lasts": "24 h"}),)
            own = sheet.treatment[name].model_copy(update={"with_": None, "runs": always})
            return put(own, "plant", "treatment", name), frozenset()
        case "high limit":
            return put(None, "plant", kind, name, "high_limit_c"), frozenset()
    gone = next(b.line for b in Programme(scenario).beside if b.starter.name == barrier.starter)
    lines = tuple(line for line in sheet.pumps[name].also_started_by if line is not gone)
    return put(lines, "plant", "pumps", name, "also_started_by"), frozenset()


def fault(kind: str, subject: str) -> PlantFault:
    """A fault of a kind, without its words."""
    return PlantFault(kind, subject, "")
