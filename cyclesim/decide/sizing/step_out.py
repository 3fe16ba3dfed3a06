"""What would warm the water at step-out: each change run through the weeks around the coldest session.

A trial runs with its change from the warm-up on, so that it stands for a plant that is always like that. The
mean over the sessions of four weeks counts, because one session depends on the phase of a thermostat's cycle;
heat that is stored at the end counts as not yet spent. What a thing costs to buy is not in it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import NamedTuple

from cyclesim.analysis.amounts import listed
from cyclesim.analysis.findings import Finding
from cyclesim.analysis.metrics import SessionMetrics
from cyclesim.analysis.result import Result, simulate
from cyclesim.decide.sizing.heater_sizes import USUAL_W, with_size
from cyclesim.scenario.blocks.bathing import Bathing
from cyclesim.scenario.blocks.heat_sources import HeatPump
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.plant import Cover
from cyclesim.scenario.blocks.schedule import Block
from cyclesim.simulation.variant import with_plant

_DAYS = 28
_DEGREE_K = 1.0
_COVER = Cover.model_construct(foam_m=0.08, fit="good")


class WarmerChange(NamedTuple):
    """One change as a sentence, and the scenario with it."""

    sentence: str
    scenario: Scenario


@dataclass(frozen=True, slots=True)
class WarmerTried:
    """What one change does to the sessions of the trial, and to its cost."""

    change: str
    mean_out_c: float
    warmer_k: float
    coldest_out_c: float
    energy_kwh_more: float
    """Electricity and fuel over the trial; less where it is below 0."""
    cost_more: float
    """Likewise, in money."""
    most_current_a: float
    breaks: tuple[str, ...]
    """Rules of danger and hygiene that are broken with it and not without."""


@dataclass(frozen=True, slots=True)
class StepOut:
    """The weeks of the session with the coldest end for its set point, and what would warm their sessions."""

    session: SessionMetrics
    first_day: str
    days: int
    sessions: int
    mean_out_c: float
    coldest_out_c: float
    currency: str
    tried: tuple[WarmerTried, ...]


def step_out(result: Result) -> StepOut | None:
    """Try each change that a run's scenario has room for; None where no session has an end."""
    ended = [(s.out_c - (s.set_point_c or 0.0), k) for k, s in enumerate(result.metrics.sessions)
             if s.out_c is not None]  # fmt: skip
    if not ended:
        return None
    session = result.metrics.sessions[min(ended)[1]]
    first, days = _weeks(result, session)

    def run(scenario: Scenario) -> Result:
        return simulate(scenario, days=days, start=first, seed=result.about.seed)

    as_it_is = run(result.scenario)
    out_c, known = _out_c(as_it_is), _grave(as_it_is)
    if not out_c:
        return None
    mean_c, spent = sum(out_c) / len(out_c), _per_heat(as_it_is)
    kwh, cost = _spent(as_it_is, spent)
    tried = []
    for sentence, scenario in changes(result.scenario, session):
        made = run(scenario)
        after_c, (more_kwh, more_cost) = _out_c(made), _spent(made, spent)
        tried.append(
            WarmerTried(
                sentence,
                sum(after_c) / len(after_c),
                sum(after_c) / len(after_c) - mean_c,
                min(after_c),
                more_kwh - kwh,
                more_cost - cost,
                made.metrics.energy.most_current_a,
                tuple(rule for rule in _grave(made) if rule not in known),
            )
        )
    tried.sort(key=lambda one: -one.warmer_k)
    currency = as_it_is.metrics.energy.currency
    return StepOut(session, first.isoformat(), days, len(out_c), mean_c, min(out_c), currency, tuple(tried))


def _weeks(result: Result, session: SessionMetrics) -> tuple[date, int]:
    """The first day and the number of days around a session, within what was run."""
    about = result.about
    begin, days = date.fromisoformat(about.first_day), min(_DAYS, about.days)
    day = datetime.fromisoformat(session.from_local).date() - timedelta(days=days // 2)
    return max(begin, min(day, begin + timedelta(days=about.days - days))), days


def _out_c(run: Result) -> list[float]:
    return [session.out_c for session in run.metrics.sessions if session.out_c is not None]


def _per_heat(run: Result) -> tuple[float, float]:
    """Energy [kWh] and money that went into a kilowatt-hour of the sources' heat."""
    energy, heat_kwh = run.metrics.energy, run.metrics.tub.heat_from_sources_kwh
    if heat_kwh <= 0.0:
        return 0.0, 0.0
    used = [used for name, used in energy.by_device.items() if name in run.metrics.heat_sources]
    return sum(u.energy_kwh + u.fuel_kwh for u in used) / heat_kwh, sum(u.cost for u in used) / heat_kwh


def _spent(run: Result, per_heat: tuple[float, float]) -> tuple[float, float]:
    """Energy [kWh] and money of a run, less what is left of them in warmer water at the end."""
    energy, stored_kwh = run.metrics.energy, run.metrics.tub.stored_change_kwh
    kwh, cost = per_heat
    return energy.energy_kwh + energy.fuel_kwh - kwh * stored_kwh, energy.cost - cost * stored_kwh


def _grave(run: Result) -> list[str]:
    def grave(finding: Finding) -> bool:
        return finding.severity in ("danger", "hygiene")

    return list(dict.fromkeys(finding.rule for finding in run.findings if grave(finding)))


def changes(scenario: Scenario, session: SessionMetrics) -> Iterator[WarmerChange]:
    """What may warm the water while people bathe, as far as the file has room for it."""
    yield from _less_air(scenario)
    yield from _more_supply(scenario)
    yield from _larger_source(scenario)
    yield from _better_cover(scenario)
    yield from _warmer_start(scenario, session)


def _less_air(scenario: Scenario) -> Iterator[WarmerChange]:
    """The blower's button times out after half of the time."""
    bathing = scenario.schedule.bathing
    if any(entry.air for entry in bathing):
        halved = tuple(_halved(entry) if entry.air else entry for entry in bathing)
        longest_s = max(entry.air_at_most_s or 0.0 for entry in halved if entry.air)
        sentence = f"air_at_most: {longest_s / 60.0:g} min"
        yield WarmerChange(sentence, _scheduled(scenario, bathing=halved))


def _halved(entry: Bathing) -> Bathing:
    longest_s = entry.drawn.lasts_s[1] if entry.drawn else entry.lasts_s or 0.0
    now_s = min(entry.air_at_most_s or longest_s, longest_s)
    return entry.model_copy(update={"air_at_most_s": 60.0 * max(1, math.floor(now_s / 120.0))})


def _more_supply(scenario: Scenario) -> Iterator[WarmerChange]:
    """The sources go on heating beside whatever blocks them now."""
    heating = scenario.schedule.heating
    blocks = [
        line
        for line in scenario.interlocks
        if isinstance(line, Block) and line.while_ and heating and line.block in heating.sources
    ]
    if blocks:
        rest = tuple(line for line in scenario.interlocks if line not in blocks)
        lines = listed([f"{b.block} beside {b.while_}" for b in blocks])
        yield WarmerChange(f"a supply for {lines}", scenario.model_copy(update={"interlocks": rest}))


def _larger_source(scenario: Scenario) -> Iterator[WarmerChange]:
    """Each source that heating switches, in the next size that is sold; a heat pump half as large again."""
    heating, sheets = scenario.schedule.heating, scenario.plant.heat_sources
    for name in heating.sources if heating else ():
        sheet, own_w = sheets[name], sheets[name].output_w
        if sheet.switched:
            larger = [w for w in USUAL_W if w > own_w and not isinstance(sheet, HeatPump)]
            size_w = larger[0] if larger else 1.5 * own_w
            sentence = f"{name} of {size_w / 1000.0:.3g} kW"
            yield WarmerChange(sentence, with_size(scenario, name, size_w))


def _better_cover(scenario: Scenario) -> Iterator[WarmerChange]:
    """A cover between sessions where there is none; one that fits, where it does not."""
    tub = scenario.plant.tub
    if tub.cover == "none":
        sentence, cover = "a cover: {foam: 80 mm, fit: good}", _COVER
    elif tub.cover.fit != "good":
        sentence, cover = "a cover with fit: good", tub.cover.model_copy(update={"fit": "good"})
    else:
        return
    changed = tub.model_copy(update={"cover": cover})
    yield WarmerChange(sentence, with_plant(scenario, tub=changed))


def _warmer_start(scenario: Scenario, session: SessionMetrics) -> Iterator[WarmerChange]:
    """A degree more at the start, where people may sit in that."""
    heating, wanted_c = scenario.schedule.heating, session.set_point_c
    if heating is None or wanted_c is None:
        return
    warmer_c = wanted_c + _DEGREE_K
    if warmer_c > scenario.limits.bathing_temperature_c:
        return

    def raised(kept: float) -> float:
        return warmer_c if kept == wanted_c else kept

    plan = tuple(step.model_copy(update={"keep_at_c": raised(step.keep_at_c)}) for step in heating.plan)
    changed = heating.model_copy(update={"keep_at_c": raised(heating.keep_at_c), "plan": plan})
    yield WarmerChange(f"keep_at: {warmer_c:g} degC, a degree more",
                 _scheduled(scenario, heating=changed))  # fmt: skip


def _scheduled(scenario: Scenario, **blocks: object) -> Scenario:
    return scenario.model_copy(update={"schedule": scenario.schedule.model_copy(update=blocks)})
