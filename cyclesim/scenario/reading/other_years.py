"""What happens on dates alone, all of them outside the file's year: no run of that year meets it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date, timedelta

from pydantic import BaseModel

from cyclesim.scenario.blocks.heating import Absence
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.schedule import Outage
from cyclesim.scenario.forms.times import Spell


def in_other_years(scenario: Scenario) -> tuple[str, ...]:
    """The paths of such absences, power cuts, turned valves and the like, in the file's order."""
    year = scenario.place.year
    return tuple(
        path for path, first, last in _dated(scenario, "") if last < date(year, 1, 1) or first.year > year
    )


def _dated(value: object, path: str) -> Iterator[tuple[str, date, date]]:
    """Everything below that has dates: its path, its first and last day."""
    if isinstance(value, Absence):
        yield path, value.from_date, value.to_date
    elif isinstance(value, Outage | Spell):
        yield path, value.from_local.date(), (value.from_local + timedelta(seconds=value.lasts_s)).date()
    elif isinstance(value, BaseModel):
        for name, field in type(value).model_fields.items():
            yield from _dated(getattr(value, name), f"{path}.{field.alias or name}".lstrip("."))
    elif isinstance(value, Mapping):
        for name, inner in value.items():
            yield from _dated(inner, f"{path}.{name}")
    elif isinstance(value, list | tuple) and type(value) in (list, tuple):
        for number, inner in enumerate(value):
            yield from _dated(inner, f"{path}.{number}")
