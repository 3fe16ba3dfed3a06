"""The client's paper, a page and the plant drawn: what one gets, what it costs, what is to be decided."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from cyclesim.analysis.findings import Finding
from cyclesim.decide.sizing.heat_up import Warmer, seasons, set_back_c, warmest_c
from cyclesim.said.answer import answer
from cyclesim.said.as_done import as_done
from cyclesim.said.cautions import ADVICE, WATER
from cyclesim.said.drawing import drawing
from cyclesim.said.page import Amount, Cell, Column, words
from cyclesim.said.papers.hours_to_hot import hours_to_hot, until_hot
from cyclesim.said.papers.paper import Drawn, Paper, Sheet
from cyclesim.said.side_by_side import side_by_side
from cyclesim.said.stretch import stretch
from cyclesim.said.verdict import alike
from cyclesim.said.words import month
from cyclesim.scenario.blocks.model import Scenario

if TYPE_CHECKING:
    from cyclesim.analysis.result import Result
    from cyclesim.decide.ranges.confidence import Confidence

_MOST_DECISIONS, _WEEK_MM = 3, 100
_LINES_MM = 12
"""So much less high is the week drawn for each finding that is told, so that all stays on a page."""


def client(
    result: Result, other: Result | None = None, sure: Confidence | None = None, *, us: bool = False
) -> Paper:
    """One page of a year's run, and the plant drawn on a second.

    *other*: a second plant beside it; *sure*: how far its cost may be off; *us*: the drawing in US units.
    """
    sheet, told = Sheet(), answer(result, sure)
    sheet.heading("What you get")
    columns = (words(""), words(""))
    rows: list[tuple[Cell, ...]] = list(_gets(result.scenario))
    rows += [(promise.what, promise.said) for promise in told.promises]
    rows += [
        ("Not included", left.partition(" (")[0]) for left in told.left_aside
    ]  # without keys of the file
    sheet.table(columns, rows)
    _costs(sheet, result, told.money, sure)
    sheet.heading("To decide")
    verdict = told.verdict if told.worst else f"{told.verdict} By these rules nothing has to be changed."
    sheet.line(verdict, tone="strong" if told.worst else "")
    groups = alike(result.findings)
    first_of = {
        group[0].rule: group for group in reversed(groups)
    }  # the first of each rule: none hides another
    decided = [group for group in groups if group is first_of[group[0].rule]][:_MOST_DECISIONS]
    for group in decided:
        sheet.line(f"{_about(group)}. One way: {as_done(group[0].mend)}.")
    less = max(0, len(decided) - 1)
    if others := [group for group in groups if group not in decided]:
        sheet.line(f"Besides: {'; '.join(map(_about, others))}.")
    if told.largest_loss:
        sheet.line(f"Most heat is lost through {told.largest_loss}.")
    if other is not None:
        sheet.heading("Two options side by side")
        table = side_by_side(result, other)
        sheet.line(f"A: {result.about.title}. B: {other.about.title}.", as_written=True)
        sheet.table(table.columns, table.rows)
    else:
        sheet.add(
            Drawn(stretch(result), "A week: what ran, and how warm it was.", _WEEK_MM - _LINES_MM * less)
        )
    drawn = drawing(result.plant, result.metrics.legs, us)
    return Paper("client", "Client: what you get", tuple(sheet.blocks), (WATER, ADVICE), drawn)


def _about(group: Sequence[Finding]) -> str:
    """What findings that are told together are about, and why."""
    return f"{', '.join(finding.subject for finding in group)}: {group[0].cause}"


def _gets(scenario: Scenario) -> Iterator[tuple[str, Cell]]:
    plant, heating = scenario.plant, scenario.schedule.heating
    jets = sum(leg.manifold.jets for leg in plant.legs.values() if leg.manifold)
    yield "Tub", Amount(1000.0 * plant.tub.volume_m3, "L", 0, after=f"and {jets} jets" if jets else "")
    if heating is None:
        return
    yield "Kept at", Amount(warmest_c(heating), "°C")
    if not any(plant.heat_sources[name].switched for name in heating.sources):
        return
    warmer, when = Warmer(scenario, warmest_c(heating)), seasons(scenario)
    yield "Hours to hot after a refill", hours_to_hot(warmer, when)
    if (set_back := set_back_c(heating)) is not None:
        took = [warmer.warm_up(set_back, day) for day in (when.coldest_day, when.mild_day)]
        coldest, mild = map(until_hot, took)
        yield "Hours to hot when it was set lower", f"{coldest} on the coldest day, {mild} in a mild month"


def _costs(sheet: Sheet, result: Result, money: str, sure: Confidence | None) -> None:
    energy = result.metrics.energy
    sheet.heading("What it costs to run")
    aside = "" if sure else " How far that may be off was not asked for."
    sheet.line(f"{money[:1].upper()}{money[1:]}.{aside}")
    columns = [Column(month(m.month).split()[0], kind="fixed", digits=0) for m in energy.by_month]
    rows: list[tuple[Cell, ...]] = [("a month", *(m.cost for m in energy.by_month))]
    likely = {e.subject: e for e in (sure.estimates if sure else ()) if e.number == "cost_of_month"}
    if all(m.month in likely for m in energy.by_month):
        mine = [likely[m.month] for m in energy.by_month]
        rows += [("at least", *(e.low for e in mine)), ("at most", *(e.high for e in mine))]
    sheet.table((words(energy.currency), *columns), rows)
