"""What is asked for and cannot be, told with its numbers, each beside a plant of which nothing is told."""

from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.verification.assumed import assumed
from cyclesim.verification.calendar_order import Calendar
from cyclesim.verification.dead_ends import dead_ends


def contradictions(scenario, kind):
    """What is told as one kind of dead end: by what it is about."""
    programme = Programme(scenario)
    found = dead_ends(Assembly(scenario), programme, Calendar(programme))
    return {end.subject: end.said for end in found if end.kind == kind}


NIGHT = '  quiet_hours: {{from: "18:00", to: "10:00", applies_to: [{}]}}\n  heating: {{with'
NO_HEATING = ("  heating: {with: [element], pump: main low, keep_at: 36 degC, within: 1 K}\n", "")


def test_more_turnovers_than_the_open_hours_hold(build):
    """By hand: 7 h are left of the day on which clocks go back; on high they make so many turnovers."""
    quiet = ("  heating: {with", NIGHT.format("main"))
    plant = Assembly(build())
    most = 7 * 3600 * plant.duty(("high",)).flow_m3_s("filter") / 1.5
    for asked, told in ((most + 0.2, True), (most - 0.2, False)):
        limit = ("interlocks:\n", f"limits: {{turnovers_per_day: {asked:.2f}}}\ninterlocks:\n")
        said = contradictions(build(quiet, limit), "cannot be met").get("turnovers", "")
        assert told == bool(said)
        assert not told or f"main high through the 7.0 h outside the quiet hours makes {most:.1f}" in said


def test_heating_in_quiet_hours_is_told_before_it_comes(build):
    """Heating asks for low at any time; with high alone kept off nothing is told."""
    told = contradictions(build(("  heating: {with", NIGHT.format("main low"))), "inside quiet hours")
    assert "main low at any time, which is to be off for 17.0 h at a time" in told["heating"]
    assert "heating" not in contradictions(build(("  heating: {with", NIGHT.format("main high"))),
                                           "inside quiet hours")  # fmt: skip


def test_a_device_that_its_clock_calls_without_water(build):
    """Called from 10:00 to 16:00, fed from 15:00 on; where heating may feed it, nobody knows."""
    ozone = (
        "  valves: {stop",
        "  treatment: {ozone: {kind: ozone, in: filter, needs_flow: 60 L/min, proof: "
        '{by: flow_switch}, power: 40 W, runs: [{start: "10:00", lasts: 6 h}]}}\n  valves: {stop',
    )
    told = contradictions(build(ozone, NO_HEATING), "cannot be met")
    assert told == {"ozone": "its runs are 6.0 h a day, and in 5.0 h of them nothing moves its water"}
    assert contradictions(build(ozone), "cannot be met") == {}


def test_a_keep_and_a_block_of_one_pump(build):
    """Kept on for 60 s after the element, and to be off while jets run; on high it may be blocked."""
    jets = ("  equipment:", "    jets: {max_head: 9 m, max_flow: 300 L/min, power: 600 W}\n  equipment:")
    loop = ("stop, return, tub]]", "stop, return, tub], [tub, spout, jets, tub]]")
    leg = ("    return:", "    spout: {pipe: 63 PN10, length: 8 m, zone: soil}\n    return:")
    for speed, told in (("low", True), ("high", False)):
        block = ("interlocks:\n", f"interlocks:\n  - {{block: main {speed}, while: jets running}}\n")
        said = contradictions(build(jets, loop, leg, block), "contradict each other")
        assert told == ("keep and block of main" in said)
    assert not told
    assert "A block, a lost flow, low water or a power cut ends the least run of main at once." in assumed(
        build(("      rest: 75 s", "      rest: 75 s\n      minimum_run: 60 s")).plant)  # fmt: skip
