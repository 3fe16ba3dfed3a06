"""Where a finding is mended: elements of the drawing, keys of the file, and what tries mends of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from cyclesim.analysis.findings import Finding
from cyclesim.analysis.result import Result
from cyclesim.analysis.rules import RULES
from cyclesim.analysis.trials import offered
from cyclesim.said.verdict import alike, how_bad
from cyclesim.scenario.blocks.model import Scenario

_KEYS: dict[str, tuple[str, ...]] = {
    "flow-backwards": ("plant.pumps",),
    "suction-too-fast": ("plant.legs.{}.pipe",),
    "filter-overloaded": ("plant.equipment.{}.at_most", "schedule.filter_runs"),
    "jets-weak": ("plant.legs.{}.manifold", "plant.pumps"),
    "source-underfed": ("schedule.heating.pump", "interlocks"),
    "airline-unprotected": ("plant.air.{}.check_valve",),
    "injectors-unfed": ("plant.air.{}.each", "plant.air.{}.curve"),
    "no-independent-limit": ("plant.heat_sources.{}.high_limit",),
    "sample-too-short": ("schedule.heating.sensor",),
    "programme-does-not-fit": ("controller", "schedule"),
    "never-flushed": ("schedule.line_flushes", "plant.legs.{}"),
    "flush-too-short": ("schedule.line_flushes",),
    "left-without-flush": ("plant.valves", "plant.diverters"),
    "single-suction": ("plant.pumps.{}", "plant.legs"),
    "pump-cavitates": ("plant.pumps.{}", "plant.pump_room"),
    "pump-loses-prime": ("plant.pumps.{}.check_valve", "plant.pump_room"),
    "pump-against-shut-valve": ("plant.valves", "plant.diverters"),
    "room-floods": ("plant.pump_room",),
    "no-room-to-work": ("plant.pump_room",),
    "heat-without-flow": ("plant.heat_sources.{}", "interlocks"),
    "own-water-still": ("plant.heat_sources.{}.own_water", "interlocks"),
    "own-water-unwatched": ("plant.heat_sources.{}.own_water.flow_switch", "interlocks"),
    "plates-hardly-possible": ("plant.heat_sources.{}.own_water.exchanger",),
    "own-water-freezes": ("plant.heat_sources.{}.own_water.glycol",),
    "sun-not-let-in": ("plant.heat_sources.{}.steered", "plant.network"),
    "sun-to-and-fro": ("plant.heat_sources.{}.steered", "plant.heat_sources.{}"),
    "sun-cools-water": ("plant.heat_sources.{}.steered", "plant.diverters"),
    "sun-half-let-in": ("plant.heat_sources.{}.own_water", "interlocks"),
    "sun-not-stopped": ("plant.heat_sources.{}.steered.high_stop",),
    "heat-before-proof": ("plant.heat_sources.{}", "interlocks"),
    "both-speeds-at-once": ("plant.pumps.{}.changeover",),
    "flush-onto-people": ("schedule.line_flushes", "schedule.ranks"),
    "air-onto-people": ("plant.air.{}.also_started_by", "schedule.bathing"),
    "dry-running": ("plant.tub.level_switch",),
    "dosing-without-flow": ("plant.treatment.{}", "interlocks"),
    "gas-without-flow": ("plant.treatment.{}", "interlocks"),
    "lamp-without-flow": ("plant.treatment.{}", "interlocks"),
    "supply-overload": ("supply", "interlocks"),
    "room-too-cold": ("plant.pump_room", "place.zones"),
    "room-too-hot": ("plant.pump_room", "place.zones"),
    "voltage-drops": ("supply",),
    "water-too-hot": ("schedule.heating.keep_at",),
    "outlet-too-hot": ("plant.heat_sources.{}.output", "schedule.heating.pump"),
    "session-too-long": ("schedule.bathing",),
    "cold-at-session": ("schedule.heating",),
    "cold-at-end": ("schedule.bathing", "schedule.heating"),
    "stale-water": ("schedule.line_flushes", "schedule.filter_runs"),
    "warm-stagnation": ("schedule.line_flushes", "schedule.filter_runs"),
    "too-few-turnovers": ("schedule.filter_runs",),
    "no-run-on": ("interlocks",),
    "short-cycling": ("plant.pumps.{}.rest", "schedule"),
    "too-many-starts": ("schedule.heating.within", "schedule"),
    "quiet-hours": ("schedule.line_flushes", "schedule.filter_runs"),
    "demand-not-served": ("schedule",),
    "residual-lost": ("schedule.line_flushes", "water_care"),
    "refill-overdue": ("water_care",),
    "heating-in-vain": ("schedule.heating", "plant.heat_sources"),
    "frost-in-plant": ("schedule.frost_protection", "plant.legs.{}.insulation"),
}
"""Where the file says what mends a rule, the likeliest first; {} is the thing that it is about."""


@dataclass(frozen=True, slots=True)
class Placed:
    """Findings that are told together, with where they are in the drawing and in the file."""

    number: int
    rule: str
    severity: str
    subjects: tuple[str, ...]
    cause: str
    how_bad: tuple[str, ...]
    mend: str
    sentence: str
    first: tuple[str, ...]
    about: tuple[str, ...]
    """Their elements in the drawing."""
    keys: tuple[str, ...]
    """Where the file says what mends them."""
    tries: str
    """What tries mends: `run`, by the same days again; `verify`, by every order of events; or "" for none."""


def placed(result: Result) -> list[Placed]:
    """Every finding of a run, alike ones together, by the numbers that reports give them."""
    return [_placed(number, group, result) for number, group in enumerate(alike(result.findings), 1)]


def _placed(number: int, group: Sequence[Finding], result: Result) -> Placed:
    first, subjects = group[0], tuple(finding.subject for finding in group)
    about = tuple(dict.fromkeys(subject.partition(", ")[0] for subject in subjects))
    keys = tuple(
        k for key in _KEYS.get(first.rule, ()) for k in _named(result.scenario, key.format(about[0]))
    )
    tries = "verify" if RULES[first.rule].kind == "state" else ""
    if not tries and any(True for one in subjects for _ in offered(result, first.rule, one)):
        tries = "run"
    return Placed(
        number, first.rule, first.severity, subjects, first.cause, tuple(map(how_bad, group)), first.mend,
        first.sentence, first.first, about, keys, tries,
    )  # fmt: skip


def _named(scenario: Scenario, key: str) -> Iterator[str]:
    """The key where the plant has what it is of, or that of each thing where it is of several."""
    node: Any = scenario
    for step in key.split(".")[:3]:
        if isinstance(node, dict):
            if step not in node:
                return
            node = node[step]
        else:
            node = getattr(node, step, None)
    if isinstance(node, dict) and key.count(".") == 1:
        yield from (f"{key}.{name}" for name in node)
    else:
        yield key
