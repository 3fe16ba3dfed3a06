"""From the scenario to a plant that can run: links and duties, plugs of water, bodies of heat, zones.

A rise of temperature as proof says yes until heat has stood in still water long enough, then no until water
moves.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import NamedTuple

from cyclesim.control.demands import Demand
from cyclesim.physics import friction, walls, water
from cyclesim.physics.blowing import HEAD_PA_M, AirLine, BlowerDuty, Injectors, blower_duty
from cyclesim.physics.circuit_age import Known
from cyclesim.physics.curves import PumpCurve
from cyclesim.physics.links import ROUGHNESS_M
from cyclesim.physics.network import Drop, Duty, Jet, Link, PipeLink, PumpLink, solve
from cyclesim.physics.stays import Body
from cyclesim.physics.tub_node import TubNode
from cyclesim.physics.warmth import Reach
from cyclesim.physics.water_age import STILL_M3_S, Plug, reached
from cyclesim.physics.ways import Ways
from cyclesim.scenario.blocks.chains import Item
from cyclesim.scenario.blocks.collectors import Plate, Steered
from cyclesim.scenario.blocks.data_sheets import Diverter, Equipment, Speed, Valve
from cyclesim.scenario.blocks.data_sheets import Pump as PumpSheet
from cyclesim.scenario.blocks.heat_sources import HeatPump, HeatSource, Solar
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.plant import Leg, Manifold
from cyclesim.scenario.blocks.treatment import Treatment
from cyclesim.simulation.buried import leg_ua_w_k, whole_length_m
from cyclesim.simulation.tolerance import AS_TOLD, Tolerance

Speeds = tuple[str, ...]
"""The state of each pump in the order of the file: stopped, on, low or high."""

Positions = tuple[str, ...]
"""The position of each valve and diverter, in the order of `Plant.turnable`."""


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
    positions: Positions
    duty: Duty
    plug_flows_m3_s: tuple[float, ...]
    body_flows_m3_s: tuple[float, ...]
    filtered_m3_s: float
    pump_heats_w: Mapping[str, float]
    """What each pump gives to the water that it moves."""
    reached_s: Mapping[str, float]
    """Seconds until tub water reaches the far end of each plug; only of those that move."""

    @property
    def pump_heat_w(self) -> float:
        """What all pumps give to the water."""
        return sum(self.pump_heats_w.values())

    def flow_m3_s(self, name: str) -> float:
        """Flow through a leg, pump, piece of equipment, heat source or jet."""
        return self.duty.flows_m3_s.get(name, 0.0)


class BrokenParts(NamedTuple):
    """What is broken in a plant but for its pipes: what does not run, switches that are stuck."""

    dead: frozenset[str] = frozenset()
    """Pumps, blowers, heat sources and treatment devices that do nothing, whatever their contacts say."""
    proof: Mapping[str, bool] = {}
    """What a device's means of proof says whatever the flow."""
    own_switch: Mapping[str, bool] = {}
    """Whether a flow switch of a device's own is stuck closed (or else open)."""


class Assembly:
    """The plant of a scenario, assembled. Nothing here changes while it runs."""

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self.tolerance: Tolerance = AS_TOLD
        self.broken = BrokenParts()
        self.sheet = scenario.plant
        self.pumps: dict[str, PumpSheet] = dict(self.sheet.pumps)
        heating = scenario.schedule.heating
        self.temp_c = heating.keep_at_c if heating else 38.0
        """Temperature at which duties are solved and water is weighed [degC]."""
        self.volume_m3 = self.sheet.tub.volume_m3
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
        self._duties: dict[tuple[Speeds, Positions, bool], PlantDuty] = {}
        self.met_flows: list[Known] = []
        """How water ages at each set of flows that was met, loop by loop, kept for the next run."""
        self.speeds = {name: pump.speeds for name, pump in self.pumps.items()}
        self._curves = {name: _curves(speeds) for name, speeds in self.speeds.items()}

    # -- pipes -------------------------------------------------------------------------------------------

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

    # -- water and heat ----------------------------------------------------------------------------------

    @cached_property
    def plugs(self) -> tuple[Plug, ...]:
        """Everything that water passes in order; a capped spare is a plug that nothing moves."""
        plugs = []
        for link in self.links:
            if isinstance(link, PipeLink):
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
        sheets: dict[str, Equipment | HeatSource] = dict(self.sheet.equipment)
        sheets.update(self.sheet.heat_sources)
        return sheets

    def leg_volume_m3(self, name: str) -> float:
        """Water in a leg, its manifold included."""
        leg = self.sheet.legs[name]
        return math.pi / 4.0 * leg.bore_m**2 * whole_length_m(leg)

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
        per_m3, bodies = self.per_m3_k, []
        for name, leg in self.sheet.legs.items():
            length, volume = whole_length_m(leg), self.leg_volume_m3(name)
            wall = walls.pipe_wall_c_per_m(leg.bore_m, leg.outside_m, walls.PIPE_OF[leg.of]) * length
            ua = leg_ua_w_k(self.scenario, name, length)
            bodies.append(Body(name, volume, volume * per_m3 + wall, ua, leg.zone))
        for name, thing in self.housings.items():
            if thing.volume_m3 > 0.0:
                plate = Plate(walls.housing_ua(thing.volume_m3), 0.0)
                if name not in self.behind_plates:
                    plate = self.plates.get(name, plate)
                held = thing.volume_m3 * per_m3 + plate.holds_j_k
                bodies.append(Body(name, thing.volume_m3, held, plate.loses_w_k, thing.zone))
        for name, pump in self.pumps.items():
            if pump.zone is not None and pump.volume_m3 > 0.0:
                ua = walls.housing_ua(pump.volume_m3)
                bodies.append(Body(name, pump.volume_m3, pump.volume_m3 * per_m3, ua, pump.zone))
        return tuple(bodies)

    @cached_property
    def reach_at(self) -> dict[str, int]:
        """Number of each plug, and of the reach that it is to heat, by its name."""
        return {plug.name: i for i, plug in enumerate(self.plugs)}

    @cached_property
    def body_of(self) -> tuple[int | None, ...]:
        """The body that each plug belongs to: a manifold's stretches to their leg's."""
        at = {body.name: k for k, body in enumerate(self.bodies)}
        of = [at.get(plug.name) for plug in self.plugs]
        for name, leg in self.sheet.legs.items():
            for k in range(2, (leg.manifold.jets if leg.manifold else 1) + 1):
                of[self.reach_at[stretch_name(name, k)]] = at[name]
        return tuple(of)

    @cached_property
    def per_m3_k(self) -> float:
        """Heat capacity of a cubic metre of water [J/(m3 K)]."""
        return water.density_kg_m3(self.temp_c) * water.heat_capacity_j_kg_k(self.temp_c)

    @cached_property
    def reaches(self) -> tuple[Reach, ...]:
        """Every plug as heat sees it: its share of its body, or water that loses none."""
        reaches = []
        for plug, k in zip(self.plugs, self.body_of, strict=True):
            if k is None:
                reaches.append(Reach(plug.name, plug.a, plug.b, plug.volume_m3 * self.per_m3_k))
                continue
            body = self.bodies[k]
            share = plug.volume_m3 / body.volume_m3
            reach = Reach(
                plug.name, plug.a, plug.b, share * body.capacity_j_k, share * body.ua_w_k, body.zone
            )
            reaches.append(reach)
        return tuple(reaches)

    @cached_property
    def ways(self) -> Ways:
        """How water moves at each set of flows that was met, kept for the next run."""
        return Ways(self.reaches, self.per_m3_k)

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
        return TubNode(
            self.volume_m3 * self.per_m3_k,
            node.c_j_k,
            node.g_w_k,
            cover,
            tub.cover_zone,
            node.ua_w_k,
            shell.zone,
        )

    # -- duties ------------------------------------------------------------------------------------------

    def duty(self, speeds: Speeds, positions: Positions | None = None, *, dry: bool = False) -> PlantDuty:
        """The duty at these pump speeds and valve positions (the usual ones if not given).

        *dry*: the water is below the suction fittings, so that pumps run and move none.
        """
        key = (speeds, self.usually if positions is None else positions, dry)
        duty = self._duties.get(key)
        if duty is None:
            duty = self._duties[key] = self._solve(*key)
        return duty

    def turning(self, contacts: Speeds) -> Speeds:
        """The speeds at which pumps move water when these contacts are closed."""
        dead = self.broken.dead
        if not dead:
            return contacts
        return tuple("stopped" if n in dead else at for n, at in zip(self.pumps, contacts, strict=True))

    def _solve(self, speeds: Speeds, positions: Positions, dry: bool) -> PlantDuty:
        by_pump = dict(zip(self.pumps, speeds, strict=True))
        running = {n: s for n, s in by_pump.items() if s != "stopped"}
        if running and not dry:
            duty = solve(tuple(self.links_at(by_pump, positions)), self.temp_c)
        else:
            duty = Duty({}, {}, {}, {}, {}, ())
        flows = tuple(duty.flows_m3_s.get(plug.name, 0.0) for plug in self.plugs)
        times = reached(self.plugs, flows)
        far_s = {plug.name: t for plug, t, q in zip(self.plugs, times, flows, strict=True) if q}
        pump_heats = {n: self.pumps[n].heat_to_water * self.speeds[n][s].power_w for n, s in running.items()}
        name = " + ".join(_said(n, s) for n, s in running.items())
        if running and positions != self.usually:
            name += f" with {self.positions_text(positions)}"
        if running and dry:
            name, pump_heats = f"{name} without water", {}
        return PlantDuty(
            name,
            speeds,
            positions,
            duty,
            flows,
            tuple(abs(duty.flows_m3_s.get(body.name, 0.0)) for body in self.bodies),
            sum(
                abs(duty.flows_m3_s.get(n, 0.0))
                for n, e in self.sheet.equipment.items()
                if e.kind == "filter"
            ),
            pump_heats,
            far_s,
        )

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
    def may_be_left(self) -> list[Positions]:
        """Every combination of positions that can occur, the usual one first."""
        return list(product(*(self.positions_of(name) for name in self.turnable)))

    def duties(self) -> list[PlantDuty]:
        """Every combination of speeds and valve positions that can occur, but all pumps stopped."""
        states = [("stopped", *speeds) for speeds in self.speeds.values()]
        return [
            self.duty(speeds, positions)
            for positions in self.may_be_left
            for speeds in product(*states)
            if set(speeds) != {"stopped"}
        ]

    def air_line(self, blower: str) -> AirLine:
        """The pipe of a blower and the water over its end."""
        sheet = self.sheet.air[blower]
        k = sum(n * friction.fitting_k(fitting, sheet.bore_m) for fitting, n in sheet.fittings.items())
        return AirLine(
            depth_m=sheet.outlets_below_water_m,
            bore_m=sheet.bore_m,
            length_m=sheet.length_m,
            fittings_k=k,
            loop_m=sheet.loop_above_water_m,
            water_c=self.temp_c,
            injectors=Injectors(sheet.injectors, sheet.each.flow_m3_s, sheet.each.head_m * HEAD_PA_M)
            if sheet.injectors and sheet.each
            else None,
        )

    def air_duty(self, blower: str) -> BlowerDuty:
        """Air that a blower sends through the water, and the pressure the depth and the pipe ask for."""
        sheet, line = self.sheet.air[blower], self.air_line(blower)
        if sheet.delivers_m3_s is not None:
            return BlowerDuty(sheet.delivers_m3_s, line.pressure_pa(sheet.delivers_m3_s), None)
        return blower_duty(PumpCurve.from_points(sheet.curve or ()), line)

    def fed_through(self, name: str) -> str:
        """The element whose flow a heat source or a treatment device needs: itself, or where it treats."""
        return self.sheet.treatment[name].in_ if name in self.sheet.treatment else name

    def needs_m3_s(self, name: str) -> float:
        """The least flow that a heat source or a treatment device asks for."""
        return self._device(name).needs_flow_m3_s

    def _device(self, name: str) -> HeatSource | Treatment:
        return self.sheet.treatment.get(name) or self.sheet.heat_sources[name]

    def own_switch_s(self, name: str) -> int:
        """How long water must move before a device's own flow switch closes [s], a pass at least."""
        return max(1, math.ceil(self._device(name).own_flow_switch_s or 0.0))

    def has_flow(self, name: str, duty: PlantDuty) -> bool:
        """Whether a heat source or a treatment device truly gets the flow that it needs, the right way round.

        A flow switch is built in for one way, and an element's sensors stand behind it.
        """
        return self.forward_m3_s(self.fed_through(name), duty) >= self.needs_m3_s(name)

    def forward_m3_s(self, name: str, duty: PlantDuty) -> float:
        """Flow through an element in the direction that it is meant for, below 0 where it runs backwards."""
        flow_m3_s = duty.flow_m3_s(name)
        return -flow_m3_s if name in self.written_against else flow_m3_s

    @cached_property
    def written_against(self) -> frozenset[str]:
        """What stands in the file against the way of its water: no pump alone sends any as it is written.

        What at least one pump feeds as it is written is meant so, whatever others do.
        """
        alone = [self.duty(self.at(pump, speed)) for pump, speeds in self.speeds.items() for speed in speeds]
        flows = {
            name: [duty.flow_m3_s(name) for duty in alone] for name in (*self.housings, *self.sheet.legs)
        }
        return frozenset(
            name
            for name, of in flows.items()
            if max(of, default=0.0) <= STILL_M3_S and min(of, default=0.0) < -STILL_M3_S
        )

    def is_still(self, name: str, duty: PlantDuty) -> bool:
        """Whether the water in a heat source, or where a treatment device treats it, stands still."""
        return abs(duty.flow_m3_s(self.fed_through(name))) <= STILL_M3_S

    def sensed(self, name: str, duty: PlantDuty, contact: bool | None = None) -> bool:
        """What a device's means of proof says of the flow, with the false yes that it may give.

        A flow switch feels water. A pressure switch is content with the pressure of a pump against a shut
        valve. A rise of temperature is seen once heat is on, so that it says yes before (the engine says no
        later). A pump contact knows nothing of water. *contact*: whether any pump's contact is closed, where
        that is not what the duty has it to be.
        """
        if name in self.broken.proof:
            return self.broken.proof[name]
        proof = self._device(name).proof
        if proof.by == "flow_switch":
            place = proof.in_ or self.fed_through(name)
            return self.forward_m3_s(place, duty) >= (proof.feels_m3_s or self.needs_m3_s(name))
        if proof.by == "pressure_switch":
            return duty.duty.heads_m.get(self._inlet(self.fed_through(name)), 0.0) >= proof.pressure_m
        if proof.by == "pump_contact":
            return any(speed != "stopped" for speed in duty.speeds) if contact is None else contact
        return proof.by == "temperature_rise"

    def _inlet(self, name: str) -> str:
        return self.ends_of(name)[0]

    def ends_of(self, name: str) -> tuple[str, str]:
        """The nodes before and after an element, in the direction in which the network is written."""
        return next((a, b) for placed, a, b in self._placed if placed == name)

    def trips_dry(self, name: str) -> bool:
        """Whether a high limit feels a device's own water and trips it where that stands still.

        A heat pump without flow gives no heat, so that nothing trips it.
        """
        sheet = self.sheet.heat_sources.get(name)
        if sheet is None or isinstance(sheet, HeatPump):
            return False
        return sheet.high_limit_c is not None and sheet.limit_sensor == "own"

    def curve(self, pump: str, speed: str) -> PumpCurve:
        """The curve by which a pump's duties are solved."""
        return self._curves[pump][speed]

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
        return self.at_once([(pump, speed)])

    def at_once(self, pumps: Iterable[tuple[str, str]]) -> Speeds:
        """The speeds of all pumps with just these running, each at its speed."""
        running = dict(pumps)
        return tuple(running.get(name, "stopped") for name in self.pumps)

    def asked(self, demand: Demand) -> Speeds:
        """The speeds of all pumps with just those running that a demand asks for, or that run beside it."""
        return self.at_once([(demand.pump, demand.speed), *demand.beside])


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
