"""What sizing a pump or a blower found, for a person: a table, and a sentence of advice with its reason."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from cyclesim.analysis.words import flow, lasting, listed
from cyclesim.decide.blower_sizing import BlowerSizing, Blown
from cyclesim.decide.pump_sizing import SPARE, Given, PumpSizing
from cyclesim.report.cautions import ADVICE, say_cautions
from cyclesim.report.layout import Column, Page
from cyclesim.report.words import UNKNOWN, number

SERIES = (
    "Two in series are not offered: they add head, not flow. They help where a pump cannot reach the head "
    "that is asked for, and waste power where it can."
)
ELECTRIC = (
    "A larger motor draws more and starts harder: breaker, cable, residual-current device and bonding are "
    "for an electrician to judge by the local code."
)
SUCTION = (
    "More flow pulls harder at every suction fitting: covers must be rated for the pump that is fitted, with "
    "another one blocked."
)


def pump_report(page: Page, found: PumpSizing) -> None:
    """Everything that sizing a pump says, the advice first."""
    page.line(f"{found.scenario.title}: a pump in the place of {found.pump}", style="bold")
    asked = found.asked
    page.line(
        f"The jets need {flow(found.rated_m3_s)} in all. For the weakest of them, in {asked.weakest}, to get "
        f"its share, {flow(asked.flow_m3_s)} must pass {found.pump} at {asked.head_m:.1f} m."
    )
    page.heading("Advice")
    for sentence in pump_advice(found):
        page.line(f"- {sentence}", hang=2)
    page.heading("What each gives on these pipes")
    page.table(
        [
            Column("pump, speed", words=True),
            Column("flow\nL/min"),
            Column("head\nm"),
            Column("weakest\njet, %"),
            Column("flow to\nspare, %"),
            Column("power\nW"),
            Column("Wh\nper m3"),
            Column("price"),
        ],
        (row for one in found.given for row in _given_rows(one, one is found.best)),
    )
    page.line("Weakest jet: what it gets, of what it needs. * the one advised.")
    _say_changes(page, found)
    _say_arrangements(page, found)
    say_cautions(page, (SUCTION, ELECTRIC, ADVICE))


def _given_rows(one: Given, advised: bool) -> Iterator[tuple[str, ...]]:
    yield (
        f"{one.pump}{'' if one.speed == 'on' else f', {one.speed}'}{' *' if advised else ''}",
        number(one.flow_m3_s * 60_000.0),
        number(one.head_m),
        number(100.0 * one.weakest_jet),
        signed(100.0 * one.spare),
        number(one.power_w),
        number(one.wh_per_m3),
        number(one.price),
    )
    for caution in one.cautions:
        yield (f"  {caution}", *[""] * 7)


def signed(value: float) -> str:
    """With its sign; 0 for what rounds to it."""
    shown = number(abs(value))
    return shown if float(shown.strip("<")) == 0.0 else f"{'+' if value > 0.0 else '-'}{shown}"


def pump_advice(found: PumpSizing) -> Iterator[str]:
    """Which to take and why, each sentence with its numbers."""
    best, drawn = found.best, found.given
    if best is None:
        most = max(found.given, key=lambda one: one.weakest_jet)
        yield (
            f"None gives every jet enough: {named(most)} comes nearest, with "
            f"{number(100.0 * most.weakest_jet)} % at the weakest."
        )
        enough = [c.what for c in found.changes if c.best is None and c.as_drawn.enough]
        if enough:
            yield f"With {listed(enough)} the pump as drawn would do."
        return
    spare = f"{number(100.0 * best.spare)} % of flow to spare"
    wanted = "" if best.spare >= SPARE else f", less than the {100.0 * SPARE:.0f} % that are usual"
    yield (
        f"{named(best)}: of those that give every jet enough it draws least, {number(best.power_w)} W, with "
        f"{spare}{wanted} (common practice, no source)."
    )
    if best.cautions:
        yield f"Mind, though: {'; '.join(best.cautions)}."
    now = [one for one in drawn if one.pump.endswith("(as drawn)")][-1]
    if best.pump != now.pump:
        change = now.power_w - best.power_w
        less = "less" if change > 0.0 else "more"
        yield (
            f"The pump as drawn gives the weakest jet {number(100.0 * now.weakest_jet)} % at "
            f"{number(now.power_w)} W: {named(best)} draws {number(abs(change))} W {less} while the jets run."
        )
    worse = [c.what for c in found.changes if c.best is not None and not c.best.enough]
    if worse:
        yield f"It would no longer do with {listed(worse)}."


def named(one: Given) -> str:
    """A pump and its speed."""
    return one.pump if one.speed == "on" else f"{one.pump} at {one.speed}"


def _say_changes(page: Page, found: PumpSizing) -> None:
    page.heading("What other pipes would do, at the highest speed")
    best = found.best
    columns = [
        Column("", words=True),
        Column("asked\nL/min"),
        Column("asked\nm"),
        Column("weakest jet, %\nas drawn"),
        *([Column(f"weakest jet, %\n{best.pump}")] if best and best.pump != found.given[0].pump else []),
    ]
    rows = []
    for one in found.changes:
        row = [
            one.what,
            UNKNOWN if one.asked is None else number(one.asked.flow_m3_s * 60_000.0),
            UNKNOWN if one.asked is None else number(one.asked.head_m),
            number(100.0 * one.as_drawn.weakest_jet),
        ]
        if len(columns) > 4:
            row.append(number(100.0 * one.best.weakest_jet) if one.best else UNKNOWN)
        rows.append(row)
    page.table(columns, rows)


def _say_arrangements(page: Page, found: PumpSizing) -> None:
    page.heading("One pump, two in parallel, or two loops")
    page.table(
        [
            Column("", words=True),
            Column("pump", words=True),
            Column("flow in\nall, L/min"),
            Column("weakest\njet, %"),
            Column("power\nW"),
        ],
        (
            (
                a.how,
                a.pump,
                number(a.total_flow_m3_s * 60_000.0),
                number(100.0 * a.weakest_jet),
                number(a.power_w),
            )
            for a in sorted(found.arrangements, key=lambda a: (a.weakest_jet < 1.0, a.power_w))
        ),
    )
    enough = [a for a in found.arrangements if a.weakest_jet >= 1.0]
    if enough:
        least = min(enough, key=lambda a: a.power_w)
        page.line(
            f"Least power that gives every jet enough: {least.how}, {least.pump}, {number(least.power_w)} W."
        )
    page.line(
        "Two in parallel share these pipes: at more flow the pipes take more head, so that two never give "
        "twice. Two loops have pipes of their own, as long as these, with half of the jets each."
    )
    page.line(SERIES)


def blower_report(page: Page, found: BlowerSizing) -> None:
    """Everything that sizing a blower says, the advice first."""
    page.line(f"{found.scenario.title}: the blower", style="bold")
    said = f"The water over the holes asks for {found.depth_pa / 1000.0:.1f} kPa before any air comes"
    if found.wanted_m3_s is not None and found.wanted_pa is not None:
        said += f"; {flow(found.wanted_m3_s)} through the pipe ask for {found.wanted_pa / 1000.0:.1f} kPa"
    page.line(f"{said}.")
    page.heading("Advice")
    for sentence in blower_advice(found):
        page.line(f"- {sentence}", hang=2)
    page.heading("What each gives through this pipe, and how fast it cools the water")
    month, air_c = found.coldest
    page.table(
        [
            Column("blower", words=True),
            Column("flow\nL/min"),
            Column("pressure\nkPa"),
            Column("pressure to\nspare, %"),
            Column("power\nW"),
            Column(f"K/h in\n{month}"),
            Column("K/h,\nmean"),
            Column("1 K in\n(cold)"),
        ],
        (row for one in found.given for row in _blown_rows(one, one is found.best)),
    )
    page.line(
        f"Cooling by the air alone, water at {found.water_c:.0f} degC, drawn from {air_c:.1f} degC in "
        f"{month} and {found.mean_c:.1f} degC on the year's mean; that air leaves saturated is an upper "
        "bound. Spare: pressure at no flow, beyond what the depth asks for. * the one advised."
    )
    say_cautions(page, (ELECTRIC, ADVICE))


def _blown_rows(one: Blown, advised: bool) -> Iterator[tuple[str, ...]]:
    cools = one.cools_coldest_k_h
    yield (
        f"{one.blower}{' *' if advised else ''}",
        number(one.flow_m3_s * 60_000.0),
        number(one.pressure_pa / 1000.0),
        signed(100.0 * one.spare),
        number(one.power_w),
        number(cools, 2) if cools >= 0.0 else f"-{number(-cools, 2)}",
        number(one.cools_mean_k_h, 2) if one.cools_mean_k_h >= 0.0 else f"-{number(-one.cools_mean_k_h, 2)}",
        lasting(3600.0 / cools) if cools > 0.0 else "never",
    )
    if one.why_not:
        yield (f"  {one.why_not}", *[""] * 7)


def blower_advice(found: BlowerSizing) -> Iterator[str]:
    """Which to take and why."""
    best = found.best
    if best is None:
        wanted = "" if found.wanted_m3_s is None else f" {flow(found.wanted_m3_s)}"
        most = max(found.given, key=lambda one: one.flow_m3_s)
        yield (
            f"None gives{wanted or ' any air'}: {most.blower} comes nearest with {flow(most.flow_m3_s)}. "
            "A wider or shorter pipe helps where the pipe takes the pressure, holes less deep where the "
            "water does."
        )
        return
    for_what = f"that give {flow(found.wanted_m3_s)}" if found.wanted_m3_s else "that give any air"
    yield (
        f"{best.blower}: of those {for_what} it draws least, {number(best.power_w)} W, and gives "
        f"{flow(best.flow_m3_s)} at {best.pressure_pa / 1000.0:.1f} kPa."
    )
    if not found.wanted_m3_s:
        yield 'Say how much air is wanted to size for it, e.g. --flow "600 L/min".'
    if best.cools_coldest_k_h > 0.0:
        kelvin = lasting(3600.0 / best.cools_coldest_k_h)
        yield (
            f"In {found.coldest[0]} it cools the water by 1 K in {kelvin}: a button "
            "that times out earlier keeps a session warm."
        )
    if best.why_not:
        yield f"Mind, though: {best.why_not}."


# -- plain values ------------------------------------------------------------------------------------------


def pump_values(found: PumpSizing) -> dict[str, Any]:
    """The same as plain values; the unit is in the key."""
    return {
        "title": found.scenario.title,
        "pump": found.pump,
        "jets_need_m3_s": found.rated_m3_s,
        "asked": asdict(found.asked),
        "given": [asdict(one) for one in found.given],
        "best": None if found.best is None else asdict(found.best),
        "advice": list(pump_advice(found)),
        "other_pipes": [asdict(one) for one in found.changes],
        "arrangements": [asdict(one) for one in found.arrangements],
        "system_m3_s_m": found.system,
        "curves_m3_s_m": [
            {"pump": pump, "speed": speed, "points": points} for pump, speed, points in found.curves
        ],
    }


def blower_values(found: BlowerSizing) -> dict[str, Any]:
    """Likewise."""
    return {
        "title": found.scenario.title,
        "depth_pa": found.depth_pa,
        "wanted_m3_s": found.wanted_m3_s,
        "wanted_pa": found.wanted_pa,
        "water_c": found.water_c,
        "coldest_month": {"month": found.coldest[0], "mean_air_c": found.coldest[1]},
        "mean_air_c": found.mean_c,
        "given": [asdict(one) for one in found.given],
        "best": None if found.best is None else asdict(found.best),
        "advice": list(blower_advice(found)),
        "system_m3_s_pa": found.system,
        "curves_m3_s_pa": [{"blower": name, "points": points} for name, points in found.curves],
    }
