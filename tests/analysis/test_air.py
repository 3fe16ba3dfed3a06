"""Blowers: air that nobody asked for, noise at night, injectors and what is told of them."""

from collections.abc import Callable

import pytest

import cyclesim
from cyclesim.analysis.findings import Breach, Subject
from cyclesim.analysis.history import History
from cyclesim.analysis.mends import changes
from cyclesim.analysis.result import measure
from cyclesim.analysis.rules import RULES, judge
from cyclesim.decide.sweeps.outcome import outcome
from cyclesim.said.papers.plumber import plumber
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.verification.calendar_order import Calendar
from cyclesim.verification.dead_ends import dead_ends

Run = Callable[..., History]
Build = Callable[..., Scenario]
Changes = tuple[tuple[str, str], ...]
H = 3600
AT = 20 * H
AT_NIGHT = ("applies_to: [main high]", "applies_to: [main high, blower]")
FLUSH = ("  bathing:\n", '  air_line_flushes: [{start: ["03:00", "15:00"], lasts: 60 s}]\n  bathing:\n')
INJECTORS = ("delivers: 600 L/min,", "delivers: 600 L/min, injectors: 12, each: 40 L/min at 2 kPa,")


def told(history: History, rule_id: str) -> list[Breach]:
    """What breaks one rule."""
    return [b for b in judge(RULES[rule_id], history) if isinstance(b, Breach)]


def blown(run: Run, winter: Changes, from_s: int, asked: tuple[int, int] | None) -> History:
    """A blower that runs for ten minutes, and people from 20:00 to 20:50."""
    demands = {"bathing, air": [(asked[0], "raised"), (asked[1], "")]} if asked else {}
    return run(
        *winter,
        blowers={"blower": [(from_s, "on"), (from_s + 600, "stopped")]},
        demands=demands,
        people=[(AT, "3"), (AT + 3000, "0")],
    )


def test_air_that_no_session_asks_for(run: Run, winter: Changes) -> None:
    """All ten minutes of it; five where they ask for five; of air before they come, what is left."""
    (breach,) = told(blown(run, winter, AT + 60, None), "air-onto-people")
    assert ("blower", AT + 60, 600.0) == (breach.subject, breach.at_s, breach.lasts_s)
    (breach,) = told(blown(run, winter, AT + 60, (AT + 60, AT + 360)), "air-onto-people")
    assert (AT + 360, 300.0) == (breach.at_s, breach.lasts_s)
    (breach,) = told(blown(run, winter, AT - 500, None), "air-onto-people")
    assert (AT, 100.0) == (breach.at_s, breach.lasts_s)
    assert [] == told(blown(run, winter, AT + 60, (AT + 60, AT + 660)), "air-onto-people")
    assert [] == told(blown(run, winter, AT - 600, None), "air-onto-people")


def test_a_contact_that_stays_closed(scenario: Build, winter: Changes) -> None:
    """Nothing starts the blower but the controller: a fault alone blows air onto people unasked."""
    built = scenario(*winter)
    assert [] == list(cyclesim.verify(built, rule="air-onto-people").verdicts)
    (verdict,) = cyclesim.verify(built, rule="air-onto-people", faults=1).verdicts
    assert [cell for cell in verdict.cells if cell.story is not None]


def test_a_blower_is_loud_at_night(run: Run, winter: Changes) -> None:
    """From 21:55 to 22:05 with quiet hours from 22:00: five minutes of it, by the session that asked."""
    at = 22 * H - 300
    history = run(
        *winter, AT_NIGHT,
        blowers={"blower": [(at, "on"), (at + 600, "stopped")]},
        demands={"bathing, air": [(at, "raised"), (at + 600, "")]},
    )  # fmt: skip
    (breach,) = told(history, "quiet-hours")
    assert ("blower", "bathing, air") == (breach.subject, breach.cause)
    assert (22 * H, 300.0) == (breach.at_s, breach.lasts_s)


def test_a_blower_is_heard_but_by_people_in_the_water(run: Run, winter: Changes) -> None:
    """Ten minutes from 19:55 on, five of them before anybody is in the water: five minutes of noise."""
    history = blown(run, winter, AT - 300, (AT - 300, AT + 300))
    assert pytest.approx(5.0) == outcome(history.plant, history.programme, history.trace, 1).loud_min


def test_an_air_line_flush_in_the_quiet_hours(scenario: Build, winter: Changes) -> None:
    """It is told before anything runs, and the mend moves the night's to their end, and no other."""
    built = scenario(*winter, FLUSH, AT_NIGHT)
    plant, programme = Assembly(built), Programme(built)
    found = [
        end for end in dead_ends(plant, programme, Calendar(programme)) if end.kind == "inside quiet hours"
    ]
    assert ["air line flush"] == [end.subject for end in found]
    rule = RULES["quiet-hours"]
    tried = changes(rule, plant, programme, Subject("blower", ("blower",)))
    (mend,) = [change for change in tried if "air" in change.sentence]
    (flush,) = mend.of(built).schedule.air_line_flushes
    assert ["07:00", "15:00"] == [f"{at:%H:%M}" for at in flush.start]


def test_what_each_injector_gets(run: Run, winter: Changes) -> None:
    """600 L/min through 12 is 50 each; they ask for (50/40)2 x 2 kPa x 1.2041/1.19 = 3.16 kPa more.

    Air of 40 degC under 0.6 m of water at 36 degC (5.85 kPa): 107,170/(287.055 x 313.15) = 1.192 kg/m3.
    """
    bare = measure(run(*winter))
    fitted = measure(run(*winter, INJECTORS))
    assert None is bare.blowers["blower"].each_injector_l_min
    blower = fitted.blowers["blower"]
    assert pytest.approx(50.0) == blower.each_injector_l_min
    more_kpa = blower.pressure_kpa - bare.blowers["blower"].pressure_kpa
    assert pytest.approx((50.0 / 40.0) ** 2 * 2.0 * 1.2041 / 1.192, rel=2e-3) == more_kpa


def test_injectors_throttle_a_blower_with_a_curve(scenario: Build, winter: Changes) -> None:
    """Blower and line meet where both ask for the same: less air than without, and by hand there.

    At the duty the curve's pressure is what water, pipe and holes ask for together.
    """
    curve = ("delivers: 600 L/min,", "curve: [[0 L/min, 20 kPa], [600 L/min, 14 kPa], [1200 L/min, 6 kPa]],")
    holes = (curve[0], f"{curve[1]} injectors: 12, each: 40 L/min at 2 kPa,")
    free, held = (Assembly(scenario(*winter, fitted)) for fitted in (curve, holes))
    less, more = held.air_duty("blower"), free.air_duty("blower")
    assert less.flow_m3_s < more.flow_m3_s
    each_l_min = less.flow_m3_s * 60_000.0 / 12.0
    holes_pa = (each_l_min / 40.0) ** 2 * 2000.0 * 1.2041 / 1.192
    without = free.air_line("blower").pressure_pa(less.flow_m3_s)
    assert pytest.approx(without + holes_pa, rel=1e-3) == less.pressure_pa


def test_the_plumber_is_told_of_injectors(scenario: Build, winter: Changes) -> None:
    """How many, and what each gets."""
    built = scenario(*winter, INJECTORS)
    paper = plumber(Assembly(built), Programme(built), ())
    rows = {row.cells[0]: row.cells[1] for block in paper.blocks for row in getattr(block, "rows", ())}
    assert (12, 50) == tuple(round(rows[name].value) for name in ("injectors", "each injector gets"))


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("", ("the file does not say", "the file does not say", "the file leaves open which")),
        ("check_valve: true,", ("the file does not say", True, "holds water back")),
        ("check_valve: false, loop_above_water: 0 mm,", (0.0, False, "Neither a check valve nor a loop")),
        ("check_valve: false, loop_above_water: 300 mm,", (300.0, False, "the loop alone")),
    ],
)
def test_the_plumber_reads_what_keeps_water_from_the_blower_or_that_nobody_said(
    scenario: Build, winter: Changes, said: str, told: tuple[object, object, str]
) -> None:
    """What the file leaves open is no fact of the plant: the rule is not judged by it either."""
    built = scenario(*winter, ("check_valve: true,", said))
    paper = plumber(Assembly(built), Programme(built), ())
    rows = {row.cells[0]: row.cells[1] for block in paper.blocks for row in getattr(block, "rows", ())}
    loop = rows["highest point above the water"]
    assert told[:2] == (getattr(loop, "value", loop), rows["check valve"])
    ticks = [item for block in paper.blocks for item in getattr(block, "items", ())]
    assert any(told[2] in item for item in ticks)


def test_the_start_of_a_blower_is_in_the_worst_second(run: Run, winter: Changes) -> None:
    """15 A as it starts beside the pump's 7 A and the lights' 1 A at 230 V: 23 A, for a moment."""
    starts = ("power: 690 W,", "power: 690 W, current: 3 A, starting_current: 15 A,")
    history = run(*winter, starts, pumps={"main": [(0, "high")]}, blowers={"blower": [(H, "on")]})
    assert pytest.approx(15.0 + 7.0 + 1.0) == measure(history).energy.circuits["supply"].most_starting_a


@pytest.mark.parametrize(("each", "found"), [("40 L/min at 17 kPa", []), ("40 L/min at 25 psi", ["blower"])])
def test_injectors_for_more_pressure_than_their_blower_gives(
    run: Run, winter: Changes, each: str, found: list[str]
) -> None:
    """A blower of 18 kPa at the most; 25 psi are 172.4 kPa, by 6.8948 kPa a psi."""
    curve = (
        f"curve: [[0 L/min, 18 kPa], [600 L/min, 12 kPa], [1100 L/min, 4 kPa]], injectors: 12, each: {each},"
    )
    breaches = told(run(*winter, ("delivers: 600 L/min,", curve)), "injectors-unfed")
    assert found == [breach.subject for breach in breaches]
    assert all("172.4 kPa, the blower gives 18 kPa at most" in breach.text for breach in breaches)
