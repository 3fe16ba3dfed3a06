"""The sheet of a plant laid out for the reference: what water passes in order, and what each piece weighs.

Only the loader and the frozen models are shared with the package. Sizes, conductances and heat capacities
are worked out again from the formulas that the package names in its docstrings and from the numbers that its
report lists as assumptions; water by the iapws package.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from math import acosh, log, log10, pi, sqrt
from typing import Any

from iapws import IAPWS97

from cyclesim.scenario.blocks.model import Scenario
from tests.wholes.own import Own

TUB = "tub"
G_M_S2 = 9.80665

# conductivity [W/(m K)], density [kg/m3], heat capacity [J/(kg K)]
WALLS = {
    "concrete": (2.3, 2300.0, 1000.0),
    "brick": (0.77, 1700.0, 900.0),
    "timber": (0.13, 500.0, 1600.0),
    "acrylic": (0.18, 1180.0, 1500.0),
    "steel": (17.0, 7900.0, 460.0),
}
FOAM_W_MK, PIPE_FOAM_W_MK, SOIL_W_MK = 0.036, 0.038, 1.5
PIPES = {"PVC": (0.19, 1390.0 * 900.0), "copper": (401.0, 8933.0 * 385.0)}
"""Conductivity [W/(m K)] and heat capacity [J/(m3 K)] of pipe walls; copper: Incropera, table A.1, 300 K."""
OUTSIDE_W_M2K, UNDER_COVER_M2K_W, WATER_FILM_W_M2K = 25.0, 0.10, 300.0
PIPE_FILM_W_M2K, HOUSING_FILM_W_M2K = 10.0, 8.0
COVER_FIT = {"good": 1.2, "fair": 1.6, "poor": 2.5}

# TP-410's multiples of the fully turbulent friction factor; entrance and exit are K itself
EQUIVALENT = {
    "elbow": 30,
    "long_elbow": 14,
    "elbow_45": 16,
    "tee_run": 20,
    "tee_branch": 60,
    "ball_valve": 3,
    "swing_check": 100,
    "union": 2,
}
FIXED_K = {"entrance": 0.5, "exit": 1.0}


def fitting_k(name: str, bore_m: float) -> float:
    """K of a fitting: n fT, with fT = 0.25 / log10((e/D) / 3.7)^2 of clean steel, e = 0.0018 in (TP-410)."""
    if name in FIXED_K:
        return FIXED_K[name]
    return EQUIVALENT[name] * 0.25 / log10(4.572e-5 / bore_m / 3.7) ** 2


@dataclass(frozen=True)
class Piece:
    """Something water passes from node *a* to node *b*: a pipe, a stretch, a housing, a jet, a pump."""

    name: str
    a: str
    b: str
    volume_m3: float = 0.0
    length_m: float = 0.0
    bore_m: float = 0.0
    k: float = 0.0
    """Sum of the fittings' K."""
    loss: tuple[float, float] | None = None
    """Head [m] at a flow [m3/s], quadratic: devices and jets."""
    body: str | None = None
    """The body of water it belongs to, if it has a temperature of its own."""


@dataclass(frozen=True)
class Body:
    """Water with a temperature of its own: heat capacity, conductance, zone."""

    name: str
    capacity_j_k: float
    ua_w_k: float
    zone: str


@dataclass
class Layout:
    """Everything that the reference needs to know of a plant."""

    scenario: Scenario
    pieces: list[Piece] = field(default_factory=list)
    bodies: dict[str, Body] = field(default_factory=dict)

    def __post_init__(self) -> None:
        s = self.scenario
        heating = s.schedule.heating
        self.temp_c = heating.keep_at_c if heating else 38.0
        water = IAPWS97(T=self.temp_c + 273.15, P=0.101325)
        self.density_kg_m3, self.viscosity_m2_s = water.rho, water.mu / water.rho
        self.water_j_m3_k = water.rho * water.cp * 1000.0
        for name, a, b in self._elements():
            self.pieces += self._pieces_of(name, a, b)
        for name, leg in s.plant.legs.items():
            length = leg.length_m + (leg.manifold.spacing_m * (leg.manifold.jets - 1) if leg.manifold else 0)
            water_j_k = pi / 4 * leg.bore_m**2 * self.water_j_m3_k
            wall_j_k = pi / 4 * (leg.outside_m**2 - leg.bore_m**2) * PIPES[leg.of][1]
            lost = length * self._pipe_ua(leg) * self._beside.get(name, 1.0)
            self._body(name, length * (water_j_k + wall_j_k), lost, leg.zone)
        for name, thing in {**s.plant.equipment, **s.plant.heat_sources}.items():
            if name in self.passed:  # they lose and hold what their sheet says
                held = thing.volume_m3 * self.water_j_m3_k + thing.holds_j_k
                self._body(name, held, thing.loses_w_k, thing.zone)
            else:
                self._housing(name, thing.volume_m3, thing.zone, thing.insulation_m)
        sources = s.plant.heat_sources.items()
        self.own = {n: Own.of(s, n, self.water_j_m3_k) for n, source in sources if source.own_water}
        """Sources with water of their own."""
        for name, pump in s.plant.pumps.items():
            if pump.zone is not None:
                self._housing(name, pump.volume_m3, pump.zone)

    def _elements(self) -> Iterator[tuple[str, str, str]]:
        """(name, from node, to node) of every element; nodes between are named by what comes before."""
        known = {TUB, *self.scenario.plant.junctions}
        count = 0

        def series(items: list[object], a: str, b: str) -> Iterator[tuple[str, str, str]]:
            nonlocal count
            for i, item in enumerate(items):
                count += 1
                end = b if i == len(items) - 1 else f"#{count}"
                if isinstance(item, str):
                    yield item, a, end
                else:
                    for branch in item.branches:
                        yield from series(list(branch), a, end)
                a = end

        for chain in self.scenario.plant.network:
            at, run = chain[0], []
            for item in chain[1:]:
                if isinstance(item, str) and item in known:
                    yield from series(run, str(at), item)
                    at, run = item, []
                else:
                    run.append(item)

    def _pieces_of(self, name: str, a: str, b: str) -> Iterator[Piece]:
        plant = self.scenario.plant
        if name in plant.legs:
            leg = plant.legs[name]
            area = pi / 4 * leg.bore_m**2
            k = sum(n * fitting_k(f, leg.bore_m) for f, n in leg.fittings.items())
            jets = leg.manifold.jets if leg.manifold else 0
            end = f"{name}:1" if jets else b
            yield Piece(name, a, end, area * leg.length_m, leg.length_m, leg.bore_m, k, body=name)
            for j in range(1, jets + 1):
                each = leg.manifold.each
                assert each is not None
                here, spacing = f"{name}:{j}", leg.manifold.spacing_m
                yield Piece(f"{name} jet {j}", here, b, loss=(each.head_m, each.flow_m3_s))
                if j < jets:
                    run_k = fitting_k("tee_run", leg.bore_m)
                    yield Piece(
                        f"{name} to jet {j + 1}", here, f"{name}:{j + 1}", area * spacing, spacing,
                        leg.bore_m, run_k, body=name,
                    )  # fmt: skip
        elif name in plant.pumps:
            pump = plant.pumps[name]
            yield Piece(name, a, b, pump.volume_m3, body=name if pump.zone is not None else None)
        elif name in self.ways:
            yield Piece(name, a, b, loss=tuple(plant.diverters[self.ways[name]].drop))
        else:
            thing = (plant.equipment | plant.heat_sources)[name]
            yield Piece(name, a, b, thing.volume_m3, loss=tuple(thing.drop), body=name)

    def _body(self, name: str, capacity_j_k: float, ua_w_k: float, zone: str) -> None:
        self.bodies[name] = Body(name, capacity_j_k, ua_w_k, zone)

    def _housing(self, name: str, volume_m3: float, zone: str, foam_m: float = 0.0) -> None:
        """A cylinder twice as high as wide in its room: its side a thick pipe, its ends flat."""
        wide_m = (2.0 * volume_m3 / pi) ** (1 / 3)
        skin_m = wide_m + 2.0 * foam_m
        side = log(skin_m / wide_m) / PIPE_FOAM_W_MK + 2.0 / (skin_m * HOUSING_FILM_W_M2K)
        ends = foam_m / PIPE_FOAM_W_MK + 1.0 / HOUSING_FILM_W_M2K
        ua_w_k = 2.0 * pi * 2.0 * wide_m / side + 2.0 * pi / 4.0 * wide_m**2 / ends
        self._body(name, volume_m3 * self.water_j_m3_k, ua_w_k, zone)

    def _pipe_ua(self, leg: object) -> float:
        """W/K of a metre: pipe wall, foam, then air or soil (Incropera's buried cylinder)."""
        bore, outside, foam = leg.bore_m, leg.outside_m, leg.insulation_m
        skin, depth = outside + 2 * foam, self.scenario.place.zones[leg.zone].depth_m
        wall = log(outside / bore) / PIPES[leg.of][0] + log(skin / outside) / PIPE_FOAM_W_MK
        beyond = 2.0 / (skin * PIPE_FILM_W_M2K) if depth is None else acosh(2 * depth / skin) / SOIL_W_MK
        return 2.0 * pi / (wall + beyond)

    @cached_property
    def _beside(self) -> dict[str, float]:
        """Leg in a trench -> its share of what it would lose alone, by the soil that the others warm.

        Of 1 W a metre a pipe warms the soil x beside it by ln(r'/x) / (2 pi k), r' from its image above the
        ground. All are as warm as each other: each is given what drives its heat, and they are gone
        through until none changes (Gauss and Seidel), for as long as they lie side by side.
        """
        found: dict[str, float] = {}
        for trench in self.scenario.plant.trenches.values():
            legs = [self.scenario.plant.legs[n] for n in trench.legs]
            alone = [self._pipe_ua(leg) for leg in legs]
            depth, heats = self.scenario.place.zones[legs[0].zone].depth_m, list(alone)
            for _ in range(200):
                for i, ua in enumerate(alone):
                    warmed = 0.0
                    for j, heat in enumerate(heats):
                        x = trench.spacing_m * abs(i - j)
                        if x:
                            warmed += heat * log(sqrt(x * x + 4 * depth * depth) / x) / (2 * pi * SOIL_W_MK)
                    heats[i] = ua * (1.0 - warmed)
            shared = trench.stated_length_m or min(leg.length_m for leg in legs)
            for name, leg, heat, ua in zip(trench.legs, legs, heats, alone, strict=True):
                jets = leg.manifold
                length = leg.length_m + (jets.spacing_m * (jets.jets - 1) if jets else 0.0)
                found[name] = 1.0 - shared / length * (1.0 - heat / ua)
        return found

    @cached_property
    def tub(self) -> tuple[float, float, float, float, float]:
        """Water and shell [J/K]; W/K water to shell, shell to its zone, water through the cover."""
        tub, shell = self.scenario.plant.tub, self.scenario.plant.tub.shell
        conducts, density, heat = WALLS[shell.of]
        half = shell.wall_m / 2 / conducts
        buried = self.scenario.place.zones[shell.zone].depth_m is not None
        beyond = sqrt(shell.area_m2 / (4 * pi)) / SOIL_W_MK if buried else 1 / OUTSIDE_W_M2K
        cover = tub.cover
        assert cover != "none"
        through = UNDER_COVER_M2K_W + cover.foam_m / FOAM_W_MK + 1 / OUTSIDE_W_M2K
        return (
            tub.volume_m3 * self.water_j_m3_k,
            shell.wall_m * shell.area_m2 * density * heat,
            shell.area_m2 / (1 / WATER_FILM_W_M2K + half),
            shell.area_m2 / (half + shell.insulation_m / FOAM_W_MK + beyond),
            COVER_FIT[cover.fit] * tub.surface_m2 / through,
        )

    @cached_property
    def collectors(self) -> dict[str, Any]:
        """Collectors with a temperature of their own, by name; others are not restated."""
        found = {n: s for n, s in self.scenario.plant.heat_sources.items() if s.kind == "solar"}
        assert all(s.loses_w_k is not None and s.holds_j_k is not None for s in found.values())
        return found

    @cached_property
    def passed(self) -> dict[str, Any]:
        """Those of them through which the tub's water runs."""
        return {n: s for n, s in self.collectors.items() if not s.own_water}

    @cached_property
    def ways(self) -> dict[str, str]:
        """Each way of a diverter -> its diverter."""
        plant = self.scenario.plant
        assert not plant.valves, "only diverters are restated"
        return {way: name for name, diverter in plant.diverters.items() for way in diverter.ways}

    @property
    def usual(self) -> tuple[str, ...]:
        """The position of every diverter when nobody has turned it."""
        return tuple(d.usual for d in self.scenario.plant.diverters.values())

    def shut(self, moves: tuple[str, ...]) -> set[str]:
        """The ways that are shut, *moves* being the speeds of all pumps and then all positions."""
        plant, found = self.scenario.plant, set[str]()
        positions = moves[len(plant.pumps) :]
        for diverter, position in zip(plant.diverters.values(), positions, strict=True):
            found |= set(diverter.ways) - set(diverter.opens[position])
        return found

    @property
    def still(self) -> tuple[str, ...]:
        """The speeds of all pumps when none runs, and diverters as usual."""
        return ("stopped",) * len(self.scenario.plant.pumps) + self.usual

    def alone(self, pump: str, speed: str, positions: tuple[str, ...] | None = None) -> tuple[str, ...]:
        """One pump at a speed, the others stopped; diverters as usual unless said."""
        return self.just({pump: speed}, positions)

    def just(self, running: dict[str, str], positions: tuple[str, ...] | None = None) -> tuple[str, ...]:
        """These pumps at their speeds, the others stopped; diverters as usual unless said."""
        speeds = tuple(running.get(n, "stopped") for n in self.scenario.plant.pumps)
        return speeds + (self.usual if positions is None else positions)

    @cached_property
    def reported(self) -> dict[str, str]:
        """What ages are told of -> its piece: legs, last stretches, housings."""
        found = {}
        for name, leg in self.scenario.plant.legs.items():
            found[name] = name
            if leg.manifold and leg.manifold.jets > 1:
                found[f"{name}, last jet"] = f"{name} to jet {leg.manifold.jets}"
        return found | {n: n for n in (*self.scenario.plant.equipment, *self.scenario.plant.heat_sources)}

    @cached_property
    def loops(self) -> list[list[Piece]]:
        """Pieces that share a node other than the tub."""
        groups: list[tuple[set[str], list[Piece]]] = []
        for piece in self.pieces:
            nodes, mine = {piece.a, piece.b} - {TUB}, [piece]
            for other in [g for g in groups if g[0] & nodes]:
                groups.remove(other)
                nodes |= other[0]
                mine = other[1] + mine
            groups.append((nodes, mine))
        return [pieces for _, pieces in groups]
