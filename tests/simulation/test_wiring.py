"""From the file's interlocks, contacts and devices to what the controller is told is wired."""

import pytest

from cyclesim.control.demands import BlockInterlock, Condition, KeepInterlock, StarterContact
from cyclesim.simulation.programme import Programme

PLANT = """
  legs:
    suction: {pipe: 63 PN10, length: 6 m, zone: soil}
    return: {pipe: 63 PN10, length: 8 m, zone: soil}
  pumps:
    main:
      low: {max_head: 4 m, max_flow: 300 L/min, power: 300 W}
      high: {max_head: 16 m, max_flow: 600 L/min, power: 1500 W}
      changeover: 90 s
      rest: 75 s
      minimum_run: 40 s
      also_started_by:
        - {clock: {start: "06:00", lasts: 1 h}, speed: low}
        - {clock: {start: "21:00", lasts: 1 h}, speed: high}
        - {contact_of: boiler, speed: low}
        - {hand_switch: [{to: "off", from: 2027-02-01 08:00, lasts: 1 d}], speed: low}
    feed: {max_head: 3 m, max_flow: 200 L/min, power: 60 W, rest: 20 s, minimum_run: 30 s,
           also_started_by: [{hand_switch: []}]}
  equipment: {filter: {kind: filter, drop: 1 m at 400 L/min, volume: 14 L, zone: room}}
  heat_sources:
    element: {kind: electric, output: 3 kW, drop: 0.3 m at 400 L/min, volume: 2 L, needs_flow: 60 L/min,
              proof: {by: flow_switch}, zone: room, rest: 4 min,
              also_started_by: [{thermostat: {watches: room, starts_below: 3 degC, stops_above: 5 degC}}]}
    boiler: {kind: boiler, fuel: 0.10 EUR/kWh, output: 12 kW, efficiency: 90 %, drop: 0.3 m at 400 L/min,
             volume: 2 L, needs_flow: 60 L/min, proof: {by: none}, zone: room, minimum_burn: 7 min,
             own_flow_switch: 10 s}
  treatment:
    doser: {kind: dosing, in: filter, needs_flow: 50 L/min, proof: {by: flow_switch}, power: 10 W, with: main}
    lamp: {kind: uv, in: filter, needs_flow: 50 L/min, proof: {by: none}, power: 40 W,
           runs: [{start: "10:00", lasts: 1 h}], own_flow_switch: 5 s, also_started_by: [{hand_switch: []}]}
  air:
    blower: {power: 800 W, delivers: 600 L/min, pipe: 50 PN10, length: 8 m, wet_length: 2 m,
             outlets_below_water: 600 mm, loop_above_water: 300 mm, check_valve: true, zone: room,
             also_started_by: [{clock: {start: "12:00", lasts: 1 min}}]}
  network:
    - [tub, suction, main, feed, filter, element, boiler, return, tub]
"""
SCHEDULE = """
schedule:
  filter_runs: [{pump: main low, start: "03:00", lasts: 2 h}]
  heating: {with: [element, boiler], pump: main low, keep_at: 36 degC, within: 1 K}
"""
INTERLOCKS = """
interlocks:
  - {block: element, unless: flow proven, for: 8 s}
  - {block: doser, unless: flow proven, for: 12 s}
  - {block: element, while: main high, because: the breaker}
  - {block: main high, while: element firing, because: the meter}
  - {block: feed, while: main running, because: one at a time}
  - {block: main low, while: boiler firing}
  - {block: lamp, while: main high}
  - {block: blower, while: boiler firing}
  - {keep: feed, after: boiler, lasting: 90 s}
"""


@pytest.fixture
def programme(build, tub_block):
    """A programme of a plant with every kind of device, all of them wired."""
    return Programme(build("plant:\n" + tub_block.strip("\n") + PLANT, SCHEDULE, INTERLOCKS))


def test_what_has_a_machine_and_which(programme):
    """Two speeds change over; a proof is a state where it is wired, a run-on where a keep is."""
    states = {name: machine.states for name, machine in programme.machines.items()}
    assert states == {
        "main": ("stopped", "low", "high", "changing"),
        "feed": ("stopped", "on"),
        "blower": ("stopped", "on"),
        "element": ("off", "proving", "firing", "tripped"),
        "boiler": ("off", "firing", "run_on", "tripped"),
        "doser": ("off", "proving", "on", "tripped"),
        "lamp": ("off", "on", "tripped"),
    }
    assert list(states) == [m.name for m in (*programme.controller.pumps, *programme.controller.sources)]


def test_proofs_and_run_ons(programme):
    """Each as its line says, whatever other lines name; who is not named has none."""
    assert [8, None, 12, None] == [programme.proof_s(n) for n in ("element", "boiler", "doser", "lamp")]
    assert [0, 90] == [programme.run_on_s(n) for n in ("element", "boiler")]


def test_the_times_of_every_machine(programme):
    """A two-speed pump rests through its changeover, the longer of 75 s and 90 s; one speed has none."""
    assert programme.controller.dwell_s == {
        "main": {"stopped": 90, "changing": 90, "low": 40, "high": 40},
        "feed": {"stopped": 20, "changing": 0, "on": 30},
        "element": {"off": 240, "proving": 8, "proving_again": 8, "firing": 0, "run_on": 0},
        "boiler": {"off": 0, "proving": 0, "proving_again": 0, "firing": 420, "run_on": 90},
        "doser": {"proving": 12},
        "lamp": {"proving": 0},
    }


def fires_on(programme, name, **true):
    """Where a firing source goes with just these facts true."""
    (table,) = (s.table for s in programme.controller.sources if s.name == name)
    facts = dict.fromkeys(table.facts, False) | true
    return table.states[table.after(table.states.index("firing"), facts)]


def test_a_minimum_run_is_fired_out_where_the_file_gives_one(programme):
    """Nobody calls: the boiler fires its seven minutes, the element, of which none is said, stops."""
    assert "firing" == fires_on(programme, "boiler")
    assert "off" == fires_on(programme, "element", flow_ok=True)


def test_a_rest_is_served_before_it_fires_again(build, tub_block):
    """Called again in its run-on, a source that rests runs on to its end; one that does not fires again."""
    keep = INTERLOCKS + "  - {keep: main low, after: element, lasting: 30 s}\n"
    both = Programme(build("plant:\n" + tub_block.strip("\n") + PLANT, SCHEDULE, keep))
    answers = {}
    for source in both.controller.sources[:2]:
        table = source.table
        facts = dict.fromkeys(table.facts, False) | {"called": True, "flow_ok": True}
        answers[source.name] = table.states[table.after(table.states.index("run_on"), facts)]
    assert {"element": "run_on", "boiler": "firing"} == answers


def test_a_second_is_a_time_as_well(build, tub_block):
    """Run-on, rest and minimum run of one second each are states and ways out of them like longer ones."""
    plant = PLANT.replace("minimum_burn: 7 min", "minimum_burn: 1 s").replace("rest: 4 min", "rest: 1 s")
    keeps = INTERLOCKS.replace("90 s", "1 s") + "  - {keep: main low, after: element, lasting: 1 s}\n"
    short = Programme(build("plant:\n" + tub_block.strip("\n") + plant, SCHEDULE, keeps))
    assert ("off", "firing", "run_on", "tripped") == short.machines["boiler"].states
    assert "firing" == fires_on(short, "boiler")
    element = short.controller.sources[0].table
    facts = dict.fromkeys(element.facts, False) | {"called": True, "flow_ok": True}
    assert "run_on" == element.states[element.after(element.states.index("run_on"), facts)]


def test_what_blocks_what(programme):
    """Each line blocks what it names; a device run with a pump has its contact in series with the pump's."""
    assert programme.controller.blocks == (
        BlockInterlock("element", None, Condition("main", "high"), "the breaker"),
        BlockInterlock("main", "high", Condition("element", "firing"), "the meter"),
        BlockInterlock("feed", "on", Condition("main", "running"), "one at a time"),
        BlockInterlock("main", "low", Condition("boiler", "firing"), ""),
        BlockInterlock("lamp", None, Condition("main", "high"), ""),
        BlockInterlock("blower", "on", Condition("boiler", "firing"), ""),
        BlockInterlock("doser", None, Condition("main", "running", negated=True), ""),
    )


def test_what_keeps_what(programme):
    """A keep names pump, speed and source; its time is the source's run-on."""
    assert (KeepInterlock("feed", "on", "boiler"),) == programme.controller.keeps


def test_the_contacts_beside_the_controller(programme):
    """Each has a name that says whose it is, the second clock of a pump a number; sources have no speed."""
    assert programme.controller.starters == (
        StarterContact("main, own time clock", "main", "low"),
        StarterContact("main, own time clock 2", "main", "high"),
        StarterContact("main, contact of boiler", "main", "low"),
        StarterContact("main, hand switch", "main", "low"),
        StarterContact("feed, hand switch", "feed", "on"),
        StarterContact("blower, own time clock", "blower", "on"),
        StarterContact("element, own thermostat", "element", None),
        StarterContact("lamp, hand switch", "lamp", None),
    )
    assert ("main",) == programme.controller.hand_switched  # the others stay in auto
    assert [b.line.way for b in programme.beside[:3]] == ["clock", "clock", "contact_of"]


def test_what_a_device_is_on_in_and_what_feels_flow_itself(programme):
    """A heat source fires, a treatment device is on; two have a flow switch of their own."""
    assert {s.name: (s.active, s.own_switch) for s in programme.controller.sources} == {
        "element": ("firing", False),
        "boiler": ("firing", True),
        "doser": ("on", False),
        "lamp": ("on", True),
    }
    assert {m.name: m.kind for m in programme.machines.values()} == {
        "main": "pump",
        "feed": "pump",
        "blower": "pump",
        "element": "heat source",
        "boiler": "heat source",
        "doser": "treatment",
        "lamp": "treatment",
    }


def test_a_device_does_not_swing_while_a_keep_holds_its_pump(loop, run):
    """What the contact of a pump lets on is on while that runs, run-on included, and not a second less."""
    cell = "{kind: salt_cell, in: filter, needs_flow: 50 L/min, proof: {by: none}, power: 80 W, with: main}"
    _, trace = run(loop(f"plant.treatment.cell={cell}"), 2)
    speeds = sorted(span for speed in ("low", "high") for span in trace.pumps["main"].spans(speed))
    assert len(trace.sources["element"].spans("run_on")) > 0
    assert speeds == trace.treatments["cell"].spans("on")
