"""How a plant changes from one file of readings to the next: a cause that grows, and when a limit is met.

The cause is the one that explains all files together best, with an amount of its own at each date. Its way is
taken as straight over time, by least squares; what is doubted of the plant is the same at every date, so that
it moves all amounts together and the rate hardly. Nothing is known of how a filter or a foam really goes on:
the date at which a limit is met is where that straight line leads.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from cyclesim.analysis.rules import check_plant
from cyclesim.decide.readings.built import AsBuilt, BuiltPlant
from cyclesim.decide.readings.cause import Cause
from cyclesim.decide.readings.doubts import TO_ENDS, Floats, drawn
from cyclesim.decide.readings.explained import Explainer
from cyclesim.decide.readings.explanation import Fit
from cyclesim.decide.readings.impossible import contradiction
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.readings import Readings
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.jets import jet_name
from cyclesim.simulation.programme import Programme

_YEAR_D = 365.25
_STEPS, _HALVINGS, _STEP = 24, 20, 0.01
_FAR_YEARS = 30.0


@dataclass(frozen=True, slots=True)
class AmountAt:
    """The amount of a cause on the date of a file, and the ends of its interval, which holds 90 of 100."""

    date: str
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Drift:
    """One cause over the dates of several files.

    *per_year* is how fast its amount grows, within *per_year_off* to either side in 90 of 100. *limit* says
    what is met first as it goes on, at the amount *limit_value*, on *limit_on*; None where nothing is, or not
    in thirty years.
    """

    cause: str
    unit: str
    at: tuple[AmountAt, ...]
    per_year: float
    per_year_off: float
    limit: str | None
    limit_value: float | None
    limit_on: str | None

    @property
    def grows(self) -> bool:
        """Whether its change is more than the readings are off by."""
        return abs(self.per_year) > self.per_year_off


def drift(scenario: Scenario, files: Sequence[Readings]) -> Drift | None:
    """The cause that explains several files together, over their dates; None where none beats no cause.

    *files* are in the order of their dates, of which there are at least two.
    """
    explainers = [_explainer(scenario, readings) for readings in files]
    if any(explainer is None for explainer in explainers) or len({file.measured for file in files}) < 2:
        return None
    known = [explainer for explainer in explainers if explainer is not None]
    best: tuple[float, list[Fit]] | None = None
    for k, cause in enumerate(known[0].list):
        if not cause.outright:
            fits = [explainer.refitted(explainer.single(k)) for explainer in known]
            total = sum(fit.log_evidence for fit in fits) - math.log(len(known[0].list))
            if best is None or total > best[0]:
                best = total, fits
    if best is None or best[0] <= sum(explainer.log_as_drawn for explainer in known):
        return None
    return _along(scenario, [file.measured for file in files], known, best[1])


def _explainer(scenario: Scenario, readings: Readings) -> Explainer | None:
    plant = Assembly(scenario)
    taken = [r for r in readings.readings if not contradiction(plant, r, readings)]
    if not taken:
        return None
    told = drawn(scenario, taken, readings.measured)
    return Explainer(scenario, taken, readings.measured, told)


def _together(explainers: Sequence[Explainer], fits: Sequence[Fit]) -> Floats:
    """Covariance of the amounts of a cause at each date: noise of its own, doubts in common."""
    cause, gains, doubts_ = fits[0].causes[0], list[Floats](), list[dict[str, Floats]]()
    for explainer, fit in zip(explainers, fits, strict=True):
        low, high = (float(np.clip(fit.shares[0] + step, 0.0, 1.0)) for step in (-_STEP, _STEP))
        moved = explainer.effect((cause,), [high]) - explainer.effect((cause,), [low])
        per_amount = moved / (cause.at(high) - cause.at(low))
        told = explainer.doubts_at(fit)
        weighed = np.linalg.solve(explainer.noise + told.covariance({cause.doubt}), per_amount)
        gains.append(np.asarray(weighed / max(float(weighed @ per_amount), 1e-12)))
        doubts_.append({name: d for name, d in told.deviation.items() if name != cause.doubt})
    pairs = range(len(fits))
    covariance = np.zeros((len(fits), len(fits)))
    for i in pairs:
        for j in pairs:
            common = (float(gains[i] @ doubts_[i][n]) * float(gains[j] @ doubts_[j][n])
                      for n in doubts_[i] if n in doubts_[j])  # fmt: skip
            covariance[i, j] = sum(common)
        covariance[i, i] += float(gains[i] @ explainers[i].noise @ gains[i])
    return covariance


def _along(
    scenario: Scenario, dates: Sequence[date], explainers: Sequence[Explainer], fits: Sequence[Fit]
) -> Drift:
    """The straight line through the amounts, and where it meets a limit."""
    cause = fits[0].causes[0]
    values, lows, highs = (
        np.array([cause.at(float(end[0])) for end in ends])
        for ends in ([f.shares for f in fits], [f.low for f in fits], [f.high for f in fits])
    )
    years = np.array([(day - dates[0]).days / _YEAR_D for day in dates])
    design = np.column_stack([np.ones_like(years), years])
    weighed = np.linalg.solve(_together(explainers, fits), np.column_stack([design, values]))
    covariance = np.linalg.inv(design.T @ weighed[:, :2])
    start, slope = covariance @ design.T @ weighed[:, 2]
    off = TO_ENDS * float(np.sqrt(covariance[1, 1]))
    now = float(start + slope * years[-1])
    limit, limit_value, on = None, None, None
    if abs(slope) > off:
        limit, limit_value = _limit(scenario, cause, now, rising=slope > 0.0)
        if limit_value is not None and (ahead := (limit_value - now) / float(slope)) <= _FAR_YEARS:
            on = (dates[-1] + timedelta(days=ahead * _YEAR_D)).isoformat()
    points = zip(dates, values, lows, highs, strict=True)
    return Drift(
        cause.name,
        cause.unit,
        tuple(AmountAt(day.isoformat(), float(v), float(low), float(high)) for day, v, low, high in points),
        float(slope),
        off,
        limit if on else None,
        limit_value if on else None,
        on,
    )


def _limit(scenario: Scenario, cause: Cause, now: float, *, rising: bool) -> tuple[str | None, float | None]:
    """What the cause breaks first as it goes on from an amount, and at which."""
    before = broken(AsBuilt(scenario))
    end = cause.high if rising else cause.low
    known = now
    for value in np.linspace(now, end, _STEPS + 1).tolist():
        if new := broken(cause.change(AsBuilt(scenario), value)) - before:
            break
        known = value
    else:
        return None, None
    for _ in range(_HALVINGS):
        middle = 0.5 * (known + value)
        there = broken(cause.change(AsBuilt(scenario), middle)) - before
        known, value, new = (known, middle, there) if there else (middle, value, new)
    return min(new), value


def broken(built: AsBuilt) -> set[str]:
    """What is wrong without a run: jets and sources with less flow than they need, rules of the plant."""
    plant, found = BuiltPlant(built), set[str]()
    for name, leg in plant.sheet.legs.items():
        needs = leg.manifold.needs_flow_m3_s if leg.manifold else None
        if needs is not None and leg.manifold is not None:
            jets = [jet_name(name, k + 1) for k in range(leg.manifold.jets)]
            most = max(min(duty.flow_m3_s(jet) for jet in jets) for duty in plant.duties())
            if most < needs:
                found.add(f"the weakest jet of {name} gets less than it needs")
    heating = built.scenario.schedule.heating
    if heating is not None:
        duty = plant.duty(plant.at(*heating.pump))
        found |= {
            f"{name} gets too little flow" for name in heating.sources if not plant.has_flow(name, duty)
        }
    findings, _ = check_plant(plant, Programme(built.scenario))
    return found | {f"{finding.rule} ({finding.subject})" for finding in findings}
