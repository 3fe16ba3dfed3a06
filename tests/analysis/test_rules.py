"""The table of rules, findings as groups of breaches, and a run from a scenario to its result."""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from cyclesim.analysis.findings import SEVERITIES, Breach, Rule, grouped, in_order
from cyclesim.analysis.history import History
from cyclesim.analysis.result import simulate
from cyclesim.analysis.rules import RULES, check
from cyclesim.scenario.blocks.model import Scenario

Run = Callable[..., History]
ROW = Rule("a-rule", "history", "wear", "So it is.", "no source", "mend it", lambda: iter(()))
MIDNIGHT = datetime(2027, 3, 1)


def local(at_s: float) -> datetime:
    """A clock without a zone."""
    return MIDNIGHT + timedelta(seconds=at_s)


def test_every_row_says_where_its_limit_comes_from() -> None:
    """Ids differ; each row has a severity, a sentence, a source and a mend."""
    assert list(RULES) == [rule.id for rule in RULES.values()]
    for rule in RULES.values():
        assert rule.severity in SEVERITIES
        assert rule.sentence.endswith(".")
        assert rule.source
        assert rule.mend
        assert (rule.kind == "state") == bool(rule.nothing)


def test_breaches_are_grouped_by_subject_and_cause() -> None:
    """Two causes are two findings; each counts its times, adds its hours, shows worst and first three."""
    breaches = [
        Breach("pump", "one", k, "s", f"{k} s", at_s=3600.0 * k, lasts_s=1800.0) for k in (5, 4, 2, 3)
    ]
    first, second = grouped(ROW, [*breaches, Breach("pump", "two", 9.0, "s", "9 s", "another mend")], local)
    assert (4, 2.0, 5, "5 s") == (first.times, first.total_h, first.worst, first.worst_text)
    assert ("2027-03-01T02:00:00", "2027-03-01T03:00:00", "2027-03-01T04:00:00") == first.first
    assert ("mend it", "another mend") == (first.mend, second.mend)
    assert (None, ()) == (second.total_h, second.first)


def test_where_less_is_worse_the_least_is_shown() -> None:
    """Of 3, 1 and 2 turnovers the 1 is the worst."""
    breaches = [Breach("tub", "c", k, "turnovers", f"{k}", less_is_worse=True) for k in (3.0, 1.0, 2.0)]
    assert 1.0 == grouped(ROW, breaches, local)[0].worst


def test_findings_stand_in_order_of_severity_then_frequency() -> None:
    """A danger that happened once stands above wear that happened often."""
    wear = grouped(ROW, [Breach("a", "c", 1.0, "s", "")] * 3, local)
    more = grouped(ROW, [Breach("b", "c", 1.0, "s", "")] * 5, local)
    danger = grouped(replace(ROW, severity="danger"), [Breach("z", "c", 1.0, "s", "")], local)
    assert ["z", "b", "a"] == [f.subject for f in in_order([*wear, *more, *danger])]


def test_what_could_not_be_judged_is_counted_apart(run: Run) -> None:
    """Two rules lack what they need; all others are judged."""
    history = run((", at_most: 500 L/min", ""), hours=12)
    _, checked = check(history)
    assert {"filter-overloaded", "too-few-turnovers"} == {rule for rule, _ in checked.could_not}
    assert len(RULES) - 2 == checked.checked


def test_rules_without_a_matter_are_told_apart(scenario: Callable[..., Scenario]) -> None:
    """No blower, nobody who bathes, no valve, no lamp: these rules hold because there is nothing to judge."""
    nothing = set(simulate(scenario(), days=1).checked.nothing)
    assert {"airline-unprotected", "session-too-long", "left-without-flush", "lamp-without-flow"} <= nothing
    assert not nothing & {"stale-water", "heat-without-flow", "quiet-hours", "flush-too-short", "no-run-on"}


def test_a_rule_that_is_broken_has_a_matter(scenario: Callable[..., Scenario]) -> None:
    """What breaks a rule counts among what it judges, whatever the rule says of itself."""
    result = simulate(scenario(("lasts: 40 s", "lasts: 15 s")), days=2)
    assert {finding.rule for finding in result.findings}.isdisjoint(result.checked.nothing)
    assert len(RULES) == result.checked.apply + len(result.checked.nothing)


def test_a_sound_plant_runs_without_a_finding(scenario: Callable[..., Scenario]) -> None:
    """Four days of the plant of these tests: no rule broken, all of them judged."""
    result = simulate(scenario(), days=4)
    assert () == result.findings
    assert (len(RULES), ()) == (result.checked.checked, result.checked.could_not)
    about = result.about
    assert ("2027-01-01", 4, "Europe/Lisbon", 14) == (
        about.first_day, about.days, about.time_zone, about.warm_up_days,
    )  # fmt: skip


def test_dangerous_wiring_is_found_by_a_run(scenario: Callable[..., Scenario]) -> None:
    """No proof, no block, no keep: the run itself meets heat before proof, and no run-on."""
    result = simulate(
        scenario(
            ("proof: {by: flow_switch}", "proof: {by: none}"),
            ("  - {block: element, unless: flow proven, for: 5 s}\n", ""),
            ("  - {keep: main low, after: element, lasting: 60 s}\n", ""),
        ),
        days=4,
    )
    assert {"heat-before-proof", "no-run-on"} <= {f.rule for f in result.findings}
    assert "danger" == result.findings[0].severity


def test_a_capped_spare_runs_as_a_finding_without_an_age(scenario: Callable[..., Scenario]) -> None:
    """Its water never moved: no age is known, it stood throughout, and a rule names it once."""
    spare = ("  pumps:\n", "    spare: {pipe: 50 PN10, length: 4 m, zone: room, dead_end: true}\n  pumps:\n")
    result = simulate(scenario(spare), days=2)
    leg = result.metrics.legs["spare"]
    assert ("dead end", None, None, 48.0) == (
        leg.kind, leg.oldest_water_h, leg.oldest_water_mean_h, leg.longest_stagnant_h,
    )  # fmt: skip
    assert ["never-flushed"] == [f.rule for f in result.findings]


def test_a_run_is_measured_and_judged_the_same_twice(scenario: Callable[..., Scenario]) -> None:
    """Same scenario, same metrics and findings, to the last bit."""
    one, two = simulate(scenario(), days=3), simulate(scenario(), days=3)
    assert (one.metrics, one.findings, one.about) == (two.metrics, two.findings, two.about)


def test_a_run_of_no_day_is_refused(scenario: Callable[..., Scenario]) -> None:
    """Nothing can be said of no time."""
    with pytest.raises(ValueError, match="at least one day"):
        simulate(scenario(), days=0)


def test_a_plant_without_heat_sources_is_measured_and_judged(scenario: Callable[..., Scenario]) -> None:
    """No element, no heating, no interlocks: nothing to judge there, and nothing fails."""
    source = """heat_sources:
    element: {kind: electric, output: 2300 W, drop: 0.3 m at 400 L/min, volume: 2 L, needs_flow: 30 L/min,
              proof: {by: flow_switch}, high_limit: 60 degC, limit_sensor: own, zone: room}
  network"""
    built = scenario(
        (source, "network"),
        ("filter, element, bench", "filter, bench"),
        ("  heating: {with: [element], pump: main low, keep_at: 36 degC, within: 1 K}\n", ""),
        ("interlocks:\n", ""),
        ("  - {block: element, unless: flow proven, for: 5 s}\n", ""),
        ("  - {block: element, while: main high, because: the breaker}\n", ""),
        ("  - {keep: main low, after: element, lasting: 60 s}\n", ""),
    )
    result = simulate(built, days=2)
    assert {} == result.metrics.heat_sources
    assert () == result.findings
