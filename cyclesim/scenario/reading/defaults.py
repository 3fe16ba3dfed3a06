"""Which defaults were filled in, read off the models themselves."""

from dataclasses import dataclass
from typing import Any

from pydantic.fields import FieldInfo

from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.forms.forms import Declared, Model, Quantity
from cyclesim.spreads import AnySpread
from cyclesim.units import format_quantity


@dataclass(frozen=True, slots=True)
class Default:
    """One number that nobody gave, as the report lists it: how far it may be off, and where it is from."""

    path: str
    value_text: str
    spread: AnySpread
    source: str
    value: Any = None
    """In SI; None where it follows from what other blocks say."""
    not_varied: str = ""
    """Why `--confidence` leaves it alone, though it has a range."""


def filled_in(scenario: Scenario) -> tuple[Default, ...]:
    """Every default that a run rests on and that was filled in, in the order of the file."""
    return tuple(d for d in _of(scenario, "") if not d.path.startswith(("candidates.", "tuning.")))


def _of(value: Any, path: str) -> list[Default]:
    defaults: list[Default] = []
    if isinstance(value, Model):
        prefix, idle, why = f"{path}." if path else "", value.idle(), value.not_varied
        for name, field in type(value).model_fields.items():
            key, field_value = prefix + (field.alias or name), getattr(value, name)
            about = field.json_schema_extra
            if isinstance(about, Declared) and name not in value.model_fields_set and name not in idle:
                defaults.append(
                    Default(key, _text(field_value, field), about.spread, about.source, field_value, why)
                )
            defaults += _of(field_value, key)
        for assumption in value.assumed():
            defaults.append(Default(prefix + assumption.key, *assumption[1:]))
    elif isinstance(value, dict):
        defaults += [default for key, inner in value.items() for default in _of(inner, f"{path}.{key}")]
    elif type(value) is tuple:
        defaults += [
            default for index, inner in enumerate(value) for default in _of(inner, f"{path}.{index}")
        ]
    return defaults


def left_out(field: FieldInfo) -> str:
    """What stands in a field's place if it is left out, as schema and `explain` tell it; "" for nothing."""
    declared = field.json_schema_extra
    if not isinstance(declared, Declared):
        return ""
    return f"Left out it is {text_of_default(field)} (in practice {declared.spread}; {declared.source})."


def text_of_default(field: FieldInfo) -> str:
    """The default of a field as people write it."""
    return "taken from the rest of the file" if field.default is None else _text(field.default, field)


def _text(value: Any, field: FieldInfo) -> str:
    kind = next((form.kind for form in field.metadata if isinstance(form, Quantity)), None)
    if kind is not None:
        return format_quantity(value, kind)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple):
        return " to ".join(format_quantity(edge, "temperature") for edge in value)
    return str(value) if isinstance(value, str) else f"{value:g}"
