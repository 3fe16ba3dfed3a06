"""The winter plant of the simulation's tests."""

from collections.abc import Callable
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path

import pytest

from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load_text


@pytest.fixture(scope="session")
def winter() -> Callable[..., Scenario]:
    """A plant with heat pump, element, blower, people, a plan and absences, with `--set` style changes."""
    path = Path(__file__).parents[1] / "simulation" / "conftest.py"
    spec = spec_from_file_location("winter_plant", path)
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    spec.loader.exec_module(module)

    def make(*sets: str) -> Scenario:
        return load_text(module.WINTER, "winter.yaml", sets=sets)

    return make
