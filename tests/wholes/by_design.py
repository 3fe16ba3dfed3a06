"""Where cyclesim and the reference differ on purpose: that they differ by what was expected."""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from tests.evidence.record import Check
from tests.wholes.cases import (
    AFTER_START_S,
    AGE_S,
    AGE_SHARE,
    DAY_S,
    FILLS_DAYS,
    HOUR_S,
    TUB_K,
    Case,
    closed,
    opened,
    ours,
    row,
    scenario,
    starts_of,
    tub_at,
)
from tests.wholes.hydraulics import Hydraulics
from tests.wholes.openloop import moves_of, states_of
from tests.wholes.plant import TUB, Layout
from tests.wholes.water import STILL_M3_S, Duties, ages


def by_design(case: Case) -> Iterator[Check]:
    """Where the two differ on purpose, that they differ by what was expected."""
    yield from _heat_where_it_enters(case)
    yield from _cold_water_arrives(case)
    yield from _coasting(case)


def _heat_where_it_enters(case: Case) -> Iterator[Check]:
    """Water behind a device is warmer than the tub: pipes lose more by UA times that, the tub is colder."""
    truth, tub = opened(case), opened(case, to_tub=True)
    layout = Layout(scenario(case))
    # what a colder tub saves in the pipes belongs to the consequence, not to the cause
    saved_j = _saved_j(layout, truth.duties, np.array(tub.hourly_c) - truth.hourly_c)
    more_j = truth.lost_j["bodies"] - tub.lost_j["bodies"] + saved_j
    expected_j = _warm_stretch_j(case, layout)
    yield row(
        case, "by design", "more heat lost by pipes, as it enters where devices sit", expected_j / 3.6e6,
        more_j / 3.6e6, "kWh", 0.25 * expected_j / 3.6e6,
    )  # fmt: skip
    run, result = closed(case, to_tub=False), ours(case)
    energy = sum(run.energy_j.values()) / 3.6e6
    total = result.metrics.energy.energy_kwh + result.metrics.energy.fuel_kwh
    yield row(
        case,
        "by design",
        "energy in closed loop, heat where the devices sit",
        energy,
        total,
        "kWh",
        0.015 * energy,
    )


def _saved_j(layout: Layout, duties: Duties, colder_k: np.ndarray) -> float:
    """Heat that pipes lose less because the tub is colder: UA while they flow, what they forget standing."""
    hydraulics, saved_j = Hydraulics(layout), 0.0
    for body in layout.bodies.values():
        stood = 0
        for start, end, speeds in (*duties, (duties[-1][1], duties[-1][1], layout.still)):
            if hydraulics.flows(speeds)[body.name] <= STILL_M3_S and end > start:
                stood += end - start
                continue
            k = colder_k[start // HOUR_S]
            saved_j += body.capacity_j_k * k * (1.0 - np.exp(-stood * body.ua_w_k / body.capacity_j_k))
            saved_j += body.ua_w_k * k * (end - start)
            stood = 0
    return float(saved_j)


def _warm_stretch_j(case: Case, layout: Layout) -> float:
    """Heat that pipes lose more: UA times how much warmer than the tub the water behind a device is, while it
    flows; and what of that warmth is left in them when it stops, as far as they forget it standing.
    """
    trace, plant, hydraulics = ours(case).trace, scenario(case).plant, Hydraulics(layout)
    streams = {**trace.pumps, **trace.sources}
    known = {name: states_of(s) for name, s in {**streams, "positions": trace.positions}.items()}
    edges = sorted({int(t) for at, _ in known.values() for t in at} | {0, trace.span_s})
    whole_j, warmer_k, stood_s = 0.0, dict.fromkeys(layout.bodies, 0.0), dict.fromkeys(layout.bodies, 0)
    for start, end in pairwise(edges):
        now = {n: st[int(np.searchsorted(at, start, side="right")) - 1] for n, (at, st) in known.items()}
        flows = hydraulics.flows(moves_of(trace, layout, now))
        rises = dict.fromkeys(layout.bodies, 0.0)
        for name in streams:
            if flows[name] > STILL_M3_S and (name in plant.pumps or now[name] == "firing"):
                if name in plant.pumps:
                    heat_w = plant.pumps[name].heat_to_water * plant.pumps[name].speeds[now[name]].power_w
                else:
                    heat_w = _output_w(case, name, start, end)
                for body, rise in _rises_k_w(layout, flows, name).items():
                    rises[body] += heat_w * rise
        for name, body in layout.bodies.items():
            if flows[name] <= STILL_M3_S:
                stood_s[name] += end - start
                continue
            forgotten = 1.0 - np.exp(-stood_s[name] * body.ua_w_k / body.capacity_j_k)
            whole_j += body.capacity_j_k * warmer_k[name] * forgotten
            whole_j += body.ua_w_k * rises[name] * (end - start)
            warmer_k[name], stood_s[name] = rises[name], 0
    return float(whole_j)


def _output_w(case: Case, name: str, start: int, end: int) -> float:
    """Mean output of a source over a while."""
    sheet, rows = scenario(case).plant.heat_sources[name], ours(case).trace.exchanges.get(name)
    if sheet.kind != "heat_pump" or rows is None:
        return sheet.output_w
    mine = (rows.start_s >= start) & (rows.end_s <= end)
    return float(rows.heat_j[mine].sum() / (end - start))


def _rises_k_w(layout: Layout, flows: dict[str, float], name: str) -> dict[str, float]:
    """By how much each body is warmer for a watt put in at *name*: the share of it that flows there / c Q."""
    found: dict[str, float] = {}
    if name in layout.bodies:  # its own water warms on the way through
        found[name] = 0.5 / (flows[name] * layout.water_j_m3_k)
    carried = {next(p.b for p in layout.pieces if p.name == name): 1.0}
    while nodes := set(carried) - {TUB}:
        node = nodes.pop()
        heat, out = (
            carried.pop(node),
            [p for p in layout.pieces if p.a == node and flows[p.name] > STILL_M3_S],
        )
        whole = sum(flows[p.name] for p in out)
        for p in out:
            if p.body is not None:
                part = p.volume_m3 / sum(q.volume_m3 for q in layout.pieces if q.body == p.body)
                found[p.body] = found.get(p.body, 0.0) + part * heat / (whole * layout.water_j_m3_k)
            carried[p.b] = carried.get(p.b, 0.0) + heat * flows[p.name] / whole
    return found


def _cold_water_arrives(case: Case) -> Iterator[Check]:
    """Until a loop has turned over cyclesim's tub lacks its cold water; ten minutes on it has all of it."""
    trace, run = ours(case).trace, opened(case)
    seconds = np.array(sorted(run.moments_c))
    apart = dict(
        zip(seconds.tolist(), tub_at(trace, seconds) - [run.moments_c[t] for t in seconds], strict=True)
    )
    starts = [t for t in starts_of(trace) if t in run.cold_k and t + 600 in apart]
    coldest = max(starts, key=lambda t: run.cold_k[t])
    early = max(apart.get(coldest + s, 0.0) for s in AFTER_START_S[:-1])
    cold_k = run.cold_k[coldest]  # the most that it can be; half of it is there a while before the last
    yield row(
        case, "by design", "tub before its coldest loop counts, warmer by", 0.75 * cold_k, early, "K",
        0.25 * cold_k,
    )  # fmt: skip
    late = max((apart[t + 600] for t in starts), key=abs)
    yield row(case, "by design", "tub ten minutes after a start, above the reference", 0.0, late, "K", TUB_K)


def _coasting(case: Case) -> Iterator[Check]:
    """Ages if the water of a pump that is switched off ran on for as long as the file says that it coasts."""
    trace, plant = ours(case).trace, scenario(case).plant
    layout = Layout(scenario(case))
    late: Duties = []
    for start, end, speeds in opened(case).duties:
        if late:
            was = late[-1][2]
            coasts = tuple(s if s != "stopped" else w for s, w in zip(speeds, was, strict=True))
            lasts = min(end - start, max(round(p.coasts_s) for p in plant.pumps.values()))
            if coasts != speeds and lasts:
                late.append((start, start + lasts, coasts))
                start += lasts
        if start < end:
            late.append((start, end, speeds))
    found = ages(layout, Hydraulics(layout), late, -1e9)
    for name, piece in layout.reported.items():
        if name in plant.legs:
            rows = trace.ages[name]
            counted = rows.start_s >= FILLS_DAYS * DAY_S
            says = found[piece].peak_s(float(rows.start_s[counted].min()), trace.span_s)
            got = float(rows.oldest_peak_s[counted].max())
            yield row(
                case,
                "by design",
                f"oldest water if pumps coasted, {name}",
                says,
                got,
                "s",
                AGE_S + AGE_SHARE * says,
            )
