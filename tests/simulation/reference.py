"""The same plant a second time, by other means: plug-flow legs in many cells, stepped finely with numpy.

It shares with the package what the file declares (conductances, capacities, flows of each duty, hourly zones
and weather) and what the actuators did; everything that happens to heat is written out again from published
formulas, vapour by psychrolib. Heat sources warm the water inside them, the pump the water behind it; cold
water of a leg reaches the tub when the flow has carried it there.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from math import exp, log

import numpy as np
import psychrolib
from scipy.integrate import solve_ivp
from scipy.linalg import expm

from cyclesim.physics.stays import Body
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.hourly_weather import Weather
from cyclesim.simulation.jets import stretch_name
from cyclesim.simulation.trace import Trace

CELL_M = 0.3
COARSE_S, FINE_S, FINE_FOR_S = 64, 4, 120
PRESSURE_PA, WATER_J_KG_K = 101325.0, 4186.0
LATENT_KJ_KG = [2500.9, 2489.1, 2477.2, 2465.4, 2453.5, 2441.7, 2429.8, 2417.9, 2406.0, 2394.0, 2382.0]
"""Every 5 K from 0 degC: the release's steam tables, IAPWS-IF97."""
INPUTS = ("tub", "pump", "heat_pump", "element")
LOSSES = ("cover", "shell", "legs")


@dataclass(frozen=True)
class Cell:
    """A piece of water in line: its body, heat capacity, loss, and the element whose flow passes it."""

    body: str
    capacity_j_k: float
    ua_w_k: float
    zone: str
    flow_of: str
    jet: str | None


@dataclass
class Run:
    """What the reference found: tub and legs at each hour, the tub after each step, energies [J, kg]."""

    hourly_c: list[float] = field(default_factory=list)
    moments: list[tuple[int, float]] = field(default_factory=list)
    legs_c: dict[str, list[float]] = field(default_factory=dict)
    loss_j: dict[str, float] = field(default_factory=dict)
    heat_pump_j: float = 0.0
    electricity_j: float = 0.0
    open_water_j: float = 0.0
    evaporated_kg: float = 0.0
    blown_j: float = 0.0
    bathers_j: float = 0.0


class Reference:
    """The plant of one loop: *stages* are what water passes in order, side by side where it parts."""

    def __init__(
        self,
        plant: Assembly,
        stages: tuple[tuple[str, ...], ...],
        trace: Trace,
        air: Weather,
        cloud: float,
        makeup_c: float,
        cell_m: float = CELL_M,
    ) -> None:
        self.plant, self.trace, self.air, self.makeup_c = plant, trace, air, makeup_c
        assert trace.zones is not None
        self.origin_s, self.zones = trace.zones.origin_s, trace.zones.series
        node, bodies = plant.tub_node, {b.name: b for b in plant.bodies}
        self.water_j_m3_k = node.water_j_k / plant.volume_m3
        self.rows = {name: list(self._cells(name, bodies[name], cell_m)) for s in stages for name in s}
        self.cells = [cell for row in self.rows.values() for cell in row]
        self.first = {}
        for name, row in self.rows.items():
            self.first[name] = 2 + sum(len(r) for n, r in self.rows.items() if n in self.first)
            assert len(row) > 0
        self.stages = stages
        self.n = 2 + len(self.cells)
        self.u = self.n + len(LOSSES)
        self.zone_at = {z: self.u + len(INPUTS) + k for k, z in enumerate(self.zones)}
        self.size = self.u + len(INPUTS) + len(self.zones)
        self._known: dict[tuple[str, bool, int], np.ndarray] = {}
        self.sky_c = [self._sky(t, rh, cloud) for t, rh in zip(air.air_c, air.humidity, strict=True)]
        sheet = plant.sheet.heat_sources["heat_pump"]
        self.rated = sorted(sheet.rated, key=lambda p: -p.air_c)  # two points at one water temperature

    def _cells(self, name: str, body: Body, cell_m: float) -> Iterator[Cell]:
        """A leg in cells, its manifold stretch by stretch; a housing in two."""
        leg = self.plant.sheet.legs.get(name)
        if leg is None:
            for _ in range(2):
                yield Cell(name, body.capacity_j_k / 2, body.ua_w_k / 2, body.zone, name, None)
            return
        stretches = [(name, leg.length_m)]
        if leg.manifold:
            more = range(2, leg.manifold.jets + 1)
            stretches += [(stretch_name(name, k), leg.manifold.spacing_m) for k in more]
        total_m = sum(length for _, length in stretches)
        for k, (link, length) in enumerate(stretches, start=1):
            count = max(1, round(length / cell_m))
            share = length / total_m / count
            for i in range(count):
                jet = f"{name} jet {k}" if leg.manifold and i == count - 1 else None
                yield Cell(name, body.capacity_j_k * share, body.ua_w_k * share, body.zone, link, jet)

    # -- the linear part: who touches whom ---------------------------------------------------------------

    def matrix(self, speed: str, covered: bool) -> np.ndarray:
        """d/dt of (tub, shell, cells, heat lost so far, heat put in, zones) while nothing is switched."""
        node, m = self.plant.tub_node, np.zeros((self.size, self.size))

        def joins(row: int, capacity: float, ua: float, other: int) -> None:
            m[row, row] -= ua / capacity
            m[row, other] += ua / capacity

        joins(0, node.water_j_k, node.g_w_k, 1)
        joins(1, node.shell_j_k, node.g_w_k, 0)
        joins(1, node.shell_j_k, node.ua_shell_w_k, self.zone_at[node.shell_zone])
        m[self.n + 1, [1, self.zone_at[node.shell_zone]]] = node.ua_shell_w_k, -node.ua_shell_w_k
        if covered:
            joins(0, node.water_j_k, node.ua_cover_w_k, self.zone_at[node.cover_zone])
            m[self.n, [0, self.zone_at[node.cover_zone]]] = node.ua_cover_w_k, -node.ua_cover_w_k
        for k, cell in enumerate(self.cells, start=2):
            zone = self.zone_at[cell.zone]
            joins(k, cell.capacity_j_k, cell.ua_w_k, zone)
            m[self.n + 2, k] += cell.ua_w_k
            m[self.n + 2, zone] -= cell.ua_w_k
        heated = {"tub": [0], "pump": self._at("filter")}
        heated |= {name: self._at(name) for name in ("heat_pump", "element")}
        for k, rows in enumerate(heated[name] for name in INPUTS):
            for row in rows:
                capacity = node.water_j_k if row == 0 else self.cells[row - 2].capacity_j_k
                m[row, self.u + k] = 1.0 / capacity / len(rows)
        if speed != "stopped":
            self._move(m, self.plant.duty(self.plant.at("main", speed)).duty.flows_m3_s)
        return m

    def _at(self, name: str) -> list[int]:
        return list(range(self.first[name], self.first[name] + len(self.rows[name])))

    def _move(self, m: np.ndarray, flows: dict[str, float]) -> None:
        """Water carries its heat from cell to cell, through the jets or the last cells into the tub."""
        tub_j_k = self.plant.tub_node.water_j_k
        before: list[tuple[int, float]] = [(0, 1.0)]
        for stage in self.stages:
            whole = sum(flows[name] for name in stage)
            for name in stage:
                for i, k in enumerate(self._at(name)):
                    cell = self.cells[k - 2]
                    carried_w_k = flows[cell.flow_of] * self.water_j_m3_k
                    m[k, k] -= carried_w_k / cell.capacity_j_k
                    for other, share in before if i == 0 else [(k - 1, 1.0)]:
                        m[k, other] += share * carried_w_k / cell.capacity_j_k
                    if cell.jet:
                        m[0, k] += flows[cell.jet] * self.water_j_m3_k / tub_j_k
            before = [(self._at(name)[-1], flows[name] / whole) for name in stage]
        m[0, 0] -= whole * self.water_j_m3_k / tub_j_k

    def _over(self, speed: str, covered: bool, dt_s: int) -> np.ndarray:
        """The matrix's exponential over *dt_s*: exact as long as what is put in does not change."""
        key = speed, covered, dt_s
        if key not in self._known:
            self._known[key] = expm(self.matrix(speed, covered) * (dt_s / 2.0))
        return self._known[key]

    # -- the other part: formulas ------------------------------------------------------------------------

    @staticmethod
    def _sky(air_c: float, humidity: float, cloud: float) -> float:
        """Berdahl and Martin (1984) by the dew point, cloud filling 0.784 of what is missing to black."""
        dew = psychrolib.GetTDewPointFromRelHum(air_c, humidity) / 100.0
        clear = 0.711 + 0.56 * dew + 0.73 * dew**2
        return (clear + (1.0 - clear) * 0.784 * cloud) ** 0.25 * (air_c + 273.15) - 273.15

    def open_water(self, hour: int, water_c: float) -> tuple[float, float]:
        """Heat (W) into the water from its open surface, and what evaporates (kg/s).

        ASHRAE natatoriums w = A (pw - pa)(0.089 + 0.0782 V) / Y, in kPa and kJ/kg, activity 1.0; convection
        by Bowen's 61.3 Pa/K; radiation with 0.95 to the sky; what left is filled up cold.
        """
        air, wind = self.air.air_c[hour], self.air.wind_m_s[hour]
        area = self.plant.sheet.tub.surface_m2
        pw_kpa = psychrolib.GetSatVapPres(water_c) / 1000.0
        pa_kpa = self.air.humidity[hour] * psychrolib.GetSatVapPres(air) / 1000.0
        latent_kj_kg = np.interp(water_c, range(0, 51, 5), LATENT_KJ_KG)
        evaporated = area * (pw_kpa - pa_kpa) * (0.089 + 0.0782 * wind) / latent_kj_kg
        convected = evaporated * latent_kj_kg * 1000.0 * 0.0613 * (water_c - air) / (pw_kpa - pa_kpa)
        radiated = 0.95 * 5.670374e-8 * area * ((water_c + 273.15) ** 4 - (self.sky_c[hour] + 273.15) ** 4)
        lost = evaporated * 1000.0 * latent_kj_kg + convected + radiated
        return -lost - evaporated * WATER_J_KG_K * (water_c - self.makeup_c), evaporated

    def blown(self, hour: int, water_c: float, heating_w: float, flow_m3_s: float, zone: str) -> float:
        """Heat (W) into the water from air that leaves it saturated and as warm, filled up cold (ASHRAE)."""
        air = self.zones[zone][hour]
        outdoors = psychrolib.GetHumRatioFromRelHum(
            self.air.air_c[hour], self.air.humidity[hour], PRESSURE_PA
        )
        moist = min(outdoors, psychrolib.GetSatHumRatio(air, PRESSURE_PA))
        dry_kg_s = flow_m3_s / psychrolib.GetMoistAirVolume(air, moist, PRESSURE_PA)
        wet = psychrolib.GetSatHumRatio(water_c, PRESSURE_PA)
        gained = psychrolib.GetMoistAirEnthalpy(water_c, wet) - psychrolib.GetMoistAirEnthalpy(air, moist)
        return heating_w - dry_kg_s * (gained - (wet - moist) * WATER_J_KG_K * self.makeup_c)

    def heat_pump(self, hour: int, water_c: float) -> tuple[float, float]:
        """Heat and electricity (W): the two rated points, in between and beyond as the model says.

        Output exponential in the air's temperature and no more above the warmest rating, 0.6 % less per K
        of warmer water. Work per heat linear in Carnot's, between the ratings; beyond, a fixed share of it.
        """
        mild, cold = self.rated
        air = self.zones["outdoors"][hour]
        per_k = log(mild.output_w / cold.output_w) / (mild.air_c - cold.air_c)
        output = mild.output_w * exp(per_k * (min(air, mild.air_c) - mild.air_c))
        output *= exp(-0.006 * max(water_c - mild.water_c, 0.0))

        def carnot(air_c: float, at_c: float) -> float:
            return 1.0 - (air_c - 10.0 + 273.15) / (at_c + 5.0 + 273.15)

        e, e1, e2 = (carnot(*at) for at in ((air, water_c), (mild.air_c, 35.0), (cold.air_c, 35.0)))
        if e < e1:
            work = max(e, 1.0 / 12.0) / e1 / mild.cop
        elif e > e2:
            work = e / e2 / cold.cop
        else:
            work = 1.0 / mild.cop + (1.0 / cold.cop - 1.0 / mild.cop) * (e - e1) / (e2 - e1)
        return output, output * work

    # -- the run -----------------------------------------------------------------------------------------

    def start(self) -> np.ndarray:
        """The engine's own state at second 0."""
        z = np.zeros(self.size)
        z[:2] = self.trace.tub.water_c[0], self.trace.tub.shell_c[0]
        for k, cell in enumerate(self.cells, start=2):
            z[k] = self.trace.stays[cell.body].start_c[0]
        return z

    def stretches(self, until_s: int) -> Iterator[tuple[int, int, dict[str, str]]]:
        """(start, end, state of everything) between any two changes, hours included."""
        trace = self.trace
        streams = {
            "main": trace.pumps["main"],
            "blower": trace.blowers["blower"],
            **trace.sources,
            "people": trace.people,
            "cover": trace.cover,
        }
        marks = {*range(0, until_s + 1, 3600)}
        marks |= {x.start_s for s in streams.values() for x in s if x.start_s < until_s}
        now = {name: iter(s) for name, s in streams.items()}
        at = {name: next(it) for name, it in now.items()}
        for start, end in pairwise(sorted(marks)):
            for name, it in now.items():
                while at[name].end_s <= start:
                    at[name] = next(it)
            yield start, end, {name: x.state for name, x in at.items()}

    def put_in(self, z: np.ndarray, hour: int, state: dict[str, str], run: Run | None, dt_s: float) -> None:
        """Write into *z* what is put into tub, pump and sources at its temperatures; book it in *run*."""
        water_c, tub_w = z[0], 0.0
        moves = state["main"] in ("low", "high")
        pump, u = self.plant.pumps["main"], self.u
        z[u : u + 4] = 0.0
        if moves:
            z[u + 1] = pump.heat_to_water * self.plant.speeds["main"][state["main"]].power_w
        if state["heat_pump"] == "firing" and moves:
            heat, power = self.heat_pump(hour, z[self.first["heat_pump"] - 1])
            z[u + 2] = heat
            if run:
                run.heat_pump_j += heat * dt_s
                run.electricity_j += power * dt_s
        if state["element"] == "firing":
            z[u + 3] = self.plant.sheet.heat_sources["element"].output_w
        if state["cover"] == "off":
            heat, evaporated = self.open_water(hour, water_c)
            tub_w += heat
            if run:
                run.open_water_j += heat * dt_s
                run.evaporated_kg += evaporated * dt_s
        if people := int(state["people"]):
            heat = people * (100.0 - 5.0 / 3600.0 * WATER_J_KG_K * (water_c - self.makeup_c))
            tub_w += heat
            if run:
                run.bathers_j += heat * dt_s
        if state["blower"] == "on":
            sheet = self.plant.sheet.air["blower"]
            flow = self.plant.air_duty("blower").flow_m3_s
            heat = self.blown(hour, water_c, 0.7 * sheet.power_w, flow, sheet.air_from)
            tub_w += heat
            if run:
                run.blown_j += heat * dt_s
        z[u] = tub_w

    def set_zones(self, z: np.ndarray, hour: int) -> None:
        """The zones of this hour."""
        for name, at in self.zone_at.items():
            z[at] = self.zones[name][hour]

    def run(self, days: int) -> Run:
        """Step through *days*: what is put in is evaluated in the middle of every step."""
        z, run, speed, changed = self.start(), Run(), "", 0
        for start, end, state in self.stretches(days * 86_400):
            hour = (start - self.origin_s) // 3600
            if start % 3600 == 0:
                run.hourly_c.append(z[0])
                for name in self.rows:
                    run.legs_c.setdefault(name, []).append(z[self._at(name)].mean())
                self.set_zones(z, hour)
            moving = state["main"] if state["main"] in ("low", "high") else "stopped"
            if moving != speed:
                speed, changed = moving, start
            at, covered = start, state["cover"] == "on"
            while at < end:
                longest = FINE_S if at < changed + FINE_FOR_S else COARSE_S
                dt = longest
                while dt > end - at:
                    dt //= 2
                half = self._over(speed, covered, dt)
                middle = z.copy()
                self.put_in(middle, hour, state, None, 0.0)
                middle = half @ middle
                self.put_in(middle, hour, state, run, dt)
                z[self.u : self.u + 4] = middle[self.u : self.u + 4]
                z = half @ (half @ z)
                at += dt
                run.moments.append((at, z[0]))
        run.hourly_c.append(z[0])
        run.loss_j = dict(zip(LOSSES, z[self.n : self.n + 3].tolist(), strict=True))
        return run

    def by_solver(self, days: int) -> list[float]:
        """Tub temperature at each hour by solve_ivp at tight tolerance, everything put in as it is then."""
        z, hourly = self.start(), []
        atol = np.full(self.size, 1e-7)
        atol[self.n : self.u] = 1.0  # joules
        for start, end, state in self.stretches(days * 86_400):
            hour = (start - self.origin_s) // 3600
            if start % 3600 == 0:
                hourly.append(z[0])
                self.set_zones(z, hour)
            moving = state["main"] if state["main"] in ("low", "high") else "stopped"
            m = self.matrix(moving, state["cover"] == "on")

            def slope(_, x, m=m, hour=hour, state=state):
                x = x.copy()
                self.put_in(x, hour, state, None, 0.0)
                return m @ x

            with np.errstate(invalid="ignore", over="ignore"):  # BDF subtracts rows that it has yet to fill
                found = solve_ivp(slope, (start, end), z, method="BDF", rtol=1e-8, atol=atol, jac=m)
            assert found.success
            z = found.y[:, -1]
        return [*hourly, z[0]]
