"""Parts: heating up, cooling down, heaters without flow, and heat pumps beside Carnot."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import partial

from cyclesim.physics.heat import HOUR_S, TwoNode
from cyclesim.physics.sources import HeatPumpRating, RatedPoint
from cyclesim.physics.water import density_kg_m3, heat_capacity_j_kg_k
from cyclesim.simulation.exchanges import rated
from tests.evidence.plants import plant
from tests.evidence.record import ARITHMETIC, PRACTICE, Check, computed, near
from tests.evidence.small import tight_heater

SHEET = HeatPumpRating.from_points([RatedPoint(7.0, 35.0, 7500.0, 4.1)], lowest_air_c=-25.0)


def _tub(ua_w_k: float = 0.0) -> TwoNode:
    """1500 L measured at 10 degC, by cyclesim's density and its heat capacity halfway up."""
    return TwoNode(1.5 * density_kg_m3(10.0) * heat_capacity_j_kg_k(24.0), 0.0, 0.0, ua_w_k, 0.0)


def _h(node: TwoNode, start: float, heat_w: float, end: float) -> float:
    seconds = node.first_crossing(start, start, heat_w, 0.0, 1e7, end, rising=end > start)
    assert seconds is not None
    return seconds / HOUR_S


def _steam_table_kwh() -> float:
    from iapws import IAPWS97

    cold, warm = (IAPWS97(T=t + 273.15, P=0.101325) for t in (10.0, 38.0))
    return float(1.5 * cold.rho * (warm.h - cold.h) / 3600.0)


def _trapped_s(litres: float) -> float:
    node = TwoNode(litres / 1000.0 * density_kg_m3(38.0) * heat_capacity_j_kg_k(49.0), 0.0, 0.0, 0.0, 0.0)
    return _h(node, 38.0, 3000.0, 60.0) * HOUR_S


def carnot(air_c: float, water_c: float) -> float:
    """The most heat per work between two temperatures."""
    return (water_c + 273.15) / (water_c - air_c)


def _shipped() -> HeatPumpRating:
    return rated(plant("high-valley").sheet.heat_sources["heat_pump"])  # type: ignore[arg-type]


def _largest_share_of_carnot() -> float:
    """Over a grid of air and water and every heat pump that is shipped, and a bare one-point sheet."""
    pumps = [_shipped(), SHEET]
    return max(
        pump.cop(air, water) / carnot(air, water)
        for pump in pumps
        for air in range(-25, 36)
        for water in range(10, 46)
        if water > air
    )


def _least_rise() -> float:
    """How much the COP gains with a kelvin of air, at the least."""
    return min(SHEET.cop(air + 1.0, 38.0) - SHEET.cop(float(air), 38.0) for air in range(-25, 36))


def checks() -> Iterator[Check]:
    """Heat in and out."""
    yield near(
        "heat-up-kwh",
        "parts",
        "energy from 10 to 38 degC",
        "1500 L measured at 10 degC (1510.2 L at 38), size heater, 3 kW",
        "kWh",
        _steam_table_kwh,
        lambda: 3.0 * tight_heater().without_losses_s / HOUR_S,
        0.003,
        "IAPWS-IF97",
        computed("iapws"),
    )
    yield near(
        "heat-up-h",
        "parts",
        "time from 10 to 38 degC",
        "the same, run, zones at 24 degC",
        "h",
        lambda: _steam_table_kwh() / 3.0,
        lambda: (tight_heater().filled_coldest_s or math.inf) / HOUR_S,
        0.01,
        "IAPWS-IF97",
        computed("iapws"),
    )
    yield near(
        "heat-up-constants",
        "parts",
        "energy from 10 to 38 degC",
        "1000 kg/m3, 4.186 kJ/(kg K)",
        "kWh",
        "48.84",
        lambda: 3.0 * _h(TwoNode(1500.0 * 4186.0, 0.0, 0.0, 0.0, 0.0), 10.0, 3000.0, 38.0),
        1e-4,
        "mass x heat capacity x rise",
        ARITHMETIC,
    )
    yield near(
        "cool-down",
        "parts",
        "time from 38 to 36 degC",
        "1500 L, 10 W/K, air 5 degC",
        "h",
        "10.90",
        lambda: _h(_tub(10.0), 38.0, 50.0, 36.0),
        0.003,
        "Newton's law, water by IAPWS-IF97, worked apart",
        ARITHMETIC,
    )
    for litres, says in ((1.0, "30.7"), (0.5, "15.3")):
        yield near(
            f"no-flow-{litres:g}",
            "parts",
            "element without flow, 38 to 60 degC",
            f"3 kW, {litres:g} L trapped",
            "s",
            says,
            partial(_trapped_s, litres),
            0.01,
            "mass x heat capacity x rise",
            ARITHMETIC,
        )
    for flow, says in ((1, "2.603"), (2, "1.301"), (4, "0.651"), (8, "0.325")):
        yield near(
            f"rise-{flow}",
            "parts",
            "rise through a 3 kW heater",
            f"{flow} m3/h at 38 degC",
            "K",
            says,
            lambda flow=flow: 3000.0 / (density_kg_m3(38.0) * heat_capacity_j_kg_k(38.0) * flow / 3600.0),
            0.002,
            "power over heat flow, worked apart with CoolProp 8.0.0",
            ARITHMETIC,
        )
    yield near(
        "below-carnot",
        "parts",
        "largest share of Carnot's COP",
        "air -25 to 35, water 10 to 45 degC, two data sheets",
        "",
        "1",
        _largest_share_of_carnot,
        0.0,
        "second law",
        ARITHMETIC,
        how="at most",
    )
    yield near(
        "cop-rises",
        "parts",
        "least gain of COP with a kelvin of air",
        "water 38 degC, air -25 to 35 degC",
        "1/K",
        "0",
        _least_rise,
        0.0,
        "a smaller lift asks for no more work",
        ARITHMETIC,
        relative=False,
        how="at least",
    )
    for water, low, high in ((35, "3.85", "4.95"), (40, "3.32", "4.27")):
        for says, how in ((low, "at least"), (high, "at most")):
            yield near(
                f"plausible-{water}-{how.replace(' ', '-')}",
                "parts",
                f"COP of one rated 4.1 at 7/35, {how}",
                f"air 7, water {water} degC",
                "",
                says,
                lambda w=water: SHEET.cop(7.0, float(w)),
                0.0,
                "0.35 to 0.45 of Carnot",
                PRACTICE,
                how=how,  # type: ignore[arg-type]
            )
    for air, cop in ((-15, "2.0"), (-7, "2.6"), (7, "4.1"), (20, "5.3")):
        yield near(
            f"rated-cop-{air}",
            "parts",
            "COP at a rated point",
            f"high-valley, air {air}, water 35 degC",
            "",
            cop,
            lambda a=air: _shipped().cop(float(a), 35.0),
            0.01,
            "the plant's own data sheet",
            ARITHMETIC,
        )
    for what, unit, says, ours in (
        ("COP", "", "3.35", lambda: _shipped().cop(0.0, 35.0)),
        ("output", "W", "6350", lambda: _shipped().output_w(0.0, 35.0)),
    ):
        yield near(
            f"between-points-{what.lower()}",
            "parts",
            f"{what} between two rated points",
            "high-valley, air 0, water 35 degC",
            unit,
            says,
            ours,
            0.15,  # the spread that the report itself gives for its model
            "a straight line between the sheet's -7 and 7 degC",
            PRACTICE,
        )
