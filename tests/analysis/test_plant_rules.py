"""Rules of the drawing: each with a plant that breaks it and one that does not."""

import math
from collections.abc import Callable

import pytest

from cyclesim.analysis import plant_rules as rules
from cyclesim.analysis.findings import Breach, NotJudged
from cyclesim.scenario.model import Scenario
from cyclesim.simulation.assembly import Plant
from cyclesim.simulation.programme import Programme

Build = Callable[..., Scenario]
Rule = Callable[[Plant, Programme], object]
NARROW = ("suction: {pipe: 63 PN10", "suction: {pipe: 50 PN16")
SLOW_ELEMENT = ("needs_flow: 30 L/min", "needs_flow: 250 L/min")


def judged(rule: Callable[..., object], built: Scenario) -> list[Breach | NotJudged]:
    """What a rule says of a scenario."""
    return list(rule(Plant(built), Programme(built)))  # type: ignore[call-overload]


@pytest.mark.parametrize(
    "rule",
    [
        rules.suction_too_fast,
        rules.filter_overloaded,
        rules.jets_weak,
        rules.source_underfed,
        rules.never_flushed,
        rules.flush_too_short,
        rules.programme_does_not_fit,
    ],
)
def test_a_sound_plant_breaks_no_rule(scenario: Build, rule: Rule) -> None:
    """The plant of these tests as it is."""
    assert [] == judged(rule, scenario())


def test_suction_too_fast_names_the_bore_that_would_do(scenario: Build) -> None:
    """At the limit the bore is sqrt(4 Q / (pi v)): continuity alone."""
    built = scenario(NARROW)
    (breach,) = judged(rules.suction_too_fast, built)
    q = abs(Plant(built).duty(("high",)).flow_m3_s("suction"))
    assert "suction" == breach.subject
    assert pytest.approx(q / (math.pi / 4 * 0.0426**2), rel=1e-3) == breach.worst
    assert breach.worst > 1.8
    assert f"at least {math.ceil(1000 * math.sqrt(4 * q / math.pi / 1.8))} mm" in breach.mend


def test_a_leg_to_the_tub_is_no_suction(scenario: Build) -> None:
    """The jets' leg may be as fast as it likes for this rule."""
    built = scenario(("bench: {pipe: 63 PN10", "bench: {pipe: 50 PN16"))
    assert [] == judged(rules.suction_too_fast, built)


def test_filter_overloaded_at_the_duty_of_a_flush(scenario: Build) -> None:
    """A filter for 200 L/min is overloaded by the flush on high; its finding says by what."""
    breaches = judged(rules.filter_overloaded, scenario(("at_most: 500", "at_most: 200")))
    assert ["at main high (line flush)"] == [b.cause for b in breaches if "high" in b.cause]
    assert all(b.worst > 200.0 for b in breaches)


def test_a_filter_without_a_limit_cannot_be_judged(scenario: Build) -> None:
    """The file does not give at_most: that is said, not passed over."""
    assert [NotJudged("filter has no at_most")] == judged(
        rules.filter_overloaded, scenario((", at_most: 500 L/min", ""))
    )


def test_weak_jets_are_found_at_the_best_duty(scenario: Build) -> None:
    """Sixty rated jets on one pump starve; low speed, which starves them more, is not held against them."""
    (breach,) = judged(rules.jets_weak, scenario(("jets: 3,", "jets: 24,")))
    assert "bench" == breach.subject
    assert "main high" in breach.cause
    assert breach.worst < 45.0, "75 % of 60 L/min"


def test_jets_of_a_nozzle_without_a_need_cannot_be_judged(scenario: Build) -> None:
    """A bore alone does not say what a jet needs."""
    (why,) = judged(rules.jets_weak, scenario(("each: 60 L/min at 6 m", "nozzle: 9 mm")))
    assert isinstance(why, NotJudged)


def test_source_underfed_at_the_speed_that_heating_asks_for(scenario: Build) -> None:
    """An element that needs more than low gives is told, with both flows."""
    (breach,) = judged(rules.source_underfed, scenario(SLOW_ELEMENT))
    assert ("element", "at main low, which heating asks for") == (breach.subject, breach.cause)
    assert breach.worst < 250.0


def test_source_underfed_where_a_pump_contact_lets_it_fire(scenario: Build) -> None:
    """At another duty than heating's own, a source is underfed only where nothing keeps it off."""
    wired = scenario(("needs_flow: 30 L/min", "needs_flow: 400 L/min"), ("flow_switch", "pump_contact"))
    unblocked = scenario(
        ("needs_flow: 30 L/min", "needs_flow: 400 L/min"),
        ("flow_switch", "pump_contact"),
        ("  - {block: element, while: main high, because: the breaker}\n", ""),
    )
    assert ["at main low, which heating asks for"] == [b.cause for b in judged(rules.source_underfed, wired)]
    assert {"at main low, which heating asks for", "at main high"} == {
        b.cause for b in judged(rules.source_underfed, unblocked)
    }


def test_a_capped_spare_is_never_flushed(scenario: Build) -> None:
    """A dead end is named with what to do about it."""
    spare = ("  pumps:\n", "    spare: {pipe: 50 PN10, length: 4 m, zone: room, dead_end: true}\n  pumps:\n")
    (breach,) = judged(rules.never_flushed, scenario(spare))
    assert "spare" == breach.subject
    assert "capped" in breach.cause


def test_a_leg_behind_a_shut_valve_is_never_flushed(scenario: Build) -> None:
    """A branch whose valve is usually shut sees no flow in any duty of the schedule."""
    built = scenario(
        ("  pumps:\n", "    spout: {pipe: 50 PN10, length: 4 m, zone: room}\n  pumps:\n"),
        ("element, bench, tub]]", "element, {parallel: [bench, [stop, spout]]}, tub]]\n"
         "  valves: {stop: {drop: 0.1 m at 300 L/min, usual: shut}}"),
    )  # fmt: skip
    (breach,) = judged(rules.never_flushed, built)
    assert "spout" == breach.subject


def test_flush_too_short_says_how_long_it_must_be(scenario: Build) -> None:
    """Volumes over flow on the way to the last jet, twice, and the next length that the controller takes."""
    built = scenario(("lasts: 40 s", "lasts: 15 s"))
    (breach,) = judged(rules.flush_too_short, built)
    duty = Plant(built).duty(("high",))
    area = math.pi / 4 * 0.057**2
    whole, last = duty.flow_m3_s("bench"), duty.flow_m3_s("bench jet 3")
    second = duty.flow_m3_s("bench to jet 2")
    once = (area * 14.0 + 0.014 + 0.002 + 0.002) / whole + area * 0.4 / second + area * 0.4 / last
    assert pytest.approx(15.0 / once) == breach.worst
    assert f"lengthen the flush to 40 s: at least {math.ceil(2 * once)} s are due" == breach.mend


def test_a_flush_longer_than_the_controller_takes(scenario: Build) -> None:
    """Where no length that can be keyed in is enough, the mend says so."""
    built = scenario(
        ("lasts: 40 s", "lasts: 5 s"), ("flush_lengths: [15 s, 40 s, 60 s]", "flush_lengths: [5 s]")
    )
    (breach,) = judged(rules.flush_too_short, built)
    assert "more than the controller takes" in breach.mend


@pytest.mark.parametrize(
    ("change", "cause"),
    [
        (('["03:00", "15:00"]', '["03:00", "09:00", "15:00"]'), "3 filter runs a day, and it takes 2"),
        (('"07:30"', '"07:40"'), "a line flush at 07:40, and its times move in steps of 15 min"),
        (("lasts: 2 h", "lasts: 100 min"), "a filter run of 100 min, and its times move in steps of 15 min"),
        (("lasts: 40 s", "lasts: 50 s"), "a flush of 50 s, and it takes 15 s, 40 s and 60 s"),
    ],
)
def test_what_cannot_be_keyed_in_is_named(scenario: Build, change: tuple[str, str], cause: str) -> None:
    """Windows, steps and lengths that the controller does not take."""
    assert [cause] == [b.cause for b in judged(rules.programme_does_not_fit, scenario(change))]


def test_filter_runs_on_different_days_share_a_window(scenario: Build) -> None:
    """Three runs, but never more than two on one day."""
    built = scenario(
        (
            '[{pump: main low, start: ["03:00", "15:00"], lasts: 2 h}]',
            '[{pump: main low, start: "03:00", lasts: 2 h}, {pump: main low, start: "15:00", lasts: 2 h, '
            'days: [monday]}, {pump: main low, start: "16:00", lasts: 2 h, days: [tuesday]}]',
        )
    )
    assert [] == judged(rules.programme_does_not_fit, built)


def test_a_controller_that_is_not_described_cannot_be_judged(scenario: Build) -> None:
    """Without the controller block nobody knows what it takes."""
    built = scenario(
        ("controller: {filter_windows: 2, time_step: 15 min, flush_lengths: [15 s, 40 s, 60 s]}\n", "")
    )
    (why,) = judged(rules.programme_does_not_fit, built)
    assert isinstance(why, NotJudged)


def test_a_speed_below_the_one_that_heating_asks_for_is_not_judged(scenario: Build) -> None:
    """Heating on high never fires on low, so that what low gives does not count."""
    changes = [
        ("needs_flow: 30 L/min", "needs_flow: 150 L/min"),
        ("flow_switch", "pump_contact"),
        ("  - {block: element, while: main high, because: the breaker}\n", ""),
        ("with: [element], pump: main low", "with: [element], pump: main high"),
    ]
    built = scenario(*changes)
    low, high = (abs(Plant(built).duty((speed,)).flow_m3_s("element")) for speed in ("low", "high"))
    assert low < 150 / 60_000 < high
    assert [] == judged(rules.source_underfed, built)
