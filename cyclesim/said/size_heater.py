"""A heater in several sizes, for a person: which one, why, and the numbers that this rests on."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from cyclesim.analysis.amounts import lasting, listed
from cyclesim.decide.sizing.heat_up import heating_of
from cyclesim.decide.sizing.heater_sizing import READY, RULES, SESSIONS, SUPPLY, HeaterSizing, Size
from cyclesim.decide.sizing.supply_share import SupplyShare
from cyclesim.said.cautions import ADVICE, say_cautions
from cyclesim.said.page import Amount, Column, Page, whole, words
from cyclesim.said.words import count, degrees, number
from cyclesim.scenario.blocks.heat_sources import HeatPump

ELECTRICIAN = (
    "A heater in bathing water is a licensed electrician's work: its circuit, the residual-current device "
    "(RCD, GFCI), bonding and the connection. The currents here decide nothing for a code."
)
HIGH_LIMIT = (
    "It needs a high limit with a sensor of its own that is reset by hand. Water above 40 degC "
    "harms people, children and pregnant women sooner."
)
NEVER = "never"
_EXAMPLE_COP = 2.5


def kw(size_w: float) -> str:
    """A size as people say it: `1.5 kW`."""
    return f"{size_w / 1000.0:.3g} kW"


def limit_kw(sizing: HeaterSizing) -> str:
    """The largest size that the circuit carries, never rounded up."""
    return f"{math.floor((sizing.supply_limit_w or 0.0) / 100.0) / 10.0:g} kW"


def _h(seconds: float | None) -> str:
    return NEVER if seconds is None else number(seconds / 3600.0)


def heater_page(sizing: HeaterSizing) -> Page:
    """Everything that a sizing says to a person, the advice first."""
    page = Page()
    first, last = sizing.sizes[0], sizing.sizes[-1]
    page.line(sizing.scenario.title, tone="strong", as_written=True)
    page.line(
        f"{sizing.source} has {kw(sizing.own_w)} in the file; {count(len(sizing.sizes), 'size')} from "
        f"{kw(first.size_w)} to {kw(last.size_w)} were run for {count(first.days, 'day')} each."
    )
    page.heading("Advice")
    for sentence in advice(sizing):
        page.line(sentence)
    _say_times(page, sizing)
    _say_year(page, sizing)
    say_cautions(page, (ELECTRICIAN, HIGH_LIMIT, ADVICE))
    return page


def advice(sizing: HeaterSizing) -> Iterator[str]:
    """The size to take with what speaks for it and what its neighbours would change; else what helps."""
    size = sizing.recommended
    if size is None:
        yield from _none_does(sizing)
        yield from _too_cold(sizing)
        return
    yield _why(sizing, size)
    yield from _too_cold(sizing)
    smaller, larger = sizing.next_to(size)
    if smaller is None:
        others = [n for n in heating_of(sizing.scenario).sources if n != sizing.source]
        beside = f": with {listed(others)} beside it less may do; --sizes tries it" if others else ""
        yield f"No smaller one was tried{beside}."
    else:
        against = _objections(smaller) or _less_good(sizing, smaller)
        yield f"The next smaller, {kw(smaller.size_w)}: {against}."
    if larger is not None:
        was, would = _waited(sizing, size), _waited(sizing, larger)
        change = larger.cost - size.cost
        money = f"{number(abs(change))} {sizing.currency} a year {'more' if change > 0 else 'less'}"
        but = f", but: {_objections(larger)}" if larger.against else ""
        yield (
            f"The next larger, {kw(larger.size_w)}: warm in {_h(would)} h in place of {_h(was)} h, for "
            f"{money}{but}."
        )
    if not size.is_own:
        own = next(candidate for candidate in sizing.sizes if candidate.is_own)
        clause = f": {_objections(own)}" if own.against else ", which does everything as well"
        yield f"The file has {kw(own.size_w)}{clause}."


def _too_cold(sizing: HeaterSizing) -> Iterator[str]:
    """What is left to do without a heat pump that stands in the cold."""
    others = [name for name in heating_of(sizing.scenario).sources if sizing.too_cold_h.get(name) is None]
    for name, hours in sizing.too_cold_h.items():
        sheet = sizing.scenario.plant.heat_sources[name]
        if not hours or not isinstance(sheet, HeatPump):
            continue
        alone = f"{listed(others or [''])} must be large enough alone then"
        lowest = degrees(sheet.lowest_air_c)
        yield (
            f"For {hours} of the 168 h of the coldest week the air is below {lowest} degC, where {name} "
            f"stands still: {alone if others else 'no size of it warms then'}."
        )


def _why(sizing: HeaterSizing, size: Size) -> str:
    waited = _waited(sizing, size)
    parts = [f"holds {degrees(sizing.to_c)} degC in the coldest week"]
    if size.sessions:
        parts.append(f"keeps all {size.sessions} sessions of the year warm")
    since = f"from {degrees(sizing.set_back_c)} degC" if sizing.need.from_set_back else "after a fill"
    parts.append(f"is warm {since} within {lasting(sizing.need.within_s)} (it takes {_h(waited)} h)")
    if size.supply is not None:
        parts.append(f"fits its breaker ({size.supply.counted_a:.1f} A of {size.supply.breaker_a:g} A)")
    extra = "" if size.sessions else " The file has no sessions to judge it by."
    if sizing.need.from_set_back:
        month = f"{sizing.seasons.coldest_week:%B}"
        extra += f" After a fill in {month} it takes {_h(size.filled_coldest_s)} h."
    smaller = [kw(other.size_w) for other in sizing.sizes if not other.against and other.size_w < size.size_w]
    if smaller:
        also = f"{listed(smaller)} would do too, but {kw(size.size_w)} is warm sooner and costs less a year."
        return f"{kw(size.size_w)} {listed(parts)}. {also}{extra}"
    return f"{kw(size.size_w)} is the smallest of these that {listed(parts)}.{extra}"


def _less_good(sizing: HeaterSizing, size: Size) -> str:
    cost = f"{number(size.cost)} {sizing.currency} a year"
    return f"it would do, but it takes {_h(_waited(sizing, size))} h to be warm and costs {cost}"


def _waited(sizing: HeaterSizing, size: Size) -> float | None:
    return size.from_set_back_s if sizing.need.from_set_back else size.filled_coldest_s


def _objections(size: Size) -> str:
    return "; ".join(objection.text for objection in size.against)


def _none_does(sizing: HeaterSizing) -> Iterator[str]:
    none = sizing.none_does
    assert none is not None
    near = next(size for size in sizing.sizes if size.size_w == none.nearest_w)
    kept = "rule of danger or hygiene that the file keeps"
    fits = f"None of these sizes does everything. The largest that fits its breaker and breaks no {kept}"
    if near.lacks(SUPPLY, RULES):
        fits = f"None of these sizes fits its breaker and breaks no {kept}. The smallest"
    yield f"{fits}, {kw(near.size_w)}: {_objections(near)}."
    yield "What would help:"
    heating, most_k = heating_of(sizing.scenario), sizing.scenario.limits.cold_session_k
    if heating.within_k > most_k and near.lacks(SESSIONS):
        yield (
            f"- First a narrower band: within: {most_k:g} K, for heating starts "
            f"{degrees(heating.within_k)} K below the set point (not tried)."
        )
    elif len(heating.sources) > 1 and heating.next_below_k > 0.1 and near.lacks(READY, SESSIONS):
        below, joins = degrees(heating.next_below_k), listed(list(heating.sources[1:]))
        yield f"- First, let {joins} join sooner: next_below less than {below} K (not tried)."
    limit_w = sizing.supply_limit_w
    if limit_w is not None and limit_w > 1.05 * near.size_w and not near.lacks(SUPPLY):
        yield f"- First a size between: this circuit carries up to {limit_kw(sizing)}; --sizes tries them."
    if none.needed_w is not None and near.supply is not None:
        amps = none.needed_w / _EXAMPLE_COP / sizing.scenario.supply.voltage_v
        yield (
            f"- A circuit for at least {none.needed_breaker_a:.1f} A, which carries {kw(none.needed_w)}, the "
            "smallest of those tried that is warm in time; --sizes tries others between."
        )
        yield (
            f"- A heat pump of {kw(none.needed_w)}{_unlike(sizing)}: at a COP of {_EXAMPLE_COP:g} in the "
            f"coldest week (an example; see its data sheet at your air) it draws {amps:.1f} A."
        )
    if near.lacks(READY) and none.takes_s is not None:
        what = "An earlier start" if sizing.need.from_set_back else "More time"
        allowed = lasting(sizing.need.within_s)
        yield f"- {what}: {kw(near.size_w)} takes {_h(none.takes_s)} h where {allowed} are allowed."
    if none.set_back_c is not None:
        yield (
            f"- A warmer set-back: from {degrees(none.set_back_c)} degC in place of "
            f"{degrees(sizing.set_back_c)} degC {kw(near.size_w)} is warm in time."
        )
    if near.lacks(SESSIONS):
        as_few = [
            kw(size.size_w)
            for size in sizing.sizes
            if size.size_w < near.size_w and size.lacks(SESSIONS) and size.cold_sessions <= near.cold_sessions
        ]
        if as_few:
            yield f"- Not another size: with {listed(as_few)} no more sessions are cold."
        if not any(step.ready_by for step in heating_of(sizing.scenario).plan):
            yield "- Heat for the sessions: a step of heating's plan with ready_by."
        yield "- Fewer people at once, or a set point a little higher before they come."
    held = near.held
    yield (
        f"- Less loss: {number(held.loses_w / 1000.0, 2)} kW leave in the coldest week, "
        f"{held.cover_share:.0%} of it by cover and surface, the rest by shell and pipes."
    )


def _unlike(sizing: HeaterSizing) -> str:
    """That another heat pump must work in air in which the file's own stands still."""
    sheets = {name: sizing.scenario.plant.heat_sources[name] for name, h in sizing.too_cold_h.items() if h}
    stand = [
        f"below {degrees(sheet.lowest_air_c)} degC, as {name} does not"
        for name, sheet in sheets.items()
        if isinstance(sheet, HeatPump)
    ]
    return f" that works {listed(stand)}" if stand else ""


def _size(sizing: HeaterSizing, size: Size) -> Amount:
    return Amount(
        size.size_w / 1000.0,
        digits=3,
        kind="figures",
        before=">" if size is sizing.recommended else "",
        after="*" if size.is_own else " ",
    )


def _hours(seconds: float | None) -> float | None:
    return None if seconds is None else seconds / 3600.0


def _say_times(page: Page, sizing: HeaterSizing) -> None:
    when = sizing.seasons
    filled, low = degrees(sizing.fill_c), degrees(sizing.set_back_c)
    heads = [
        f"filled at\n{filled} degC\n{when.coldest_week:%B}",
        f"filled at\n{filled} degC\n{when.mild_day:%B}",
        f"from\n{low} degC\n{when.coldest_day:%B}",
        *([] if sizing.ready_at is None else [f"begin, to\nbe ready\nat {sizing.ready_at}"]),
        "handbook\nm c dT/P",
        "handbook\nwith\nlosses",
    ]
    page.table(
        [
            Column("size\n{unit}", unit="kW"),
            *(Column(head, unit="h", unknown=NEVER) for head in heads),
            Column("heater\nwarms\nby {unit}", unit="K", digits=2),
        ],
        (
            (
                _size(sizing, size),
                _hours(size.filled_coldest_s),
                _hours(size.filled_mild_s),
                _hours(size.from_set_back_s),
                *(() if sizing.ready_at is None else (size.begin_at,)),
                _hours(size.without_losses_s),
                _hours(size.with_losses_s),
                size.outlet_warmer_k,
            )
            for size in sizing.sizes
        ),
        "How long warming up takes, hours",
    )
    page.line(
        f"* as in the file, > as advised. To {degrees(sizing.to_c)} degC, heater on from the first second, "
        "cover on, nobody in the water; filter runs, flushes, interlocks, proofs and rests as in the "
        f"file. Filled: shell as cold as its zone, from {when.coldest_week.day} {when.coldest_week:%B} or "
        f"{when.mild_day.day} {when.mild_day:%B} on. From {degrees(sizing.set_back_c)} degC "
        f"({sizing.set_back_why}): from 00:00 of the coldest day, {when.coldest_day.day} "
        f"{when.coldest_day:%B}, with shell and pipes as warm as that keeps them."
    )
    if sizing.ready_at is not None:
        page.line(
            f"Ready at {sizing.ready_at}: {sizing.ready_why}; begun at the time told, on the coldest "
            "day, the run is warm by then."
        )
    page.line(f"Allowed: {lasting(sizing.need.within_s)} ({sizing.need.why}).")
    page.line()
    page.line(_difference(sizing))


def _difference(sizing: HeaterSizing) -> str:
    """Why the run and the handbook differ, in kilowatt-hours."""
    size = sizing.recommended or next(tried for tried in sizing.sizes if tried.is_own)
    handbook = (
        "Handbook, when filled in the coldest week: m c dT/P with the tub's own water alone; and with "
        f"losses, the exponential approach with the plant's {sizing.losses.ua_w_k:.0f} W/K against "
        f"{sizing.losses.beyond_c:.1f} degC. Neither knows the pump's heat, nor what shell and pipes soak up."
    )
    heat = size.balance
    if heat is None:
        return f"{handbook} The run never gets warm there at {kw(size.size_w)}."
    beside = f" ({_kwh(heat.from_pumps_kwh)} of them the pump's)" if heat.from_pumps_kwh > 0.05 else ""
    waited = f" No source fired for {lasting(3600.0 * heat.waited_h)} of it." if heat.waited_h > 0.05 else ""
    return (
        f"{handbook} At {kw(size.size_w)} the run's tub water takes "
        f"{_kwh(heat.into_tub_water_kwh)} of {_kwh(heat.from_sources_kwh + heat.from_pumps_kwh)} kWh "
        f"that come in{beside}; {_kwh(heat.into_shell_kwh)} soak into the shell, "
        f"{_kwh(heat.lost_by_cover_and_shell_kwh)} leave by cover and shell, and "
        f"{_kwh(heat.into_pipes_and_lost_there_kwh)} warm pipes and housings or leave "
        f"there.{waited}"
    )


def _kwh(value: float) -> str:
    return f"{value:.1f}"


def _say_year(page: Page, sizing: HeaterSizing) -> None:
    sessions = sizing.sizes[0].sessions
    page.table(
        [
            Column("size\n{unit}", unit="kW"),
            Column("energy\n{unit}", unit="kWh"),
            Column("cost\n{unit}", unit=sizing.currency),
            Column("firing\n{unit}", unit="h"),
            *([whole(f"begin or\nend cold\nof {sessions}")] if sessions else []),
            Column("held"),
            Column("of the\nbreaker", kind="share", digits=0),
            words("what stands against it"),
        ],
        (
            (
                _size(sizing, size),
                size.energy_kwh + size.fuel_kwh,
                size.cost,
                size.firing_h,
                *((size.cold_sessions,) if sessions else ()),
                size.held.holds,
                None if size.supply is None else size.supply.share,
                _objections(size),
            )
            for size in sizing.sizes
        ),
        "A year, the coldest week, the supply",
    )
    own = next(size for size in sizing.sizes if size.is_own)
    if own.supply is not None:
        beside = f" with {listed(list(own.supply.beside))}" if own.supply.beside else ""
        what = (
            "what runs for 3 h or more counts 125 %, so that 80 % is the most it may draw"
            if sizing.scenario.supply.region == "north_america"
            else "in this region a load of hours counts like any other; north_america adds a quarter"
        )
        limit = "" if sizing.supply_limit_w is None else f" It carries up to {limit_kw(sizing)}."
        page.line(
            f"Of the breaker: {sizing.source} on {own.supply.circuit}{beside}, the most that no interlock "
            f"keeps apart, whether a programme comes to it or not; {what}.{_rests_on(own.supply)}{limit} In "
            f"the year that was run the whole supply drew {number(own.most_current_a)} A at most with "
            f"{kw(own.size_w)}."
        )
    page.line(
        f"Held: the set point, in the week from {sizing.seasons.coldest_week.day} "
        f"{sizing.seasons.coldest_week:%B}: heating is never called for 48 h on end. The plant loses "
        f"{number(own.held.loses_w / 1000.0, 2)} kW then."
    )
    page.line(_cost_sentence(sizing))


def _rests_on(share: SupplyShare) -> str:
    """On which interlocks the share of the breaker rests, and what there would be without them."""
    if not share.rests_on:
        return ""
    off = listed([f"no {block}" for block in share.rests_on])
    return (
        f" That rests on the controller's interlocks ({off}): without them {share.without_a:.1f} A, "
        f"not {share.counted_a:.1f} A, of {share.breaker_a:g} A."
    )


def _cost_sentence(sizing: HeaterSizing) -> str:
    """Why a year costs what it costs at each size."""
    costs, pumps = [size.cost for size in sizing.sizes], [size.pump_h for size in sizing.sizes]
    heating = heating_of(sizing.scenario)
    reasons = [
        f"the pump runs {number(min(pumps))} to {number(max(pumps))} h, and pipes lose heat while it does"
    ]
    if _price_varies(sizing):
        reasons.append("a slower heater buys in other hours of the tariff")
    if any(step.ready_by for step in heating.plan):
        reasons.append("a slower one begins earlier for a ready_by and so keeps the water warm for longer")
    others = [n for n in heating.sources if n != sizing.source]
    if others:
        reasons.append(f"it takes over more or less of what {listed(others)} would give")
    least, most = number(min(costs)), number(max(costs))
    if least == most:
        return f"A year costs {most} {sizing.currency} with any of these."
    return (
        f"A year costs {least} to {most} {sizing.currency}. The water's loss is "
        f"nearly the same whatever warms it; what differs: {'; '.join(reasons)}."
    )


def _price_varies(sizing: HeaterSizing) -> bool:
    tariff = sizing.scenario.supply.tariff
    return not hasattr(tariff, "windows") or bool(tariff.windows)


def heater_values(sizing: HeaterSizing) -> dict[str, Any]:
    """A sizing as plain values, units in the keys; unknown and never are null."""
    as_they_are = {
        name: getattr(sizing, name)
        for name in (
            "source", "own_w", "to_c", "fill_c", "set_back_c", "set_back_why", "ready_at", "ready_why",
            "currency", "supply_limit_w", "pump_heat_w", "too_cold_h",
        )
    }  # fmt: skip
    return {
        "title": sizing.scenario.title,
        **as_they_are,
        "need": asdict(sizing.need),
        "days": {name: day.isoformat() for name, day in sizing.seasons._asdict().items()},
        "losses": sizing.losses._asdict(),
        "recommended_w": None if sizing.recommended is None else sizing.recommended.size_w,
        "none_does": None if sizing.none_does is None else asdict(sizing.none_does),
        "sizes": [asdict(size) for size in sizing.sizes],
        "advice": list(advice(sizing)),
    }
