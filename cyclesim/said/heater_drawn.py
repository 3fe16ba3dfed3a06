"""A heat source in several sizes as numbers to draw: how long warming up takes, and what a year costs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from cyclesim.analysis.amounts import lasting
from cyclesim.decide.sizing.heater_sizing import HeaterSizing, Size
from cyclesim.said.size_heater import kw, limit_kw
from cyclesim.said.words import degrees

From = Literal["filled, coldest", "filled, mild", "set-back", "handbook with losses", "handbook"]


@dataclass(frozen=True, slots=True)
class TimesDrawn:
    """How long each size takes from one start."""

    start: From
    label: str
    hours: tuple[float | None, ...]
    """None for never."""


@dataclass(frozen=True, slots=True)
class HeaterDrawn:
    """What there is to see of a heat source in several sizes."""

    title: str
    note: str
    names: tuple[str, ...]
    """Of each size, with a mark on the file's own."""
    sizes_kw: tuple[float, ...]
    advised_kw: float | None
    limit_kw: float | None
    """The largest that the circuit carries, and it in words; None where no breaker is known."""
    limit: str
    times_of: str
    times: tuple[TimesDrawn, ...]
    need_h: float
    need: str
    need_from: From
    """From which start it is needed."""
    costs_of: str
    costs: tuple[float, ...]
    cold_sessions: tuple[int, ...]


def heater_drawn(sizing: HeaterSizing) -> HeaterDrawn:
    """The numbers of a sizing, as the report has them."""
    months, sizes, chosen = sizing.seasons, sizing.sizes, sizing.recommended
    fill, low = degrees(sizing.fill_c), degrees(sizing.set_back_c)
    judged = f"from {low} °C" if sizing.need.from_set_back else "when filled"
    colds = tuple(size.cold_sessions for size in sizes)
    legend = "; cold = sessions that begin or end cold" if any(colds) else ""
    limit_w = sizing.supply_limit_w

    def times(start: From, label: str, of: Callable[[Size], float | None]) -> TimesDrawn:
        took_s = map(of, sizes)
        return TimesDrawn(start, label, tuple(None if t is None else t / 3600.0 for t in took_s))

    return HeaterDrawn(
        title=sizing.scenario.title,
        note=f"{sizing.source} in several sizes, * as in the file; "
        + (f"advised: {kw(chosen.size_w)}" if chosen else "no size does everything"),
        names=tuple(f"{kw(size.size_w)}{'*' if size.is_own else ''}" for size in sizes),
        sizes_kw=tuple(size.size_w / 1000.0 for size in sizes),
        advised_kw=None if chosen is None else chosen.size_w / 1000.0,
        limit_kw=None if limit_w is None else limit_w / 1000.0,
        limit="" if limit_w is None else limit_kw(sizing),
        times_of=f"Time to reach {degrees(sizing.to_c)} °C",
        times=(
            times(
                "filled, coldest",
                f"filled at {fill} °C, {months.coldest_week:%B}",
                lambda size: size.filled_coldest_s,
            ),
            times(
                "filled, mild", f"filled at {fill} °C, {months.mild_day:%B}", lambda size: size.filled_mild_s
            ),
            times("set-back", f"from {low} °C, {months.coldest_day:%B}", lambda size: size.from_set_back_s),
            times("handbook with losses", "handbook with losses, filled", lambda size: size.with_losses_s),
            times("handbook", "handbook m c dT / P, filled", lambda size: size.without_losses_s),
        ),
        need_h=sizing.need.within_s / 3600.0,
        need=f"to be warm within {lasting(sizing.need.within_s)} {judged}",
        need_from="set-back" if sizing.need.from_set_back else "filled, coldest",
        costs_of=f"Energy of a year, {sizing.currency}, pumps and all{legend}",
        costs=tuple(size.cost for size in sizes),
        cold_sessions=colds,
    )
