"""Any key of a loaded scenario by its path, read and changed; a change is a copy, the models are frozen."""

from __future__ import annotations

from typing import Any, NamedTuple, get_args

from cyclesim.scenario.forms.forms import Model, Quantity


class StatedField(NamedTuple):
    """A key: the block it stands in, its value in SI, and its kind of quantity ("" for a plain number)."""

    owner: Any
    value: Any
    kind: str


def value_at(value: Any, steps: list[str]) -> Any:
    """What stands at these steps."""
    for step in steps:
        if isinstance(value, Model):
            value = getattr(value, _name(value, step))
        else:
            value = value[int(step)] if isinstance(value, tuple) else value[step]
    return value


def field_at(value: Model, path: str) -> StatedField:
    """The key at a dotted path."""
    *steps, last = path.split(".")
    owner = value_at(value, steps)
    field = type(owner).model_fields[_name(owner, last)]
    return StatedField(
        owner, value_at(owner, [last]), _kind(field.metadata) or _kind(get_args(field.annotation))
    )


def changed(value: Any, path: str, new: Any) -> Any:
    """A copy with one key changed; the value is one that the model itself would have made of the text."""
    step, _, rest = path.partition(".")
    if isinstance(value, Model):
        name = _name(value, step)
        inner = changed(getattr(value, name), rest, new) if rest else new
        return value.model_copy(update={name: inner})
    if isinstance(value, tuple):
        k = int(step)
        return (*value[:k], changed(value[k], rest, new) if rest else new, *value[k + 1 :])
    return {**value, step: changed(value[step], rest, new) if rest else new}


def _name(model: Model, key: str) -> str:
    """The field behind a key of the file."""
    fields = type(model).model_fields
    return next(name for name, field in fields.items() if (field.alias or name) == key)


def _kind(forms: Any) -> str:
    """The kind of the first quantity among a field's forms, looked for inside them too."""
    for form in forms:
        if isinstance(form, Quantity):
            return form.kind
        kind = _kind(getattr(form, "__metadata__", ()))
        if kind:
            return kind
    return ""
