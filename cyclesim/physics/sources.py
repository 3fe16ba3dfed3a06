"""Heat sources besides the electric element: heat pump, wood stove, solar collector."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from math import exp, log, pi
from typing import NamedTuple, Self

import numpy as np

from cyclesim.spreads import Assumption

from .climate import DAY_S, HOUR_S, YEAR_S
from .evaporation import ZERO_C_K

CONDENSER_K = Assumption(5.0, 3.0, 10.0, "refrigerant above the water, common practice, no source")
EVAPORATOR_K = Assumption(10.0, 5.0, 15.0, "refrigerant below the air, common practice, no source")
LEAST_EFFORT = Assumption(
    1.0 / 12.0, 0.05, 0.1, "ideal work per heat of mild days, common practice, no source"
)
OUTPUT_PER_AIR_K = Assumption(0.025, 0.015, 0.035, "share of output per K of air, common practice, no source")
OUTPUT_PER_WATER_K = Assumption(0.006, 0.002, 0.012, "lost per K of water, common practice, no source")
DEFROST_BELOW_C = Assumption(5.0, 3.0, 7.0, "air below which coils frost, common practice, no source")
DEFROST_SHARE = Assumption(0.10, 0.05, 0.20, "output lost in saturated air, common practice, no source")

_DRY_COIL = 0.5  # relative humidity up to which no frost is counted; common practice, no source
_RATED_EFFORT = 0.03  # an easier rating is taken as this: below it, the ideal work loses its meaning
_INSTANT_S = 1e-6  # so long a day of no sun lasts
_PRIOR_K = 0.1  # weight of the usual slopes: enough where the points say nothing, lost where they do


class RatedPoint(NamedTuple):
    """One line of a heat pump's data sheet: degC of air and of water, heat output in W, COP."""

    air_c: float
    water_c: float
    output_w: float
    cop: float


@dataclass(frozen=True, slots=True)
class HeatPumpRating:
    """An air-to-water heat pump as its rated points describe it; build it with from_points.

    COP: the ideal (Carnot) work per unit of heat is taken between a refrigerant 5 K above the water and 10 K
    below the air, and called the effort. The rated work per heat (1 / COP) is linear in effort between the
    points, and the outermost points' fraction of Carnot stays beyond them. So the COP cannot pass Carnot,
    never falls with the air nor rises with the water. It is at least 1: what the machine draws ends as heat
    in the water. An easier effort than 1/12 gains only what a point was rated for, because compressors keep a
    least pressure ratio. Points that contradict this (more COP for more effort) are averaged.

    Output: exponential in both temperatures, by least squares through the points; where they say nothing,
    2.5 % per K of air and -0.6 % per K of water. Extrapolated to worse conditions only: above the warmest
    rated air and below the coldest rated water the output gains nothing.

    misfit() tells how far the model passes from the points.
    """

    points: tuple[RatedPoint, ...]
    lowest_air_c: float
    defrost_below_c: float
    defrost_share: float
    knots: tuple[tuple[float, float], ...]
    log_output: tuple[float, float, float]
    warmest_air_c: float
    coldest_water_c: float

    @classmethod
    def from_points(
        cls,
        points: Sequence[RatedPoint],
        *,
        lowest_air_c: float,
        defrost_below_c: float = DEFROST_BELOW_C.value,
        defrost_share: float | None = None,
    ) -> Self:
        """A heat pump from one rated point or more; below lowest_air_c it stands still.

        defrost_share is the share of output lost in saturated air below defrost_below_c, in proportion less
        in drier air and nothing up to 50 %. Left out, it is 10 %, or nothing if a point is rated below
        defrost_below_c, because such ratings contain it (EN 14511, from memory, not opened).
        Raises ValueError for no points, and for a point that no machine can reach.
        """
        if not points:
            raise ValueError("a heat pump needs one rated point or more")
        for point in points:
            if not (point.output_w > 0.0 and 1.0 <= point.cop < 1.0 / _effort(point.air_c, point.water_c)):
                most = 1.0 / _effort(point.air_c, point.water_c)
                raise ValueError(
                    f"{point}: expected an output above 0 W and a COP from 1 to below {most:.1f}"
                )
        if defrost_share is None:
            rated_wet = any(point.air_c < defrost_below_c for point in points)
            defrost_share = 0.0 if rated_wet else DEFROST_SHARE.value
        fit = _fit_output(points)
        warmest, coldest = max(p.air_c for p in points), min(p.water_c for p in points)
        knots = _knots(points)
        return cls(tuple(points), lowest_air_c, defrost_below_c, defrost_share, knots, fit, warmest, coldest)

    def cop(self, air_c: float, water_c: float) -> float:
        """Heat per electricity [-] without defrosting, at temperatures of outdoor air and water [degC]."""
        effort, knots = _effort(air_c, water_c), self.knots
        if effort <= knots[0][0]:
            kept = max(effort, min(knots[0][0], LEAST_EFFORT.value))
            return knots[0][0] / (knots[0][1] * kept)
        if effort >= knots[-1][0]:
            return max(1.0, knots[-1][0] / (knots[-1][1] * effort))
        i = bisect_right(knots, effort, key=lambda knot: knot[0])
        (e0, w0), (e1, w1) = knots[i - 1], knots[i]
        return 1.0 / (w0 + (w1 - w0) * (effort - e0) / (e1 - e0))

    def output_w(self, air_c: float, water_c: float) -> float:
        """Heat (W) without defrosting, running or not."""
        level, per_air, per_water = self.log_output
        air = min(air_c, self.warmest_air_c)
        water = max(water_c, self.coldest_water_c)
        return exp(level + per_air * air - per_water * water)

    def at(self, air_c: float, humidity: float, water_c: float) -> tuple[float, float]:
        """Heat (W) and electricity (W), defrosting in air of this relative humidity (0..1) included.

        Defrosting costs output and not electricity: the compressor runs on. Both are 0 below lowest_air_c.
        water_c is in the terms of the rated points; where these name leaving water, it leaves some K warmer
        than the tub.
        """
        if air_c < self.lowest_air_c:
            return 0.0, 0.0
        full = self.output_w(air_c, water_c)
        lost = 0.0
        if air_c < self.defrost_below_c:
            lost = self.defrost_share * max(humidity - _DRY_COIL, 0.0) / (1.0 - _DRY_COIL)
        return full * (1.0 - lost), full / self.cop(air_c, water_c)

    def misfit(self) -> float:
        """Largest relative distance [-] of the model from a rated output or COP."""
        return max(
            abs(model / rated - 1.0)
            for air, water, output, cop in self.points
            for model, rated in ((self.output_w(air, water), output), (self.cop(air, water), cop))
        )


def _effort(air_c: float, water_c: float) -> float:
    """Ideal work per unit of heat between the refrigerant's two temperatures, kept above zero."""
    cold = air_c - EVAPORATOR_K.value + ZERO_C_K
    return max(1.0 - cold / (water_c + CONDENSER_K.value + ZERO_C_K), _RATED_EFFORT)


def _knots(points: Sequence[RatedPoint]) -> tuple[tuple[float, float], ...]:
    """(effort, work per heat), efforts rising and work never falling: what contradicts is averaged."""
    merged: dict[float, list[float]] = {}
    for point in points:
        merged.setdefault(_effort(point.air_c, point.water_c), []).append(1.0 / point.cop)
    pools: list[tuple[list[float], list[float]]] = []
    for effort, works in sorted(merged.items()):
        pools.append(([effort], works))
        while len(pools) > 1 and _mean(pools[-2][1]) > _mean(pools[-1][1]):
            efforts, last = pools.pop()
            pools[-1] = (pools[-1][0] + efforts, pools[-1][1] + last)
    return tuple((effort, _mean(works)) for efforts, works in pools for effort in efforts)


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values)


def _fit_output(points: Sequence[RatedPoint]) -> tuple[float, float, float]:
    """Level and slopes of the logarithm of the output: least squares with the usual slopes as weak prior."""
    import numpy as np

    air, water = _mean([p.air_c for p in points]), _mean([p.water_c for p in points])
    level = _mean([log(p.output_w) for p in points])
    rows = [(p.air_c - air, water - p.water_c) for p in points] + [(_PRIOR_K, 0.0), (0.0, _PRIOR_K)]
    usual = [_PRIOR_K * OUTPUT_PER_AIR_K.value, _PRIOR_K * OUTPUT_PER_WATER_K.value]
    aims = [log(p.output_w) - level for p in points] + usual
    fitted = np.linalg.lstsq(np.array(rows), np.array(aims), rcond=None)[0]
    per_air, per_water = (max(float(slope), 0.0) for slope in fitted)
    return level - per_air * air + per_water * water, per_air, per_water


@dataclass(frozen=True, slots=True)
class WoodStove:
    """A stove that gives output_w for burns_s after lighting, then dies down with the time constant fades_s.

    A declared profile, common practice, no source: no stove burns so evenly. Nobody can switch it off.
    """

    output_w: float
    burns_s: float
    fades_s: float

    def heat_w(self, since_lit_s: float) -> float:
        """Heat (W) at a time after lighting; 0 before it."""
        if since_lit_s < 0.0:
            return 0.0
        late_s = max(since_lit_s - self.burns_s, 0.0)
        return self.output_w * (exp(-late_s / self.fades_s) if self.fades_s > 0.0 else float(late_s == 0.0))

    def given_j(self, since_lit_s: float) -> float:
        """Heat (J) given from lighting until then, in closed form."""
        burnt_s = min(max(since_lit_s, 0.0), self.burns_s)
        late_s = max(since_lit_s - self.burns_s, 0.0)
        faded_s = self.fades_s * (1.0 - exp(-late_s / self.fades_s)) if self.fades_s > 0.0 else 0.0
        return self.output_w * (burnt_s + faded_s)


@dataclass(frozen=True, slots=True)
class SolarCollector:
    """A collector by declaration: output at noon (W) and length of day (h) at midsummer and at midwinter.

    Half a sine from sunrise to sunset about noon, output and day length between the two seasons by a cosine
    over the year. This is a declared profile, not a model of the sun: no latitude, no slope, no cloud. Give
    the output that the installer expects on the average day. No one can switch the sun off.
    """

    midsummer_w: float
    midwinter_w: float
    midsummer_day_h: float
    midwinter_day_h: float
    midsummer: tuple[int, int] = (6, 21)
    noon_h: float = 12.0

    def hourly_w(self, start_local_standard: datetime, hours: int) -> list[float]:
        """Mean heat (W) of each hour from a naive local standard time on, the sine integrated exactly."""
        started_s = (start_local_standard - datetime(2000, *self.midsummer)).total_seconds()
        first_s = started_s - started_s % DAY_S - DAY_S  # a day of sun may pass midnight
        days_s = np.arange(first_s, started_s + HOUR_S * hours + DAY_S + 1.0, DAY_S)[:, None]
        summer = 0.5 + 0.5 * np.cos(2.0 * pi * (days_s / YEAR_S))
        peak_w = self.midwinter_w + (self.midsummer_w - self.midwinter_w) * summer
        shorter_h = self.midsummer_day_h - self.midwinter_day_h
        length_s = np.maximum(HOUR_S * (self.midwinter_day_h + shorter_h * summer), _INSTANT_S)
        sunrise_s = days_s + HOUR_S * self.noon_h - length_s / 2.0
        # 24 h of sun touch 25 hours at most, which have 26 ends
        at = np.floor((sunrise_s - started_s) / HOUR_S).astype(np.int64) + np.arange(26)
        gone = np.clip((started_s + HOUR_S * at - sunrise_s) / length_s, 0.0, 1.0)
        heats_j = peak_w * length_s / pi * -np.diff(np.cos(pi * gone))
        at = at[:, :-1]
        asked = (at >= 0) & (at < hours)
        by_hour = np.bincount(at[asked], heats_j[asked], minlength=hours)
        mean_w: list[float] = (by_hour / HOUR_S).tolist()
        return mean_w
