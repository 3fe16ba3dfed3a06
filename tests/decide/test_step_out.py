"""What would warm the water at step-out: which changes a file has room for, and what they do in the model."""

import json
from collections.abc import Callable
from dataclasses import asdict, replace
from datetime import date

import pytest

from cyclesim.analysis.metrics import SessionMetrics
from cyclesim.analysis.result import simulate
from cyclesim.decide.sizing.step_out import StepOut, changes, step_out
from cyclesim.said.page import Line, Page, Table
from cyclesim.said.step_out_table import say_step_out
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.shown.as_json import as_text
from tests.said.tables import Key, hold_in_order, hold_in_us, tables_of

AT_36 = SessionMetrics("2027-01-08T20:00:00+00:00", 1.0, 36.0, 35.5, 34.0, 34.0)


def starter(*sets: str) -> Scenario:
    """The shipped starter: 3 kW, off while the jets run, 36 degC, sessions of 50 min, a tight cover."""
    return load_text(starter_text(), "starter.yaml", sets=sets)


@pytest.fixture(scope="module")
def warmed() -> StepOut:
    """Three weeks of January."""
    found = step_out(simulate(starter(), days=21, start=date(2027, 1, 4)))
    assert found is not None
    return found


def named(warmed: StepOut, part: str) -> int:
    """Which of the changes is called so."""
    return next(k for k, tried in enumerate(warmed.tried) if part in tried.change)


def test_a_source_that_goes_on_gives_what_it_puts_out(warmed: StepOut) -> None:
    """3 kW for 50 min in 1634 L of 994 kg/m3 and 4.178 kJ/(kg K): 1.33 K at most, and most of that."""
    most_k = 3000.0 * 3000.0 / (1.634 * 994.0 * 4178.0)
    assert 1.33 == pytest.approx(most_k, abs=0.01)
    tried = warmed.tried[named(warmed, "a supply for element beside main high")]
    assert 0.7 * most_k < tried.warmer_k < most_k + 0.1
    assert ("supply-overload",) == tried.breaks
    assert tried.most_current_a > 20.0, "the breaker of the file"


def test_a_degree_more_at_the_start_is_about_a_degree_more_at_the_end(warmed: StepOut) -> None:
    """Less what warmer water loses in 50 min, give or take the phase of the thermostat's band of 1 K."""
    tried = warmed.tried[named(warmed, "keep_at: 37 degC")]
    assert 0.6 < tried.warmer_k < 1.4
    assert tried.energy_kwh_more > 0.0
    assert () == tried.breaks


def test_the_trials_are_of_the_same_sessions(warmed: StepOut) -> None:
    """Fridays and Saturdays of three weeks; the best change first."""
    assert (6, 21, "2027-01-04") == (warmed.sessions, warmed.days, warmed.first_day)
    gains = [tried.warmer_k for tried in warmed.tried]
    assert gains == sorted(gains, reverse=True)
    assert all(
        tried.coldest_out_c > warmed.coldest_out_c + 0.5 * tried.warmer_k
        for tried in warmed.tried
        if tried.warmer_k > 0.5
    )


def test_what_a_file_has_room_for(winter: Callable[..., Scenario]) -> None:
    """Air is halved where there is air, a cover offered where none fits, each source in its next size."""
    told = {change.sentence for change in changes(starter(), AT_36)}
    assert told == {
        "a supply for element beside main high",
        "element of 4.5 kW",
        "keep_at: 37 degC, a degree more",
    }
    assert "a cover with fit: good" in {
        c.sentence for c in changes(starter("plant.tub.cover.fit=poor"), AT_36)
    }
    bare = next(c for c in changes(starter("plant.tub.cover=none"), AT_36) if "cover" in c.sentence)
    assert bare.scenario.plant.tub.cover != "none"
    assert (0.08, "good") == (bare.scenario.plant.tub.cover.foam_m, bare.scenario.plant.tub.cover.fit)
    airy = winter()
    halved = next(c.scenario for c in changes(airy, AT_36) if "air_at_most" in c.sentence)
    for old, new in zip(airy.schedule.bathing, halved.schedule.bathing, strict=True):
        if old.air:
            assert new.air_at_most_s is not None
            assert new.air_at_most_s <= 0.5 * (old.air_at_most_s or old.lasts_s or 0.0)
        else:
            assert old == new


def test_nobody_is_offered_water_above_the_bathing_limit() -> None:
    """40 degC is the most: a degree more than 39.5 is not tried."""
    warm, at_39 = starter("schedule.heating.keep_at=39.5 degC"), replace(AT_36, set_point_c=39.5)
    assert not any("degree" in change.sentence for change in changes(warm, at_39))


def test_without_sessions_there_is_nothing_to_warm() -> None:
    """Nobody came in the span."""
    assert None is step_out(simulate(starter(), days=1, start=date(2027, 1, 4)))


def test_the_report_tells_each_change_and_what_it_would_break(warmed: StepOut) -> None:
    """A row each, and a line for the one that the breaker does not carry."""
    page = Page()
    say_step_out(page, warmed)
    (table,) = (block for block in page.blocks if isinstance(block, Table))
    assert [tried.change for tried in warmed.tried] == [row.about for row in table.rows]
    lines = [block.text for block in page.blocks if isinstance(block, Line)]
    assert any("would break supply-overload; at most" in line for line in lines)
    empty = Page()
    say_step_out(empty, replace(warmed, tried=()))
    assert "Nothing that this file leaves room for." == empty.blocks[-1].text  # type: ignore[union-attr]


WARMER: dict[str, Key] = {
    "warmer by K": "warmer_k",
    "coldest °C": "coldest_out_c",
    "uses more kWh": "energy_kwh_more",
    "costs more money": "cost_more",
}


def test_the_table_tells_the_numbers_of_the_json(warmed: StepOut) -> None:
    """Change by change, in both worlds of units."""
    page = Page()
    say_step_out(page, warmed)
    ((_, table),) = tables_of(page)
    values = json.loads(as_text(asdict(warmed)))
    hold_in_order(table, WARMER, values["tried"])
    assert [tried["change"] for tried in values["tried"]] == [row.cells[0] for row in table.rows]
    assert hold_in_us(page) == 2 * len(values["tried"])
