"""People in the water, hot water, motors and air pipes: histories that break a rule and ones that do not."""

from collections.abc import Callable
from math import acosh, inf, log, pi
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cyclesim.analysis.energy import within_an_hour
from cyclesim.analysis.findings import Breach, NotJudged
from cyclesim.analysis.history import History
from cyclesim.analysis.result import measure, simulate
from cyclesim.analysis.rules import RULES, judge
from cyclesim.physics.stays import Stay
from cyclesim.physics.tub_heat import Exchanged, Piece, TubHeat
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load
from cyclesim.simulation import water_and_heat
from cyclesim.simulation.trace import Rows
from tests.analysis.conftest import TEXT, WINTER

Run = Callable[..., History]
Changes = tuple[tuple[str, str], ...]
H = 3600
SCHEDULES = Path(__file__).parents[2] / "schedules"


def told(history: History, rule_id: str) -> list[Breach]:
    """What breaks one rule."""
    rule = RULES[rule_id]
    return [b for b in judge(rule, history) if isinstance(b, Breach)]


def tub(history: History, *temps: tuple[float, float], end_c: float) -> None:
    """Water temperatures of the tub: (hour, degC) of each piece, and at the end."""
    ends = [hour for hour, _ in temps[1:]] + [history.trace.span_s / H]
    for (hour, temp_c), end in zip(temps, ends, strict=True):
        history.trace.tub.put(Piece(round(hour * H), round(end * H), temp_c, temp_c, 0.0, 0.0, 0.0))
    history.trace.end_water_c = end_c


# -- water-too-hot: 104 degF = 40.000 degC is the most, New York State 6-1.25(b), seen


def hot_day(run: Run, most_c: float, **streams: object) -> History:
    """39.2 degC, but from 10 h to 12 h up to *most_c* and from 12 h to 14 h down again."""
    history = run(**streams)
    tub(history, (0, 39.2), (10, 39.2), (12, most_c), (14, 39.2), end_c=39.2)
    return history


@pytest.mark.parametrize(
    ("streams", "cause", "mend"),
    [
        ({"sources": {"element": [(9 * H, "firing"), (12 * H, "off")]}}, "element heats it", "than 36 degC"),
        ({"pumps": {"main": [(0, "low")]}}, "the heat of main alone, with no source firing", "cover open"),
        ({"sources": {"element": [(0, "firing"), (H, "off")]}}, "it is as warm as that with nothing running",
         "open the cover"),
    ],
)  # fmt: skip
def test_water_too_hot_tells_its_causes_apart(run: Run, streams: dict, cause: str, mend: str) -> None:  # type: ignore[type-arg]
    """40.7 degC at 12 h; 40.2, the limit and the swing, is passed at two thirds of the way up and down."""
    (breach,) = told(hot_day(run, 40.7, **streams), "water-too-hot")
    assert ("tub", cause, pytest.approx(40.7)) == (breach.subject, breach.cause, breach.worst)
    assert (pytest.approx((10 + 4 / 3) * H), pytest.approx(4 / 3 * H)) == (breach.at_s, breach.lasts_s)
    assert "40.7 of 40 degC" == breach.text
    assert mend in breach.mend


def test_the_thermostats_swing_is_not_too_hot(run: Run) -> None:
    """Up to 40.2 degC is within the swing; where the file says that 38 degC is the most, 38.3 is too hot."""
    assert [] == told(hot_day(run, 40.2), "water-too-hot")
    stricter = ("interlocks:\n", "limits: {bathing_temperature: 38 degC}\ninterlocks:\n")
    history = run(stricter)
    tub(history, (0, 38.3), (1, 37.0), end_c=37.0)
    (breach,) = told(history, "water-too-hot")
    assert "38.3 of 38 degC" == breach.text


# -- outlet-too-hot


def fires(run: Run, *changes: tuple[str, str], source: str = "element") -> History:
    """A source fires for an hour at main low into water of 38 degC, and pauses before and after."""
    history = run(
        *changes,
        pumps={"main": [(H, "low"), (3 * H, "stopped")]},
        sources={source: [(H, "firing"), (2 * H, "off")]},
    )
    tub(history, (0, 38.0), end_c=38.0)
    return history


def rise_k(history: History, heat_w: float, source: str) -> float:
    """Heat over flow, with rho cp = 4.1499 MJ/(m3 K) at 38 degC: IAPWS-95, computed with CoolProp.

    The pump adds its share; on the way some is lost, 28 K above soil and room: by 6 m of bare PVC at 600 mm
    of soil, 1 / (ln(D/d) / (2 pi 0.19) + acosh(2 z / D) / (2 pi 1.5)) W/(m K), and by the filter's housing,
    8 W/(m2 K) on a cylinder of 14 L twice as high as wide.
    """
    plant = history.plant
    bore, outside = plant.sheet.legs["suction"].bore_m, 0.063
    pipe_w_k = 6.0 / (log(outside / bore) / (2 * pi * 0.19) + acosh(2 * 0.6 / outside) / (2 * pi * 1.5))
    filter_w_k = 8.0 * 2.5 * pi * (2.0 * 0.014 / pi) ** (2.0 / 3.0)
    pump_w = 300.0 * plant.pumps["main"].heat_to_water
    per_k = 4.1499e6 * plant.duty(plant.at("main", "low")).flow_m3_s(source)
    return (heat_w + pump_w - 28.0 * (pipe_w_k + filter_w_k)) / per_k


def test_an_outlet_too_hot(run: Run) -> None:
    """60 kW into what main low sends through it: over 41 degC by the balance, for the hour it fires."""
    limit = ("interlocks:\n", "limits: {outlet_temperature: 41 degC}\ninterlocks:\n")
    history = fires(run, limit, ("output: 2300 W", "output: 60 kW"))
    (breach,) = told(history, "outlet-too-hot")
    assert pytest.approx(38.0 + rise_k(history, 60_000.0, "element"), abs=0.01) == breach.worst
    assert (H, H, "element") == (breach.at_s, breach.lasts_s, breach.subject)
    assert "pass it at main low" in breach.cause
    assert [] == told(fires(run, limit), "outlet-too-hot"), "2300 W warm it by a sixth of a degree"


def test_a_heat_pumps_outlet_follows_what_it_gave(run: Run, winter: Changes) -> None:
    """50 kWh in its second half hour: too hot there, and not in the first, in which it gave 1 kWh."""
    limit = (
        "interlocks:\n  - {block: unit",
        "limits: {outlet_temperature: 41 degC}\ninterlocks:\n  - {block: unit",
    )
    history = fires(run, *winter, limit, source="unit")
    rows = history.trace.exchanges["unit"] = Rows("unit", Exchanged)
    rows.put(Exchanged(0, H, H + 1800, 3.6e6, 1.0, 0.0))
    rows.put(Exchanged(0, H + 1800, 2 * H, 50.0 * 3.6e6, 1.0, 0.0))
    (breach,) = told(history, "outlet-too-hot")
    assert pytest.approx(38.0 + rise_k(history, 100_000.0, "unit"), abs=0.02) == breach.worst
    assert (H + 1800, 1800) == (breach.at_s, breach.lasts_s)


def test_a_heat_pump_that_gave_nothing_heats_nothing(run: Run, winter: Changes) -> None:
    """Its rows may be there and empty, where it fired in the warm-up alone."""
    history = fires(run, *winter, source="unit")
    history.trace.exchanges["unit"] = Rows("unit", Exchanged)
    assert [] == told(history, "outlet-too-hot")


def test_what_stood_hot_in_a_source_leaves_as_water_starts(run: Run) -> None:
    """62 degC in the element as the pump starts at 3 h: 2 L at the flow of main low."""
    history = run(pumps={"main": [(3 * H, "low")]})
    tub(history, (0, 38.0), end_c=38.0)
    rows = history.trace.stays["element"]
    rows.put(Stay(0, 0, 2 * H, False, 38.0, 70.0, 0.0, 38.0, 38.0))
    rows.put(Stay(0, 2 * H, 3 * H, False, 70.0, 62.0, 0.0, 62.0, 70.0))
    rows.put(Stay(0, 3 * H, 24 * H, True, 62.0, 38.0, 0.0, 38.0, 62.0))
    (breach,) = told(history, "outlet-too-hot")
    assert ("element", 3 * H, 62.0, "62.0 of 50 degC") == (
        breach.subject,
        breach.at_s,
        breach.worst,
        breach.text,
    )
    low_m3_s = history.plant.duty(("low",)).flow_m3_s("element")
    assert pytest.approx(0.002 / low_m3_s) == breach.lasts_s
    assert "keep, after: element" in breach.mend


def test_what_stood_in_a_stove_has_no_limiter_and_may_boil(run: Run) -> None:
    """Nobody can switch off a fire, nor does `keep` take it; a run does not reckon with steam."""
    lines = TEXT.splitlines(keepends=True)
    at = next(k for k, line in enumerate(lines) if line.startswith("    element: "))
    element, unwired = "".join(lines[at : at + 2]), TEXT[TEXT.index("interlocks:") :]
    stove = (
        '    element: {kind: wood, output: 9 kW, burns: [{start: "16:00", lasts: 2 h}], '
        "drop: 0.3 m at 400 L/min, volume: 2 L, needs_flow: 30 L/min, zone: room}\n"
    )
    heating = "  heating: {with: [element], pump: main low, keep_at: 36 degC, within: 1 K}\n"
    history = run((element, stove), (unwired, ""), (heating, ""), pumps={"main": [(3 * H, "low")]})
    tub(history, (0, 38.0), end_c=38.0)
    rows = history.trace.stays["element"]
    rows.put(Stay(0, 0, 3 * H, False, 38.0, 130.9, 0.0, 38.0, 130.9))
    rows.put(Stay(0, 3 * H, 24 * H, True, 130.9, 38.0, 0.0, 38.0, 130.9))
    (breach,) = told(history, "outlet-too-hot")
    assert breach.text == "130.9 of 50 degC, as if it did not boil"
    assert breach.mend == "run a pump through it for as long as it is hot: nobody can switch it off"


# -- sessions


def test_a_session_too_long(run: Run) -> None:
    """A second more than 60 min; exactly 60 min, and any time under a cover, is none."""
    (breach,) = told(run(people=[(H, "2"), (H + 3601, "0")]), "session-too-long")
    assert ("bathing", H, 3601.0) == (breach.subject, breach.at_s, breach.lasts_s)
    assert [] == told(run(people=[(H, "2"), (2 * H, "0")]), "session-too-long")
    assert [] == told(run(people=[(H, "2"), (9 * H, "0")], cover=[(0, "on")]), "session-too-long")


def test_who_comes_and_goes_does_not_end_a_session(run: Run) -> None:
    """Two, then three, then one, for 90 min in all: somebody is in the water throughout."""
    history = run(people=[(H, "2"), (H + 1800, "3"), (2 * H, "1"), (2 * H + 1800, "0")])
    assert [5400.0] == [b.lasts_s for b in told(history, "session-too-long")]


def steps_in(
    run: Run, water_c: float, *changes: tuple[str, str], at_h: int = 20, **streams: object
) -> History:
    """People step in while the water has so many degrees."""
    history = run(*changes, people=[(at_h * H, "2"), (at_h * H + 1800, "0")], **streams)
    tub(history, (0, water_c), end_c=water_c)
    return history


def test_cold_water_at_a_session(run: Run) -> None:
    """36 degC are kept: 34.9 is more than 1 K below, 35.0 is not."""
    (breach,) = told(steps_in(run, 34.9), "cold-at-session")
    assert ("bathing", 20 * H, pytest.approx(1.1), "K") == (
        breach.subject, breach.at_s, breach.worst, breach.unit,
    )  # fmt: skip
    assert "34.9 of 36 degC" == breach.text
    assert [] == told(steps_in(run, 35.0), "cold-at-session")


def test_a_hair_below_the_limit_is_no_cold_water(run: Run) -> None:
    """A thermostat `within: 1 K` starts at 35.0: 34.96 reads 35.0 in tenths, 34.94 reads 34.9."""
    assert [] == told(steps_in(run, 34.96), "cold-at-session")
    assert 1 == len(told(steps_in(run, 34.94), "cold-at-session"))


def test_the_set_point_is_that_of_the_moment(run: Run) -> None:
    """30 degC suffice at 20:00 where the plan keeps 30 from 18:00 to 22:00, and not at 17:00."""
    plan = ("within: 1 K", 'within: 1 K, plan: [{from: "18:00", until: "22:00", keep_at: 30 degC}]')
    assert [] == told(steps_in(run, 30.0, plan), "cold-at-session")
    assert 1 == len(told(steps_in(run, 30.0, plan, at_h=17), "cold-at-session"))


@pytest.mark.parametrize(
    ("streams", "cause"),
    [
        ({"power": [(9 * H, "lost"), (10 * H, "on")]}, "the power failed in the day before"),
        ({"sources": {"element": [(18 * H, "firing")]}}, "heating is still at it"),
        ({}, "no source fires just before"),
    ],
)
def test_why_it_is_cold(run: Run, streams: dict, cause: str) -> None:  # type: ignore[type-arg]
    """A power cut, heating that is late, and heating that is off have a cause each."""
    (breach,) = told(steps_in(run, 20.0, **streams), "cold-at-session")
    assert cause == breach.cause


@pytest.mark.parametrize(
    ("days", "mend"),
    [
        (", days: [tuesday]", "let them end on 2027-02-28 (absences: to): to be warm takes 24 h or more"),
        ("", "let them end 24 h before somebody bathes: to be warm takes 24 h or more"),
    ],
)
def test_cold_after_days_away_is_mended_by_their_end(run: Run, days: str, mend: str) -> None:
    """From 12 degC at the end of 1 March the water gains 20 K in 20 h, and 24 K are wanted by Tuesday 20:00.

    Who ends a day sooner has 44 h before Tuesday; where people bathe daily, they then bathe on Monday.
    """
    away = "within: 1 K, absences: [{from: 2027-02-20, to: 2027-03-01, keep_at: 12 degC}]"
    bathing = f'  bathing: [{{start: "20:00", lasts: 30 min{days}}}]\n  quiet_hours:'
    history = run(
        ("within: 1 K", away), ("  quiet_hours:", bathing), hours=48.0,
        people=[(44 * H, "2"), (44 * H + 1800, "0")], sources={"element": [(24 * H, "firing")]},
    )  # fmt: skip
    tub(history, (0, 12.0), (24, 12.0), (44, 32.0), end_c=32.0)
    (breach,) = told(history, "cold-at-session")
    assert breach.cause == "the days away end 20 h before, and nothing heats for it until then"
    assert breach.mend.startswith(mend)
    (out,) = told(history, "cold-at-end")
    assert (out.cause, out.mend) == ("it was cold when they stepped in", breach.mend)


@pytest.mark.parametrize(
    ("plan", "mend"),
    [
        ("", "a stronger source, or a narrower band: it is kept at 36 degC all the time"),
        (
            ', plan: [{from: "00:00", until: "12:00", keep_at: 30 degC}]',
            "let it begin earlier: plan: [{ready_by: ...}], or a stronger source",
        ),
    ],
)
def test_heating_begins_earlier_only_where_less_was_kept_before(run: Run, plan: str, mend: str) -> None:
    """Where 36 degC are kept all day heating has no earlier beginning; where 30 are until noon it has."""
    firing = {"element": [(18 * H, "firing")]}
    (breach,) = told(
        steps_in(run, 34.0, ("within: 1 K", f"within: 1 K{plan}"), sources=firing), "cold-at-session"
    )
    assert (breach.cause, breach.mend) == ("heating is still at it", mend)


@pytest.mark.parametrize(
    ("fires", "mend"),
    [
        (["unit"], "let element join sooner: next_below, or a stronger source, or a narrower band: "),
        (["element"], "let boiler join sooner: next_below, or a stronger source, or a narrower band: "),
        (["unit", "element", "boiler"], "a stronger source, or a narrower band: "),
    ],
)
def test_a_source_that_waits_to_join_is_told(run: Run, fires: list[str], mend: str) -> None:
    """Of three in a row the one after the last that fires waits; where all fire none does."""
    firing = {name: [(18 * H, "firing")] for name in fires}
    (breach,) = told(steps_in(run, 34.0, *WINTER[:2], sources=firing), "cold-at-session")
    assert breach.mend == mend + "it is kept at 36 degC all the time"


# -- the water at step-out


def cools(run: Run, in_c: float, lowest_c: float, out_c: float) -> History:
    """In at 20:00; the lowest at 20:15, out at 20:30. 36 degC are kept."""
    history = run(people=[(20 * H, "2"), (20 * H + 1800, "0")])
    tub(history, (0, in_c), (20, in_c), (20.25, lowest_c), (20.5, out_c), end_c=out_c)
    return history


def test_each_session_tells_its_temperatures(run: Run) -> None:
    """36.1 in, 34.0 in the middle, 34.4 out; one that the span cuts off has no end."""
    (session,) = measure(cools(run, 36.1, 34.0, 34.4)).sessions
    assert ("2027-03-01T20:00:00+00:00", 0.5, 36.0) == (
        session.from_local,
        session.lasts_h,
        session.set_point_c,
    )
    assert pytest.approx((36.1, 34.0, 34.4)) == (session.in_c, session.coldest_c, session.out_c)
    begun = run(people=[(23 * H, "2")])
    tub(begun, (0, 36.0), end_c=35.0)
    (session,) = measure(begun).sessions
    assert None is session.out_c
    assert pytest.approx((36.0 - 23 / 24, 35.0)) == (session.in_c, session.coldest_c)


def test_the_jets_of_a_session_are_its_own(run: Run) -> None:
    """Two starts in the session: 12 degC for 20 s, 30 degC for 25 s; one at its end belongs to no session."""
    history = cools(run, 36.1, 34.0, 34.4)
    for row in ((20 * H, 12.0, 20.0), (20 * H + 900, 30.0, 25.0), (20 * H + 1800, 5.0, 60.0)):
        history.trace.at_jets.put(row)
    (session,) = measure(history).sessions
    assert (12.0, 25.0) == (session.coldest_at_jet_c, session.cold_at_jet_s)
    (quiet,) = measure(cools(run, 36.1, 34.0, 34.4)).sessions
    assert (None, None) == (quiet.coldest_at_jet_c, quiet.cold_at_jet_s)


def test_jets_give_what_stood_in_their_pipes(scenario: Callable[..., Scenario]) -> None:
    """In the run, the first water of a session is as cold as the leg that leads to the jets."""
    bathing = '  bathing: [{start: "12:00", lasts: 30 min, pump: main high}]\n  quiet_hours:'
    trace = simulate(scenario(("  quiet_hours:", bathing)), days=3).trace
    at_s, leg = trace.at_jets.start_s, trace.stays["bench"]
    assert [12 * H, 36 * H, 60 * H] == at_s.tolist()
    for at, coldest_c, cold_s in zip(at_s, trace.at_jets.coldest_c, trace.at_jets.cold_s, strict=True):
        k = int(np.flatnonzero(leg.end_s == at)[0])
        assert leg.joined[k] == 0.0
        assert pytest.approx(leg.end_c[k], abs=0.3) == coldest_c
        assert 0.0 <= cold_s < 60.0


@pytest.mark.parametrize("cold_k", [3.0, -1.0])
def test_jets_that_are_left_out_change_no_session(monkeypatch: pytest.MonkeyPatch, cold_k: float) -> None:
    """The other way: all that comes out of jets is told, in a week in which they start again and again.

    Where even what is 1 K warmer than the tub counts as cold, nothing is left out.
    """
    monkeypatch.setattr(water_and_heat, "COLD_JET_K", cold_k)
    scenario = load(SCHEDULES / "long-table.yaml")
    some = simulate(scenario, days=7)
    monkeypatch.setattr(TubHeat, "arrives_above_c", lambda _: -inf)
    whole = simulate(scenario, days=7)
    assert (cold_k > 0.0) == (len(some.trace.at_jets) < len(whole.trace.at_jets))
    assert some.metrics.sessions == whole.metrics.sessions


def test_the_means_of_stepping_in_and_out_are_of_whole_sessions(run: Run) -> None:
    """Two sessions, 36 and 35 degC in, 34 and 35 out: 35.5 and 34.5."""
    history = run(people=[(10 * H, "2"), (11 * H, "0"), (20 * H, "2"), (21 * H, "0")])
    tub(history, (0, 36.0), (10, 36.0), (11, 34.0), (20, 35.0), (21, 35.0), end_c=35.0)
    measured = measure(history).tub
    assert pytest.approx((35.5, 34.5)) == (measured.mean_at_session_start_c, measured.mean_at_session_end_c)


def test_cold_water_at_the_end(run: Run) -> None:
    """36 degC are kept: 33.4 is more than 2.5 K below, 33.5 is not, nor is 33 in the middle."""
    (breach,) = told(cools(run, 36.0, 34.0, 33.4), "cold-at-end")
    assert ("bathing", 20 * H + 1800, pytest.approx(2.6), "33.4 of 36 degC") == (
        breach.subject,
        breach.at_s,
        breach.worst,
        breach.text,
    )
    assert "cools while they bathe" in breach.cause
    assert [] == told(cools(run, 36.0, 33.0, 33.5), "cold-at-end")


def test_what_was_cold_at_the_start_is_no_loss_of_the_session(run: Run) -> None:
    """34 degC in and 33 out, with 36 kept: two of the three kelvin were missing before."""
    (breach,) = told(cools(run, 34.0, 33.0, 33.0), "cold-at-end")
    assert "cold when they stepped in" in breach.cause
    assert "ready_by" in breach.mend


def test_what_was_not_ready_in_time(run: Run) -> None:
    """36.9 of 38 degC at a ready-by is told, 37.0 is not."""
    history = run()
    history.trace.ready += [(5 * H, 36.9, 38.0), (6 * H, 37.0, 38.0)]
    (breach,) = told(history, "cold-at-session")
    assert ("ready by", 5 * H, "36.9 of 38 degC") == (breach.subject, breach.at_s, breach.text)


# -- flush-onto-people


def flushes(run: Run, people_from: int) -> History:
    """A line flush from 19:30:00 to 19:30:40; two people from then on."""
    demand = "line flush"
    at = 19 * H + 1800
    return run(
        pumps={"main": [(at, "high"), (at + 40, "stopped")]},
        demands={demand: [(at, "raised"), (at + 40, "")]},
        deciding={"main": [(at, demand), (at + 40, "")]},
        people=[(people_from, "2"), (people_from + 600, "0")],
    )


def test_a_flush_onto_people(run: Run) -> None:
    """People who stepped in 10 s into the flush have 30 s of it; those who come as it ends have none."""
    at = 19 * H + 1800
    (breach,) = told(flushes(run, at + 10), "flush-onto-people")
    assert ("line flush", at + 10, 30.0) == (breach.subject, breach.at_s, breach.lasts_s)
    assert [] == told(flushes(run, at + 40), "flush-onto-people")


# -- motors


def starts(run: Run, *at_s: int) -> History:
    """The pump starts at these seconds, for a minute each."""
    return run(pumps={"main": [step for t in at_s for step in ((t, "low"), (t + 60, "stopped"))]})


def test_too_many_starts_within_an_hour(run: Run) -> None:
    """Nine from 05:00 on, where NEMA MG 10 has 8.1 for 5 hp, 2-pole (seen second-hand); eight are borne."""
    nine = [5 * H + 300 * k for k in range(9)]
    (breach,) = told(starts(run, *nine), "too-many-starts")
    assert ("main", 9.0, 5 * H) == (breach.subject, breach.worst, breach.at_s)
    assert "9 of at most 8 starts in an hour" == breach.text
    assert [] == told(starts(run, *nine[:8]), "too-many-starts")
    (late,) = told(starts(run, *[t + 1500 for t in nine]), "too-many-starts")  # seven, and two in the next
    assert (9.0, 5 * H + 1500) == (late.worst, late.at_s)


def test_starts_on_both_sides_of_a_full_hour_count_together(run: Run) -> None:
    """Twelve from 07:30 to 08:20, seven and five by the clock; the finding and the table agree."""
    twelve = [7 * H + 1800 + 270 * k for k in range(12)]
    history = starts(run, *twelve)
    (breach,) = told(history, "too-many-starts")
    assert (12.0, 7 * H + 1800) == (breach.worst, breach.at_s)
    assert 12 == measure(history).pumps["main"].most_starts_in_an_hour


@given(st.lists(st.integers(1, 20_000), unique=True, max_size=60))
def test_starts_within_an_hour_are_those_counted_one_by_one(at_s: list[int]) -> None:
    """The fullest hour is the fullest of all hours that begin at any second, not only at a start."""
    seconds = np.zeros(24_000, dtype=int)
    seconds[at_s] = 1
    hours = np.lib.stride_tricks.sliding_window_view(seconds, H).sum(axis=1)
    assert hours.max() == max(within_an_hour(np.array(sorted(at_s), dtype=float)).tolist(), default=0)


def test_an_hour_later_to_the_second_is_another_hour(run: Run) -> None:
    """Eight starts, the ninth 3600 s after the first: never nine within an hour."""
    assert [] == told(starts(run, *[5 * H + 300 * k for k in range(8)], 6 * H), "too-many-starts")
    assert [9.0] == [b.worst for b in told(starts(run, *[5 * H + 300 * k for k in range(8)], 6 * H - 70),
                                           "too-many-starts")]  # fmt: skip


# -- the air pipe


def test_an_air_pipe_without_protection(run: Run, winter: Changes) -> None:
    """Neither check valve nor loop: told, with its 3 L that no pump moves; either one suffices.

    Where the file says nothing of one of them, nobody knows.
    """
    bare = ("check_valve: true, zone", "check_valve: false, loop_above_water: 0 mm, zone")
    (breach,) = told(run(*winter, bare), "airline-unprotected")
    assert ("blower", "3.0 L stand in the pipe, not refreshed by a flush") == (breach.subject, breach.text)
    assert [] == told(run(*winter), "airline-unprotected")
    looped = ("check_valve: true, zone", "loop_above_water: 300 mm, zone")
    assert [] == told(run(*winter, looped), "airline-unprotected")
    for said, unsaid in (("", "check_valve, loop_above_water"), ("check_valve: false, ", "loop_above_water")):
        silent = ("check_valve: true, zone", f"{said}zone")
        why = NotJudged(f"the file does not say of blower: {unsaid}")
        assert [why] == list(judge(RULES["airline-unprotected"], run(*winter, silent)))


# -- what cannot be switched off


def stove(run: Run, **streams: object) -> History:
    """A wood stove in the loop."""
    sheet = """
    stove: {kind: wood, output: 10 kW, burns: [{start: "17:00", lasts: 3 h}], drop: 0.1 m at 400 L/min,
            volume: 20 L, needs_flow: 10 L/min, zone: room}
  network: [[tub, suction, main, filter, stove, element, bench, tub]]"""
    change = ("  network: [[tub, suction, main, filter, element, bench, tub]]", sheet)
    return run(change, sources={"stove": [(17 * H, "firing"), (20 * H, "off")]}, **streams)


def test_a_stove_in_still_water_is_a_danger_that_only_a_pump_mends(run: Run) -> None:
    """No proof and no run-on is asked of what nobody switches; water through it is."""
    (breach,) = told(stove(run), "heat-without-flow")
    assert "run a pump through it" in breach.mend
    pumped = stove(run, pumps={"main": [(17 * H, "low"), (20 * H, "stopped")]})
    for rule in ("heat-without-flow", "heat-before-proof", "no-run-on"):
        assert [] == told(pumped, rule)
