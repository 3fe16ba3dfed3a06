"""Rules of the trade about power, put to the test: the size of an element, and of a blower."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache, partial
from math import log, pi

from cyclesim.analysis.air_rules import airline_unprotected
from cyclesim.analysis.supply import Load
from cyclesim.physics.blowing import blown_air
from cyclesim.physics.heat import HOUR_S, TwoNode
from cyclesim.physics.water import density_kg_m3, heat_capacity_j_kg_k
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from tests.evidence.plants import L_MIN, SHIPPED, plant, scenario
from tests.evidence.record import PRACTICE, Check, near

AIR_C, FILL_C, WARM_C = 5.0, 10.0, 38.0


# -- elements -----------------------------------------------------------------------------------------------


def _heat_up_h(litres: float, watts: float) -> float:
    """Hours to fill warm in the walled garden's shell and under its cover, air and soil at 5 degC."""
    node = plant("walled-garden", f"plant.tub.water={litres:.0f} L").tub_node
    two = TwoNode(node.water_j_k, node.shell_j_k, node.g_w_k, node.ua_cover_w_k, node.ua_shell_w_k)
    f_w = watts + node.ua_cover_w_k * AIR_C
    seconds = two.first_crossing(FILL_C, FILL_C, f_w, node.ua_shell_w_k * AIR_C, 1e7, WARM_C, rising=True)
    return seconds / HOUR_S if seconds is not None else float("inf")


def _heat_up_by_hand_h(litres: float, watts: float) -> float:
    """Water and 150 mm of concrete with 50 mm of foam in soil as two lumps, layer by layer, by scipy."""
    from scipy.integrate import solve_ivp

    water = litres / 1000.0 * density_kg_m3(37.0) * heat_capacity_j_kg_k(37.0)
    wall = 0.15 * 7.5 * 2300.0 * 1000.0
    inner = 7.5 / (1.0 / 300.0 + 0.075 / 2.3)
    outer = 7.5 / (0.075 / 2.3 + 0.05 / 0.036 + (7.5 / (4.0 * pi)) ** 0.5 / 1.5)
    cover = 3.1 * 1.2 / (0.10 + 0.060 / 0.036 + 0.04)

    def rates(_: float, at: list[float]) -> list[float]:
        into = inner * (at[0] - at[1])
        return [(watts - into - cover * (at[0] - AIR_C)) / water, (into - outer * (at[1] - AIR_C)) / wall]

    def warm(_: float, at: list[float]) -> float:
        return at[0] - WARM_C

    warm.terminal = True  # type: ignore[attr-defined]
    told = solve_ivp(rates, (0.0, 1e6), [FILL_C, FILL_C], events=warm, rtol=1e-8, atol=1e-8)
    return float(told.t_events[0][0]) / 3600.0


def _most_litres(watts: float, hours: float) -> float:
    """The largest tub that such an element fills warm in so many hours, to 10 L."""
    low, high = 100.0, 6_000.0  # over this surface no tub holds more
    while high - low > 10.0:
        middle = (low + high) / 2.0
        low, high = (middle, high) if _heat_up_h(middle, watts) <= hours else (low, middle)
    return low


def holding_w(name: str, air_c: float, warm_pipes: bool = True) -> float:
    """What keeps a shipped tub at 38 degC under its cover with everything around it at a temperature."""
    node, on = plant(name).tub_node, plant(name)
    shell = node.g_w_k * node.ua_shell_w_k / (node.g_w_k + node.ua_shell_w_k)
    pipes = sum(body.ua_w_k for body in on.bodies) if warm_pipes else 0.0
    return (node.ua_cover_w_k + shell + pipes) * (WARM_C - air_c)


def _amps(watts: float, volts: float, lasting: bool) -> float:
    return Load("element", "on", watts / volts, lasting).counted_a


def _elements() -> str:
    litres = {kw: _most_litres(1000.0 * kw, 24.0) for kw in (2, 3, 4, 5.5)}
    holds = {name: holding_w(name, -10.0) / 1000.0 for name in SHIPPED}
    least, most = min(holds.values()), max(holds.values())
    small, large = _amps(3000.0, 230.0, False), _amps(5500.0, 240.0, True)
    return (
        f"2 to 3 kW in Europe, 4 to 5.5 kW in North America: from 10 to 38 degC within a day they warm up to"
        f" {litres[2]:.0f}, {litres[3]:.0f}, {litres[4]:.0f} and {litres[5.5]:.0f} L. To hold 38 degC"
        f" covered in"
        f" -10 degC with all pipes warm the shipped plants ask for {least:.1f} to {most:.1f} kW. 3 kW draws"
        f" {small:.1f} A, {100 * (small / 13 - 1):.1f} % over a 13 A plug and {100 * small / 16:.0f} % of"
        f" 16 A;"
        f" 5.5 kW counts {large:.1f} A, {100 * large / 30:.0f} % of 30 A. So the supply sets these sizes,"
        f" not the tub:"
        f" above {litres[3]:.0f} L 3 kW takes more than a day, above {litres[5.5]:.0f} L 5.5 kW does."
    )


# -- blowers ------------------------------------------------------------------------------------------------


@cache
def _blown(depth_mm: int, *sets: str) -> tuple[float, float, bool]:
    """Air in L/min, pressure in kPa, and whether the two curves met, at a depth of the holes."""
    on = plant("long-table", f"plant.air.blower.outlets_below_water={depth_mm} mm", *sets)
    found = on.air_duty("blower")
    return found.flow_m3_s * L_MIN, found.pressure_pa / 1000.0, found.why_not is None


def _deepest_mm() -> float:
    """The deepest holes, to 10 mm, at which air still comes."""
    low, high = 10, 300
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if _blown(10 * middle)[0] > 0.0 else (low, middle)
    return 10.0 * low


def _deepest_by_hand_mm() -> float:
    """Water of 36.5 degC that balances 20 kPa."""
    from iapws import IAPWS97

    return 20_000.0 / (float(IAPWS97(T=36.5 + 273.15, P=0.101325).rho) * 9.80665) * 1000.0


def _share_of_power(depth_mm: int) -> float:
    """Isothermal work on the air over the blower's electricity: what no blower can pass is 1."""
    flow, kpa, _ = _blown(depth_mm)
    return 101325.0 * flow / L_MIN * log(1.0 + kpa / 101.325) / 700.0


def _taken_w(air_c: float) -> float:
    return blown_air(_blown(600)[0] / L_MIN, air_c, 0.75, WARM_C).heat_w


def _unprotected(*sets: str) -> float:
    """Litres that the rule about the air line names; 0 where it has nothing to say."""
    told = scenario("long-table", *sets)
    found = list(airline_unprotected(Assembly(told), Programme(told)))
    return sum(float(breach.worst or 0.0) for breach in found)  # type: ignore[union-attr]


BARE = ("plant.air.blower.check_valve=false", "plant.air.blower.loop_above_water=0 mm")


def _blowers() -> str:
    flows = {depth: _blown(depth)[0] for depth in (300, 600, 900)}
    return (
        f"A blower of about 1 hp with a check valve: 700 W (0.94 hp) with 20 kPa at no flow blows"
        f" {flows[300]:.0f},"
        f" {flows[600]:.0f} and {flows[900]:.0f} L/min at 300, 600 and 900 mm of water, and nothing beyond"
        f" {_deepest_mm():.0f} mm: what breaks the rule is depth against the pressure at no flow. At 600 mm"
        f" it takes"
        f" {_taken_w(20.0) / 1000:.1f} kW from the water in air of 20 degC and {_taken_w(0.0) / 1000:.1f}"
        f" kW at 0 degC."
        f" Without valve and loop {_unprotected(*BARE):.1f} L stand where water can"
        " run to the blower; with either the rule is silent."
    )


def checks() -> Iterator[Check]:
    """Elements and blowers."""
    for kw, litres in ((2.0, 1000.0), (3.0, 1600.0), (4.0, 1600.0), (5.5, 2500.0)):
        region = "2 to 3 kW, Europe" if kw < 4 else "4 to 5.5 kW, North America"
        yield near(
            f"element-{kw:g}",
            "practice",
            "hours from 10 to 38 degC",
            f"{litres:.0f} L, {kw:g} kW, around it 5 degC",
            "h",
            partial(_heat_up_by_hand_h, litres, 1000.0 * kw),
            partial(_heat_up_h, litres, 1000.0 * kw),
            0.001,
            f"{region}, of the trade; water and wall as two lumps by scipy",
            PRACTICE,
            conclusion=_elements if kw == 5.5 else None,
        )
    for name in SHIPPED:
        heat = sum(
            sheet.output_w if sheet.kind in ("electric", "boiler") else min(p.output_w for p in sheet.rated)
            for sheet in plant(name).sheet.heat_sources.values()
        )  # type: ignore[union-attr, unused-ignore]
        yield near(
            f"holding-{name}",
            "practice",
            "power that holds 38 degC at -10 degC",
            f"{name}, covered, all pipes warm",
            "W",
            f"{heat:.0f}",
            partial(holding_w, name, -10.0),
            0.0,
            "an element holds what it can heat, of the trade; the plant's own sources",
            PRACTICE,
            how="at most",
        )
    yield near(
        "blower-deepest",
        "practice",
        "deepest holes that still blow",
        "long-table, 20 kPa at no flow",
        "mm",
        _deepest_by_hand_mm,
        _deepest_mm,
        10.0,
        "about 1 hp, of the trade; water column by IAPWS-IF97",
        PRACTICE,
        relative=False,
    )
    for depth in (300, 600, 900):
        yield near(
            f"blower-work-{depth}",
            "practice",
            "work on the air over electricity",
            f"long-table, {depth} mm",
            "",
            "1",
            partial(_share_of_power, depth),
            0.0,
            "first law; isothermal work",
            "arithmetic",
            how="at most",
        )
    yield near(
        "blower-unprotected",
        "practice",
        "litres the rule names without valve and loop",
        "3 m of 50 PN10",
        "L",
        "4.81",
        partial(_unprotected, *BARE),
        0.001,
        "a blower has a check valve, of the trade; pi/4 d2 L",
        PRACTICE,
        conclusion=_blowers,
    )
    yield near(
        "blower-protected",
        "practice",
        "the same with the valve",
        "as shipped",
        "L",
        "0",
        _unprotected,
        0.0,
        "a blower has a check valve, of the trade",
        PRACTICE,
        relative=False,
    )
