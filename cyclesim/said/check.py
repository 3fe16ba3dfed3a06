"""What `check` says of a file that is read: that it can be run, and which rules the plant alone breaks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from cyclesim.analysis.amounts import listed
from cyclesim.analysis.findings import Checked, Finding
from cyclesim.analysis.most_carried import most_of_all
from cyclesim.analysis.room_loads import measure_room
from cyclesim.analysis.suction_side import measure_suction
from cyclesim.analysis.supply import CONTINUOUS_SHARE, counts_lasting
from cyclesim.said.beyond_sheet import say_beyond_sheet
from cyclesim.said.cautions import cautions_for, say_cautions
from cyclesim.said.defaults_table import counted, never_met, unmeasured
from cyclesim.said.page import Page
from cyclesim.said.room_table import say_suction
from cyclesim.said.verdict import say_first, say_open, say_others, say_verdict
from cyclesim.scenario.reading.defaults import filled_in
from cyclesim.scenario.reading.other_years import in_other_years
from cyclesim.scenario.reading.untouched import untouched
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme


def check_page(
    name: str, plant: Assembly, programme: Programme, findings: Sequence[Finding], checked: Checked
) -> Page:
    """One line for the file, then the rules that need no run, and what pumps draw."""
    page, scenario = Page(), plant.scenario
    page.line(f"{name} can be run: {scenario.title}.", tone="strong", as_written=True)
    page.line(f"{counted(filled_in(scenario))}: cyclesim run --all lists them.")
    if said := unmeasured(untouched(scenario)):
        page.line(said, tone="mind")
    say_beyond_sheet(page, scenario)
    if said := never_met(in_other_years(scenario), scenario.place.year):
        page.line(said, tone="mind")
    page.line()
    page.line("Of the rules that need no run:")
    say_verdict(page, findings, checked)
    say_first(page, findings)
    say_others(page, findings)
    say_open(page, checked)
    for sentence in _beyond_breakers(plant):
        page.line(sentence, tone="mind")
    say_suction(page, measure_suction(plant, programme), measure_room(plant))
    say_cautions(page, cautions_for(scenario))
    return page


def _beyond_breakers(plant: Assembly) -> Iterator[str]:
    """Circuits of which more may be on at once than the breaker takes; a run tells whether it is."""
    for name in plant.scenario.circuits:
        most = most_of_all(plant, name).kept
        if most.within(most.counted_a):
            continue
        on = listed([f"{load.name} {load.speed}".removesuffix(" on") for load in most.loads])
        alone = [load for load in most.loads if not most.within(load.counted_a)]
        its = "".join(f"; {load.name} alone draws {load.current_a:.1f} A" for load in alone)
        if counts_lasting(plant):
            its += f"; what runs for 3 h or more counts {100.0 * CONTINUOUS_SHARE:g} %"
        yield (
            f"{name}: {on} may come together, {most.counted_a:.1f} A in all, more than the breaker's "
            f"{most.breaker_a:g} A{its}. cyclesim run and verify tell whether it comes to that."
        )
