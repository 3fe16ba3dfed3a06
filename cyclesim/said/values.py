"""A result as plain values: the numbers of the screen, in fixed units that the keys name."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from cyclesim.said.duties import duties
from cyclesim.scenario.reading.defaults import filled_in
from cyclesim.simulation.assumptions import assumptions

if TYPE_CHECKING:
    from collections.abc import Sequence

    from cyclesim.analysis.result import Result
    from cyclesim.analysis.trials import MendTrial
    from cyclesim.decide.ranges.confidence import Confidence
    from cyclesim.decide.sizing.step_out import StepOut
    from cyclesim.scenario.blocks.model import Scenario
    from cyclesim.simulation.assembly import Assembly


def result_values(
    result: Result,
    sure: Confidence | None = None,
    warmed: StepOut | None = None,
    tried: Sequence[MendTrial] | None = None,
) -> dict[str, Any]:
    """Everything a run says, as plain values in a stable order.

    `confidence`, `step_out` and `mends` are there only where they are given.
    """
    return {
        "about": asdict(result.about),
        **asdict(result.metrics),
        "findings": [asdict(finding) for finding in result.findings],
        "checked": {
            "checked": result.checked.checked,
            "nothing_to_judge": list(result.checked.nothing),
            "could_not": [{"rule": rule, "why": why} for rule, why in result.checked.could_not],
        },
        "valves_left": {name: asdict(leg) for name, leg in result.left.items()},
        "duties": duties(result.plant),
        "defaults": default_values(result.scenario),
        "clock_changes": result.programme.clock_notes(result.trace.begin_utc, result.trace.span_s),
        **({} if sure is None else {"confidence": asdict(sure)}),
        **({} if warmed is None else {"step_out": asdict(warmed)}),
        **({} if tried is None else {"mends": [asdict(trial) for trial in tried]}),
    }


def duty_values(plant: Assembly) -> dict[str, Any]:
    """The duties of a plant and what was assumed for them."""
    return {
        "title": plant.scenario.title,
        "duties": duties(plant),
        "defaults": default_values(plant.scenario),
    }


def default_values(scenario: Scenario) -> list[dict[str, str]]:
    """Every default that was filled in, and what the model takes for granted."""
    return [
        {"path": d.path, "value": d.value_text, "spread": str(d.spread), "source": d.source}
        for d in (*filled_in(scenario), *assumptions(scenario))
    ]
