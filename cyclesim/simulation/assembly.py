"""From the scenario to a plant that can run: its duties, and what devices and their sensors get of each.

Its links are in `pipework.py`, its water in `water_bodies.py`. A rise of temperature as proof says yes until
heat has stood in still water long enough, then no until water moves.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import NamedTuple

from cyclesim.control.demands import Demand
from cyclesim.physics import friction
from cyclesim.physics.blowing import HEAD_PA_M, AirLine, BlowerDuty, Injectors, blower_duty
from cyclesim.physics.circuit_age import Known
from cyclesim.physics.curves import PumpCurve
from cyclesim.physics.network import Duty, solve
from cyclesim.physics.water_age import STILL_M3_S, reached
from cyclesim.scenario.blocks.heat_sources import HeatPump, HeatSource
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.treatment import Treatment
from cyclesim.simulation.pipework import Positions, Speeds
from cyclesim.simulation.tolerance import AS_TOLD, Tolerance
from cyclesim.simulation.water_bodies import WaterBodies

__all__ = ["Assembly", "BrokenParts", "PlantDuty", "Positions", "Speeds"]


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


class Assembly(WaterBodies):
    """The plant of a scenario, assembled. Nothing here changes while it runs."""

    def __init__(self, scenario: Scenario) -> None:
        super().__init__(scenario)
        self.tolerance: Tolerance = AS_TOLD
        self.broken = BrokenParts()
        self._duties: dict[tuple[Speeds, Positions, bool], PlantDuty] = {}
        self.met_flows: list[Known] = []
        """How water ages at each set of flows that was met, loop by loop, kept for the next run."""

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

    def trips_dry(self, name: str) -> bool:
        """Whether a high limit feels a device's own water and trips it where that stands still.

        A heat pump without flow gives no heat, so that nothing trips it.
        """
        sheet = self.sheet.heat_sources.get(name)
        if sheet is None or isinstance(sheet, HeatPump):
            return False
        return sheet.high_limit_c is not None and sheet.limit_sensor == "own"

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
