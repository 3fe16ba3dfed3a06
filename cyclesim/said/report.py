"""Everything that a plant's page tells, chapter by chapter, as plain data."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, NamedTuple

from cyclesim.analysis.amounts import listed
from cyclesim.analysis.device_metrics import EnergyMetrics
from cyclesim.control.diagram import ways_out
from cyclesim.control.machines import Machine
from cyclesim.said.answer import Answer, answer
from cyclesim.said.care_tables import say_water_care
from cyclesim.said.cautions import cautions_for
from cyclesim.said.cold_table import say_cold_spell
from cyclesim.said.defaults_table import unmeasured
from cyclesim.said.drawing import Drawing, drawing
from cyclesim.said.fault_table import say_faults
from cyclesim.said.inputs import WrittenInput, say_filled, say_given, say_granted
from cyclesim.said.machines_drawn import DrawnMachine, drawn_machine
from cyclesim.said.page import Block, Column, Page, Table, Tone, words
from cyclesim.said.room_table import say_suction
from cyclesim.said.run import say_absent, say_duty_problems
from cyclesim.said.run_tables import (
    say_energy,
    say_leg_dates,
    say_legs,
    say_pumps,
    say_sources,
    say_tripped,
    say_tub,
)
from cyclesim.said.savings import say_savings
from cyclesim.said.spread import WeekSpread, as_table, spread
from cyclesim.said.stretch import Stretch, stretch
from cyclesim.said.trenches import say_trenches
from cyclesim.said.use_tables import (
    rooms_that_store,
    say_blowers,
    say_made_from,
    say_own_waters,
    say_people,
    say_power_cuts,
)
from cyclesim.said.verdict import Trials, say_first, say_open, say_others, say_untried
from cyclesim.said.wiring_tables import say_left, say_nobody_turns, say_treatment, say_wiring
from cyclesim.said.words import count
from cyclesim.scenario.reading.defaults import filled_in
from cyclesim.scenario.reading.untouched import untouched
from cyclesim.simulation.assumptions import assumptions

if TYPE_CHECKING:
    from cyclesim.analysis.result import Result
    from cyclesim.decide.sizing.savings import Savings
    from cyclesim.scenario.blocks.model import Scenario
    from cyclesim.verification.answer import Verification


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar of a chart: its share of the longest, and its number in words of its unit."""

    name: str
    value: float
    share: float


@dataclass(frozen=True, slots=True)
class Bars:
    """Bars below each other; `month` names are ISO months."""

    title: str
    unit: str
    digits: int
    bars: tuple[Bar, ...]
    months: bool = False


@dataclass(frozen=True, slots=True)
class Chapter:
    """One part of the page: *name* is what links lead to."""

    name: str
    title: str
    blocks: tuple[Block, ...]
    bars: tuple[Bars, ...] = ()
    as_written: tuple[Block, ...] = ()
    """What stands before the blocks in the file's own words and units."""


class MachineTold(NamedTuple):
    """A state machine, drawn and in words."""

    drawn: DrawnMachine
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Report:
    """One plant."""

    title: str
    span: str
    about: tuple[str, ...]
    """Who hands it over to whom, as far as the file says so."""
    verdict: str
    tone: Tone
    drawing: Drawing
    timeline: Stretch
    spread: WeekSpread
    weeks: Table
    """The spread in numbers."""
    cautions: tuple[str, ...]
    machines: tuple[MachineTold, ...]
    chapters: dict[str, Chapter] = field(default_factory=dict)


def report(
    result: Result,
    given: Sequence[WrittenInput] = (),
    verification: Verification | None = None,
    saved: Savings | None = None,
    tried: Trials = (),
    *,
    us: bool = False,
) -> Report:
    """What a run came to, for its page: with what the file says, its orders of events and savings if known.

    *tried*: the mends that were tried.
    *us*: the drawing in US units; all else is turned where it is shown.
    """
    about, metrics, told = result.about, result.metrics, answer(result)
    whole = stretch(result, date.fromisoformat(about.first_day), about.days)
    weeks = spread(whole)
    first = date.fromisoformat(about.first_day)
    chapters = (
        Chapter("answer", "What it comes to", _page(_say_answer, result, told, tried)),
        Chapter("plant", "The plant", _page(_say_plant, result)),
        Chapter("timeline", "What happened when", _page(_say_left_out, result, whole)),
        Chapter("stale", "How stale the water gets", (*_page(_say_legs, result),)),
        _energy(metrics.energy, _page(_say_energy, result)),
        Chapter(
            "saving",
            "Where the heat goes, and what would save most",
            _page(_say_heat, result, told, saved),
            (_losses(told),),
        ),
        Chapter("faults", "What may go wrong", _page(say_faults, verification)),
        Chapter("machines", "The state machines", ()),
        Chapter(
            "inputs",
            "Every input",
            _page(_say_filled, result.scenario),
            as_written=_page(say_given, given),
        ),
        Chapter("model", "What the model takes for granted", _page(_say_model, result)),
    )
    return Report(
        title=about.title,
        span=f"{count(about.days, 'day')} from {first.day} {first:%B %Y}, {about.time_zone} "
        f"({count(about.warm_up_days, 'day')} of warm-up not counted); cyclesim {about.version}",
        about=_about(result),
        verdict=told.verdict,
        tone=told.tone,
        drawing=drawing(result.plant, metrics.legs, us, result.findings),
        timeline=whole,
        spread=weeks,
        weeks=as_table(weeks),
        cautions=cautions_for(result.scenario),
        machines=_machines(result),
        chapters={chapter.name: chapter for chapter in chapters},
    )


def _about(result: Result) -> tuple[str, ...]:
    about = result.scenario.about
    named = ("firm", "client", "address", "drawing", "revision")
    return () if about is None else tuple(f"{n}: {v}" for n in named if (v := getattr(about, n)) is not None)


def _page(say: Callable[..., None], *told: object) -> tuple[Block, ...]:
    page = Page()
    say(page, *told)
    return tuple(page.blocks)


def _say_answer(page: Page, result: Result, told: Answer, tried: Trials) -> None:
    say_first(page, result.findings, tried)
    rows = [(promise.what, promise.said) for promise in told.promises]
    rows += [("Money", told.money), ("Largest loss", told.largest_loss)]
    rows += [("Not included", line) for line in told.left_aside]
    page.table([words(""), words("")], [row for row in rows if row[1]])
    say_tripped(page, result.metrics.heat_sources)
    say_absent(page, result)
    say_others(page, result.findings, everything=True, tried=tried)
    say_untried(page, result.findings, tried)
    say_open(page, result.checked)


def _say_plant(page: Page, result: Result) -> None:
    metrics, currency = result.metrics, result.metrics.energy.currency
    say_duty_problems(page, result)
    say_pumps(page, metrics.pumps, currency)
    say_sources(page, metrics)
    say_made_from(page, metrics.heat_sources)
    say_blowers(page, metrics.blowers, currency)
    say_own_waters(page, metrics.own_water, currency)
    say_treatment(page, metrics.treatment, currency)
    say_suction(page, metrics.suction, metrics.pump_room)
    say_wiring(page, result)
    say_people(page, metrics.tub, metrics.sessions)
    say_power_cuts(page, metrics.outages, rooms_that_store(result.scenario))
    say_cold_spell(page, metrics.cold_spell)


def _say_legs(page: Page, result: Result) -> None:
    legs = result.metrics.legs
    say_legs(page, legs, result.scenario.limits.water_age_s / 3600.0, everything=True)
    say_trenches(page, result.scenario)
    say_leg_dates(page, legs)
    say_left(page, result.left, everything=True)
    say_nobody_turns(page, bool(result.left and result.scenario.schedule.valves_turned))
    say_water_care(page, result.metrics)


def _say_energy(page: Page, result: Result) -> None:
    energy = result.metrics.energy
    say_energy(page, energy, everything=True)
    for what, unit, digits in (("cost", energy.currency, 2), ("energy_kwh", "kWh", 1)):
        columns = [Column("month", kind="month")]
        columns += [
            Column(
                f"{name}\n{{unit}}", unit=unit, kind="fixed" if what == "cost" else "number", digits=digits
            )
            for name in energy.by_device
        ]
        rows = [
            (month.month, *(getattr(month.by_device[name], what) for name in energy.by_device))
            for month in energy.by_month
        ]
        page.table(columns, rows, f"{'Money' if what == 'cost' else 'Energy'} by month and device")


def _say_left_out(page: Page, result: Result, whole: Stretch) -> None:
    """Legs that have no curve, and why."""
    aged = {n: m for n, m in result.metrics.legs.items() if m.kind in ("leg", "last jet", "dead end")}
    drawn = {name for name, _, _ in whole.oldest}
    still = [name for name, leg in aged.items() if leg.oldest_water_h is None]
    if still:
        page.line(f"No curve, as nothing ever moves its water: {listed(still)}.")
    if len(aged) > len(drawn) + len(still):
        page.line(f"Of {len(aged)} legs and last jets, the {len(drawn)} whose water gets oldest are drawn.")


def _energy(energy: EnergyMetrics, blocks: tuple[Block, ...]) -> Chapter:
    """Energy and money, with what each device and each month cost as bars."""
    money = energy.currency
    devices = bars("What each device cost", money, {n: d.cost for n, d in energy.by_device.items()})
    months = bars("What each month cost", money, {m.month: m.cost for m in energy.by_month}, months=True)
    return Chapter("energy", "Energy and money", blocks, (devices, months))


def bars(title: str, unit: str, values: dict[str, float], *, digits: int = 2, months: bool = False) -> Bars:
    """Bars of values that are not below 0."""
    longest = max(values.values(), default=0.0) or 1.0
    return Bars(title, unit, digits, tuple(Bar(n, v, v / longest) for n, v in values.items()), months)


def _say_filled(page: Page, scenario: Scenario) -> None:
    if said := unmeasured(untouched(scenario)):
        page.line(said, tone="mind")
    say_filled(page, filled_in(scenario))


def _say_heat(page: Page, result: Result, told: Answer, saved: Savings | None) -> None:
    if told.largest_loss:
        page.line(f"Most goes through {told.largest_loss}.")
    if saved is not None:
        say_savings(page, saved)
    say_tub(page, result.metrics.tub)


def _losses(told: Answer) -> Bars:
    return bars("Heat lost through", "kWh", {loss.through: loss.kwh for loss in told.losses}, digits=0)


def _machines(result: Result) -> tuple[MachineTold, ...]:
    return tuple(
        MachineTold(drawn_machine(machine), _page(_say_machine, machine, result.programme.past))
        for machine in result.programme.machines.values()
    )


def _say_machine(page: Page, machine: Machine, past: Mapping[str, Sequence[str]]) -> None:
    ways = [way.partition(", ")[2] for way in past.get(machine.name, ())]
    also = f" Whatever its state, its {listed(ways)} may have it on." if ways else ""
    page.table(
        [Column("no.", kind="count"), words("from"), words("to"), words("when")],
        [(n, *way) for n, way in enumerate(ways_out(machine), 1)],
        f"{machine.name} ({machine.kind}), at first {machine.initial}",
        [f"Of two that match, the upper is taken.{also}"],
    )


def _say_model(page: Page, result: Result) -> None:
    page.line(
        "Water moves through pipes and housings in order; weather is the described climate or a file; "
        "ice is not modelled; soil stores no heat. Beyond that the answers rest on these numbers."
    )
    say_granted(page, assumptions(result.scenario))
    notes = result.programme.clock_notes(result.trace.begin_utc, result.trace.span_s)
    if notes:
        page.heading("Clock changes")
        for note in notes:
            page.line(f"- {note}", hang=2)
