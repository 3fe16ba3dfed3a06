"""The limits that bind a programme, each changed alone, so that what it costs can be seen."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from cyclesim.scenario.blocks.model import Scenario
from cyclesim.units import format_quantity

_USUAL: dict[str, tuple[Any, str]] = {
    "filter_windows": (2, "2"),
    "time_step_s": (3600.0, "1 h"),
    "flush_lengths_s": ((30.0, 60.0), "30 s or 60 s"),
    "flushes_a_day": (2, "2"),
}
"""What a controller often takes, where the file does not say; common practice, no source."""
_CALLED = {
    "filter_windows": "filter runs a day that the controller takes",
    "time_step_s": "step of the controller's times",
    "flush_lengths_s": "flush lengths that the controller offers",
    "flushes_a_day": "flushes a day that the controller takes",
}
ANY = "any"


@dataclass(frozen=True, slots=True)
class LimitTried:
    """One limit changed: what it is now, what it was tried as, and the scenario with it so."""

    limit: str
    now: str
    tried: str
    scenario: Scenario


def limits_tried(scenario: Scenario) -> Iterator[LimitTried]:
    """What the controller takes, lifted where the file tells it and put in where not; then the rest."""
    takes, schedule, limits = scenario.controller, scenario.schedule, scenario.limits
    for name, (usual, sentence) in _USUAL.items():
        stated = getattr(takes, name)
        new, tried = (usual, sentence) if stated is None else (None, ANY)
        changed = scenario.model_copy(update={"controller": takes.model_copy(update={name: new})})
        yield LimitTried(_CALLED[name], ANY if stated is None else _written(stated), tried, changed)
    if (quiet := schedule.quiet_hours) is not None:
        without = schedule.model_copy(update={"quiet_hours": None})
        now = f"{quiet.from_time:%H:%M} to {quiet.to_time:%H:%M}"
        yield LimitTried("quiet hours", now, "none", scenario.model_copy(update={"schedule": without}))
    for name, called, factor in (
        ("water_age_s", "oldest water", 0.5),
        ("water_age_s", "oldest water", 2.0),
        ("turnovers_per_day", "turnovers a day", 2.0),
    ):
        value = getattr(limits, name)
        update = {name: value * factor}
        if name == "water_age_s" and factor > 1.0:  # else the one limit stands in for the other
            update["warm_stagnation_s"] = max(limits.warm_stagnation_s, value * factor)
        changed = scenario.model_copy(update={"limits": limits.model_copy(update=update)})
        unit = "time" if name.endswith("_s") else ""
        yield LimitTried(called, _number(value, unit), _number(value * factor, unit), changed)


def _written(value: Any) -> str:
    if isinstance(value, tuple):
        return ", ".join(format_quantity(seconds, "time") for seconds in value)
    return format_quantity(value, "time") if isinstance(value, float) else str(value)


def _number(value: float, kind: str) -> str:
    return format_quantity(value, kind) if kind else f"{value:g}"
