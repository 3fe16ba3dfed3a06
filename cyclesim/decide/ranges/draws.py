"""Several inputs off at once: what a jump needs two of does not show one at a time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from cyclesim.decide.ranges.inputs import Input
from cyclesim.scenario.forms.forms import Model
from cyclesim.simulation.variant import Variant

_EACH_END = 6
"""An input is at its lowest in one draw of so many and at its highest in another: as wide as even odds."""


def drawn(told: Variant, varied: Sequence[Input], count: int) -> list[Variant]:
    """So many variants with all inputs drawn at once, each as often at its ends as any other (stratified)."""
    chance = np.random.default_rng(0)
    share, found = count // _EACH_END, [told] * count
    for one in varied:
        for draw, place in enumerate(chance.permutation(count).tolist()):
            end = one.low if place < share else one.high if place >= count - share else None
            if end is not None:
                found[draw] = Variant(*(merged(*three) for three in zip(told, found[draw], end, strict=True)))
    return found


def merged(told: Any, one: Any, other: Any) -> Any:
    """What differs in *other* from what is *told*, put into *one*; the later has the last word on one key."""
    if other is told or other == told:
        return one
    if one is told or one == told:
        return other
    if isinstance(told, Model) and type(told) is type(one) is type(other):
        names = type(told).model_fields
        parts = {n: merged(getattr(told, n), getattr(one, n), getattr(other, n)) for n in names}
        return one.model_copy(update={n: part for n, part in parts.items() if part is not getattr(one, n)})
    if isinstance(told, dict) and told.keys() == one.keys() == other.keys():
        return {key: merged(told[key], one[key], other[key]) for key in told}
    if isinstance(told, tuple) and len(told) == len(one) == len(other):
        made = [merged(*three) for three in zip(told, one, other, strict=True)]
        return one._make(made) if hasattr(one, "_make") else tuple(made)
    if is_dataclass(told) and type(told).__name__ == "Tolerance":
        return type(one)(*(merged(*(getattr(x, f.name) for x in (told, one, other))) for f in fields(one)))
    return other
