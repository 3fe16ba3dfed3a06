"""Which defaults were filled in, read off the models themselves."""

from typing import Any

from pydantic.fields import FieldInfo

from cyclesim.scenario.blocks.model import Default, Scenario
from cyclesim.scenario.forms.forms import Model, Quantity
from cyclesim.units import format_quantity


def filled_in(scenario: Scenario) -> tuple[Default, ...]:
    """Every default that matters and was filled in, in the order of the file; candidates run in no plant."""
    return tuple(one for one in _of(scenario, "") if not one.path.startswith("candidates."))


def _of(value: Any, path: str) -> list[Default]:
    found: list[Default] = []
    if isinstance(value, Model):
        prefix, idle = f"{path}." if path else "", value.idle()
        for name, field in type(value).model_fields.items():
            key = prefix + (field.alias or name)
            extra = field.json_schema_extra
            told = name in value.model_fields_set or name in idle
            if isinstance(extra, dict) and "spread" in extra and not told:
                text = _text(getattr(value, name), field)
                found.append(Default(key, text, str(extra["spread"]), str(extra["source"])))
            found += _of(getattr(value, name), key)
        found += [Default(prefix + one.key, one.value, one.spread, one.source) for one in value.assumed()]
    elif isinstance(value, dict):
        found += [one for key, inner in value.items() for one in _of(inner, f"{path}.{key}")]
    elif type(value) is tuple:
        found += [one for index, inner in enumerate(value) for one in _of(inner, f"{path}.{index}")]
    return found


def _text(value: Any, field: FieldInfo) -> str:
    kind = next((form.kind for form in field.metadata if isinstance(form, Quantity)), None)
    if kind is not None:
        return format_quantity(value, kind)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple):
        return " to ".join(format_quantity(edge, "temperature") for edge in value)
    return str(value) if isinstance(value, str) else f"{value:g}"
