"""Many programmes placed, by several processes, and kept as they come: no search is made twice."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import fields
from hashlib import sha256
from typing import Any

from cyclesim.decide.sweeps.kept import KeptRuns
from cyclesim.decide.sweeps.pool import each, program
from cyclesim.decide.sweeps.sweep import How
from cyclesim.decide.tuning.placing import Order, Placement, place
from cyclesim.decide.tuning.programmes import Daily, daily
from cyclesim.decide.tuning.space import Space

Asked = tuple[Space, Order]


def all_placed(asked: Iterable[Asked], how: How) -> list[dict[Daily, Order]]:
    """For each space in turn, every programme that can be placed, once, with the first order it answers."""
    listed = list(asked)
    return in_spaces(listed, placements(listed, how))


def in_spaces(asked: Sequence[Asked], found: Iterable[Placement]) -> list[dict[Daily, Order]]:
    """Likewise, of placements that are *found*, one for each that was asked for."""
    orders_by_space: dict[int, dict[Daily, Order]] = {id(here): {} for here, _ in asked}
    for (here, order), placement in zip(asked, found, strict=True):
        if placement.runs is not None:
            orders_by_space[id(here)].setdefault(daily(here, placement.runs), order)
    return list(orders_by_space.values())


def placements(asked: Sequence[Asked], how: How) -> list[Placement]:
    """The placement of each, in order; of what is kept none is searched for again."""
    keys = [_key(*one) for one in asked] if how.keep else []
    kept = KeptRuns(how.keep, set(keys), how.on_note) if how.keep else None
    found: dict[int, Placement] = {}
    for k, key in enumerate(keys):
        if kept and key in kept.readings:
            with suppress(LookupError, TypeError, ValueError):  # whole, but of another form
                found[k] = _read(asked[k][1], kept.readings[key])
    left = [k for k in range(len(asked)) if k not in found]
    for number, placement in each(_place, [asked[k] for k in left], how.workers):
        k = left[number]
        found[k] = placement
        if kept:
            kept.put(keys[k], _as_values(asked[k][1], placement))
        if how.on_run is not None:
            how.on_run(len(found), len(asked))
    return [found[k] for k in range(len(asked))]


def _place(asked: Asked) -> Placement:
    return place(*asked)


def _key(here: Space, order: Order) -> str:
    """What tells a placement from any other: all of a space but its plant, which its scenario makes."""
    told = [getattr(here, field.name) for field in fields(here) if field.name != "plant"]
    return sha256(f"{program()} placement {told!r} {order!r}".encode()).hexdigest()


def _as_values(order: Order, placement: Placement) -> dict[str, Any]:
    runs = placement.runs
    told = None if runs is None else [(order.kinds.index(kind), slot) for kind, slot in runs]
    return {"runs": told, "closed": placement.closed, "least": placement.least}


def _read(order: Order, values: Mapping[str, Any]) -> Placement:
    told = values["runs"]
    runs = None if told is None else tuple((order.kinds[number], slot) for number, slot in told)
    return Placement(runs, values["closed"], values["least"])
