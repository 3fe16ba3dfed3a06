"""A run of a plant with a single fault, as the calendar drives it."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date

from cyclesim.analysis.history import History
from cyclesim.control.step import LEVEL_LOW
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.drive import by_calendar
from cyclesim.simulation.engine import PlantRun
from cyclesim.simulation.programme import Programme
from cyclesim.verification.faults import FAULTS, FaultyPlant, PlantFault, faults_of, welds

RUN_WITH = ("no start", "circuit", "valve shut", "clogged", "check valve", "false yes", "false no", "own yes",
            "own no", "welded", "level low")  # fmt: skip
"""The faults that are a state of the plant, which the engine can be given."""


def runnable(plant: Assembly, programme: Programme) -> list[PlantFault]:
    """Every single fault of a plant that the engine can be given."""
    return [fault for fault in faults_of(plant, programme) if fault.kind in RUN_WITH]


def run_under(
    plant: Assembly,
    programme: Programme,
    fault: PlantFault,
    days: int,
    *,
    warm_up_days: int = 14,
    seed: int = 0,
    on_pass: Callable[..., object] = lambda *_: None,
) -> History:
    """Some days from 4 January with a fault from the first second on."""
    faulty = FaultyPlant(plant, frozenset({fault}))
    drive = by_calendar(plant, programme, date(2027, 1, 4), days, warm_up_s=warm_up_days * 86_400, seed=seed)
    if FAULTS[fault.kind].welds:
        drive = replace(drive, welds=[(drive.start_s, *contact) for contact in welds([fault])])
    if FAULTS[fault.kind].low:
        drive = replace(drive, facts={**drive.facts, LEVEL_LOW: [(drive.start_s, drive.span_s)]})
    run = PlantRun(faulty, programme.controller, drive, on_pass=lambda _, *state: on_pass(*state))
    run.warm_up()
    return History(faulty, programme, run.finish())
