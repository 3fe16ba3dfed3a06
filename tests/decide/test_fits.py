"""A programme beside another controller: what it cannot take, what comes nearest, and what that costs."""

import json
import re
from collections.abc import Callable
from datetime import date, time
from pathlib import Path

import pytest

import cyclesim
from cyclesim.analysis.plant_rules import programme_does_not_fit
from cyclesim.decide.tuning import space
from cyclesim.decide.tuning.fits import Fits, fits
from cyclesim.decide.tuning.moved_onto import moved_onto
from cyclesim.decide.tuning.moved_written import moved_text
from cyclesim.errors import InputError
from cyclesim.said.fits import fits_page, fits_values
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.schedule import Controller
from cyclesim.scenario.reading.controller import load_controller
from cyclesim.scenario.reading.load import load
from cyclesim.scenario.reading.rewrite import RewriteError
from cyclesim.shown.as_json import as_text
from cyclesim.shown.terminal import printed
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from tests.said.tables import Key, Values, hold_in_order, hold_in_us, tables_of

GARDEN = Path(__file__).parents[2] / "schedules" / "walled-garden-circulator.yaml"
SUMMER, DAYS = date(2027, 7, 1), 1
PUMPS_ALONE = ("schedule.heating=null", "schedule.frost_protection=null", "supply.tariff=0.30 EUR/kWh")
"""So that what a year costs is what the pumps draw, which can be counted out."""


@pytest.fixture(autouse=True)
def coarse(monkeypatch: pytest.MonkeyPatch) -> None:
    """A coarse grid also where a tuning lifts the controller's step, so that it is quick."""
    monkeypatch.setattr(space, "USUAL_STEP_S", 3 * 3600)


def garden(*sets: str) -> Scenario:
    """Filter runs at 03:00 and 15:00 of 3 h each, flushes at 07:30 and 19:30 of 45 s each."""
    return load(GARDEN, sets=sets)


def takes(**what: object) -> Controller:
    """A controller as a file would have it."""
    return Controller.model_validate(what)


@pytest.mark.parametrize(
    ("controller", "filters", "flushes"),
    [
        # half past goes to the hour after it; 45 s are not offered, and 60 s are the next longer
        ({"filter_windows": 2, "time_step": "1 h", "flush_lengths": ["30 s", "60 s"]},
         [(["03:00", "15:00"], 10_800)], [(["08:00", "20:00"], 60)]),
        # two runs of 3 h as one of 6 h; a flush alone is no longer for being alone
        ({"filter_windows": 1, "flushes_a_day": 1, "flush_lengths": ["15 s", "45 s"]},
         [(["03:00"], 21_600)], [(["07:30"], 45)]),
        # nothing is as long as 45 s: the longest there is; 3 h are no whole number of 2 h, and 4 h the next
        ({"time_step": "2 h", "flush_lengths": ["15 s", "30 s"]},
         [(["04:00", "16:00"], 14_400)], [(["08:00", "20:00"], 30)]),
        # steps of 9 h begin at 00:00, 09:00 and 18:00
        ({"time_step": "9 h"}, [(["00:00", "18:00"], 32_400)], [(["09:00", "18:00"], 45)]),
        ({"flushes_a_day": 0}, [(["03:00", "15:00"], 10_800)], []),
    ],
)  # fmt: skip
def test_runs_are_moved_as_little_as_it_takes(
    controller: dict[str, object], filters: list[tuple[list[str], int]], flushes: list[tuple[list[str], int]]
) -> None:
    """Each by hand; and what is moved can be keyed in."""
    moved, notes = moved_onto(garden(), takes(**controller))
    for key, expected in (("filter_runs", filters), ("line_flushes", flushes)):
        runs = getattr(moved.schedule, key)
        assert expected == [([f"{at:%H:%M}" for at in run.start], run.lasts_s) for run in runs]
    assert () == notes
    assert [] == list(programme_does_not_fit(Assembly(moved), Programme(moved)))


def test_of_many_runs_those_stay_that_lie_evenly() -> None:
    """Six runs of 1 h on a controller with three: every other one, each twice as long."""
    starts = ["00:00", "04:00", "08:00", "12:00", "16:00", "20:00"]
    runs = [f'{{pump: circulator, start: "{at}", lasts: 1 h}}' for at in starts]
    moved, _ = moved_onto(garden(f"schedule.filter_runs=[{', '.join(runs)}]"), takes(filter_windows=3))
    (left,) = moved.schedule.filter_runs
    assert ((time(0), time(8), time(16)), 7200.0) == (left.start, left.lasts_s)


def test_days_that_it_cannot_tell_apart_become_every_day(winter: Callable[..., Scenario]) -> None:
    """Plan, absences and flushes of the air lines too, each said."""
    controller = takes(tells_weekdays=False, seasons=False, plan_steps=1)
    step = '{days: [friday], from: "%s", until: "08:00", keep_at: 38 degC}'
    told = winter(
        f"schedule.heating.plan=[{step % '06:00'}, {step % '07:00'}]",
        'schedule.air_line_flushes=[{start: "15:45", lasts: 2 min, days: [sunday]}]',
    )
    moved, notes = moved_onto(told, controller)
    assert moved.schedule.heating is not None
    (left,) = moved.schedule.heating.plan
    assert (None, time(6)) == (left.days, left.from_time)
    assert () == moved.schedule.heating.absences
    assert [None] == [flush.days for flush in moved.schedule.air_line_flushes]
    steps = "Of the heating plan's 2 steps the first in"
    begins = ("Runs after bathing", "Air line", "The steps", steps, "Absences")
    assert all(note.startswith(begin) for note, begin in zip(notes, begins, strict=True)), notes
    assert [] == list(programme_does_not_fit(Assembly(moved), Programme(moved)))


def test_plan_and_air_flushes_are_moved_onto_its_steps(winter_text: str, tmp_path: Path) -> None:
    """Steps of 1 h: 06:40 to 07:20 would be no time at all, and ends an hour later; 08:05 goes to 08:00."""
    step = 'until: "07:20", keep_at: 38 degC}]'
    told = re.sub(r"    plan: .*", f'    plan: [{{from: "06:40", {step}', winter_text)
    told = told.replace('{start: "08:00", lasts: 60 s}', '{start: "08:05", lasts: 60 s}')
    file, target = tmp_path / "winter.yaml", tmp_path / "new.yaml"
    file.write_text(told, "utf-8")
    moved, notes = moved_onto(load(file), takes(time_step="1 h"))
    assert all(f"{what} on the nearest step of its times." in notes for what in (
        "Air line flushes start", "The steps of the heating plan begin and end"))  # fmt: skip
    assert [] == list(programme_does_not_fit(Assembly(moved), Programme(moved)))
    text = moved_text(file, told, load(file), moved, "controller: {time_step: 1 h}\n", target)
    assert f'    plan: [{{from: "07:00", {step.replace("07:20", "08:00")}' in text.splitlines()
    assert '{start: ["08:00"], lasts: 60 s}' in text


def test_the_same_controller_fits_without_a_change(tmp_path: Path) -> None:
    """Nothing is moved, nothing is lost, nothing is searched for; asked by the public names."""
    told, path = garden(), tmp_path / "new.yaml"
    block = re.search(r"^controller:\n(?:  .*\n)+", GARDEN.read_text("utf-8"), re.MULTILINE)
    assert block is not None
    path.write_text(block[0], "utf-8")
    found = cyclesim.fits(told, cyclesim.load_controller(path), days=DAYS, start=SUMMER)
    assert found.fits
    assert found.judged
    assert found.today == found.nearest.outcome
    assert (None, "") == (found.tuned, found.not_tuned)
    assert found.advised is found.nearest


RUNS = """  filter_runs:
    - {pump: circulator, start: ["03:00", "15:00"], lasts: 3 h}
"""
OTHERS = """  filter_runs:
    - {pump: circulator, start: "03:10", lasts: 3 h, days: [monday]}  # laundry day
    - {pump: circulator, after: bathing, lasts: 50 min}
"""
TAKES = "controller: {time_step: 1 h, tells_weekdays: %s}  # its manual, page 9\n"


@pytest.mark.parametrize(
    ("tells", "monday"),
    [("true", '    - {pump: circulator, start: ["03:00"], lasts: 3 h, days: [monday]}  # laundry day'),
     ("false", '    - {pump: circulator, start: ["03:00"], lasts: 3 h}  # laundry day')],
)  # fmt: skip
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_runs_on_some_days_and_after_bathing_are_written(
    tmp_path: Path, tells: str, monday: str, newline: str
) -> None:
    """A run keeps its days where the controller tells them apart; 50 min become 1 h; comments stay."""
    told = GARDEN.read_text("utf-8").replace(RUNS, OTHERS)
    bathing = '\n  bathing: [{start: "18:00", lasts: 1 h, people: 2}]'
    told = told.replace("\n  quiet_hours", f"{bathing}\n  quiet_hours")
    file, target = tmp_path / "tub.yaml", tmp_path / "new.yaml"
    file.write_text(told, "utf-8", newline=newline)
    told, scenario = file.read_bytes().decode(), load(file)
    controller = tmp_path / "controller.yaml"
    controller.write_text(TAKES % tells, "utf-8")
    moved, _ = moved_onto(scenario, load_controller(controller))
    text = moved_text(file, told, scenario, moved, controller.read_text("utf-8"), target)
    assert text.count(newline) == text.count("\n")
    lines = text.splitlines()
    assert monday in lines
    assert "    - {pump: circulator, after: bathing, lasts: 1 h}" in lines
    assert '    - {pump: jets, start: ["08:00", "20:00"], lasts: 45 s}' in lines
    assert f"  {{time_step: 1 h, tells_weekdays: {tells}}}" in lines
    gone = [line for line in told.splitlines() if line not in lines]
    assert 6 == len(gone)  # three runs, and the old controller's three keys


@pytest.mark.parametrize(
    ("steps", "plan"), [(0, ""), (1, '    plan: [{from: "06:00", until: "08:00", keep_at: 38 degC}]')]
)
def test_plan_and_absences_are_written(winter_text: str, tmp_path: Path, steps: int, plan: str) -> None:
    """What the controller cannot take is taken out of the copy, which is then the plant that was moved."""
    step = '{days: [friday], from: "%s", until: "08:00", keep_at: 38 degC}'
    told = re.sub(r"    plan: .*", f"    plan: [{step % '06:00'}, {step % '07:00'}]", winter_text)
    told = told.replace('"08:00", lasts: 60 s}', '"08:00", lasts: 60 s, days: [sunday]}')
    file, target = tmp_path / "winter.yaml", tmp_path / "new.yaml"
    file.write_text(told, "utf-8")
    controller = tmp_path / "controller.yaml"
    controller.write_text(
        f"controller: {{tells_weekdays: false, seasons: false, plan_steps: {steps}}}\n", "utf-8"
    )
    scenario = load(file)
    moved, _ = moved_onto(scenario, load_controller(controller))
    text = moved_text(file, told, scenario, moved, controller.read_text("utf-8"), target)
    assert ([plan] if plan else []) == [line for line in text.splitlines() if line.startswith("    plan:")]
    assert "absences" not in text
    assert '  air_line_flushes: [{start: "08:00", lasts: 60 s}]' in text.splitlines()
    target.write_text(text, "utf-8")
    assert moved.schedule.heating == load(target).schedule.heating


def test_a_file_that_was_changed_meanwhile_is_not_written_anew(tmp_path: Path) -> None:
    """What was moved is for another plant than the text says."""
    scenario, other = garden(), GARDEN.read_text("utf-8").replace("water_age: 24 h", "water_age: 30 h")
    with pytest.raises(RewriteError, match="has changed since it was read"):
        moved_text(GARDEN, other, scenario, scenario, "controller: {}", tmp_path / "new.yaml")


@pytest.fixture(scope="module")
def dearer() -> Fits:
    """A controller that moves runs by steps of 6 h and offers no flush but of 60 s."""
    grid = {"filter_windows": 2, "time_step": "6 h", "flush_lengths": ["60 s"], "flushes_a_day": 2}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(space, "USUAL_STEP_S", 3 * 3600)
        return fits(garden(*PUMPS_ALONE), takes(**grid), days=DAYS, start=SUMMER)


def test_what_the_nearest_programme_costs_is_what_its_pumps_draw(dearer: Fits) -> None:
    """Two flushes a day of 60 s in place of 45 s with 1.6 kW at 0.30 EUR/kWh: 2 x 15 s = 30 s more a day."""
    assert not dearer.fits
    assert not any(misfit.today_too for misfit in dearer.misfits)
    more = DAYS * 30.0 * 1600.0 / 3.6e6 * 0.30
    # the filter runs have to start at 06:00 and 18:00 and last 6 h: 2 x 3 h more with 110 W
    more += DAYS * 2 * 3.0 * 0.110 * 0.30
    assert more == pytest.approx(dearer.nearest.outcome.cost - dearer.today.cost, rel=1e-6)
    assert dearer.tuned is not None
    starts = [at for entry in dearer.tuned.programme.entries for at in entry.starts]
    assert {0} == {(3600 * at.hour + 60 * at.minute) % 21_600 for at in starts}


def _pumps_h(out: Values) -> float:
    return sum(float(d["running_h"]) for d in out["devices"].values() if d["kind"] == "pump")


BESIDE: dict[str, Key] = {
    "money a year": lambda out: out["cost"] * 365.0 / DAYS,
    "more money": lambda out: None if out["today"] is None else (out["cost"] - out["today"]) * 365.0 / DAYS,
    "pumps h/day": lambda out: _pumps_h(out) / DAYS,
    "loud min/day": lambda out: out["loud_min"] / DAYS,
    "oldest h": lambda out: max(leg["oldest_water_h"] for leg in out["legs"].values()),
    "sessions begun cold": "cold_sessions",
}


def test_every_table_tells_the_numbers_of_the_json(dearer: Fits) -> None:
    """The nearest programme and the tuned one as they are keyed in, and both beside today's."""
    page, values = fits_page(dearer), json.loads(as_text(fits_values(dearer)))
    nearest, tuned, beside = (table for _, table in tables_of(page))
    for table, name in ((nearest, "nearest"), (tuned, "tuned")):
        programme = values[name]["programme"]
        keyed = [(entry["does"], entry["pump"], entry["lasts_s"], entry["starts"]) for entry in programme]
        rows = [row.cells for row in table.rows]
        assert keyed == [(does, pump, lasts_s, list(starts)) for does, pump, lasts_s, starts in rows]  # type: ignore[arg-type]
    today = {**values["today"], "today": None}
    others = [{**values[name]["outcome"], "today": today["cost"]} for name in ("nearest", "tuned")]
    hold_in_order(beside, BESIDE, [today, *others])
    assert ["today", "nearest", "tuned"] == [row.cells[0] for row in beside.rows]
    hold_in_us(page)


def test_a_promise_that_can_no_longer_be_kept_is_told() -> None:
    """No flush a day: nothing else moves the jets' water."""
    found = fits(garden(*PUMPS_ALONE), takes(flushes_a_day=0, time_step="6 h"), days=DAYS, start=SUMMER)
    assert {"left_bench", "right_bench"} <= {broken.subject for broken in found.nearest.lost}
    assert found.advised is None
    assert "No programme" in found.not_tuned


def test_a_step_on_which_no_day_can_be_laid_out_is_said() -> None:
    """A day is no whole number of steps of 7 h: nothing is searched, and the nearest is told all the same."""
    found = fits(garden(), takes(time_step="7 h"), days=1, start=SUMMER)
    assert "no whole number of steps" in found.not_tuned
    assert found.nearest.programme.entries


@pytest.mark.parametrize(
    ("text", "due"),
    [
        ("", ":1:1: found an empty file; expected a block controller:"),
        ("controller: {filter_window: 1}", ":1:14: controller.filter_window: found an unknown key"),
        ("controller:\n  time_step: 15 parsec", ":2:14: controller.time_step: found '15 parsec'"),
        ("windows: 2", "controller: found nothing"),
        ("[1]", "expected a block controller:"),
    ],
)
def test_a_file_of_a_controller_that_is_wrong_is_told_by_its_place(
    tmp_path: Path, text: str, due: str
) -> None:
    """With what was found and what was expected."""
    path = tmp_path / "new.yaml"
    path.write_text(text, "utf-8")
    with pytest.raises(InputError) as error:
        load_controller(path)
    assert due in str(error.value)


def test_what_a_tuned_programme_is_short_of_is_told() -> None:
    """A margin of 99 % asks for water of 0.24 h at most, which two flushes a day never give."""
    sets = (*PUMPS_ALONE, "tuning.margin=99 %")
    grid = {"filter_windows": 1, "time_step": "6 h", "flush_lengths": ["60 s"], "flushes_a_day": 2}
    found = fits(garden(*sets), takes(**grid), days=DAYS, start=SUMMER)
    assert found.tuned is not None
    assert any("old, 24 h allowed" in short for short in found.tuned.lacks)
    page = printed(fits_page(found), 80, False, False)
    assert "Key it in only if you accept this" in page
