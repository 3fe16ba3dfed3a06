"""Heat sources' own water behind plate exchangers, written again from what the format says of its keys.

Two stirred bodies, in the source and in the rest of the circuit, that exchange so much while the circulator
runs that they are one. What plates pass by the effectiveness of counterflow as heat-transfer texts print it
(Incropera and DeWitt, table 11.3); UA of a rating by bisection; a circulator's flow where its parabola meets
the circuit's drop. A share of propylene glycol takes a fifth of itself off the heat capacity of a litre.
"""

from dataclasses import dataclass
from math import exp, pi

from iapws import IAPWS97
from scipy.optimize import brentq

from cyclesim.scenario.blocks.model import Scenario

ONE_W_K = 2e5
"""What the two bodies exchange while they are turned: 18 kW part them by less than 0.1 K."""
GLYCOL_HEAT, HOUSING_FILM_W_M2K = 0.2, 8.0
_HOT = IAPWS97(T=323.15, P=0.101325)
WATER_J_M3_K = _HOT.rho * _HOT.cp * 1000.0


def effectiveness(ntu: float, ratio: float) -> float:
    """Of counterflow."""
    if abs(1.0 - ratio) < 1e-9:
        return ntu / (1.0 + ntu)
    gone = exp(-ntu * (1.0 - ratio))
    return (1.0 - gone) / (1.0 - ratio * gone)


def passed_w_k(ua: float, a: float, b: float) -> float:
    """Heat per kelvin between the inlets of two flows [W/K]."""
    least, most = min(a, b), max(a, b)
    return least * effectiveness(ua / least, least / most) if least > 0.0 else 0.0


@dataclass
class Own:
    """One source's: capacities [J/K] and losses [W/K] of its two bodies, its zone, what plates pass."""

    source: str
    circulator: str
    zone: str
    capacity_j_k: tuple[float, float]
    ua_w_k: tuple[float, float]
    flow_w_k: float
    plates_w_k: float
    starts_c: float
    stops_c: float

    @classmethod
    def of(cls, scenario: Scenario, source: str, tub_j_m3_k: float) -> "Own":
        """As its sheets say."""
        sheet = scenario.plant.heat_sources[source]
        own, pump = sheet.own_water, scenario.plant.circulators[sheet.own_water.circulator]
        per_m3 = WATER_J_M3_K * (1.0 - GLYCOL_HEAT * own.glycol)
        parts = own.in_source_m3, own.volume_m3 - own.in_source_m3
        wide = [(2.0 * v / pi) ** (1 / 3) for v in parts]
        flow = pump.flow_m3_s
        if flow is None:
            head, at = own.drop
            flow = brentq(
                lambda q: pump.max_head_m * (1.0 - (q / pump.max_flow_m3_s) ** 2) - head * (q / at) ** 2,
                1e-9, pump.max_flow_m3_s,
            )  # fmt: skip
        held, lost = [v * per_m3 for v in parts], [HOUSING_FILM_W_M2K * 2.5 * pi * w**2 for w in wide]
        starts_c, stops_c = -999.0, 9999.0
        if sheet.kind == "solar":  # they lose and hold what their sheet says; what steers them reads them
            held[0], lost[0] = held[0] + sheet.holds_j_k, sheet.loses_w_k
        else:
            starts_c, stops_c = own.thermostat.starts_below_c, own.thermostat.stops_above_c
        plates = own.exchanger.ua_w_k
        if plates is None:
            r = own.exchanger.rated
            hot, cold = tub_j_m3_k * r.hot_flow_m3_s, tub_j_m3_k * r.cold_flow_m3_s
            apart = r.hot_in_c - r.cold_in_c
            plates = brentq(lambda ua: apart * passed_w_k(ua, hot, cold) - r.output_w, 1.0, 1e6)
        return cls(
            source,
            own.circulator,
            own.stated_zone or sheet.zone,
            (held[0], held[1]),
            (lost[0], lost[1]),
            flow * per_m3,
            plates,
            starts_c,
            stops_c,
        )

    def passes_w_k(self, tub_flow_w_k: float) -> float:
        """What goes over per kelvin with this heat capacity flow at the tub's side."""
        return passed_w_k(self.plates_w_k, self.flow_w_k, tub_flow_w_k)
