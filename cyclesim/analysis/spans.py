"""Sets of time as arrays of spans, and functions that are constant between two instants.

A set is an (n, 2) array of starts and ends [s], in order, disjoint and not touching.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from cyclesim.simulation.trace import Stream

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Spans = Floats

NONE: Spans = np.empty((0, 2))


def spans(pairs: Floats | Iterable[Sequence[float]]) -> Spans:
    """The set that *pairs* of start and end cover together, in any order; empty pairs count for nothing."""
    table = np.array(pairs if isinstance(pairs, np.ndarray) else list(pairs), dtype=float).reshape(-1, 2)
    table = table[table[:, 1] > table[:, 0]]
    if len(table) < 2:
        return table
    table = table[np.argsort(table[:, 0], kind="stable")]
    reach = np.maximum.accumulate(table[:, 1])
    first = np.concatenate(([True], table[1:, 0] > reach[:-1]))
    last = np.concatenate((first[1:], [True]))
    return np.column_stack((table[first, 0], reach[last]))


def where(edges: Floats, true: Bools) -> Spans:
    """The set of the stretches between successive *edges* for which *true*, one per stretch, says so."""
    padded = np.concatenate(([False], true, [False]))
    turns = np.flatnonzero(padded[1:] != padded[:-1])
    return edges[turns].reshape(-1, 2)


def while_in(stream: Stream[str], *states: str) -> Spans:
    """When a stream is in any of *states*."""
    edges = np.append(np.array(stream.starts, dtype=float), float(stream.end_s))
    chosen = np.array([label in states for label in stream.labels])
    return where(edges, chosen[np.array(stream.codes)])


def covers(a: Spans, at_s: Floats) -> Bools:
    """Whether each instant *at_s* lies in the set; a span has its start and not its end."""
    inside: Bools = np.searchsorted(a.ravel(), at_s, side="right") % 2 == 1
    return inside


def edges_of(*sets: Spans) -> Floats:
    """Every start and end of some sets, in order, each once."""
    return np.unique(np.concatenate([a.ravel() for a in sets]))


def meet(a: Spans, b: Spans) -> Spans:
    """The time that is in both sets."""
    edges = edges_of(a, b)
    return where(edges, covers(a, edges[:-1]) & covers(b, edges[:-1])) if len(edges) else NONE


def without(a: Spans, b: Spans) -> Spans:
    """The time that is in *a* and not in *b*."""
    edges = edges_of(a, b)
    return where(edges, covers(a, edges[:-1]) & ~covers(b, edges[:-1])) if len(edges) else NONE


def join(*sets: Spans) -> Spans:
    """The time that is in any of the sets."""
    return spans(np.concatenate(sets)) if sets else NONE


def longer(a: Spans, by_s: float) -> Spans:
    """The set with every span ending *by_s* later, so that those which now touch are one."""
    return spans(np.column_stack((a[:, 0], a[:, 1] + by_s))) if len(a) else a


def first(a: Spans, lasting_s: float) -> Spans:
    """The first *lasting_s* of each span."""
    return np.column_stack((a[:, 0], np.minimum(a[:, 1], a[:, 0] + lasting_s)))


def after(a: Spans, wait_s: float) -> Spans:
    """What is left of each span once *wait_s* of it are over."""
    late = np.column_stack((a[:, 0] + wait_s, a[:, 1]))
    return late[late[:, 0] < late[:, 1]]


def total_s(a: Spans) -> float:
    """Time in the set [s]."""
    return float(np.sum(a[:, 1] - a[:, 0]))


def integral(start: Floats, end: Floats, rate: Floats, at_s: Floats) -> Floats:
    """Integral from 0 to each instant *at_s* of a rate that lasts from each start to its end, and is else 0.

    Times are in s, the rate is per second. The stretches are in order and do not overlap.
    """
    if not len(start):
        return np.zeros_like(at_s)
    sums = np.concatenate(([0.0], np.cumsum((end - start) * rate)))
    times = np.column_stack((start, end)).ravel()
    values = np.column_stack((sums[:-1], sums[1:])).ravel()
    integral_at: Floats = np.interp(at_s, times, values, left=0.0)
    return integral_at
