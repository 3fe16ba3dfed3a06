"""Docstrings of physics, control and analysis: parameters, units, and what is raised."""

import ast
import importlib
import inspect
import pkgutil
import re
import textwrap
from collections.abc import Callable, Iterator

import pytest

import cyclesim.analysis
import cyclesim.control
import cyclesim.physics

PACKAGES = (cyclesim.physics, cyclesim.control, cyclesim.analysis)
MOST = 5
"""So many parameters speak for themselves, by names that carry their units."""
UNIT_IN_NAME = re.compile(
    r"(?:^|_)(s|h|days?|m|m2|m3|m_s|m3_s|c|k|k_h|w|kwh|j|w_k|j_k|w_per_m|ua|ua_per_m|per_m|per_day|kg|kg_s|kg_m3|pa"
    r"|pa_s|a|mk_w|w_mk|m2k_w|j_kg|j_kg_k|mg_l|seconds|amps)$"
)


def public() -> Iterator[tuple[str, Callable[..., object]]]:
    """Every public function and method that these packages define, by its name."""
    for package in PACKAGES:
        for found in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            module = importlib.import_module(found.name)
            for holder in (module, *(thing for thing in vars(module).values() if inspect.isclass(thing))):
                for name, thing in list(vars(holder).items()):
                    function = getattr(thing, "__func__", thing)  # of a class or static method
                    own = inspect.isfunction(function) and function.__module__ == module.__name__
                    if own and not name.startswith("_"):
                        yield f"{module.__name__}.{function.__qualname__}", function


FUNCTIONS = dict(public())


def _parameters(function: Callable[..., object]) -> list[str]:
    return [name for name in inspect.signature(function).parameters if name not in ("self", "cls")]


LONG = {name: function for name, function in FUNCTIONS.items() if len(_parameters(function)) > MOST}


def _annotated(annotation: object) -> str:
    return annotation if isinstance(annotation, str) else inspect.formatannotation(annotation)


def _returns(function: Callable[..., object]) -> str:
    return _annotated(inspect.signature(function).return_annotation)


def _raised(function: Callable[..., object]) -> set[str]:
    """The errors that a function raises itself, by their names; one that it passes on has none."""
    tree = ast.parse(textwrap.dedent(inspect.getsource(function)))
    raised = (node.exc for node in ast.walk(tree) if isinstance(node, ast.Raise) and node.exc)
    return {ast.unparse(error.func if isinstance(error, ast.Call) else error) for error in raised}


NUMBERS = {
    n: function for n, function in FUNCTIONS.items() if _returns(function) in ("float", "float | None")
}
RAISING = {name: function for name, function in FUNCTIONS.items() if _raised(function)}


def test_the_walk_meets_what_it_is_meant_to() -> None:
    """A function, a method and a class method that are known to be there."""
    assert {
        "cyclesim.physics.walls.pipe_ua_per_m",
        "cyclesim.physics.heat.TwoNode.first_crossing",
        "cyclesim.physics.curves.PumpCurve.from_points",
    } <= FUNCTIONS.keys()
    assert {"cyclesim.physics.climate.soil_c", "cyclesim.control.calendar.runs"} <= LONG.keys()
    assert "cyclesim.physics.decay.left" in NUMBERS
    assert "cyclesim.physics.climate.soil_c" in RAISING


@pytest.mark.parametrize("name", LONG)
def test_each_of_many_parameters_is_in_the_docstring(name: str) -> None:
    """By its own name, so that nobody has to guess which of six floats is meant."""
    said = inspect.getdoc(LONG[name]) or ""
    missing = [parameter for parameter in _parameters(LONG[name]) if not re.search(rf"\b{parameter}\b", said)]
    assert [] == missing


@pytest.mark.parametrize("name", NUMBERS)
def test_a_number_that_is_returned_has_its_unit(name: str) -> None:
    """In the function's name, or in brackets in its docstring."""
    said = inspect.getdoc(NUMBERS[name]) or ""
    assert UNIT_IN_NAME.search(name) or re.search(r"\[[^\]]+\]", said), said


def test_a_number_that_is_given_has_its_unit() -> None:
    """In the parameter's name, or the docstring speaks of it by its name."""
    unsaid = [
        f"{name}({parameter})"
        for name, function in FUNCTIONS.items()
        for parameter, given in inspect.signature(function).parameters.items()
        if _annotated(given.annotation) in ("float", "float | None")
        and not UNIT_IN_NAME.search(parameter)
        and not re.search(rf"\b{parameter}\b", inspect.getdoc(function) or "")
    ]
    assert [] == unsaid


@pytest.mark.parametrize("name", RAISING)
def test_what_is_raised_is_in_the_docstring(name: str) -> None:
    """By the name of the error, with when."""
    said = inspect.getdoc(RAISING[name]) or ""
    assert all(f"Raises {error} " in " ".join(said.split()) for error in _raised(RAISING[name])), said
