"""What a comparison tells: on the screen, as JSON and as a picture; and the calls that make no sense."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from cyclesim.cli import cli
from cyclesim.decide.comparing import comparison as module
from cyclesim.decide.comparing.comparison import Versus
from cyclesim.said.compare import compare_page, compare_values
from cyclesim.said.compare_words import versus_words
from cyclesim.scenario.reading.load import load_text
from cyclesim.shown.as_json import as_text
from cyclesim.shown.terminal import printed
from tests.evidence import small
from tests.said.tables import Key, Values, head, hold_in_order, hold_in_us, hold_row, tables_of

SCHEDULES = Path(__file__).parents[2] / "schedules"
PAIR = (SCHEDULES / "walled-garden.yaml", SCHEDULES / "walled-garden-circulator.yaml")


@pytest.fixture(autouse=True)
def _short(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A year is two days, and what is run is kept apart from the user's own."""
    monkeypatch.setattr(module, "days_of_year", lambda _: 2)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))


def compare(*args: object) -> Result:
    """The command in this process."""
    return CliRunner().invoke(cli, ["compare", *map(str, args), "--workers", "1"])


def test_screen_json_and_picture(tmp_path: Path) -> None:
    """Fit for 80 columns; the same numbers in both."""
    data, picture = tmp_path / "o.json", tmp_path / "o.svg"
    shown = compare(*PAIR, "--futures", 3, "--json", data, "--figure", picture)
    assert 0 == shown.exit_code, shown.output
    assert 80 >= max(map(len, shown.stdout.splitlines()))
    for heading in ("What to take from it", "Money, EUR", "In 3 futures", "What moves the answer"):
        assert heading in shown.stdout
    values = json.loads(data.read_text("utf-8"))
    total = [plant["owning"]["total"] for plant in values["plants"]]
    assert f"{total[0]:,.0f}" in shown.stdout
    assert 3 == len(values["futures"])
    for told in values["takings"]:
        assert told.split()[0] in shown.stdout
    assert picture.read_bytes().startswith(b"<?xml")


def test_three_plants_and_no_prices(tmp_path: Path) -> None:
    """Letters for each, no difference column, and what is missing is said."""
    third = tmp_path / "third.yaml"
    text = PAIR[0].read_text("utf-8")
    third.write_text(text[: text.index("# Prices are invented")].replace("lasts: 3 h", "lasts: 1 h"), "utf-8")
    shown = compare(*PAIR, third, "--futures", 2, "--figure", tmp_path / "o.png")
    assert 0 == shown.exit_code, shown.output
    assert "C  third.yaml" in shown.stdout
    assert "No money: in C" in shown.stdout
    assert "Of 2 futures, cheapest a year" in shown.stdout
    assert 80 >= max(map(len, shown.stdout.splitlines()))


def _shown(*texts: str, futures: int = 0) -> str:
    plants = [load_text(text) for text in texts]
    compared = module.compare(plants, ["a", "b"], days=2, futures=futures, sensitivity=False)
    return printed(compare_page(compared))


def test_money_counted_otherwise_is_told_for_each() -> None:
    """A sentence that gave the rates of A for both would be false."""
    prices = "money: {over: 7 years, discount_rate: %s, purchases: {all: {price: 300 EUR}}}\n"
    shown = " ".join(_shown(small._FILTERED + prices % "3 %", small._FILTERED + prices % "8 %").split())
    assert "Not the same: how money is counted" in shown
    assert "A with 3.0% discount a year, energy 0.0% dearer a year; B with 8.0% discount a year" in shown


def test_energy_for_each_cubic_metre() -> None:
    """300 W beside what the pump moves in an hour; all of it passes the filter; its work is less."""
    plant = small.filtered_plant()
    flow_m3_h = 3600.0 * plant.duty(plant.at("pump", "on")).flow_m3_s("pump")
    shown = _shown(small._FILTERED, small._FILTERED)
    rows = {line[:38].strip(): line[38:].split() for line in shown.splitlines()}
    drawn = f"{300.0 / flow_m3_h:.1f}"
    assert [drawn, drawn, "0"] == rows["all pumps, Wh for each m3 filtered"]
    assert [drawn, drawn, "0"] == rows["pump, Wh drawn for each m3 it moves"]
    assert 0.0 < float(rows["pump, Wh of work on each m3 it moves"][0]) < float(drawn)


def test_water_that_never_moves_is_told_in_futures() -> None:
    """With the plant that it is in, in place of a number of hours."""
    dead = small._FILTERED.replace(
        "}}\n  pumps", "}, spare: {pipe: 50 PN10, length: 2 m, zone: room, dead_end: true}}\n  pumps"
    )
    shown = _shown(small._FILTERED, dead, futures=3)
    line = next(one for one in shown.splitlines() if one.startswith("B - A: oldest water"))
    assert ["0", "3", *["B", "never"] * 3] == line.split()[6:]
    assert 80 >= max(map(len, shown.splitlines()))


def test_conditions_that_differ_are_told() -> None:
    """Another place, tariff and tub."""
    shown = compare(PAIR[0], SCHEDULES / "long-table.yaml")
    assert "Not the same: the weather" in shown.stdout


@pytest.mark.parametrize(
    ("args", "said"),
    [
        ((PAIR[0],), "Two to six files"),
        ((*PAIR, "--figure", "a.txt"), "svg, pdf or png"),
        ((*PAIR, "--futures", "many"), "is not a valid integer"),
        ((PAIR[0], SCHEDULES / "cedar-yard.yaml"), "EUR and USD cannot stand side by side"),
        ((PAIR[0], "walled.yaml"), "no file"),
        ((*PAIR, "--set", "plant.tub.wter=1500 L"), "did you mean 'plant.tub.water'"),
    ],
)
def test_calls_that_make_no_sense_are_refused(args: tuple[object, ...], said: str) -> None:
    """Before anything is run."""
    shown = compare(*args)
    assert 2 == shown.exit_code
    assert said in shown.output


def test_what_one_plant_breaks_alone_comes_first(tmp_path: Path) -> None:
    """Before anything is said for it."""
    short = tmp_path / "short.yaml"
    short.write_text(PAIR[1].read_text("utf-8").replace("lasts: 45 s", "lasts: 10 s"), "utf-8")
    shown = compare(PAIR[1], short)
    assert 1 == shown.exit_code
    said = " ".join(shown.stdout.partition("What to take from it")[2].split())
    assert said.startswith("- B breaks flush-too-short, which A keeps. Mend that first.")


def test_wins_in_words() -> None:
    """Whichever is cheaper more often is told first, with its own gain."""
    told = versus_words(Versus(12, 0, 200, -120.0, -300.0, 20.0), "A", "B", "a year", "EUR")
    assert (
        "B costs less than A a year in 188 of 200 futures; median difference 120 EUR, -20.0 to 300 from the "
        "5th to the 95th percentile."
    ) == told
    assert "the same in all 7 futures" in versus_words(Versus(0, 7, 7, 0, 0, 0), "A", "B", "a year", "EUR")


PRICES = "money: {over: 7 years, discount_rate: 3 %%, purchases: {all: {price: %s EUR}}}\n"
BATHED = (
    'schedule.bathing=[{start: "19:00", lasts: 50 min, people: 2, pump: pump, jets_at_most: 20 min}]',
    "plant.legs.spout={pipe: 50 PN10, length: 2 m, zone: room, "
    "manifold: {jets: 2, spacing: 400 mm, each: 60 L/min at 2 m}}",
    "limits.cold_session=0.1 K",
)
EXTRAS = (
    "plant.air={blower: {power: 690 W, delivers: 600 L/min, pipe: 50 PN10, length: 6 m, wet_volume: 3 L, "
    "outlets_below_water: 600 mm, check_valve: true, zone: room}}",
    'schedule.air_line_flushes=[{start: "12:00", lasts: 2 min}]',
    "plant.treatment={lamp: {kind: uv, in: filter, needs_flow: 60 L/min, power: 40 W, proof: {by: none}, "
    "with: pump}}",
)


@pytest.fixture(scope="module")
def both() -> tuple[module.Comparison, Values]:
    """An element beside a boiler with a blower and a lamp, in three futures and with every assumption off."""
    texts = (small.heated_text(element=small.ELEMENT), small.heated_text(boiler=small.BOILER))
    plants = [
        load_text(text.replace(", tub]]", ", spout, tub]]") + PRICES % price, sets=(*BATHED, *more))
        for text, price, more in zip(texts, (300, 800), ((), EXTRAS), strict=True)
    ]
    found = module.compare(plants, ["a", "b"], days=2, futures=3, sensitivity=True)
    return found, json.loads(as_text(compare_values(found)))


def _leg(key: str) -> Callable[[str], Key]:
    """Of a leg by its name; unknown where the plant has none of that name."""
    return lambda name: lambda plant: plant["outcome"]["legs"].get(name, {key: None})[key]


def _kind(kind: str, key: str, days: float) -> Key:
    """What all devices of a kind do in so many days; unknown where there are none."""

    def of(plant: Values) -> float | None:
        amounts = [d[key] for d in plant["outcome"]["devices"].values() if d["kind"] == kind]
        return float(sum(amounts)) * days / plant["outcome"]["days"] if amounts else None

    return of


def _each_m3(key: str) -> Key:
    def of(plant: Values) -> float:
        pump = plant["outcome"]["devices"]["pump"]
        return 1000.0 * float(pump[key]) / float(pump["moved_m3"])

    return of


ROWS: dict[str, Key] = {
    "pumps run, h a day": _kind("pump", "running_h", 1),
    "pump starts a day": _kind("pump", "starts", 1),
    "heard, min a day": lambda plant: plant["outcome"]["loud_min"] / 2,
    "weakest jet, % of what it needs": lambda plant: 100.0 * plant["weakest_jet_share"],
    "turnovers a day": lambda plant: plant["outcome"]["turnovers_per_day"],
    "pumps, kWh a year": _kind("pump", "energy_kwh", 365),
    "heat sources, kWh a year": _kind("heat source", "energy_kwh", 365),
    "heat sources' fuel, kWh a year": _kind("heat source", "fuel_kwh", 365),
    "blowers, kWh a year": _kind("blower", "energy_kwh", 365),
    "treatment, kWh a year": _kind("treatment", "energy_kwh", 365),
    "all electricity, kWh a year": lambda plant: plant["outcome"]["energy_kwh"] * 365 / 2,
    # the only pump, and all that it moves passes the filter
    "all pumps, Wh for each m3 filtered": _each_m3("energy_kwh"),
    "pump, Wh drawn for each m3 it moves": _each_m3("energy_kwh"),
    "pump, Wh of work on each m3 it moves": _each_m3("hydraulic_kwh"),
    "most current at once, A": lambda plant: plant["outcome"]["most_current_a"],
    "filled tub to set point, coldest week, h": lambda plant: plant["warming"]["filled_h"],
    "from 30 degC to set point, coldest day, h": lambda plant: plant["warming"]["set_back_h"],
    "coldest tub, degC": lambda plant: plant["outcome"]["coldest_c"],
    "bathing sessions": lambda plant: plant["outcome"]["sessions"],
    "of them begun in cold water": lambda plant: plant["outcome"]["cold_sessions"],
    "energy and fuel, a year": lambda plant: plant["outcome"]["cost"] * 365 / 2,
    "in a mean month": lambda plant: plant["outcome"]["cost"] * 365 / 2 / 12,
    "in the dearest month": lambda plant: max(plant["outcome"]["cost_by_month"].values()),
    "bought at the start": lambda plant: plant["owning"]["purchase"],
    "bought again": lambda plant: plant["owning"]["replacements"],
    "energy over 7 years": lambda plant: plant["owning"]["energy"],
    "all, over 7 years": lambda plant: plant["owning"]["total"],
}
AGES = {"oldest water, h": _leg("oldest_water_h"), "longest stand, h": _leg("longest_stagnant_h")}
MEASURES = {
    "EUR a year": "cost_a_year",
    "EUR over 7 years": "total",
    "kWh a year": "energy_kwh_a_year",
    "oldest water, h": "oldest_water_h",
    "heard, min a day": "loud_min_a_day",
}
FUTURES: dict[str, Key] = {
    "B less in": lambda versus: versus["of"] - versus["same"] - versus["less"],
    "A less in": "less",
    "5th": "low",
    "median": "median",
    "95th": "high",
}
SWINGS: dict[str, Key] = {
    "from": "low",
    "to": "high",
    "B - A at from": "at_low",
    "B - A at to": "at_high",
    "": lambda swing: "turns" if swing["flips"] else "",
}


def _side_by_side(of: Key) -> dict[str, Key]:
    """A number of both plants, and how much more the second has."""
    assert callable(of)
    a, b = (lambda plants, k=k: of(plants[k]) for k in (0, 1))

    def more(plants: Values) -> float | None:
        if a(plants) is None or b(plants) is None:
            return None
        change = float(b(plants) - a(plants))
        return change if abs(change) > 1e-9 else 0.0

    return {"A": a, "B": b, "B - A": more}


def test_every_table_tells_the_numbers_of_the_json(
    both: tuple[module.Comparison, Values],
) -> None:
    """Cell by cell, each plant under its letter, in both worlds of units."""
    found, values = both
    page, plants = compare_page(found), values["plants"]
    seen = set[str]()
    for _, table in tables_of(page):
        first = head(table, 0)
        if first == "difference":
            labels = [f"B - A: {says}" for says in MEASURES]
            assert labels == [row.cells[0] for row in table.rows]
            hold_in_order(table, FUTURES, [values["versus_the_first"][0][key] for key in MEASURES.values()])
        elif first == "assumption alone":
            assert [swing["assumption"] for swing in values["sensitivity"]] == [
                r.cells[0] for r in table.rows
            ]
            hold_in_order(table, SWINGS, values["sensitivity"])
        else:
            for row in table.rows:
                names = row.about.split("; ") if first in AGES else [row.about]
                for name in names:
                    of = AGES[first](name) if first in AGES else ROWS[name]
                    hold_row(table, _side_by_side(of), row, plants)
                seen |= {*names} if first not in AGES else {f"{first} {name}" for name in names}
    legs = {name for plant in plants for name in plant["outcome"]["legs"]}
    assert seen == {*ROWS} | {f"{first} {name}" for first in AGES for name in legs}
    assert hold_in_us(page) == 3  # of temperatures and their difference


def test_the_kilowatt_hours_of_a_year_add_up_with_the_pump_rooms_own() -> None:
    """A sump pump of 900 W that lifts 90 L/min where 3 run in: 30 W, 262.8 kWh a year; rows and their sum."""
    sump = "sump_pump: {power: 900 W, float: true, backed_up: true, lifts: 90 L/min, inflow: 180 L/h}"
    text = small._FILTERED.replace("plant:\n", f"plant:\n  pump_room: {{{sump}}}\n")
    rows = {line[:38].strip(): line[38:].split() for line in _shown(text, small._FILTERED).splitlines()}
    assert ["263", "-"] == rows["pump room's own, kWh a year"][:2]
    parts = [float(rows[name][0]) for name in ("pumps, kWh a year", "pump room's own, kWh a year")]
    assert float(rows["all electricity, kWh a year"][0].replace(",", "")) == pytest.approx(
        sum(parts), abs=1.0
    )
