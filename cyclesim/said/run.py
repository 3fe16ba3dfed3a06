"""The report of a run: the answer, tables, what was assumed, cautions, the verdict again."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from cyclesim.analysis.amounts import listed
from cyclesim.said.answer import answer, say_answer
from cyclesim.said.beyond_sheet import say_beyond_sheet
from cyclesim.said.care_tables import say_water_care
from cyclesim.said.cautions import cautions_for, say_cautions
from cyclesim.said.cold_table import say_cold_spell
from cyclesim.said.defaults_table import say_defaults
from cyclesim.said.page import Page
from cyclesim.said.room_table import say_suction
from cyclesim.said.run_tables import (
    say_energy,
    say_leg_dates,
    say_legs,
    say_pumps,
    say_sources,
    say_tripped,
    say_tub,
)
from cyclesim.said.trenches import say_trenches
from cyclesim.said.use_tables import (
    rooms_that_store,
    say_blowers,
    say_made_from,
    say_own_waters,
    say_people,
    say_power_cuts,
)
from cyclesim.said.verdict import Trials, say_open, say_others
from cyclesim.said.wiring_tables import say_left, say_nobody_turns, say_treatment, say_wiring
from cyclesim.said.words import count
from cyclesim.scenario.reading.defaults import filled_in
from cyclesim.simulation.assumptions import assumptions
from cyclesim.simulation.hourly_weather import cold_days

if TYPE_CHECKING:
    from cyclesim.analysis.result import Result
    from cyclesim.decide.ranges.confidence import Confidence
    from cyclesim.decide.sizing.step_out import StepOut


def run_page(
    result: Result,
    *,
    everything: bool = False,
    sure: Confidence | None = None,
    warmed: StepOut | None = None,
    tried: Trials = (),
) -> Page:
    """What a run says to a person: the answer first, then what it rests on; the verdict again at the end.

    *everything*: every finding, table and default. *sure* tells how far the numbers may be off, if that was
    asked for; *warmed* what would warm the water at step-out, where that is cold; *tried* the mends that were
    tried.
    """
    page = Page()
    about, metrics = result.about, result.metrics
    page.line(about.title, tone="strong", as_written=True)
    first = date.fromisoformat(about.first_day)
    span = f"{count(about.days, 'day')} from {first.day} {first:%B %Y}, {about.time_zone}"
    page.line(f"{span} ({count(about.warm_up_days, 'day')} of warm-up not counted)")
    told = answer(result, sure)
    say_answer(page, told, result.findings, tried)
    say_tripped(page, metrics.heat_sources)
    say_absent(page, result)
    say_others(page, result.findings, everything=everything, tried=tried)
    say_open(page, result.checked)
    say_duty_problems(page, result)
    if sure is not None:
        from cyclesim.said.confidence_table import say_confidence

        say_confidence(page, sure)
    say_energy(page, metrics.energy, everything=everything)
    say_legs(page, metrics.legs, result.scenario.limits.water_age_s / 3600.0, everything=everything)
    say_trenches(page, result.scenario)
    say_left(page, result.left, everything=everything)
    say_nobody_turns(page, bool(result.left and result.scenario.schedule.valves_turned))
    say_pumps(page, metrics.pumps, metrics.energy.currency)
    say_sources(page, metrics)
    say_beyond_sheet(page, result.scenario, result.trace)
    say_blowers(page, metrics.blowers, metrics.energy.currency)
    say_own_waters(page, metrics.own_water, metrics.energy.currency)
    say_treatment(page, metrics.treatment, metrics.energy.currency)
    if warmed is not None:
        from cyclesim.said.step_out_table import say_step_out

        say_step_out(page, warmed)
    say_wiring(page, result)
    say_power_cuts(page, metrics.outages, rooms_that_store(result.scenario))
    say_cold_spell(page, metrics.cold_spell)
    notes = result.programme.clock_notes(result.trace.begin_utc, result.trace.span_s)
    if notes:
        page.heading("Clock changes")
        for note in notes:
            page.line(f"- {note}", hang=2)
    if everything:
        _say_the_rest(page, result)
    say_defaults(page, filled_in(result.scenario), assumptions(result.scenario), everything=everything)
    say_cautions(page, cautions_for(result.scenario))
    page.line()
    page.line(told.verdict, tone=told.tone)
    return page


def _say_the_rest(page: Page, result: Result) -> None:
    """What is looked up rather than read."""
    metrics = result.metrics
    say_leg_dates(page, metrics.legs)
    say_suction(page, metrics.suction, metrics.pump_room)
    say_made_from(page, metrics.heat_sources)
    say_people(page, metrics.tub, metrics.sessions)
    say_water_care(page, metrics)
    say_tub(page, metrics.tub)


def say_absent(page: Page, result: Result) -> None:
    """What the file dates outside these days, so that this run knows nothing of it."""
    absent = result.programme.outside(result.trace.begin_utc, result.trace.span_s)
    spell = cold_days(result.scenario)
    if spell is not None and result.metrics.cold_spell is None:
        absent.append(f"the cold spell from {spell.begins:%Y-%m-%d}")
    if absent:
        page.line(f"Not in these days, and so without effect: {listed(absent)}.", indent=2, hang=2)


def say_duty_problems(page: Page, result: Result) -> None:
    """What does not come right in the duties that ran: water that runs backwards, a pump past its curve."""
    ran = {state for state in result.trace.duties.labels if result.trace.duties.seconds(state)}
    failing = [duty for duty in result.plant.duties() if duty.name in ran and duty.duty.problems]
    if failing:
        page.heading("What the pipes do that was not meant")
    for duty in failing:
        for problem in duty.duty.problems:
            page.line(f"- at {duty.name}: {problem}", hang=2)
