"""Bad days: the filter clogs, a sensor reads wrong."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache, partial
from math import log10, pi

from cyclesim.analysis.result import Result
from tests.evidence.plants import L_MIN, duty, plant, run
from tests.evidence.record import ARITHMETIC, SECOND_HAND, Check, near


def _listed(names: list[str]) -> str:
    return ", ".join(names) or "none"


# -- a filter that clogs ----------------------------------------------------------------------------------

PAIR, CLEAN_M = "walled-garden-circulator", 1.0


def _clogged(factor: float) -> tuple[str, ...]:
    return (f"plant.equipment.filter.drop={CLEAN_M * factor:.6f} m at 400 L/min",)


def _share_left(name: str, factor: float) -> float:
    on, as_new = plant(name, *_clogged(factor)), plant(name)
    at = {"circulator": "on"} if name == PAIR else {"main": "low"}
    return duty(on, **at).filtered_m3_s / duty(as_new, **at).filtered_m3_s


@cache
def _halving(name: str) -> float:
    """The factor on the filter's drop at which its flow is half."""
    low, high = 1.0, 1000.0
    while high / low > 1.0005:
        middle = (low * high) ** 0.5
        low, high = (middle, high) if _share_left(name, middle) > 0.5 else (low, middle)
    return low


def _halving_by_hand() -> float:
    """The circulator's parabola at half the flow, less what the pipes still take, over what the filter took.

    What the pipes take is the rest of the pump's head as new, and falls with the flow's 1.77th power where it
    is friction and the square where it is fittings: by the share of each.
    """
    flow = duty(plant(PAIR), circulator="on").flow_m3_s("circulator")
    head = 6.0 * (1.0 - (flow * L_MIN / 150.0) ** 2)
    filtered = CLEAN_M * (flow * L_MIN / 400.0) ** 2
    element = 0.3 * (flow * L_MIN / 400.0) ** 2
    fittings = _fittings_m(flow)
    friction = head - filtered - element - fittings
    at_half = 6.0 * (1.0 - (flow * L_MIN / 300.0) ** 2)
    rest = friction / 2.0**1.77 + (fittings + element) / 4.0
    return (at_half - rest) / (filtered / 4.0)


def _fittings_m(flow: float) -> float:
    """Both legs' fittings (entrance, 10 elbows, exit) by the handbook's fT of a fully rough 45 mm pipe."""
    factor = 0.25 / log10(0.0018 * 0.0254 / 0.0452 / 3.7) ** 2
    k = 0.5 + 1.0 + 10 * 30.0 * factor
    return float(k * (flow / (pi / 4.0 * 0.0452**2)) ** 2 / (2.0 * 9.80665))


@cache
def _clogged_year(name: str) -> Result:
    return run(name, *_clogged(_halving(name)))


def _turnover_ratio() -> float:
    return _clogged_year(PAIR).metrics.tub.turnovers_per_day / run(PAIR).metrics.tub.turnovers_per_day


def _clogging() -> str:
    told = []
    for name, legs in ((PAIR, ("drain", "return")), ("walled-garden", ("left_bench", "right_bench"))):
        new, old = run(name).metrics, _clogged_year(name).metrics
        at = {"circulator": "on"} if name == PAIR else {"main": "low"}
        flow = L_MIN * duty(plant(name, *_clogged(_halving(name))), **at).flow_m3_s("element")
        rules = sorted({x.rule for x in _clogged_year(name).findings})
        ages = [max(m.legs[leg].oldest_water_h or 0.0 for leg in legs) for m in (new, old)]
        told.append(
            f"{name} at {_halving(name):.0f} times the drop: the element gets {flow:.0f} of the 60 L/min it"
            f" needs,"
            f" turnovers fall from {new.tub.turnovers_per_day:.0f} to {old.tub.turnovers_per_day:.0f} a"
            f" day, the oldest"
            f" water of {' and '.join(legs)} goes from {ages[0]:.1f} to {ages[1]:.1f} h; rules broken:"
            f" {_listed(rules)}"
        )
    return "A filter that clogs until its flow is half. " + ". ".join(told) + "."


# -- a sensor 2 K off -------------------------------------------------------------------------------------


def _kept(shift_k: float) -> Result:
    """The walled garden with water that is so much warmer than its sensor says."""
    return run("walled-garden", f"schedule.heating.keep_at={37 + shift_k:g} degC")


def _lost_kwh(result: Result) -> float:
    tub = result.metrics.tub
    return tub.lost_through_cover_kwh + tub.lost_through_shell_kwh


def _lost_ratio(shift_k: float) -> float:
    return _lost_kwh(_kept(shift_k)) / _lost_kwh(_kept(0.0))


def _ratio_by_hand(shift_k: float) -> float:
    """Both zones have the year's mean air of 15 degC: the loss goes with the water's height over that."""
    return (36.5 + shift_k - 15.0) / (36.5 - 15.0)


def _trips(keep_c: float) -> float:
    """Whether bathers in water 2 K above what the sensor says break the rule (1) or not (0).

    A limit 2 K lower stands for water 2 K warmer: a file may not ask for more than 40 degC.
    """
    sets = (f"schedule.heating.keep_at={keep_c:g} degC", "schedule.heating.plan=null")
    told = run("high-valley", *sets, "limits.bathing_temperature=38 degC", days=60)
    return float(any(finding.rule == "water-too-hot" for finding in told.findings))


def _sensor() -> str:
    costs = {k: _kept(k).metrics.energy for k in (-2.0, 0.0, 2.0)}
    base = costs[0.0]
    rules = {k: sorted({x.rule for x in _kept(k).findings}) for k in (-2.0, 2.0)}
    return (
        f"A sensor 2 K off: reading low it makes the walled garden {_kept(2.0).metrics.tub.mean_c:.1f} degC"
        f" in place of"
        f" {_kept(0.0).metrics.tub.mean_c:.1f} on the mean and costs"
        f" {100 * (costs[2.0].cost / base.cost - 1):+.0f} %"
        f" ({costs[2.0].cost - base.cost:+.0f} {base.currency} a year; rules broken:"
        f" {_listed(rules[2.0])}); reading high"
        f" {100 * (costs[-2.0].cost / base.cost - 1):+.0f} % (rules broken: {_listed(rules[-2.0])}). The"
        f" limit of"
        f" 40 degC for bathers is {'broken' if _trips(39.0) else 'kept'} by a plant set to 39 degC and"
        f" {'broken' if _trips(37.5) else 'kept'} by one set to 37.5."
    )


def checks() -> Iterator[Check]:
    """A filter and a sensor."""
    yield near(
        "clogged-factor",
        "bad-days",
        "factor on the filter's drop that halves its flow",
        PAIR,
        "",
        _halving_by_hand,
        partial(_halving, PAIR),
        0.02,
        "pump's parabola and pipes at half the flow by hand",
        ARITHMETIC,
    )
    yield near(
        "clogged-turnovers",
        "bad-days",
        "turnovers at half the flow over those as new",
        PAIR,
        "",
        "0.5",
        _turnover_ratio,
        0.05,
        "time of filtering hardly changes: half the flow, half the turnovers",
        ARITHMETIC,
        conclusion=_clogging,
        slow=True,
    )
    for shift in (2.0, -2.0):
        yield near(
            f"sensor-{shift:+g}",
            "bad-days",
            "heat lost by tub and cover over that at 37 degC",
            f"walled-garden, water {shift:+g} K",
            "",
            partial(_ratio_by_hand, shift),
            partial(_lost_ratio, shift),
            0.01,
            "loss goes with the height over the year's mean air",
            ARITHMETIC,
            conclusion=_sensor if shift < 0 else None,
        )
    for keep, says in ((37.5, "0"), (39.0, "1")):
        yield near(
            f"sensor-rule-{keep:g}",
            "bad-days",
            "water-too-hot is broken (1) or not (0)",
            f"high-valley set to {keep:g}, sensor 2 K low",
            "",
            says,
            partial(_trips, keep),
            0.0,
            "limit for bathers 40 degC: New York 6-1.25",
            SECOND_HAND,
            relative=False,
        )
