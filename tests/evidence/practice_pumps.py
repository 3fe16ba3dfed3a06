"""A saying of the trade that is wrong as often told: two pumps in series for more jets."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache, partial

from tests.evidence.plants import L_MIN, duty, plant
from tests.evidence.practice_flow import BOTH, PAIR, most_jets, with_jets
from tests.evidence.record import ARITHMETIC, PRACTICE, Check, near

_JETS = "[[0 L/min, 15 m], [250 L/min, 13 m], [460 L/min, 9.3 m], [600 L/min, 5 m]]"
_SECOND = f"plant.pumps.second={{curve: {_JETS}, power: 1.6 kW, current: 7.4 A}}"
_SUCTION, _OUT = "{parallel: [suction_left, suction_right]}", "{parallel: [left_bench, right_bench]}"
SERIES = (_SECOND, f"plant.network.1=[tub, {_SUCTION}, jets, second, {_OUT}, tub]")
PARALLEL = (_SECOND, f"plant.network.1=[tub, {_SUCTION}, {{parallel: [jets, second]}}, {_OUT}, tub]")


def _total_l_min(way: tuple[str, ...], each_leg: int) -> float:
    """All jets' flow with two pumps one way or the other."""
    found = duty(with_jets(each_leg, *way), jets="on", second="on")
    return L_MIN * sum(found.flow_m3_s(leg) for leg in BOTH)


def _one_l_min(each_leg: int, sets: tuple[str, ...] = ()) -> float:
    found = duty(with_jets(each_leg, *sets), jets="on")
    return L_MIN * found.flow_m3_s("jets")


def _by_composite(series: bool, each_leg: int) -> float:
    """Two pumps by adding heads or flows, on a system that is quadratic through one pump's duty."""
    from scipy.interpolate import PchipInterpolator
    from scipy.optimize import brentq

    flows, heads = (0.0, 250.0, 460.0, 600.0), (15.0, 13.0, 9.3, 5.0)
    curve, steep = PchipInterpolator(flows, heads), float(PchipInterpolator(flows, heads).derivative()(600.0))

    def pump(q: float) -> float:
        return float(curve(q)) if q <= 600.0 else 5.0 + steep * (q - 600.0)

    one = _one_l_min(each_leg)
    k = pump(one) / one**2
    head = (lambda q: 2.0 * pump(q)) if series else (lambda q: pump(q / 2.0))
    return float(brentq(lambda q: head(q) - k * q * q, one / 2.0, 2.2 * one))


@cache
def _crossing_m() -> float | None:
    """The length of both 63 PN10 legs, with 12 jets, beyond which series gives more than parallel."""
    for metres in range(5, 300, 5):
        sets = tuple(f"plant.legs.{leg}.length={metres} m" for leg in BOTH)
        flows = {
            way: L_MIN * duty(plant(PAIR, *way, *sets), jets="on", second="on").flow_m3_s("left_bench")
            for way in (SERIES, PARALLEL)
        }
        if flows[SERIES] > flows[PARALLEL]:
            return float(metres)
    return None


def _two_pumps() -> str:
    each = {n: (_total_l_min(SERIES, n // 2), _total_l_min(PARALLEL, n // 2)) for n in (12, 24)}
    one = most_jets(jets="on")
    series, parallel = (most_jets(*way, jets="on", second="on") for way in (SERIES, PARALLEL))
    where = _crossing_m()
    crossing = f"from legs of {where:g} m on" if where else "not even with legs of 295 m"
    return (
        f"'Two pumps in series for more jets' is told the wrong way round: of one pump's {one} jets (the"
        f" last at three"
        f" quarters or more), two in series feed {series} and two in parallel {parallel}. With 24 jets"
        f" series moves"
        f" {each[24][0]:.0f} L/min, parallel {each[24][1]:.0f}; with 12, {each[12][0]:.0f} and"
        f" {each[12][1]:.0f}."
        f" Series adds head: with 12 jets it moves more than parallel {crossing}."
    )


def checks() -> Iterator[Check]:
    """Two pumps either way."""
    for way, series in (("series", True), ("parallel", False)):
        for count in (12, 24):
            yield near(
                f"two-pumps-{way}-{count}",
                "practice",
                f"flow of two pumps in {way}",
                f"{PAIR}, {count} jets",
                "L/min",
                partial(_by_composite, series, count // 2),
                partial(_total_l_min, SERIES if series else PARALLEL, count // 2),
                0.02,
                f"{'heads' if series else 'flows'} of two curves added, quadratic system",
                ARITHMETIC,
            )
    yield near(
        "two-pumps-more-jets",
        "practice",
        "jets of two pumps in parallel over series",
        "the last at 75 % or more",
        "",
        "1",
        lambda: most_jets(*PARALLEL, jets="on", second="on") / most_jets(*SERIES, jets="on", second="on"),
        0.0,
        "'series for more jets', of the trade, and wrong",
        PRACTICE,
        how="at least",
        conclusion=_two_pumps,
    )
