"""What the rules say of several pumps in one entry, against sums done by hand."""

import pytest

from cyclesim.analysis.findings import Breach
from cyclesim.analysis.history import FLUSH_VOLUMES, movers
from cyclesim.analysis.pumped import filtered_m3, reached_s
from cyclesim.analysis.result import simulate
from cyclesim.analysis.rules import RULES
from cyclesim.decide.ranges.flushes import flush_lines
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.forms.fields import PumpSpeed
from cyclesim.scenario.forms.pumping import Pumping
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from tests.pumps.conftest import FLUSH, SESSION, Build

LEFT, RIGHT = PumpSpeed("left", "on"), PumpSpeed("right", "on")


def too_short(scenario: Scenario) -> list[Breach]:
    """What breaks flush-too-short."""
    judged = RULES["flush-too-short"].judge(Assembly(scenario), Programme(scenario))  # type: ignore[operator]
    return [b for b in judged if isinstance(b, Breach)]


def far_end_s(plant: Assembly, pumps: tuple[PumpSpeed, ...]) -> float:
    """How long tub water takes to the last of three jets of right_bench, by volume over flow.

    Suction, pump, the bench as far as its first jet, then two spaces of 0.4 m with 2/3 and 1/3 of its flow.
    """
    duty = plant.duty(plant.at_once(pumps))
    both, mine = duty.flow_m3_s("suction"), duty.flow_m3_s("right_bench")
    jets = [duty.flow_m3_s(f"right_bench jet {k}") for k in (1, 2, 3)]
    area = plant.leg_volume_m3("right_bench") / (11.0 + 2 * 0.4)
    along = area * 0.4 / (jets[1] + jets[2]) + area * 0.4 / jets[2]
    return plant.leg_volume_m3("suction") / both + 0.002 / mine + area * 11.0 / mine + along


def test_a_flush_of_both_pumps_goes_by_what_both_move(build: Build) -> None:
    """On one suction each slows the other a little, and the suction is passed sooner by far."""
    plant = Assembly(build())
    together, alone = Pumping((LEFT, RIGHT)), Pumping((RIGHT,))
    end = plant.plugs[plant.reported["right_bench, last jet"]].name
    assert pytest.approx(far_end_s(plant, (LEFT, RIGHT)), rel=1e-6) == reached_s(plant, together, end)
    assert pytest.approx(far_end_s(plant, (RIGHT,)), rel=1e-6) == reached_s(plant, alone, end)
    assert reached_s(plant, Pumping((LEFT, RIGHT), in_turn=True), end) == reached_s(plant, alone, end)


def test_one_flush_is_told_once(build: Build) -> None:
    """Two pumps, one entry, one finding by its name, with the time that the slower end needs."""
    scenario = build((FLUSH, FLUSH.replace("lasts: 60 s", "lasts: 20 s")))
    (breach,) = too_short(scenario)
    need_s = FLUSH_VOLUMES * far_end_s(Assembly(scenario), (LEFT, RIGHT))
    assert "line flush" == breach.subject
    assert breach.worst == pytest.approx(20.0 / (need_s / FLUSH_VOLUMES), rel=1e-6)
    assert [] == too_short(build())


def test_who_moves_a_leg(build: Build) -> None:
    """Each bench by its own pump, though the other runs beside it; the suction by both."""
    scenario = build()
    plant, programme = Assembly(scenario), Programme(scenario)
    names = {leg: [d.name for d in movers(plant, programme, leg)] for leg in plant.sheet.legs}
    assert ["bathing, left", "line flush, left"] == names["left_bench"]
    assert ["bathing, right", "line flush, right"] == names["right_bench"]
    assert 4 == len(names["suction"])


def test_the_lines_of_a_flush(build: Build) -> None:
    """One for each bench, under the entry's name; one after the other each has its own pump's time."""
    for text, pumps in (
        (FLUSH, (LEFT, RIGHT)),
        (FLUSH.replace("lasts: 60 s", "lasts: 60 s, in_turn: true"), (RIGHT,)),
    ):
        scenario = build(*[(FLUSH, text)] if text != FLUSH else [])
        plant = Assembly(scenario)
        lines = {line.leg: line for line in flush_lines(plant, Programme(scenario))}
        assert {"left_bench", "right_bench"} == set(lines)
        assert {("line flush", 60.0)} == {(line.flush, line.lasts_s) for line in lines.values()}
        assert pytest.approx(far_end_s(plant, pumps), rel=1e-6) == lines["right_bench"].reached_s


def test_what_passes_the_filter_in_turn(build: Build) -> None:
    """The circulator for its hour, then left, which passes none."""
    plant = Assembly(build())
    circulator = PumpSpeed("circulator", "on")
    per_s = plant.duty(plant.at("circulator", "on")).filtered_m3_s
    in_turn = Pumping((circulator, LEFT), in_turn=True)
    assert pytest.approx(3600.0 * per_s) == filtered_m3(plant, in_turn, 3600.0)


def test_people_and_currents_of_a_session_with_two_pumps(build: Build) -> None:
    """Three people once a day, not six; 7 A and 6 A at once is the most on the breaker."""
    result = simulate(build(), days=3)
    assert [50 / 60] * 3 == [pytest.approx(session.lasts_h) for session in result.metrics.sessions]
    assert {"0", "3"} == {stay.state for stay in result.trace.people}
    assert 13.0 <= result.metrics.energy.circuits["supply"].most_current_a <= 13.5  # circulator: 0.5 A
    assert pytest.approx(3 * (3000 + 120) / 3600) == result.metrics.pumps["left"].running_h
    assert pytest.approx(3 * (2990 + 120) / 3600) == result.metrics.pumps["right"].running_h


def test_a_stagger_parts_the_starts(build: Build) -> None:
    """Starting currents of 30 A and 25 A: 55 A at once; 10 s apart 30 A, or 7 A and 25 A."""
    starts = [("current: 7 A", "current: 7 A, starting_current: 30 A"),
              ("current: 6 A", "current: 6 A, starting_current: 25 A")]  # fmt: skip
    for flush, start_a in ((FLUSH, 55.0), (FLUSH.replace("lasts: 60 s", "lasts: 60 s, stagger: 10 s"), 32.0)):
        scenario = build(
            *starts, *[(FLUSH, flush)] if flush != FLUSH else [], ("lasts: 3 h", "lasts: 15 min")
        )
        circuit = simulate(scenario, days=1).metrics.energy.circuits["supply"]
        assert circuit.most_starting_a is not None
        assert start_a <= circuit.most_starting_a <= start_a + 0.5


def test_both_pumps_are_counted_against_the_breaker(build: Build) -> None:
    """13 A on 12 A, which neither pump alone would be."""
    small = ("breaker: 20 A", "breaker: 12 A")
    assert "supply-overload" in [f.rule for f in simulate(build(small), days=1).findings]
    alone = [SESSION, SESSION.replace("pumps: [left, right], stagger: 10 s", "pump: left")]
    in_turn = [FLUSH, FLUSH.replace("lasts: 60 s", "lasts: 60 s, in_turn: true")]
    rules = [f.rule for f in simulate(build(small, tuple(alone), tuple(in_turn)), days=1).findings]
    assert "supply-overload" not in rules


def test_why_a_pump_ran(build: Build) -> None:
    """By the name of the entry, which each of its pumps was asked for by: 50 min, or 10 s less, a day."""
    pumps = simulate(build(), days=1).metrics.pumps
    assert pytest.approx(3000 / 3600) == pumps["left"].asked_h["bathing"]
    assert pytest.approx(2990 / 3600) == pumps["right"].asked_h["bathing"]
