"""What `check` says of a sound file: that it is sound, and which rules the plant alone breaks."""

from __future__ import annotations

from collections.abc import Sequence

from cyclesim.analysis.findings import Checked, Finding
from cyclesim.report.cautions import ADVICE, say_cautions
from cyclesim.report.layout import Page
from cyclesim.report.verdict import say_findings, say_verdict
from cyclesim.report.words import count
from cyclesim.scenario.model import Scenario


def check_report(
    page: Page, name: str, scenario: Scenario, findings: Sequence[Finding], checked: Checked
) -> None:
    """One line for the file, then the rules that need no run."""
    page.line(f"{name} is sound: {scenario.title}.", style="bold")
    filled = count(len(scenario.defaults), "default was", "defaults were")
    page.line(f"{filled} filled in; cyclesim run lists them.")
    page.line()
    page.line("Of the rules that need no run:")
    say_verdict(page, findings, checked)
    say_findings(page, findings)
    say_cautions(page, [ADVICE])
