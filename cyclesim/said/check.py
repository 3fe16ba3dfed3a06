"""What `check` says of a file that is read: that it can be run, and which rules the plant alone breaks."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime

from cyclesim.analysis.findings import Breach, Checked, Finding, NotJudged, grouped, in_order
from cyclesim.analysis.rules import of_kind
from cyclesim.analysis.suction_side import measure_room, measure_suction
from cyclesim.said.cautions import ADVICE, say_cautions
from cyclesim.said.page import Page
from cyclesim.said.room_table import say_suction
from cyclesim.said.verdict import say_findings, say_verdict
from cyclesim.said.words import count
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.defaults import filled_in
from cyclesim.simulation.assembly import Plant
from cyclesim.simulation.programme import Programme


def plant_findings(scenario: Scenario) -> tuple[tuple[Finding, ...], Checked]:
    """The rules that look at the plant and its programme alone, judged without a run."""
    plant, programme = Plant(scenario), Programme(scenario)
    rules = of_kind("plant").values()
    findings: list[Finding] = []
    could_not: list[tuple[str, str]] = []
    for rule in rules:
        judged = list(rule.judge(plant, programme))
        could_not += [(rule.id, one.why) for one in judged if isinstance(one, NotJudged)]
        breaches = [one for one in judged if isinstance(one, Breach)]
        findings += grouped(rule, breaches, lambda at_s: datetime.fromtimestamp(at_s, UTC))
    return in_order(findings), Checked(len(rules) - len({rule for rule, _ in could_not}), tuple(could_not))


def check_page(name: str, scenario: Scenario, findings: Sequence[Finding], checked: Checked) -> Page:
    """One line for the file, then the rules that need no run, and what pumps draw."""
    page = Page()
    page.line(f"{name} can be run: {scenario.title}.", tone="strong")
    filled = count(len(filled_in(scenario)), "default was", "defaults were")
    page.line(f"{filled} filled in; cyclesim run lists them.")
    page.line()
    page.line("Of the rules that need no run:")
    say_verdict(page, findings, checked)
    say_findings(page, findings)
    plant = Plant(scenario)
    say_suction(page, measure_suction(plant, Programme(scenario)), measure_room(plant))
    say_cautions(page, [ADVICE])
    return page
