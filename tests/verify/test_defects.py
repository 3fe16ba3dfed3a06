"""Pairs of schedules: one with one planted defect, its mended twin without.

By design each defect undoes what its rule asks for by common practice (flow proven before
heat, break before make, a level switch, the sum of currents below the breaker's rating).
"""

from typing import NamedTuple

import pytest

from cyclesim.verification.verifier import verify

PROOF = ("  - {block: element, unless: flow proven, for: 5 s}\n", "")
MAY_SHUT = ("usual: open}}", "usual: open, may_be: shut}}")
HIGH_BLOCK = ("  - {block: element, while: main high, because: the breaker}\n", "")
OWN_THERMOSTAT = (
    "also_started_by: [{thermostat: {watches: room, starts_below: 8 degC, stops_above: 10 degC}}]"
)
STARTED = ("high_limit: 60 degC, zone: room}", f"high_limit: 60 degC, zone: room, {OWN_THERMOSTAT}}}")
OWN_SWITCH = (
    "high_limit: 60 degC, zone: room}",
    f"high_limit: 60 degC, zone: room, own_flow_switch: 6 s, {OWN_THERMOSTAT}}}",
)
OWN_CLOCK = 'also_started_by: [{clock: {start: "09:00", lasts: 6 h}}]'
WIDE = ("breaker: 20 A", "breaker: 32 A")  # past the controller, no block sheds it for the jets
LOW_WATER = ("  heating: {with", "  low_water: [{from: 2027-03-01 12:00, lasts: 2 h}]\n  heating: {with")
LEVEL = ("    water: 1500 L", "    water: 1500 L\n    level_switch: true")
PUMP_STARTED = (
    "      rest: 75 s",
    "      rest: 75 s\n      also_started_by: [{speed: low, thermostat: "
    "{watches: room, starts_below: 3 degC, stops_above: 5 degC}}]",
)
LOCKED = ("changeover: 2 s", "changeover: 2 s\n      contactors_lock: true")
LEG = "    return: {pipe: 63 PN10, length: 8 m, zone: soil}\n"
OTHER_LOOP = [
    (LEG, f"{LEG}    drain: {{pipe: 63 PN10, length: 6 m, zone: soil}}\n"),
    (
        "  equipment:",
        "    jets: {max_head: 9 m, max_flow: 300 L/min, power: 600 W, current: 1 A}\n  equipment:",
    ),
    ("return, tub]]", "return, tub], [tub, drain, jets, tub]]"),
    ("  filter_runs: [", '  filter_runs: [{pump: jets, start: "09:00", lasts: 5 h}, '),
    WIDE,
]
"""A second loop, which meets the first in the tub alone."""
RANKS = "ranks: [line_flush, bathing, frost_protection, heating, filter_run]"


def proof(by):
    """Another means of proof."""
    return ("proof: {by: flow_switch}", f"proof: {{by: {by}}}")


def bathing(line, more=""):
    """One entry of bathing."""
    return ("  heating: {with", f"  bathing: [{line}]\n{more}  heating: {{with")


def drawn(first, last):
    """Sessions drawn between two times."""
    return bathing(
        f'{{drawn: {{per_week: 3, between: ["{first}", "{last}"], lasts: [20 min, 40 min], people: [1, 3]}}}}'
    )


def treatment(kind, rest):
    """A treatment device in the filter."""
    return (
        "  valves: {stop",
        f"  treatment: {{device: {{kind: {kind}, in: filter, needs_flow: 60 L/min, power: 40 W, {rest}}}}}\n"
        "  valves: {stop",
    )


def device_block(for_="5 s"):
    """Its flow proven first."""
    return (
        "interlocks:\n",
        f"interlocks:\n  - {{block: device, unless: flow proven, for: {for_}}}\n",
    )


BLOWER = (
    "  valves: {stop",
    "  air: {blower: {delivers: 30 m3/h, power: 900 W, pipe: 32 PN10, length: 4 m, "
    "outlets_below_water: 500 mm, wet_length: 1 m, zone: room}}\n  valves: {stop",
)


def blower_clock(start: str) -> tuple[str, str]:
    """The blower with a clock of its own, for a minute."""
    clock = f'also_started_by: [{{clock: {{start: "{start}", lasts: 60 s}}}}]'
    return BLOWER[0], BLOWER[1].replace("zone: room}}", f"zone: room, {clock}}}}}")


class Pair(NamedTuple):
    rule: str
    subject: str
    defect: list
    twin: list


PAIRS = {
    "no proof of flow is wired": Pair("heat-without-flow", "element", [PROOF], []),
    "a pump contact against a valve left shut": Pair(
        "heat-without-flow", "element", [proof("pump_contact"), MAY_SHUT], [MAY_SHUT]
    ),
    "a pressure switch against a valve left shut": Pair(
        "heat-without-flow", "element", [proof("pressure_switch"), MAY_SHUT], [MAY_SHUT]
    ),
    "a rise of temperature comes too late": Pair(
        "heat-without-flow", "element", [proof("temperature_rise")], [proof("flow_switch")]
    ),
    "its own thermostat starts it past the controller": Pair(
        "heat-without-flow", "element", [STARTED, WIDE], [OWN_SWITCH, WIDE]
    ),
    "the flow is proven for too short": Pair(
        "heat-before-proof", "element", [("for: 5 s}", "for: 2 s}")], [("for: 5 s}", "for: 6 s}")]
    ),
    "it fires with its pump": Pair(
        "heat-before-proof", "element", [proof("pump_contact"), ("for: 5 s}", "for: 1 s}")], []
    ),
    "slow contactors": Pair(
        "both-speeds-at-once",
        "main",
        [("changeover: 2 s", "changeover: 2 s\n      opens_within: 3 s")],
        [("changeover: 2 s", "changeover: 4 s\n      opens_within: 3 s")],
    ),
    "a changeover of no time": Pair(
        "both-speeds-at-once",
        "main",
        [("changeover: 2 s", "changeover: 0 s")],
        [("changeover: 2 s", "changeover: 1 s")],
    ),
    "a changeover no longer than its contacts": Pair(
        "both-speeds-at-once",
        "main",
        [("changeover: 2 s", "changeover: 1 s\n      opens_within: 1 s")],
        [("changeover: 2 s", "changeover: 1 s\n      opens_within: 0.5 s")],
    ),
    "a second speed started past the controller": Pair(
        "both-speeds-at-once", "main", [PUMP_STARTED, WIDE], [PUMP_STARTED, WIDE, LOCKED]
    ),
    "a changeover of no time without a lock": Pair(
        "both-speeds-at-once",
        "main",
        [("changeover: 2 s", "changeover: 0 s")],
        [("changeover: 2 s", "changeover: 0 s\n      contactors_lock: true")],
    ),
    "a flow switch in another loop": Pair(
        "heat-without-flow",
        "element",
        [*OTHER_LOOP, proof("flow_switch, in: drain")],
        [*OTHER_LOOP, proof("flow_switch, in: element")],
    ),
    "low started past the controller": Pair("both-speeds-at-once", "main", [PUMP_STARTED], []),
    "a flush that outranks bathing": Pair(
        "flush-onto-people",
        "line flush",
        [bathing('{start: "19:00", lasts: 1 h, pump: main low}', f"  {RANKS}\n")],
        [bathing('{start: "19:00", lasts: 1 h, pump: main low}')],
    ),
    "a flush in still bathing": Pair(
        "flush-onto-people",
        "line flush",
        [bathing('{start: "19:00", lasts: 1 h}')],
        [bathing('{start: "18:00", lasts: 1 h}')],
    ),
    "air through the lines while people bathe": Pair(
        "flush-onto-people",
        "air line flush",
        [BLOWER, WIDE,
         bathing('{start: "14:00", lasts: 1 h}', '  air_line_flushes: [{start: "14:30", lasts: 60 s}]\n')],
        [BLOWER, WIDE,
         bathing('{start: "14:00", lasts: 1 h}', '  air_line_flushes: [{start: "16:30", lasts: 60 s}]\n')],
    ),
    "air by a clock of the blower's own while people bathe": Pair(
        "air-onto-people",
        "blower",
        [blower_clock("14:30"), WIDE, bathing('{start: "14:00", lasts: 1 h}')],
        [blower_clock("16:30"), WIDE, bathing('{start: "14:00", lasts: 1 h}')],
    ),
    "air by a clock of the blower's own that their session asks for": Pair(
        "air-onto-people",
        "blower",
        [blower_clock("14:30"), WIDE, bathing('{start: "14:00", lasts: 1 h, air: true, air_at_most: 9 min}')],
        [blower_clock("14:30"), WIDE, bathing('{start: "14:00", lasts: 1 h, air: true}')],
    ),
    "a flush in a window of drawn sessions": Pair(
        "flush-onto-people",
        "line flush",
        [drawn("17:00", "20:00")],
        [drawn("16:00", "18:00")],
    ),
    "no level switch": Pair("dry-running", "main", [LOW_WATER], [LOW_WATER, LEVEL]),
    "a contactor slower than the level switch": Pair(
        "dry-running",
        "main",
        [LOW_WATER, LEVEL, ("changeover: 2 s", "changeover: 4 s\n      opens_within: 2 s")],
        [LOW_WATER, LEVEL, ("changeover: 2 s", "changeover: 4 s")],
    ),
    "started past the level switch": Pair(
        "dry-running", "main", [LOW_WATER, LEVEL, PUMP_STARTED], [LOW_WATER, LEVEL]
    ),
    "dosing with a pump whose valve is shut": Pair(
        "dosing-without-flow",
        "device",
        [treatment("dosing", "proof: {by: none}, with: main"), MAY_SHUT],
        [treatment("dosing", "proof: {by: flow_switch}, with: main"), MAY_SHUT, device_block()],
    ),
    "ozone by the clock": Pair(
        "gas-without-flow",
        "device",
        [treatment("ozone", 'proof: {by: none}, runs: [{start: "10:00", lasts: 6 h}]')],
        [treatment("ozone", "proof: {by: none}, with: main")],
    ),
    "a salt cell on a clock of its own": Pair(
        "gas-without-flow",
        "device",
        [treatment("salt_cell", f"proof: {{by: none}}, {OWN_CLOCK}")],
        [
            treatment(
                "salt_cell",
                f"proof: {{by: none}}, own_flow_switch: 5 s, {OWN_CLOCK}",
            )
        ],
    ),
    "a lamp by the clock": Pair(
        "lamp-without-flow",
        "device",
        [treatment("uv", 'proof: {by: none}, runs: [{start: "02:00", lasts: 4 h}]')],
        [treatment("uv", 'proof: {by: flow_switch}, runs: [{start: "02:00", lasts: 4 h}]'), device_block()],
    ),
    "no block for the breaker": Pair("supply-overload", "supply", [HIGH_BLOCK], []),
    "a hand switch left in hand": Pair(
        "heat-without-flow",
        "element",
        [("high_limit: 60 degC, zone: room}",
          "high_limit: 60 degC, zone: room, also_started_by: [{hand_switch: "
          "[{from: 2027-03-01 12:00, lasts: 2 h, to: hand}]}]}")],
        [("high_limit: 60 degC, zone: room}",
          "high_limit: 60 degC, zone: room, also_started_by: [{hand_switch: []}]}")],
    ),
}  # fmt: skip
EACH = pytest.mark.parametrize("pair", PAIRS.values(), ids=PAIRS)


def test_there_are_enough():
    """At least sixteen, over every rule of one instant."""
    assert 16 <= len(PAIRS)
    assert 10 == len({pair.rule for pair in PAIRS.values()})


@EACH
def test_a_defect_is_found_under_its_rule(build, pair):
    """The rule, its subject, and a story that the engine has replayed."""
    found = verify(build(*pair.defect), rule=pair.rule)
    (verdict,) = [v for v in found.verdicts if (v.rule, v.subject) == (pair.rule, pair.subject)]
    assert verdict.broken, verdict
    assert "by the engine" == verdict.story.replayed
    assert len(verdict.story.steps) >= 2


@EACH
def test_its_twin_is_not_accused(build, pair):
    """No rule at all is broken, nor said to be possible."""
    found = verify(build(*pair.twin))
    assert [] == [(v.rule, v.subject, v.why) for v in found.verdicts if v.broken or v.story]
