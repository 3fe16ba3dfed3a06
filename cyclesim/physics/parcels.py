"""Parcels of water in plug flow: cutting, pushing through a plug, mixing at a junction, ages over time.

A parcel carries *births*, not ages: the instant [s] its water left the tub, so that standing water
needs no work at all (age = now - birth). Births run linearly from its front (the end that leaves first)
to its back. Two births are kept: the earliest, which gives the oldest age, and the flow-weighted mean.
A stream is the same thing with its passing time [s] in place of its volume, since every branch of a split
gets the same stream.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

Parcel = tuple[float, float, float, float, float]
"""(volume [m3] or passing time [s], earliest birth at front, at back, mean birth at front, at back [s])."""

Knot = tuple[float, float]
"""(seconds from the start of an interval, oldest age [s]); two at one time make a jump."""

_ROUNDING = 1e-12  # of a parcel: a cut this near its end is at its end
_REST_OF_SIMPSON = ((0.5, 4.0), (1.0, 1.0))  # shares and weights after the first, the parcel's before
_DUST = 1e-9  # of a plug: a parcel this small is what rounding left, and must not pass for the oldest water


def total(parcels: Sequence[Parcel]) -> float:
    """Sum of the volumes [m3] (or passing times [s]) of *parcels*."""
    whole = 0.0
    for p in parcels:
        whole += p[0]
    return whole


def scaled(parcels: Sequence[Parcel], factor: float) -> list[Parcel]:
    """*parcels* with volumes times *factor*: a stream into volumes (factor = flow) or back (1 / flow)."""
    return [(v * factor, of, ob, mf, mb) for v, of, ob, mf, mb in parcels]


def shifted(parcels: Sequence[Parcel], by_s: float) -> list[Parcel]:
    """*parcels* with every birth moved by *by_s* [s]."""
    return [(v, of + by_s, ob + by_s, mf + by_s, mb + by_s) for v, of, ob, mf, mb in parcels]


def turned(parcels: Sequence[Parcel]) -> list[Parcel]:
    """*parcels* seen from the other end, as after a reversal of flow."""
    return [(v, ob, of, mb, mf) for v, of, ob, mf, mb in reversed(parcels)]


def cut(parcels: Sequence[Parcel], volume: float) -> tuple[list[Parcel], list[Parcel]]:
    """The first *volume* [m3] of *parcels*, and the rest."""
    left = volume
    for i, (v, of, ob, mf, mb) in enumerate(parcels):
        if left <= v * _ROUNDING:
            return list(parcels[:i]), list(parcels[i:])
        if left < v * (1.0 - _ROUNDING):
            share = left / v
            oc, mc = of + share * (ob - of), mf + share * (mb - mf)
            return (
                [*parcels[:i], (left, of, oc, mf, mc)],
                [(v - left, oc, ob, mc, mb), *parcels[i + 1 :]],
            )
        left -= v
    return list(parcels), []


def swept(parcels: Sequence[Parcel], least: float) -> list[Parcel]:
    """*parcels* with those smaller than *least* given to a neighbour; the total stays."""
    for p in parcels:
        if p[0] < least:
            break
    else:
        return list(parcels)
    out: list[Parcel] = []
    loose = 0.0
    for v, of, ob, mf, mb in parcels:
        if v < least:
            loose += v
        else:
            out.append((v + loose, of, ob, mf, mb))
            loose = 0.0
    if loose and not out:
        return list(parcels)
    if loose:
        out[-1] = (out[-1][0] + loose, *out[-1][1:])
    return out


def joined(parcels: Sequence[Parcel], within_s: float) -> list[Parcel]:
    """*parcels* with neighbours made one where that changes no birth by more than *within_s* [s]."""
    out: list[Parcel] = []
    for p in parcels:
        if out:
            last = out[-1]
            share = last[0] / (last[0] + p[0])
            seams = (last[k] + share * (p[k + 1] - last[k]) for k in (1, 3))
            if all(
                abs(seam - last[k + 1]) <= within_s and abs(seam - p[k]) <= within_s
                for k, seam in zip((1, 3), seams, strict=True)
            ):
                out[-1] = (last[0] + p[0], last[1], p[2], last[3], p[4])
                continue
        out.append(p)
    return out


def mix(streams: Sequence[tuple[float, Sequence[Parcel]]]) -> list[Parcel]:
    """The stream that leaves a junction where *streams* of (flow [m3/s], stream) meet.

    Mean births are weighted by flow; the earliest birth is the earliest of those that meet, and a parcel
    is cut wherever another stream becomes the older one. All streams pass in the same time [s].
    """
    if len(streams) == 1:
        return list(streams[0][1])
    whole = sum(q for q, _ in streams)
    places, used = [0] * len(streams), [0.0] * len(streams)
    out: list[Parcel] = []
    while all(place < len(stream) for place, (_, stream) in zip(places, streams, strict=True)):
        spans = [s[p][0] - u for p, u, (_, s) in zip(places, used, streams, strict=True)]
        dt = min(spans)
        lines, mean_front, mean_back = [], 0.0, 0.0
        for k, (flow, stream) in enumerate(streams):
            t, of, ob, mf, mb = stream[places[k]]
            x0, x1 = used[k] / t, (used[k] + dt) / t
            lines.append((of + x0 * (ob - of), of + x1 * (ob - of)))
            mean_front += flow * (mf + x0 * (mb - mf))
            mean_back += flow * (mf + x1 * (mb - mf))
            if spans[k] - dt <= t * _ROUNDING:
                places[k], used[k] = places[k] + 1, 0.0
            else:
                used[k] += dt
        mean_front, mean_back = mean_front / whole, mean_back / whole
        marks = _crossings(lines)
        for x0, x1 in pairwise(marks):
            middle = 0.5 * (x0 + x1)
            front, back = min(lines, key=lambda line: line[0] + middle * (line[1] - line[0]))
            out.append(
                (
                    dt * (x1 - x0),
                    front + x0 * (back - front),
                    front + x1 * (back - front),
                    mean_front + x0 * (mean_back - mean_front),
                    mean_front + x1 * (mean_back - mean_front),
                )
            )
    return out


def _crossings(lines: Sequence[tuple[float, float]]) -> list[float]:
    """0, 1 and every share between at which two of *lines* (value at 0, value at 1) cross, in order."""
    marks: list[float] = []
    for i in range(1, len(lines)):
        a0, a1 = lines[i]
        for k in range(i):
            b0, b1 = lines[k]
            start, end = a0 - b0, a1 - b1
            if start * end < 0.0:
                share = start / (start - end)
                if _ROUNDING < share < 1.0 - _ROUNDING:
                    marks.append(share)
    return sorted({0.0, 1.0, *marks}) if marks else [0.0, 1.0]


class Passage(NamedTuple):
    """What one plug did while water moved through it at constant flow."""

    content: list[Parcel]
    """What is in the plug at the end, front first [m3]."""
    out: list[Parcel]
    """What left it [m3]."""
    knots: list[Knot]
    """Oldest age in the plug over the interval."""
    mean_integral_s2: float
    """Integral over the interval of the plug's mean age [s2]."""


def push(
    content: Sequence[Parcel],
    inflow: Sequence[Parcel],
    flow_m3_s: float,
    start_s: float,
    *,
    ages_asked: bool = True,
) -> Passage:
    """Push *inflow* [m3] into a plug that is full of *content* [m3], at *flow_m3_s*, from *start_s*.

    The plug's volume is that of *content*; as much leaves as comes in. Without *ages_asked* neither knots nor
    a mean age is worked out.
    """
    volume = total(content)
    inflow = swept(inflow, _DUST * volume)
    moved = total(inflow)
    out, rest = cut([*content, *inflow], moved)
    rest = swept(rest, _DUST * volume)
    if not ages_asked:
        return Passage(rest, out, [], 0.0)
    knots = _oldest_knots([*content, *inflow], volume, moved, flow_m3_s, start_s)
    mean = _mean_integral([*out, *rest], volume, moved, flow_m3_s, start_s)
    return Passage(rest, out, knots, mean)


def _oldest_knots(
    line: Sequence[Parcel], volume: float, moved: float, flow: float, start_s: float
) -> list[Knot]:
    """Oldest age [s] in a window of *volume* that slides over *line* by *moved*: piecewise linear."""
    edges = [0.0]
    edge = 0.0
    for p in line:
        edge += p[0]
        edges.append(edge)
    marks = {0.0, moved}
    for x in edges:
        if 0.0 < x < moved:
            marks.add(x)
        if 0.0 < x - volume < moved:
            marks.add(x - volume)
    ys = sorted(marks)
    knots: list[Knot] = []
    inside: deque[tuple[int, float]] = deque()  # parcels wholly inside, earliest births rising
    entered = 0
    left = right = 0
    last = len(line) - 1
    y1 = 0.0
    for y in ys[1:]:
        y0, y1 = y1, y
        over = y1 - y0
        if over <= volume * _ROUNDING:
            continue
        middle = 0.5 * (y0 + y1)
        while left < last and edges[left + 1] <= middle:
            left += 1
        while right < last and edges[right + 1] <= middle + volume:
            right += 1
        while entered < right:
            _, front, back, _, _ = line[entered]
            earliest = front if front <= back else back
            while inside and inside[-1][1] >= earliest:
                inside.pop()
            inside.append((entered, earliest))
            entered += 1
        while inside and inside[0][0] <= left:
            inside.popleft()
        v, front, back, _, _ = line[left]
        slope = (back - front) / v
        if left == right:  # what was before it has just left
            lines = [
                (front, front + slope * over),
                (front + slope * volume, front + slope * (volume + over)),
            ]
        else:
            entering = line[right]
            constant = back if back <= entering[1] else entering[1]
            if inside and inside[0][1] < constant:
                constant = inside[0][1]
            leaves = front + slope * (y0 - edges[left])
            slope_in = (entering[2] - entering[1]) / entering[0]
            enters = entering[1] + slope_in * (y0 + volume - edges[right])
            lines = [
                (constant, constant),
                (leaves, leaves + slope * over),
                (enters, enters + slope_in * over),
            ]
        for x0, x1 in pairwise(_crossings(lines)):
            mid = 0.5 * (x0 + x1)
            a, b = lines[0]
            least = a + mid * (b - a)
            for ends in lines:
                at_mid = ends[0] + mid * (ends[1] - ends[0])
                if at_mid < least:
                    least = at_mid
                    a, b = ends
            for x in (x0, x1):
                t = (y0 + x * over) / flow
                age = start_s + t - (a + x * (b - a))
                if not knots or knots[-1] != (t, age):
                    knots.append((t, age))
    return knots


def _mean_integral(line: Sequence[Parcel], volume: float, moved: float, flow: float, start_s: float) -> float:
    """Integral over time [s2] of the mean age in the window: each drop's stay, by Simpson (exact here)."""
    duration = moved / flow
    whole = x = 0.0
    enters = leaves = 0.0  # when the drop at x comes into the window, and leaves it
    for v, _, _, front, back in line:
        stay = (leaves - enters) * (0.5 * (enters + leaves) - (front - start_s))
        for share, weight in _REST_OF_SIMPSON:
            at = x + share * v
            enters, leaves = (at - volume) / flow, at / flow
            if enters < 0.0:
                enters = 0.0
            if leaves > duration:
                leaves = duration
            birth = front + share * (back - front) - start_s
            stay += weight * (leaves - enters) * (0.5 * (enters + leaves) - birth)
        whole += v * stay / 6.0
        x += v
    return whole / volume


def peak_s(knots: Sequence[Knot]) -> float:
    """The highest age [s] of *knots*."""
    peak = knots[0][1]
    for _, age in knots:
        if age > peak:
            peak = age
    return peak


def integral_s2(knots: Sequence[Knot]) -> float:
    """Integral of age over time [s2] of *knots*."""
    integral = 0.0
    for (t0, a0), (t1, a1) in pairwise(knots):
        integral += 0.5 * (a0 + a1) * (t1 - t0)
    return integral


def above_s(knots: Sequence[Knot], limit_s: float) -> float:
    """Time [s] for which the age of *knots* exceeds *limit_s*."""
    over = 0.0
    for (t0, a0), (t1, a1) in pairwise(knots):
        high, low = max(a0, a1), min(a0, a1)
        if high > limit_s:
            over += (t1 - t0) * (1.0 if low >= limit_s else (high - limit_s) / (high - low))
    return over
