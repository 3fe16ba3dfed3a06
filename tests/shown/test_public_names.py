"""`import cyclesim` and what it offers."""

import subprocess
import sys
from pathlib import Path

import pytest

import cyclesim
from cyclesim.scenario.reading.starter import starter_text


def test_scenario_to_result_in_two_calls(tmp_path: Path) -> None:
    """A file is loaded and simulated; the result says what was run."""
    path = tmp_path / "tub.yaml"
    path.write_text(starter_text(), encoding="utf-8")
    result = cyclesim.simulate(cyclesim.load(path), days=1)
    assert isinstance(result, cyclesim.Result)
    assert result.about.days == 1
    assert result.about.version == cyclesim.__version__


def test_input_error_is_a_value_error_with_its_faults(tmp_path: Path) -> None:
    """What a caller would catch anyway catches it; each fault has its place."""
    path = tmp_path / "tub.yaml"
    path.write_text("format: 2\n", encoding="utf-8")
    with pytest.raises(ValueError, match="format") as caught:
        cyclesim.load(path)
    assert isinstance(caught.value, cyclesim.InputError)
    assert isinstance(caught.value, cyclesim.CycleSimError)
    assert caught.value.faults[0].line == 1


def test_every_name_is_offered_and_no_other() -> None:
    """`dir` lists the public names, and a misspelt one is an AttributeError."""
    assert set(cyclesim.__all__) <= set(dir(cyclesim))
    assert all(getattr(cyclesim, name) is not None for name in cyclesim.__all__)
    with pytest.raises(AttributeError, match="simluate"):
        cyclesim.simluate  # noqa: B018


def test_import_star_works() -> None:
    """`from cyclesim import *` in a fresh process gives the public names."""
    script = "from cyclesim import *; print(load.__name__, simulate.__name__, Result.__name__)"
    done = subprocess.run([sys.executable, "-c", script], text=True, capture_output=True, check=True)
    assert done.stdout.split() == ["load", "simulate", "Result"]
