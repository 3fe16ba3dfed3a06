"""A mend of the schedule that holds its rule and breaks another says so."""

import cyclesim


def test_a_flush_taken_away_leaves_its_leg_stale(build):
    """The seats lie behind a valve that only a flush of the jets moves, and people bathe while it runs."""
    pumps = "  pumps:\n    jets: {max_head: 15 m, max_flow: 550 L/min, power: 1500 W}\n"
    scenario = build(
        ("  pumps:\n", pumps),
        ("    return:", "    seats: {pipe: 63 PN10, length: 8 m, zone: soil}\n    return:"),
        ("stop, return, tub]]", "stop, return, tub], [tub, seats, jets, tub]]"),
        ("pump: main high, start", "pump: jets, start"),
        ("  heating: {with", '  bathing: [{start: "19:15", lasts: 1 h, people: 2}]\n  heating: {with'),
    )
    (verdict,) = cyclesim.verify(scenario, rule="flush-onto-people").verdicts
    (away,) = [mend for mend in verdict.mends if "take it out" in mend.said]
    assert away.holds
    assert away.breaks == ("never-flushed (seats)",)
