"""Rules of thumb, as programmes that can be run beside the one that is found."""

from __future__ import annotations

from collections.abc import Iterator

from cyclesim.decide.tuning.programmes import Daily, Entry, own
from cyclesim.decide.tuning.space import FILTER, FLUSH, RunKind, Space

SOURCE = "common practice, no source"
_FLUSH_AT, _FLUSH_S = (8 * 3600, 20 * 3600), 30
_FILTER_AT, _FILTER_S = (2 * 3600, 14 * 3600), 2 * 3600


def thumbs(space: Space) -> Iterator[tuple[str, Daily]]:
    """(rule, programme): the usual flush, the usual hours of filtering, and both."""
    mine = own(space.scenario)
    flush = _usual(space, FLUSH, _FLUSH_AT, _FLUSH_S)
    filter_ = _usual(space, FILTER, _FILTER_AT, _FILTER_S)
    filters = tuple(entry for entry in mine.entries if entry.does == FILTER)
    if flush:
        yield "flush 30 s twice a day, filter as in the file", Daily((*filters, *flush))
    if flush and filter_:
        yield "flush 30 s twice a day, filter 2 h twice", Daily((*filter_, *flush))
    if filter_ and flush:
        yield "no flush at all, filter 2 h twice", Daily(filter_)


def _usual(space: Space, does: str, at_s: tuple[int, ...], lasts_s: int) -> tuple[Entry, ...]:
    """The usual runs of every pump, as near to their usual times as quiet hours and bathing let them."""
    fastest: dict[tuple[str, ...], RunKind] = {}
    for kind in space.kinds:
        if kind.does == does and (does == FLUSH or kind.pumping.names not in fastest):
            fastest[kind.pumping.names] = kind
    made = []
    for kind in fastest.values():
        slots = {_nearest(kind.allowed, start_s // space.step_s) for start_s in at_s}
        starts = tuple(space.clock(slot) for slot in sorted(slots))
        made.append(Entry(does, kind.pumping, lasts_s, starts))
    return tuple(made)


def _nearest(allowed: tuple[bool, ...], wanted: int) -> int:
    count = len(allowed)
    return min(
        (slot for slot in range(count) if allowed[slot]),
        key=lambda slot: (min((slot - wanted) % count, (wanted - slot) % count), slot),
        default=wanted,
    )
