"""Every check there is, by group, and what has none."""

from __future__ import annotations

import importlib
from collections.abc import Iterator

from tests.evidence import (
    air,
    bad_days,
    bad_parts,
    cables,
    carried,
    engine,
    exchange,
    frost,
    heat,
    pipes,
    plates,
    practice_flow,
    practice_power,
    practice_pumps,
    pumps,
    standards,
    supply,
    water,
    weather,
)
from tests.evidence.record import Check

_MODULES = {
    "parts": (water, pipes, pumps, exchange, frost, heat, carried, supply, air, cables, plates),
    "weather": (weather,),
    "standards": (standards,),
    "practice": (practice_flow, practice_pumps, practice_power),
    "bad-days": (bad_days, bad_parts),
}

# Not covered, because nothing in cyclesim answers to it:
# - brake and electric horsepower, power cost (TP-410 examples 7.15 and 7.34): a file gives a pump's power;
#   the pumping head of 7.15 is in tests/physics
# - particles removed by a filter of some efficiency, tanks in series: water passes in order
# - decay of disinfectant, growth of bacteria: only times and temperatures are told
# - heaters on another voltage than they were made for: a file gives their power as installed
# - rating points of heat pump standards: a file gives the data sheet's own
# - suction entrapment: a person's safety is not judged by this tool
# - the vega data sets: normals without frost, not needed beside two measured years


def checks(group: str | None = None) -> Iterator[Check]:
    """The checks of one group or of all, cheap to list; those of whole plants run as they are listed."""
    for name, modules in _MODULES.items():
        if group in (None, name):
            for module in modules:
                yield from module.checks()
    if group in (None, "engine"):
        yield from engine.checks()
    if group in (None, "wholes"):
        yield from wholes()


def light() -> Iterator[Check]:
    """All but those of whole plants and beside the engine, which have tests of their own."""
    for group in _MODULES:
        yield from checks(group)


def wholes() -> Iterator[Check]:
    """Whole plants beside an independent reference, from tests/wholes/compare.py where that is there."""
    try:
        compare = importlib.import_module("tests.wholes.compare")
    except ModuleNotFoundError as missing:
        if (missing.name or "").startswith("tests.wholes"):
            return
        raise
    yield from compare.checks()
