"""The winter plant of the simulation's tests, and runs for sweeps."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path

import pytest

from cyclesim.decide.sweeps import sweep as swept
from cyclesim.decide.sweeps.outcome import Outcome, outcome
from cyclesim.decide.sweeps.sweep import OUTCOMES, Job, job, sweep
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load_text
from tests.evidence.small import filtered


@pytest.fixture(scope="session")
def winter_text() -> str:
    """The file of a plant with heat pump, element, blower, people, a plan and absences."""
    path = Path(__file__).parents[1] / "simulation" / "conftest.py"
    spec = spec_from_file_location("winter_plant", path)
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    return str(module.WINTER)


@pytest.fixture(scope="session")
def winter(winter_text: str) -> Callable[..., Scenario]:
    """That plant with `--set` style changes."""

    def make(*sets: str) -> Scenario:
        return load_text(winter_text, "winter.yaml", sets=sets)

    return make


@pytest.fixture(scope="module")
def jobs() -> list[Job]:
    """Six short runs of different lengths, so that the later of them are over sooner."""
    return [job(filtered(), days, date(2027, 3, 1)) for days in (12, 8, 5, 3, 2, 1)]


@pytest.fixture(scope="module")
def told(jobs: list[Job]) -> list[Outcome]:
    """What they come to, run one after another."""
    return sweep(jobs)


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The days of each run that is made in this process."""
    made: list[int] = []
    counting = replace(OUTCOMES, of=lambda *ran: made.append(ran[-1]) or outcome(*ran))
    monkeypatch.setattr(swept, "OUTCOMES", counting)
    return made
