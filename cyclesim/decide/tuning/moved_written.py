"""A schedule that was moved onto another controller, written with that controller into a copy of its file."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import time
from pathlib import Path
from typing import Any

import yaml

from cyclesim.errors import CycleSimError, plain
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.schedule import Run, Schedule
from cyclesim.scenario.reading.edit import Edit, edited
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.rewrite import RewriteError, in_unit_of, with_runs

_RUNS = ("filter_runs", "line_flushes")
_Path = tuple[str | int, ...]


def moved_text(
    file: Path, read: str, scenario: Scenario, moved: Scenario, controller: str, target: Path
) -> str:
    """The text of the file with the moved schedule and the other controller in it, all else as it was.

    *read* is what the file said when the scenario was loaded, *moved* the scenario after `moved_onto`,
    *controller* the text of the other controller's file, *target* where it is to be written. Raises
    RewriteError where the file said another plant, where a change has no place in the file itself, and where
    the text would say anything else than the moved scenario.
    """
    if _loaded(read, file) != scenario:
        raise RewriteError(f"{plain(str(file))} has changed since it was read: nothing is written.")
    takes = yaml.safe_dump(
        yaml.safe_load(controller)["controller"],
        default_flow_style=True, sort_keys=False, allow_unicode=True, width=10_000,
    )  # fmt: skip
    before, after = scenario.schedule, moved.schedule
    text = edited(read, [Edit(("controller",), takes.strip()), *_edits(before, after)])
    daily = {key: _clocked(after, key) for key in _RUNS if _is_anew(before, after, key)}
    text = with_runs(text, daily) if daily else text
    again = _loaded(text, target)
    if again is None or _in_order(again) != _in_order(moved):
        raise RewriteError(
            f"{plain(str(target))} would not be this plant with the programme for the new controller: it is "
            f"not written, so key the programme in by hand. Files that {plain(str(file))} refers to are "
            "looked for beside it: write there."
        )
    return text


def _loaded(text: str, file: Path) -> Scenario | None:
    try:
        return load_text(text, str(file), folder=file.parent)
    except CycleSimError:
        return None


def _in_order(scenario: Scenario) -> Scenario:
    """The scenario with its runs in one order: that of their entries says nothing."""
    runs = {key: tuple(sorted(getattr(scenario.schedule, key), key=repr)) for key in _RUNS}
    return scenario.model_copy(update={"schedule": scenario.schedule.model_copy(update=runs)})


def _clocked(schedule: Schedule, key: str) -> list[Run]:
    return [run for run in getattr(schedule, key) if run.after is None]


def _is_anew(before: Schedule, after: Schedule, key: str) -> bool:
    """Whether all runs by the clock are daily now, and otherwise than they were."""
    runs = _clocked(after, key)
    return runs != _clocked(before, key) and not any(run.days or run.repeats for run in runs)


def _edits(before: Schedule, after: Schedule) -> Iterator[Edit]:
    """What changes value by value: all but runs that are daily now, which `with_runs` puts anew."""
    for key in _RUNS:
        old = list(enumerate(getattr(before, key)))
        pairs = [pair for pair in old if pair[1].after is not None]
        news = [run for run in getattr(after, key) if run.after is not None]
        if not _is_anew(before, after, key):
            pairs += [pair for pair in old if pair[1].after is None]
            news += _clocked(after, key)
        for (k, run), new in zip(pairs, news, strict=True):
            yield from _run(("schedule", key, k), run, new)
    yield from _recurring(("schedule", "air_line_flushes"), before.air_line_flushes, after.air_line_flushes)
    if before.heating is not None and after.heating is not None:
        at: _Path = ("schedule", "heating")
        plan, left = before.heating.plan, after.heating.plan
        yield from _recurring((*at, "plan"), plan, left)
        if plan and not left:
            yield Edit((*at, "plan"), None)
        else:
            yield from (Edit((*at, "plan", k), None) for k in reversed(range(len(left), len(plan))))
        if before.heating.absences != after.heating.absences:
            yield Edit((*at, "absences"), None)


def _run(at: _Path, old: Run, new: Run) -> Iterator[Edit]:
    if old.lasts_s != new.lasts_s:
        yield Edit((*at, "lasts"), in_unit_of("", round(new.lasts_s)))
    yield from _times(at, old, new)


def _recurring(at: _Path, olds: Sequence[Any], news: Sequence[Any]) -> Iterator[Edit]:
    for k, (old, new) in enumerate(zip(olds, news, strict=False)):
        yield from _times((*at, k), old, new)


def _times(at: _Path, old: Any, new: Any) -> Iterator[Edit]:
    """Other clock times; and the keys taken out by which something is not on every day."""
    for key in ("start", "ready_by", "from_time", "until"):
        now = getattr(new, key, None)
        if now != getattr(old, key, None):
            clocks = ", ".join(
                f'"{clock:%H:%M}"' for clock in ([now] if isinstance(now, time) else now or ())
            )
            text = clocks if isinstance(now, time) else f"[{clocks}]"
            yield Edit((*at, key.removesuffix("_time")), text)
    for key in ("days", "repeats"):
        if getattr(old, key) is not None and getattr(new, key) is None:
            yield Edit((*at, key), None)
