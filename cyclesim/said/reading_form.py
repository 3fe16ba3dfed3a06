"""What a form asks of one who takes a reading: each kind with its keys, and what each may name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args, get_origin

from cyclesim.said.explain import without_none
from cyclesim.scenario.blocks.heat_sources import Electric
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.plant import Plant
from cyclesim.scenario.blocks.readings import BY_KIND
from cyclesim.scenario.reading.readings import legs_of, parts_of, switched_sources

_LABELS = {
    "gauge": "a gauge: pressure or vacuum",
    "flow": "a flow meter",
    "bucket": "a bucket and a stopwatch",
    "arrival": "seconds until dye or warm water comes",
    "current": "amps",
    "power": "watts",
    "warm_up": "a warming up",
    "cooling": "a cooling",
    "energy": "kilowatt hours between two dates",
    "running": "hours run between two dates",
}
_NAMED = ("with", "heat", "through", "of")
"""Keys that name something: without anything to name, such a reading cannot be taken."""


@dataclass(frozen=True, slots=True)
class ReadingField:
    """One key of a reading."""

    key: str
    explain: str
    required: bool
    choices: tuple[str, ...] = ()
    several: bool = False
    """Whether more than one of the choices may be meant."""


@dataclass(frozen=True, slots=True)
class ReadingKind:
    """One way of reading something."""

    kind: str
    label: str
    explain: str
    tolerance: str
    """What it may be off by where nothing is said."""
    source: str
    fields: tuple[ReadingField, ...]


def reading_kinds(scenario: Scenario) -> list[ReadingKind]:
    """Every kind of reading that can be taken at a plant, in the order of the format."""
    names = _Names(scenario.plant)
    made = []
    for kind, model in BY_KIND.items():
        keys = {about.alias or name: about for name, about in model.model_fields.items() if name != "kind"}
        runs = getattr(model, "needs_pump", False) or kind == "warm_up"
        fields = [
            ReadingField(
                key,
                about.description or "",
                about.is_required() or (key == "with" and runs),
                names.for_key(kind, key, about.annotation),
                key in ("with", "heat"),
            )
            for key, about in keys.items()
            if key != "valves" or names.turned
        ]
        fields.sort(key=lambda field: (field.key == "give_or_take", not field.required))
        if all(field.choices for field in fields if field.required and field.key in _NAMED):
            off = model.usual
            due = (model.__doc__ or "").strip()
            made.append(
                ReadingKind(
                    kind, _LABELS[kind], due, off.text(_off_kind(model.quantity)), off.source, tuple(fields)
                )
            )
    return made


def _off_kind(quantity: str) -> str:
    return "temperature_difference" if quantity == "temperature" else quantity


class _Names:
    """What of a plant a reading may name."""

    def __init__(self, plant: Plant) -> None:
        self.parts, self.legs = parts_of(plant), legs_of(plant)
        self.speeds = [
            name if speed == "on" else f"{name} {speed}"
            for name, pump in plant.pumps.items()
            for speed in pump.speeds
        ]
        self.junctions, self.switched = list(plant.junctions), switched_sources(plant)
        self.electric = [name for name, source in plant.heat_sources.items() if isinstance(source, Electric)]
        self.devices = [*plant.pumps, *plant.heat_sources]
        turnable = {**plant.valves, **plant.diverters}
        self.turned = [
            f"{{{name}: {position}}}"
            for name, valve in turnable.items()
            for position in valve.known
            if position != valve.usual
        ]

    def for_key(self, kind: str, key: str, annotation: object) -> tuple[str, ...]:
        """What may stand at a key; nothing where that is for a person to write."""
        form = without_none(annotation)
        if get_origin(form) is Literal:
            return tuple(map(str, get_args(form)))
        points = [f"{side} {name}" for name in self.parts for side in ("before", "after")]
        known: dict[str, Sequence[str]] = {
            "with": self.speeds,
            "valves": self.turned,
            "through": self.parts,
            "heat": self.switched,
            "at": [*points, *self.junctions] if kind == "gauge" else self.legs,
            "of": self.devices if kind in ("energy", "running") else [*self.speeds, *self.electric],
        }
        return tuple(known.get(key, ()))
