"""What values of dimensions come to, and what is on and moves then, each by hand for the small plant."""

import pytest

from cyclesim.control.step import LEVEL_LOW
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.verification.cone import Cone, cone_of
from cyclesim.verification.environment import Dim, Value
from cyclesim.verification.faults import faults_of
from cyclesim.verification.flows import Flows

STOVE = (
    "  valves: {stop: {drop: 0.1 m at 300 L/min, usual: open}}\n"
    "  network: [[tub, suction, main, filter, element, stop, return, tub]]\n",
    "    stove: {kind: wood, output: 3 kW, drop: 0.3 m at 400 L/min, volume: 2 L, needs_flow: 60 L/min,\n"
    "            zone: room, burns: [{start: '17:00', lasts: 2 h}]}\n"
    "  valves: {stop: {drop: 0.1 m at 300 L/min, usual: open, may_be: shut}}\n"
    "  network: [[tub, suction, main, filter, element, stove, stop, return, tub]]\n",
)
AT_REST, ON_LOW, ON_HIGH = (0, 0), (1, 0), (2, 0)
"""States of the pump and of the element, by their numbers."""


def of(build, *changes, faults=(), extra=()):
    """The wiring of all machines, beside which a demand, a valve, people, a stove and a window may change."""
    plant, programme = Assembly(build(*changes)), Programme(build(*changes))
    cone: Cone = cone_of(plant, programme, (), whole=True)
    bit = cone.controller.bit
    dims = (
        Dim.free("demand", [Value("rests"), Value("filters", bit("filter run.raised"))]),
        Dim.free("valve stop", [Value("is open", position="open"), Value("is shut", position="shut")]),
        Dim.free("people", [Value("nobody"), Value("they bathe", people=True)]),
        Dim.free("stove", [Value("is cold"), Value("is hot", hot="stove")]),
        Dim.free("window", [Value("shut"), Value("open", windows=frozenset({"evening"}))]),
        Dim.free("water", [Value("high enough"), Value("too low", bit(LEVEL_LOW))]),
    )
    found = {f.kind: f for f in faults_of(plant, programme)}
    return Flows(plant, cone, dims, extra, frozenset(found.get(f, f) for f in faults)), bit


NOTHING = (0, 0, 0, 0, 0, 0)


@pytest.mark.parametrize(
    ("env", "names", "others"),
    [
        (NOTHING, (), (False, ("open",), "", "")),
        ((1, 0, 0, 0, 0, 0), ("filter run.raised",), (False, ("open",), "", "")),
        ((0, 1, 0, 0, 0, 0), (), (False, ("shut",), "", "")),
        ((0, 0, 1, 0, 0, 0), (), (True, ("open",), "", "")),
        ((0, 0, 0, 1, 0, 0), (), (False, ("open",), "stove", "")),
        ((0, 0, 0, 0, 1, 0), (), (False, ("open",), "", "evening")),
        ((0, 0, 0, 0, 0, 1), (LEVEL_LOW,), (False, ("open",), "", "")),
        ((1, 1, 1, 1, 1, 1), ("filter run.raised", LEVEL_LOW), (True, ("shut",), "stove", "evening")),
    ],
)
@pytest.mark.parametrize("fault", [None, "no start", "level low"])
def test_what_the_values_come_to(build, env, names, others, fault) -> None:
    """Their facts together, and what else they mean; water that falls by a fault is low whatever they say."""
    flows, bit = of(build, STOVE, faults=[fault] if fault else ())
    due = {*names, *([LEVEL_LOW] if fault == "level low" else [])}
    people, positions, hot, window = others
    around = flows.around(env)
    assert sum(bit(name) for name in due) == around.mask
    assert (people, positions, LEVEL_LOW in due) == (around.people, around.positions, around.low)
    assert {hot} - {""} == around.hot
    assert {window} - {""} == around.windows
    assert flows.around(env) is around, "worked out once"


ELEMENT, WOOD = 1, 2
"""The bits of the two devices, the one that nobody switches behind."""
SHUT, LOW = (0, 1, 0, 0, 0, 0), (0, 0, 0, 0, 0, 1)


@pytest.mark.parametrize(
    ("fault", "state", "env", "contacts", "levels", "enough", "still"),
    [
        (None, AT_REST, NOTHING, (), 0, 0, ELEMENT | WOOD),
        (None, ON_LOW, NOTHING, (1,), 1, ELEMENT | WOOD, 0),
        (None, ON_HIGH, NOTHING, (2,), 2, ELEMENT | WOOD, 0),
        (None, ON_LOW, SHUT, (1,), 1, 0, ELEMENT | WOOD),
        (None, ON_LOW, LOW, (1,), 1, 0, ELEMENT | WOOD),
        ("level low", ON_LOW, NOTHING, (1,), 1, 0, ELEMENT | WOOD),
        ("valve shut", ON_LOW, NOTHING, (1,), 1, 0, ELEMENT | WOOD),
        ("no start", ON_LOW, NOTHING, (1,), 0, 0, ELEMENT | WOOD),
        ("sensor", ON_LOW, NOTHING, (1,), 1, ELEMENT | WOOD, 0),
    ],
)
def test_what_is_on_and_moves(build, fault, state, env, contacts, levels, enough, still) -> None:
    """Of both devices, also the one that the controller does not know, by contacts and what is around."""
    flows, _ = of(build, STOVE, faults=[fault] if fault else (), extra=["stove"])
    assert ("element", "stove") == flows.devices
    on = flows.effect(state, env, 0)
    assert ((contacts,), (levels,), (False,)) == (on.contacts, on.levels, on.on)
    assert (enough, still) == (on.water.enough, on.water.still)


def test_contacts_that_are_welded_are_closed_at_rest(build) -> None:
    """Each by its own place; what the plant feeds back is around it, too."""
    plant, programme = Assembly(build()), Programme(build())
    welds = {f.subject: f for f in faults_of(plant, programme) if f.kind == "welded"}
    for subject, contacts, on in (
        ("main/low", (1,), False),
        ("main/high", (2,), False),
        ("element/on", (), True),
    ):
        flows, bit = of(build, STOVE, faults=[welds[subject]])
        effect = flows.effect(AT_REST, NOTHING, 0)
        assert ((contacts,), (on,)) == (effect.contacts, effect.on)
        assert 0 == flows.effect(AT_REST, NOTHING, bit("power.lost")).levels[0]


def test_effects_from_which_the_same_follows_share_a_number(build) -> None:
    """Water that stands behind a shut valve or for want of water is alike; a pump at rest is not."""
    flows, _ = of(build, STOVE, extra=["stove"])
    low, shut, dry, rest = (
        flows.felt(flows.effect(state, env, 0))
        for state, env in ((ON_LOW, NOTHING), (ON_LOW, SHUT), (ON_LOW, LOW), (AT_REST, NOTHING))
    )
    assert shut == dry
    assert 3 == len({low, shut, rest})
    assert low == flows.felt(flows.effect(ON_LOW, (0, 0, 1, 0, 0, 0), 0)), "people move no water"


def test_a_pump_that_still_turns_moves_water(build) -> None:
    """By the valves and the water around it, with its contact open or not."""
    flows, _ = of(build, STOVE, extra=["stove"])
    rest = flows.effect(AT_REST, NOTHING, 0)
    for env, enough in ((NOTHING, ELEMENT | WOOD), (SHUT, 0), (LOW, 0)):
        assert enough == flows.coasted(rest, [1], flows.around(env)).enough
    assert 0 == flows.coasted(rest, [0], flows.around(NOTHING)).enough


def test_a_contact_proves_nothing_of_a_pump_that_still_turns(build) -> None:
    """It is open then, whatever the water does."""
    flows, bit = of(build, STOVE, ("proof: {by: flow_switch}", "proof: {by: pump_contact}"))
    around = flows.around(NOTHING)
    for state, sensed in ((AT_REST, 0), (ON_LOW, bit("flow.element.sensed"))):
        water = flows.coasted(flows.effect(state, NOTHING, 0), [1], around)
        assert (ELEMENT, sensed) == (water.enough, water.sensed)
