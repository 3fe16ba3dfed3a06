"""What the papers say of collectors, against the file and a year's run."""

from dataclasses import replace
from pathlib import Path

import pytest

from cyclesim.analysis.result import simulate
from cyclesim.said.drawing import drawing
from cyclesim.said.page import Page, Table
from cyclesim.said.papers.own_water import own_waters
from cyclesim.said.papers.paper import Checklist, Sheet
from cyclesim.said.papers.sun import stands_hot, sun_controls, sun_pipes
from cyclesim.said.run_tables import say_sources
from cyclesim.said.words import number
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.shown.reader import turned
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.exchanges import sun_w
from tests.sunny import AT_NIGHT, BEHIND_PLATES, BY_VALVE, FILTERED

SLOPE = Path(__file__).parents[2] / "schedules" / "south-slope.yaml"


def told(write, about):
    """What one part of a paper has: its table's rows, and what is ticked."""
    sheet = Sheet()
    write(sheet, about)
    rows = {
        str(row.cells[0]): getattr(row.cells[1], "value", row.cells[1])
        for block in sheet.blocks
        if isinstance(block, Table)
        for row in block.rows
    }
    return rows, [item for block in sheet.blocks if isinstance(block, Checklist) for item in block.items]


def test_the_electrician_sets_what_the_file_says():
    """8 K, 0.5 K, off at 38 degC, on again 1 K below, not above 50 degC: as the shipped file has them."""
    rows, looked = told(sun_controls, Assembly(load(SLOPE)))
    assert {
        "moves": "sun_pump",
        "sensors": "in collectors and in the tub",
        "on when warmer than the tub by": 8.0,
        "off when warmer by no more than": 0.5,
        "off when the tub is at": 38.0,
        "on again when it is below": 37.0,
        "does not go on while they are above": 50.0,
        "goes off if no water moves and they are above": 50.0,
    } == rows
    assert any("past the high stop" in item for item in looked)
    assert any("no water moves, by a flow switch" in item for item in looked)


def test_a_missing_high_stop_is_something_to_ask_about():
    """Whoever wires it is told before it runs."""
    _, looked = told(
        sun_controls, Assembly(load(SLOPE, sets=["plant.heat_sources.collectors.steered.high_stop=null"]))
    )
    assert any(item.startswith("No high stop is drawn") for item in looked)


def test_the_plumber_is_told_of_steam_frost_and_the_motor():
    """A valve that a motor moves is named with both of its positions."""
    _, looked = told(sun_pipes, Assembly(load_text(BY_VALVE + FILTERED)))
    assert any("relief valve" in item for item in looked)
    assert any("drained before a frost" in item for item in looked)
    assert "sun_valve is moved by its motor: water runs through panels at to_sun, not at past." in looked


def test_the_owner_is_told_how_hot_they_stand():
    """The numbers of the run, and that it is no fault."""
    result = simulate(load(SLOPE), days=30)
    sheet = Sheet()
    stands_hot(sheet, result)
    rows, _ = told(stands_hot, result)
    source = result.metrics.heat_sources["collectors"]
    assert rows["stands hot in a year for"] == pytest.approx(source.stood_hot_h)
    assert rows["heat that goes unused"] == pytest.approx(source.sun_unused_kwh)
    assert any("scald" in getattr(block, "text", "") for block in sheet.blocks)


def test_the_run_tells_how_often_a_motor_valve_moved():
    """The number of the run, in words; collectors with a pump have none."""
    metrics = simulate(load(SLOPE), days=2).metrics
    collectors = metrics.heat_sources["collectors"]
    assert collectors.valve_moves is None
    for moves, said in ((None, []), (1, ["moved 1 time."]), (1228, ["moved 1,228 times."])):
        page = Page()
        say_sources(
            page, replace(metrics, heat_sources={"collectors": replace(collectors, valve_moves=moves)})
        )
        told = [str(block) for block in page.blocks if "motor valve moved" in str(block)]
        assert len(said) == len(told)
        assert all(words in text for words, text in zip(said, told, strict=True))


def test_the_run_and_the_owner_read_the_same_of_the_hottest():
    """160.4 degC is 320.7 degF: 160 degC are told in both, and so 320 degF, which is 9/5 x 160 + 32."""
    result = simulate(load(SLOPE), days=2)
    sources = result.metrics.heat_sources
    hot = replace(sources["collectors"], hottest_c=160.4, stood_hot_h=1.0, hottest_at="2027-06-12T14:00:00")
    page, sheet = Page(), Sheet()
    metrics = replace(result.metrics, heat_sources={"collectors": hot})
    say_sources(page, metrics)
    stands_hot(sheet, replace(result, metrics=metrics))
    (said,) = [text for block in turned(page.blocks, us=True) if "hottest" in (text := str(block))]
    assert "320 °F at the hottest" in said
    (table,) = [block for block in turned(sheet.blocks, us=True) if isinstance(block, Table)]
    (cell,) = [row.cells[1] for row in table.rows if "at the hottest" in str(row.cells[0])]
    assert "320" == number(cell.value)


def test_what_collectors_lose_is_told_apart_from_the_losses_of_the_tub():
    """What they gave and what they lost is the sun on them, but for what is still in them."""
    result = simulate(load(SLOPE), days=30)
    source = result.metrics.heat_sources["collectors"]
    lost_kwh = result.metrics.legs["collectors"].heat_lost_kwh
    page = Page()
    say_sources(page, result.metrics)
    assert f"Of the sun it lost {number(lost_kwh)} kWh to the air (its row among the legs)" in str(
        page.blocks
    )
    tub = result.metrics.tub
    assert tub.lost_from_equipment_kwh < lost_kwh
    sun_kwh = sum(sun_w(result.plant, "collectors", result.trace.begin_utc, 30 * 24)) / 1000.0
    assert source.heat_kwh + lost_kwh == pytest.approx(sun_kwh, rel=0.001)
    behind = simulate(load_text(BEHIND_PLATES + AT_NIGHT), days=2)  # the row there is of the plates
    page = Page()
    say_sources(page, behind.metrics)
    assert "panels gave" in str(page.blocks)
    assert "Of the sun it lost" not in str(page.blocks)


def test_the_drawing_says_what_lets_the_sun_in():
    """At the collectors, and at the ways of a valve with a motor."""
    by_pump = repr(drawing(Assembly(load(SLOPE))))
    by_valve = repr(drawing(Assembly(load_text(BY_VALVE + FILTERED))))
    assert "let in by sun_pump" in by_pump
    assert "let in by sun_valve to_sun" in by_valve
    assert "way of sun_valve, moved by its motor, usually shut" in by_valve


def test_of_glycol_behind_plates_the_papers_tell_who_turns_it_and_what_keeps_it():
    """10 L, 40 % to -20.6 degC (Lange's Handbook), two pumps together; nothing that fires."""
    plant = Assembly(load_text(BEHIND_PLATES + AT_NIGHT))
    assert told(sun_controls, plant)[0]["moves"] == "sun_pump and glycol_pump, together"
    rows, looked = told(lambda sheet, of: own_waters(sheet, of, ()), plant)
    assert (10.0, -20.6, "glycol_pump") == (rows["water in it"], rows["it freezes at"], rows["turned by"])
    assert not any("starts below" in key for key in rows)
    assert any("takes what boils out of panels" in line for line in looked)
    assert not any("fire" in line for line in looked)
    assert not any("drained before a frost" in line for line in told(sun_pipes, plant)[1])
