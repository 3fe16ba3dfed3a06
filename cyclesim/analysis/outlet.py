"""How hot water leaves a heat source: what comes to it and what it puts in, and what stood hot in it before.

While it fires, the water that leaves is as `physics.settled` has it: the tub's, less what the pipes before it
lose, and more by what pumps and sources on the way put in. What has stood in a source that is hot (after it
fired into still water, or stopped without a run-on) leaves as a whole when water moves again.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from cyclesim.analysis import mends
from cyclesim.analysis.amounts import flow, hotter
from cyclesim.analysis.findings import Breach, Change, Judged, Subject
from cyclesim.analysis.history import History
from cyclesim.analysis.spans import Bools, Floats, covers, spans, where, while_in
from cyclesim.analysis.sun_rules import stopped_in_time, stopped_too_late
from cyclesim.analysis.tub import water_c_at
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.scenario.blocks.heat_sources import HeatPump
from cyclesim.simulation.assembly import Assembly, PlantDuty
from cyclesim.simulation.exchanges import sun_w
from cyclesim.simulation.programme import Programme
from cyclesim.units import format_quantity


def outlet_too_hot(history: History) -> Judged:
    """Water leaves a heat source warmer than the limit, while it fires or as water begins to move."""
    limit_c = history.plant.scenario.limits.outlet_temperature_c
    if not len(history.trace.tub) or history.trace.zones is None:
        return
    for name in history.trace.sources:
        yield from _while_it_fires(history, name, limit_c)
        yield from _as_water_starts(history, name, limit_c)


def _while_it_fires(history: History, name: str, limit_c: float) -> Judged:
    edges, begins, duty_of_piece, duties = _pieces(history, name)
    outlet_c = np.full(len(begins), -np.inf)
    on = covers(while_in(history.trace.sources[name], "firing"), begins)
    for duty in duties:
        if abs(duty.flow_m3_s(name)) > STILL_M3_S:
            mine = on & np.array([other is duty for other in duties])[duty_of_piece]
            if mine.any():
                outlet_c[mine] = _leaves_c(history, name, duty, edges, mine)
    hot = {id(duties[i]): duties[i] for i in np.unique(duty_of_piece[outlet_c > limit_c]).tolist()}
    for duty in hot.values():
        same = np.array([other is duty for other in duties])[duty_of_piece]
        for start, end in where(edges, same & (outlet_c > limit_c)).tolist():
            worst = float(np.max(outlet_c[(begins >= start) & (begins < end) & same]))
            cause = f"only {flow(abs(duty.flow_m3_s(name)))} pass it at {duty.name}"
            mend = "more water through it: a higher speed or a larger pump; or a smaller source"
            if name in history.plant.steered and (late := stopped_too_late(history.plant, name)):
                mend = f"{late.mend}; or {mend}"
            yield Breach(name, cause, worst, "degC", hotter(worst, limit_c), mend, start, end - start)


class _Pieces(NamedTuple):
    """Stretches on which nothing about a source changes, and the duty of each."""

    edges: Floats
    begins: Floats
    duty_of_piece: np.ndarray[tuple[int], np.dtype[np.intp]]
    duties: tuple[PlantDuty, ...]


def _pieces(history: History, name: str) -> _Pieces:
    trace = history.trace
    since, until, duties = zip(*history.duties, strict=True)
    pieces = [trace.tub.start_s, np.array(since, dtype=float), np.array(until, dtype=float)]
    for source, stream in trace.sources.items():
        pieces.append(while_in(stream, "firing").ravel())
        rows = trace.own_waters.get(source) or trace.exchanges.get(source)
        if rows is not None and source == name:
            pieces += [rows.start_s, rows.end_s]
    edges = np.unique(np.concatenate(pieces))
    edges = edges[(edges >= 0.0) & (edges <= trace.span_s)]
    duty_of_piece = np.searchsorted(np.array(since), edges[:-1], side="right") - 1
    found: dict[int, int] = {}
    numbers = np.array([found.setdefault(id(duty), len(found)) for duty in duties])
    kept = {id(duty): duty for duty in duties}
    return _Pieces(edges, edges[:-1], numbers[duty_of_piece], tuple(kept[key] for key in found))


def _leaves_c(history: History, name: str, duty: PlantDuty, edges: Floats, mine: Bools) -> Floats:
    """Temperature [degC] of what leaves a source, on those pieces, at the warmer end of the tub's."""
    plant, trace = history.plant, history.trace
    assert trace.zones is not None
    row, ways = outlet_factors(plant, duty, name), plant.ways
    tub_c = water_c_at(trace, edges)
    begins = edges[:-1][mine]
    found: Floats = row[0] * np.maximum(tub_c[:-1], tub_c[1:])[mine]
    for factor, zone in zip(row[1:], ways.zones, strict=False):
        if factor:
            series = np.array(trace.zones.series[zone])
            hour = ((begins - trace.zones.origin_s) // 3600).astype(int)
            found = found + factor * series[np.clip(hour, 0, len(series) - 1)]
    for device, factor in _heated(plant, row):
        if device in duty.pump_heats_w:
            found = found + factor * duty.pump_heats_w[device]
        elif device in trace.sources:
            fires = covers(while_in(trace.sources[device], "firing"), begins)
            fires |= device in trace.own_waters  # which gives heat for as long as it is warmer
            found = found + factor * np.where(fires, _heat_w(history, device, edges)[mine], 0.0)
    return found


def outlet_factors(plant: Assembly, duty: PlantDuty, name: str) -> Floats:
    """Factors of what leaves a device at a duty, in the order of `settled.forces`."""
    at = plant.reach_at[name]
    circuit = next(g for g, members in enumerate(plant.ways.circuits) if at in members)
    way = plant.ways.of(circuit, duty.plug_flows_m3_s)
    assert way is not None, "water moves through it"
    row: Floats = np.asarray(way.settled.outlet[way.settled.moving.index(at)], dtype=float)
    return row


def _heated(plant: Assembly, row: Floats) -> Iterator[tuple[str, float]]:
    """Each device whose heat reaches the outlet, with its factor [K/W]."""
    heats = row[plant.ways.first_heat : -1]
    for i in np.flatnonzero(heats).tolist():
        yield plant.plugs[i].name, float(heats[i])


def _heat_w(history: History, name: str, edges: Floats) -> Floats:
    """Heat of a source while it fires [W], between each two edges: an element's is constant, others' not."""
    sheet, rows = history.plant.sheet.heat_sources[name], history.trace.exchanges.get(name)
    if name in history.trace.own_waters:
        own = history.trace.own_waters[name]
        k = np.clip(np.searchsorted(own.start_s, edges[:-1], side="right") - 1, 0, None)
        over_w: Floats = (own.over_j / (own.end_s - own.start_s))[k]
        return over_w
    if sheet.switched and not isinstance(sheet, HeatPump):
        return np.full(len(edges) - 1, sheet.output_w)
    if name in history.plant.plates:
        hours = math.ceil(history.trace.span_s / 3600)
        watts = np.array(sun_w(history.plant, name, history.trace.begin_utc, hours))
        return np.asarray(watts[(edges[:-1] // 3600).astype(int)])
    if rows is None or not len(rows):  # it never fired in the span
        return np.zeros(len(edges) - 1)
    mean_w = rows.heat_j / (rows.end_s - rows.start_s)
    k = np.searchsorted(rows.start_s, edges[:-1], side="right") - 1
    heat_w: Floats = np.where((k >= 0) & (edges[:-1] < rows.end_s[k]), mean_w[k], 0.0)
    return heat_w


def _as_water_starts(history: History, name: str, limit_c: float) -> Judged:
    """What has stood in a source, hotter than the limit, leaves as water begins to move."""
    rows = history.trace.stays.get(name)
    if rows is None or len(rows) < 2:
        return
    temps_c, ends_s = rows.end_c, rows.end_s
    still = [(a, b) for a, b, duty in history.duties if abs(duty.flow_m3_s(name)) <= STILL_M3_S]
    stood = covers(spans(still), rows.start_s)
    hot = stood[:-1] & ~stood[1:] & (temps_c[:-1] > limit_c)
    since = np.array([start for start, _, _ in history.duties])
    mend = f"let the pump run on after it fires: keep, after: {name}; and a lower high_limit of its own"
    if name in history.plant.plates:
        mend = _cooler_first(history.plant, name, limit_c)
    elif not history.plant.sheet.heat_sources[name].switched:
        mend = mends.RUN_FOR_IT
    for k in np.flatnonzero(hot).tolist():
        at_s, worst = float(ends_s[k]), float(temps_c[k])
        duty = history.duties[int(np.searchsorted(since, at_s, side="right")) - 1][2]
        moves_m3_s = abs(duty.flow_m3_s(name))
        lasts_s = history.plant.housings[name].volume_m3 / moves_m3_s if moves_m3_s > STILL_M3_S else 0.0
        cause = "what stood hot in it leaves when water moves again"
        yield Breach(name, cause, worst, "degC", hotter(worst, limit_c), mend, at_s, lasts_s)


def _cooler_first(plant: Assembly, name: str, limit_c: float) -> str:
    """What keeps hot collectors from being let in, but for what the file has."""
    steered = plant.steered.get(name)
    stop_c = steered.not_above_c if steered else None
    if stop_c is None:
        first = "let them cool first: steered: not_above"
    elif stop_c > limit_c:
        first = f"let them cool further: not_above: {format_quantity(limit_c, 'temperature')} or less"
    else:
        first = "not_above does not keep it in: see which other pump or valve lets it out by day"
    return f"{first}; and rinse them before the sun is up"


def cooler_sun(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """Steered collectors that are stopped in time, and let in no hotter than may leave them."""
    steered = plant.steered.get(about.name)
    if steered is None:
        return
    yield from stopped_in_time(plant, programme, about)
    limit_c = plant.scenario.limits.outlet_temperature_c
    if about.name in plant.plates and (steered.not_above_c is None or steered.not_above_c > limit_c):
        limit = format_quantity(limit_c, "temperature")
        at = "plant", "heat_sources", about.name, "steered", "not_above_c"
        sentence = (
            f"let {about.name} cool first: steered: not_above: {limit} (what sun they then miss is lost)"
        )
        yield mends.change(sentence, mends.with_text(limit_c, limit, *at))
