"""What a tuning makes of the file's own times and lengths."""

from typing import Any

import pytest

from cyclesim.decide.sweeps import sweep as sweep_module
from cyclesim.decide.sweeps.outcome import Broken
from cyclesim.decide.tuning import space as space_module
from cyclesim.decide.tuning import tuning as tuning_module
from cyclesim.decide.tuning.limits import LimitTried
from cyclesim.decide.tuning.programmes import Daily, own, relengthened
from cyclesim.decide.tuning.space import FILTER, FLUSH
from cyclesim.decide.tuning.tuning import tune
from cyclesim.said.strips import strips
from cyclesim.said.tune import tune_page
from cyclesim.shown.terminal import printed
from tests.decide.coarse import small, tuned_at
from tests.decide.tuning_tables import hold_tuning


def test_the_own_times_are_tried_with_every_flush_length_on_offer() -> None:
    """Only the flush is another; 15 s is on offer, but no two volumes, and a time off the grid is none."""
    offered = "controller.flush_lengths=[15 s, 45 s, 60 s, 90 s]"
    at_times = ("controller.time_step=6 h", "schedule.filter_runs.0.start=[06:00]")
    there = (*at_times, "schedule.filter_runs.0.lasts=6 h", "schedule.line_flushes.0.start=[06:00, 18:00]")
    found = list(relengthened(space_module.space(small(offered, *there))))
    mine = own(small(offered, *there))
    flushes = [[e for e in p.entries if e.does == FLUSH] for p in found]
    assert [60, 90] == [only.lasts_s for (only,) in flushes]
    assert all(only.clocks == ("06:00", "18:00") for (only,) in flushes)
    filters = [e for e in mine.entries if e.does == FILTER]
    assert all([e for e in p.entries if e.does == FILTER] == filters for p in found)
    off_grid = small(offered, *there, "schedule.line_flushes.0.start=[06:05, 18:00]")
    assert [] == list(relengthened(space_module.space(off_grid)))
    loud = small(offered, *there, "schedule.quiet_hours.from=17:00", "schedule.quiet_hours.to=19:00")
    assert [] == list(relengthened(space_module.space(loud)))
    few = small(offered, *there, "controller.flushes_a_day=1")
    assert [] == list(relengthened(space_module.space(few)))


def test_the_own_programme_stays_where_nothing_that_was_tried_keeps_what_it_keeps() -> None:
    """All others are refused: then it is advised, and its times are told."""
    kept_off = Broken("cold-at-end", "comfort", "bathing", "the water cools while they bathe", 3, "")
    on_grid = ("schedule.filter_runs.0.start=[06:00]", "schedule.filter_runs.0.lasts=6 h")
    on_grid = (*on_grid, "schedule.line_flushes.0.start=[06:00, 18:00]")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(tuning_module, "limits_tried", lambda _: [])
        patch.setattr(
            tuning_module, "refused_for", lambda out, before, _: () if out is before else (kept_off,)
        )
        found = tuned_at(*on_grid, days=1)
    assert found.recommended is found.own
    assert found.own in found.best
    text = " ".join(printed(tune_page(found)).split())
    assert "Leave it as the file has it: nothing that was tried is better" in text
    assert "line flush jets 45 s 06:00, 18:00" in text
    drawn = strips(found)
    assert [k for k, strip in enumerate(drawn.strips) if strip.is_advised] == [drawn.best]
    hold_tuning(found)


def test_what_holds_under_a_stricter_limit_is_tried_where_nothing_else_holds() -> None:
    """Water older than 13 h is refused, as if it broke a rule of comfort; 19 h are allowed.

    Placed for 19 h it gets 17 h old (see above), for 13.5 h it does not: that is then advised for 19 h.
    """
    old = Broken("cold-at-end", "comfort", "bathing", "the water cools while they bathe", 3, "")
    once = "schedule.line_flushes.0.start=[07:30]"
    stricter = LimitTried("oldest water", "19 h", "13.5 h", small(once, "limits.water_age=13.5 h"))
    with pytest.MonkeyPatch.context() as patch:
        aged: Any = lambda out, *_: (old,) if out.oldest_water_h > 13.0 else ()  # noqa: E731
        patch.setattr(tuning_module, "refused_for", aged)
        patch.setattr(tuning_module, "limits_tried", lambda _: [stricter])
        found = tuned_at(once, "limits.water_age=19 h", days=3)
        patch.setattr(tuning_module, "limits_tried", lambda _: [])
        without = tuned_at(once, "limits.water_age=19 h", days=3)
    assert without.recommended is None
    assert found.recommended is not None
    assert found.recommended.outcome.oldest_water_h <= 13.0


def test_own_filter_lengths_that_the_controller_takes_are_on_offer() -> None:
    """Steps of 15 min offer 180 and 240 min; the file's 225 min are 15 of them, and no number of 60 min.

    Where they are on offer, its own times are tried with another flush.
    """
    for step, offered in (("15 min", True), ("60 min", False)):
        lasts = ("schedule.filter_runs.0.lasts=225 min", "controller.flush_lengths=[45 s, 60 s]")
        scenario = small(f"controller.time_step={step}", *lasts, "schedule.filter_runs.0.start=[06:00]")
        there = space_module.space(scenario)
        assert (225 * 60 in {kind.lasts_s for kind in there.kinds if kind.does == FILTER}) == offered
        assert bool(list(relengthened(there))) == offered


def test_the_own_times_with_a_length_that_is_long_enough_are_run() -> None:
    """The file's 20 s are too short, 45 s are not: its programme with those is among what was run."""
    times = ("schedule.filter_runs.0.start=[06:00]", "schedule.filter_runs.0.lasts=6 h")
    short = ("schedule.line_flushes.0.start=[00:00, 12:00]", "schedule.line_flushes.0.lasts=20 s")
    quiet = ("schedule.quiet_hours.from=14:00", "schedule.quiet_hours.to=15:00")
    scenario = small(*times, *short, *quiet)
    (longer,) = relengthened(space_module.space(scenario))
    ran: list[Daily] = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(space_module, "USUAL_STEP_S", 3 * 3600)
        run_all = sweep_module.sweep
        patch.setattr(
            tuning_module,
            "sweep",
            lambda jobs, how: ran.extend(own(one.variant.scenario) for one in jobs) or run_all(jobs, how),
        )
        tune(scenario, days=2)
    assert longer in ran
