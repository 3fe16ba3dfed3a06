"""Heat of the whole plant: tub, shell, and every pipe in cells that water passes one after another.

Between two looks the plant is linear, and its matrix's exponential over whole seconds is exact: whatever a
second would find is found. What is not linear (open water, bathers, air, a heat pump) is looked at anew at
least once a minute. Heat goes into the water where the device sits, and reaches the tub as flow carries it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp

import numpy as np
import psychrolib
from iapws import IAPWS97
from scipy.linalg import expm

from cyclesim.scenario.blocks.heat_sources import HeatPump
from tests.wholes.hydraulics import Hydraulics, blower_flow
from tests.wholes.own import ONE_W_K
from tests.wholes.plant import TUB, Layout, Piece
from tests.wholes.water import STILL_M3_S
from tests.wholes.weather import HOUR_S, PRESSURE_PA, Weather, sun_w

CELL_M, COLLECTOR_CELLS = 0.15, 24
LONGEST_S = 64
"""Longest step; every step is a power of two of seconds."""
WATER_J_KG_K, BATHER_W, BATHER_KG_S = 4186.0, 100.0, 5.0 / 3600.0
AIR_HEAT = 0.7
LOSSES = ("cover", "shell", "bodies", "collectors")


@dataclass(frozen=True)
class Doing:
    """What is done to the plant: speeds with positions, sources that fire, blowers, people, cover."""

    speeds: tuple[str, ...]
    firing: tuple[str, ...] = ()
    blowing: tuple[str, ...] = ()
    people: int = 0
    covered: bool = True
    turning: tuple[str, ...] = ()
    """Sources whose own water the circulator turns."""


class Heat:
    """The plant's temperatures, stepped; *weather* begins at *begin_s*."""

    def __init__(self, layout: Layout, hydraulics: Hydraulics, weather: Weather, begin_s: int) -> None:
        self.layout, self.hydraulics, self.weather, self.begin_s = layout, hydraulics, weather, begin_s
        self.sheet = layout.scenario.plant
        self.body: list[str] = []  # of each cell
        self.capacity: list[float] = []
        self.ua: list[float] = []
        self.cells: dict[str, list[int]] = {}
        for piece in layout.pieces:
            self.cells[piece.name] = self._cut(piece)
        self.zone_of = {name: body.zone for name, body in layout.bodies.items()}
        self.own: dict[str, tuple[int, int]] = {}
        """Of each source with water of its own, the number of that in it and of the rest."""
        for name, own in layout.own.items():
            k = 2 + len(self.body)
            self.own[name] = k, k + 1
            self.body += [f"own water of {name}"] * 2
            self.capacity += own.capacity_j_k
            self.ua += own.ua_w_k
            self.zone_of[f"own water of {name}"] = own.zone
        self.n = 2 + len(self.body)
        self.zone_names = list(weather.zones)
        self.inputs = ["tub", *self.sheet.pumps, *self.sheet.heat_sources, *self.zone_names]
        self._modes: dict[object, list[np.ndarray]] = {}
        given = self.sheet.tub.fill_water_c
        self.makeup_c = weather.mean_c if given is None else given
        self.z = np.zeros(self.n + len(LOSSES))
        self.drawn_j: dict[str, float] = dict.fromkeys(self.sheet.heat_sources, 0.0)
        """Electricity of heat pumps; fire and pumps are counted by their seconds."""
        self.pumps = {
            n: HeatPumpMap(s) for n, s in self.sheet.heat_sources.items() if isinstance(s, HeatPump)
        }
        self._pump_w = {
            (n, speed): pump.heat_to_water * sheet.power_w
            for n, pump in self.sheet.pumps.items()
            for speed, sheet in pump.speeds.items()
        }
        self.sun_w = {
            n: sun_w(weather, s.summer_peak_w, s.winter_peak_w) for n, s in layout.collectors.items()
        }
        """Into collectors [W], whether water moves or not."""
        self._air = {n: blower_flow(layout, n) for n in self.sheet.air}

    def _cut(self, piece: Piece) -> list[int]:
        """Numbers of a piece's cells in z; a body's heat is spread over its pieces by their volume."""
        if piece.body is None:
            return []
        body = self.layout.bodies[piece.body]
        whole = sum(p.volume_m3 for p in self.layout.pieces if p.body == piece.body)
        count = max(1, round(piece.length_m / CELL_M)) if piece.length_m else 3
        if piece.body in self.layout.passed:  # so that their mean is that of water that warms on its way
            count = COLLECTOR_CELLS
        share = piece.volume_m3 / whole / count
        first = 2 + len(self.body)
        self.body += [piece.body] * count
        self.capacity += [body.capacity_j_k * share] * count
        self.ua += [body.ua_w_k * share] * count
        return list(range(first, first + count))

    # -- states ------------------------------------------------------------------------------------------

    def settle(self, water_c: float, hour: int = 0) -> None:
        """Everything at one temperature, the shell in balance between water and its zone."""
        _, _, g, outward, _ = self.layout.tub
        outside = self.weather.zones[self.sheet.tub.shell.zone][hour]
        self.z[:] = 0.0
        self.z[: self.n] = water_c
        self.z[1] = (g * water_c + outward * outside) / (g + outward)

    def set(self, water_c: float, shell_c: float, bodies_c: dict[str, float]) -> None:
        """A given state."""
        self.z[:] = 0.0
        self.z[:2] = water_c, shell_c
        self.z[2 : self.n] = [bodies_c[name] for name in self.body]

    @property
    def water_c(self) -> float:
        """Of the tub."""
        return float(self.z[0])

    def body_c(self, name: str) -> float:
        """Mean temperature of a body's cells by their heat."""
        return float(self.weights(name) @ self.z)

    def sunny(self, collectors: str) -> str:
        """The body that the sun warms."""
        return f"own water of {collectors}" if collectors in self.own else collectors

    def seen(self, collectors: str) -> np.ndarray:
        """What the sensor in collectors reads of z: all in them, not in the rest of their circuit."""
        if collectors not in self.own:
            return self.weights(collectors)
        found = np.zeros(len(self.z))
        found[self.own[collectors][0]] = 1.0
        return found

    def weights(self, name: str) -> np.ndarray:
        """What a body's mean temperature is of z: each of its cells by its share of the heat."""
        found = np.zeros(len(self.z))
        for k, b in enumerate(self.body):
            found[2 + k] = self.capacity[k] if b == name else 0.0
        return found / found.sum()

    def cold_k(self, before: tuple[str, ...], speeds: tuple[str, ...]) -> float:
        """How far the tub would fall if it mixed at once with the bodies that begin to move."""
        old, new = self.hydraulics.flows(before), self.hydraulics.flows(speeds)
        began = [b for n, b in self.layout.bodies.items() if new[n] > STILL_M3_S >= old[n]]
        water_j_k = self.layout.tub[0]
        cold_j = sum(b.capacity_j_k * (self.water_c - self.body_c(b.name)) for b in began)
        return cold_j / (water_j_k + sum(b.capacity_j_k for b in began))

    def coldest(self) -> tuple[np.ndarray, list[str]]:
        """Temperatures of tub and every cell of its water, and whose they are."""
        n = self.n - 2 * len(self.own)  # own water comes last, and freezes elsewhere
        return np.concatenate([self.z[:1], self.z[2:n]]), [TUB, *self.body[: n - 2]]

    # -- the linear part ---------------------------------------------------------------------------------

    def _matrix(self, speeds: tuple[str, ...], covered: bool, turning: tuple[str, ...]) -> np.ndarray:
        water, shell, g, outward, cover = self.layout.tub
        rows = self.n + len(LOSSES)
        m = np.zeros((rows + len(self.inputs), rows + len(self.inputs)))
        at = {name: rows + k for k, name in enumerate(self.inputs)}

        def gives(row: int, to: int, ua: float, capacity: float, loss: int | None) -> None:
            m[row, row] -= ua / capacity
            m[row, to] += ua / capacity
            if loss is not None:
                m[self.n + loss, [row, to]] += [ua, -ua]

        gives(0, 1, g, water, None)
        gives(1, 0, g, shell, None)
        gives(1, at[self.sheet.tub.shell.zone], outward, shell, 1)
        if covered:
            gives(0, at[self.sheet.tub.cover_zone], cover, water, 0)
        in_sun = {self.sunny(name) for name in self.layout.collectors}
        for k, name in enumerate(self.body):
            counts = 3 if name in in_sun else 2
            gives(2 + k, at[self.zone_of[name]], self.ua[k], self.capacity[k], counts)
        m[0, at["tub"]] = 1.0 / water
        flows = self.hydraulics.flows(speeds)
        for name in (*self.sheet.pumps, *self.sheet.heat_sources):
            heated = list(self.own[name][:1]) if name in self.own else self.cells[name] or self._behind(name)
            for row in heated:
                m[row, at[name]] = 1.0 / len(heated) / (water if row == 0 else self.capacity[row - 2])
        met = self._carry(m, flows, water)
        for name in turning:
            inside, rest = self.own[name]
            for one, other in ((inside, rest), (rest, inside)):
                gives(one, other, ONE_W_K, self.capacity[one - 2], None)
            if flows[name] > STILL_M3_S:
                cells = self.cells[name]
                per_k = self.layout.own[name].passes_w_k(flows[name] * self.layout.water_j_m3_k)
                for k, share, heats in [(rest, 1.0, -1.0), *((k, 1.0 / len(cells), 1.0) for k in cells)]:
                    w_k = heats * share * per_k / self.capacity[k - 2]
                    m[k, rest] += w_k
                    for other, part in met[self._inlet(name)].items():
                        m[k, other] -= part * w_k
        return m

    def _inlet(self, name: str) -> str:
        return next(p.a for p in self.layout.pieces if p.name == name)

    def _behind(self, pump: str) -> list[int]:
        """First cells of what the water reaches next."""
        end = next(p.b for p in self.layout.pieces if p.name == pump)
        return [self.cells[p.name][0] for p in self.layout.pieces if p.a == end]

    def _carry(self, m: np.ndarray, flows: dict[str, float], tub_j_k: float) -> dict[str, dict[int, float]]:
        """Water takes its heat along, cell by cell; where pieces meet it mixes: of what, by node."""
        leaving: dict[str, dict[int, float]] = {TUB: {0: 1.0}}
        left = [p for p in self.layout.pieces if flows[p.name] > STILL_M3_S]
        coming: dict[str, list[tuple[float, dict[int, float]]]] = {}
        while left:
            for p in [p for p in left if p.a in leaving]:
                left.remove(p)
                carried, mix = flows[p.name] * self.layout.water_j_m3_k, leaving[p.a]
                for k in self.cells[p.name]:
                    m[k, k] -= carried / self.capacity[k - 2]
                    for other, share in mix.items():
                        m[k, other] += share * carried / self.capacity[k - 2]
                    mix = {k: 1.0}
                coming.setdefault(p.b, []).append((carried, mix))
                if p.b == TUB:
                    m[0, 0] -= carried / tub_j_k
                    for other, share in mix.items():
                        m[0, other] += share * carried / tub_j_k
                elif not any(q.b == p.b for q in left):
                    whole = sum(c for c, _ in coming[p.b])
                    leaving[p.b] = {}
                    for c, part in coming[p.b]:
                        for other, share in part.items():
                            leaving[p.b][other] = leaving[p.b].get(other, 0.0) + share * c / whole
        return leaving

    def _over(self, doing: Doing, power: int) -> np.ndarray:
        """The exponential over 2**power seconds; the inputs' own rows are left away."""
        key = doing.speeds, doing.covered, doing.turning
        if key not in self._modes:
            self._modes[key] = [expm(self._matrix(*key))]
        known = self._modes[key]
        while len(known) <= power:
            known.append(known[-1] @ known[-1])
        return known[power]

    # -- the other part ----------------------------------------------------------------------------------

    def put_in(self, doing: Doing, hour: int) -> tuple[np.ndarray, dict[str, float]]:
        """What goes into tub, pumps and sources [W] and the zones [degC]; what heat pumps draw [W]."""
        u = dict.fromkeys(self.inputs, 0.0)
        drawn: dict[str, float] = {}
        flows = self.hydraulics.flows(doing.speeds)
        for name, speed in zip(self.sheet.pumps, doing.speeds, strict=False):  # positions come after
            u[name] = self._pump_w.get((name, speed), 0.0)
        for name, watts in self.sun_w.items():
            u[name] = float(watts[hour])
        for name in doing.firing:
            if name in self.sun_w:
                continue
            if name not in self.pumps:
                u[name] = self.sheet.heat_sources[name].output_w
            elif flows[name] > STILL_M3_S:
                inlet = float(self.z[self.cells[name][0] - 1])
                outside = self.sheet.heat_sources[name].outside
                u[name], drawn[name] = self.pumps[name].at(float(self.weather.zones[outside][hour]), inlet)
        if not doing.covered:
            u["tub"] += self._open_water(hour)
        if doing.people:
            cold = WATER_J_KG_K * (self.water_c - self.makeup_c)
            u["tub"] += doing.people * (BATHER_W - BATHER_KG_S * cold)
        for name in doing.blowing:
            u["tub"] += self._blown(name, hour)
        for name in self.zone_names:
            u[name] = float(self.weather.zones[name][hour])
        return np.array(list(u.values())), drawn

    def _open_water(self, hour: int) -> float:
        """ASHRAE's w = A (pw - pa)(0.089 + 0.0782 V) / Y, Bowen's 61.3 Pa/K, grey radiation to the sky."""
        air, water, area = float(self.weather.air_c[hour]), self.water_c, self.sheet.tub.surface_m2
        by_pa = area * (0.089 + 0.0782 * self.weather.wind_m_s)
        apart = psychrolib.GetSatVapPres(water) - self.weather.humidity * psychrolib.GetSatVapPres(air)
        kelvin, sky = water + 273.15, float(self.weather.sky_c[hour]) + 273.15
        lost = by_pa * (apart + 61.3 * (water - air)) + 0.95 * 5.670374e-8 * area * (kelvin**4 - sky**4)
        evaporated = max(0.0, by_pa * apart / latent_j_kg(water))
        return float(-lost - evaporated * WATER_J_KG_K * (water - self.makeup_c))

    def _blown(self, name: str, hour: int) -> float:
        """Air that leaves the water saturated and as warm; most of the blower's power comes back with it."""
        sheet, water = self.sheet.air[name], self.water_c
        air, out = float(self.weather.zones[sheet.air_from][hour]), float(self.weather.air_c[hour])
        vapour = self.weather.humidity * psychrolib.GetSatVapPres(out)
        dry = psychrolib.GetHumRatioFromVapPres(min(vapour, psychrolib.GetSatVapPres(air)), PRESSURE_PA)
        wet = psychrolib.GetSatHumRatio(water, PRESSURE_PA)
        kg_s = self._air[name] / psychrolib.GetMoistAirVolume(air, dry, PRESSURE_PA)
        gained = psychrolib.GetMoistAirEnthalpy(water, wet) - psychrolib.GetMoistAirEnthalpy(air, dry)
        return float(AIR_HEAT * sheet.power_w - kg_s * (gained - (wet - dry) * WATER_J_KG_K * self.makeup_c))

    # -- steps -------------------------------------------------------------------------------------------

    def hour(self, at_s: int) -> int:
        """Number of the hour of the weather."""
        return (at_s - self.begin_s) // HOUR_S

    def step(
        self,
        at_s: int,
        until_s: int,
        doing: Doing,
        low_c: float = -99.0,
        high_c: float = 999.0,
        bodies: Sequence[tuple[np.ndarray, float]] = (),
        own: tuple[tuple[int, float, float], ...] = (),
    ) -> int:
        """Step on from *at_s* to *until_s*, or to the whole second at which the tub has left the two levels.

        With *bodies* (weights, level) also to that at which a body is down at its level, with *own* (number,
        low, high) to that at which own water has left two levels. The second that was
        reached. A level already left counts after one second.
        """
        while at_s < until_s:
            hour = self.hour(at_s)
            most = min(until_s, self.begin_s + HOUR_S * (hour + 1)) - at_s
            u, drawn = self.put_in(doing, hour)
            power = min(most, LONGEST_S).bit_length() - 1
            before = np.concatenate([self.z, u])
            while True:
                after = (self._over(doing, power) @ before)[: len(self.z)]
                inside = low_c < after[0] < high_c and all(w @ after > level for w, level in bodies)
                inside = inside and all(low < after[k] < high for k, low, high in own)
                if inside or power == 0:
                    break
                power -= 1
            self.z = after
            at_s += 1 << power
            for name, watts in drawn.items():
                self.drawn_j[name] += watts * (1 << power)
            if not inside:
                return at_s
        return at_s


_LATENT = [(IAPWS97(T=t + 273.15, x=1).h - IAPWS97(T=t + 273.15, x=0).h) * 1000.0 for t in range(1, 61, 3)]


def latent_j_kg(water_c: float) -> float:
    """Heat of evaporation, IAPWS-IF97 (iapws), between values 3 K apart."""
    return float(np.interp(water_c, range(1, 61, 3), _LATENT))


class HeatPumpMap:
    """Output and work of an air-to-water heat pump, through its rated points as the package describes.

    log(output) straight over the air's temperature by numpy.polyfit, no more above the warmest rating, 0.6 %
    less per K of warmer water than rated; work per heat straight over Carnot's own between the ratings, a
    fixed share of Carnot beyond them, and no easier than 1/12.
    """

    def __init__(self, sheet: HeatPump) -> None:
        points = sorted(sheet.rated, key=lambda p: p.air_c)
        assert len({p.water_c for p in points}) == 1, "rated at one water temperature"
        assert "defrost_share" not in sheet.model_fields_set
        assert points[0].air_c < sheet.defrost_below_c, "its ratings contain the defrosting"
        self.sheet, self.water_c, self.warmest_c = sheet, points[0].water_c, points[-1].air_c
        self.line = np.polyfit([p.air_c for p in points], np.log([p.output_w for p in points]), 1)
        efforts = [(self._carnot(p.air_c, p.water_c), 1.0 / p.cop) for p in points]
        self.effort, self.work = zip(*sorted(efforts), strict=True)
        assert list(self.work) == sorted(self.work)

    @staticmethod
    def _carnot(air_c: float, water_c: float) -> float:
        return max(0.03, 1.0 - (air_c - 10.0 + 273.15) / (water_c + 5.0 + 273.15))

    def at(self, air_c: float, water_c: float) -> tuple[float, float]:
        """Heat and electricity [W]."""
        if air_c < self.sheet.lowest_air_c:
            return 0.0, 0.0
        heat = exp(np.polyval(self.line, min(air_c, self.warmest_c)))
        heat *= exp(-0.006 * max(0.0, water_c - self.water_c))
        e, easiest = self._carnot(air_c, water_c), self.effort[0]
        if e < easiest:
            work = self.work[0] * max(e, min(easiest, 1.0 / 12.0)) / easiest
        elif e > self.effort[-1]:
            work = self.work[-1] * e / self.effort[-1]
        else:
            work = float(np.interp(e, self.effort, self.work))
        return heat, heat * work
