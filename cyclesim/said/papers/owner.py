"""The owner's papers: a page for the wall (what runs when, what to do when) and one for the drawer."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import TYPE_CHECKING

from cyclesim.analysis.amounts import lasting, listed
from cyclesim.analysis.outages import had_it_failed
from cyclesim.decide.sizing.heat_up import Warmer, seasons, warmest_c
from cyclesim.said.as_done import as_done
from cyclesim.said.cautions import ADVICE
from cyclesim.said.not_coming import not_every
from cyclesim.said.page import Cell, Column, words
from cyclesim.said.papers.chores import chores
from cyclesim.said.papers.hours_to_hot import hours_to_hot
from cyclesim.said.papers.paper import NewPage, Paper, Sheet
from cyclesim.said.papers.runs_when import runs_when
from cyclesim.said.papers.signs import say_signs
from cyclesim.said.papers.sun import stands_hot
from cyclesim.said.verdict import alike, worst_said
from cyclesim.said.words import day
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.programme import AIR_FLUSH
from cyclesim.verification.signs import noticed

if TYPE_CHECKING:
    from cyclesim.analysis.result import Result

HARM = (
    "Nobody bathes while a suction cover is loose, broken or missing, while a trip or a breaker keeps coming "
    "back, or while the water is warmer than people bear. Switch off first, then call who built it."
)
_FIRST_PARTS = 5
_POWER_BACK = {
    "wait": "When the power is back the controller waits: nothing runs, frost protection neither, until "
    "somebody starts it by hand.",
    "midnight": "When the power is back the controller's clock starts at 00:00: until somebody sets it, all "
    "that goes by the clock comes at other hours.",
}
"""What the owner has to do after a power cut, by what the controller does."""


def owner(year: Result) -> Paper:
    """What whoever lives with the tub needs of a year's run: on the wall, and in the drawer."""
    scenario, sheet = year.scenario, Sheet()
    _dangers(sheet, year)
    _runs_when(sheet, year)
    _do_when(sheet, scenario, year)
    stands_hot(sheet, year)
    sheet.heading("Nobody goes in")
    sheet.line(HARM, tone="strong")
    sheet.add(NewPage())
    _chores(sheet, scenario)
    say_signs(sheet, noticed(scenario))
    return Paper("owner", "Owner: living with the tub", tuple(sheet.blocks), (ADVICE,))


def _dangers(sheet: Sheet, year: Result) -> None:
    """What harms somebody or the plant in the year of the model, by whoever built it to mend."""
    groups = alike([finding for finding in year.findings if finding.severity == "danger"])
    if groups:
        sheet.heading("Danger: have this mended by who built it, before it is used")
    for first, *more in groups:
        names = listed([finding.subject for finding in (first, *more)])
        sheet.line(f"{names}: {worst_said(first)}. One way: {as_done(first.mend)}.", tone="strong")


def _runs_when(sheet: Sheet, year: Result) -> None:
    programme = year.programme
    sheet.heading("What runs when")
    columns = (words("what"), words("runs"), words("on"), Column("when or how warm"))
    sheet.table(columns, list(runs_when(programme)))
    by_the_clock = {*programme.entry_of, AIR_FLUSH}
    timed = (finding for finding in year.findings if finding.subject in by_the_clock)
    for missed in not_every(timed, year.about.days):
        sheet.line(f"{missed} of the model.")
    sheet.line("Anything else that runs is a sign: see the table in the drawer.")


def _do_when(sheet: Sheet, scenario: Scenario, year: Result) -> None:
    sheet.heading("Power is off in frost")
    sheet.line("Leave the cover on. Note when it went off. Do not open a heat source or a motor to thaw it.")
    takes = scenario.controller
    if back := _POWER_BACK.get(takes.after_power_cut):
        sheet.line(back, tone="strong")
    cut = had_it_failed(year.plant, year.trace)
    freezes = sorted((h, name) for name, h in (cut.until_zero_h if cut else {}).items() if h is not None)
    if cut is not None and freezes:
        columns = (
            words("what freezes"),
            Column("at 0 °C after", kind="lasting"),
            Column("a tenth of it ice, at the soonest after", kind="lasting", unknown="more than 10 days"),
        )
        already = [name for hours, name in freezes if not hours]
        rows: list[tuple[Cell, ...]] = [
            (name, hours or "already", cut.until_frozen_h.get(name)) for hours, name in freezes[:_FIRST_PARTS]
        ]
        since = datetime.fromisoformat(cut.from_local)
        note = (
            f"In the model the power fails at {since:%H:%M} on {since.day} {since:%B}, the coldest hour of "
            "the file's year."
        )
        sheet.table(columns, rows, notes=[note])
        if already:
            late = "To drain when the winter begins, for it is at 0 °C before the power fails"
            sheet.line(f"{late}: {listed(already)}.", tone="strong")
        if len(already) < len(freezes):
            first = "what stands first after that" if already else "what stands first in this table"
            sheet.line(f"Before that time: drain {first}, or bring warmth to it.")
        if later := [(h, name) for h, name in freezes[_FIRST_PARTS:] if h]:
            parts = listed([f"{name} after {lasting(3600.0 * h)}" for h, name in later])
            sheet.line(f"The other parts freeze likewise; at 0 °C: {parts}.")
    else:
        sheet.line("In the model nothing would be at 0 °C within ten days, from the coldest hour on.")
    sheet.heading("No water comes from the jets, or the flow check keeps heat off")
    sheet.line(
        "Look at the water level, then at valves that somebody has turned, then clean the filter. If it is "
        "still so, switch the pump off: one that hums and moves no water burns out."
    )
    sheet.heading("A limit has tripped, or a breaker")
    sheet.line(
        "Reset it once, after the cause is seen: low water, a shut valve, a dirty filter. If it trips again, "
        "leave it off and call an electrician. A limit that trips has done its work; bridging it undoes it."
    )
    sheet.heading("Away for three weeks")
    sheet.line(
        "Leave the power on, so that filter runs, flushes and frost protection go on. Set heating lower, put "
        "the cover on, and let somebody look at the water level once a week."
    )
    if back:
        sheet.line(
            f"{back} Let somebody do that after every power cut, one that is soon over too, or look often "
            f"enough to see that there was one: the model counts on {lasting(takes.person_within_s)}, "
            "days away in the file left out.",
            tone="strong",
        )
    for told in _hours_to_hot(scenario):
        sheet.line(told)


def _hours_to_hot(scenario: Scenario) -> Iterator[str]:
    """How long heating takes after a refill, in the coldest week and in a mild month."""
    heating = scenario.schedule.heating
    if heating is None or not any(scenario.plant.heat_sources[n].switched for n in heating.sources):
        return
    took = hours_to_hot(Warmer(scenario, warmest_c(heating)), seasons(scenario))
    yield f"From fresh fill water to the set point it takes {took}."


def _chores(sheet: Sheet, scenario: Scenario) -> None:
    sheet.heading("Chores")
    columns = (
        words("what"),
        words("how"),
        words("how often"),
        Column("first on", kind="day"),
        words("known from"),
    )
    rows: list[tuple[Cell, ...]] = []
    known = chores(scenario)
    for chore in known:
        often = f"every {chore.every_days} days" if chore.every_days else "once a year"
        rows.append((chore.name, chore.how, often, chore.first.isoformat(), chore.known_from))
    if rows:
        sheet.table(columns, rows)
    for chore in known:
        if chore.moved:
            days = listed([day(one.isoformat()) for one in chore.moved])
            when = (
                "as soon as somebody is back, and counted from then"
                if chore.days
                else "on the last day before"
            )
            sheet.line(f"{chore.name}: due while nobody comes, so {when}: {days}.")
    if scenario.water_care is None:
        sheet.line("The file says nothing of refills, filter cleaning and disinfectant: ask who built it.")
