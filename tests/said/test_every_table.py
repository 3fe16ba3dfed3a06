"""Every table of a run and of the duties, cell by cell, against the JSON."""

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

import cyclesim
from cyclesim.said.duty import duty_page
from cyclesim.said.page import Amount, Column, Page, Row, Table
from cyclesim.said.run import run_page
from cyclesim.said.values import duty_values, result_values
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.shown.as_json import as_text
from cyclesim.shown.cells import shown
from cyclesim.simulation.assembly import Assembly
from tests.said.tables import Key, Values, agrees, head, hold, hold_in_us, tables_of

SHIPPED = sorted((Path(__file__).parents[2] / "schedules").glob("*.yaml"))
_AGES = "Oldest water by pipe leg, then filter and heat source"
_DATES = "Pipe legs, then filter and heat source: means and dates"
_LEFT = "Had a valve been left turned throughout: the worst for each leg"
_SUCTION = "Pump room and suction"


def _lost(leg: Values) -> float | None:
    """Flowing and standing; a last stretch has neither."""
    parts = [leg["heat_lost_flowing_kwh"], leg["heat_lost_standing_kwh"]]
    return None if parts == [None, None] else sum(part or 0.0 for part in parts)


def _if_left(key: str) -> Key:
    """Unknown where no position is worse than the usual one."""
    return lambda leg: leg[key] if leg["worst_left"] else "-"


TABLES: dict[tuple[str, str], tuple[str, dict[str, Key]]] = {
    (_AGES, "leg"): (
        "legs",
        {
            "volume L": "volume_l",
            "oldest water h": "oldest_water_h",
            "hours over N h": "above_limit_h",
            "longest still h": "longest_stagnant_h",
            "water changes a day": "exchanges_per_day",
            "longest warm and still h": "longest_warm_still_h",
            "heat lost kWh": _lost,
        },
    ),
    (_DATES, "leg"): (
        "legs",
        {
            "mean age h": "mean_water_age_h",
            "still %": "stagnant_share_percent",
            "oldest on": "oldest_water_at",
            "longest still from": "longest_stagnant_from",
            "longest warm and still from": "longest_warm_still_from",
            "coldest °C": "coldest_water_c",
        },
    ),
    (_LEFT, "leg"): (
        "valves_left",
        {
            "oldest usual h": "oldest_usual_h",
            "flow at most L/min": "most_flow_usual_l_min",
            "worst if left": lambda leg: leg["worst_left"] or "as usual",
            "oldest then h": _if_left("oldest_left_h"),
            "flow at most L/min, second": _if_left("most_flow_left_l_min"),
        },
    ),
    ("Pumps", "pump"): (
        "pumps",
        {
            "runs h": "running_h",
            "low speed h": "low_h",
            "high speed h": "high_h",
            "starts a day": "starts_per_day",
            "most starts in an hour": "most_starts_in_an_hour",
            "speed changes": "speed_changes",
            "energy kWh": "energy_kwh",
            "cost money": "cost",
        },
    ),
    (_SUCTION, "pump"): (
        "suction",
        {
            "above the water m": "above_water_m",
            "NPSH at its worst m": "npsh_available_m",
            "needed m": "npsh_needed_m",
            "fittings always open": "suction_fittings_always_open",
            "through a cover, one blocked m/s": "cover_speed_one_blocked_m_s",
        },
    ),
    (_SUCTION, "in the room"): (
        "pump_room.loads",
        {
            "on h": "on_h",
            "starts": "starts",
            "coldest hour °C": "coldest_c",
            "warmest hour °C": "warmest_c",
        },
    ),
    ("Heat sources", "source"): (
        "heat_sources",
        {
            "fires h": "firing_h",
            "firings": "firings",
            "run-on h": "run_on_h",
            "waits for flow check h": "proving_h",
            "tripped h": "tripped_h",
            "energy kWh": "energy_kwh",
            "cost money": "cost",
        },
    ),
    ("Blowers", "blower"): (
        "blowers",
        {
            "runs h": "running_h",
            "starts": "starts",
            "air L/min of air": "flow_l_min",
            "pressure kPa": "pressure_kpa",
            "energy kWh": "energy_kwh",
            "cost money": "cost",
        },
    ),
    ("Own water behind a plate exchanger", "source"): (
        "own_water",
        {
            "turns L/min": "flow_l_min",
            "for h": "circulator_h",
            "heat on h": "heat_on_h",
            "times": "heat_starts",
            "hottest °C": "hottest_c",
            "coldest °C": "coldest_c",
            "to the tub kWh": "over_kwh",
            "lost kWh": "lost_kwh",
        },
    ),
    ("The coldest sessions, by the water when people step out", "from"): (
        "sessions",
        {
            "lasts h": "lasts_h",
            "set point °C": "set_point_c",
            "step in °C": "in_c",
            "coldest °C": "coldest_c",
            "step out °C": "out_c",
            "at a jet °C": "coldest_at_jet_c",
            "for s": "cold_at_jet_s",
        },
    ),
    ("Cold spell, part by part", "part"): (
        "cold_spell",
        {
            "coldest °C": "coldest_c",
            "at 0 °C after": "until_zero_h",
            "without power after": "until_zero_without_power_h",
        },
    ),
    ("Treatment", "device"): (
        "treatment",
        {
            "kind": lambda it: {"uv": "UV lamp", "salt_cell": "salt cell"}.get(it["kind"], it["kind"]),
            "on h": "on_h",
            "starts": "starts",
            "on without flow h": "on_without_flow_h",
            "kept off h": "held_off_h",
            "energy kWh": "energy_kwh",
            "cost money": "cost",
        },
    ),
    ("Water care", "leg"): (
        "water_care.disinfectant.legs",
        {
            "least mg/L fast": "least_fast_mg_l",
            "least mg/L slow": "least_slow_mg_l",
            "times below fast": "times_below_fast",
            "hours below fast": "below_fast_h",
            "times below slow": "times_below_slow",
            "hours below slow": "below_slow_h",
        },
    ),
    ("Energy and cost by device", "device"): (
        "energy.by_device",
        {"kWh": "energy_kwh", "fuel kWh": "fuel_kwh", "money": "cost"},
    ),
    ("Energy and cost by month", "month"): (
        "energy.by_month",
        {"kWh": "energy_kwh", "fuel kWh": "fuel_kwh", "money": "cost"},
    ),
}
TUB = {
    "mean water": "mean_c",
    "coldest": "coldest_c",
    "warmest": "warmest_c",
    "turnovers a day through the filter": "turnovers_per_day",
    "fewest in a day": "fewest_turnovers_in_a_day",
    "mean time since filtered": "since_filtered_mean_h",
    "longest": "since_filtered_max_h",
}
TUB_AT = {
    "coldest": "coldest_at",
    "warmest": "warmest_at",
    "fewest in a day": "fewest_turnovers_on",
    "longest": "since_filtered_max_at",
}
HEAT = {
    "cover": "lost_through_cover_kwh",
    "open water": "lost_from_open_water_kwh",
    "blown air": "taken_by_air_kwh",
    "shell": "lost_through_shell_kwh",
    "legs": "lost_from_legs_kwh",
    "equipment": "lost_from_equipment_kwh",
    "heat sources": "heat_from_sources_kwh",
    "pumps": "heat_from_pumps_kwh",
    "bathers": "heat_from_bathers_kwh",
    "change in stored heat": "stored_change_kwh",
}
GAINS = ("heat sources", "pumps", "bathers")
DUTY: dict[str, tuple[str, dict[str, Key]]] = {
    "pump": (
        "pumps",
        {"speed": "speed", "flow L/min": "flow_l_min", "head m": "head_m", "power W of pump": "power_w"},
    ),
    "leg": (
        "legs",
        {
            "volume L": "volume_l",
            "flow L/min": lambda leg: leg["flow_l_min"] or "still",
            "velocity m/s": lambda leg: leg["velocity_m_s"] if leg["flow_l_min"] else None,
            "Reynolds number": lambda leg: leg["reynolds"] if leg["flow_l_min"] else None,
            "tub water is at its end after s": lambda leg: _after(
                leg["tub_water_at_end_after_s"], leg["flow_l_min"]
            ),
        },
    ),
    "jets of": (
        "jets",
        {
            "jets": "jets",
            "each needs L/min": "needs_l_min",
            "first gets L/min": "first_l_min",
            "last gets L/min": "last_l_min",
        },
    ),
    "device": (
        "",
        {
            "flow L/min": "flow_l_min",
            "limit L/min": lambda it: it.get("at_most_l_min", it.get("needs_l_min")),
        },
    ),
}


def _after(after_s: float | None, flow_l_min: float) -> Any:
    return "never" if after_s is None and flow_l_min else after_s


def halves(table: Table) -> Iterator[Table]:
    """Months stand in two columns: each as a table of its own, whose rows are about their first cell."""
    width = len(table.columns) // 2
    for at in (0, width):
        rows = (row.cells[at : at + width] for row in table.rows)
        yield Table(table.columns[:width], tuple(Row(cells, str(cells[0])) for cells in rows if cells[0]))


def hold_run(page: Page, values: Values) -> set[tuple[str, str]]:
    """Every table of a run's page; which of `TABLES` there were."""
    seen = set()
    energy = values["energy"]
    share = energy["energy_kwh_per_day"] / (energy["energy_kwh"] or 1.0)
    energy["by_device"] |= {
        "all": energy,
        "a day": {
            "energy_kwh": energy["energy_kwh_per_day"],
            "cost": energy["cost_per_day"],
            "fuel_kwh": energy["fuel_kwh"] * share,
        },
    }
    values["sessions"] = {session["from_local"]: session for session in values["sessions"]}
    energy["by_month"] = {month["month"]: month for month in energy["by_month"]}
    if spell := values["cold_spell"]:
        parts = ("coldest_c", "until_zero_h", "until_zero_without_power_h")
        values["cold_spell"] = {name: {key: spell[key][name] for key in parts} for name in spell["coldest_c"]}
    for title, table in tables_of(page):
        if title.startswith("Tub ("):
            assert [cells[0] for cells in (row.cells for row in table.rows)] == list(TUB)
            for row in table.rows:
                hold_tub(row.cells, values["tub"])
        elif title == "Heat of the tub's water and shell":
            hold_heat(table, values["tub"])
        else:
            name = title, head(table, 0)
            path, keys = TABLES[name]
            found = values
            for step in path.split("."):
                found = found[step]
            for part in halves(table) if name[1] == "month" else (table,):
                hold(part, keys, found.__getitem__)
            assert {column.unit for column in table.columns if column.kind == "fixed"} <= {
                "m",
                energy["currency"],
            }
            seen.add(name)
    return seen


def hold_tub(cells: Any, tub: Values) -> None:
    """One fact of the tub: its number in its unit, and when it was."""
    name, amount, *at = cells
    value = tub[TUB[name]]
    text = shown(amount, Column(""))
    if isinstance(amount, Amount) and amount.kind == "lasting":
        number, unit = text.split()
        hours = float(number) * {"s": 1 / 3600, "min": 1 / 60, "h": 1.0, "days": 24.0}[unit]
        assert abs(hours - value) <= 0.51 * 10 ** -len(number.partition(".")[2]) * hours / float(number)
    else:
        assert agrees(text.removesuffix(" °C"), value, Column(""))
    if at:
        assert agrees(shown(at[0], Column("", kind="when")), tub[TUB_AT[name]], Column(""))


def hold_heat(table: Table, tub: Values) -> None:
    """What took heat and what gave it: each part once, on the side of its sign."""
    seen = {}
    for cells in (row.cells for row in table.rows):
        for side, (name, cell) in ((1.0, cells[:2]), (-1.0, cells[2:])):
            if name:
                lost = -tub[HEAT[name]] if name in GAINS else tub[HEAT[name]]
                assert agrees(shown(cell, table.columns[1]), side * lost, table.columns[1]), (name, cell)
                seen[name] = True
    assert sorted(seen) == sorted(name for name, key in HEAT.items() if tub[key])


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_every_table_of_a_run_tells_the_numbers_of_the_json(file: Path) -> None:
    """Seven days of two months of each shipped plant: no cell tells another number than its key has."""
    scenario = cyclesim.load(file)
    result = cyclesim.simulate(scenario, days=7, start=date(scenario.place.year, 1, 28), left=True)
    values = as_text(result_values(result))
    told = {("Pumps", "pump"), (_AGES, "leg"), ("Energy and cost by month", "month")}
    assert told <= hold_run(run_page(result), json.loads(values))
    seen = hold_run(run_page(result, everything=True), json.loads(values))
    assert told | {(_DATES, "leg"), ("Energy and cost by device", "device")} <= seen


def test_the_table_of_a_cold_spell_tells_the_numbers_of_the_json() -> None:
    """Part by part, in both worlds of units: some are at 0 degC within the spell, with power or without."""
    still = ("heating", "frost_protection", "filter_runs", "line_flushes", "bathing")
    sets = [f"schedule.{name}=null" for name in still]
    sets += ["interlocks=[]", "place.zones.pump_room={follows: weather}"]
    sets += ["place.cold_spell={lowest: -12 degC, lasts: 2 days, from: 2027-01-21}"]
    scenario = load_text(starter_text(), sets=sets)
    result = cyclesim.simulate(scenario, days=5, start=date(2027, 1, 19))
    values = json.loads(as_text(result_values(result)))
    zero = values["cold_spell"]["until_zero_h"].values()
    assert None in zero
    assert any(hours is not None for hours in zero)
    page = run_page(result)
    assert ("Cold spell, part by part", "part") in hold_run(page, values)
    assert hold_in_us(page) > 5


@pytest.mark.parametrize("name", ["cedar-yard", "long-table"])
def test_every_table_of_a_run_tells_the_same_in_us_units(name: str) -> None:
    """Each number of the metric table, turned by pint and rounded once, is the one of the US table."""
    scenario = cyclesim.load(SHIPPED[0].with_stem(name))
    result = cyclesim.simulate(scenario, days=3, start=date(scenario.place.year, 1, 28), left=True)
    duties = duty_values(Assembly(scenario))["duties"]
    pages = (run_page(result, everything=True), duty_page(scenario, duties))
    assert sum(map(hold_in_us, pages)) > 50


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_every_table_of_the_duties_tells_the_numbers_of_the_json(file: Path) -> None:
    """Likewise what every duty gives; a last jet has the time of its own."""
    scenario = cyclesim.load(file)
    values = json.loads(as_text(duty_values(Assembly(scenario))))
    named = {duty["name"]: duty for duty in values["duties"]}
    tables = list(tables_of(duty_page(scenario, values["duties"])))
    assert len(tables) >= 2
    for title, table in tables:
        duty = named[title.strip("= ")]
        part, keys = DUTY[head(table, 0)]
        records = duty[part] if part else duty["equipment"] | duty["heat_sources"]
        hold(replace(table, rows=tuple(r for r in table.rows if not r.level)), keys, records.__getitem__)
        for row in (r for r in table.rows if r.level):
            jets, leg = duty["jets"][row.about], duty["legs"][row.about]
            due = _after(jets["tub_water_at_last_jet_after_s"], leg["flow_l_min"])
            assert agrees(shown(row.cells[-1], table.columns[-1]), due, table.columns[-1])


def test_low_and_high_hours_swapped_are_found() -> None:
    """The walk is no use where it would pass a table that tells one field under another's heading."""
    result = cyclesim.simulate(cyclesim.load(SHIPPED[0].with_stem("harbour-steps")), days=2)
    page = run_page(result)
    values = as_text(result_values(result))
    hold_run(page, json.loads(values))
    at, pumps = next((k, b) for k, b in enumerate(page.blocks) if isinstance(b, Table) and b.title == "Pumps")
    low, high = (next(k for k in range(9) if head(pumps, k) == f"{s} speed h") for s in ("low", "high"))
    rows = []
    for row in pumps.rows:
        cells = list(row.cells)
        cells[low], cells[high] = cells[high], cells[low]
        rows.append(replace(row, cells=tuple(cells)))
    assert tuple(rows) != pumps.rows
    page.blocks[at] = replace(pumps, rows=tuple(rows))
    with pytest.raises(AssertionError, match="low speed h"):
        hold_run(page, json.loads(values))
