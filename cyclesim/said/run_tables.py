"""The tables of a run: legs, pumps, heat sources, tub, energy and cost."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import zip_longest

from cyclesim.analysis.metrics import EnergyMetrics, HeatSourceMetrics, LegMetrics, PumpMetrics, TubMetrics
from cyclesim.said.page import Column, Page
from cyclesim.said.words import UNKNOWN, day, hours, month, number, when
from cyclesim.simulation.assembly import last_stretch

LAST_JET = "  its last jet"


def say_legs(page: Page, legs: dict[str, LegMetrics], limit_h: float) -> None:
    """Legs, the worst first: what decides, then when it happened and how warm it was."""
    rows = list(worst_first(legs))
    page.heading("Legs, then housings: how old the water gets and how long it stands, worst first")
    page.table(
        [
            Column("leg", words=True),
            Column("volume\nL"),
            Column("oldest\nwater\nh"),
            Column(f"hours\nover\n{number(limit_h, 0)} h"),
            Column("longest\nstill\nh"),
            Column("water\nchanges\na day"),
            Column("longest\nwarm and\nstill h"),
            Column("heat\nlost\nkWh"),
        ],
        (
            (
                shown,
                number(leg.volume_l),
                "never moves" if leg.oldest_water_h is None else number(leg.oldest_water_h),
                number(leg.above_limit_h),
                number(leg.longest_stagnant_h),
                number(leg.exchanges_per_day),
                number(leg.longest_warm_still_h),
                number(_lost_kwh(leg)),
            )
            for shown, leg in rows
        ),
    )
    if any(shown == LAST_JET for shown, _ in rows):
        page.line(
            "The volume of a leg with jets is all of it; its water is followed to the first jet, and in the "
            "last stretch, which stands below it."
        )
    page.heading("Legs, then housings: means and dates")
    page.table(
        [
            Column("leg", words=True),
            Column("mean\nage\nh"),
            Column("still\n%"),
            Column("oldest on"),
            Column("longest\nstill from"),
            Column("longest warm\nand still from"),
            Column("coldest\n°C"),
        ],
        (
            (
                shown,
                number(leg.mean_water_age_h),
                number(leg.stagnant_share_percent),
                day(leg.oldest_water_at),
                day(leg.longest_stagnant_from),
                day(leg.longest_warm_still_from),
                number(leg.coldest_water_c),
            )
            for shown, leg in rows
        ),
    )


def worst_first(legs: dict[str, LegMetrics]) -> Iterator[tuple[str, LegMetrics]]:
    """What is shown for each row of the table of legs, a leg's last stretch right below it, housings last."""
    hangs = {last_stretch(name): name for name in legs if last_stretch(name) in legs}

    def badness(name: str) -> tuple[float, float]:
        pair = [legs[one] for one in (name, last_stretch(name)) if one in legs]
        unknown = any(leg.oldest_water_h is None for leg in pair)
        oldest = max((leg.oldest_water_h or 0.0) for leg in pair)
        return (float("inf") if unknown else max(leg.above_limit_h for leg in pair)), oldest

    def housing(name: str) -> bool:
        return legs[name].kind in ("equipment", "heat source")

    ordered = sorted((n for n in legs if n not in hangs), key=badness, reverse=True)
    for name in sorted(ordered, key=housing):
        yield name, legs[name]
        if last_stretch(name) in legs:
            yield LAST_JET, legs[last_stretch(name)]


def _lost_kwh(leg: LegMetrics) -> float | None:
    parts = [part for part in (leg.heat_lost_flowing_kwh, leg.heat_lost_standing_kwh) if part is not None]
    return sum(parts) if parts else None


def say_pumps(page: Page, pumps: dict[str, PumpMetrics], currency: str) -> None:
    """Pumps, and who asked for them."""
    page.heading("Pumps")
    page.table(
        [
            Column("pump", words=True),
            Column("runs\nh"),
            Column("of it\nlow h"),
            Column("of it\nhigh h"),
            Column("starts\na day"),
            Column("most starts\nin an hour"),
            Column("speed\nchanges"),
            Column("energy\nkWh"),
            Column(f"cost\n{currency}"),
        ],
        (
            (
                name,
                number(pump.running_h),
                number(pump.low_h),
                number(pump.high_h),
                number(pump.starts_per_day),
                str(pump.most_starts_in_an_hour),
                str(pump.speed_changes),
                number(pump.energy_kwh),
                f"{pump.cost:.2f}",
            )
            for name, pump in pumps.items()
        ),
    )
    for name, pump in pumps.items():
        asked = [f"{who} {number(h)} h" for who, h in pump.asked_h.items() if h]
        if asked:
            page.line(f"{name} was asked for by: {', '.join(asked)}.", hang=2)


def say_tripped(page: Page, sources: dict[str, HeatSourceMetrics]) -> None:
    """Sources that tripped: whatever else the run says, they gave no heat from then on."""
    for name, source in sources.items():
        if source.tripped_h:
            said = f"{name} tripped, in this span or before it, and waits {number(source.tripped_h)} h"
            page.line(f"{said} for a person to reset it.", tone="danger", indent=2, hang=2)


def say_sources(page: Page, sources: dict[str, HeatSourceMetrics], currency: str) -> None:
    """Heat sources, and what kept them waiting."""
    if not sources:
        return
    page.heading("Heat sources")
    page.table(
        [
            Column("source", words=True),
            Column("fires\nh"),
            Column("firings"),
            Column("run-on\nh"),
            Column("waits for\nproof h"),
            Column("tripped\nh"),
            Column("energy\nkWh"),
            Column(f"cost\n{currency}"),
        ],
        (
            (
                name,
                number(source.firing_h),
                str(source.firings),
                number(source.run_on_h),
                number(source.proving_h),
                number(source.tripped_h),
                number(source.energy_kwh),
                f"{source.cost:.2f}",
            )
            for name, source in sources.items()
        ),
    )
    for name, source in sources.items():
        waits = [f"{why} {number(h)} h" for why, h in source.called_not_firing_h.items() if h]
        if waits:
            page.line(f"{name} was called and did not fire: {', '.join(waits)}.", hang=2)


def say_tub(page: Page, tub: TubMetrics) -> None:
    """The tub's temperatures, filtration and heat."""
    page.heading(f"Tub ({number(tub.volume_l)} L)")
    _facts(
        page,
        [
            ("mean water", f"{number(tub.mean_c)} °C", ""),
            ("coldest", f"{number(tub.coldest_c)} °C", when(tub.coldest_at)),
            ("warmest", f"{number(tub.warmest_c)} °C", when(tub.warmest_at)),
            ("turnovers a day through the filter", number(tub.turnovers_per_day), ""),
            ("  fewest in a day", number(tub.fewest_turnovers_in_a_day), day(tub.fewest_turnovers_on)),
            ("mean time since filtered", hours(tub.since_filtered_mean_h), ""),
            ("  longest", hours(tub.since_filtered_max_h), when(tub.since_filtered_max_at)),
        ],
    )
    page.heading("Heat of the tub's water and shell")
    gone = [
        ("cover", tub.lost_through_cover_kwh),
        ("open water", tub.lost_from_open_water_kwh),
        ("blown air", tub.taken_by_air_kwh),
        ("shell", tub.lost_through_shell_kwh),
        ("legs", tub.lost_from_legs_kwh),
        ("equipment", tub.lost_from_equipment_kwh),
        ("heat sources", -tub.heat_from_sources_kwh),
        ("pumps", -tub.heat_from_pumps_kwh),
        ("bathers", -tub.heat_from_bathers_kwh),
        ("stored in water and shell", tub.stored_change_kwh),
    ]
    lost = [(name, kwh) for name, kwh in gone if kwh > 0.0]
    came = [(name, -kwh) for name, kwh in gone if kwh < 0.0]
    rows = zip_longest(lost, came, fillvalue=("", None))
    page.table(
        [Column("went into", words=True), Column("kWh"), Column("came from", words=True), Column("kWh")],
        ((a, number(x), b, number(y) if b else "") for (a, x), (b, y) in rows),
    )


def say_energy(page: Page, energy: EnergyMetrics) -> None:
    """Energy and cost by device and by month, and what the breakers carry."""
    page.heading("Energy and cost")
    fuel = bool(energy.fuel_kwh)

    def row(name: str, kwh: float, fuel_kwh: float, cost: float) -> tuple[str, ...]:
        return (name, number(kwh), *((number(fuel_kwh),) if fuel else ()), f"{cost:.2f}")

    columns = [Column("kWh"), *((Column("fuel\nkWh"),) if fuel else ()), Column(energy.currency)]
    rows = [row(name, d.energy_kwh, d.fuel_kwh, d.cost) for name, d in energy.by_device.items()]
    rows.append(row("all", energy.energy_kwh, energy.fuel_kwh, energy.cost))
    days = energy.energy_kwh / energy.energy_kwh_per_day if energy.energy_kwh_per_day else 0.0
    fuel_a_day = energy.fuel_kwh / days if days else 0.0
    rows.append(row("a day", energy.energy_kwh_per_day, fuel_a_day, energy.cost_per_day))
    page.table([Column("device", words=True), *columns], rows)
    if len(energy.by_month) > 1:
        page.line()
        page.table(
            [Column("month", words=True), *columns],
            (row(month(m.month), m.energy_kwh, m.fuel_kwh, m.cost) for m in energy.by_month),
        )
    page.line()
    most = f"Most current at once: {number(energy.most_current_a)} A, {when(energy.most_current_at)}"
    if energy.breaker_a is not None:
        most += f"; the breaker takes {number(energy.breaker_a)} A"
    page.line(f"{most}.")
    for name, circuit in energy.circuits.items():
        if len(energy.circuits) == 1 and circuit.most_starting_a is None:
            continue  # the line above has said it
        said = f"{name}: at most {number(circuit.most_current_a)} A, {when(circuit.at)}"
        said += f"; its breaker takes {number(circuit.breaker_a)} A"
        if circuit.most_starting_a is not None:
            said += f"; {number(circuit.most_starting_a)} A for a moment while starting"
        page.line(f"{said}.", indent=2, hang=2)


def _facts(page: Page, facts: Sequence[tuple[str, str, str]]) -> None:
    """Names and values in two columns, with a date where there is one."""
    widths = [max(len(row[k]) for row in facts) for k in (0, 1)]
    for name, value, at in facts:
        page.line(f"{name:<{widths[0]}}  {value:>{widths[1]}}" + (f"  {at}" if at and at != UNKNOWN else ""))
