"""Every state that the engine visits lies in the set that the search reaches."""

from contextlib import suppress
from datetime import date
from functools import partial
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cyclesim.scenario.reading.load import load, load_text
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.drive import by_calendar
from cyclesim.simulation.engine import PlantRun
from cyclesim.simulation.programme import Programme
from cyclesim.verification.automaton import Automaton
from cyclesim.verification.calendar_order import Calendar
from cyclesim.verification.cone import cone_of, groups
from cyclesim.verification.environment import Environment
from cyclesim.verification.faults import touches
from cyclesim.verification.mapping import of_engine, of_node
from cyclesim.verification.search import TooManyStatesError, search
from tests.verify.drawn import Drawn
from tests.verify.drawn_wide import Wide
from tests.verify.faulty import run_under, runnable
from tests.verify.happening import Hours

FILES = sorted((Path(__file__).parents[2] / "schedules").glob("*.yaml"))


def visited(plant, programme, days, start):
    """Every state of a run, its warm-up included."""
    seen = set()
    drive = by_calendar(plant, programme, start, days, warm_up_s=14 * 86_400)
    run = PlantRun(plant, programme.controller, drive, on_pass=lambda _, *state: seen.add(state))
    run.warm_up()
    run.finish()
    return seen


def outside(scenario, days, kind, start=date(2027, 1, 4)):
    """(names, facts) of the visited states that no search reaches, per cone."""
    plant, programme = Assembly(scenario), Programme(scenario)
    calendar, seen = Calendar(programme), visited(plant, programme, days, start)
    assert len(seen) > 3
    found = []
    for name in [source.name for source in programme.controller.sources] or list(plant.pumps):
        cone = cone_of(plant, programme, [name])
        automaton = Automaton(plant, cone, Environment(plant, programme, calendar, cone, kind=kind))
        reached = {of_node(automaton, node) for node in search(automaton, {}).came_from}
        for state, facts, positions in seen:
            known = of_engine(automaton, programme.controller, state, facts, positions)
            if known not in reached:
                true = [n for n in automaton.controller.facts if known.facts & automaton.controller.bit(n)]
                found.append((name, automaton.controller.names(known.state), known.asked, true))
    return found


@pytest.mark.parametrize("file", FILES, ids=[file.stem for file in FILES])
@pytest.mark.parametrize("kind", ["commands", "calendar"])
def test_the_engine_stays_in_the_reachable_set(file, kind):
    """Five weeks of every shipped schedule, in winter, with its power cut where it has one."""
    assert [] == outside(load(file), 35, kind)


SOME = (0, 2, 3, 4, 6, 7, 8, 9, 11, 13)
"""Drawn plants that are looked at where slow tests are asked for."""
SEEN = (13, 15, 41, 49, 281)
SOME_WIDE = (1, 3, 8, 9, 10, 15, 40, 41, 49)
OWN = ("proof: {by: flow_switch}, high", "proof: {by: flow_switch}, own_flow_switch: 6 s, high")
CIRCUITS = (
    "breaker: 20 A",
    "circuits: {water: {breaker: 10 A, feeds: main}, heat: {breaker: 16 A, feeds: element}}",
)


def under_each_fault(scenario, names, *, days=7, seed=0):
    """Of each single fault that a cone can see: its sentence, the states that no search reaches, how many."""
    plant, programme = Assembly(scenario), Programme(scenario)
    cone = cone_of(plant, programme, names, whole=not names)
    env = Environment(plant, programme, Calendar(programme), cone)
    base = search(Automaton(plant, cone, env), {})
    for fault in runnable(plant, programme):
        if names and not touches(fault, cone, groups(plant), plant):
            continue
        seen: set = set()
        run_under(
            plant, programme, fault, days, warm_up_days=14 if not names else 1, seed=seed,
            on_pass=lambda *state, seen=seen: seen.add(state),
        )  # fmt: skip
        automaton = Automaton(plant, cone, env, faults=frozenset({fault}))
        reached = {of_node(automaton, node) for node in search(automaton, {}, after=base).came_from}
        known = {of_engine(automaton, programme.controller, *state) for state in seen}
        yield fault.sentence, known - reached, len(known)


@pytest.mark.parametrize("changes", [[], [OWN, CIRCUITS]], ids=["as it is", "own switch, two circuits"])
def test_the_engine_stays_in_the_reachable_set_under_each_fault(build, changes):
    """A week in winter with each single fault from its first second on."""
    found = list(under_each_fault(build(*changes), ()))
    assert len(found) >= 9
    assert all(number > 1 for _, _, number in found)
    assert [] == [(sentence, left) for sentence, left, _ in found if left]


@pytest.mark.parametrize(
    ("kind", "seed"),
    [
        *((Drawn, seed) for seed in (1, 10)),
        (Wide, 13),
        *(pytest.param(Drawn, seed, marks=pytest.mark.slow) for seed in SOME),
        *(pytest.param(Wide, seed, marks=pytest.mark.slow) for seed in SOME_WIDE),
    ],
)
def test_drawn_plants_stay_in_the_reachable_set_under_each_fault(kind, seed, monkeypatch):
    """The states of each heat source in a few days of a drawn plant; what is too large is passed over."""
    monkeypatch.setattr("cyclesim.verification.search.MOST_STATES", 3_000)
    scenario, compared = load_text(kind(seed).text, "drawn.yaml"), 0
    for name in scenario.plant.heat_sources:
        with suppress(TooManyStatesError):
            for sentence, left, number in under_each_fault(scenario, (name,), days=4, seed=seed):
                assert not left, (name, sentence)
                compared += number
    assert compared > 1 or seed in (*SOME, *SOME_WIDE)


def happened(plant, programme, seed):
    """Every state of some hours of anything at all, drawn without the search."""
    seen = set()
    for k in range(3):
        drive = Hours(plant, programme, 1000 * seed + k).drive()
        run = PlantRun(plant, programme.controller, drive, on_pass=lambda _, *state: seen.add(state))
        run.warm_up()
        run.finish()
    return seen


def inside(automaton, state):
    """A state without where valves of other loops are, which a cone does not know."""
    known = {dim.name.rpartition(" ")[2] for dim in automaton.dims}
    valves = zip(automaton.plant.turnable, state.positions, strict=True)
    return state._replace(positions=tuple(at for name, at in valves if name in known))


@pytest.mark.parametrize(
    ("kind", "seed"),
    [
        *((Wide, seed) for seed in SEEN),
        *(pytest.param(Drawn, seed, marks=pytest.mark.slow) for seed in range(60)),
        *(pytest.param(Wide, seed, marks=pytest.mark.slow) for seed in range(120) if seed not in SEEN),
    ],
)
def test_whatever_happens_stays_in_the_reachable_set(kind, seed, monkeypatch):
    """Of each heat source and pump, with its cone: what is too large is passed over."""
    monkeypatch.setattr("cyclesim.verification.search.MOST_STATES", 6_000)
    scenario = load_text(kind(seed).text, "drawn.yaml")
    plant, programme = Assembly(scenario), Programme(scenario)
    calendar, seen = Calendar(programme), happened(plant, programme, seed)
    compared = 0
    for name in [machine.name for machine in programme.controller.machines]:
        cone = cone_of(plant, programme, [name])
        automaton = Automaton(plant, cone, Environment(plant, programme, calendar, cone, kind="any order"))
        with suppress(TooManyStatesError):
            of = partial(inside, automaton)
            reached = {of(of_node(automaton, node)) for node in search(automaton, {}).came_from}
            known = {of(of_engine(automaton, programme.controller, *state)) for state in seen}
            assert set() == known - reached, name
            compared += len(known)
    assert compared > 10 or seed > 0


def clock(minutes):
    """Minutes after midnight as a clock shows them."""
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


TIMES = st.integers(0, 1439).map(clock)


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    starts=st.lists(TIMES, min_size=1, max_size=3, unique=True),
    flush=TIMES,
    lasts=st.integers(1, 300),
    rest=st.sampled_from([0, 2, 75]),
    proof=st.sampled_from(["flow_switch", "pump_contact", "pressure_switch", "temperature_rise"]),
    wired=st.booleans(),
    keep=st.booleans(),
    own=st.sampled_from(["", "own_flow_switch: 6 s, "]),
    extra=st.sampled_from(["", "thermostat", "clock", "hand", "contact"]),
    treat=st.sampled_from(["", "with: main", 'runs: [{start: "10:00", lasts: 6 h}]']),
    after=st.sampled_from(["resume", "midnight", "wait"]),
    shut=st.booleans(),
    bathe=st.sampled_from(["", "pump: main high, jets_at_most: 10 min, presses: 2, ", "pump: main low, "]),
    cut=st.booleans(),
)
def test_drawn_plants_stay_in_the_reachable_set(
    build, starts, flush, lasts, rest, proof, wired, keep, own, extra, treat, after, shut, bathe, cut
):
    """Schedules, interlocks, contacts, valves and power cuts as they come."""
    contact = {
        "thermostat": "also_started_by: [{thermostat: "
        "{watches: room, starts_below: 11 degC, stops_above: 12 degC}}], ",
        "clock": 'also_started_by: [{clock: {start: "06:00", lasts: 3 h}}], ',
        "hand": "also_started_by: [{hand_switch: [{from: 2027-01-06 12:00, lasts: 9 h, to: hand}, "
        "{from: 2027-01-07 12:00, lasts: 9 h, to: 'off'}]}], ",
        "": "",
    }["thermostat" if extra == "contact" else extra]
    more = ""
    if shut:
        more += "  valves_turned: [{valve: stop, from: 2027-01-06 15:30, lasts: 3 h, to: shut}]\n"
    if bathe:
        more += f'  bathing: [{{start: "19:00", lasts: 1 h, {bathe[:-2]}}}]\n'
    if cut:
        more += "  outages: [{from: 2027-01-08 04:00, lasts: 30 min}]\n"
    changes = [
        ('start: ["03:00", "15:00"], lasts: 2 h', f"start: {starts!r}, lasts: {lasts} min".replace("'", '"')),
        ('start: ["07:30", "19:30"], lasts: 40 s', f'start: ["{flush}"], lasts: {lasts} s'),
        ("      rest: 75 s", f"      rest: {rest} s"),
        ("proof: {by: flow_switch}, high", f"proof: {{by: {proof}}}, {own}{contact}high"),
        ("  heating: {with", more + "  heating: {with"),
    ]
    if extra == "contact":
        line = "also_started_by: [{speed: low, contact_of: element}]"
        changes += [("      changeover: 2 s", f"      changeover: 2 s\n      {line}")]
    if treat:
        device = "{kind: ozone, in: filter, needs_flow: 60 L/min, proof: {by: flow_switch}, power: 40 W, "
        device += f"{treat}}}"
        changes += [
            ("  valves: {stop", f"  treatment: {{ozone: {device}}}\n  valves: {{stop"),
            ("interlocks:\n", "interlocks:\n  - {block: ozone, unless: flow proven, for: 5 s}\n"),
        ]
    line = f"controller: {{after_power_cut: {after}, person_within: 2 h}}"
    changes += [("schedule:\n", f"{line}\nschedule:\n")] if after != "resume" else []
    changes += [] if wired else [("  - {block: element, unless: flow proven, for: 5 s}\n", "")]
    changes += [] if keep else [("  - {keep: main low, after: element, lasting: 60 s}\n", "")]
    changes += [("usual: open}}", "usual: open, may_be: shut}}")] if shut else []
    scenario = build(*changes)
    assert [] == outside(scenario, 7, "commands")
    assert [] == outside(scenario, 7, "calendar")
