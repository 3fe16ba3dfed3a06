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


def drawn(base: Variant, varied: Sequence[Input], count: int) -> list[Variant]:
    """So many variants with all inputs drawn at once, each as often at its ends as any other (stratified)."""
    chance = np.random.default_rng(0)
    share, variants = count // _EACH_END, [base] * count
    for varied_input in varied:
        for draw, place in enumerate(chance.permutation(count).tolist()):
            end = varied_input.low if place < share else varied_input.high if place >= count - share else None
            if end is not None:
                variants[draw] = Variant(
                    *(merged(*three) for three in zip(base, variants[draw], end, strict=True))
                )
    return variants


def merged(base: Any, earlier: Any, later: Any) -> Any:
    """What differs in *later* from *base*, put into *earlier*; the later has the last word on one key."""
    if later is base or later == base:
        return earlier
    if earlier is base or earlier == base:
        return later
    if isinstance(base, Model) and type(base) is type(earlier) is type(later):
        names = type(base).model_fields
        parts = {n: merged(getattr(base, n), getattr(earlier, n), getattr(later, n)) for n in names}
        return earlier.model_copy(
            update={n: part for n, part in parts.items() if part is not getattr(earlier, n)}
        )
    if isinstance(base, dict) and base.keys() == earlier.keys() == later.keys():
        return {key: merged(base[key], earlier[key], later[key]) for key in base}
    if isinstance(base, tuple) and len(base) == len(earlier) == len(later):
        made = [merged(*three) for three in zip(base, earlier, later, strict=True)]
        return earlier._make(made) if hasattr(earlier, "_make") else tuple(made)
    if is_dataclass(base) and type(base).__name__ == "Tolerance":
        return type(earlier)(
            *(merged(*(getattr(value, f.name) for value in (base, earlier, later))) for f in fields(earlier))
        )
    return later
