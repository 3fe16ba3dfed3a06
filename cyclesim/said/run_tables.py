"""The tables of a run: legs, pumps, heat sources, tub, energy and cost."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import zip_longest

from cyclesim.analysis.amounts import BOILS_C
from cyclesim.analysis.device_metrics import DeviceEnergy, EnergyMetrics, HeatSourceMetrics, PumpMetrics
from cyclesim.analysis.metrics import LegMetrics, Metrics, TubMetrics
from cyclesim.said.cautions import DROPS
from cyclesim.said.page import Amount, Column, Page, Row, cost, record, records, whole, words
from cyclesim.said.words import NEVER_MOVES, count, number, when
from cyclesim.scenario.blocks.room_loads import SUMP_PUMP
from cyclesim.simulation.jets import last_stretch

LAST_JET = "its last jet"
_LEG_DATES = (
    words("leg"),
    Column("mean\nage\n{unit}", "mean_water_age_h", "h"),
    Column("still\n{unit}", "stagnant_share_percent", "%"),
    Column("oldest on", "oldest_water_at", kind="day"),
    Column("longest\nstill from", "longest_stagnant_from", kind="day"),
    Column("longest warm\nand still from", "longest_warm_still_from", kind="day"),
    Column("coldest\n{unit}", "coldest_water_c", "°C"),
)


def say_legs(page: Page, legs: dict[str, LegMetrics], limit_h: float, *, everything: bool = False) -> None:
    """Legs, the worst first; unless *everything* is told, those that read the same share a row.

    A last stretch then has a row where its water is older, or stands longer, than that of its leg.
    """
    columns = (
        words("leg"),
        Column("volume\n{unit}", "volume_l", "L"),
        Column("oldest\nwater\n{unit}", "oldest_water_h", "h", unknown=NEVER_MOVES),
        Column(f"hours\nover\n{number(limit_h, 0)} h", "above_limit_h", "h"),
        Column("longest\nstill\n{unit}", "longest_stagnant_h", "h"),
        Column("water\nchanges\na day", "exchanges_per_day"),
        Column("longest\nwarm and\nstill {unit}", "longest_warm_still_h", "h"),
        Column("heat\nlost\n{unit}", "heat_lost_kwh", "kWh"),
    )
    rows = [leg_row(columns, name, legs) for name in worst_first(legs) if everything or _differs(name, legs)]
    if not everything:
        rows = _merged(rows)
    first_jet = (
        "The volume of a leg with jets is all of it; its water is followed to the first jet, and in the "
        "last stretch, which stands below it."
    )
    notes = [first_jet] if any(row.level for row in rows) else []
    page.table(columns, rows, "Oldest water by pipe leg, then filter and heat source", notes)


def say_leg_dates(page: Page, legs: dict[str, LegMetrics]) -> None:
    """When water was oldest and stood longest, and how cold it was."""
    rows = [leg_row(_LEG_DATES, name, legs) for name in worst_first(legs)]
    page.table(_LEG_DATES, rows, "Pipe legs, then filter and heat source: means and dates")


_AGES = ("oldest_water_h", "above_limit_h", "longest_stagnant_h", "longest_warm_still_h")


def _differs(name: str, legs: Mapping[str, LegMetrics]) -> bool:
    """Whether a last stretch reads otherwise than its leg; all else does."""
    leg = next((leg for leg in legs if name == last_stretch(leg)), None)
    if leg is None:
        return True
    return any(number(getattr(legs[name], key)) != number(getattr(legs[leg], key)) for key in _AGES)


def _merged(rows: Sequence[Row]) -> list[Row]:
    """Rows that read the same as one, under all their names; one with a last stretch below it stays alone."""
    groups: dict[tuple[object, ...], list[Row]] = {}
    for k, row in enumerate(rows):
        tied = row.level or (k + 1 < len(rows) and rows[k + 1].level)
        cells = tuple(number(cell) if isinstance(cell, float) else cell for cell in row.cells[1:])
        groups.setdefault((k,) if tied else cells, []).append(row)
    return [
        row
        if len(group) == 1
        else Row((tuple(str(one.cells[0]) for one in group), *row.cells[1:]), row.about, row.level)
        for group in groups.values()
        for row in group[:1]
    ]


def leg_row(columns: Sequence[Column], name: str, legs: Mapping[str, object]) -> Row:
    """What is known of a leg, a housing or, below its leg, a last stretch."""
    last = any(name == last_stretch(leg) for leg in legs)
    return record(columns, name, legs[name], LAST_JET if last else name, int(last))


def worst_first(legs: Mapping[str, LegMetrics]) -> Iterator[str]:
    """Names in the order of the table of legs, a leg's last stretch right below it, housings last."""
    hangs = {last_stretch(name): name for name in legs if last_stretch(name) in legs}

    def badness(name: str) -> tuple[float, float]:
        pair = [legs[name] for name in (name, last_stretch(name)) if name in legs]
        unknown = any(leg.oldest_water_h is None for leg in pair)
        oldest = max((leg.oldest_water_h or 0.0) for leg in pair)
        return (float("inf") if unknown else max(leg.above_limit_h for leg in pair)), oldest

    def housing(name: str) -> bool:
        return legs[name].kind in ("equipment", "heat source")

    ordered = sorted((n for n in legs if n not in hangs), key=badness, reverse=True)
    for name in sorted(ordered, key=housing):
        yield name
        if last_stretch(name) in legs:
            yield last_stretch(name)


_OF_TWO_SPEEDS = ("low_h", "high_h", "speed_changes")


def say_pumps(page: Page, pumps: dict[str, PumpMetrics], currency: str) -> None:
    """Pumps, and who asked for them."""
    columns: tuple[Column, ...] = (
        words("pump"),
        Column("runs\n{unit}", "running_h", "h"),
        Column("low\nspeed {unit}", "low_h", "h"),
        Column("high\nspeed {unit}", "high_h", "h"),
        Column("starts\na day", "starts_per_day"),
        whole("most starts\nin an hour", "most_starts_in_an_hour"),
        whole("speed\nchanges", "speed_changes"),
        Column("energy\n{unit}", "energy_kwh", "kWh"),
        cost(currency),
    )
    if all(pump.low_h is None for pump in pumps.values()):
        columns = tuple(column for column in columns if column.key not in _OF_TWO_SPEEDS)
    page.table(columns, records(columns, pumps), "Pumps")
    for name, pump in pumps.items():
        asked = [f"{who} {number(h)} h" for who, h in pump.asked_h.items() if h]
        if asked:
            page.line(f"Why {name} ran (reasons overlap): {', '.join(asked)}.", hang=2)


def say_tripped(page: Page, sources: dict[str, HeatSourceMetrics]) -> None:
    """Sources that tripped: whatever else the run says, they gave no heat from then on."""
    for name, source in sources.items():
        if source.tripped_h:
            sentence = f"{name} tripped, in this span or before it, and waits {number(source.tripped_h)} h"
            page.line(f"{sentence} for a person to reset it.", tone="danger", indent=2, hang=2)


def say_sources(page: Page, metrics: Metrics) -> None:
    """Heat sources, and what kept them waiting."""
    sources = metrics.heat_sources
    if not sources:
        return
    columns = (
        words("source"),
        Column("fires\n{unit}", "firing_h", "h"),
        whole("firings", "firings"),
        Column("run-on\n{unit}", "run_on_h", "h"),
        Column("waits for\nflow check {unit}", "proving_h", "h"),
        Column("tripped\n{unit}", "tripped_h", "h"),
        Column("energy\n{unit}", "energy_kwh", "kWh"),
        cost(metrics.energy.currency),
    )
    page.table(columns, records(columns, sources), "Heat sources")
    for name, source in sources.items():
        waits = [f"{why} {number(h)} h" for why, h in source.called_not_firing_h.items() if h]
        if waits:
            page.line(f"{name} was wanted but kept off (reasons overlap): {', '.join(waits)}.", hang=2)
        alone = source.stood_hot_h is not None and name not in metrics.own_water
        say_sun(page, name, source, metrics.legs[name].heat_lost_kwh if alone else None)


def say_sun(page: Page, name: str, source: HeatSourceMetrics, lost_kwh: float | None) -> None:
    """What collectors gave and could have given, and how hot they stood.

    *lost_kwh*: what they lost, where the row among the legs is of nothing but them.
    """
    if source.sun_unused_kwh is None:
        return
    gave, more = number(source.heat_kwh), number(source.sun_unused_kwh)
    said = f"{name} gave {gave} kWh of heat; {more} kWh more went unused, since no water moved in the sun."
    if source.sun_unused_at_stop_kwh:
        said += f" {number(source.sun_unused_at_stop_kwh)} kWh of that with the tub at its high stop."
    if lost_kwh is not None:
        said += f" Of the sun it lost {number(lost_kwh)} kWh to the air (its row among the legs), what went"
        said += " unused among them: no loss of the tub counts them."
    if source.valve_moves is not None:
        said += f" Its motor valve moved {count(source.valve_moves, 'time')}."
    if source.stood_hot_h is not None and source.hottest_c is not None:
        said += f" Stood hot for {number(source.stood_hot_h)} h, {number(source.hottest_c)} °C at the hottest"
        said += f", {when(source.hottest_at)}"
        said += "; its water boils, and steam comes out." if source.hottest_c >= BOILS_C else "."
    page.line(said, hang=2)


def say_tub(page: Page, tub: TubMetrics) -> None:
    """The tub's temperatures, filtration and heat."""
    page.table(
        [words(""), Column(""), Column("", kind="when", unknown="")],
        [
            Row(("mean water", Amount(tub.mean_c, "°C")), "mean_c"),
            Row(("coldest", Amount(tub.coldest_c, "°C"), tub.coldest_at), "coldest_c"),
            Row(("warmest", Amount(tub.warmest_c, "°C"), tub.warmest_at), "warmest_c"),
            Row(("turnovers a day through the filter", tub.turnovers_per_day), "turnovers_per_day"),
            Row(
                ("fewest in a day", tub.fewest_turnovers_in_a_day, tub.fewest_turnovers_on),
                "fewest_turnovers_in_a_day",
                1,
            ),
            Row(
                ("mean time since filtered", Amount(tub.since_filtered_mean_h, kind="lasting")),
                "since_filtered_mean_h",
            ),
            Row(
                ("longest", Amount(tub.since_filtered_max_h, kind="lasting"), tub.since_filtered_max_at),
                "since_filtered_max_h",
                1,
            ),
        ],
        f"Tub ({number(tub.volume_l)} L)",
    )
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
        ("change in stored heat", tub.stored_change_kwh),
    ]
    lost = [(name, kwh) for name, kwh in gone if kwh > 0.0]
    came = [(name, -kwh) for name, kwh in gone if kwh < 0.0]
    rows = zip_longest(lost, came, fillvalue=("", ""))
    kwh = Column("{unit}", unit="kWh")
    page.table(
        [words("went into"), kwh, words("came from"), kwh],
        [(*into, *out) for into, out in rows],
        "Heat of the tub's water and shell",
    )


_MOST_MONTHS = 13


def say_energy(page: Page, energy: EnergyMetrics, *, everything: bool = False) -> None:
    """Energy and cost by device and by month, and what the breakers carry.

    *everything*: devices beside months, any number of months, and what the cables lose of the voltage, which
    is a figure for an electrician and stands on that paper.
    """
    columns = [words("device"), Column("{unit}", "energy_kwh", "kWh")]
    if energy.fuel_kwh:
        columns.append(Column("fuel\n{unit}", "fuel_kwh", "kWh"))
    columns.append(cost(energy.currency, "{unit}"))
    whole = DeviceEnergy(energy.energy_kwh, energy.cost, energy.fuel_kwh)
    days = energy.energy_kwh / energy.energy_kwh_per_day if energy.energy_kwh_per_day else 0.0
    a_day = DeviceEnergy(
        energy.energy_kwh_per_day, energy.cost_per_day, energy.fuel_kwh / days if days else 0.0
    )
    totals = [record(columns, "all", whole), record(columns, "a day", a_day)]
    by_month = len(energy.by_month) > 1 and (everything or len(energy.by_month) <= _MOST_MONTHS)
    if everything or not by_month:
        page.table(columns, [*records(columns, energy.by_device), *totals], "Energy and cost by device")
    if by_month:
        _say_months(page, [Column("month", kind="month"), *columns[1:]], energy)
    most = f"Most current at once: {number(energy.most_current_a)} A, {when(energy.most_current_at)}"
    if energy.breaker_a is not None:
        most += f"; the breaker takes {number(energy.breaker_a)} A"
    page.line(f"{most}.")
    if SUMP_PUMP in energy.by_device:
        page.line(f"{SUMP_PUMP} is counted throughout: its float may start it at any time.", indent=2, hang=2)
    for name, circuit in energy.circuits.items():
        lost_v = circuit.most_drop_v if everything else None
        if len(energy.circuits) == 1 and circuit.most_starting_a is None and lost_v is None:
            continue  # the line above has said it
        sentence = f"{name}: at most {number(circuit.most_current_a)} A, {when(circuit.at)}"
        sentence += f"; its breaker takes {number(circuit.breaker_a)} A"
        if circuit.most_starting_a is not None:
            sentence += f"; {number(circuit.most_starting_a)} A for a moment while starting"
        if lost_v is not None:
            sentence += f"; its cables lose at most {number(lost_v)} V, "
            sentence += f"{number(circuit.most_drop_percent)} % of the voltage"
            sentence += "" if circuit.most_drop_to == name else f", on the way to {circuit.most_drop_to}"
        if everything and circuit.most_starting_drop_v is not None:
            sentence += f"; while starting, {number(circuit.most_starting_drop_v)} V for a moment, "
            sentence += f"{number(circuit.most_starting_drop_percent)} %"
        page.line(f"{sentence}.", indent=2, hang=2)
    if everything and any(circuit.most_drop_v is not None for circuit in energy.circuits.values()):
        page.line(DROPS, indent=2, hang=2)


def _say_months(page: Page, columns: Sequence[Column], energy: EnergyMetrics) -> None:
    """Months in two columns, the later ones beside the earlier."""
    rows = [record(columns, month.month, month).cells for month in energy.by_month]
    half = (len(rows) + 1) // 2
    beside = [*rows[half:], *[("",) * len(columns)] * (2 * half - len(rows))]
    both = [(*first, *second) for first, second in zip(rows[:half], beside, strict=True)]
    page.table([*columns, *columns], both, "Energy and cost by month")
