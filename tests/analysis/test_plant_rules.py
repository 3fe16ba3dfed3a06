"""Rules of the drawing: each with a plant that breaks it and one that does not."""

import math
from collections.abc import Callable

import pytest

from cyclesim.analysis import plant_rules as rules
from cyclesim.analysis.findings import Breach, NotJudged
from cyclesim.analysis.flush_rules import flush_too_short, never_flushed
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme

Build = Callable[..., Scenario]
Rule = Callable[[Assembly, Programme], object]
NARROW = ("suction: {pipe: 63 PN10", "suction: {pipe: 50 PN16")
SLOW_ELEMENT = ("needs_flow: 30 L/min", "needs_flow: 250 L/min")


def judged(rule: Callable[..., object], built: Scenario) -> list[Breach | NotJudged]:
    """What a rule says of a scenario."""
    return list(rule(Assembly(built), Programme(built)))  # type: ignore[call-overload]


@pytest.mark.parametrize(
    "rule",
    [
        rules.suction_too_fast,
        rules.filter_overloaded,
        rules.jets_weak,
        rules.source_underfed,
        never_flushed,
        flush_too_short,
        rules.programme_does_not_fit,
    ],
)
def test_a_sound_plant_breaks_no_rule(scenario: Build, rule: Rule) -> None:
    """The plant of these tests as it is."""
    assert [] == judged(rule, scenario())


def test_suction_too_fast_names_the_bore_that_would_do(scenario: Build) -> None:
    """Flow rises with the bore: the file with the named bore is sound, with 5 mm less it is not."""
    limit = ("interlocks:", "limits: {suction_speed: 1 m/s}\ninterlocks:")
    built = scenario(NARROW, limit)
    (breach,) = judged(rules.suction_too_fast, built)
    q = abs(Assembly(built).duty(("high",)).flow_m3_s("suction"))
    assert "suction" == breach.subject
    assert pytest.approx(q / (math.pi / 4 * 0.0426**2), rel=1e-3) == breach.worst
    named = int(breach.mend.split("at least ")[1].split(" mm")[0])
    at_this_flow_mm = 1000 * math.sqrt(4 * q / math.pi / 1.0)
    assert at_this_flow_mm < named, "continuity alone forgets that a wider pipe passes more"
    for bore_mm, broken in ((math.ceil(at_this_flow_mm), 1), (named - 5, 1), (named, 0)):
        wide = (NARROW[0], f"suction: {{bore: {bore_mm} mm")
        assert broken == len(judged(rules.suction_too_fast, scenario(wide, limit)))


def test_a_limit_is_told_with_the_digits_of_people(scenario: Build) -> None:
    """6 ft/s are 1.83 m/s."""
    limit = ("interlocks:", "limits: {suction_speed: 6 ft/s}\ninterlocks:")
    (breach,) = judged(rules.suction_too_fast, scenario(NARROW, limit))
    assert breach.text.endswith("of 1.83 m/s")


JETS_PUMP = ("changeover: 2 s", "changeover: 2 s\n      check_valve: true\n"
    "    jets: {max_head: 16 m, max_flow: 600 L/min, power: 1500 W, check_valve: true}")  # fmt: skip
JETS_FLUSH = ("line_flushes: [{pump: main high", "line_flushes: [{pump: jets")
SHARED = [
    (JETS_PUMP[0], JETS_PUMP[1].replace("max_head: 16 m, max_flow: 600 L", "max_head: 4 m, max_flow: 300 L")),
    JETS_FLUSH,
    ("suction, main, filter", "suction, {parallel: [main, jets]}, filter"),
]
APART = [
    JETS_PUMP,
    JETS_FLUSH,
    ("suction, main, filter, element, bench", "suction, {parallel: [[main, filter, element], jets]}, bench"),
]


def test_demands_of_two_pumps_may_overlap(scenario: Build) -> None:
    """Either pump alone is slow enough in the suction and slack in the filter; both together are not."""
    plant = Assembly(scenario(*SHARED))
    flows = [
        abs(plant.duty(s).flow_m3_s("suction"))
        for s in (("low", "stopped"), ("stopped", "on"), ("low", "on"))
    ]
    limit = (max(flows[:2]) + flows[2]) / 2
    assert max(flows[:2]) < limit < flows[2]
    speed = limit / (math.pi / 4 * plant.sheet.legs["suction"].bore_m ** 2)
    built = scenario(
        *SHARED,
        ("interlocks:", f"limits: {{suction_speed: {speed} m/s}}\ninterlocks:"),
        ("at_most: 500 L/min", f"at_most: {limit * 60_000} L/min"),
    )
    for rule in (rules.suction_too_fast, rules.filter_overloaded):
        (breach,) = judged(rule, built)
        assert "main low + jets (filter run, heating and line flush)" in breach.cause


def test_speeds_that_a_block_keeps_apart_do_not_overlap(scenario: Build) -> None:
    """With jets blocked while main is on low the two are never on together."""
    plant = Assembly(scenario(*SHARED))
    alone, both = (abs(plant.duty(s).flow_m3_s("filter")) for s in (("stopped", "on"), ("low", "on")))
    most = ("at_most: 500 L/min", f"at_most: {(alone + both) / 2 * 60_000} L/min")
    block = ("interlocks:", "interlocks:\n  - {block: jets, while: main low}")
    assert 1 == len(judged(rules.filter_overloaded, scenario(*SHARED, most)))
    assert [] == judged(rules.filter_overloaded, scenario(*SHARED, most, block))


def test_a_leg_to_the_tub_is_no_suction(scenario: Build) -> None:
    """The jets' leg may be as fast as it likes for this rule."""
    built = scenario(("bench: {pipe: 63 PN10", "bench: {pipe: 50 PN16"))
    assert [] == judged(rules.suction_too_fast, built)


def test_filter_overloaded_at_the_duty_of_a_flush(scenario: Build) -> None:
    """A filter for 200 L/min is overloaded by the flush on high; its finding says by what."""
    breaches = judged(rules.filter_overloaded, scenario(("at_most: 500", "at_most: 200")))
    assert ["at main high (line flush)"] == [b.cause for b in breaches if "high" in b.cause]
    assert all(b.worst > 200.0 for b in breaches)


def test_a_filter_just_overloaded_reads_so_and_its_mend_is_rounded_up(scenario: Build) -> None:
    """A flow 0.04 L/min above at_most: the two numbers differ, and the filter to buy takes the whole flow."""
    q = abs(Assembly(scenario()).duty(("high",)).flow_m3_s("filter")) * 60_000
    (breach,) = judged(rules.filter_overloaded, scenario(("at_most: 500", f"at_most: {q - 0.04:.6f}")))
    value, limit = breach.text.split(" L/min of at most ")
    assert value != limit.removesuffix(" L/min")
    assert f"a filter for at least {math.ceil(q)} L/min" in breach.mend


def test_a_lower_speed_is_offered_only_where_it_helps(scenario: Build) -> None:
    """Low is within 200 L/min, and not within 100; a pump of one speed has no lower one."""
    (high,) = judged(rules.filter_overloaded, scenario(("at_most: 500", "at_most: 200")))
    assert "main low in place of main high, or a filter for" in high.mend
    (both,) = judged(rules.filter_overloaded, scenario(("at_most: 500", "at_most: 100")))
    assert "in place of" not in both.mend
    (one,) = judged(rules.filter_overloaded, scenario(*SHARED, ("at_most: 500", "at_most: 100")))
    assert "in place of" not in one.mend


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


def test_weak_jets_name_the_duty_with_the_fewest_pumps(scenario: Build) -> None:
    """A circulator in a loop of its own gives the jets nothing: it is not named."""
    loop = [
        ("  pumps:\n", "    drain: {pipe: 50 PN10, length: 4 m, zone: soil}\n  pumps:\n"
         "    circulator: {max_head: 4 m, max_flow: 60 L/min, power: 90 W}\n"),
        ("bench, tub]]", "bench, tub], [tub, drain, circulator, tub]]"),
        ("jets: 3, spacing: 400 mm, each: 60 L/min", "jets: 28, spacing: 400 mm, each: 38 L/min"),
    ]  # fmt: skip
    (breach,) = judged(rules.jets_weak, scenario(*loop))
    assert "28 jets on one leg, at best at main high" == breach.cause
    assert breach.text.endswith("which needs 28.5 L/min"), "75 % of 38, as the duty table has it"


def test_jets_behind_a_valve_that_is_always_shut_want_it_turned(scenario: Build) -> None:
    """Fewer jets would be no mend, for no water comes to them; where somebody may open it, it does."""
    shut = ("main, filter, element, bench, tub]]", "main, filter, element, {parallel: [[stop, bench], "
            "spill]}, tub]]\n  valves: {stop: {drop: 0.1 m at 300 L/min, usual: shut}}")  # fmt: skip
    spill = ("  pumps:\n", "    spill: {pipe: 63 PN10, length: 4 m, zone: room}\n  pumps:\n")
    few = ("each: 60 L/min at 6 m", "each: 30 L/min at 0.5 m")
    (breach,) = judged(rules.jets_weak, scenario(shut, spill, few))
    assert breach.cause == "stop shut, as usual and always"
    assert breach.mend.startswith("turn it: with stop open the last jet gets ")
    opened = (shut[0], shut[1].replace("usual: shut", "usual: shut, may_be: open"))
    assert [] == judged(rules.jets_weak, scenario(opened, spill, few))


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


def test_a_source_that_another_pump_starves_gets_a_block_that_can_be_pasted(scenario: Build) -> None:
    """Jets push back against the circulator: the proposed line, pasted into the file, mends it."""
    plant = Assembly(scenario(*APART))
    alone, both = (abs(plant.duty(s).flow_m3_s("element")) for s in (("low", "stopped"), ("low", "on")))
    assert both < alone
    needs = ("needs_flow: 30 L/min", f"needs_flow: {(alone + both) / 2 * 60_000} L/min")
    starved = [*APART, needs, ("flow_switch", "pump_contact")]
    (breach,) = judged(rules.source_underfed, scenario(*starved))
    line = "{block: element, while: jets running, because: too little water}"
    assert f"wire {line}" == breach.mend
    assert [] == judged(
        rules.source_underfed, scenario(*starved, ("interlocks:", f"interlocks:\n  - {line}"))
    )


def test_a_source_that_is_underfed_alone_needs_more_flow_and_no_block(scenario: Build) -> None:
    """Where heating's own speed gives too little, no block of another pump mends anything."""
    starved = [*APART, ("needs_flow: 30 L/min", "needs_flow: 290 L/min"), ("flow_switch", "pump_contact")]
    breaches = judged(rules.source_underfed, scenario(*starved))
    assert {"at main low, which heating asks for", "at main low + jets"} <= {b.cause for b in breaches}
    assert {"main low alone gives it too little: a larger pump or a larger bore"} == {
        b.mend for b in breaches
    }


def test_a_higher_speed_is_offered_to_a_source_only_where_it_can_fire(scenario: Build) -> None:
    """High gives enough; where the element is blocked on high, heating there would never fire."""
    free = ("  - {block: element, while: main high, because: the breaker}\n", "")
    (blocked,) = judged(rules.source_underfed, scenario(SLOW_ELEMENT))
    (mended,) = judged(rules.source_underfed, scenario(SLOW_ELEMENT, free))
    assert "a larger pump or a larger bore" in blocked.mend
    assert "heat at main high, which gives it enough" == mended.mend
    at_high = ("[element], pump: main low", "[element], pump: main high")
    assert [] == judged(rules.source_underfed, scenario(SLOW_ELEMENT, free, at_high))


def test_a_capped_spare_is_never_flushed(scenario: Build) -> None:
    """A dead end is named with what to do about it."""
    spare = ("  pumps:\n", "    spare: {pipe: 50 PN10, length: 4 m, zone: room, dead_end: true}\n  pumps:\n")
    (breach,) = judged(never_flushed, scenario(spare))
    assert "spare" == breach.subject
    assert "capped" in breach.cause


def test_a_leg_behind_a_shut_valve_is_never_flushed(scenario: Build) -> None:
    """A branch whose valve is usually shut sees no flow in any duty of the schedule."""
    built = scenario(
        ("  pumps:\n", "    spout: {pipe: 50 PN10, length: 4 m, zone: room}\n  pumps:\n"),
        ("element, bench, tub]]", "element, {parallel: [bench, [stop, spout]]}, tub]]\n"
         "  valves: {stop: {drop: 0.1 m at 300 L/min, usual: shut}}"),
    )  # fmt: skip
    (breach,) = judged(never_flushed, built)
    assert "spout" == breach.subject


def test_flush_too_short_says_how_long_it_must_be(scenario: Build) -> None:
    """Volumes over flow on the way to the last jet, twice, and the next length that the controller takes."""
    built = scenario(("lasts: 40 s", "lasts: 15 s"))
    (breach,) = judged(flush_too_short, built)
    duty = Assembly(built).duty(("high",))
    area = math.pi / 4 * 0.057**2
    whole, last = duty.flow_m3_s("bench"), duty.flow_m3_s("bench jet 3")
    second = duty.flow_m3_s("bench to jet 2")
    once = (area * 14.0 + 0.014 + 0.002 + 0.002) / whole + area * 0.4 / second + area * 0.4 / last
    assert pytest.approx(15.0 / once) == breach.worst
    assert f"lengthen the flush to 40 s: it needs at least {math.ceil(2 * once)} s" == breach.mend


def test_a_flush_is_told_how_long_its_water_is_in_a_large_body(scenario: Build) -> None:
    """Its volume over the flow that all goes through it; the filter's 14 L take less and are not told."""
    for litres in (60, 2):
        volume = ("volume: 2 L, needs_flow", f"volume: {litres} L, needs_flow")
        built = scenario(("lasts: 40 s", "lasts: 15 s"), volume)
        (breach,) = judged(flush_too_short, built)
        inside_s = litres / 1000.0 / Assembly(built).duty(("high",)).flow_m3_s("suction")
        told = f", {inside_s:.0f} s of it in the {litres} L of element"
        assert ("of it in" in breach.cause) == breach.cause.endswith(told) == (litres == 60)


SPOUT = (
    ("  pumps:\n", "    spout: {pipe: 63 PN10, length: 60 m, zone: room}\n  pumps:\n"),
    ("element, bench, tub]]", "element, {parallel: [bench, spout]}, tub]]"),
)


def test_a_leg_without_jets_is_flushed_to_its_far_end(scenario: Build) -> None:
    """60 m beside the jets that the flush alone moves: volume over flow, and what lies before both."""
    only = ('filter_runs: [{pump: main low, start: ["03:00", "15:00"], lasts: 2 h}]', "filter_runs: []")
    no_heat = ("  heating: {with: [element], pump: main low, keep_at: 36 degC, within: 1 K}\n", "")
    built = scenario(*SPOUT, only, no_heat, ("lasts: 40 s", "lasts: 15 s"))
    (breach,) = judged(flush_too_short, built)
    duty, area = Assembly(built).duty(("high",)), math.pi / 4 * 0.057**2
    whole, spout = duty.flow_m3_s("filter"), duty.flow_m3_s("spout")
    once = (area * 6.0 + 0.014 + 0.002 + 0.002) / whole + area * 60.0 / spout
    assert pytest.approx(15.0 / once) == breach.worst
    assert "to the far end of spout" in breach.cause


def test_a_leg_without_jets_that_others_move_needs_no_flush(scenario: Build) -> None:
    """The same leg, moved by filter runs and heating: 40 s do for the jets."""
    jets_s = Assembly(scenario(*SPOUT)).duty(("high",)).reached_s["bench to jet 3"]
    lasts = f"lasts: {math.ceil(2 * jets_s)} s"
    assert [] == judged(flush_too_short, scenario(*SPOUT, ("lasts: 40 s", lasts)))


def test_a_flush_longer_than_the_controller_takes(scenario: Build) -> None:
    """Where no length that can be keyed in is enough, the mend says so."""
    built = scenario(
        ("lasts: 40 s", "lasts: 5 s"), ("flush_lengths: [15 s, 40 s, 60 s]", "flush_lengths: [5 s]")
    )
    (breach,) = judged(flush_too_short, built)
    assert "more than the controller takes" in breach.mend
    assert "speed" not in breach.mend, "high is the highest"


def test_a_higher_speed_is_offered_to_a_flush_only_where_it_is_enough(scenario: Build) -> None:
    """Low takes longer than any length that the controller offers; high does not, or does as well."""
    plant = Assembly(scenario())
    low_s, high_s = (plant.duty((s,)).reached_s["bench to jet 3"] for s in ("low", "high"))
    offered = math.ceil(2 * high_s)
    assert offered < 2 * low_s
    at_low = ("{pump: main high, start: [\"07:30\", \"19:30\"], lasts: 40 s}",
              "{pump: main low, start: [\"07:30\", \"19:30\"], lasts: 5 s}")  # fmt: skip
    for length, mend in ((offered, f"flush at main high for {offered} s"), (offered - 1, "a larger pump")):
        lengths = ("[15 s, 40 s, 60 s]", f"[5 s, {length} s]")
        (breach,) = judged(flush_too_short, scenario(at_low, lengths))
        assert mend in breach.mend


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


@pytest.mark.parametrize(("clock", "nearest"), [("07:07", "07:00"), ("07:08", "07:15"), ("23:55", "00:00")])
def test_a_start_off_the_steps_is_told_the_nearest(scenario: Build, clock: str, nearest: str) -> None:
    """Steps of 15 min from midnight, also past the end of the day."""
    (breach,) = judged(rules.programme_does_not_fit, scenario(('"07:30"', f'"{clock}"')))
    assert f"move it to {nearest}, the nearest step" == breach.mend


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
    low, high = (abs(Assembly(built).duty((speed,)).flow_m3_s("element")) for speed in ("low", "high"))
    assert low < 150 / 60_000 < high
    assert [] == judged(rules.source_underfed, built)
