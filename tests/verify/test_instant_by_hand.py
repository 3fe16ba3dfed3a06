"""One instant of the search, part by part: what ends, stops and starts, and what that does to the order.

Expected values are reasoned from what each part says it does; there is no source outside. The plant has two
devices, each with an own flow switch, and contacts of main and element that open late.
"""

from itertools import combinations

import pytest

from cyclesim.verification.automaton import Automaton
from cyclesim.verification.faults import PlantFault
from cyclesim.verification.instant import Move, Node
from tests.verify.test_instant import NO_LIMIT, OZONE, PLANTS, automaton_of, came, ended, truth_of

TWO = [
    ("proof: {by: flow_switch}", "proof: {by: flow_switch}, own_flow_switch: 6 s, opens_within: 1 s"),
    ("      changeover: 2 s", "      changeover: 2 s\n      coasts: 4 s\n      opens_within: 2 s"),
    OZONE,
    NO_LIMIT,
]
MACHINES, OWN, COASTS, GRACE, FLOW = (0, 1, 2), (3, 4), 5, (6, 7), (8, 9)
LOW_LATE, HIGH_LATE, ELEMENT_LATE, COUNT = 10, 11, 12, 13
NAMES = [
    *(f"time of {name}" for name in ("main", "element", "ozone")),
    *(f"own switch of {name}" for name in ("element", "ozone")),
    "coasting of main",
    *(f"grace of {name}" for name in ("element", "ozone")),
    *(f"flow through {name}" for name in ("element", "ozone")),
    *(f"contact of {name}" for name in ("main low", "main high", "element")),
]
FULL = (1 << COUNT * COUNT) - 1


@pytest.fixture
def two(build) -> Automaton:
    """Both devices watched, and all that is late."""
    automaton = automaton_of(build(*TWO))
    assert automaton.timers == NAMES
    return automaton


def touching(*timers: int) -> int:
    """The order of these timers with any other: bit i * COUNT + j is that i ends before j."""
    bits = {i * COUNT + k for i in timers for k in range(COUNT)}
    return sum(1 << bit for bit in bits | {k * COUNT + i for i in timers for k in range(COUNT)})


def all_run(node: Node, **changes: object) -> Node:
    """The same state, in which every timer runs and each stands before each other."""
    return node._replace(timers=(1,) * COUNT, order=FULL, **changes)


def running(automaton: Automaton) -> Node:
    """Main on low, both devices fed, nothing on."""
    low = ("low", "off", "off")
    at_rest = next(automaton.starts())
    return next(n for _, n in automaton.moves(at_rest) if automaton.controller.names(n.state) == low)


def nothing(automaton: Automaton, node: Node) -> tuple[set[int], int, tuple[int, ...], int]:
    """A pass in which nothing happens: timers that run after it, what of the order goes, coasting, truth."""
    after = automaton.after(node, node.env, Move(), 0)
    return {i for i, left in enumerate(after.timers) if left}, after.clears, after.coasts, after.truth


# --- time goes by ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("elapsed_s", "left"), [(0, (0, 1, 2, 3, 9)), (1, (0, 1, 1, 2, 8)), (None, (0, 1, 1, 1, 1))]
)
def test_time_goes_by_for_what_runs(two, elapsed_s, left):
    """By no second, by one, or by any: one more than the least that is left, and never less than 1."""
    node = next(two.starts())._replace(timers=(0, 1, 2, 3, 9) + (0,) * (COUNT - 5))
    assert left == tuple(two._begin(node, Move(), elapsed_s, 0, {}).timers[:5])


def test_what_is_left_is_counted_while_a_pass_is_due(two):
    """What ends before that pass takes no time from the others."""
    high = next(n for _, n in two.moves(next(two.starts())) if two.controller.names(n.state)[0] == "high")
    due = next(n for _, n in two.moves(high) if two.is_due(n) and max(n.timers) > 1)
    after = two.after(due, due.env, Move(ended=(FLOW[0],)), 0)
    assert due._replace(timers=after.timers).timers == tuple(
        0 if i == FLOW[0] else left for i, left in enumerate(due.timers)
    )


# --- timers end -----------------------------------------------------------------------------------


def test_what_ends_has_no_place_in_the_order(two):
    """One or two timers that end together, whichever: each is over, and stands before and behind none."""
    node = all_run(next(two.starts()))
    for these in [*((i,) for i in range(COUNT)), *combinations((*MACHINES, *OWN), 2)]:
        begun = two._begin(node, Move(ended=these), None, 0, {})
        assert touching(*these) == begun.clears
        assert set(range(COUNT)) - {*these} == {i for i, left in enumerate(begun.timers) if left}
        assert begun.silent is (these[0] not in (*MACHINES, *OWN))
        own = sum(bit for k, bit in two.wiring.own.items() if OWN[k] in these)
        assert own == begun.feedback


@pytest.mark.parametrize(
    ("timer", "truth", "coasts"),
    [(GRACE[0], 0b1, 2), (FLOW[0], 0b10, 2), (GRACE[1], 0b100, 2), (FLOW[1], 0b1000, 2), (COASTS, 0, 0),
     (LOW_LATE, 0, 2)],
)  # fmt: skip
def test_what_no_controller_sees_makes_something_true(two, timer, truth, coasts):
    """Of each device a bit for the grace and one for the flow; coasting that ends moves no water."""
    node = next(two.starts())._replace(coasts=(2,))
    begun = two._begin(node, Move(ended=(timer,)), 0, 0, {})
    assert (truth, [coasts]) == (begun.truth, begun.coasting)


def test_no_pass_follows_where_no_controller_sees_the_end(two):
    """A machine whose time is up moves with the next pass, and not when a grace ends before that."""
    proving = next(n for _, n in two.moves(running(two)) if two.controller.names(n.state)[1] == "proving")
    is_up = proving._replace(timers=(0,) * OWN[0] + proving.timers[OWN[0] :])
    assert two.is_due(is_up)
    assert is_up.state == two.after(is_up, is_up.env, Move(ended=(FLOW[0],)), 0).state
    assert is_up.state != two.after(is_up, is_up.env, Move(), 1).state


# --- what comes at any time -----------------------------------------------------------------------


def test_a_trip_and_a_reset_are_those_of_their_device(two):
    """What others have done stays."""
    first, second = two.wiring.trips
    node = next(two.starts())
    assert (
        first | second
        == two._begin(node._replace(feedback=first), Move(event=("trips", 1)), 0, 0, {}).feedback
    )
    begun = two._begin(node._replace(feedback=first | second), Move(event=("resets", 1)), 0, 0, {})
    assert (first, two.wiring.resets[1]) == (begun.feedback, begun.pulse)


def test_a_rise_is_that_of_its_device(two):
    """Its proof says no from then on; the other's goes on saying what it says."""
    first, second = two.wiring.sensed
    node = next(two.starts())._replace(risen=0b1, feedback=first | second)
    begun = two._begin(node, Move(event=("rises", 1)), 0, 0, {})
    assert (0b11, first) == (begun.risen, begun.feedback)


def test_a_restart_is_told_from_any_other_fault(two):
    """The controller begins anew with no time running; what a fault alone makes is kept apart."""
    node, known = all_run(running(two), coasts=(0,)), {}
    begun = [two._begin(node, Move(event=(event, 0)), None, 0, known) for event in ("restarts", "fault")]
    assert begun[0].controlled is not begun[1].controlled
    after = two.after(node, node.env, Move(event=("restarts", 0)), None)
    assert two.controller.initial == after.state
    assert not any(after.timers[i] for i in MACHINES if after.state[i] != node.state[i])


def test_an_onset_is_remembered_apart(build, two):
    """What was on is numbered by the automaton before it, so that the same number may mean another thing."""
    node = running(two)
    known = set(two._known)
    two.after(node, node.env, Move(), 0)
    felt = two.flows.felt(two.flows.effect(node.state, node.env, node.feedback))
    assert [felt] == [told[1] for told in two._known.keys() - known]
    assert not two._before
    dead = automaton_of(build(*TWO), [PlantFault("no start", "main", "main does not start")])
    dead.onset(node, two)
    assert dead._before
    assert not dead._known


# --- what the pass does ---------------------------------------------------------------------------


def test_at_rest_nothing_is_followed(two):
    """Still water: own switches open, flow stops, and grace with the heat; what coasts or opens late goes on.

    The element's contact is opening still, and so its heat and its grace go on.
    """
    runs, clears, coasts, truth = nothing(two, all_run(next(two.starts()), truth=0b1111))
    assert {*MACHINES, COASTS, GRACE[0], LOW_LATE, HIGH_LATE, ELEMENT_LATE} == runs
    assert touching(*OWN, GRACE[1], *FLOW) == clears
    assert ((0,), 0b1) == (coasts, truth)


def test_with_water_there_is_no_grace_and_no_coasting(two):
    """Both devices are fed: their flow goes on; main low is closed, and so neither coasts nor opens."""
    runs, clears, coasts, truth = nothing(two, all_run(running(two), coasts=(1,), truth=0b1111))
    assert {*MACHINES, *OWN, *FLOW, HIGH_LATE, ELEMENT_LATE} == runs
    assert touching(COASTS, *GRACE, LOW_LATE) == clears
    assert ((0,), 0b1010) == (coasts, truth)  # past the grace no more; flow has lasted


def test_what_stops_and_what_coasts_no_more_both_leave_the_order(two):
    """The element is asked for no longer while it proves its flow: its time ends, and coasting."""
    proving = next(n for _, n in two.moves(running(two)) if two.controller.names(n.state)[1] == "proving")
    off = next(n for _, n in two.moves(proving) if two.controller.names(n.state)[:2] == ("low", "off"))
    after = two.after(all_run(proving, coasts=(1,)), off.env, Move(), 0)
    assert "off" == two.controller.names(after.state)[1]
    gone = touching(MACHINES[1], COASTS)
    assert gone == after.clears & gone


def test_what_is_true_starts_no_timer(two):
    """Flow that has lasted, and heat past its grace, are not timed again; without them both are."""
    node = running(two)._replace(timers=(0,) * COUNT)
    assert {*OWN} == nothing(two, node._replace(truth=0b1010))[0]
    assert {*OWN, FLOW[0]} == nothing(two, node._replace(truth=0b1000))[0]
    assert {*OWN, *FLOW} == nothing(two, node._replace(truth=0))[0]


def test_water_that_coasts_feeds_a_device(two):
    """Main goes off and its water moves on: flow that has lasted goes on lasting until that ends."""
    node = running(two)._replace(timers=(0,) * COUNT, truth=0b1010)
    off = next(n for m, n in two.moves(node) if two.controller.names(n.state)[0] == "stopped" and not m.ended)
    assert ((1,), 0b1010) == (off.coasts, off.truth)
    assert off.timers[COASTS]
    assert off.timers[LOW_LATE]
    still = ended(two, ended(two, off, "contact of main low"), "coasting of main")
    assert ((0,), 0) == (still.coasts, still.truth)


def test_each_device_has_a_grace_of_its_own(build):
    """Behind a shut valve, wired to nothing: ozone runs with main, or the element fires."""
    changes = [("usual: open}}", "usual: shut}}"), *PLANTS["not wired"], NO_LIMIT]
    ozone = (OZONE[0], OZONE[1].replace("own_flow_switch: 3 s, ", ""))
    shut = automaton_of(build(*changes, ozone))

    def past(node: Node) -> list[bool]:
        shot = shut.snapshot(node)
        return [
            dict(things)[name].past_grace
            for things, name in ((shot.sources, "element"), (shot.treatments, "ozone"))
        ]

    def on(node: Node) -> bool:
        return dict(shut.snapshot(node).treatments)["ozone"].hot

    treats = next(n for _, n in shut.moves(next(shut.starts())) if on(n))
    assert [False, False] == past(treats)
    assert [False, True] == past(ended(shut, treats, "grace of ozone"))
    fires = came(shut, next(shut.starts()), lambda truth: truth.hot)
    over = ended(shut, fires, "grace of element")
    assert [True, False] == past(over)
    grace = shut.timers.index("grace of element")
    assert 0 == over.timers[grace] == shut.after(over, over.env, Move(), None).timers[grace]


# --- heat whose contact opens late ----------------------------------------------------------------


def test_heat_lasts_until_its_contact_has_opened(build):
    """An element whose contactor takes 2 s is hot for as long as that takes, and then no more."""
    late = automaton_of(build(NO_LIMIT, *PLANTS["pump contact"], *PLANTS["not wired"]))
    fires = came(late, next(late.starts()), lambda truth: truth.hot)
    off = next(n for m, n in late.moves(fires) if late.controller.names(n.state)[1] == "off" and not m.ended)
    assert truth_of(late, off).hot
    stands = ended(late, off, "coasting of main")
    assert truth_of(late, stands).hot
    assert not truth_of(late, ended(late, stands, "contact of element")).hot


def test_heat_whose_contact_opens_at_once_is_over_at_once(build):
    """Though main's contacts open late."""
    prompt = [("      changeover: 2 s", "      changeover: 2 s\n      opens_within: 2 s")]
    some = automaton_of(build(NO_LIMIT, *prompt, *PLANTS["not wired"]))
    fires = came(some, next(some.starts()), lambda truth: truth.hot)
    assert "firing" == some.controller.names(fires.state)[1]
    off = next(n for _, n in some.moves(fires) if some.controller.names(n.state)[1] == "off")
    assert not truth_of(some, off).hot


# --- timers start ---------------------------------------------------------------------------------


def first(*pairs: tuple[int, int]) -> int:
    """The order in which each first of a pair ends before the second."""
    return sum(1 << (i * COUNT + j) for i, j in pairs)


def start(automaton: Automaton, started: list[int], runs: set[int]) -> tuple[int, int, list[int]]:
    """What goes of the order and what comes to it, and how long each timer then has."""
    timers = [int(i in runs) for i in range(COUNT)]
    clears, adds = automaton._start(started, timers, automaton.controller.initial)
    return clears, adds, timers


@pytest.mark.parametrize(
    ("started", "runs", "adds"),
    [
        ([FLOW[0]], {GRACE[0]}, [(GRACE[0], FLOW[0])]),  # as long as it, and begun before
        ([COASTS], {GRACE[0]}, []),  # shorter: either may end before the other
        ([COASTS, FLOW[0]], {GRACE[0]}, [(GRACE[0], FLOW[0]), (COASTS, FLOW[0])]),
        ([FLOW[0], FLOW[1]], set(), []),  # together
        ([FLOW[0], GRACE[0]], set(), [(FLOW[0], GRACE[0])]),  # in the same second a grace is over last
        ([OWN[0]], {COASTS, FLOW[0]}, [(COASTS, OWN[0]), (FLOW[0], OWN[0])]),
    ],
)
def test_what_ends_before_what_is_started(two, started, runs, adds):
    """Of 4 s of coasting, 5 s of grace and flow, 6 s of an own switch: what runs and lasts no longer."""
    clears, added, timers = start(two, started, runs)
    assert (0, first(*adds)) == (clears, added)
    lasts = {COASTS: 4, **dict.fromkeys((*GRACE, *FLOW), 5), OWN[0]: 6}
    assert [1 + lasts[i] for i in started] == [timers[i] for i in started]


def test_what_is_started_again_leaves_its_place(two):
    """And has all of its time anew; it does not stand before itself."""
    clears, adds, timers = start(two, [FLOW[0], FLOW[1]], {FLOW[0], FLOW[1], GRACE[0]})
    assert touching(*FLOW) == clears
    assert first((GRACE[0], FLOW[0]), (GRACE[0], FLOW[1])) == adds
    assert (6, 6, 1) == (timers[FLOW[0]], timers[FLOW[1]], timers[GRACE[0]])


def test_no_difference_is_made_beyond_some_seconds(two):
    """8 s or more left are all alike."""
    two.lasts_s[FLOW[0]] = 30.0
    assert 9 == start(two, [FLOW[0]], set())[2][FLOW[0]]


def test_a_coarse_search_has_no_order_of_the_controllers_timers(build, two):
    """Of them alone: with what the controller does not see they keep it."""
    coarse = automaton_of(build(*TWO), coarse=True)
    for automaton, both in ((two, first((OWN[1], OWN[0]))), (coarse, 0)):
        assert both == start(automaton, [OWN[0], OWN[1]], set())[1]
        assert first((COASTS, OWN[0])) == start(automaton, [OWN[0]], {COASTS})[1]
        assert first((OWN[1], COASTS)) == start(automaton, [COASTS], {OWN[1]})[1]
