"""What tuning, a rewrite of the file, the workbench and the exhaustive check make of several pumps."""

from dataclasses import replace
from pathlib import Path

import pytest

from cyclesim.decide.tuning.placing import Order, solve, wait_s
from cyclesim.decide.tuning.programmes import daily, own, scheduled
from cyclesim.decide.tuning.space import FLUSH, Space, space
from cyclesim.decide.tuning.written import written
from cyclesim.said.calendar import owners_calendar
from cyclesim.said.papers.keyed import settings
from cyclesim.scenario.forms.fields import PumpSpeed
from cyclesim.scenario.forms.pumping import Pumping
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.verification.calendar_order import WINDOW, Calendar
from cyclesim.verification.verifier import verify
from cyclesim.workbench.views import _moves, schedule_view
from tests.pumps.conftest import FLUSH as OWN
from tests.pumps.conftest import SESSION, TEXT, Build

LEFT, RIGHT = PumpSpeed("left", "on"), PumpSpeed("right", "on")
BOTH, IN_TURN = Pumping((LEFT, RIGHT)), Pumping((LEFT, RIGHT), in_turn=True)


@pytest.fixture(scope="module")
def at_once(build: Build) -> Space:
    """What may be keyed in where both pumps flush together."""
    return space(build())


@pytest.fixture(scope="module")
def in_turn(build: Build) -> Space:
    """And where one follows the other."""
    return space(build((OWN, OWN.replace("lasts: 60 s", "lasts: 60 s, in_turn: true"))))


def test_flushes_are_offered_as_the_file_has_them(at_once: Space, in_turn: Space) -> None:
    """Together or in turn, never one pump of the two alone; a run costs what both use."""
    assert {BOTH} == {kind.pumping for kind in at_once.kinds if kind.does == FLUSH}
    assert {IN_TURN} == {kind.pumping for kind in in_turn.kinds if kind.does == FLUSH}
    kind = next(kind for kind in at_once.kinds if kind.does == FLUSH and kind.lasts_s == 60)
    assert pytest.approx((1500 + 1200) * 60 / 3.6e6 * 0.20) == kind.cost[0]


def test_when_each_leg_is_fresh(in_turn: Space) -> None:
    """The left bench as when its pump flushes alone; the right one the same, 60 s later."""
    kind = next(kind for kind in in_turn.kinds if kind.does == FLUSH and kind.lasts_s == 60)
    for pump, leg, begins in ((LEFT, "left_bench", 0.0), (RIGHT, "right_bench", 60.0)):
        plant, plug = in_turn.plant, in_turn.plant.plugs[in_turn.plant.reported[leg]].name
        takes = plant.duty(plant.at(*pump)).reached_s[plug]
        assert pytest.approx(begins + takes) == kind.renews[leg]
        assert pytest.approx(begins + 60.0 - takes) == kind.until_s(leg)
    suction = in_turn.plant.duty(in_turn.plant.at(*RIGHT)).reached_s["suction"]
    assert pytest.approx(120.0 - suction) == kind.until_s("suction")


def test_no_other_run_of_either_pump_while_both_are_due(in_turn: Space) -> None:
    """A run of the second pump alone may not begin while it still waits for its turn.

    Every quarter of an hour a slot, and each pump 30 min on: expected two of three slots kept apart.
    """
    long = replace(next(k for k in in_turn.kinds if k.does == FLUSH), lasts_s=1800)
    alone = replace(long, pumping=Pumping((RIGHT,)))
    for kind, other_slot in ((alone, 3), (alone, 2), (alone, 1)):
        only = [
            replace(one, allowed=tuple(slot == at for slot in range(in_turn.slots)))
            for one, at in ((long, 0), (kind, other_slot))
        ]
        day = replace(in_turn, kinds=tuple(only), most=dict.fromkeys(in_turn.most), least={}, legs={})
        assert solve(day, Order(day.kinds, {}, 0.0, flushes=2)).runs is None
    only[1] = replace(only[1], allowed=tuple(slot == 5 for slot in range(in_turn.slots)))
    day = replace(in_turn, kinds=tuple(only), most=dict.fromkeys(in_turn.most), least={}, legs={})
    assert solve(day, Order(day.kinds, {}, 0.0, flushes=2)).runs is not None


def test_two_flushes_a_day_leave_half_a_day(at_once: Space) -> None:
    """Twelve hours less what a flush takes; by hand from volumes and flows, as the placing has them."""
    kind = next(kind for kind in at_once.kinds if kind.does == FLUSH and kind.lasts_s == 60)
    runs = ((kind, 0), (kind, at_once.slots // 2))
    leg = "left_bench"
    fresh_s = 60.0 - 2.0 * kind.renews[leg]
    assert pytest.approx(43_200.0 - fresh_s, abs=3600.0) == wait_s(at_once, leg, runs)


def test_the_file_s_own_programme_is_read_as_it_is(build: Build) -> None:
    """And written back it is the same schedule."""
    scenario = build()
    flushes = [entry for entry in own(scenario).entries if entry.does == FLUSH]
    assert [BOTH] == [entry.pumping for entry in flushes]
    assert scenario == scheduled(scenario, own(scenario))


@pytest.mark.parametrize("how", ["", ", stagger: 10 s", ", in_turn: true"])
def test_a_programme_is_written_into_the_file(how: str, tmp_path: Path) -> None:
    """The starts change and the pumps stay, as they are written."""
    text = TEXT.replace(OWN, OWN.replace("lasts: 60 s", f"lasts: 60 s{how}"))
    file = tmp_path / "plant.yaml"
    file.write_text(text, "utf-8")
    scenario = load(file)
    here = space(scenario)
    flush = next(kind for kind in here.kinds if kind.does == FLUSH and kind.lasts_s == 60)
    filtering = next(kind for kind in here.kinds if kind.does != FLUSH)
    programme = daily(here, [(flush, 20), (flush, 70), (filtering, 4)])
    new = written(file, text, scenario, programme, file)
    assert f'pumps: [left, right], start: ["05:00", "17:30"], lasts: 60 s{how}' in new
    assert load_text(new).schedule.line_flushes[0].pumping == scenario.schedule.line_flushes[0].pumping


def test_pumps_are_added_to_a_file_that_had_one(tmp_path: Path) -> None:
    """An entry of one pump whose place several take is written anew."""
    text = TEXT.replace(OWN, OWN.replace("pumps: [left, right]", "pump: left"))
    file = tmp_path / "plant.yaml"
    file.write_text(text, "utf-8")
    scenario = load(file)
    kinds = space(load_text(TEXT)).kinds
    flush = next(kind for kind in kinds if kind.does == FLUSH and kind.lasts_s == 60)
    programme = daily(space(scenario), [(flush, 20)])
    new = written(file, text, scenario, programme, file)
    assert '{pumps: [left, right], start: ["05:00"], lasts: 60 s}' in new


def test_what_is_keyed_in_and_on_the_calendar(build: Build) -> None:
    """One line for one entry, of both pumps; in turn the calendar has it for as long as both take."""
    told = dict(settings(Programme(build())))
    assert "07:30 and 19:30 for 60 s each" == told["line flush: left and right, every day"]
    flushes = [e for e in owners_calendar(build()).entries if e.name == "line flush"]
    assert [60, 60] == [entry.lasts_s for entry in flushes]
    in_turn = build((OWN, OWN.replace("lasts: 60 s", "lasts: 60 s, in_turn: true")))
    flushes = [e for e in owners_calendar(in_turn).entries if e.name == "line flush"]
    assert [120, 120] == [entry.lasts_s for entry in flushes]
    assert "left, then right run for 60 s each" in flushes[0].says


def test_the_exhaustive_check_finds_a_flush_onto_people(build: Build) -> None:
    """With flushes above bathers each of both pumps may flush onto them; below, neither."""
    ranks = "ranks: [line_flush, bathing, frost_protection, heating, filter_run]"
    above = build(
        (SESSION, f"{SESSION}\n  {ranks}"), ('start: ["07:30", "19:30"]', 'start: ["07:30", "21:10"]')
    )
    found = verify(above, rule="flush-onto-people").verdicts
    assert {"line flush, left": True, "line flush, right": True} == {v.subject: v.broken for v in found}
    assert not any(v.broken for v in verify(build(), rule="flush-onto-people").verdicts)


def test_the_exhaustive_check_adds_both_pumps_up(build: Build) -> None:
    """13 A and more on 12 A where both run, drawn by chance and one after the other; never in turn."""
    small = ("breaker: 20 A", "breaker: 12 A")
    drawn = "drawn: {per_week: 4, between: [18:00, 22:00], lasts: [30 min, 60 min], people: [1, 4]}"
    by_chance = (SESSION, f"[{{pumps: [left, right], stagger: 10 s, {drawn}}}]")
    one = (SESSION, f"[{{pump: left, {drawn}}}]")
    noon = OWN.replace("19:30", "12:30")  # nobody can bathe then
    in_turn, at_noon = (OWN, noon.replace("lasts: 60 s", "lasts: 60 s, in_turn: true")), (OWN, noon)
    for changes, broken in ((by_chance, in_turn), True), ((one, in_turn), False), ((one, at_noon), True):
        found = verify(build(small, *changes), rule="supply-overload").verdicts
        assert broken == any(v.broken for v in found), changes


def test_the_workbench_is_told_of_every_pump(build: Build) -> None:
    """What an entry runs, how one more of it is written, and the legs of both benches."""
    told = schedule_view(build())
    flush = next(demand for demand in told["demands"] if demand["kind"] == "line_flush")
    assert (["left", "right"], "pumps: [left, right]") == (flush["pumps"], flush["runs"])
    assert {"suction", "left_bench", "right_bench"} == set(_moves(Assembly(build()))[flush["pump"]])


def test_still_water_by_chance(build: Build) -> None:
    """A drawn session that runs no pump is verified like any other."""
    drawn = "drawn: {per_week: 4, between: [18:00, 22:00], lasts: [30 min, 60 min], people: [1, 4]}"
    found = verify(build((SESSION, f"[{{{drawn}}}]")), rule="flush-onto-people").verdicts
    assert {"line flush, left": True, "line flush, right": True} == {v.subject: v.broken for v in found}


def test_a_run_after_sessions_by_chance(build: Build) -> None:
    """Both pumps at once after people: 13 A on 12 A; in turn, or one pump alone, never.

    The window in which they may be under way is as long as both take: 22:00, 60 min, 2 x 60 s and a minute.
    """
    small = ("breaker: 20 A", "breaker: 12 A")
    drawn = "drawn: {per_week: 4, between: [18:00, 22:00], lasts: [30 min, 60 min], people: [1, 4]}"
    still = (SESSION, f"[{{{drawn}}}]")
    for how, broken in (("", True), (", stagger: 20 s", True), (", in_turn: true", False)):
        after = (OWN, f"[{{pumps: [left, right], after: bathing, lasts: 60 s{how}}}]")
        scenario = build(small, still, after)
        found = verify(scenario, rule="supply-overload").verdicts
        assert broken == any(v.broken for v in found), how
    start, end = Calendar(Programme(scenario)).spans[f"{WINDOW} 0"][0]
    assert (18 * 3600, 23 * 3600 + 120 + 60) == (start % 86_400, end)
