"""What `check` says of a file that is read: that it can be run, and which rules the plant alone breaks."""

from __future__ import annotations

from collections.abc import Sequence

from cyclesim.analysis.findings import Checked, Finding
from cyclesim.analysis.room_loads import measure_room
from cyclesim.analysis.suction_side import measure_suction
from cyclesim.said.beyond_sheet import say_beyond_sheet
from cyclesim.said.cautions import cautions_for, say_cautions
from cyclesim.said.defaults_table import counted, unmeasured
from cyclesim.said.page import Page
from cyclesim.said.room_table import say_suction
from cyclesim.said.verdict import say_first, say_open, say_others, say_verdict
from cyclesim.scenario.reading.defaults import filled_in
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
    page.line()
    page.line("Of the rules that need no run:")
    say_verdict(page, findings, checked)
    say_first(page, findings)
    say_others(page, findings)
    say_open(page, checked)
    say_suction(page, measure_suction(plant, programme), measure_room(plant))
    say_cautions(page, cautions_for(scenario))
    return page
