"""Flows of a combination of pump speeds: every head and flow at once, by scipy's root finder."""

from collections.abc import Callable
from math import pi

import numpy as np
from fluids.friction import friction_factor
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq, root

from tests.wholes.plant import G_M_S2, TUB, Layout, Piece

ROUGH_M = 1.5e-6
Curve = Callable[[float], float]


def friction(reynolds: float, rough: float) -> float:
    """Darcy's factor: 64/Re, fluids' from 4000, a straight line between them from 2300."""
    if reynolds < 2300.0:
        return 64.0 / max(reynolds, 1e-9)
    turbulent = friction_factor(Re=max(reynolds, 4000.0), eD=rough)
    share = min(1.0, (reynolds - 2300.0) / 1700.0)
    return (1.0 - share) * 64.0 / 2300.0 + share * turbulent


def curve_of(points: list[tuple[float, float]]) -> Curve:
    """scipy's monotone cubic through a sheet's points, straight on beyond the last."""
    q, h = (np.array(x) for x in zip(*points, strict=True))
    cubic = PchipInterpolator(q, h)
    end = float(cubic.derivative()(q[-1]))

    def head(flow: float) -> float:
        return float(cubic(flow)) if flow <= q[-1] else float(h[-1]) + end * (flow - q[-1])

    return head


def pump_curves(layout: Layout) -> dict[tuple[str, str], Curve]:
    """Head over flow of each pump at each speed; a share of speed by the affinity laws."""
    found: dict[tuple[str, str], Curve] = {}
    for name, pump in layout.scenario.plant.pumps.items():
        full: Curve | None = None
        speeds = sorted(pump.speeds.items(), key=lambda kv: kv[1].share_of_speed is not None)
        for speed, sheet in speeds:
            if sheet.share_of_speed is not None:
                assert full is not None
                r, of = sheet.share_of_speed, full
                found[name, speed] = lambda q, r=r, of=of: r * r * of(q / r)
            elif sheet.curve:
                full = found[name, speed] = curve_of(list(sheet.curve))
            else:
                most, far = sheet.max_head_m or 0.0, sheet.max_flow_m3_s or 1.0
                full = found[name, speed] = lambda q, m=most, f=far: m * (1.0 - (q / f) ** 2)
    return found


class Hydraulics:
    """Flows by combination of speeds and positions, solved when first asked for."""

    def __init__(self, layout: Layout) -> None:
        self.layout, self.curves = layout, pump_curves(layout)
        self._known: dict[tuple[str, ...], dict[str, float]] = {}

    def flows(self, moves: tuple[str, ...]) -> dict[str, float]:
        """Flow [m3/s] through every piece; the speeds of all pumps, then the positions of all diverters."""
        if moves not in self._known:
            pumps, ways = self.layout.scenario.plant.pumps, self.layout.shut(moves)
            by = dict(zip(pumps, moves[: len(pumps)], strict=True))
            found = {p.name: 0.0 for p in self.layout.pieces}
            for loop in self.layout.loops:
                found |= self._loop([p for p in loop if p.name not in ways], by)
            self._known[moves] = found
        return self._known[moves]

    def _loop(self, loop: list[Piece], by: dict[str, str]) -> dict[str, float]:
        pumps = self.layout.scenario.plant.pumps
        shut = {p.name for p in loop if p.name in pumps and by[p.name] == "stopped"}
        if all(p.name in shut for p in loop if p.name in pumps):
            return {}
        # a standing pump behind a check valve passes nothing backwards; what it would pass forwards is
        # looked at below, by the heads at its ends
        for name in shut:
            assert pumps[name].check_valve, f"{name} stands in a loop that another drives, without a valve"
        open_ = [p for p in loop if p.name not in shut]
        moved = self._through(self._driven(open_, {p.name for p in open_ if p.name in pumps}))
        assert all(p in moved for p in open_ if p.name in pumps), "a pump against a shut way"
        flows, heads = self._solve(moved, by)
        for p in loop:
            if p.name in shut:  # tub level is 0; what nothing drives stands at it
                assert heads.get(p.a, 0.0) <= heads.get(p.b, 0.0), f"{p.name} would be pushed through"
        return flows

    @staticmethod
    def _through(pieces: list[Piece]) -> list[Piece]:
        """Without those that end blind, before or behind a way that is shut."""
        while True:
            begins, ends = {p.a for p in pieces} | {TUB}, {p.b for p in pieces} | {TUB}
            kept = [p for p in pieces if p.a in ends and p.b in begins]
            if len(kept) == len(pieces):
                return kept
            pieces = kept

    @staticmethod
    def _driven(pieces: list[Piece], pumps: set[str]) -> list[Piece]:
        """Those that share a node, the tub apart, with a running pump."""
        left, found = list(pieces), [p for p in pieces if p.name in pumps]
        nodes = {n for p in found for n in (p.a, p.b)} - {TUB}
        while more := [p for p in left if p not in found and {p.a, p.b} & nodes]:
            found += more
            nodes |= {n for p in more for n in (p.a, p.b)} - {TUB}
        return [p for p in pieces if p in found]

    def _solve(self, pieces: list[Piece], by: dict[str, str]) -> tuple[dict[str, float], dict[str, float]]:
        nodes = sorted({n for p in pieces for n in (p.a, p.b)} - {TUB})
        at, n = {node: i for i, node in enumerate(nodes)}, len(pieces)
        incidence = np.zeros((len(nodes), n))
        for k, p in enumerate(pieces):
            if p.a != TUB:
                incidence[at[p.a], k] -= 1.0
            if p.b != TUB:
                incidence[at[p.b], k] += 1.0

        def unbalance(x: np.ndarray) -> np.ndarray:
            q, h = x[:n] * 1e-3, x[n:]
            lost = np.array([self.lost(p, f, by) for p, f in zip(pieces, q, strict=True)])
            return np.concatenate([lost + incidence.T @ h, incidence @ x[:n]])

        # as a start: every piece a linear resistance, each pump its head at a usual flow
        ends = [self.layout.scenario.plant.pumps[p.name].max_flow_m3_s for p in pieces if p.name in by]
        usual = min([1e-3, *(0.5 * end for end in ends if end is not None)])
        start = np.zeros((n + len(nodes), n + len(nodes)))
        right = np.zeros(n + len(nodes))
        for k, p in enumerate(pieces):
            is_pump = p.name in by
            start[k, k] = 0.05 if is_pump else max(self.lost(p, usual, by), 1e-3)
            right[k] = -self.lost(p, usual, by) if is_pump else 0.0
        start[:n, n:], start[n:, :n] = incidence.T, incidence
        x = np.linalg.solve(start, right)
        found = root(unbalance, x, method="hybr", options={"xtol": 1e-13, "maxfev": 200_000})
        assert np.abs(found.fun).max() < 1e-7, found.message
        q = found.x[:n] * 1e-3
        assert q.min() > 0.0, "water runs backwards somewhere"
        return (
            {p.name: float(f) for p, f in zip(pieces, q, strict=True)},
            dict(zip(nodes, found.x[n:].tolist(), strict=True)),
        )

    def lost(self, p: Piece, q: float, by: dict[str, str]) -> float:
        """Head [m] lost from a to b."""
        if p.loss is not None:
            return p.loss[0] * q * abs(q) / p.loss[1] ** 2
        if p.name in by:
            return -self.curves[p.name, by[p.name]](q)
        speed = q / (pi / 4 * p.bore_m**2)
        reynolds = abs(speed) * p.bore_m / self.layout.viscosity_m2_s
        factor = friction(reynolds, ROUGH_M / p.bore_m)
        return (factor * p.length_m / p.bore_m + p.k) * speed * abs(speed) / (2 * G_M_S2)


def blower_flow(layout: Layout, name: str) -> float:
    """Air [m3/s at the intake] where a blower's curve meets depth and pipe; air at 40 degC in the pipe."""
    sheet = layout.scenario.plant.air[name]
    if sheet.delivers_m3_s is not None:
        return sheet.delivers_m3_s
    from tests.wholes.plant import fitting_k

    give = curve_of(list(sheet.curve or ()))
    depth_pa = layout.density_kg_m3 * G_M_S2 * sheet.outlets_below_water_m
    k = sum(n * fitting_k(f, sheet.bore_m) for f, n in sheet.fittings.items())
    dense = (101325.0 + depth_pa) / (287.042 * 313.15)
    viscosity = 1.716e-5 * (313.15 / 273.15) ** 1.5 * (273.15 + 110.4) / (313.15 + 110.4)

    def over(q: float) -> float:
        speed = q * 101325.0 / (287.042 * 293.15) / (dense * pi / 4 * sheet.bore_m**2)
        f = friction(dense * speed * sheet.bore_m / viscosity, ROUGH_M / sheet.bore_m)
        along = f * (sheet.length_m + 2 * sheet.loop_above_water_m) / sheet.bore_m
        holes_pa = 0.0  # each a hole: mass flow squared over density, from its sheet's point in free air
        if sheet.injectors and sheet.each:
            share = q / (sheet.injectors * sheet.each.flow_m3_s)
            holes_pa = sheet.each.head_m * 9806.65 * share**2 * 101325.0 / (287.042 * 293.15) / dense
        return give(q) * 9806.65 - depth_pa - (along + k) * dense * speed**2 / 2 - holes_pa

    last = (sheet.curve or ())[-1][0]
    return last if over(last) > 0 else float(brentq(over, 1e-9, last, xtol=1e-12))
