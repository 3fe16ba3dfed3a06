"""Keys that are understood but not simulated yet: a file that has one is refused, so that none is ignored."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from cyclesim.scenario.forms import Model, Steps

if TYPE_CHECKING:
    from cyclesim.scenario.model import Scenario

# One line for each key, * for any name or entry; "key = value" where only this value is not simulated.
NOT_YET: tuple[str, ...] = ()


def pending(path: Steps, value: object = None) -> bool:
    """Whether the key at this path, with this value, is not simulated yet."""
    return any(_fits(line, path, value) for line in NOT_YET)


def _fits(line: str, path: Steps, value: object) -> bool:
    key, equals, only = line.partition(" = ")
    steps = key.split(".")
    same = len(steps) == len(path) and all(a in ("*", str(b)) for a, b in zip(steps, path, strict=True))
    return same and (not equals or only == value)


def not_simulated(scenario: "Scenario") -> list[Steps]:
    """The path of every key of a sound file that is not simulated yet."""
    return [path for path, value in _given(scenario, ()) if pending(path, value)]


def _given(value: Any, path: Steps) -> Iterator[tuple[Steps, Any]]:
    """Every key that the file says, with its value."""
    if isinstance(value, Model):
        for name, field in type(value).model_fields.items():
            if name in value.model_fields_set:
                inner = getattr(value, name)
                yield (*path, field.alias or name), inner
                yield from _given(inner, (*path, field.alias or name))
    elif isinstance(value, dict) or type(value) is tuple:
        for step, inner in value.items() if isinstance(value, dict) else enumerate(value):
            yield from _given(inner, (*path, step))
