"""The file format as a JSON Schema (2020-12), so that editors complete and check as one types."""

from collections.abc import Iterator
from itertools import product
from typing import Any

from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.forms.fields import NAME
from cyclesim.scenario.forms.forms import Model
from cyclesim.scenario.reading.defaults import left_out
from cyclesim.scenario.reading.references import REFERABLE

DIALECT = "https://json-schema.org/draft/2020-12/schema"
_FILE = {
    "type": "string",
    "pattern": r"^[^/\\:][^\\:]*\.ya?ml$",
    "description": "The path of a file with this section.",
}
_TARIFF = {"type": "string", "pattern": r"^\d+(\.\d+)? ?[A-Z]{3} ?/ ?kWh$", "examples": ["0.24 EUR/kWh"]}

_NAMES = {"type": "string", "pattern": f"^{NAME}$"}
_NETWORK = {
    "Item": {
        "oneOf": [
            _NAMES,
            {
                "type": "object",
                "description": "Where the water splits: names or lists that lie side by side.",
                "properties": {
                    "parallel": {
                        "type": "array",
                        "minItems": 2,
                        "description": "The branches, each a name or a list of names.",
                        "items": {"oneOf": [{"$ref": "#/$defs/Item"}, {"$ref": "#/$defs/Chain"}]},
                    }
                },
                "required": ["parallel"],
                "additionalProperties": False,
            },
        ]
    },
    "Chain": {"type": "array", "minItems": 1, "items": {"$ref": "#/$defs/Item"}},
}


def _needs(*keys: str) -> dict[str, Any]:
    return {"required": list(keys)}


def _without(*keys: str) -> dict[str, Any]:
    return {"not": {"anyOf": [_needs(key) for key in keys]}}


# Which alternatives a block is given by; the models say the same in words.
_CURVES = [_needs("curve"), _needs("max_head", "max_flow")]
_ALTERNATIVES: dict[str, list[dict[str, Any]]] = {
    "Zone": [_needs("follows"), _needs("depth"), _needs("always")],
    "Dimensions": [_needs("length", "width", "depth"), _needs("diameter", "depth")],
    "Tub": [_needs("water", "surface"), _needs("dimensions")],
    "Manifold": [_needs("each"), _needs("nozzle")],
    "Leg": [_needs("pipe"), _needs("bore")],
    "Speed": [*({**curve, "required": [*curve["required"], "power"]} for curve in _CURVES), _needs("speed")],
    "Pump": [
        *({"required": [*curve["required"], "power"], **_without("low", "high")} for curve in _CURVES),
        {**_needs("low", "high"), **_without("curve", "max_head", "max_flow", "power", "current")},
    ],
    "Run": [_needs("start"), _needs("after")],
    "Bathing": [
        {**_needs("start", "lasts"), **_without("drawn")},
        {**_needs("drawn"), **_without("start", "lasts", "days", "repeats", "people")},
    ],
    "PlanStep": [_needs("ready_by"), _needs("from")],
    "Blower": [
        _needs(*way) for way in product(("curve", "delivers"), ("pipe", "bore"), ("wet_volume", "wet_length"))
    ],
    "Circulator": [*_CURVES, _needs("flow")],
    "Exchanger": [_needs("ua"), _needs("rated")],
    "Supply": [_needs("breaker"), _needs("circuits")],
    "Starter": [_needs(way) for way in ("thermostat", "clock", "hand_switch", "contact_of")],
    "Block": [_needs("unless", "for"), _needs("while")],
}
_ALTERNATIVES["PumpOffer"] = _ALTERNATIVES["Pump"]


def json_schema() -> dict[str, Any]:
    """The schema of a scenario file as people write it: quantities are texts with their unit."""
    schema = Scenario.model_json_schema(by_alias=True, mode="validation")
    definitions: dict[str, Any] = schema["$defs"]
    definitions |= _NETWORK
    definitions["Plant"]["properties"]["network"]["items"] = {"$ref": "#/$defs/Chain"}
    for model in _models(Model):
        for name, field in model.model_fields.items():
            own = schema if model is Scenario else definitions.get(model.__name__, {})
            if default := left_out(field):
                about = own.get("properties", {}).get(field.alias or name)
                if about is not None and default not in about["description"]:
                    about["description"] += f" {default}"
    for name, alternatives in _ALTERNATIVES.items():
        definitions[name]["oneOf"] = alternatives
    for block in [schema, *definitions.values()]:
        for field in block.get("properties", {}).values():
            _as_written(field)
    for *above, key in REFERABLE:
        block = definitions["Place"] if above else schema
        _or(block["properties"][str(key)], _FILE)
    _or(definitions["Supply"]["properties"]["tariff"], _TARIFF)
    return {
        "$schema": DIALECT,
        "title": "cyclesim scenario",
        **{k: v for k, v in schema.items() if k != "title"},
    }


def _models(of: type[Model]) -> Iterator[type[Model]]:
    """Every block of the file."""
    for model in of.__subclasses__():
        yield model
        yield from _models(model)


def _as_written(field: dict[str, Any]) -> None:
    """Drop what only Python says: null, default values in SI."""
    field.pop("default", None)
    field.pop("title", None)
    kinds = [kind for kind in field.get("anyOf", []) if kind != {"type": "null"}]
    if "anyOf" in field:
        del field["anyOf"]
        field |= kinds[0] if len(kinds) == 1 else {"anyOf": kinds}


def _or(field: dict[str, Any], other: dict[str, Any]) -> None:
    """Let a field be another thing as well."""
    description = field.pop("description")
    before = dict(field)
    field.clear()
    field |= {"description": description, "oneOf": [before, other]}
