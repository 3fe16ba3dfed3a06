"""What water passes in a plant, as links of a network, and what a person or a motor may turn in it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from itertools import product

from cyclesim.physics import friction
from cyclesim.physics.curves import PumpCurve
from cyclesim.physics.links import ROUGHNESS_M
from cyclesim.physics.network import Drop, Jet, Link, PipeLink, PumpLink
from cyclesim.scenario.blocks.chains import Item
from cyclesim.scenario.blocks.collectors import Plate, Steered
from cyclesim.scenario.blocks.data_sheets import Diverter, Speed, Valve
from cyclesim.scenario.blocks.data_sheets import Pump as PumpSheet
from cyclesim.scenario.blocks.heat_sources import Solar
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.plant import Leg
from cyclesim.simulation.jets import jet_name, rated_jet, stretch_name

Speeds = tuple[str, ...]
"""The state of each pump in the order of the file: stopped, on, low or high."""

Positions = tuple[str, ...]
"""The position of each valve and diverter, in the order of `Pipework.turnable`."""


class Pipework:
    """Pipes, pumps, valves and housings of a scenario, and how they are joined."""

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self.sheet = scenario.plant
        self.pumps: dict[str, PumpSheet] = dict(self.sheet.pumps)
        heating = scenario.schedule.heating
        self.temp_c = heating.keep_at_c if heating else 38.0
        """Temperature at which duties are solved and water is weighed [degC]."""
        self.turnable: dict[str, Valve | Diverter] = {**self.sheet.valves, **self.sheet.diverters}
        """What a person may turn, by name."""
        self.usually: Positions = tuple(thing.usual for thing in self.turnable.values())
        """The usual position of each."""
        collectors = {n: s for n, s in self.sheet.heat_sources.items() if isinstance(s, Solar)}
        self.plates: dict[str, Plate] = {n: s.plate for n, s in collectors.items() if s.plate}
        """Collectors with a temperature of their own."""
        self.steered: dict[str, Steered] = {n: s.steered for n, s in collectors.items() if s.steered}
        """Collectors that a pump or a motor valve of theirs lets water through."""
        self.behind_plates = tuple(n for n, s in collectors.items() if s.own_water)
        """Collectors on water of their own."""
        self.speeds = {name: pump.speeds for name, pump in self.pumps.items()}
        self._curves = {name: _curves(speeds) for name, speeds in self.speeds.items()}

    @cached_property
    def links(self) -> tuple[Link, ...]:
        """Every link of the network, pumps as if stopped and valves at their usual position."""
        return tuple(self.links_at(dict.fromkeys(self.pumps, "stopped"), self.usually))

    def turned(self, name: str, position: str) -> Positions:
        """The usual positions with this one valve or diverter in another."""
        usual = zip(self.turnable, self.usually, strict=True)
        return tuple(position if valve == name else own for valve, own in usual)

    def positions_of(self, name: str) -> tuple[str, ...]:
        """Every position that a valve or diverter may be in, its usual one first, and its motor's last."""
        by_motor = (s.valve.position for s in self.steered.values() if s.valve and s.valve.valve == name)
        return tuple(dict.fromkeys((*self.turnable[name].positions, *by_motor)))

    @cached_property
    def as_steered(self) -> tuple[Positions, ...]:
        """The usual positions, and those with one motor valve where it lets the sun in."""
        motors = (s.valve for s in self.steered.values() if s.valve)
        return (self.usually, *(self.turned(motor.valve, motor.position) for motor in motors))

    @cached_property
    def may_be_left(self) -> list[Positions]:
        """Every combination of positions that can occur, the usual one first."""
        return list(product(*(self.positions_of(name) for name in self.turnable)))

    def positions_text(self, positions: Positions) -> str:
        """What is not in its usual position, in words: `bypass shut, seats at left`."""
        at = dict(zip(self.turnable, positions, strict=True))
        return ", ".join(self.position_text(name, at[name]) for name in self.not_as_usual(positions))

    def not_as_usual(self, positions: Positions) -> list[str]:
        """The valves and diverters that are in another position than the usual one."""
        return [n for n, at, usual in zip(self.turnable, positions, self.usually, strict=True) if at != usual]

    @staticmethod
    def position_text(name: str, position: str) -> str:
        """One valve in a position: `bypass shut`, `seats at left`."""
        return f"{name} {position}" if position in ("open", "shut") else f"{name} at {position}"

    @cached_property
    def _ways(self) -> dict[str, str]:
        """The way of a diverter in the network -> the diverter."""
        return {way: name for name, d in self.sheet.diverters.items() for way in d.ways}

    def links_at(self, speeds: Mapping[str, str], positions: Positions) -> Iterator[Link]:
        """Every link at these speeds (by pump) and positions of what can be turned."""
        at = dict(zip(self.turnable, positions, strict=True))
        for name, a, b in self._placed:
            if name in self.sheet.legs:
                yield from self._leg_links(name, self.sheet.legs[name], a, b)
            elif name in self.pumps:
                curves, speed = self._curves[name], speeds[name]
                running = None if speed == "stopped" else curves[speed]
                yield PumpLink(name, a, b, running, _largest(curves), self.pumps[name].check_valve)
            elif name in self.sheet.valves:
                valve = self.sheet.valves[name]
                yield Drop(name, a, b, *valve.drop_at(at[name]), shut=at[name] == "shut")
            elif name in self._ways:
                diverter = self.sheet.diverters[self._ways[name]]
                shut = name not in diverter.opens[at[self._ways[name]]]
                yield Drop(name, a, b, *diverter.drop, shut=shut)
            elif name in self.sheet.check_valves:
                yield Drop(name, a, b, *self.sheet.check_valves[name].drop, one_way=True)
            elif name in self.sheet.equipment:
                yield Drop(name, a, b, *self.sheet.equipment[name].drop)
            else:
                yield Drop(name, a, b, *self.sheet.heat_sources[name].drop)

    @cached_property
    def _placed(self) -> tuple[tuple[str, str, str], ...]:
        """Every element of the network with the nodes it lies between."""
        nodes = {"tub", *self.sheet.junctions}
        placed: list[tuple[str, str, str]] = []
        fresh = iter(f"node {k}" for k in range(1, 10_000))

        def series(items: Sequence[Item], a: str, b: str) -> None:
            ends = [a, *(next(fresh) for _ in items[1:]), b]
            for item, start, end in zip(items, ends, ends[1:], strict=False):
                if isinstance(item, str):
                    placed.append((item, start, end))
                else:
                    for branch in item.branches:
                        series(branch, start, end)

        for chain in self.sheet.network:
            at, run = str(chain[0]), list[Item]()
            for item in chain[1:]:
                if isinstance(item, str) and item in nodes:
                    series(run, at, item)
                    at, run = item, []
                else:
                    run.append(item)
        return tuple(placed)

    def _leg_links(self, name: str, leg: Leg, a: str, b: str) -> Iterator[Link]:
        k = sum(n * friction.fitting_k(fitting, leg.bore_m) for fitting, n in leg.fittings.items())
        rough, lift = ROUGHNESS_M[leg.of], leg.outlet_above_water_m
        if leg.manifold is None:
            yield PipeLink(name, a, b, leg.length_m, leg.bore_m, k, rough, lift)
            return
        jets = leg.manifold
        rated_m, rated_m3_s = rated_jet(jets)
        at = f"{name}: jet 1"
        yield PipeLink(name, a, at, leg.length_m, leg.bore_m, k, rough, lift)
        run = friction.fitting_k("tee_run", leg.bore_m)
        for i in range(1, jets.jets + 1):
            yield Jet(jet_name(name, i), at, b, rated_m3_s, rated_m)
            if i < jets.jets:
                beyond = f"{name}: jet {i + 1}"
                yield PipeLink(stretch_name(name, i + 1), at, beyond, jets.spacing_m, leg.bore_m, run, rough)
                at = beyond

    def ends_of(self, name: str) -> tuple[str, str]:
        """The nodes before and after an element, in the direction in which the network is written."""
        return next((a, b) for placed, a, b in self._placed if placed == name)

    def _inlet(self, name: str) -> str:
        return self.ends_of(name)[0]

    def curve(self, pump: str, speed: str) -> PumpCurve:
        """The curve by which a pump's duties are solved."""
        return self._curves[pump][speed]


def _curves(speeds: Mapping[str, Speed]) -> dict[str, PumpCurve]:
    """The curve of each speed; one that is given as a share of the other follows the affinity laws."""
    curves: dict[str, PumpCurve] = {}
    for name, speed in speeds.items():
        if speed.share_of_speed is None:
            curves[name] = _curve(speed)
    for name, speed in speeds.items():
        if speed.share_of_speed is not None:
            other = next(iter(curves.values()))
            curves[name] = other.at_speed(speed.share_of_speed)
    return curves


def _curve(speed: Speed) -> PumpCurve:
    if speed.curve:
        return PumpCurve.from_points(speed.curve)
    assert speed.max_head_m is not None
    assert speed.max_flow_m3_s is not None
    return PumpCurve.quadratic(speed.max_head_m, speed.max_flow_m3_s)


def _largest(curves: Mapping[str, PumpCurve]) -> PumpCurve:
    return max(curves.values(), key=lambda curve: curve.last_flow_m3_s)
