"""What sizing tells: advice in words, tables of 80 columns, pictures, and the calls that make no sense."""

import json
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result

from cyclesim.cli import cli
from cyclesim.decide.sizing.blower_sizing import BlowerSizing, size_blower
from cyclesim.decide.sizing.pump_sizing import PumpSizing, size_pump
from cyclesim.said.curves_drawn import blower_drawn, pump_drawn
from cyclesim.said.drawing import drawing
from cyclesim.said.size_blower import blower_page, blower_values
from cyclesim.said.size_pump import pump_page, pump_values
from cyclesim.scenario.reading.load import load
from cyclesim.shown.as_json import as_text
from cyclesim.shown.pictures.size import curves_figure
from cyclesim.shown.terminal import printed
from cyclesim.simulation.assembly import Assembly
from tests.said.tables import Key, head, hold_in_order, hold_in_us, tables_of

SCHEDULES = Path(__file__).parents[2] / "schedules"
GARDEN, TABLE = SCHEDULES / "walled-garden.yaml", SCHEDULES / "long-table.yaml"


def size(*args: object) -> Result:
    """The command in this process."""
    return CliRunner().invoke(cli, ["size", *map(str, args)])


def test_a_pump_is_told_in_horsepower_to_who_reads_us_units(pumps: PumpSizing) -> None:
    """1,100 W / 745.7 = 1.475 hp; 43.95 Wh/m3 x 3.78541 / 1,000 = 0.1664 kWh per 1,000 gal, by hand.

    JSON and who reads metric have watts, with no word of pumps behind them.
    """
    us, metric = (printed(pump_page(pumps), us=us) for us in (True, False))
    assert all(told in " ".join(us.split()) for told in ("the least power: 1.48 hp", "kWh/1000 gal", "0.166"))
    assert all(told in " ".join(metric.split()) for told in ("the least power: 1,100 W", "Wh/m3", "44.0"))
    assert not any(" W of pump" in text for text in (us, metric, str(pump_values(pumps))))
    assert "pump, 0.42 hp or 2.1 hp" in str(drawing(Assembly(pumps.scenario), us=True))


@pytest.mark.parametrize(("what", "file"), [("pump", GARDEN), ("blower", TABLE)])
def test_screen_json_and_picture(what: str, file: Path, tmp_path: Path) -> None:
    """The advice stands on the screen as in the JSON."""
    data, picture = tmp_path / "o.json", tmp_path / "o.svg"
    shown = size(what, file, "--json", data, "--figure", picture)
    assert 0 == shown.exit_code, shown.output
    assert 80 >= max(map(len, shown.stdout.splitlines()))
    values = json.loads(data.read_text("utf-8"))
    flat = " ".join(shown.stdout.split())
    assert values["advice"]
    assert all(sentence in flat for sentence in values["advice"])
    assert picture.read_bytes().startswith(b"<?xml")
    again = tmp_path / "again.svg"
    size(what, file, "--figure", again)
    assert picture.read_bytes() == again.read_bytes()


def test_series_is_never_advised_for_more_flow() -> None:
    """It is named once, to be refused."""
    shown = size("pump", GARDEN).stdout
    assert "Two in series are not offered: they add head, not flow." in " ".join(shown.split())
    assert 1 == shown.count("series")


def test_a_plant_whose_pumps_are_all_too_weak_gets_told(tmp_path: Path) -> None:
    """Which comes nearest, and by how much."""
    weak = tmp_path / "weak.yaml"
    weak.write_text(GARDEN.read_text("utf-8").replace("38 L/min at 6 m", "90 L/min at 6 m"), "utf-8")
    shown = " ".join(size("pump", weak).stdout.split())
    assert "None gives every jet enough: large at high comes nearest" in shown


def test_air_is_told_in_cubic_feet_to_who_reads_us_units() -> None:
    """600 L/min are 600 / 28.3168 = 21.2 cfm; no flow of air is told in gallons."""
    for args in ((), ("--flow", "10 cfm"), ("--flow", "100 cfm")):
        shown = " ".join(size("blower", TABLE, *args, "--units", "us").stdout.split())
        assert "gpm" not in shown
        assert ("e.g. 21.2 cfm" in shown) == (not args)
    assert "e.g. 600 L/min of air; " in " ".join(size("blower", TABLE).stdout.split())


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("pump", GARDEN, "--pump", "mian"), "'mian' is no pump of the plant"),
        (("blower", GARDEN), "There is no blower"),
        (("blower", TABLE, "--flow", "600"), "say the unit: 600 L/min"),
        (("blower", TABLE, "--flow", "a lot"), "expected a flow"),
        (("pump", GARDEN, "--figure", "o.gif"), "svg, pdf or png"),
        (("pmup", GARDEN), "No such command"),
        (("pump", "gardn.yaml"), "no file"),
    ],
)
def test_calls_that_make_no_sense_are_refused(args: tuple[object, ...], said: str) -> None:
    """In a line that says what is due."""
    shown = size(*args)
    assert 2 == shown.exit_code
    assert said in shown.output


def _l_min(key: str) -> Key:
    return lambda given: 60_000.0 * given[key]


def _percent(key: str) -> Key:
    return lambda given: None if given[key] is None else 100.0 * given[key]


GIVEN: dict[str, Key] = {
    "flow L/min": _l_min("flow_m3_s"),
    "head m": "head_m",
    "weakest jet, %": _percent("weakest_jet_share"),
    "to spare, % flow": _percent("flow_spare_share"),
    "head": _percent("head_spare_share"),
    "power W of pump": "power_w",
    "price money": "price",
    "weakest jet L/min": _l_min("weakest_jet_m3_s"),
    "suction m/s": "suction_m_s",
    "NPSH, m left": "npsh_left_m",
    "due": "npsh_due_m",
    "filter, % of its most": _percent("filter_share"),
    "Wh/m3": "wh_per_m3",
}
PIPES: dict[str, Key] = {
    "asked L/min": lambda change: change["asked"] and 60_000.0 * change["asked"]["flow_m3_s"],
    "asked m": lambda change: change["asked"] and change["asked"]["head_m"],
    "weakest jet, % as drawn": lambda change: 100.0 * change["as_drawn"]["weakest_jet_share"],
    "weakest jet, % middle": lambda change: 100.0 * change["best"]["weakest_jet_share"],
}
ARRANGED: dict[str, Key] = {
    "pump": "pump",
    "flow in all, L/min": _l_min("total_flow_m3_s"),
    "weakest jet, %": _percent("weakest_jet_share"),
    "power W of pump": "power_w",
    "limits kept": lambda arrangement: not arrangement["cautions"],
}
BLOWN: dict[str, Key] = {
    "flow L/min of air": _l_min("flow_m3_s"),
    "pressure kPa": lambda blown: blown["pressure_pa"] / 1000.0,
    "to spare, % flow": _percent("flow_spare_share"),
    "press.": _percent("pressure_spare_share"),
    "power W of pump": "power_w",
    "K/h in January": "cools_coldest_k_h",
    "K/h, mean": "cools_mean_k_h",
    "1 K in (cold)": lambda blown: 1.0 / blown["cools_coldest_k_h"],
}


@pytest.fixture(scope="module")
def pumps() -> PumpSizing:
    """The garden's pump and its candidates."""
    return size_pump(load(GARDEN))


@pytest.fixture(scope="module")
def blowers() -> BlowerSizing:
    """The table's blower and its candidates for 600 L/min."""
    return size_blower(load(TABLE), wanted_m3_s=0.01)


def test_every_table_of_a_pump_tells_the_numbers_of_the_json(pumps: PumpSizing) -> None:
    """Cell by cell, in both worlds of units; two pumps or loops stand in another order than in the JSON."""
    page, values = pump_page(pumps), json.loads(as_text(pump_values(pumps)))
    (best,) = {given["pump"] for given in values["given"] if given == values["best"]}
    assert "middle" == best
    tables = [table for _, table in tables_of(page)]
    assert ["pump, speed", "pump, speed", "", ""] == [head(table, 0) for table in tables]
    for table in tables[:2]:
        hold_in_order(table, GIVEN, values["given"])
        names = [(given["pump"], given["speed"]) for given in values["given"]]
        told = [str(row.cells[0]).removesuffix(" *").partition(", ") for row in table.rows]
        assert names == [(pump, speed or "on") for pump, _, speed in told]
    assert [change["what"] for change in values["other_pipes"]] == [row.cells[0] for row in tables[2].rows]
    hold_in_order(tables[2], PIPES, values["other_pipes"])
    arranged = {(a["how"], a["pump"]): a for a in values["arrangements"]}
    told_of = [arranged[str(row.cells[0]), str(row.cells[1])] for row in tables[3].rows]
    assert len(arranged) == len(told_of)
    hold_in_order(tables[3], ARRANGED, told_of)
    assert hold_in_us(page) > 50


def test_the_table_of_a_blower_tells_the_numbers_of_the_json(blowers: BlowerSizing) -> None:
    """Likewise, air."""
    page, values = blower_page(blowers), json.loads(as_text(blower_values(blowers)))
    ((_, table),) = tables_of(page)
    hold_in_order(table, BLOWN, values["given"])
    told = [str(row.cells[0]).removesuffix(" *") for row in table.rows]
    assert [blown["blower"] for blown in values["given"]] == told
    assert hold_in_us(page) >= 12


def _near(points: Iterable[tuple[float, float]]) -> Any:
    return pytest.approx([x for point in points for x in point])


def _flat(points: Iterable[tuple[float, float]]) -> list[float]:
    return [x for point in points for x in point]


def test_the_drawing_of_a_pump_has_the_numbers_of_the_json(pumps: PumpSizing) -> None:
    """Curves, where they meet, the pipes' own and what is asked for, in L/min and metres."""
    drawn, values = pump_drawn(pumps), json.loads(as_text(pump_values(pumps)))
    for curve, told in zip(drawn.curves, values["curves_m3_s_m"], strict=True):
        assert (told["pump"], told["speed"] == "low") == (curve.machine, curve.is_low)
        assert _flat(curve.points) == _near((60_000 * q, h) for q, h in told["points"])
    for meeting, given in zip(drawn.meetings, values["given"], strict=True):
        assert (given["pump"], given == values["best"]) == (meeting.machine, meeting.is_best)
        assert meeting.at == pytest.approx((60_000 * given["flow_m3_s"], given["head_m"]))
    assert _flat(drawn.asked) == _near((60_000 * q, h) for q, h in values["system_m3_s_m"])
    asked = values["asked"]
    assert drawn.wanted == ("what the jets ask for", 60_000 * asked["flow_m3_s"], asked["head_m"])
    assert drawn.highest == pytest.approx(19.0)  # of the large candidate at no flow, by the file
    assert drawn.machines == ["main (as drawn)", "small", "middle", "large"]


def test_the_drawing_of_a_blower_has_the_numbers_of_the_json(blowers: BlowerSizing) -> None:
    """Likewise, in kilopascals; without a wanted flow nothing is marked."""
    drawn, values = blower_drawn(blowers), json.loads(as_text(blower_values(blowers)))
    for curve, told in zip(drawn.curves, values["curves_m3_s_pa"], strict=True):
        assert told["blower"] == curve.machine
        assert _flat(curve.points) == _near((60_000 * q, p / 1000) for q, p in told["points"])
    for meeting, blown in zip(drawn.meetings, values["given"], strict=True):
        assert (blown["blower"], blown == values["best"]) == (meeting.machine, meeting.is_best)
        assert meeting.at == pytest.approx((60_000 * blown["flow_m3_s"], blown["pressure_pa"] / 1000))
    assert _flat(drawn.asked) == _near((60_000 * q, p / 1000) for q, p in values["system_m3_s_pa"])
    assert drawn.wanted is not None
    assert drawn.wanted[1:] == pytest.approx((600.0, values["wanted_pa"] / 1000))
    assert drawn.at_rest == ("depth alone", pytest.approx(values["depth_pa"] / 1000))
    assert blower_drawn(replace(blowers, wanted_m3_s=None, wanted_pa=None)).wanted is None


def test_a_drawing_for_readers_of_us_units(pumps: PumpSizing, blowers: BlowerSizing) -> None:
    """Where a machine meets the pipes: a US gallon is 3.785411784 L, a foot 0.3048 m, a psi 6.894757 kPa.

    A cubic foot of air is 28.316846592 L (NIST SP 811, from memory, not opened).
    """
    for drawn, flow_by, height_by, names in (
        (pump_drawn(pumps), 3.785411784, 0.3048, ("flow, gpm", "head, ft")),
        (blower_drawn(blowers), 28.316846592, 6.894757, ("flow at the intake, cfm", "pressure, psi")),
    ):
        (axes,) = curves_figure(drawn, us=True).axes
        assert names == (axes.get_xlabel(), axes.get_ylabel())
        (metric,) = curves_figure(drawn).axes
        for line, us_line in zip(metric.lines, axes.lines, strict=True):
            assert np.divide(line.get_ydata(), height_by) == pytest.approx(us_line.get_ydata(), rel=1e-6)
            if line.get_label() != "depth alone":  # which goes from edge to edge
                assert np.divide(line.get_xdata(), flow_by) == pytest.approx(us_line.get_xdata(), rel=1e-6)
