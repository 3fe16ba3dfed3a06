"""A file of readings to what was measured at one scenario's plant, or to all of its faults at once."""

from collections.abc import Iterator, Sequence
from os import PathLike, fspath
from pathlib import Path

from pydantic import ValidationError

from cyclesim.errors import Fault, InputError, shorten
from cyclesim.scenario.blocks.heat_sources import Electric
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.plant import Plant
from cyclesim.scenario.blocks.readings import (
    Amps,
    Arrival,
    Bucket,
    Energy,
    FlowMeter,
    Gauge,
    Reading,
    Readings,
    Running,
    WarmUp,
    Watts,
)
from cyclesim.scenario.forms.forms import Steps, did_you_mean, one_of
from cyclesim.scenario.text.log_file import Log, read_log
from cyclesim.scenario.text.refusals import explain, quoted
from cyclesim.scenario.text.tree import Tree
from cyclesim.scenario.text.yaml_file import parse_text, read_file


def load_readings(path: str | PathLike[str], scenario: Scenario) -> Readings:
    """The readings of a file, taken at the plant of a scenario; InputError lists every fault."""
    return _readings(read_file(Path(path), fspath(path)), scenario, Path(path).parent)


def load_readings_text(text: str, scenario: Scenario, name: str = "readings.yaml") -> Readings:
    """Likewise of a text that is in no file, and names no log."""
    return _readings(parse_text(text, name), scenario)


def _readings(tree: Tree, scenario: Scenario, folder: Path | None = None) -> Readings:
    if not isinstance(tree.value, dict):
        if not tree.faults:
            found = "an empty file" if tree.value is None else quoted((), tree)
            tree.faults.append(tree.fault((), found, "expected measured: 2027-05-02 first"))
        raise InputError(*tree.faults)
    faults, readings = list(tree.faults), None
    try:
        readings = Readings.model_validate(tree.value)
    except ValidationError as error:
        faults += [fault for fault in explain(error, tree, Readings) if not tree.is_faulty_already(fault)]
    if readings is not None:
        faults += _Plant(tree, scenario).faults(readings)
        faults += _read_logs(tree, readings, scenario, folder)
    if faults or readings is None:
        raise InputError(*sorted(set(faults)))
    return readings


def _read_logs(tree: Tree, readings: Readings, scenario: Scenario, folder: Path | None) -> list[Fault]:
    """Read every log that is named into the readings; what is wrong with them."""
    logs, faults = list[Log](), list[Fault]()
    for k, about in enumerate(readings.logs):
        inside = not Path(about.file).is_absolute() and ".." not in Path(about.file).parts
        if folder is None or not inside:
            found = f"'{shorten(about.file)}', a path that leads elsewhere"
            faults.append(
                tree.fault(("logs", k, "file"), found, "expected a CSV file beside the file of readings")
            )
            continue
        log = read_log(folder / about.file, str(folder / about.file), scenario.plant.pumps)
        if isinstance(log, Log):
            logs.append(log)
        else:
            faults += log
    if not faults:
        readings._read = tuple(logs)
    return faults


def parts_of(plant: Plant) -> list[str]:
    """Whatever water flows through, by name."""
    ways = [way for diverter in plant.diverters.values() for way in diverter.ways]
    machines = (*plant.pumps, *plant.equipment, *plant.heat_sources)
    return [*legs_of(plant), *machines, *plant.valves, *plant.check_valves, *ways]


def legs_of(plant: Plant) -> list[str]:
    """The legs that water flows through."""
    return [name for name, leg in plant.legs.items() if not leg.dead_end]


def switched_sources(plant: Plant) -> list[str]:
    """The heat sources that somebody switches."""
    return [name for name, source in plant.heat_sources.items() if source.switched]


class _Plant:
    """What readings refer to, looked up in the plant."""

    def __init__(self, tree: Tree, scenario: Scenario) -> None:
        self.tree, self.plant = tree, scenario.plant
        self.parts, self.legs = parts_of(self.plant), legs_of(self.plant)

    def faults(self, readings: Readings) -> Iterator[Fault]:
        """Whatever a reading refers to that is not there."""
        for k, reading in enumerate(readings.readings):
            yield from self._reading(("readings", k), reading)

    def _reading(self, at: Steps, reading: Reading) -> Iterator[Fault]:
        if not isinstance(reading, Amps | Watts | Energy | Running):
            for i, speed in enumerate(reading.runs):
                step = (*at, "with", i)
                yield from self._speed(step if step in self.tree.marks else (*at, "with"), *speed)
            yield from self._valves(at, reading.valves)
        match reading:
            case Gauge():
                names = self.parts if reading.at.side else self.plant.junctions
                noun = "part of the network" if reading.at.side else "junction"
                yield from self._known((*at, "at"), reading.at.name, names, noun)
            case FlowMeter():
                yield from self._known((*at, "through"), reading.through, self.parts, "part of the network")
            case Bucket() | Arrival():
                yield from self._jet(at, reading.at, reading.jet)
            case Amps() | Watts():
                yield from self._electric((*at, "of"), *reading.of)
            case WarmUp():
                for i, name in enumerate(reading.heat):
                    step = (*at, "heat", i)
                    path = step if step in self.tree.marks else (*at, "heat")
                    yield from self._known(
                        path, name, switched_sources(self.plant), "heat source that is switched"
                    )
            case Running() | Energy():
                devices = [*self.plant.pumps, *self.plant.heat_sources]
                if reading.of is not None:
                    yield from self._known((*at, "of"), reading.of, devices, "pump or heat source")

    def _known(self, path: Steps, text: str, names: Sequence[str], noun: str) -> Iterator[Fault]:
        if text not in names:
            allowed = f"known: {', '.join(names)}" if names else f"the file has no {noun}"
            found = f"'{shorten(text)}', an unknown {noun}"
            yield self.tree.fault(path, found, allowed, did_you_mean(text, names))

    def _speed(self, path: Steps, pump: str, speed: str) -> Iterator[Fault]:
        if pump not in self.plant.pumps:
            yield from self._known(path, pump, list(self.plant.pumps), "pump")
        elif speed not in self.plant.pumps[pump].speeds:
            due = [pump if at == "on" else f"{pump} {at}" for at in self.plant.pumps[pump].speeds]
            found = (
                f"'{pump}', a pump without its speed"
                if speed == "on"
                else f"'{pump} {speed}', an unknown speed"
            )
            yield self.tree.fault(path, found, f"expected {one_of(due)}")

    def _valves(self, at: Steps, valves: dict[str, str]) -> Iterator[Fault]:
        turnable = {**self.plant.valves, **self.plant.diverters}
        for name, position in valves.items():
            path = (*at, "valves", name)
            if name not in turnable:
                yield from self._known(path, name, list(turnable), "valve")
            elif position not in turnable[name].known:
                due = f"expected {one_of(turnable[name].known)}"
                hint = did_you_mean(position, turnable[name].known)
                yield self.tree.fault(path, f"'{shorten(position)}', an unknown position", due, hint)

    def _jet(self, at: Steps, leg: str, jet: int | None) -> Iterator[Fault]:
        if leg not in self.legs:
            yield from self._known((*at, "at"), leg, self.legs, "leg")
            return
        manifold = self.plant.legs[leg].manifold
        if manifold is None and jet is not None:
            yield self.tree.fault((*at, "jet"), f"a jet of {leg}, which has none", "leave jet out")
        elif manifold is not None and (jet is None or jet > manifold.jets):
            found = "nothing" if jet is None else f"jet {jet}"
            where = at if jet is None else (*at, "jet")
            yield self.tree.fault(where, found, f"expected jet: 1 to {manifold.jets} of {leg}")

    def _electric(self, path: Steps, name: str, speed: str) -> Iterator[Fault]:
        source = self.plant.heat_sources.get(name)
        if source is None:
            known = [
                *self.plant.pumps,
                *(n for n, s in self.plant.heat_sources.items() if isinstance(s, Electric)),
            ]
            if name in self.plant.pumps:
                yield from self._speed(path, name, speed)
            else:
                yield from self._known(path, name, known, "pump or electric heat source")
        elif not isinstance(source, Electric):
            due = f"what {name} draws depends on air and water: give its energy between two dates instead"
            yield self.tree.fault(path, f"'{name}', no electric element", due)
        elif speed != "on":
            yield self.tree.fault(path, f"'{name} {speed}', a heat source with a speed", f"expected {name}")
