"""From the scenario to a plant that can run: links and duties, plugs of water, bodies of heat, zones."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product

from cyclesim.physics import friction, walls, water
from cyclesim.physics.blowing import AirLine, BlowerDuty, blower_duty
from cyclesim.physics.curves import PumpCurve
from cyclesim.physics.network import Drop, Duty, Jet, Link, Pipe, Pump, solve
from cyclesim.physics.tub_heat import Body, TubNode
from cyclesim.physics.water_age import Plug, reached
from cyclesim.scenario.heat_sources import HeatSource
from cyclesim.scenario.machines import Equipment, Speed
from cyclesim.scenario.machines import Pump as PumpSheet
from cyclesim.scenario.model import Scenario
from cyclesim.scenario.network import Item
from cyclesim.scenario.plant import Leg, Manifold
from cyclesim.simulation.tolerance import AS_TOLD, Tolerance

Speeds = tuple[str, ...]
"""The state of each pump in the order of the file: stopped, on, low or high."""


def jet_name(leg: str, k: int) -> str:
    """Name of the k-th jet of a leg's manifold, counted from the pump room."""
    return f"{leg} jet {k}"


def stretch_name(leg: str, k: int) -> str:
    """Name of the stretch of manifold that leads to the k-th jet, for k > 1."""
    return f"{leg} to jet {k}"


def last_stretch(leg: str) -> str:
    """Name under which the last stretch of a leg's manifold is reported."""
    return f"{leg}, last jet"


_NOZZLE_CD = 0.9  # a smooth converging nozzle; common practice, no source


def rated_jet(manifold: Manifold) -> tuple[float, float]:
    """Head [m] and flow [m3/s] of one jet, off its data sheet or from the bore of its nozzle."""
    if manifold.each is not None:
        return manifold.each.head_m, manifold.each.flow_m3_s
    bore_m = manifold.nozzle_m or 0.0
    head_m = 5.0
    return head_m, _NOZZLE_CD * math.pi / 4.0 * bore_m**2 * math.sqrt(2.0 * water.G * head_m)


@dataclass(frozen=True)
class PlantDuty:
    """One operating point of the whole plant: what every pump, leg, jet and device gets."""

    name: str
    speeds: Speeds
    shut_valves: tuple[str, ...]
    duty: Duty
    plug_flows_m3_s: tuple[float, ...]
    body_flows_m3_s: tuple[float, ...]
    filtered_m3_s: float
    pump_heat_w: float
    reached_s: Mapping[str, float]
    """Seconds until tub water reaches the far end of each plug; only of those that move."""
    body_ahead_m3: tuple[float, ...]
    """What passes into each body before tub water does."""

    def flow_m3_s(self, name: str) -> float:
        """Flow through a leg, pump, piece of equipment, heat source or jet."""
        return self.duty.flows_m3_s.get(name, 0.0)


class Plant:
    """The plant of a scenario, assembled. Nothing here changes while it runs."""

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self.tolerance: Tolerance = AS_TOLD
        self.sheet = scenario.plant
        self.pumps: dict[str, PumpSheet] = dict(self.sheet.pumps)
        heating = scenario.schedule.heating
        self.temp_c = heating.keep_at_c if heating else 38.0
        """Temperature at which duties are solved and water is weighed [degC]."""
        self.volume_m3 = self.sheet.tub.volume_m3
        self._duties: dict[tuple[Speeds, tuple[str, ...]], PlantDuty] = {}
        self.speeds = {name: pump.speeds for name, pump in self.pumps.items()}
        self._curves = {name: _curves(speeds) for name, speeds in self.speeds.items()}

    # -- pipes -------------------------------------------------------------------------------------------

    @cached_property
    def links(self) -> tuple[Link, ...]:
        """Every link of the network, pumps as if stopped and valves at their usual position."""
        return tuple(self._links(dict.fromkeys(self.pumps, "stopped"), self.usually_shut))

    @cached_property
    def usually_shut(self) -> tuple[str, ...]:
        """Valves whose usual position is shut."""
        return tuple(n for n, v in self.sheet.valves.items() if v.usual == "shut")

    def _links(self, speeds: Mapping[str, str], shut: Sequence[str]) -> Iterator[Link]:
        for name, a, b in self._placed:
            if name in self.sheet.legs:
                yield from self._leg_links(name, self.sheet.legs[name], a, b)
            elif name in self.pumps:
                curves, speed = self._curves[name], speeds[name]
                running = None if speed == "stopped" else curves[speed]
                yield Pump(name, a, b, running, _largest(curves), self.pumps[name].check_valve)
            elif name in self.sheet.valves:
                yield Drop(name, a, b, *self.sheet.valves[name].drop, shut=name in shut)
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
        if leg.manifold is None:
            yield Pipe(name, a, b, leg.length_m, leg.bore_m, k, lift_m=leg.outlet_above_water_m)
            return
        jets = leg.manifold
        rated_m, rated_m3_s = rated_jet(jets)
        at = f"{name}: jet 1"
        yield Pipe(name, a, at, leg.length_m, leg.bore_m, k, lift_m=leg.outlet_above_water_m)
        run = friction.fitting_k("tee_run", leg.bore_m)
        for i in range(1, jets.jets + 1):
            yield Jet(jet_name(name, i), at, b, rated_m3_s, rated_m)
            if i < jets.jets:
                beyond = f"{name}: jet {i + 1}"
                yield Pipe(stretch_name(name, i + 1), at, beyond, jets.spacing_m, leg.bore_m, run)
                at = beyond

    # -- water and heat ----------------------------------------------------------------------------------

    @cached_property
    def plugs(self) -> tuple[Plug, ...]:
        """Everything that water passes in order; a capped spare is a plug that nothing moves."""
        plugs = []
        for link in self.links:
            if isinstance(link, Pipe):
                volume = math.pi / 4.0 * link.bore_m**2 * link.length_m
            else:
                volume = self._housing_m3(link.name)
            plugs.append(Plug(link.name, link.a, link.b, volume))
        for name, leg in self.sheet.legs.items():
            if leg.dead_end:
                plugs.append(Plug(name, f"{name} start", f"{name} cap", self.leg_volume_m3(name)))
        return tuple(plugs)

    def _housing_m3(self, name: str) -> float:
        if name in self.pumps:
            return self.pumps[name].volume_m3
        return self.housings[name].volume_m3 if name in self.housings else 0.0

    @cached_property
    def housings(self) -> dict[str, Equipment | HeatSource]:
        """Equipment and heat sources by name."""
        found: dict[str, Equipment | HeatSource] = dict(self.sheet.equipment)
        found.update(self.sheet.heat_sources)
        return found

    def leg_volume_m3(self, name: str) -> float:
        """Water in a leg, its manifold included."""
        leg = self.sheet.legs[name]
        return math.pi / 4.0 * leg.bore_m**2 * self._leg_length_m(leg)

    @staticmethod
    def _leg_length_m(leg: Leg) -> float:
        beyond = (leg.manifold.jets - 1) * leg.manifold.spacing_m if leg.manifold else 0.0
        return leg.length_m + beyond

    @cached_property
    def reported(self) -> dict[str, int]:
        """What water age is reported of -> its plug: legs, last stretches, equipment, heat sources."""
        at = {plug.name: i for i, plug in enumerate(self.plugs)}
        shown = {}
        for name, leg in self.sheet.legs.items():
            shown[name] = at[name]
            if leg.manifold and leg.manifold.jets > 1:
                shown[last_stretch(name)] = at[stretch_name(name, leg.manifold.jets)]
        shown.update({name: at[name] for name in self.housings if self.plugs[at[name]].volume_m3 > 0.0})
        return shown

    @cached_property
    def bodies(self) -> tuple[Body, ...]:
        """Legs, equipment, heat sources and pumps in a zone: water with a temperature of its own."""
        per_m3 = water.density_kg_m3(self.temp_c) * water.heat_capacity_j_kg_k(self.temp_c)
        bodies = []
        for name, leg in self.sheet.legs.items():
            length, volume = self._leg_length_m(leg), self.leg_volume_m3(name)
            zone = self.scenario.place.zones[leg.zone]
            ua = walls.pipe_ua_per_m(leg.bore_m, leg.outside_m, leg.insulation_m, depth_m=zone.depth_m)
            wall = walls.pipe_wall_c_per_m(leg.bore_m, leg.outside_m) * length
            bodies.append(Body(name, volume, volume * per_m3 + wall, ua * length, leg.zone))
        for name, thing in self.housings.items():
            if thing.volume_m3 > 0.0:
                ua = walls.housing_ua(thing.volume_m3)
                bodies.append(Body(name, thing.volume_m3, thing.volume_m3 * per_m3, ua, thing.zone))
        for name, pump in self.pumps.items():
            if pump.zone is not None and pump.volume_m3 > 0.0:
                ua = walls.housing_ua(pump.volume_m3)
                bodies.append(Body(name, pump.volume_m3, pump.volume_m3 * per_m3, ua, pump.zone))
        return tuple(bodies)

    @cached_property
    def tub_node(self) -> TubNode:
        """Tub water and shell as two nodes."""
        tub = self.sheet.tub
        shell = tub.shell
        buried = self.scenario.place.zones[shell.zone].depth_m is not None
        node = (
            walls.shell(shell.wall_m, shell.of, shell.insulation_m, shell.area_m2, "soil")
            if buried
            else walls.shell(shell.wall_m, shell.of, shell.insulation_m, shell.area_m2)
        )
        cover = 0.0  # open water has a law of its own
        if tub.cover != "none":
            cover = walls.cover_ua(tub.cover.foam_m, tub.cover.fit, tub.surface_m2)
        per_m3 = water.density_kg_m3(self.temp_c) * water.heat_capacity_j_kg_k(self.temp_c)
        return TubNode(
            self.volume_m3 * per_m3,
            node.c_j_k,
            node.g_w_k,
            cover,
            tub.cover_zone,
            node.ua_w_k,
            shell.zone,
        )

    # -- duties ------------------------------------------------------------------------------------------

    def duty(self, speeds: Speeds, shut: tuple[str, ...] | None = None) -> PlantDuty:
        """The duty at these pump speeds and with these valves shut (their usual positions if not given)."""
        shut = self.usually_shut if shut is None else shut
        found = self._duties.get((speeds, shut))
        if found is None:
            found = self._duties[speeds, shut] = self._solve(speeds, shut)
        return found

    def _solve(self, speeds: Speeds, shut: tuple[str, ...]) -> PlantDuty:
        by_pump = dict(zip(self.pumps, speeds, strict=True))
        running = {n: s for n, s in by_pump.items() if s != "stopped"}
        if running:
            duty = solve(tuple(self._links(by_pump, shut)), self.temp_c)
        else:
            duty = Duty({}, {}, {}, {}, {}, ())
        flows = tuple(duty.flows_m3_s.get(plug.name, 0.0) for plug in self.plugs)
        times = reached(self.plugs, flows)
        far_s = {plug.name: t for plug, t, q in zip(self.plugs, times, flows, strict=True) if q}
        inside_m3 = {plug.name: plug.volume_m3 for plug in self.plugs}

        def ahead_m3(name: str) -> float:
            volume = far_s.get(name, 0.0) * abs(duty.flows_m3_s.get(name, 0.0)) - inside_m3[name]
            return max(0.0, volume) if math.isfinite(volume) else 0.0

        pump_heat = sum(self.pumps[n].heat_to_water * self.speeds[n][s].power_w for n, s in running.items())
        name = " + ".join(_said(n, s) for n, s in running.items())
        turned = [v for v in self.sheet.valves if (v in shut) != (v in self.usually_shut)]
        if turned:
            name += " with " + ", ".join(f"{v} {'shut' if v in shut else 'open'}" for v in turned)
        return PlantDuty(
            name,
            speeds,
            shut,
            duty,
            flows,
            tuple(abs(duty.flows_m3_s.get(body.name, 0.0)) for body in self.bodies),
            sum(
                abs(duty.flows_m3_s.get(n, 0.0))
                for n, e in self.sheet.equipment.items()
                if e.kind == "filter"
            ),
            pump_heat,
            far_s,
            tuple(ahead_m3(body.name) for body in self.bodies),
        )

    def duties(self) -> list[PlantDuty]:
        """Every combination of speeds and valve positions that can occur, but all pumps stopped."""
        states = [("stopped", *speeds) for speeds in self.speeds.values()]
        valves = self.sheet.valves
        positions = [
            tuple(v for v, p in zip(valves, at, strict=True) if p == "shut")
            for at in product(*(valve.positions for valve in valves.values()))
        ]
        return [
            self.duty(speeds, shut)
            for shut in positions
            for speeds in product(*states)
            if set(speeds) != {"stopped"}
        ]

    def air_duty(self, blower: str) -> BlowerDuty:
        """Air that a blower sends through the water, and the pressure the depth and the pipe ask for."""
        sheet = self.sheet.air[blower]
        k = sum(n * friction.fitting_k(fitting, sheet.bore_m) for fitting, n in sheet.fittings.items())
        line = AirLine(
            depth_m=sheet.outlets_below_water_m,
            bore_m=sheet.bore_m,
            length_m=sheet.length_m,
            fittings_k=k,
            loop_m=sheet.loop_above_water_m,
            water_c=self.temp_c,
        )
        if sheet.delivers_m3_s is not None:
            return BlowerDuty(sheet.delivers_m3_s, line.pressure_pa(sheet.delivers_m3_s), None)
        return blower_duty(PumpCurve.from_points(sheet.curve or ()), line)

    def sensed(self, source: str, duty: PlantDuty) -> bool:
        """What a source's means of proof says of the flow; a pump contact knows nothing of water."""
        sheet = self.sheet.heat_sources[source]
        if sheet.proof.by == "flow_switch":
            return abs(duty.flow_m3_s(source)) >= sheet.needs_flow_m3_s
        if sheet.proof.by == "pump_contact":
            return any(speed != "stopped" for speed in duty.speeds)
        return False

    def seconds_to_limit(self, source: str, water_c: float) -> float | None:
        """Time [s] in which a source that fires into still water reaches its own limit; None without one."""
        sheet = self.sheet.heat_sources[source]
        if sheet.high_limit_c is None:
            return None
        per_m3 = water.density_kg_m3(water_c) * water.heat_capacity_j_kg_k(water_c)
        return max(0.0, sheet.high_limit_c - water_c) * per_m3 * sheet.volume_m3 / sheet.output_w

    def current_a(self, pump: str, speed: str) -> float:
        """Current a pump draws at a speed, from the data sheet, or its power over the voltage."""
        sheet = self.speeds[pump][speed]
        return sheet.current_a if sheet.current_a is not None else sheet.power_w / self.voltage_v

    @property
    def voltage_v(self) -> float:
        """Voltage of the supply."""
        return self.scenario.supply.voltage_v

    def at(self, pump: str, speed: str) -> Speeds:
        """The speeds of all pumps with just this one running."""
        return tuple(speed if name == pump else "stopped" for name in self.pumps)


def _said(pump: str, speed: str) -> str:
    return pump if speed == "on" else f"{pump} {speed}"


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
