"""What legs in one trench lose beside each other, and what was taken for that."""

from __future__ import annotations

from cyclesim.analysis.amounts import listed
from cyclesim.said.page import Page
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.buried import shares_of_loss


def say_trenches(page: Page, scenario: Scenario) -> None:
    """A sentence for each trench; nothing where none is drawn."""
    for name, trench in scenario.plant.trenches.items():
        shares = shares_of_loss(scenario, trench).values()
        least, most = (f"{100.0 * share:.0f}" for share in (min(shares), max(shares)))
        each = f"{most} %" if least == most else f"{least} to {most} %"
        page.line(
            f"In trench {name} {listed(list(trench.legs))} warm each other's soil: each loses {each} of the "
            "heat that it would alone, taken as equally warm. One that alone is warm loses more.",
            hang=2,
        )
