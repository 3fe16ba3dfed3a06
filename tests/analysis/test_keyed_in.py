"""What a controller on the wall cannot take: each thing that fits, and each that does not."""

from collections.abc import Callable

import pytest

from cyclesim.analysis.findings import Breach, NotJudged
from cyclesim.analysis.plant_rules import programme_does_not_fit
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from tests.analysis.conftest import WINTER

Build = Callable[..., Scenario]
TAKES = "controller: {filter_windows: 2, time_step: 15 min, flush_lengths: [15 s, 40 s, 60 s]}\n"
FILTER, FLUSH = '{pump: main low, start: ["03:00", "15:00"], lasts: 2 h', "lasts: 40 s}"
HEATING = "heating: {with: [element], pump: main low, keep_at: 36 degC, within: 1 K"
STEP = 'from: "06:00", until: "08:00", keep_at: 37 degC'


def takes(text: str) -> tuple[str, str]:
    """A change of what the controller takes."""
    return TAKES, f"controller: {{{text}}}\n"


def flush(text: str) -> tuple[str, str]:
    """A change of the line flush."""
    return FLUSH, f"lasts: 40 s, {text}}}"


def filtering(text: str) -> tuple[str, str]:
    """A change of the filter run."""
    return FILTER, f"{FILTER}, {text}"


def plan(*steps: str) -> tuple[str, str]:
    """A heating plan."""
    return HEATING, f"{HEATING}, plan: [{', '.join(f'{{{step}}}' for step in steps)}]"


AWAY = (HEATING, f"{HEATING}, absences: [{{from: 2027-02-01, to: 2027-02-14, keep_at: 15 degC}}]")


def judged(scenario: Scenario) -> list[Breach | NotJudged]:
    """What the rule says."""
    return list(programme_does_not_fit(Assembly(scenario), Programme(scenario)))


@pytest.mark.parametrize(
    "changes",
    [
        (takes("flushes_a_day: 2"),),
        # flushes on different days share a place: never more than two on one day
        (takes("flushes_a_day: 2"), ("line_flushes: [", 'line_flushes: [{pump: main high, start: "12:00", '
         "lasts: 40 s, days: [monday]}, "), flush("days: [tuesday]")),
        (takes("plan_steps: 0"),),
        (takes("plan_steps: 1"), plan(f"days: [monday], {STEP}", f"days: [tuesday], {STEP}")),
        (takes("tells_weekdays: false"),),
        (takes("tells_weekdays: true"), flush("days: [friday]"), plan(f"days: [friday], {STEP}")),
        (takes("tells_weekdays: false"), flush("days: [mon, tue, wed, thu, fri, sat, sun]")),
        (takes("tells_weekdays: false"), flush("repeats: FREQ=DAILY")),
        (takes("tells_weekdays: false, seasons: false"),
         flush("repeats: 'FREQ=WEEKLY;BYDAY=MO,TU,WE,TH,FR,SA,SU'")),
        (takes("tells_weekdays: false"), AWAY),
        (takes("seasons: false"), flush("days: [friday]"), filtering("repeats: FREQ=WEEKLY;BYDAY=MO")),
        (takes("seasons: true"), AWAY, flush("repeats: FREQ=DAILY;BYMONTH=6")),
    ],
)  # fmt: skip
def test_what_fits_is_no_finding(scenario: Build, changes: tuple[tuple[str, str], ...]) -> None:
    """As much as it takes, or days that it tells apart, or nothing that asks for it."""
    assert [] == judged(scenario(*changes))


def test_times_of_plan_and_air_flushes_lie_on_the_steps_too(scenario: Build) -> None:
    """Steps of 15 min: 06:05 and 08:20 of the plan, and 16:10, are none; 17:45 to 19:00 are."""
    steps = (STEP.replace("06:00", "06:05").replace("08:00", "08:20"),
             'ready_by: "17:45", until: "19:00", keep_at: 37 degC')  # fmt: skip
    air = "  heating: {", '  air_line_flushes: [{start: "16:10", lasts: 30 s}]\n  heating: {'
    winter = scenario(plan(*steps), *WINTER[:2], air)
    told = {b.cause: b.mend for b in judged(winter) if isinstance(b, Breach)}
    step, end = "a step of the heating plan at", ", and its times move in steps of 15 min"
    nearest = {f"{step} 06:05{end}": "06:00", f"{step} 08:20{end}": "08:15",
               f"an air line flush at 16:10{end}": "16:15"}  # fmt: skip
    assert {cause: f"move it to {at}, the nearest step" for cause, at in nearest.items()} == told


EVERY_DAY, NO_DATES = "it runs every day alike", "it knows no dates"


@pytest.mark.parametrize(
    ("changes", "causes"),
    [
        ((takes("flushes_a_day: 1"),), ["2 line flushes a day, and it takes 1"]),
        ((takes("plan_steps: 1"), plan(STEP, STEP)), ["2 steps of the heating plan a day, and it takes 1"]),
        ((takes("tells_weekdays: false"), flush("days: [saturday, friday]")),
         [f"a line flush on friday and saturday only, and {EVERY_DAY}"]),
        ((takes("tells_weekdays: false"), filtering("days: [monday]")),
         [f"a filter run on monday only, and {EVERY_DAY}"]),
        ((takes("tells_weekdays: false"), plan(f"days: [friday], {STEP}")),
         [f"a step of the heating plan on friday only, and {EVERY_DAY}"]),
        ((takes("tells_weekdays: false"), flush("repeats: FREQ=WEEKLY")),
         [f"a line flush on FREQ=WEEKLY only, and {EVERY_DAY}"]),
        ((takes("tells_weekdays: false"), flush("repeats: FREQ=DAILY;INTERVAL=2")),
         [f"a line flush on FREQ=DAILY;INTERVAL=2 only, and {EVERY_DAY}"]),
        ((takes("seasons: false"), flush("repeats: FREQ=DAILY;INTERVAL=2")),
         [f"a line flush with FREQ=DAILY;INTERVAL=2, and {NO_DATES}"]),
        ((takes("seasons: false, tells_weekdays: false"), filtering("repeats: FREQ=DAILY;BYMONTH=6")),
         [f"a filter run with FREQ=DAILY;BYMONTH=6, and {NO_DATES}"]),
        ((takes("seasons: false"), plan(f"repeats: FREQ=MONTHLY;BYDAY=1FR, {STEP}")),
         [f"a step of the heating plan with FREQ=MONTHLY;BYDAY=1FR, and {NO_DATES}"]),
        ((takes("seasons: false"), AWAY), [f"1 absence in the heating, and {NO_DATES}"]),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_named_with_a_mend(
    scenario: Build, changes: tuple[tuple[str, str], ...], causes: list[str]
) -> None:
    """Each thing once, and what to do about it."""
    found = judged(scenario(*changes))
    assert causes == [breach.cause for breach in found if isinstance(breach, Breach)]
    assert all(breach.mend for breach in found if isinstance(breach, Breach))


def test_air_line_flushes_are_keyed_in_as_well(scenario: Build, winter: tuple[tuple[str, str], ...]) -> None:
    """A blower's flushes on Sundays, on a controller that runs every day alike."""
    flush = '  air_line_flushes: [{start: "15:45", lasts: 2 min, days: [sunday]}]\n  quiet_hours:'
    built = scenario(takes("tells_weekdays: false"), *winter, ("  quiet_hours:", flush))
    causes = [breach.cause for breach in judged(built) if isinstance(breach, Breach)]
    assert [f"an air line flush on sunday only, and {EVERY_DAY}"] == causes


@pytest.mark.parametrize(
    "one", ["flushes_a_day: 9", "plan_steps: 9", "tells_weekdays: true", "seasons: true"]
)
def test_one_word_about_the_controller_is_enough_to_judge(scenario: Build, one: str) -> None:
    """Only where nothing is said at all, nothing can be judged."""
    assert [] == judged(scenario(takes(one)))
    (why,) = judged(scenario((TAKES, "")))
    assert isinstance(why, NotJudged)
