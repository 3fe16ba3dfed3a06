"""Heat sources with water of their own in a run: their thermostats, their high limits, what goes over.

A source that is called fires as its circuit's thermostat says. That reads the water of the circuit, so that
where the water stands and heats up in the source alone it sees nothing; the high limit sits in the source. A
heat pump whose own water stands gives nothing and draws nothing (its own pressure switch). A flow that a
circulator's curve gives is worked out once, at 50 degC; plates pass the same per degree at every flow.
"""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

from cyclesim.physics import walls
from cyclesim.physics.curves import PumpCurve
from cyclesim.physics.laws import Law, constant_law
from cyclesim.physics.network import Drop, PumpLink, solve
from cyclesim.physics.own_water import GLYCOL_HEAT, OwnPiece, OwnWater, freezes_c, over_w_k, ua_w_k
from cyclesim.physics.stays import Body
from cyclesim.physics.water import density_kg_m3, heat_capacity_j_kg_k
from cyclesim.scenario.blocks.heat_sources import HeatPump, Solar
from cyclesim.scenario.blocks.own_water import AnyCircuit, Circulator, OwnCircuit
from cyclesim.simulation.assembly import Assembly, PlantDuty
from cyclesim.simulation.exchanges import Exchanges
from cyclesim.simulation.trace import Trace
from cyclesim.simulation.wired import WhatIsOn, Wiring

if TYPE_CHECKING:  # who judges without a run needs no engine
    from cyclesim.simulation.board import Board
    from cyclesim.simulation.drive import Drive

_WEIGHED_AT_C, HOUR_S = 50.0, 3600


class Circuit:
    """The circuit of one source with water of its own, as its sheet has it."""

    def __init__(self, plant: Assembly, name: str) -> None:
        self._plant, self.name = plant, name
        self._source = plant.sheet.heat_sources[name]
        sheet = self._source.own_water
        assert sheet is not None
        self.sheet: AnyCircuit = sheet
        self.zone = sheet.stated_zone or self._source.zone
        self._over: dict[int, float] = {}

    @cached_property
    def per_m3_k(self) -> float:
        """Heat capacity of a cubic metre of its water [J/(m3 K)], glycol in it or none."""
        share = 1.0 - GLYCOL_HEAT.value * self._plant.tolerance.glycol_heat * self.sheet.glycol
        return density_kg_m3(_WEIGHED_AT_C) * heat_capacity_j_kg_k(_WEIGHED_AT_C) * share

    @property
    def circulator(self) -> Circulator:
        """The sheet of its circulator."""
        return self._plant.sheet.circulators[self.sheet.circulator]

    @cached_property
    def flow_m3_s(self) -> float:
        """What its circulator moves [m3/s]."""
        pump = self.circulator
        if pump.flow_m3_s is not None:
            return pump.flow_m3_s
        if pump.curve:
            curve = PumpCurve.from_points(pump.curve)
        else:
            curve = PumpCurve.quadratic(pump.max_head_m or 0.0, pump.max_flow_m3_s or 0.0)
        assert self.sheet.drop is not None, "asked for with a curve"
        around = (
            PumpLink("pump", "tub", "out", curve, curve, False),
            Drop("it", "out", "tub", *self.sheet.drop),
        )
        return abs(solve(around, _WEIGHED_AT_C).flows_m3_s["it"])

    @cached_property
    def ua_w_k(self) -> float:
        """What its plates pass per degree [W/K]."""
        return self._told_ua_w_k * self._plant.tolerance.plates

    @property
    def _told_ua_w_k(self) -> float:
        exchanger = self.sheet.exchanger
        if exchanger.rated is None:
            return exchanger.ua_w_k or 0.0
        rated, per_m3 = exchanger.rated, self._plant.per_m3_k
        return ua_w_k(
            rated.output_w,
            rated.hot_in_c,
            rated.cold_in_c,
            per_m3 * rated.hot_flow_m3_s,
            per_m3 * rated.cold_flow_m3_s,
        )

    @property
    def freezes_c(self) -> float:
        """The temperature at which its water begins to freeze [degC]."""
        return freezes_c(self.sheet.glycol)

    def over_w_k(self, duty: PlantDuty) -> float:
        """Heat that goes over per degree between both inlets [W/K] while its circulator runs, at a duty."""
        known = self._over.get(id(duty))
        if known is None:
            moves_m3_s = self._plant.forward_m3_s(self.name, duty)
            known = 0.0
            if not self._plant.is_still(self.name, duty):
                hot_w_k, cold_w_k = self.per_m3_k * self.flow_m3_s, self._plant.per_m3_k * abs(moves_m3_s)
                known = over_w_k(self.ua_w_k, hot_w_k, cold_w_k, parallel=moves_m3_s < 0.0)
            self._over[id(duty)] = known  # duties are kept for as long as the plant
        return known

    def water(self, zone: list[float], water_c: float) -> OwnWater:
        """Its water, all of it at water_c [degC], in a zone of hourly temperatures [degC]."""
        inside, rest = self._parts()
        return OwnWater(inside[0], rest[0], inside[1], rest[1], zone, water_c)

    def _parts(self) -> tuple[tuple[float, float], ...]:
        """Heat capacity [J/K] and loss [W/K] of what is in the source, and of the rest."""
        off, inside = self._plant.tolerance.walls, self.sheet.in_source_m3
        volumes = inside, self.sheet.volume_m3 - inside
        source, rest = ((v * self.per_m3_k, walls.housing_ua(v, off=off)) for v in volumes)
        if isinstance(self._source, Solar):
            plate = self._plant.plates[self.name]
            source = source[0] + plate.holds_j_k, plate.loses_w_k
        return source, rest

    @property
    def body(self) -> Body:
        """All of it as one body beside its zone."""
        capacity, ua = (sum(of) for of in zip(*self._parts(), strict=True))
        return Body(self.name, self.sheet.volume_m3, capacity, ua, self.zone)

    def reaches_w(self, law: Law, hour: int, tub_c: float, duty: PlantDuty) -> float:
        """What reaches water of tub_c [degC] in the mean [W]: what the source gives, or what goes over.

        Its own water is as much warmer as its output needs; where that is beyond its thermostat, the source
        comes and goes, and its water is in the mean as warm as the middle between the two levels.
        """
        assert isinstance(self.sheet, OwnCircuit), "it is called"
        reads, per_k = self.sheet.thermostat, self.over_w_k(duty)
        if not per_k:
            return 0.0
        own_c = tub_c + self._source.output_w / per_k
        if own_c <= reads.stops_above_c:
            return law(hour, own_c).heat_w
        middle_c = (reads.starts_below_c + reads.stops_above_c) / 2.0
        return max(0.0, min(law(hour, middle_c).heat_w, per_k * (middle_c - tub_c)))


def circuits(plant: Assembly) -> dict[str, Circuit]:
    """Every source with water of its own -> its circuit."""
    sources = plant.sheet.heat_sources.items()
    return {name: Circuit(plant, name) for name, source in sources if source.own_water is not None}


def sun_body(plant: Assembly, name: str) -> Body:
    """What of collectors loses heat to the air: the water in them, or their own behind plates."""
    if name in plant.behind_plates:
        return Circuit(plant, name).body
    return next(body for body in plant.bodies if body.name == name)


class OwnWaters:
    """The own waters of a run: what they are told, and what comes of it."""

    def __init__(self, plant: Assembly, wiring: Wiring, drive: Drive, board: Board, trace: Trace) -> None:
        self._plant, self._wiring, self._board, self._trace = plant, wiring, board, trace
        self.circuits = circuits(plant)
        series = drive.zones.series
        self.waters = {n: c.water(series[c.zone], series[c.zone][0]) for n, c in self.circuits.items()}
        """Source -> its own water, which `TubHeat` takes along."""
        self.reaches = [plant.reach_at[name] for name in self.circuits]
        self._calls = dict.fromkeys(self.circuits, False)
        self._sun = {n: constant_law(drive.fires[n]) for n in plant.behind_plates if n in drive.fires}
        self._shines, self._start_s = drive.fires, drive.start_s
        self._place = {name: k for k, name in enumerate(wiring.devices)}
        self._put = [trace.own_waters[name].put for name in self.circuits]

    def put(self, k: int, row: OwnPiece) -> None:
        """A piece of one is closed."""
        self._put[k](row)

    def stands(self, name: str, what: WhatIsOn) -> bool:
        """Whether no circulator turns the own water of a source."""
        return bool(what.own_still >> self._place[name] & 1)

    def follow(self, what: WhatIsOn, exchanges: Exchanges | None, now: int) -> None:
        """What is on now, and so what each is given and gives."""
        for name, water in self.waters.items():
            k, circuit = self._place[name], self.circuits[name]
            turns = not self.stands(name, what)
            law = None
            if name in self._sun:
                law = self._sun[name] if self._shines[name][(now - self._start_s) // HOUR_S] else None
            elif k < len(what.on) and what.on[k] and self._calls[name]:
                law = self._law(name, exchanges)
            if not turns and isinstance(self._plant.sheet.heat_sources[name], HeatPump):
                law = None
            self._trace.burners[name].put(now, "off" if law is None else "on")
            water.change(law, circuit.over_w_k(what.water.duty), moves=turns)
            water.watched = tuple(self._watched(name, k))

    def _law(self, name: str, exchanges: Exchanges | None) -> Law:
        sheet = self._plant.sheet.heat_sources[name]
        if isinstance(sheet, HeatPump) and exchanges:
            return exchanges.heat_pump(name)[1]
        return constant_law(sheet.output_w, sheet.power_w)

    def _watched(self, name: str, k: int) -> list[tuple[float, bool, bool]]:
        sheet, calls = self._plant.sheet.heat_sources[name], self._calls[name]
        own = self.circuits[name].sheet
        if not isinstance(own, OwnCircuit):  # what steers them reads it
            return []
        reads = own.thermostat
        watched = [(reads.stops_above_c, True, False) if calls else (reads.starts_below_c, False, False)]
        if k in self._wiring.limited and not self._board.facts & self._wiring.trips[k]:
            assert sheet.high_limit_c is not None
            watched.append((sheet.high_limit_c, True, True))
        return watched

    def look(self) -> bool:
        """Thermostats and high limits look at their water; whether one has changed its mind."""
        changed = False
        for name, water in self.waters.items():
            own = self.circuits[name].sheet
            if not (isinstance(own, OwnCircuit) and water.reached()):
                continue
            changed, k = True, self._place[name]
            reads, limit_c = own.thermostat, self._plant.sheet.heat_sources[name].high_limit_c
            if water.rest_c >= reads.stops_above_c:
                self._calls[name] = False
            elif water.rest_c <= reads.starts_below_c:
                self._calls[name] = True
            if k in self._wiring.limited and limit_c is not None and water.source_c >= limit_c:
                self._board.post(self._wiring.trips[k], True)
        return changed
