"""Heating that does not warm the water, and water that freezes: histories that break the rule or do not."""

from collections.abc import Callable

import pytest

from cyclesim.analysis.history import History
from cyclesim.analysis.result import simulate
from cyclesim.physics.pieces import Piece
from cyclesim.physics.stays import Stay
from cyclesim.scenario.blocks.model import Scenario
from tests.analysis.by_hand import told

Run = Callable[..., History]
Build = Callable[..., Scenario]
H = 3600


def tub(history: History, *temps: tuple[int, float], end_c: float) -> None:
    """Water temperatures of the tub: (hour, degC) of each piece, and at the end."""
    ends = [hour for hour, _ in temps[1:]] + [history.trace.span_s // H]
    for (hour, temp_c), end in zip(temps, ends, strict=True):
        history.trace.tub.put(Piece(hour * H, end * H, temp_c, temp_c, 0.0, 0.0, 0.0))
    history.trace.end_water_c = end_c


def blocked_for(run: Run, seconds: int, *changes: tuple[str, str], why: str = "the breaker") -> History:
    """Heating is raised from 1 h on; nothing fires for so long, then the element does, for 1 h."""
    end = H + seconds
    return run(
        *changes,
        hours=48,
        pumps={"main": [(H, "low"), (end + H, "stopped")]},
        demands={"heating": [(H, "raised"), (end + H, "")]},
        sources={"element": [(end, "firing"), (end + H, "off")]},
        reasons={"element": [(H, why), (end, "")]},
    )


def test_heating_that_never_fires_names_what_keeps_it_off(run: Run) -> None:
    """Six hours called without fire, the water at 31 degC at worst, and 36 degC wanted."""
    history = blocked_for(run, 6 * H)
    tub(history, (0, 36.0), (3, 33.0), (7, 31.0), (8, 35.0), (12, 20.0), end_c=20.0)
    (breach,) = told(history, "heating-in-vain")
    assert ("heating", "the breaker", 6.0, "h") == (breach.subject, breach.cause, breach.worst, breach.unit)
    assert (H, 6 * H) == (breach.at_s, breach.lasts_s)
    assert "6 h without heat, the water down to 31.0 of 36 degC" == breach.text


@pytest.mark.parametrize(
    ("base", "plan", "wanted"),
    [
        (36, "{from: 00:00, until: 12:00, keep_at: 33 degC}", 33),  # set back in the morning
        (36, "{from: 00:00, until: 06:00, keep_at: 33 degC}", 36),  # it is coldest at 7
        (20, "{ready_by: 12:00, until: 22:00, keep_at: 38 degC}", 38),  # warmer than set back: it is for noon
        (32, "{ready_by: 12:00, until: 22:00, keep_at: 38 degC}", 32),
    ],
)
def test_the_set_point_of_the_moment_is_told(run: Run, base: int, plan: str, wanted: int) -> None:
    """Blocked from 1 to 7 in the morning, coldest at 7 with 31 degC; what was wanted then is the plan's."""
    history = blocked_for(run, 6 * H, ("keep_at: 36 degC", f"keep_at: {base} degC, plan: [{plan}]"))
    tub(history, (0, 36.0), (7, 31.0), (8, 35.0), end_c=35.0)
    (breach,) = told(history, "heating-in-vain")
    assert f"6 h without heat, the water down to 31.0 of {wanted} degC" == breach.text


def test_an_hour_without_heat_is_no_heating_in_vain(run: Run) -> None:
    """Exactly 1 h is allowed, a second more is not."""
    assert [] == told(blocked_for(run, H), "heating-in-vain")
    assert 1 == len(told(blocked_for(run, H + 1), "heating-in-vain"))


def test_the_reason_that_lasts_longest_is_the_cause(run: Run) -> None:
    """Ten minutes of proving and five hours tripped in one spell."""
    history = run(
        hours=24,
        demands={"heating": [(H, "raised"), (8 * H, "")]},
        reasons={
            "element": [(H, "proving flow"), (H + 600, "tripped"), (6 * H, "no flow sensed"), (8 * H, "")]
        },
    )
    (breach,) = told(history, "heating-in-vain")
    assert "tripped" == breach.cause
    assert "a person resets it" in breach.mend


OWN_BLOCK = ("block: element, while: main high", "block: element, while: main low")
NO_SWITCH = ("proof: {by: flow_switch}", "proof: {by: none}")
STARVED = ("needs_flow: 30 L/min", "needs_flow: 400 L/min")


@pytest.mark.parametrize(
    ("changes", "why", "mend"),
    [
        ([], "the breaker", "shorten what blocks element (while main high)"),
        ([OWN_BLOCK], "the breaker", "heat at a speed that does not block element"),
        ([NO_SWITCH], "no flow sensed", "give element a flow switch"),
        ([STARVED], "no flow sensed", "main low alone gives it too little: a larger pump or a larger bore"),
        ([], "rest", "a shorter rest of element"),
        ([], "tripped", "a person resets it"),
    ],
)  # fmt: skip
def test_the_mend_of_heating_in_vain_fits_its_cause(
    run: Run, changes: list[tuple[str, str]], why: str, mend: str
) -> None:
    """Each reason has a mend of its own."""
    (breach,) = told(blocked_for(run, 2 * H, *changes, why=why), "heating-in-vain")
    assert why == breach.cause
    assert mend in breach.mend


def fires_for(run: Run, hours: float, every: int = 1) -> History:
    """Heating raised for so long, the element firing in every so-manieth half hour."""
    end = round(hours * H)
    steps = [
        (k * 1800, "firing" if k % every == 0 else "off") for k in range(2 * round(hours)) if k * 1800 < end
    ]
    return run(
        hours=100,
        demands={"heating": [(0, "raised"), (end, "")]},
        sources={"element": [*steps, (end, "off")]},
        reasons={"element": [(t, "" if state == "firing" else "the breaker") for t, state in steps]},
    )


def test_a_heater_that_is_too_small_for_the_loss(run: Run) -> None:
    """It fires throughout, and after 50 h the water is still not warm; 48 h are allowed."""
    history = fires_for(run, 50.0)
    tub(history, (0, 36.0), (49, 27.5), end_c=36.0)
    (breach,) = told(history, "heating-in-vain")
    assert ("the heater is too small for this loss", 50.0) == (breach.cause, breach.worst)
    assert "27.5 of 36 degC" in breach.text
    assert [] == told(fires_for(run, 48.0), "heating-in-vain")


def test_a_heater_that_is_mostly_blocked_is_not_called_too_small(run: Run) -> None:
    """It fires one half hour in three, for 60 h: the breaker is the cause, not its size."""
    (breach,) = told(fires_for(run, 60.0, every=3), "heating-in-vain")
    assert "the breaker" == breach.cause


def test_a_heater_that_is_too_small_is_found_by_a_run(scenario: Build) -> None:
    """300 W against the loss of an uncovered tub: the run says so, and how cold it gets."""
    weak = [("output: 2300 W", "output: 300 W"), ("cover: {foam: 60 mm, fit: good}", "cover: none")]
    found = {f.rule: f for f in simulate(scenario(*weak), days=7).findings}
    assert "the heater is too small for this loss" == found["heating-in-vain"].cause
    assert "of 36 degC" in found["heating-in-vain"].worst_text


# -- frost


def stood(history: History, name: str, from_c: float) -> None:
    """A body that stands throughout beside its zone."""
    history.trace.stays[name].put(
        Stay(0, 0, history.trace.span_s, False, from_c, from_c, 0.0, from_c, from_c)
    )


def test_a_leg_that_freezes(run: Run) -> None:
    """Water at 5 degC beside a zone of -10 degC passes 0 and stays below it."""
    history = run(hours=200, zone_c=-10.0)
    stood(history, "bench", 5.0)
    (breach,) = told(history, "frost-in-plant")
    assert ("bench", "there is no frost protection") == (breach.subject, breach.cause)
    assert breach.at_s > 0.0
    assert pytest.approx(history.trace.span_s) == breach.at_s + breach.lasts_s
    assert -10.0 <= breach.worst < 0.0
    assert "{watches: soil, starts_below: 4 degC, stops_above: 6 degC, pump: main low}" in breach.mend


def test_a_trickle_that_is_below_freezing_at_its_end(run: Run) -> None:
    """Two hours at -3 degC at the far end and 8 on the whole: frost while it trickles, by the hour."""
    history = run(hours=200)
    rows = history.trace.stays["bench"]
    for hour, coldest_c in enumerate((4.0, -3.0, -3.0, 4.0)):
        rows.put(Stay(0, hour * H, (hour + 1) * H, True, 8.0, 8.0, 0.0, coldest_c, 8.0))
    rows.put(Stay(0, 4 * H, history.trace.span_s, False, 8.0, 8.0, 0.0, 4.0, 8.0))
    (breach,) = told(history, "frost-in-plant")
    assert ("bench", H, -3.0) == (breach.subject, breach.at_s, breach.worst)
    assert breach.lasts_s in (H, 2 * H)


def test_what_stood_cold_and_is_flushed_out_freezes_no_longer(run: Run) -> None:
    """It stood at -1 degC for an hour, and then warm water ran for eight: one hour."""
    history = run(hours=200, zone_c=-1.0)
    rows = history.trace.stays["bench"]
    rows.put(Stay(0, 0, H, False, -1.0, -1.0, 0.0, -1.0, -1.0))
    rows.put(Stay(0, H, 9 * H, True, -1.0, 30.0, 0.0, -1.0, -1.0))
    rows.put(Stay(0, 9 * H, 10 * H, False, 30.0, 25.0, 0.0, 30.0, 30.0))
    (breach,) = told(history, "frost-in-plant")
    assert (0.0, H) == (breach.at_s, breach.lasts_s)


def test_a_leg_in_a_zone_above_freezing_does_not_freeze(run: Run) -> None:
    """Water at 5 degC beside a zone of 0.1 degC never reaches 0."""
    history = run(hours=200, zone_c=0.1)
    stood(history, "bench", 5.0)
    assert [] == told(history, "frost-in-plant")


def test_the_tub_freezes_and_does_not(run: Run) -> None:
    """From 2 to -2 degC in an hour, and back in 22: below 0 from the half hour to 13:00."""
    history = run(hours=24)
    tub(history, (0, 2.0), (1, -2.0), (2, -2.0), end_c=2.0)
    (breach,) = told(history, "frost-in-plant")
    assert ("tub", 0.5 * H, 12.5 * H, -2.0) == (breach.subject, breach.at_s, breach.lasts_s, breach.worst)
    warm = run(hours=24)
    tub(warm, (0, 2.0), (1, 0.5), end_c=2.0)
    assert [] == told(warm, "frost-in-plant")


def test_a_frozen_tub_speaks_for_what_it_fills(run: Run) -> None:
    """A leg that freezes while the tub is frozen is no finding of its own; once the tub is warm it is."""
    history = run(hours=200, zone_c=-10.0)
    stood(history, "bench", -1.0)
    tub(history, (0, -1.0), end_c=-1.0)
    assert ["tub"] == [b.subject for b in told(history, "frost-in-plant")]
    warm = run(hours=200, zone_c=-10.0)
    stood(warm, "bench", -1.0)
    tub(warm, (0, 30.0), end_c=30.0)
    assert ["bench"] == [b.subject for b in told(warm, "frost-in-plant")]


def frost(watches: str, pump: str = "main low") -> tuple[str, str]:
    """Frost protection in the schedule."""
    line = (
        f"frost_protection: {{watches: {watches}, starts_below: 4 degC, stops_above: 6 degC, pump: {pump}}}"
    )
    return "  quiet_hours:", f"  {line}\n  quiet_hours:"


@pytest.mark.parametrize(
    ("changes", "cause", "mend"),
    [
        ([frost("room")], "frost protection watches room, and it lies in soil", "let frost protection watch"),
        ([frost("soil")], "frost protection does not keep it from freezing", "start it above 4 degC"),
    ],
)  # fmt: skip
def test_the_mend_of_frost_fits_what_is_there(
    run: Run, changes: list[tuple[str, str]], cause: str, mend: str
) -> None:
    """The wrong zone, and the right one."""
    history = run(*changes, hours=200, zone_c=-10.0)
    stood(history, "bench", 5.0)
    (breach,) = told(history, "frost-in-plant")
    assert cause == breach.cause
    assert mend in breach.mend


def test_frost_in_a_power_cut_blames_the_cut(run: Run) -> None:
    """It freezes without power in the one history, and more than an hour after a cut in the other."""
    history = run(frost("soil"), hours=200, zone_c=-10.0, power=[(0, "lost"), (199 * H, "on")])
    stood(history, "bench", 5.0)
    (breach,) = told(history, "frost-in-plant")
    assert "there is no power" == breach.cause
    assert "drain it when the power fails in frost" in breach.mend
    early = run(frost("soil"), hours=200, zone_c=-10.0, power=[(0, "lost"), (60, "on")])
    stood(early, "bench", 20.0)
    (breach,) = told(early, "frost-in-plant")
    assert breach.at_s > 60 + H
    assert "frost protection does not keep it from freezing" == breach.cause


@pytest.mark.parametrize(
    ("valve", "turned", "cause", "mend"),
    [
        ("usual: shut, may_be: open", "",
         "outdoors freezes it, and way shut, as usual, keeps its water still",
         "drain it while way shut, or have way open"),
        ("usual: open, may_be: shut", "{valve: way, to: shut, from: 2027-01-01 00:00, lasts: 5 days}",
         "outdoors freezes it, and with way shut no pump moves its water",
         "turn it back, fit a stop to it, or drain it while way shut"),
    ],
)  # fmt: skip
def test_what_freezes_behind_a_shut_valve_blames_the_valve(
    scenario: Build, valve: str, turned: str, cause: str, mend: str
) -> None:
    """A second leg outdoors at 0 degC and below; the frost protection watches the outdoors in vain."""
    built = scenario(
        ("mean: 12 degC, seasonal_swing: 8 K", "mean: 2 degC, seasonal_swing: 8 K"),
        ("  pumps:\n", "    spout: {pipe: 50 PN10, length: 4 m, zone: outdoors}\n  pumps:\n"),
        ("element, bench, tub]]", f"element, {{parallel: [bench, [way, spout]]}}, tub]]\n  valves:\n"
         f"    way: {{drop: 0.1 m at 100 L/min, {valve}}}"),
        ("  quiet_hours:", f"  valves_turned: [{turned}]\n  quiet_hours:"),
        frost("outdoors"),
    )  # fmt: skip
    (found,) = (
        f for f in simulate(built, days=4).findings if f.rule == "frost-in-plant" and f.subject == "spout"
    )
    assert (cause, mend) == (found.cause, found.mend)


def test_a_dead_end_bursts_too(scenario: Build) -> None:
    """A capped spare outdoors in a winter of -15 degC: found by a run, and no pump is proposed."""
    built = scenario(
        ("mean: 12 degC", "mean: -5 degC"),
        ("  pumps:\n", "    spare: {pipe: 50 PN10, length: 4 m, zone: outdoors, dead_end: true}\n  pumps:\n"),
    )
    found = [
        f for f in simulate(built, days=3).findings if f.rule == "frost-in-plant" and f.subject == "spare"
    ]
    assert ["drain it for the winter, or take it out"] == [f.mend for f in found]
    assert {"danger"} == {f.severity for f in found}
