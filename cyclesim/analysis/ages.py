"""Legs, last stretches, dead ends and housings: how water stood, aged, cooled and lost its heat."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from cyclesim.analysis.metrics import SPELL_EDGES_H, LegMetrics, Spells
from cyclesim.analysis.spans import NONE, Floats, Spans, meet, spans, total_s
from cyclesim.physics.heat import HOUR_S
from cyclesim.physics.stays import Body
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.jets import last_stretch
from cyclesim.simulation.trace import Rows, Trace, Zones

J_PER_KWH = 3.6e6
_H_S = 3600.0
_ALIKE_S = 1e-5  # of peaks no farther apart the first is named: which is the highest is rounding
ABSOLUTE_ZERO_C = -273.15


class AgeRows(NamedTuple):
    """The columns of one element's water age, each read once."""

    start_s: Floats
    end_s: Floats
    flow_m3_s: Floats
    oldest_peak_s: Floats
    oldest_integral_s2: Floats
    mean_integral_s2: Floats
    above_limit_s: Floats

    @property
    def standing(self) -> Spans:
        """When the water stood."""
        still = np.abs(self.flow_m3_s) <= STILL_M3_S
        return spans(np.column_stack((self.start_s[still], self.end_s[still])))


def age_rows(trace: Trace, name: str) -> AgeRows:
    """The water age of one element."""
    rows = trace.ages[name]
    return AgeRows(*(getattr(rows, field) for field in AgeRows._fields))


def kind_of(plant: Assembly, name: str) -> str:
    """What a reported element is: leg, last jet, dead end, equipment or heat source."""
    if name in plant.sheet.legs:
        return "dead end" if plant.sheet.legs[name].dead_end else "leg"
    if name in plant.sheet.equipment:
        return "equipment"
    return "heat source" if name in plant.sheet.heat_sources else "last jet"


def body_of(plant: Assembly, name: str) -> str:
    """The body of water whose temperature a reported element has: a last stretch has its leg's."""
    return next((leg for leg in plant.sheet.legs if last_stretch(leg) == name), name)


@lru_cache(maxsize=64)
def _by_hour(zone_c: bytes, tau_s: float) -> Floats:
    """What stands beside an hourly zone from its first hour on, by the hour; runs of one weather share it."""
    decay, series = math.exp(-HOUR_S / tau_s), np.frombuffer(zone_c).tolist()
    temp = series[0]
    return np.array([temp, *(temp := zone + (temp - zone) * decay for zone in series[:-1])])


class Standing:
    """Water that stands beside an hourly zone, as in `physics.heat`, but read at many times at once."""

    def __init__(self, zones: Zones, body: Body) -> None:
        self.zone_c = np.array(zones.series[body.zone], dtype=float)
        self.origin_s = float(zones.origin_s)
        self.tau_s = body.capacity_j_k / body.ua_w_k
        self._kept_c = _by_hour(self.zone_c.tobytes(), self.tau_s)

    def zone_at(self, at_s: Floats) -> Floats:
        """Temperature [degC] of the zone."""
        hour = np.clip((at_s - self.origin_s) // HOUR_S, 0, len(self.zone_c) - 1).astype(int)
        zone_c: Floats = self.zone_c[hour]
        return zone_c

    def _particular(self, at_s: Floats) -> Floats:
        since = np.maximum(at_s - self.origin_s, 0.0)
        hour = np.minimum(since // HOUR_S, len(self.zone_c) - 1).astype(int)
        zone = self.zone_c[hour]
        temp_c: Floats = zone + (self._kept_c[hour] - zone) * np.exp(-(since - hour * HOUR_S) / self.tau_s)
        return temp_c

    def temps_at(self, at_s: Floats, since_s: Floats, *starts_c: Floats) -> list[Floats]:
        """Temperatures [degC] of waters that were *starts_c* at *since_s* and have stood since."""
        was_c, is_c = self._particular(since_s), self._particular(at_s)
        left = np.exp(-(at_s - since_s) / self.tau_s)
        return [is_c + (start_c - was_c) * left for start_c in starts_c]

    def temp_at(self, at_s: Floats, since_s: Floats, start_c: Floats) -> Floats:
        """Temperature [degC] of water that was *start_c* at *since_s* and has stood since."""
        return self.temps_at(at_s, since_s, start_c)[0]


class Temperatures(NamedTuple):
    """A body's stays cut at every full hour, so that each piece relaxes to one temperature."""

    start_s: Floats
    end_s: Floats
    start_c: Floats
    end_c: Floats
    zone_c: Floats
    tau_s: float

    def within(self, low_c: float, high_c: float) -> Spans:
        """When the water is between two temperatures."""
        a, b = self.start_c, self.end_c
        falls = a > b
        enters_at, leaves_at = np.where(falls, high_c, low_c), np.where(falls, low_c, high_c)
        sign = np.where(falls, -1.0, 1.0)
        begins = np.where(sign * (a - enters_at) >= 0.0, self.start_s, self._reaches(enters_at))
        ends = np.where(sign * (leaves_at - b) >= 0.0, self.end_s, self._reaches(leaves_at))
        crosses = (sign * (b - enters_at) >= 0.0) & (sign * (leaves_at - a) >= 0.0)
        return spans(np.column_stack((begins[crosses], ends[crosses])))

    def _reaches(self, level_c: Floats) -> Floats:
        """When each piece reaches a level that lies between its ends (anything where it does not)."""
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = (self.start_c - self.zone_c) / (level_c - self.zone_c)
            late = self.tau_s * np.log(np.where(ratio > 0.0, ratio, 1.0))
        reached_s: Floats = np.clip(self.start_s + late, self.start_s, self.end_s)
        return reached_s


class Ends(NamedTuple):
    """The temperatures of a body's two ends while it stands."""

    coldest: Temperatures
    warmest: Temperatures


def standing_ends(plant: Assembly, trace: Trace, body: str) -> Ends | None:
    """The temperatures of both ends of a body while it stands; None where nothing tells."""
    rows = trace.stays.get(body)
    if rows is None or trace.zones is None or not len(rows):
        return None
    alone = rows.joined == 0.0
    start, until = rows.start_s[alone], rows.end_s[alone]
    starts_c = rows.coldest_c[alone], rows.warmest_c[alone]
    water = Standing(trace.zones, next(b for b in plant.bodies if b.name == body))
    if not len(start):
        return Ends(*(Temperatures(start, until, c, c, c, water.tau_s) for c in starts_c))
    first = water.origin_s + HOUR_S * (np.floor((start[0] - water.origin_s) / HOUR_S) + 1.0)
    hours = np.arange(first, until[-1], HOUR_S)
    stay = np.searchsorted(start, hours, side="right") - 1
    hours, stay = hours[hours < until[stay]], stay[hours < until[stay]]
    new = hours > start[stay]
    hours, stay = hours[new], stay[new]
    begins = np.concatenate((start, hours))
    stay_of_piece = np.concatenate((np.arange(len(start)), stay))
    order = np.argsort(begins, kind="stable")
    begins, stay_of_piece = begins[order], stay_of_piece[order]
    ends = np.append(begins[1:], until[-1])
    last = np.append(stay_of_piece[1:] != stay_of_piece[:-1], True)
    ends[last] = until[stay_of_piece[last]]
    zone, left = water.zone_at(begins), np.exp(-(ends - begins) / water.tau_s)
    temps_c = water.temps_at(begins, start[stay_of_piece], *(c[stay_of_piece] for c in starts_c))
    return Ends(
        *(Temperatures(begins, ends, c, zone + (c - zone) * left, zone, water.tau_s) for c in temps_c)
    )


def warm(ends: Ends | None, band_c: tuple[float, float]) -> Spans:
    """When some of the water of a body that stood was inside a band [degC]."""
    if ends is None:
        return NONE
    low_c, high_c = band_c
    return meet(ends.coldest.within(ABSOLUTE_ZERO_C, high_c), ends.warmest.within(low_c, math.inf))


def never_moved(trace: Trace, rows: AgeRows) -> bool:
    """Whether water has stood since the warm-up began, so that nobody knows its age."""
    if not len(rows.start_s) or np.any(np.abs(rows.flow_m3_s) > STILL_M3_S):
        return False
    warm_up_s = -trace.zones.origin_s if trace.zones else 0
    at_start_s = rows.oldest_peak_s[0] - (rows.end_s[0] - rows.start_s[0])
    return bool(at_start_s >= warm_up_s)


def measure_leg(
    plant: Assembly,
    trace: Trace,
    name: str,
    rows: AgeRows,
    still: Spans,
    warm_still: Spans,
    coldest_c: float | None,
) -> LegMetrics:
    """What is told of one reported element of a *plant*, by its *name*, over the span of a *trace*.

    *rows*: its water ages [s]; *still*: when it stood [s]; *warm_still*: when it stood warm [s]; *coldest_c*:
    the coldest that its body was [degC], None where nothing tells.
    """
    span_s = float(trace.span_s)
    in_jets_too = name in plant.sheet.legs
    volume_m3 = plant.leg_volume_m3(name) if in_jets_too else plant.plugs[plant.reported[name]].volume_m3
    moved_m3 = float(np.sum(np.abs(rows.flow_m3_s) * (rows.end_s - rows.start_s)))
    stood_s = total_s(still)
    longest_h, longest_at = _longest(trace, still)
    warm_h, warm_at = _longest(trace, warm_still)
    oldest_h = oldest_at = mean_oldest_h = mean_h = None
    if len(rows.start_s) and not never_moved(trace, rows):
        oldest_s = float(np.max(rows.oldest_peak_s))
        k = int(np.argmax(rows.oldest_peak_s > oldest_s - _ALIKE_S))
        oldest_h = oldest_s / _H_S
        peak_at_s = rows.end_s[k] if abs(rows.flow_m3_s[k]) <= STILL_M3_S else rows.start_s[k]
        oldest_at = when(trace, float(peak_at_s))
        mean_oldest_h = float(np.sum(rows.oldest_integral_s2)) / span_s / _H_S
        mean_h = float(np.sum(rows.mean_integral_s2)) / span_s / _H_S
    kind, body = kind_of(plant, name), body_of(plant, name)
    flowing_kwh = standing_kwh = None
    if kind != "last jet" and body in trace.stays:
        joined, loss_j = trace.stays[body].joined == 1.0, trace.stays[body].loss_j
        flowing_kwh, standing_kwh = (float(np.sum(loss_j[mask])) / J_PER_KWH for mask in (joined, ~joined))
    return LegMetrics(
        kind=kind,
        volume_l=volume_m3 * 1000.0,
        exchanges_per_day=moved_m3 / volume_m3 / (span_s / 86_400.0),
        stagnant_h=stood_s / _H_S,
        stagnant_share_percent=100.0 * stood_s / span_s,
        longest_stagnant_h=longest_h,
        longest_stagnant_from=longest_at,
        stagnant_spells=histogram(still),
        oldest_water_h=oldest_h,
        oldest_water_at=oldest_at,
        oldest_water_mean_h=mean_oldest_h,
        mean_water_age_h=mean_h,
        above_limit_h=float(np.sum(rows.above_limit_s)) / _H_S,
        longest_warm_still_h=warm_h,
        longest_warm_still_from=warm_at,
        coldest_water_c=coldest_c,
        heat_lost_flowing_kwh=flowing_kwh,
        heat_lost_standing_kwh=standing_kwh,
    )


def when(trace: Trace, at_s: float) -> str:
    """Local time, ISO 8601."""
    return trace.local(at_s).isoformat(timespec="seconds")


def _longest(trace: Trace, a: Spans) -> tuple[float, str | None]:
    """The longest spell [h] and when it began; 0 and None where there is none."""
    if not len(a):
        return 0.0, None
    lasts = a[:, 1] - a[:, 0]
    k = int(np.argmax(lasts))
    return float(lasts[k]) / _H_S, when(trace, float(a[k, 0]))


def histogram(a: Spans) -> tuple[Spells, ...]:
    """How many spells are up to 1, 3, 6, ... hours long, each counted in the first class that takes it."""
    edges_s = np.array(SPELL_EDGES_H, dtype=float) * _H_S
    classes = np.searchsorted(edges_s, a[:, 1] - a[:, 0], side="left")
    counts = np.bincount(classes, minlength=len(edges_s) + 1).tolist()
    return tuple(Spells(up_to, n) for up_to, n in zip((*SPELL_EDGES_H, None), counts, strict=True))


def coldest_of(trace: Trace, body: str, temps: Temperatures | None) -> float | None:
    """The coldest that a body was [degC], at its coldest end: standing, or behind a tub as cold as that."""
    rows = trace.stays.get(body)
    if rows is None or not len(rows):
        return None
    temps_c = [rows.coldest_c]
    if temps is not None:
        temps_c.append(temps.end_c)
    temps_c.append(tub_through(trace, rows)[1])
    return float(min(np.min(series_c) for series_c in temps_c if len(series_c)))


def tub_through(trace: Trace, rows: Rows) -> tuple[Floats, Floats]:
    """Seconds and temperatures of the tub's pieces that begin while its water moves through a body."""
    joined, start_s = rows.joined == 1.0, trace.tub.start_s
    flowing = spans(np.column_stack((rows.start_s[joined], rows.end_s[joined])))
    within = np.searchsorted(flowing.ravel(), start_s, side="right") % 2 == 1
    return start_s[within], trace.tub.water_c[within]
