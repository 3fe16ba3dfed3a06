"""Mends of what a run breaks: tried on the same days, told with what they break, written into the text."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from cyclesim.analysis.apply import applied_to_run
from cyclesim.analysis.findings import Subject
from cyclesim.analysis.mends import changes
from cyclesim.analysis.outages import AtZero
from cyclesim.analysis.result import Result, simulate
from cyclesim.analysis.rules import RULES
from cyclesim.analysis.trials import Days, MendTrial, _runs_only, offered, tried
from cyclesim.errors import CycleSimError
from cyclesim.said.page import Line
from cyclesim.said.run import run_page
from cyclesim.said.verdict import told_mends
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.edit import edited
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from tests.analysis.conftest import TEXT, WINTER

Broken = Callable[..., tuple[str, Result, list[MendTrial]]]
SHIPPED = Path(__file__).resolve().parents[2] / "schedules" / "walled-garden-circulator.yaml"
FLUSHES = 'line_flushes: [{pump: main high, start: ["07:30", "19:30"], lasts: 40 s}]'
FILTERS = 'start: ["03:00", "15:00"], lasts: 2 h'
PROVEN = "  - {block: element, unless: flow proven, for: 5 s}\n"
KEEP = "  - {keep: main low, after: element, lasting: 60 s}\n"
HEATING = ("  heating: {with: [element], pump: main low, keep_at: 36 degC, within: 1 K}\n", "")
OWN_THERMOSTAT = (
    "needs_flow: 30 L/min,\n",
    "needs_flow: 30 L/min,\n              also_started_by: [{thermostat: {watches: room, "
    "starts_below: 18 degC, stops_above: 20 degC}}],\n",
)


@pytest.fixture
def broken() -> Broken:
    """The small plant with (old, new) texts, three days of it in January, and what was tried for a rule."""

    def run(rule: str, *changes: tuple[str, str]) -> tuple[str, Result, list[MendTrial]]:
        text = TEXT
        for old, new in changes:
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        result = simulate(load_text(text, "tub.yaml"), days=3, start=date(2027, 1, 5))
        findings = [finding for finding in result.findings if finding.rule == rule]
        assert findings, [finding.rule for finding in result.findings]
        return text, result, list(tried(result, findings))

    return run


@pytest.mark.parametrize(
    ("rule", "changes", "said"),
    [
        # 2 h of filtering every 12 h leave 10 h of rest, every 6 h leave 4 h
        ("stale-water", [("interlocks:", "limits: {water_age: 9 h}\ninterlocks:"), HEATING,
          (FLUSHES, "line_flushes: []")], "filter run at 09:00 and 21:00, too"),
        # its volumes are worked out in test_plant_rules; the controller offers 15, 40 and 60 s
        ("flush-too-short", [("19:30\"], lasts: 40 s", "19:30\"], lasts: 15 s")],
         "let line flush last 40 s"),
        ("too-few-turnovers", [(FILTERS, 'start: ["03:00"], lasts: 2 min'), ("interlocks:",
          "limits: {turnovers_per_day: 4}\ninterlocks:"), HEATING], "filter run for "),
        ("no-run-on", [(KEEP, "")], "wire {keep: main low, after: element, lasting: 30 s}"),
        ("no-run-on", [(KEEP, KEEP.replace("60 s", "5 s"))],
         "{keep: main low, after: element, lasting: 30 s}"),
        ("heat-before-proof", [(PROVEN, "")], "wire {block: element, unless: flow proven, for: 5 s}"),
        ("quiet-hours", [('"07:30", "19:30"', '"06:30", "19:30"')], "line flush at 07:00 and 19:30"),
    ],
)  # fmt: skip
def test_a_mend_is_tried_on_the_same_days(broken: Broken, rule, changes, said) -> None:
    """By hand: what the first mend is; with it in the text, the days no longer break the rule."""
    text, result, trials = broken(rule, *changes)
    mend = next(trial for trial in trials if trial.holds)
    assert said in mend.said
    new = load_text(edited(text, mend.edits), "tub.yaml")
    again = simulate(new, days=3, start=date(2027, 1, 5))
    assert rule not in {finding.rule for finding in again.findings}
    assert sorted(mend.breaks) == sorted(
        {f"{f.rule} ({f.subject})" for f in again.findings}
        - {f"{f.rule} ({f.subject})" for f in result.findings}
    )


def test_what_a_device_starts_by_itself_is_mended_at_the_device(broken: Broken) -> None:
    """No interlock stops what its own thermostat starts; a flow switch of its own leaves no run-on."""
    _, _, trials = broken("heat-without-flow", OWN_THERMOSTAT)
    enough = [trial for trial in trials if trial.holds]
    assert enough[0].said == "disconnect the contacts that start element without the controller"
    assert "give element a flow switch of its own: own_flow_switch: 5 s" in {t.said for t in enough[1:]}
    assert all(trial.harms for trial in enough[1:])


def test_a_mend_after_which_a_device_never_comes_on_is_none(broken: Broken) -> None:
    """Nothing moves water: with a flow switch of its own the element stays cold, which heats nobody."""
    runs = ('  filter_runs: [{pump: main low, start: ["03:00", "15:00"], lasts: 2 h}]\n', "")
    _, result, trials = broken("heat-without-flow", OWN_THERMOSTAT, HEATING, (f"  {FLUSHES}\n", ""), runs)
    assert trials[0].idle
    assert not trials[0].holds
    told = lines(result, tuple(trials))
    assert f"Tried 1, no mend, for it then never comes on: {trials[0].said}" in told


def test_a_mend_that_takes_a_flush_away_says_what_that_breaks(broken: Broken) -> None:
    """Where flushes alone move a leg, water there is stale without them."""
    bathing = '  bathing: [{start: "07:15", lasts: 40 min, people: 2}]\n  quiet_hours'
    once = (FILTERS, 'start: ["03:00"], lasts: 2 h')
    limit = ("interlocks:", "limits: {water_age: 13 h}\ninterlocks:")
    _, _, trials = broken("flush-onto-people", ("  quiet_hours", bathing), once, limit, HEATING)
    away = next(trial for trial in trials if "take it out" in trial.said)
    assert away.holds
    assert "stale-water (bench)" in away.breaks


def test_a_flush_is_offered_for_a_last_jet_too(scenario) -> None:
    """Whoever flushes the bench flushes its last jet; 40 s is the first length offered that is enough."""
    built = scenario((FLUSHES, "line_flushes: []"))
    plant, programme = Assembly(built), Programme(built)
    for name in ("bench", "bench, last jet"):
        offered = changes(RULES["stale-water"], plant, programme, Subject(name, ()))
        said = [change.sentence for change in offered]
        assert 'a line flush: {pump: main high, start: ["07:00", "19:00"], lasts: 40 s}' in said, name


def said_for(built: Scenario, rule: str, about: Subject) -> list[str]:
    """The mends that a rule knows of for a subject."""
    return [one.sentence for one in changes(RULES[rule], Assembly(built), Programme(built), about)]


def test_what_the_file_has_is_no_mend(scenario) -> None:
    """The block of the element while main high runs stands in the file; without it, it is offered."""
    block = "  - {block: element, while: main high, because: the breaker}\n"
    about = Subject("supply", ("main", "element"))
    assert "wire {block: element, while: main high}" not in said_for(scenario(), "supply-overload", about)
    without = scenario((block, ""))
    assert "wire {block: element, while: main high}" in said_for(without, "supply-overload", about)


def test_another_order_of_ranks_is_tried(scenario) -> None:
    """Above a filter run stand a flush and heating of the same pump; no frost protection is there."""
    offered = said_for(scenario(), "demand-not-served", Subject("filter run", ()))
    assert offered == [
        "schedule.ranks: [bathing, frost_protection, line_flush, filter_run, heating]",
        "schedule.ranks: [bathing, frost_protection, filter_run, line_flush, heating]",
    ]


def test_frost_protection_is_tried_as_fast_as_what_it_keeps_waiting(scenario) -> None:
    """It runs main low, heating asks for main high; for low, or with both at high, nothing is tried."""
    frost = "  frost_protection: {watches: room, starts_below: 4 degC, stops_above: 6 degC, pump: main low}\n"
    heated = ("heating: {with: [element], pump: main low", "heating: {with: [element], pump: main high")
    slow = scenario(("  quiet_hours", f"{frost}  quiet_hours"), heated)
    said = said_for(slow, "demand-not-served", Subject("heating", ()))
    assert said[0] == "frost protection at main high, which serves both"
    for unneeded in (
        scenario(("  quiet_hours", f"{frost}  quiet_hours")),
        scenario(("  quiet_hours", f"{frost.replace('main low', 'main high')}  quiet_hours"), heated),
    ):
        said = said_for(unneeded, "demand-not-served", Subject("heating", ()))
        assert not any("frost protection at" in one for one in said)


def test_the_next_source_is_tried_sooner_for_people(scenario) -> None:
    """1 K is usual; 0.5 K, the least that is usual, and 0.2 K are tried where less; one source has none."""
    for below, tries_k in (("", [0.5, 0.2]), (", next_below: 0.3 K", [0.2]), (", next_below: 0.1 K", [])):
        built = scenario(*WINTER[:2], ("within: 1 K", f"within: 1 K{below}"))
        said = said_for(built, "cold-at-session", Subject("bathing", ()))
        assert said == [f"let element join sooner: next_below: {k:g} K" for k in tries_k]
        (first, *_) = [*changes(RULES["cold-at-session"], Assembly(built), Programme(built),
                                Subject("bathing", ()))] or [None]  # fmt: skip
        if first is not None:
            assert [(e.path[-1], e.text) for e in first.edits] == [("next_below", f"{tries_k[0]:g} K")]
    assert said_for(scenario(), "cold-at-session", Subject("bathing", ())) == []
    wide = scenario(("within: 1 K", "within: 2 degF"))
    assert said_for(wide, "cold-at-session", Subject("bathing", ())) == ["a narrower band: within: 1 K"]


def test_a_file_in_us_units_gets_mends_in_them(scenario) -> None:
    """As the file has 40 degF, so has the mend, and is read again as what was tried.

    Frost protection 3 K sooner begins at 45.4 degF; half a kelvin is 0.9 degF (arithmetic).
    """
    text = (SHIPPED.parent / "cedar-yard.yaml").read_text(encoding="utf-8")
    built = load_text(text, "tub.yaml", folder=SHIPPED.parent)
    about = Subject("filter", ())
    (frost,) = changes(RULES["frost-in-plant"], Assembly(built), Programme(built), about)
    new = edited(text, frost.edits)
    assert "starts_below: 45.4 degF, stops_above: 49 degF" in new
    assert "degC" not in new
    read, tried_so = (
        one.schedule.frost_protection
        for one in (load_text(new, "tub.yaml", folder=SHIPPED.parent), frost.of(built))
    )
    assert read is not None
    assert tried_so is not None
    assert read.starts_below_c == pytest.approx(tried_so.starts_below_c, abs=1e-4)
    assert read.stops_above_c == pytest.approx(tried_so.stops_above_c, abs=1e-4)

    two = scenario(*WINTER[:2])
    two.told_in_us_units(True)
    first, *_ = changes(RULES["cold-at-session"], Assembly(two), Programme(two), Subject("bathing", ()))
    assert [edit.text for edit in first.edits] == ["0.9 degF"]


def test_no_order_of_ranks_is_tried_where_there_is_no_power(broken: Broken) -> None:
    """A cut of 40 h over the filter runs of 03:00 and 15:00: nobody's turn helps."""
    _, _, trials = broken("demand-not-served", (CUT[0], CUT[1] % ""))
    assert trials == []


def test_a_source_is_not_blocked_at_the_speed_that_alone_feeds_it(scenario) -> None:
    """It lacks flow at low and has enough at high, as in test_plant_rules: high is mend, not cause."""
    built = scenario(("needs_flow: 30 L/min", "needs_flow: 200 L/min"),
                     ("  - {block: element, while: main high, because: the breaker}\n", ""))  # fmt: skip
    offered = said_for(built, "source-underfed", Subject("element", ()))
    assert offered == ["heat at main high, which gives it enough"]


def test_a_flush_that_cannot_be_keyed_in_is_not_offered(scenario) -> None:
    """Of 15 and 16 s neither is enough (40 s is, above); where any length can be keyed in, one is."""
    flush, lengths = (FLUSHES, FLUSHES.replace("40 s", "15 s")), ", flush_lengths: [15 s, 40 s, 60 s]"
    about = Subject("line flush", ())
    few = scenario(flush, (lengths, ", flush_lengths: [15 s, 16 s]"))
    assert said_for(few, "flush-too-short", about) == []
    assert len(said_for(scenario(flush, (lengths, "")), "flush-too-short", about)) == 1


def test_what_freezes_between_flushes_is_flushed_once_more() -> None:
    """Rests of 12 h from 07:30 and from 19:30: in the middle of the first, and at the edge of quiet hours.

    The middle of the second, 01:30, is nearer to 21:45, the last quarter before 22:00, than to 07:00.
    """
    built = load(SHIPPED)
    offered = said_for(built, "frost-in-plant", Subject("left_bench", ()))
    assert offered[:2] == ["line flush at 13:30, too", "line flush at 13:30 and 21:45, too"]
    assert offered[2].startswith("frost_protection: ")


def test_what_freezes_while_nobody_comes_is_kept_warmer_first(broken: Broken) -> None:
    """6 degC in the tub, and a mild frost: it is tried first, and told as a run of its text is."""
    away = "within: 1 K, absences: [{from: 2027-01-01, to: 2027-01-31, keep_at: 6 degC}]"
    cold = ("mean: 12 degC", "mean: -1 degC")
    text, result, trials = broken("frost-in-plant", ("within: 1 K", away), cold)
    said = said_for(result.scenario, "frost-in-plant", Subject("bench", ()))
    assert said[0] == "keep 11 degC while nobody comes (absences: keep_at)"
    tries = [trial for trial in trials if trial.said == said[0]]
    written = edited(text, tries[0].edits)
    assert "keep_at: 11 degC}]" in written
    again = simulate(load_text(written, "tub.yaml"), days=3, start=date(2027, 1, 5))
    frozen = {one.subject for one in again.findings if one.rule == "frost-in-plant"}
    assert [trial.holds for trial in tries] == [trial.subject not in frozen for trial in tries]


def test_water_is_kept_no_warmer_away_than_when_people_come(scenario) -> None:
    """From 33 degC at most to the 36 of every day; where all days away have that, nothing is offered."""
    for away_c, said in ((33, ["keep 36 degC while nobody comes (absences: keep_at)"]), (36, [])):
        away = f"within: 1 K, absences: [{{from: 2027-01-01, to: 2027-01-31, keep_at: {away_c} degC}}]"
        offered = said_for(scenario(("within: 1 K", away)), "frost-in-plant", Subject("bench", ()))
        assert [one for one in offered if "nobody comes" in one] == said


def test_a_mend_tells_what_it_costs_and_a_dear_one_comes_last(broken: Broken, monkeypatch) -> None:
    """To filter twice as long costs about twice as much, two flushes of 15 s hardly anything."""
    monkeypatch.setattr("cyclesim.analysis.trials._DEAR", 1.25)
    limit = ("interlocks:", "limits: {water_age: 9 h}\ninterlocks:")
    text, result, trials = broken("stale-water", limit, HEATING, (FLUSHES, "line_flushes: []"))
    all_trials, trials = trials, [trial for trial in trials if trial.subject == "suction"]
    dear = next(trial for trial in trials if trial.said == "filter run at 09:00 and 21:00, too")
    in_order = [(trial.harms, trial.dear) for trial in trials]
    assert in_order == sorted(in_order)
    assert dear.dear
    of_bench = [trial for trial in all_trials if trial.subject == "bench" and trial.holds]
    assert "a line flush" in of_bench[0].said
    again = simulate(load_text(edited(text, dear.edits), "tub.yaml"), days=3, start=date(2027, 1, 5))
    costs = [one.metrics.energy.cost for one in (again, result)]
    assert [dear.cost, dear.cost_before] == pytest.approx(costs)
    of_it = [one for one in result.findings if (one.rule, one.subject) == (dear.rule, dear.subject)]
    (told,) = told_mends(of_it, [replace(dear, cost=1229.0, cost_before=463.0, breaks=())])
    assert told.then == "This run then keeps the rule. It then costs 1,229, not 463 EUR."


def test_a_mend_tells_what_it_makes_worse(broken: Broken) -> None:
    """4 h become 8 h, which is worse; 4 h become 4.4 h, which is hardly so; what is new is broken."""
    noise, stale, cold = ("quiet-hours", "main"), ("stale-water", "bench"), ("cold-at-session", "bathing")
    before = Days(frozenset({noise, stale}), frozenset(), lasts={noise: 4.0, stale: 4.0})
    after = Days(frozenset({noise, stale, cold}), frozenset(), lasts={noise: 8.0, stale: 4.4, cold: 1.0})
    assert after.longer_than(before) == ("quiet-hours (main)",)
    _, result, (mend, *_) = broken("no-run-on", (KEEP, ""))
    of_it = [one for one in result.findings if one.rule == "no-run-on"]
    harms = replace(mend, breaks=("a (b)",), worsens=("quiet-hours (main)",), cost=1.0, cost_before=1.0)
    (told,) = told_mends(of_it, [harms])
    assert told.then == "This run then keeps the rule, but breaks a (b), and makes quiet-hours (main) worse."


@pytest.mark.parametrize("harm", ["breaks", "worsens"])
def test_a_mend_that_harms_another_rule_is_never_the_first(broken: Broken, monkeypatch, harm: str) -> None:
    """Each mend comes to what is set here: the first breaks a rule or makes one worse, the second nothing.

    Two further runs are tried for the sake of that; where there is one run alone, the first is what there is.
    """
    _, result, _ = broken("no-run-on", (KEEP, ""))
    stale, noise = ("stale-water", "bench"), ("quiet-hours", "main")
    findings = [replace(result.findings[0], rule=rule, subject=of, times=4, total_h=4.0)
                for rule, of in (stale, noise)]  # fmt: skip
    result = replace(result, findings=tuple(findings))
    kept, harmed = frozenset({noise}), {"breaks": frozenset({noise, ("cold-at-session", "bathing")}),
                                        "worsens": frozenset({noise})}[harm]  # fmt: skip
    ran = frozenset({"main", "element"})
    worse = Days(
        harmed, ran, lasts={noise: 9.0 if harm == "worsens" else 4.0, ("cold-at-session", "bathing"): 1.0}
    )
    come = {}

    def comes_to(_: Result, change) -> Days:
        return come.setdefault(change.sentence, worse if not come else Days(kept, ran, lasts={noise: 4.0}))

    monkeypatch.setattr("cyclesim.analysis.trials._with", comes_to)
    first, second = tried(result, findings[:1])
    assert (1, 2) == (first.number, second.number)
    assert (0, 1) == (first.harms, second.harms)
    assert [second.said, first.said] == list(come)
    come.clear()
    (alone,) = tried(result, findings[:1], most_runs=1)
    assert 1 == alone.harms


BLOCKED = (
    "{block: element, while: main high, because: the breaker}",
    "{block: main high, while: element firing}",
)
OFTEN = ("output: 2300 W", "output: 500 W")


def test_no_order_of_ranks_is_tried_where_a_block_keeps_the_pump_off(broken: Broken) -> None:
    """The element fires for hours, which blocks high: what stands above what changes nothing."""
    _, result, trials = broken("demand-not-served", BLOCKED, OFTEN)
    assert {"its speed is blocked: while element firing"} == {
        one.cause for one in result.findings if one.rule == "demand-not-served"
    }
    assert [] == trials


def test_a_mend_tells_how_soon_it_freezes_without_power(broken: Broken) -> None:
    """The hours are those of a run of the changed file, and of the file as it is: not the same."""
    text, result, trials = broken("frost-in-plant", ("mean: 12 degC", "mean: 0 degC"))
    mend = next(trial for trial in trials if trial.at_zero != trial.at_zero_before)
    again = simulate(load_text(edited(text, mend.edits), "tub.yaml"), days=3, start=date(2027, 1, 5))
    for at_zero, one in ((mend.at_zero, again), (mend.at_zero_before, result)):
        kept = one.metrics.promises
        assert at_zero is not None
        assert kept is not None
        assert (at_zero.part, at_zero.after_h) == (kept.first_at_zero, kept.first_at_zero_after_h)


@pytest.mark.parametrize(
    ("now", "told"),
    [
        (AtZero("bench", 10.4), ""),
        (
            AtZero("filter", 15.0),
            "filter is at 0 °C after 15 h; without the mend bench is at 0 °C after 10 h",
        ),
        (None, "no part is at 0 °C within ten days; without the mend bench is at 0 °C after 10 h"),
    ],
)
def test_only_another_time_until_frost_is_told(broken: Broken, now: AtZero | None, told: str) -> None:
    """4 % more is as good as the same; 50 % more, and none at all, are not."""
    _, result, (mend, *_) = broken("no-run-on", (KEEP, ""))
    of_it = [one for one in result.findings if one.rule == "no-run-on"]
    frost = replace(mend, at_zero=now, at_zero_before=AtZero("bench", 10.0), cost=1.0, cost_before=1.0)
    [mended] = told_mends(of_it, [frost])
    said = f" With no power from the coldest hour on {told}." if told else ""
    assert mended.then == f"This run then keeps the rule.{said}"


def lines(result: Result, trials: tuple[MendTrial, ...]) -> list[str]:
    """The lines of a run's page."""
    return [block.text for block in run_page(result, tried=trials).blocks if isinstance(block, Line)]


def test_runs_are_few_unless_all_are_asked_for(broken: Broken) -> None:
    """No run, no trial: what was not tried says so on the page."""
    _, result, _ = broken("no-run-on", (KEEP, ""))
    none = tried(result, result.findings, most_runs=0)
    assert none == ()
    assert "Mend, not tried: wire {keep: main low, after: element, lasting: 30 s}" in lines(result, none)
    told = lines(result, tried(result, result.findings))
    assert any(line.startswith("Mend 1, tried: wire {keep") for line in told)


CUT = ("  quiet_hours:", "  outages: [{from: 2027-01-05 16:00, lasts: 40 h%s}]\n  quiet_hours:")
CIRCUITS = (
    "supply: {voltage: 230 V, breaker: 20 A, also_on_it: {lights: 230 W}, tariff: 0.20 EUR/kWh}",
    "supply: {voltage: 230 V, also_on_it: {lights: 230 W}, tariff: 0.20 EUR/kWh, circuits: {"
    "pumps: {breaker: 16 A, feeds: [main]}, rest: {breaker: 20 A, feeds: [%s]}}}",
)


@pytest.mark.parametrize(
    "changes",
    [
        [(CUT[0], CUT[1] % "")],
        [(CUT[0], CUT[1] % ", circuit: pumps"), (CIRCUITS[0], CIRCUITS[1] % "element, lights")],
    ],
    ids=["the supply", "its circuit"],
)
def test_no_run_of_a_pump_without_power_is_tried(broken: Broken, changes) -> None:
    """For 40 h nothing can run: more flushes would be as much without power as those that were missed."""
    _, result, trials = broken("stale-water", *changes)
    assert [] == trials
    assert any(
        line.startswith("Mend, not tried: nothing in the schedule mends it") for line in lines(result, ())
    )


def test_frost_while_a_controller_waits_is_mended_by_one_that_resumes(broken: Broken) -> None:
    """10 min without power in a frost, and nobody comes for a day: no pump runs however it is asked to."""
    frost = "frost_protection: {watches: room, starts_below: 4 degC, stops_above: 6 degC, pump: main low}"
    cut = f"  {frost}\n  outages: [{{from: 2027-01-05 20:00, lasts: 10 min}}]\n  quiet_hours:"
    waits = (
        "flush_lengths: [15 s, 40 s, 60 s]}",
        "flush_lengths: [15 s, 40 s, 60 s], after_power_cut: wait}",
    )
    cold = ("mean: 12 degC", "mean: 0 degC")
    text, result, trials = broken("frost-in-plant", cold, waits, ("  quiet_hours:", cut))
    causes = {one.cause for one in result.findings if one.rule == "frost-in-plant"}
    assert causes == {"the controller waits for a person after a power cut"}
    resumes = "a controller that keeps the time, and resumes by itself: after_power_cut: resume"
    assert {trial.said for trial in trials} == {resumes}
    assert all(trial.holds for trial in trials)
    new = edited(text, trials[0].edits)
    assert new == text.replace("after_power_cut: wait", "after_power_cut: resume")
    assert not [f for f in simulate(load_text(new, "tub.yaml"), days=3, start=date(2027, 1, 5)).findings
                if f.rule == "frost-in-plant"]  # fmt: skip


def test_what_a_clock_that_was_reset_runs_in_quiet_hours_is_mended_at_the_clock(broken: Broken) -> None:
    """Back at 03:50 and showing 00:00, the clock shows 19:30 at 23:20; no start of the file is moved."""
    cut = "  outages: [{from: 2027-01-05 03:10, lasts: 40 min}]\n  quiet_hours:"
    reset = ("60 s]}", "60 s], after_power_cut: midnight}")
    _, result, trials = broken("quiet-hours", reset, ("  quiet_hours:", cut))
    [finding] = [one for one in result.findings if one.rule == "quiet-hours"]
    assert finding.cause == "line flush: the controller's clock started at midnight after a power cut"
    assert finding.first == ("2027-01-05T23:20:00+00:00",)
    assert finding.mend.startswith("a controller that keeps the time: after_power_cut: resume")
    assert [(trial.holds, trial.edits[0].text) for trial in trials] == [(True, "resume")]


def test_what_low_water_stops_is_mended_by_filling_the_tub_up(broken: Broken) -> None:
    """For 10 h no pump moves water, and heating is called for: no speed and no pump helps."""
    low = ("  quiet_hours:", "  low_water: [{from: 2027-01-05 04:00, lasts: 10 h}]\n  quiet_hours:")
    _, result, _ = broken("heating-in-vain", low, ("mean: 12 degC", "mean: 0 degC"))
    [vain] = [one for one in result.findings if one.rule == "heating-in-vain"]
    assert vain.cause == "the water is below the suction fittings"
    assert vain.mend == "fill the tub up, and find where the water went"


def test_a_run_of_a_pump_that_has_power_is_tried(broken: Broken) -> None:
    """Of what is offered that alone is left out which runs nothing but pumps that had no power."""
    _, result, _ = broken("no-run-on", (KEEP, ""))
    [kept] = offered(result, "no-run-on", "element")
    runs = list(offered(result, "stale-water", "bench"))
    assert all(_runs_only(frozenset({"main"}), result, change) for change in runs)
    assert not any(_runs_only(frozenset({"spare"}), result, change) for change in runs)
    assert not _runs_only(frozenset({"main"}), result, kept)


def test_a_tried_mend_is_written(broken: Broken, tmp_path: Path) -> None:
    """One line more, every other byte as it was; what has no number is refused and nothing written."""
    text, result, trials = broken("no-run-on", (KEEP, ""))
    target = tmp_path / "new.yaml"
    new, said = applied_to_run(result, trials, 1, text, target)
    line = "  - {keep: main low, after: element, lasting: 30 s}\n"
    assert new == text + line
    assert said == "the same days no longer break no-run-on (element)"
    with pytest.raises(CycleSimError, match="There is no mend 9"):
        applied_to_run(result, trials, 9, text, target)
    assert not target.exists()
