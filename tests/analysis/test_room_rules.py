"""Rules of the pump room and the suction side: each with a plant that breaks it and its mended twin."""

import math
from collections.abc import Callable

import pytest

from cyclesim.analysis import room_rules as rules
from cyclesim.analysis.findings import Breach, NotJudged
from cyclesim.analysis.plant_rules import no_independent_limit
from cyclesim.analysis.room_loads import measure_room
from cyclesim.analysis.rules import of_kind
from cyclesim.analysis.suction_side import draws, feeding, least_npsh, measure_suction
from cyclesim.physics.water import G
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme

Build = Callable[..., Scenario]
Changes = tuple[tuple[str, str], ...]
COVERS = "suction: {fittings: 2, open_area: 180 cm2, one_can_be_shut: false}"
ROOM = "{below_ground: true, drain: true, weather_tight: true, distance: 6 m, free_space: 700 mm}"
HEIGHT, NEED = "above_water: -300 mm", "npsh_needed: 2.5 m"
VALVE = ("tub, suction, main,", "tub, suction, main, stop,")
STOP = "\n  valves: {stop: {drop: 0.1 m at 300 L/min, usual: open, may_be: [open, shut]}}"
PRIMES = ("      changeover", "      self_priming: true\n      check_valve: true\n      changeover")
LAST = ("bench, tub]]", "bench, tub]]" + STOP)


def judged(rule: Callable[..., object], built: Scenario) -> list[Breach | NotJudged]:
    """What a rule says of a scenario."""
    return list(rule(Assembly(built), Programme(built)))  # type: ignore[call-overload]


def broken(built: Scenario) -> set[tuple[str, str, str]]:
    """Rule, subject and cause of everything that the drawing breaks."""
    plant, programme = Assembly(built), Programme(built)
    rows = [
        (rule.id, judged) for rule in of_kind("plant").values() for judged in rule.judge(plant, programme)
    ]
    return {(rule, one.subject, one.cause) for rule, one in rows if isinstance(one, Breach)}


def two_legs(left: str, right: str) -> Changes:
    """The plant with two suction legs side by side, a valve before nothing but the right one."""
    leg = "    {}: {{pipe: 63 PN10, length: 6 m, zone: soil, suction: {}}}\n"
    return (
        ("    suction: {pipe: 63 PN10, length: 6 m, zone: soil,\n              " + COVERS + "}\n",
         leg.format("left", left) + leg.format("right", right)),
        ("tub, suction, main,", "tub, {parallel: [left, [right, stop]]}, main,"),
        LAST,
    )  # fmt: skip


ONE = "{fittings: 1, open_area: 250 cm2}"
TWO = COVERS.removeprefix("suction: ")
TWINS: list[tuple[str, str, Changes, Changes, str]] = [
    (
        "single-suction",
        "main",
        ((COVERS, "suction: {fittings: 1, open_area: 180 cm2}"),),
        (),
        "one suction fitting feeds it",
    ),
    (
        "single-suction",
        "main",
        ((COVERS, COVERS.replace("false", "true")),),
        ((COVERS, COVERS.replace("false", "true").replace("fittings: 2", "fittings: 3")),),
        "a valve can shut off one of its 2 suction fittings",
    ),
    (
        "single-suction",
        "main",
        two_legs(ONE, ONE),
        two_legs(TWO, ONE),
        "with stop shut, one suction fitting feeds it",
    ),
    (
        "single-suction",
        "main",
        (("open_area: 180 cm2", "open_area: 60 cm2"),),
        (),
        "with one of 2 suction fittings blocked the others take",
    ),
    (
        "pump-cavitates",
        "main",
        ((HEIGHT, "above_water: 6 m"), (NEED, "npsh_needed: 4 m"), PRIMES),
        ((HEIGHT, "above_water: 1 m"), (NEED, "npsh_needed: 4 m"), PRIMES),
        "at main high, its inlet 6 m above the water",
    ),
    (
        "pump-loses-prime",
        "main",
        ((HEIGHT, "above_water: 300 mm"), (PRIMES[0], PRIMES[1].replace("true", "false"))),
        ((HEIGHT, "above_water: 300 mm"), PRIMES),
        "it is not self-priming and no check valve keeps its pipes full",
    ),
    (
        "pump-against-shut-valve",
        "main",
        (VALVE, LAST),
        (VALVE, ("bench, tub]]", "bench, tub]]" + STOP.replace(", may_be: [open, shut]", ""))),
        "against stop shut, at main high (line flush)",
    ),
    (
        "room-floods",
        "pump_room",
        ((ROOM, ROOM.replace("drain: true", "drain: false")),),
        (),
        "it lies below ground without a drain: a leak fills it, and its electrics stand in water",
    ),
    (
        "room-floods",
        "pump_room",
        ((ROOM, ROOM.replace("tight: true", "tight: false")),),
        (),
        "rain and spray reach its electrics",
    ),
    (
        "no-room-to-work",
        "pump_room",
        ((ROOM, ROOM.replace("700 mm", "400 mm")),),
        (),
        "too narrow before filter and valves",
    ),
]


STANDS = "left-without-flush"


@pytest.mark.parametrize(
    ("rule", "subject", "unsafe", "mended", "cause"), TWINS, ids=[f"{t[0]}: {t[4][:40]}" for t in TWINS]
)
def test_an_unsafe_plant_and_its_mended_twin_differ_by_that_finding(
    scenario: Build, rule: str, subject: str, unsafe: Changes, mended: Changes, cause: str
) -> None:
    """The mended plant breaks nothing; the unsafe one breaks this rule, for this cause, and no other.

    A valve that may be left shut leaves the water behind it too, which is another rule's business.
    """
    apart = {row for row in broken(scenario(*unsafe)) | broken(scenario(*mended)) if row[0] != STANDS}
    assert set() == {row for row in broken(scenario(*mended)) if row[0] != STANDS}
    ((found, whom, why),) = apart
    assert (rule, subject) == (found, whom)
    assert why.startswith(cause)


UNSAID = [
    (
        rules.single_suction,
        (f",\n              {COVERS}", ""),
        "the file does not describe the suction fittings of suction, which feeds main",
    ),
    (rules.pump_cavitates, (f"      {HEIGHT}\n", ""), "main has no above_water"),
    (rules.pump_cavitates, (f"      {NEED}\n", ""), "main has no npsh_needed"),
    (
        rules.single_suction,
        (COVERS, COVERS.replace(", one_can_be_shut: false", "")),
        "the file does not say of the fittings of suction, which feed main: one_can_be_shut",
    ),
    (rules.pump_loses_prime, (f"      {HEIGHT}\n", ""), "main has no above_water"),
    (
        rules.pump_loses_prime,
        (HEIGHT, "above_water: 300 mm"),
        "the file does not say of main: self_priming, check_valve",
    ),
    (
        rules.pump_loses_prime,
        (HEIGHT, "above_water: 300 mm\n      self_priming: true"),
        "the file does not say of main: check_valve",
    ),
    (
        no_independent_limit,
        (", limit_sensor: own", ""),
        "the file does not say of element: limit_sensor",
    ),
    (
        rules.room_floods,
        (f"  pump_room: {ROOM}\n", ""),
        "the file does not say of the pump room: below_ground, weather_tight",
    ),
    (rules.room_floods, ("drain: true, ", ""), "the file does not say of the pump room: drain"),
    (
        rules.no_room_to_work,
        (", free_space: 700 mm", ""),
        "the file does not say of the pump room: free_space",
    ),
]


@pytest.mark.parametrize(("rule", "change", "why"), UNSAID)
def test_what_the_file_does_not_say_is_not_judged(
    scenario: Build, rule: Callable[..., object], change: tuple[str, str], why: str
) -> None:
    """The reason is told, and no breach is made up."""
    assert [NotJudged(why)] == judged(rule, scenario(change))


def test_a_room_above_ground_needs_no_drain(scenario: Build) -> None:
    """Whether it has one is then no matter."""
    above = (ROOM, "{below_ground: false, weather_tight: true, free_space: 700 mm}")
    assert [] == judged(rules.room_floods, scenario(above))


def test_covers_are_named_that_are_open_enough(scenario: Build) -> None:
    """All the flow through one of two covers, by hand; the named area is sound, 1 cm2 less is not."""
    (breach,) = judged(rules.single_suction, scenario(("180 cm2", "60 cm2")))
    q = Assembly(scenario()).duty(("high",)).flow_m3_s("main")
    assert pytest.approx(q / 60e-4) == breach.worst
    named = int(breach.mend.split("at least ")[1].split(" cm2")[0])
    assert math.ceil(1e4 * q / 0.5) == named
    for area, findings in ((named, 0), (named - 1, 1)):
        assert findings == len(judged(rules.single_suction, scenario(("180 cm2", f"{area} cm2"))))
    like = int(breach.mend.split(" or ")[1].split(" fittings")[0])
    for count, findings in ((like, 0), (like - 1, 1)):
        many = (COVERS, COVERS.replace("fittings: 2", f"fittings: {count}").replace("180", "60"))
        assert findings == len(judged(rules.single_suction, scenario(many)))


def test_a_suction_leg_is_followed_against_the_flow(scenario: Build) -> None:
    """Through a split to both legs, not to the jets; with the valve shut only to the other one."""
    built = scenario(*two_legs(TWO, ONE))
    plant = Assembly(built)
    assert ["left", "right"] == feeding(plant, "main", plant.duty(("low",)))
    assert ["left"] == feeding(plant, "main", plant.duty(("low",), ("shut",)))
    assert [] == feeding(plant, "main", plant.duty(("stopped",)))
    both, alone = (
        next(d for d in draws(plant, "main")[0] if d.duty.name.startswith(name) and len(d.covers) == covers)
        for name, covers in (("main high", 2), ("main high with", 1))
    )
    assert (3, 2) == (both.fittings, alone.fittings)
    # three covers of 180, 180 and 250 cm2, the largest of them blocked
    assert pytest.approx(both.flow_m3_s / 0.036) == both.speed_m_s


def test_two_pumps_on_one_leg_count_together(scenario: Build) -> None:
    """What a cover must carry is the flow of both, whichever pump is judged."""
    shared = (
        ("changeover: 2 s", "changeover: 2 s\n      check_valve: true\n    jets: {max_head: 14 m, "
         "max_flow: 500 L/min, power: 1 kW, check_valve: true, above_water: -1 m, npsh_needed: 2 m}"),
        ("suction, main, filter", "suction, {parallel: [main, jets]}, filter"),
    )  # fmt: skip
    plant = Assembly(scenario(*shared))
    both = plant.duty(("high", "on"))
    (draw,) = (d for d in draws(plant, "jets")[0] if d.duty is both)
    assert pytest.approx(both.flow_m3_s("main") + both.flow_m3_s("jets")) == draw.flow_m3_s
    assert draw.flow_m3_s > plant.duty(("high", "stopped")).flow_m3_s("suction")


def test_npsh_is_worked_out_from_the_suction_pipe(scenario: Build) -> None:
    """By hand at high: 6 m of 57 mm pipe cost Darcy's loss; 36 degC water boils at 5.95 kPa (IAPWS-IF97)."""
    from iapws import IAPWS97

    plant = Assembly(scenario())
    found = least_npsh(plant, Programme(plant.scenario), "main")
    assert found is not None
    speed = plant.duty(("high",)).flow_m3_s("main") / (math.pi / 4 * 0.057**2)
    lost_m = (
        0.0178 * 6.0 / 0.057 * speed**2 / (2 * G)
    )  # 0.0178: Moody's chart, smooth, Re 2 to 2.5e5, +/-10 %
    water = IAPWS97(T=309.15, P=0.101325)
    by_hand_m = (101_325 - IAPWS97(T=309.15, x=0).P * 1e6) / (water.rho * G) + 0.3 - lost_m
    assert ("main high", pytest.approx(by_hand_m, abs=0.05)) == (found[1].name, found[0])


def test_npsh_counts_the_height_of_the_place_and_the_warmest_plan(scenario: Build) -> None:
    """1500 m take 1.7 m of air (84.56 kPa, ISO 2533, from memory); 40 degC take 0.15 m more than 36."""
    here = Assembly(scenario())
    high = Assembly(scenario(("  year: 2027", "  year: 2027\n  altitude: 1500 m")))
    warm = Assembly(
        scenario(("within: 1 K}", "within: 1 K, plan: [{from: 18:00, until: 22:00, keep_at: 40 degC}]}"))
    )
    left = [least_npsh(p, Programme(p.scenario), "main") for p in (here, high, warm)]
    sea, mountain, hot = (one[0] for one in left if one is not None)
    assert pytest.approx((101_325 - 84_556) / (993.7 * G), abs=0.01) == sea - mountain
    assert pytest.approx((7385 - 5947) / (993 * G), abs=0.02) == sea - hot


def test_lowering_a_pump_by_what_the_mend_says_is_enough(scenario: Build) -> None:
    """At the named height it is sound, a decimetre above it is not."""
    high = ((HEIGHT, "above_water: 6 m"), (NEED, "npsh_needed: 4 m"))
    (breach,) = judged(rules.pump_cavitates, scenario(*high))
    assert "at least" in breach.mend
    lower = float(breach.mend.split("at least ")[1].split(" m ")[0])
    for less, findings in ((lower, 0), (lower - 0.1, 1)):
        moved = ((HEIGHT, f"above_water: {6 - less:.1f} m"), high[1])
        assert findings == len(judged(rules.pump_cavitates, scenario(*moved)))


@pytest.mark.parametrize(
    ("changes", "causes"),
    [
        ((PRIMES,), []),
        (((PRIMES[0], PRIMES[1].replace("check_valve: true", "check_valve: false")),),
         ["no check valve keeps its pipes full"]),
        (((PRIMES[0], PRIMES[1].replace("priming: true", "priming: false")),), ["it is not self-priming"]),
        ((("      changeover", "      self_priming: true\n      changeover"),
          ("tub, suction, main,", "tub, suction, foot, main,"),
          ("bench, tub]]", "bench, tub]]\n  check_valves: {foot: {drop: 0.2 m at 400 L/min}}")), []),
        ((("      changeover", "      self_priming: true\n      changeover"),
          ("main, filter,", "main, behind, filter,"),
          ("bench, tub]]", "bench, tub]]\n  check_valves: {behind: {drop: 0.2 m at 400 L/min}}")), []),
    ],
)  # fmt: skip
def test_a_pump_above_the_water_needs_both(scenario: Build, changes: Changes, causes: list[str]) -> None:
    """Priming by itself, and a check valve: its own, before it or behind it."""
    built = scenario((HEIGHT, "above_water: 0.5 m"), *changes)
    assert causes == [b.cause for b in judged(rules.pump_loses_prime, built) if isinstance(b, Breach)]


def test_a_bypass_mends_a_shut_valve(scenario: Build) -> None:
    """A branch past the valve carries the flow; beside a valve that is usually shut nothing else does."""
    past = (
        ("    bench: {pipe", "    past: {pipe: 32 PN10, length: 1 m, zone: room}\n    bench: {pipe"),
        ("tub, suction, main,", "tub, suction, main, {parallel: [stop, past]},"),
        LAST,
    )
    assert [] == judged(rules.pump_against_shut_valve, scenario(*past))
    shut = (VALVE, ("bench, tub]]", "bench, tub]]" + STOP.replace("open, may_be: [open, shut]", "shut")))
    breaches = judged(rules.pump_against_shut_valve, scenario(*shut))
    assert ["against stop shut, at main high (line flush)"] == [b.cause for b in breaches]
    assert "pressure switch is no mend" in breaches[0].mend


def test_two_valves_that_must_both_be_shut_are_named_together(scenario: Build) -> None:
    """Either branch alone carries the flow; a third valve that does not matter is not named."""
    built = scenario(
        ("tub, suction, main,", "tub, suction, main, {parallel: [one, two]}, {parallel: [element, three]},"),
        ("filter, element, bench, tub]]", "filter, bench, tub]]\n  valves:\n" + "".join(
            f"    {name}: {{drop: 0.1 m at 300 L/min, usual: open, may_be: [shut]}}\n"
            for name in ("one", "two", "three"))),
    )  # fmt: skip
    breaches = judged(rules.pump_against_shut_valve, built)
    assert ["against one shut and two shut, at main high (line flush)"] == [b.cause for b in breaches]
    assert pytest.approx(0.0, abs=1e-3) == breaches[0].worst


def test_what_is_measured_is_what_the_rules_judge(scenario: Build) -> None:
    """One row per pump and the room's facts; None where the file says nothing."""
    plant = Assembly(scenario())
    row = measure_suction(plant, Programme(plant.scenario))["main"]
    q = plant.duty(("high",)).flow_m3_s("main")
    assert (-0.3, 2.5, 2, "main high") == (
        row.above_water_m, row.npsh_needed_m, row.suction_fittings_always_open, row.npsh_worst_at,
    )  # fmt: skip
    assert pytest.approx(q / 180e-4) == row.cover_speed_one_blocked_m_s
    room = measure_room(plant)
    assert room is not None
    assert (True, True, True, 6.0, 0.7) == (
        room.below_ground, room.drain, room.weather_tight, room.distance_m, room.free_space_m,
    )  # fmt: skip
    bare = Assembly(
        scenario(
            (f"  pump_room: {ROOM}\n", ""), (f",\n              {COVERS}", ""), (f"      {HEIGHT}\n", "")
        )
    )
    row = measure_suction(bare, Programme(bare.scenario))["main"]
    assert (None, None, None, None) == (
        row.above_water_m, row.npsh_available_m, row.suction_fittings_always_open,
        row.cover_speed_one_blocked_m_s,
    )  # fmt: skip
    assert measure_room(bare) is None
    lone = Assembly(scenario((COVERS, "suction: {fittings: 1, open_area: 180 cm2}")))
    row = measure_suction(lone, Programme(lone.scenario))["main"]
    assert (1, None) == (row.suction_fittings_always_open, row.cover_speed_one_blocked_m_s)
