"""The guide's checklists, each followed once from here: what is added is run, verified, tuned and listed."""

from collections.abc import Iterator
from dataclasses import replace
from typing import ClassVar, Literal, get_args

import pytest

from cyclesim.analysis.findings import PRACTICE, Breach, Change, Rule, Subject
from cyclesim.analysis.result import Result, simulate
from cyclesim.analysis.rules import RULES
from cyclesim.analysis.state_rules import treated_still, treating
from cyclesim.analysis.truth import Snapshot
from cyclesim.decide.comparing.comparison import MEASURES, Measure, compare
from cyclesim.decide.ranges import inputs
from cyclesim.decide.ranges.confidence import Tried, confidence
from cyclesim.decide.ranges.stated import AIR
from cyclesim.decide.tuning.tuning import Tuning, tune
from cyclesim.physics.links import Link, PipeLink
from cyclesim.said import run, values
from cyclesim.said.compare import compare_page, compare_values
from cyclesim.said.explain import said_of
from cyclesim.said.rules import rule_page, rule_values
from cyclesim.said.run import run_page
from cyclesim.said.values import result_values
from cyclesim.said.verify import verify_page
from cyclesim.scenario.blocks import schedule, treatment
from cyclesim.scenario.blocks.heat_sources import Switched
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.plant import Tub
from cyclesim.scenario.blocks.schedule import DEMANDS, SUN, Kind, Runs, Schedule
from cyclesim.scenario.blocks.treatment import Treatment
from cyclesim.scenario.forms.fields import Length, Power
from cyclesim.scenario.forms.forms import default
from cyclesim.scenario.reading import load as reading
from cyclesim.scenario.reading.load import load_text
from cyclesim.shown.terminal import printed
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.assumptions import Granted
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.variant import Variant
from cyclesim.spreads import Spread
from cyclesim.verification.answer import Verification
from cyclesim.verification.faults import FAULTS, FaultKind
from cyclesim.verification.verifier import verify

TEXT = """
format: 1
title: a tub to add things to
place:
  year: 2027
  time_zone: Etc/UTC
  weather: {mean: 12 degC, seasonal_swing: 0 K, daily_swing: 0 K, coldest_day: 20 January}
  zones: {room: {follows: weather}}
supply: {voltage: 230 V, breaker: 25 A, tariff: 0.20 EUR/kWh}
plant:
  tub:
    water: 1500 L
    surface: 3 m2
    cover: {foam: 60 mm, fit: good}
    shell: {wall: 120 mm, of: concrete, insulation: 50 mm, area: 7 m2, zone: room}
  legs: {pipe: {pipe: 50 PN10, length: 10 m, zone: room}}
  pumps: {pump: {max_head: 8 m, max_flow: 240 L/min, power: 300 W, zone: room}}
  equipment: {filter: {kind: filter, drop: 1 m at 140 L/min, volume: 10 L, zone: room}}
  heat_sources:
    element: {kind: electric, output: 3 kW, drop: 0.3 m at 140 L/min, volume: 2 L, needs_flow: 60 L/min,
              proof: {by: pump_contact}, zone: room}
  network: [[tub, pipe, pump, filter, element, tub]]
controller: {time_step: 3 h, filter_windows: 1, flushes_a_day: 0, flush_lengths: [30 s]}
schedule:
  filter_runs: [{pump: pump, start: "18:00", lasts: 3 h}]
  bathing: [{start: "19:00", lasts: 1 h}]
  heating: {with: [element], pump: pump, keep_at: 36 degC, within: 1 K}
interlocks:
  - {block: element, unless: flow proven, for: 5 s}
"""


def built(*changes: tuple[str, str]) -> Scenario:
    """The plant with texts replaced, each of which must stand in it once."""
    text = TEXT
    for old, new in changes:
        assert 1 == text.count(old), old
        text = text.replace(old, new)
    return load_text(text)


NO_HEATING = ("  heating: {with: [element], pump: pump, keep_at: 36 degC, within: 1 K}\n", "")
"""Whose thermostat could run the pump at any time."""


def everywhere(scenario: Scenario, *, faults: int = 0, days: int = 3) -> tuple[Result, Verification, Tuning]:
    """Run, verified and tuned, with everything that a person is told of the first two."""
    result, verification = simulate(scenario, days=days), verify(scenario, faults=faults)
    assert printed(run_page(result))
    assert printed(verify_page(verification))
    assert result_values(result)
    return result, verification, tune(scenario, days=days)


# -- a rule ------------------------------------------------------------------------------------------------


def pump_beside_people(snapshot: Snapshot, plant: Assembly) -> Iterator[Breach]:
    """A pump runs while people are in the water."""
    del plant
    for pump, closed in snapshot.contacts if snapshot.people else ():
        if closed:
            yield Breach(pump, "it runs while people are in the water", None, "s", "")


def each_pump(plant: Assembly, programme: Programme) -> Iterator[Subject]:
    """Every pump, where somebody bathes."""
    del programme
    for name in plant.pumps if plant.scenario.schedule.bathing else ():
        yield Subject(name, (name,), people=True)


def no_filter_runs(plant: Assembly, programme: Programme, about: Subject) -> Iterator[Change]:
    """Nothing that could run a pump."""
    del plant, programme, about
    yield Change(
        "filter by hand",
        lambda s: s.model_copy(update={"schedule": s.schedule.model_copy(update={"filter_runs": ()})}),
    )


STILL_BATHING = Rule(
    "still-bathing",
    "state",
    "comfort",
    sentence="Nobody hears a pump while bathing.",
    source=PRACTICE,
    mend="move the run",
    judge=pump_beside_people,
    programmes="always",
    principles=("quiet: common practice, no source",),
    subjects=each_pump,
    nothing="nobody bathes",
    changes=no_filter_runs,
)


def test_a_rule_is_one_record(monkeypatch: pytest.MonkeyPatch) -> None:
    """Broken by the run and by verification, which tries its mend; no programme that breaks it is held."""
    monkeypatch.setitem(RULES, STILL_BATHING.id, STILL_BATHING)
    result, verification, tuning = everywhere(built(NO_HEATING))
    (finding,) = (f for f in result.findings if f.rule == "still-bathing")
    assert ("pump", 3, 3.0, "move the run") == (finding.subject, finding.times, finding.total_h, finding.mend)
    (verdict,) = (v for v in verification.verdicts if v.rule == "still-bathing")
    assert verdict.broken
    assert verdict.story is not None
    assert "by the engine" == verdict.story.replayed
    assert [("filter by hand", True)] == [(mend.said, mend.holds) for mend in verdict.mends]
    assert ["still-bathing"] == [f.rule for f in tuning.own.refused if f.severity == "comfort"]
    assert tuning.recommended is not None
    assert "still-bathing" not in {f.rule for f in tuning.recommended.outcome.findings}
    assert STILL_BATHING.id in {value["id"] for value in rule_values()["rules"]}
    assert STILL_BATHING.sentence in printed(rule_page())


def test_a_rule_says_why_there_is_nothing_to_verify(monkeypatch: pytest.MonkeyPatch) -> None:
    """In its own words; and where nothing breaks it, every order of events holds it."""
    monkeypatch.setitem(RULES, STILL_BATHING.id, STILL_BATHING)
    alone = ('  bathing: [{start: "19:00", lasts: 1 h}]\n', "")
    assert (("still-bathing", "nobody bathes"),) == verify(built(alone), rule="still-bathing").not_needed
    (verdict,) = verify(built(NO_HEATING, ("18:00", "06:00")), rule="still-bathing").verdicts
    assert not verdict.broken
    assert verdict.states > 0


# -- a demand ----------------------------------------------------------------------------------------------


class _Rinsing(Schedule):
    """A schedule with one more list of runs."""

    rinses: Runs = ()


class _Scenario(Scenario):
    schedule: _Rinsing


RINSES = ("  filter_runs:", '  rinses: [{pump: pump, start: "06:10", lasts: 10 min}]\n  filter_runs:')


def test_every_kind_of_demand_can_be_ranked() -> None:
    """What the file may write under `ranks` is what there is."""
    assert (*DEMANDS, SUN) == get_args(Kind)


def test_a_demand_is_a_field_and_its_kind(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is read and refused like the rest, runs its pump, is told, judged, and stays in what is tuned."""
    monkeypatch.setitem(schedule.DEMANDS, "rinse", "rinses")
    monkeypatch.setattr(reading, "Scenario", _Scenario)
    wrong = (RINSES[0], RINSES[1].replace("pump: pump", "pump: pmp"))
    with pytest.raises(reading.InputError, match=r"schedule.rinses.0.pump: found 'pmp'"):
        built(wrong)
    scenario = built(RINSES, NO_HEATING)
    result, verification, tuning = everywhere(scenario)
    at = [(24 * day + 6) * 3600 + 600 for day in range(3)]
    assert [(t, t + 600) for t in at] == result.trace.demands["rinse"].spans("raised")
    assert all(any(a <= t and t + 600 <= b for a, b in result.trace.pumps["pump"].spans("on")) for t in at)
    (finding,) = (f for f in result.findings if f.rule == "programme-does-not-fit" and "rinse" in f.cause)
    assert "a rinse at 06:10, and its times move in steps of 3 h" == finding.cause
    ends = [(end.kind, end.said) for end in verification.dead_ends]
    assert any("a rinse at 06:10" in said for kind, said in ends if kind == "does not fit the controller")
    assert all(c.outcome.pump_h >= 0.5 for c in (tuning.own, *tuning.best))
    assert "rinse" in {t.demand.name for t in Programme(tuning.scenario).timed}
    starved = built((RINSES[0], RINSES[1].replace("06:10", "18:10")), NO_HEATING)
    both = simulate(starved, days=1).trace.deciding["pump"].labels
    assert "rinse" not in both, "a kind that was put in last has the lowest rank"


# -- a device ----------------------------------------------------------------------------------------------


class _Plate(Switched):
    """A heat source that takes its heat from a district main: constant, for a little electricity."""

    kind: Literal["plate"]
    output_w: Power
    power_w: ClassVar[float] = 50.0  # type: ignore[misc]
    current_a: ClassVar[float | None] = None  # type: ignore[misc]
    minimum_run_s: ClassVar[float] = 0.0  # type: ignore[misc]


def test_a_heat_source_is_its_sheet() -> None:
    """It fires, is metered by its own power, verified, judged for its high limit, and tuned beside."""
    scenario = built()
    given = scenario.plant.heat_sources["element"]
    fields = {name: getattr(given, name) for name in Switched.model_fields if name != "kind"}
    plate = _Plate.model_construct(kind="plate", output_w=6000.0, **fields)
    plant = scenario.plant.model_copy(update={"heat_sources": {"element": plate}})
    scenario = scenario.model_copy(update={"plant": plant})
    result, verification, tuning = everywhere(scenario)
    source = result.metrics.heat_sources["element"]
    assert source.firing_h > 0.0
    # heat is 6 kW and electricity 50 W for as long as it fires
    assert pytest.approx(0.05 * source.firing_h) == source.energy_kwh
    assert pytest.approx(6.0 * source.firing_h, rel=1e-6) == source.heat_kwh
    assert ("no-independent-limit", "element") in {(f.rule, f.subject) for f in result.findings}
    assert {"heat-without-flow", "heat-before-proof"} <= {v.rule for v in verification.verdicts}
    assert tuning.recommended is None or tuning.recommended.outcome.devices["element"].running_h > 0.0


class _Ions(Treatment):
    """A treatment device of another kind."""

    kind: Literal["ions"]  # type: ignore[assignment]


def test_a_treatment_device_is_its_kind_and_its_rule(monkeypatch: pytest.MonkeyPatch) -> None:
    """By the clock, without its flow proven: its own rule is broken in the run and in every report."""
    monkeypatch.setitem(treatment.KINDS, "ions", "copper and silver")
    ions = Rule(
        "ions-without-flow",
        "state",
        "wear",
        sentence="No ions go into still water.",
        source=PRACTICE,
        mend="prove the flow",
        judge=treated_still("ions"),
        subjects=treating("ions"),
        nothing="there is none",
        changes=RULES["lamp-without-flow"].changes,
    )
    monkeypatch.setitem(RULES, ions.id, ions)
    lamp = (
        "  network:",
        "  treatment: {cell: {kind: uv, in: filter, needs_flow: 60 L/min, power: 40 W, proof: {by: none}, "
        'runs: [{start: "10:00", lasts: 1 h}]}}\n  network:',
    )
    scenario = built(lamp, NO_HEATING)
    cell = _Ions.model_construct(**{**dict(scenario.plant.treatment["cell"]), "kind": "ions"})
    plant = scenario.plant.model_copy(update={"treatment": {"cell": cell}})
    result, verification, _ = everywhere(scenario.model_copy(update={"plant": plant}))
    assert ["ions-without-flow"] == [f.rule for f in result.findings if f.subject == "cell"]
    assert {"cell": True} == {v.subject: v.broken for v in verification.verdicts if v.rule == ions.id}
    assert "copper and silver" in printed(run_page(result))


# -- a fault -----------------------------------------------------------------------------------------------


def leaves(link: Link) -> Link:
    """Leaves over the grate of a pipe: 2000 velocity heads more.

    60 L/min run at 0.6 m/s through a bore of 45 mm, which costs 40 m: more than the pump's 8 m.
    """
    return replace(link, k=link.k + 2000.0) if isinstance(link, PipeLink) else link


LEAVES = FaultKind(lambda plant, _: ((n, f"leaves cover {n}") for n in plant.sheet.legs), link=leaves)


def test_a_fault_is_one_record(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is tried, told and replayed; a flow switch sees what a pump's contact does not."""
    monkeypatch.setitem(FAULTS, "leaves", LEAVES)
    _, verification, tuning = everywhere(built(), faults=1)
    assert tuning.tried

    def under_leaves(verification: Verification) -> str:
        (heat,) = (v for v in verification.verdicts if v.rule == "heat-without-flow")
        (cell,) = (c for c in heat.cells if c.faults == ("leaves cover pipe",))
        if cell.story is not None:
            assert "by the engine" == cell.story.replayed
            assert any("leaves cover pipe" in step for step in cell.story.steps)
        return cell.barrier

    assert "nothing" == under_leaves(verification)
    seen = ("pump_contact", "flow_switch")
    assert "controller" == under_leaves(verify(built(seen), faults=1, rule="heat-without-flow"))


# -- a default, and a number of the model ------------------------------------------------------------------


class _Rimmed(Tub):
    """A tub with a rim, whose height nobody need tell."""

    rim_m: Length = default(
        0.05,
        alias="rim",
        spread=Spread(2, 15, "cm", low_unit="mm"),
        source=PRACTICE,
        description="Its height.",
    )


def told_of(scenario: Scenario, named: str) -> tuple[str, dict[str, str], Tried, bool]:
    """What a run's page, the JSON's list and the ranges say of a number; and whether a range names it."""
    sure = confidence(scenario, days=1, draws=0)
    result = simulate(scenario, days=1)
    values = result_values(result, sure)
    (listed,) = (value for value in values["defaults"] if value["path"].endswith(named))
    (tried,) = (one for one in sure.inputs if named in one.input)
    assert {"input": tried.input, "lowest": tried.lowest} == {
        key: value
        for one in values["confidence"]["inputs"]
        if named in one["input"]
        for key, value in one.items()
        if key in ("input", "lowest")
    }
    felt = any(named in influence.input for one in sure.estimates for influence in one.most_sensitive_to)
    return printed(run_page(result, everything=True, sure=sure), 200), listed, tried, felt


def test_a_default_is_declared_with_its_spread() -> None:
    """It lists itself in report and JSON, and ranges put it to its ends, which no number here feels."""
    scenario = built()
    given = scenario.plant.tub
    tub = _Rimmed.model_construct(_fields_set=given.model_fields_set, **dict(given))
    plant = scenario.plant.model_copy(update={"tub": tub})
    page, listed, tried, felt = told_of(scenario.model_copy(update={"plant": plant}), "rim")
    assert "plant.tub.rim: 50 mm; spread 2 mm to 15 cm" in page
    assert {
        "path": "plant.tub.rim",
        "value": "50 mm",
        "spread": "2 mm to 15 cm",
        "source": PRACTICE,
    } == listed
    assert Tried("rim (tub)", "2 mm", "15 cm", PRACTICE) == tried
    assert not felt
    assert f"Left out it is 50 mm (in practice 2 mm to 15 cm; {PRACTICE})." in [
        *said_of("rim", _Rimmed.model_fields["rim_m"], float)
    ]


def test_a_number_of_the_model_is_a_row_with_the_plant_that_it_is_off_in(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Beside its spread it says what is otherwise: here air that is warmer by so many times 2 K."""

    def warmer(scenario: Scenario, factor: float) -> Variant:
        return AIR.at(scenario, 2.0 * (factor - 1.0))

    sun = Granted("sun on the lid", "2 K", Spread(0, 6, "K"), PRACTICE, 2.0, off=warmer)
    for module in (inputs, values):
        monkeypatch.setattr(module, "assumptions", lambda _: (sun,))
    monkeypatch.setattr(run, "assumptions", lambda _: (sun,))
    page, listed, tried, felt = told_of(built(), "sun on the lid")
    assert "sun on the lid: 2 K; spread 0 to 6 K" in page
    assert "0 to 6 K" == listed["spread"]
    assert ("0 K", "6 K") == (tried.lowest, tried.highest)
    assert felt


# -- a measure ---------------------------------------------------------------------------------------------


def test_a_measure_is_one_row(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a future comes to, on the page and in the JSON: pumps that run 3 h a day, and twice that."""
    pumped = Measure("pumps run, h a year", lambda known: known.a_year(known.outcome.pump_h))
    monkeypatch.setitem(MEASURES, "pump_h_a_year", pumped)
    once, twice = built(NO_HEATING), built(NO_HEATING, ("lasts: 3 h", "lasts: 6 h"))
    found = compare([once, twice], days=2, futures=2, sensitivity=False)
    told = compare_values(found)
    assert [[1095.0, 2190.0]] * 2 == [[one["pump_h_a_year"] for one in future] for future in told["futures"]]
    (versus,) = told["versus_the_first"]
    assert (2, 1095.0) == (versus["pump_h_a_year"]["less"], versus["pump_h_a_year"]["median"])
    (line,) = (x for x in printed(compare_page(found), 100).splitlines() if "pumps run, h a year" in x)
    assert ["0", "2", "1,095", "1,095", "1,095"] == line.split()[-5:]
