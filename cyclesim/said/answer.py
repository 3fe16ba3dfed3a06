"""The answer of a run before all details: verdict, worst findings, promises, money, the largest loss of heat.

Plain data, for the terminal, for pages and for papers alike.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cyclesim.analysis.findings import Finding
from cyclesim.analysis.metrics import Metrics, PromisesMetrics, TubMetrics
from cyclesim.analysis.people_rules import TOO_HOT_K
from cyclesim.said.care_tables import refills_said
from cyclesim.said.page import Page, Tone
from cyclesim.said.verdict import FIRST_SHOWN, Trials, alike, say_first, verdict
from cyclesim.said.wiring_tables import until_somebody_comes
from cyclesim.said.words import count, hours, number, when

if TYPE_CHECKING:
    from cyclesim.analysis.result import Result
    from cyclesim.decide.ranges.confidence import Confidence

_A_YEAR = (365, 366)
_HARDLY_K = 1.0
"""Water no warmer than this has not been kept from freezing with any margin; common practice, no source."""
_NAMES = 16
"""How wide the names of promises are."""


@dataclass(frozen=True, slots=True)
class Promise:
    """One thing that people count on: *kept* is None where there was nothing to keep, or hardly."""

    what: str
    kept: bool | None
    said: str


@dataclass(frozen=True, slots=True)
class Loss:
    """Where heat went: kWh in the span, and its share of all that was lost."""

    through: str
    kwh: float
    share: float


@dataclass(frozen=True, slots=True)
class Answer:
    """What a run comes to; *worst*: findings that differ in their subject alone stand together."""

    verdict: str
    tone: Tone
    worst: tuple[tuple[Finding, ...], ...]
    more_findings: int
    promises: tuple[Promise, ...]
    money: str
    losses: tuple[Loss, ...]
    """The largest first."""
    largest_loss: str
    left_aside: tuple[str, ...]
    """What this run says nothing of."""


def answer(result: Result, sure: Confidence | None = None) -> Answer:
    """The answer of a run; *sure* gives the range of its cost, if that was asked for."""
    groups = alike(result.findings)
    losses = losses_of(result.metrics.tub)
    return Answer(
        verdict(result.findings, result.checked),
        result.findings[0].severity if result.findings else "good",
        tuple(map(tuple, groups[:FIRST_SHOWN])),
        sum(map(len, groups[FIRST_SHOWN:])),
        promises(
            result.metrics,
            result.scenario.limits.bathing_temperature_c + TOO_HOT_K,
            until_somebody_comes(result.scenario),
        ),
        money(result.metrics, result.about.days, sure, _kept_warm(result)),
        losses,
        _largest(losses),
        _left_aside(result),
    )


def say_answer(page: Page, told: Answer, findings: tuple[Finding, ...], tried: Trials = ()) -> None:
    """The answer, on as few lines as a small screen has."""
    page.line(told.verdict, tone=told.tone)
    say_first(page, findings, tried)
    if told.more_findings:
        page.line(f"{count(told.more_findings, 'more finding')} below.", indent=3)
    for promise in told.promises:
        _named(page, promise.what, promise.said, "mind" if promise.kept is False else "")
    _named(page, "Money", told.money)
    helps = "; cyclesim savings tells what would help"
    _named(page, "Largest loss", told.largest_loss and f"{told.largest_loss}{helps}")
    for line in told.left_aside:
        _named(page, "Not included", line)


def _named(page: Page, name: str, text: str, tone: Tone = "") -> None:
    if text:
        page.line(f"{name:<{_NAMES}}{text}", hang=_NAMES, tone=tone)


def promises(metrics: Metrics, too_hot_c: float = math.inf, waits: str = "") -> tuple[Promise, ...]:
    """What people count on, and how far it was kept; *too_hot_c*: what nobody may bathe in.

    *waits*: what a controller that waits after a power cut counts on.
    """
    kept = metrics.promises
    if kept is None:
        return ()
    water = (_fresh(kept), _disinfected(metrics))
    return tuple(
        filter(None, (_warm(kept), _step_out(kept, too_hot_c), _quiet(kept), *water, _frost(kept, waits)))
    )


def _warm(kept: PromisesMetrics) -> Promise | None:
    if not kept.times_to_be_warm or kept.most_short_k is None:
        return None
    said = f"{kept.warm_on_time} of {count(kept.times_to_be_warm, 'time')}"
    if kept.most_short_k > 0.0:
        said += f"; the worst {number(kept.most_short_k)} K below its set point, {when(kept.most_short_at)}"
    return Promise("Warm on time", kept.warm_on_time == kept.times_to_be_warm, said)


def _step_out(kept: PromisesMetrics, too_hot_c: float) -> Promise | None:
    if kept.coldest_at_step_out_c is None:
        return None
    said = f"{number(kept.coldest_at_step_out_c)} °C at the coldest, {when(kept.coldest_at_step_out_at)}"
    if kept.coldest_at_step_out_c > too_hot_c:
        return Promise("At step-out", False, f"{said}: too hot to bathe in")
    return Promise("At step-out", None, said)


def _quiet(kept: PromisesMetrics) -> Promise | None:
    if kept.loud_in_quiet_hours_h is None:
        return None
    loud = kept.loud_in_quiet_hours_h > 0.0
    said = f"broken for {hours(kept.loud_in_quiet_hours_h)} in all" if loud else "kept"
    return Promise("Quiet hours", not loud, said)


def _fresh(kept: PromisesMetrics) -> Promise | None:
    if kept.oldest_water_in is None:
        return None
    limit = hours(kept.water_age_limit_h)
    if kept.oldest_water_h is None:
        return Promise("Oldest water", False, f"never moves, in {kept.oldest_water_in} ({limit} allowed)")
    said = f"{hours(kept.oldest_water_h)} old, in {kept.oldest_water_in} ({limit} allowed)"
    return Promise("Oldest water", kept.oldest_water_h <= kept.water_age_limit_h, said)


def _disinfected(metrics: Metrics) -> Promise | None:
    """The least residual of all that may not stand; by which half-life it goes, nobody knows beforehand."""
    told = metrics.water_care and metrics.water_care.disinfectant
    legs = {n: leg for n, leg in told.legs.items() if leg.kind != "dead end"} if told else {}
    known = {name: leg.least_fast_mg_l for name, leg in legs.items() if leg.least_fast_mg_l is not None}
    if not told or not known:
        return None
    where = min(known, key=lambda name: known[name])
    wanted, leg = f"{number(told.at_least_mg_l)} mg/L wanted", legs[where]
    if known[where] >= told.at_least_mg_l:
        said = f"{number(known[where])} mg/L at the least, in {where} ({wanted})"
        return Promise("Disinfectant", True, said)
    said = f"may fall to {number(known[where])} mg/L, in {where} ({wanted}): below for "
    slow = f"for {hours(leg.below_slow_h)}" if leg.below_slow_h else "never"
    said += f"{hours(leg.below_fast_h)} in all if it halves in {hours(told.half_life_fast_h)}, {slow} if in "
    said += hours(told.half_life_slow_h)
    return Promise("Disinfectant", False, said)


def _frost(kept: PromisesMetrics, waits: str) -> Promise | None:
    if kept.coldest_water_c is None or kept.power_fails_at is None:
        return None
    said = f"coldest water {number(kept.coldest_water_c)} °C, in {kept.coldest_water_in}; "
    fails, frozen = when(kept.power_fails_at), kept.first_at_zero_after_h == 0.0
    if kept.first_at_zero is None:
        said += "no part would be at 0 °C within 10 days without power"
    elif frozen:
        said += f"{kept.first_at_zero} is at 0 °C with power, too, in the coldest hour, {fails}"
    else:
        after = f"would be at 0 °C after {hours(kept.first_at_zero_after_h)}"
        said += f"with no power from the coldest hour on, {fails}, {kept.first_at_zero} {after}"
    said += f"; {waits}" if waits and kept.first_at_zero is not None else ""
    if 0.0 < kept.coldest_water_c <= _HARDLY_K and not frozen:
        return Promise("Frost", None, f"hardly kept: {said}. A colder night or thinner insulation freezes it")
    return Promise("Frost", kept.coldest_water_c > 0.0 and not frozen, said)


def money(metrics: Metrics, days: int, sure: Confidence | None = None, kept_warm: Sequence[str] = ()) -> str:
    """What the run costs, heating included; with a range where that was asked for, and what is not in it.

    That is what refills add, and *kept_warm*: zones that a heater without a power keeps, in words.
    """
    energy, care = metrics.energy, metrics.water_care
    spent = "a year costs" if days in _A_YEAR else f"{count(days, 'day')} cost{'s' * (days == 1)}"
    said = f"{spent} {number(energy.cost)} {energy.currency}, heating included"
    cost = next((e for e in sure.estimates if e.number == "cost"), None) if sure is not None else None
    if cost is not None:
        said += f" (likely {number(cost.low)} to {number(cost.high)})"
    fuel = f" and {number(energy.fuel_kwh)} kWh of fuel" if energy.fuel_kwh else ""
    said += f": {number(energy.energy_kwh)} kWh of electricity{fuel}"
    refill = care.refill if care else None
    left_out = list(kept_warm)
    if refill is not None and refill.refills and refill.refills_heat_kwh:
        left_out.append(refills_said(refill, energy.currency))
    return f"{said}. Not in it: {'; '.join(left_out)}" if left_out else said


def _kept_warm(result: Result) -> tuple[str, ...]:
    """Zones that something on the supply warms, of which the file tells no power, with the hours of that."""
    scenario, zones = result.scenario, result.trace.zones
    said = []
    for name, zone in scenario.place.zones.items():
        if zones is None or not zone.needs_power or scenario.room_loads(name)[0] is not None:
            continue
        if warmed_h := zones.warmed_h(name, result.trace.span_s):
            said.append(f"what keeps {name} at {number(zone.never_below_c)} °C, needed for {hours(warmed_h)}")
    return tuple(said)


def losses_of(tub: TubMetrics) -> tuple[Loss, ...]:
    """Where the heat of the water went, the most first; what came in is no loss."""
    gone = {
        "the cover": tub.lost_through_cover_kwh,
        "the open water": tub.lost_from_open_water_kwh,
        "blown air": tub.taken_by_air_kwh,
        "the shell": tub.lost_through_shell_kwh,
        "the pipes": tub.lost_from_legs_kwh,
        "filters, pumps and heat sources": tub.lost_from_equipment_kwh,
    }
    lost = {name: kwh for name, kwh in gone.items() if kwh > 0.0}
    total = sum(lost.values())
    ordered = sorted(lost, key=lambda name: lost[name], reverse=True)
    return tuple(Loss(name, lost[name], lost[name] / total) for name in ordered)


def _largest(losses: tuple[Loss, ...]) -> str:
    if not losses:
        return ""
    first, total = losses[0], sum(loss.kwh for loss in losses)
    share = f"{100.0 * first.share:.0f} %"
    lost = f"{number(first.kwh)} of {number(total)} kWh of heat lost, {share}"
    return f"{first.through}: {lost}"


def _left_aside(result: Result) -> tuple[str, ...]:
    care = result.metrics.water_care
    if care is None:
        return ("disinfectant (no water_care in the file)",)
    return () if care.disinfectant else ("disinfectant (water_care has no disinfectant)",)
