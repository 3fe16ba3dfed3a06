"""What a comparison tells: on the screen, as JSON and as a picture; and the calls that make no sense."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from cyclesim.cli import cli
from cyclesim.decide.comparing import comparison as module
from cyclesim.decide.comparing.comparison import Versus
from cyclesim.said.compare import compare_page
from cyclesim.said.compare_words import versus_words
from cyclesim.scenario.reading.load import load_text
from cyclesim.shown.terminal import printed
from tests.evidence import small

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
    rows = {line[:35].strip(): line[35:].split() for line in shown.splitlines()}
    drawn = f"{300.0 / flow_m3_h:.1f}"
    assert [drawn, drawn, "0"] == rows["all pumps, Wh for each m3 filtered"]
    assert [drawn, drawn, "0"] == rows["pump, Wh drawn for each m3 it moves"]
    assert 0.0 < float(rows["pump, of it work on the water"][0]) < float(drawn)


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
    assert said.startswith("- B breaks what not all do: flush-too-short")


def test_wins_in_words() -> None:
    """Whichever is cheaper more often is told first, with its own gain."""
    told = versus_words(Versus(12, 0, 200, -120.0, -300.0, 20.0), "A", "B", "a year", "EUR")
    assert (
        "B costs less than A a year in 188 of 200 futures; median difference 120 EUR, -20.0 to 300 from the "
        "5th to the 95th percentile."
    ) == told
    assert "the same in all 7 futures" in versus_words(Versus(0, 7, 7, 0, 0, 0), "A", "B", "a year", "EUR")
