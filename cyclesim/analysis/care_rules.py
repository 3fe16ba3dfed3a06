"""Rules of water care; without the file's water_care block there is nothing that they could break."""

from __future__ import annotations

import math
from collections.abc import Iterator

from cyclesim.analysis.ages import body_of, kind_of
from cyclesim.analysis.amounts import apart, lasting, listed
from cyclesim.analysis.disinfectant import (
    bathers_per_day,
    older_than,
    since_refill_days,
    suggested_refill_days,
    until_below_s,
)
from cyclesim.analysis.findings import Breach, Rule
from cyclesim.analysis.history import History, movers, why_halted
from cyclesim.analysis.standing_rules import more_often
from cyclesim.physics.decay import left

_H_S, _DAY_S, _MG_L = 3600.0, 86_400.0, 1000.0


def residual_lost(history: History) -> Iterator[Breach]:
    """Water of a leg or last jet falls below the least residual even at the slow decay."""
    care, reported = history.plant.scenario.water_care, set[str]()
    if care is None or care.disinfectant is None:
        return
    disinfectant, (_, limit_s) = care.disinfectant, until_below_s(care.disinfectant)
    least_mg_l, slow_s = _MG_L * disinfectant.at_least_kg_m3, disinfectant.half_life_s[1]
    for name, rows in history.ages.items():
        moved_by = movers(history.plant, history.programme, name)
        if kind_of(history.plant, name) not in ("leg", "last jet") or not moved_by:
            continue  # a dead end and a leg that nothing moves have a rule of their own
        if body_of(history.plant, name) in reported:
            continue  # the leg speaks for its last jet
        older = older_than(rows, limit_s)
        if not len(older.spells):
            continue
        reported.add(name)
        names = listed([d.name for d in moved_by])
        still = history.standing[name]
        if (still[:, 1] - still[:, 0] > limit_s).any():
            cause = f"only {names} would move it, and what it needs lasts {lasting(limit_s)}"
            mend = f"{more_often(history, moved_by, limit_s)}, or keep a higher residual in the tub"
        else:
            cause = f"{names} leaves water in it that left the tub more than {lasting(limit_s)} ago"
            mend = "longer flushes, or a higher residual in the tub"
        usual = cause, mend
        for (start, end), peak_s in zip(older.spells.tolist(), older.peak_s.tolist(), strict=True):
            residual_mg_l = _MG_L * left(disinfectant.residual_kg_m3, slow_s, peak_s)
            text = " of at least ".join(apart(residual_mg_l, least_mg_l, 2)) + " mg/L"
            pumps = {demand.pump for demand in moved_by}
            cause, mend = why_halted(history, start - limit_s, end, limit_s, pumps) or usual
            yield Breach(
                name, cause, residual_mg_l, "mg/L", text, mend, start, end - start, less_is_worse=True
            )


def refill_overdue(history: History) -> Iterator[Breach]:
    """The tub is refilled less often than its bathers suggest; told by refill_every, else by last_refill."""
    care, trace = history.plant.scenario.water_care, history.trace
    if care is None:
        return
    bathers = bathers_per_day(trace)
    most = suggested_refill_days(history.plant.volume_m3, bathers)
    every = care.refill_every_s / _DAY_S if care.refill_every_s else since_refill_days(care, trace)
    if most is None or every is None or every <= most:
        return
    text = f"{' of at most '.join(apart(every, most, 0))} days"
    cause = f"{bathers:.1f} bathers a day use the water up sooner"
    mend = f"refill_every: {math.floor(most)} days" if most >= 1.0 else "a larger tub, or fewer bathers"
    if care.refill_every_s:
        yield Breach("tub", cause, every, "days", text, mend)
        return
    since_s = (every - most) * _DAY_S
    lasts_s = min(since_s, float(trace.span_s))
    yield Breach("tub", cause, every, "days", text, mend, trace.span_s - lasts_s, lasts_s)


RULES: tuple[Rule, ...] = (
    Rule(
        "residual-lost",
        "history",
        "hygiene",
        sentence=(
            "No water of a leg falls below the least residual that the file wants, even at the slow decay."
        ),
        source=(
            "the file's own wish; first-order decay, half-life 19.98 h at 22.3 degC in mains water: "
            "Water Supply "
            "24(12) 4046, 2024, abstract seen"
        ),
        mend="more flushes, or a higher residual in the tub",
        judge=residual_lost,
        applies=lambda plant, _: bool(plant.scenario.water_care and plant.scenario.water_care.disinfectant),
        programmes="as now",
    ),
    Rule(
        "refill-overdue",
        "history",
        "hygiene",
        sentence="The tub is refilled at least as often as its bathers suggest.",
        source="US gallons / 3 / bathers a day, in days: common practice, no source",
        mend="refill it more often",
        judge=refill_overdue,
        applies=lambda plant, _: bool(plant.scenario.water_care and plant.scenario.schedule.bathing),
    ),
)
