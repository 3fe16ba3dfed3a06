"""What every report says of itself: it advises, and what its words do not mean."""

from __future__ import annotations

from collections.abc import Sequence

from cyclesim.said.page import Page

ADVICE = (
    "This is advice from a model of what the file says. It certifies nothing and is no safety controller: "
    "local electrical, plumbing and public-health codes and licensed people decide."
)
WATER = (
    'Water age counts from when water left the tub: "fresh" means as good as the tub\'s own water, '
    "no better. Flushing does not remove biofilm."
)
DUTY_CAUTIONS = (ADVICE,)
RUN_CAUTIONS = (WATER, ADVICE)


def say_cautions(page: Page, cautions: Sequence[str]) -> None:
    """The cautions, last on the page."""
    page.heading("Cautions")
    for caution in cautions:
        page.line(f"- {caution}", hang=2)
