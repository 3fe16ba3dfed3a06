"""The winter plant of the simulation's tests."""

from collections.abc import Callable
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path

import pytest

from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load_text


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
