"""Water that carries its heat: temperatures travel through pipes, housings and pumps in order, as ages do.

In a reach with one zone an element of water obeys C dT/dt = UA (T_zone - T) + P, with the same time constant
C / UA whether it stands or flows. The wall of a pipe is as warm as the water beside it (through a metre of
wetted wall the film passes some hundred times what the outside takes), so C counts water and wall, and a
front of warmth moves slower than the water by C / C_water: it passes a reach when its *warmth volume*,
C / (rho c), has passed. So a reach is followed as if it held that volume.

The temperature of a *slug* runs linearly from its front (the end that leaves first) to its back. To stand, or
to move on without leaving the reach, is one affine map for every element, under which a slug stays a slug:
standing costs nothing until it is read. Only what enters or leaves while it cools bends the line; such a slug
is cut so short that the bend is below BEND_K: a parabola over a length L is f'' L**2 / 8 from its chord.

A stream is a row of slugs with passing times [s] in place of volumes, each temperature as it is on passing.
What came in less what went out less what the content gained is what a reach lost, so that nothing is lost
between two reaches.
"""

from __future__ import annotations

import math
from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from cyclesim.physics.heat import decay
from cyclesim.physics.water_age import Pattern

Floats = NDArray[np.float64]

Slug = tuple[float, float, float]
"""(volume [m3] or passing time [s], temperature at its front, at its back [degC])."""

BEND_K = 2e-3
"""How far a slug may be from a straight line, and how far joining two may move a temperature [K]."""
_ROUNDING = 1e-12  # of a slug: a cut this near its end is at its end
_DUST = 1e-9  # of a reach: a slug this small is what rounding left


@dataclass(frozen=True, slots=True)
class Reach:
    """What water passes in order between two nodes, with one zone around it. A valve holds nothing.

    capacity_j_k: heat capacity of its water and its wall [J/K]; ua_w_k: conductance to its zone [W/K].
    """

    name: str
    a: str
    b: str
    capacity_j_k: float
    ua_w_k: float = 0.0
    zone: str = ""
    rate_1_s: float = field(init=False, compare=False)
    """How fast its water nears its zone [1/s]."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "rate_1_s", self.ua_w_k / self.capacity_j_k if self.capacity_j_k else 0.0)


class Surroundings(NamedTuple):
    """What acts on the water of a reach for a while: temperature of its zone [degC], heat into it [W]."""

    zone_c: float
    heat_w: float = 0.0


ALONE = Surroundings(0.0)
_NONE: Mapping[int, Sequence[Slug]] = {}
_NOTHING: Sequence[Slug] = ()


def drive_k_s(reach: Reach, beside: Surroundings) -> float:
    """What warms water of 0 degC in a reach [K/s]."""
    return (reach.ua_w_k * beside.zone_c + beside.heat_w) / reach.capacity_j_k


def later(temp_c: float, dt_s: float, rate_1_s: float, k_s: float) -> float:
    """Temperature [degC] after *dt_s* of dT/dt = *k_s* - *rate_1_s* T."""
    kept, once = decay(rate_1_s, dt_s)
    return temp_c * kept + k_s * once


def total(slugs: Sequence[Slug]) -> float:
    """Sum of the volumes [m3] (or passing times [s])."""
    whole = 0.0
    for v, _, _ in slugs:
        whole += v
    return whole


def warmth(slugs: Sequence[Slug]) -> float:
    """Volume times temperature [m3 K] (or passing time times temperature [s K])."""
    held = 0.0
    for v, front, back in slugs:
        held += 0.5 * v * (front + back)
    return held


def ends(slugs: Sequence[Slug]) -> tuple[float, float]:
    """The lowest and the highest temperature [degC] anywhere in *slugs*."""
    if len(slugs) == 1:
        _, front, back = slugs[0]
        return (front, back) if front < back else (back, front)
    temps = [t for _, front, back in slugs for t in (front, back)]
    return min(temps), max(temps)


def below_s(stream: Sequence[Slug], level_c: float) -> float:
    """For how long a stream [s] is colder than a level [degC]."""
    lasts = 0.0
    for dt, front, back in stream:
        low, high = min(front, back), max(front, back)
        if low < level_c:
            lasts += dt if high <= level_c else dt * (level_c - low) / (high - low)
    return lasts


def turned(slugs: Sequence[Slug]) -> list[Slug]:
    """*slugs* seen from the other end, as after a reversal of flow."""
    return [(v, back, front) for v, front, back in reversed(slugs)]


def cut(slugs: Sequence[Slug], volume: float) -> tuple[list[Slug], list[Slug]]:
    """The first *volume* of *slugs*, and the rest."""
    left = volume
    for i, (v, front, back) in enumerate(slugs):
        if left <= v * _ROUNDING:
            return list(slugs[:i]), list(slugs[i:])
        if left < v * (1.0 - _ROUNDING):
            at = front + left / v * (back - front)
            return [*slugs[:i], (left, front, at)], [(v - left, at, back), *slugs[i + 1 :]]
        left -= v
    return list(slugs), []


def joined(slugs: Sequence[Slug], least: float = 0.0, within_k: float = BEND_K) -> list[Slug]:
    """*slugs* with neighbours made one where that changes no temperature by more than *within_k*.

    One smaller than *least* goes to a neighbour whatever it is. Volume times temperature stays: the seam's
    error is shared by both ends.
    """
    if len(slugs) < 2:
        return list(slugs)
    out: list[Slug] = []
    w, first, last = slugs[0]
    for v, front, back in slugs[1:]:
        both = w + v
        seam = first + w / both * (back - first)
        near = -within_k <= seam - last <= within_k and -within_k <= seam - front <= within_k
        if near or v < least or w < least:
            shift = 0.5 * (w * (first + last) + v * (front + back)) / both - 0.5 * (first + back)
            w, first, last = both, first + shift, back + shift
        else:
            out.append((w, first, last))
            w, first, last = v, front, back
    out.append((w, first, last))
    return out


def gathered(slugs: Sequence[Slug], at: Floats) -> Floats:
    """`warmth` of what comes first, up to each of the volumes [m3] (or times [s]) *at*, all within them."""
    rows, begins, held = list[tuple[float, float, float, float]](), 0.0, 0.0
    for v, front, back in slugs:
        rows.append((begins, held, front, 0.5 * (back - front) / v))
        begins, held = begins + v, held + 0.5 * v * (front + back)
    if len(rows) == 1:
        alone: Floats = at * (rows[0][2] + at * rows[0][3])
        return alone
    table = np.array(rows)
    edges, sums, fronts, slopes = table[table[1:, 0].searchsorted(at, side="right")].T
    into = at - edges
    heats: Floats = sums + into * (fronts + into * slopes)
    return heats


def mix(streams: Sequence[tuple[float, Sequence[Slug]]]) -> list[Slug]:
    """The stream that leaves a junction where *streams* of (flow [m3/s], stream) meet: weighted by flow.

    All pass in the same time [s].
    """
    if len(streams) == 1:
        return list(streams[0][1])
    whole = sum(q for q, _ in streams)
    rests = [list(stream) for _, stream in streams]
    out: list[Slug] = []
    while all(rests):
        dt = min(rest[0][0] for rest in rests)
        front = back = 0.0
        for k, (flow, _) in enumerate(streams):
            (t, first, last), *others = rests[k]
            at = first + min(1.0, dt / t) * (last - first)
            front, back = front + flow * first, back + flow * at
            rests[k] = others if t - dt <= t * _ROUNDING else [(t - dt, at, last), *others]
        out.append((dt, front / whole, back / whole))
    return out


def stand(slugs: Sequence[Slug], dt_s: float, rate_1_s: float, k_s: float) -> list[Slug]:
    """*slugs* after *dt_s* in their reach, standing or moving on within it."""
    kept, once = decay(rate_1_s, dt_s)
    gained = k_s * once
    return [(v, front * kept + gained, back * kept + gained) for v, front, back in slugs]


def _cooling(
    slugs: Sequence[Slug], to_s: float, of_s: float, first_s: float, step: float, rate_1_s: float, k_s: float
) -> list[Slug]:
    """*slugs* after a stay in the reach.

    Times *to_s* they are passing times [s], and what is told is that times *of_s*. The front of the first
    stays *first_s*, what passes a second later *step* (1 or -1) seconds longer.
    """
    out: list[Slug] = []
    stay = first_s
    kept, once = decay(rate_1_s, stay) if stay > 0.0 else (1.0, 0.0)
    for size, front, back in slugs:
        dt, rise = size * to_s, back - front
        first, last = abs(k_s - rate_1_s * front), abs(k_s - rate_1_s * back)
        apart = (first if first > last else last) + 2.0 * abs(rise) / dt
        parts = math.ceil(dt * math.sqrt(rate_1_s * apart / (8.0 * BEND_K)))
        begun = stay
        before = front * kept + k_s * once
        if parts > 1:
            for k in range(1, parts):
                share = k / parts
                at_s = begun + step * share * dt
                kept, once = decay(rate_1_s, at_s if at_s > 0.0 else 0.0)
                at = (front + share * rise) * kept + k_s * once
                out.append((dt / parts * of_s, before, at))
                before = at
            size_out = dt / parts * of_s
        else:
            size_out = dt * of_s
        stay += step * dt
        kept, once = decay(rate_1_s, stay if stay > 0.0 else 0.0)
        out.append((size_out, before, (front + rise) * kept + k_s * once))
    return out


class HeatPassage(NamedTuple):
    """What a reach did while water moved through it at constant flow."""

    content: list[Slug]
    """What is in it at the end, front first [m3 of warmth volume]."""
    out: list[Slug]
    """The stream that left it [s]."""


def push(
    content: Sequence[Slug], inflow: Sequence[Slug], flow_m3_s: float, rate_1_s: float, k_s: float
) -> HeatPassage:
    """Push the stream *inflow* [s] into a reach full of *content* [m3], at *flow_m3_s*.

    *rate_1_s* and *k_s* as in `later`; both hold for as long as *inflow* lasts.
    """
    volume, dt_s = total(content), total(inflow)
    passes_s = volume / flow_m3_s
    gone, stays, through, enters = content, _NOTHING, _NOTHING, inflow
    if dt_s > passes_s:
        through, enters = cut(inflow, dt_s - passes_s)
    else:
        gone, stays = cut(content, flow_m3_s * dt_s)
    inside = _inside(stays, enters, dt_s, passes_s, flow_m3_s, rate_1_s, k_s)
    out = _out(gone, through, passes_s, flow_m3_s, rate_1_s, k_s)
    return HeatPassage(joined(inside, _DUST * volume), joined(out, _DUST * dt_s))


def left_inside(
    content: Sequence[Slug], inflow: Sequence[Slug], flow_m3_s: float, rate_1_s: float, k_s: float
) -> list[Slug]:
    """What is in the reach at the end as by `push`, without what left it."""
    volume, dt_s = total(content), total(inflow)
    passes_s = volume / flow_m3_s
    stays, enters = _NOTHING, inflow
    if dt_s > passes_s:
        enters = cut(inflow, dt_s - passes_s)[1]
    else:
        stays = cut(content, flow_m3_s * dt_s)[1]
    return joined(_inside(stays, enters, dt_s, passes_s, flow_m3_s, rate_1_s, k_s), _DUST * volume)


def leaving(
    content: Sequence[Slug], inflow: Sequence[Slug], flow_m3_s: float, rate_1_s: float, k_s: float
) -> list[Slug]:
    """The stream that leaves as by `push`, without what is inside."""
    volume, dt_s = total(content), total(inflow)
    passes_s = volume / flow_m3_s
    gone, through = content, _NOTHING
    if dt_s > passes_s:
        through = cut(inflow, dt_s - passes_s)[0]
    else:
        gone = cut(content, flow_m3_s * dt_s)[0]
    return joined(_out(gone, through, passes_s, flow_m3_s, rate_1_s, k_s), _DUST * dt_s)


def _inside(
    stays: Sequence[Slug],
    enters: Sequence[Slug],
    dt_s: float,
    passes_s: float,
    flow_m3_s: float,
    rate_1_s: float,
    k_s: float,
) -> list[Slug]:
    """What has stayed in a reach, and what has come in and is still there."""
    inside = _cooling(enters, 1.0, flow_m3_s, min(dt_s, passes_s), -1.0, rate_1_s, k_s)
    return stand(stays, dt_s, rate_1_s, k_s) + inside if stays else inside


def _out(
    gone: Sequence[Slug],
    through: Sequence[Slug],
    passes_s: float,
    flow_m3_s: float,
    rate_1_s: float,
    k_s: float,
) -> list[Slug]:
    """The stream of what is gone from a reach, and of what has passed it."""
    out = _cooling(gone, 1.0 / flow_m3_s, 1.0, 0.0, 1.0, rate_1_s, k_s)
    return out + stand(through, passes_s, rate_1_s, k_s) if through else out


def through_at_once(inflow: Sequence[Slug], flow_m3_s: float, heat_w: float, per_m3_k: float) -> list[Slug]:
    """The stream behind something that holds no water and warms it by *heat_w*.

    *per_m3_k*: rho c of water [J/(m3 K)].
    """
    warmer = heat_w / (per_m3_k * flow_m3_s)
    return [(t, front + warmer, back + warmer) for t, front, back in inflow]


class Moved(NamedTuple):
    """What reaches did while water moved through them for a while."""

    contents: dict[int, list[Slug]]
    """What is in each at the end [m3], the end that leaves first in front."""
    lost_j: dict[int, float]
    """What each gave to its zone [J]."""
    returned_j: float
    """Heat that they handed on less what came into them [J]: to the tub, and what passes as the tub does."""
    streams: dict[int, list[Slug]]
    """What left each [s]."""


def move(
    reaches: Sequence[Reach],
    pattern: Pattern,
    contents: Mapping[int, Sequence[Slug]],
    tub: Sequence[Slug],
    beside: Mapping[int, Surroundings],
    per_m3_k: float,
    known: Mapping[int, Sequence[Slug]] = _NONE,
    *,
    asked: Container[int] | None = None,
) -> Moved:
    """Move water through reaches at *pattern* while the stream *tub* [s] lasts.

    *contents* [m3] of each moving reach, the end that leaves first in front; *beside* of each that has one,
    the same for all of the time; *per_m3_k*: rho c of water [J/(m3 K)]. Those in *known* are not followed:
    what leaves them is the stream that is given. Water that circles must not come round within the time: at
    most `turn_s`. *asked*: of these nothing is worked out but what they hold at the end, of all others
    nothing but the stream that leaves them.
    """
    dt_s = total(tub)
    streams = {i: list(stream) for i, stream in known.items()}
    now: dict[int, list[Slug]] = {}
    lost: dict[int, float] = {}
    returned = 0.0
    for i in pattern.loop:
        reach, blank = reaches[i], [(dt_s, 0.0, 0.0)]  # what comes in now does not leave within the time
        k_s = drive_k_s(reach, beside.get(i, ALONE))
        streams[i] = leaving(contents[i], blank, abs(pattern.flows[i]), reach.rate_1_s, k_s)
    for links_in, links_out in pattern.nodes:
        if known and all(i in known for i in links_out):
            continue
        inflow = tub
        if len(links_in) == 1 and links_in[0] not in known:
            inflow = streams[links_in[0]]  # it has been joined as it left
        elif links_in:
            inflow = joined(mix([(abs(pattern.flows[i]), streams[i]) for i in links_in]), _DUST * dt_s)
        came_in = warmth(inflow) if asked is None else 0.0
        for i in links_out:
            if i in known:
                continue
            reach, flow, near = reaches[i], abs(pattern.flows[i]), beside.get(i, ALONE)
            gained = 0.0
            if reach.capacity_j_k == 0.0:
                out = through_at_once(inflow, flow, near.heat_w, per_m3_k)
            else:
                k_s = drive_k_s(reach, near)
                if asked is not None:
                    if i in asked:
                        now[i] = left_inside(contents[i], inflow, flow, reach.rate_1_s, k_s)
                    elif i not in streams:
                        streams[i] = leaving(contents[i], inflow, flow, reach.rate_1_s, k_s)
                    continue
                now[i], out = push(contents[i], inflow, flow, reach.rate_1_s, k_s)
                gained = warmth(now[i]) - warmth(contents[i])
            streams.setdefault(i, out)
            passed = flow * (came_in - warmth(out))
            lost[i] = per_m3_k * (passed - gained) + near.heat_w * dt_s
            returned -= per_m3_k * passed
    return Moved(now, lost, returned, streams)


def turn_s(reaches: Sequence[Reach], pattern: Pattern, per_m3_k: float) -> float:
    """The longest time [s] for which `move` may follow water that circles; infinite where none does."""
    return min(
        (reaches[i].capacity_j_k / per_m3_k / abs(pattern.flows[i]) for i in pattern.loop), default=math.inf
    )
