"""Ranges of a run's numbers: against closed forms, ordered, and the same with any workers."""

import json
import math
from collections.abc import Callable
from dataclasses import asdict, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import cyclesim
from cyclesim.decide.ranges import confidence as module
from cyclesim.decide.ranges.confidence import Confidence, Estimate, confidence
from cyclesim.decide.ranges.draws import drawn, merged
from cyclesim.decide.ranges.flushes import flush_lines, old_water
from cyclesim.decide.ranges.inputs import Input, inputs
from cyclesim.decide.ranges.numbers import NUMBERS, Number, Numbers, numbers
from cyclesim.decide.sweeps.sweep import How, job, sweep, swept
from cyclesim.decide.sweeps.varied import VariedPlant
from cyclesim.physics import walls
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.tolerance import AS_TOLD, Tolerance
from cyclesim.simulation.variant import Variant

Given = Callable[..., Confidence]
Pairs = list[tuple[float, float]]


@pytest.fixture(scope="module")
def tub() -> Scenario:
    """The starter's plant."""
    return load_text(starter_text())


@pytest.fixture
def given_inputs(tub: Scenario, monkeypatch: pytest.MonkeyPatch) -> Given:
    """A day of the starter with just these inputs varied."""

    def run(*varied: Input) -> Confidence:
        monkeypatch.setattr(module, "inputs", lambda _: (varied, ()))
        return confidence(tub, days=1, draws=0)

    return run


def of(sure: Confidence, number: str, subject: str = "") -> Estimate:
    """One of the estimates."""
    return next(e for e in sure.estimates if e.number == number and subject in (e.subject, ""))


def found_input(scenario: Scenario, name: str) -> Input:
    """One of the inputs that are varied."""
    return next(one for one in inputs(scenario)[0] if one.name == name)


def priced(scenario: Scenario, factor: float) -> Variant:
    """The scenario with every price so many times as high."""
    tariff = scenario.supply.tariff

    def dearer(one: object) -> object:
        price = one.price if hasattr(one, "price") else one  # type: ignore[attr-defined]
        return price._replace(amount=price.amount * factor)

    windows = tuple(w.model_copy(update={"price": dearer(w)}) for w in tariff.windows)
    told = {"otherwise": dearer(tariff.otherwise), "windows": windows}
    supply = scenario.supply.model_copy(update={"tariff": tariff.model_copy(update=told)})
    return Variant(scenario.model_copy(update={"supply": supply}), AS_TOLD)


# -- closed forms ------------------------------------------------------------------------------------------


def test_as_told_is_the_run_itself(tub: Scenario) -> None:
    """Without any factor every number is to the last bit that of `simulate`."""
    [read], result = swept([job(tub, 2)], NUMBERS), cyclesim.simulate(tub, days=2)
    metrics = result.metrics
    assert metrics.energy.energy_kwh == read[Number("energy_kwh", "all")]
    assert metrics.energy.cost == read[Number("cost", metrics.energy.currency)]
    limit_h = tub.limits.water_age_s / 3600.0
    for name, leg in metrics.legs.items():
        assert leg.oldest_water_h == read[Number("oldest_water_h", name, limit_h)]
    assert Assembly(tub).bodies == VariedPlant(tub, AS_TOLD).bodies
    assert Assembly(tub).tub_node == VariedPlant(tub, AS_TOLD).tub_node
    assert Assembly(tub).links == VariedPlant(tub, AS_TOLD).links


def test_no_input_no_width(given_inputs: Given) -> None:
    """Where nothing is off, nothing may be."""
    sure = given_inputs()
    assert sure.runs == 1
    for one in sure.estimates:
        assert one.low == one.value == one.high
        assert one.most_sensitive_to == ()
        assert not one.crosses_limit


def test_cost_goes_with_the_price_and_nothing_else_does(tub: Scenario, given_inputs: Given) -> None:
    """Half the price halves the cost, twice the price doubles it (exact): 0.5 and 2 of what it is."""
    sure = given_inputs(Input("price", "", "", "", priced(tub, 0.5), priced(tub, 2.0)))
    cost = of(sure, "cost")
    assert (0.5 * cost.value, 2.0 * cost.value) == pytest.approx((cost.low, cost.high), rel=1e-12)
    assert ("price",) == tuple(one.input for one in cost.most_sensitive_to)
    for one in sure.estimates:
        assert (one.low == one.value == one.high) == (not one.number.startswith("cost"))


def test_two_inputs_add_as_squares(tub: Scenario, given_inputs: Given) -> None:
    """Prices up by 30 % and by 40 % as two inputs: 50 % (3, 4, 5); what only goes up has no low side."""
    by_30 = Input("grid", "", "", "", None, priced(tub, 1.3))
    by_40 = Input("tax", "", "", "", None, priced(tub, 1.4))
    cost = of(given_inputs(by_30, by_40), "cost")
    assert cost.value == cost.low
    assert 1.5 * cost.value == pytest.approx(cost.high, rel=1e-12)
    assert ("tax", "grid") == tuple(one.input for one in cost.most_sensitive_to)


def test_time_to_the_last_jet_is_volume_over_flow(tub: Scenario, given_inputs: Given) -> None:
    """A pump that holds 1 or 5 L instead of 2 shifts the arrival by -1 and +3 L over its flow (exact)."""
    plant, lines = Assembly(tub), list(flush_lines(Assembly(tub), Programme(tub)))
    flush = tub.schedule.line_flushes[0]
    duty = plant.duty(plant.at(*flush.pump))
    flow = duty.flow_m3_s(flush.pump.pump)
    sure = given_inputs(found_input(tub, "volume (pumps)"))
    for line in lines:
        found = of(sure, "tub_water_at_last_jet_s", f"{line.flush}, {line.leg}")
        ends = line.reached_s - 0.001 / flow, line.reached_s + 0.003 / flow
        assert ends == pytest.approx((found.low, found.high), rel=1e-9)
        assert line.reached_s == pytest.approx(found.value, rel=1e-12)


@pytest.mark.parametrize("soil", [0.5, 1.0, 2.0])
def test_heat_lost_by_a_buried_pipe_goes_with_its_layers(soil: float) -> None:
    """1/UA is the sum of rings and soil (Incropera's shape factor, from memory); each goes as 1/k."""
    bore, outside, foam, depth = 0.057, 0.063, 0.009, 0.6
    skin = outside + 2 * foam
    off = walls.Off(pipe_foam=2.0, soil=soil)
    rings = math.log(outside / bore) / 0.19 + math.log(skin / outside) / (2.0 * 0.038)
    whole = (rings + math.acosh(2 * depth / skin) / (1.5 * soil)) / (2 * math.pi)
    assert 1.0 / whole == pytest.approx(walls.pipe_ua_per_m(bore, outside, foam, depth_m=depth, off=off))


def test_factors_of_the_walls_reach_the_plant(tub: Scenario) -> None:
    """Housings' UA doubles with their film, the cover's with its fit, and nothing else moves."""
    told, off = Assembly(tub), VariedPlant(tub, Tolerance(walls=walls.Off(housing_film=2.0, cover_fit=2.0)))
    for before, after in zip(told.bodies, off.bodies, strict=True):
        factor = 1.0 if before.name in tub.plant.legs else 2.0
        assert factor * before.ua_w_k == pytest.approx(after.ua_w_k, rel=1e-12)
    assert 2.0 * told.tub_node.ua_cover_w_k == pytest.approx(off.tub_node.ua_cover_w_k, rel=1e-12)
    assert told.tub_node.ua_shell_w_k == off.tub_node.ua_shell_w_k


def test_factors_reach_a_lagged_housing_through_its_layers(tub: Scenario) -> None:
    """Foam twice as good a conductor and a film twice as good double the loss of all its layers."""
    plant = tub.plant.model_copy(update={"equipment": {
        name: thing.model_copy(update={"insulation_m": 0.025}) for name, thing in tub.plant.equipment.items()
    }})  # fmt: skip
    lagged = tub.model_copy(update={"plant": plant})
    off = VariedPlant(lagged, Tolerance(walls=walls.Off(housing_film=2.0, pipe_foam=2.0)))
    bare_w_k, thick_w_k, doubled_w_k = (
        next(body.ua_w_k for body in one.bodies if body.name == "filter")
        for one in (Assembly(tub), Assembly(lagged), off)
    )
    assert thick_w_k == pytest.approx(walls.housing_ua(plant.equipment["filter"].volume_m3, 0.025), rel=1e-12)
    assert thick_w_k < 0.3 * bare_w_k
    assert doubled_w_k == pytest.approx(2.0 * thick_w_k, rel=1e-12)


def test_fittings_and_roughness_reach_the_pipes(tub: Scenario) -> None:
    """More loss in fittings means less flow, and rough pipes less still."""
    demand = tub.schedule.line_flushes[0].pump

    def flow(off: Tolerance) -> float:
        plant = VariedPlant(tub, off)
        return plant.duty(plant.at(*demand)).flow_m3_s(demand.pump)

    less, told, more = (flow(Tolerance(fittings=k)) for k in (0.75, 1.0, 1.25))
    assert less > told > more > flow(Tolerance(fittings=1.25, roughness=30.0)) > 0.0


@pytest.mark.parametrize(
    ("name", "number", "up"),
    [
        ("head of pumps", "tub_water_at_last_jet_s", -1),
        ("flow of jets", "tub_water_at_last_jet_s", -1),
        ("drop of a dirty filter", "turnovers_per_day", -1),
        ("heat to water (pumps)", "energy_kwh", -1),
        ("mean air temperature", "energy_kwh", -1),
        ("the water's sensor", "coldest_water_c", 1),
        ("output of elements", "most_current_a", 1),
    ],
)
def test_an_input_moves_its_number_the_right_way(
    tub: Scenario, given_inputs: Given, name: str, number: str, up: int
) -> None:
    """More of the input moves the number up or down, less of it the other way, or not at all."""
    one = of(given_inputs(found_input(tub, name)), number)
    [influence] = one.most_sensitive_to
    assert up * influence.at_highest > 0.0 or up * influence.at_lowest < 0.0
    assert up * influence.at_highest >= 0.0 >= up * influence.at_lowest


# -- how changes are combined ------------------------------------------------------------------------------

changes = st.lists(st.tuples(st.floats(-50.0, 50.0), st.floats(-50.0, 50.0)), max_size=6)
NUMBER = Number("running_h", "main", 120.0)


def combined(value: float, pairs: Pairs, number: Number = NUMBER) -> Estimate:
    """The range of a number that inputs move by these pairs of changes."""
    ends = [({number: value + low}, {number: value + high}) for low, high in pairs]
    return module._estimate(number, {number: value}, [f"input {k}" for k in range(len(pairs))], ends)


@given(changes, changes)
def test_ranges_hold_the_number_and_only_widen(
    few: list[tuple[float, float]], more: list[tuple[float, float]]
) -> None:
    """The number lies in its range; a further input never makes a range narrower; the order is nothing."""
    one, wider = combined(1000.0, few), combined(1000.0, few + more)
    assert wider.low <= one.low <= 1000.0 <= one.high <= wider.high
    turned = combined(1000.0, (few + more)[::-1])
    assert (wider.low, wider.high) == pytest.approx((turned.low, turned.high), rel=1e-12)


@given(changes)
def test_mirrored_inputs_mirror_the_range(pairs: Pairs) -> None:
    """Changes of the other sign give the range the other way round; low and high end may be swapped."""
    one, mirror = combined(1000.0, pairs), combined(1000.0, [(-low, -high) for low, high in pairs])
    assert one.high - 1000.0 == pytest.approx(1000.0 - mirror.low, abs=1e-9)
    swapped = combined(1000.0, [(high, low) for low, high in pairs])
    assert (one.low, one.high) == pytest.approx((swapped.low, swapped.high), rel=1e-12)


def test_never_is_beyond_all_bounds() -> None:
    """A plant in which water never gets there once an input is off has no upper end, and says why."""
    one = combined(20.0, [(-1.0, math.inf), (2.0, -2.0)])
    assert math.inf == one.high
    assert 20.0 - math.hypot(1.0, 2.0) == pytest.approx(one.low)
    assert "input 0" == one.most_sensitive_to[0].input
    assert combined(math.inf, [(0.0, 0.0)]).low == math.inf


def test_a_limit_inside_the_range_is_told() -> None:
    """100 h with 30 up crosses 120 h, with 10 up it does not; what cannot be below 0 is not."""
    assert combined(100.0, [(0.0, 30.0)]).crosses_limit
    assert not combined(100.0, [(0.0, 10.0)]).crosses_limit
    assert combined(10.0, [(-30.0, 0.0)]).low == 0.0
    assert combined(10.0, [(-30.0, 0.0)], Number("coldest_water_c", "tub")).low == -20.0


# -- several at once -----------------------------------------------------------------------------------------


def test_draws_widen_a_range_and_never_narrow_it() -> None:
    """What a draw came to is in the range, and one inside it changes nothing."""
    pairs = [(-3.0, 3.0), (-4.0, 4.0)]
    told, ends = {NUMBER: 100.0}, [({NUMBER: 100.0 + a}, {NUMBER: 100.0 + b}) for a, b in pairs]
    inside = module._estimate(NUMBER, told, ["a", "b"], ends, [{NUMBER: 101.0}])
    assert (95.0, 105.0) == (inside.low, inside.high)
    beyond = module._estimate(NUMBER, told, ["a", "b"], ends, [{NUMBER: 112.0}, {NUMBER: 94.0}])
    assert (94.0, 112.0) == (beyond.low, beyond.high)


def test_every_input_is_drawn_evenly_and_beside_the_others(tub: Scenario) -> None:
    """Of 24 draws each input is at its lowest in 4 and at its highest in 4, whatever the others are."""
    told = Variant(tub, AS_TOLD)
    varied = [
        found_input(tub, n) for n in ("head of pumps", "losses of fittings", "conductivity of the soil")
    ]
    made = drawn(told, varied, 24)
    pump = varied[0]
    assert pump.low
    assert pump.high
    for end in (pump.low, pump.high):
        assert 4 == sum(one.scenario.plant.pumps == end.scenario.plant.pumps for one in made)
    for factor in (0.75, 1.25):
        assert 4 == sum(one.tolerance.fittings == pytest.approx(factor) for one in made)
    for factor in (0.5 / 1.5, 2.5 / 1.5):
        assert 4 == sum(one.tolerance.walls.soil == pytest.approx(factor) for one in made)
    assert made == drawn(told, varied, 24)


@pytest.mark.parametrize("file", ["walled-garden", "high-valley", "long-table", "cedar-yard"])
def test_two_changes_are_both_there(file: str) -> None:
    """Two inputs merged either way round are the same, and differ from each alone."""
    scenario = load(f"schedules/{file}.yaml")
    told, varied = Variant(scenario, AS_TOLD), inputs(scenario)[0]
    ends = [end for one in varied for end in (one.high or one.low,) if end]
    for one, other in pairwise(ends):
        both = [merged(*three) for three in zip(told, one, other, strict=True)]
        assert both == [merged(*three) for three in zip(told, other, one, strict=True)]
        assert tuple(both) not in (told, one, other)


# -- the whole ---------------------------------------------------------------------------------------------


def test_the_same_whoever_runs_it(tub: Scenario, monkeypatch: pytest.MonkeyPatch) -> None:
    """One process or two: the same answer, and progress counts every run in order."""
    few = tuple(
        one for one in inputs(tub)[0] if one.name in ("head of pumps", "wind (weather)", "losses of fittings")
    )
    monkeypatch.setattr(module, "inputs", lambda _: (few, ()))
    done: list[tuple[int, int]] = []
    alone = confidence(tub, days=1, draws=6)
    shared = confidence(tub, days=1, draws=6, how=How(2, on_run=lambda *at: done.append(at)))
    assert asdict(alone) == asdict(shared)
    assert [(k, alone.runs) for k in range(alone.runs + 1)] == done


def test_runs_are_kept_and_not_made_again(
    tub: Scenario, given_inputs: Given, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """After Ctrl-C in the fourth run the first three are not made again, and the answer is the same."""
    varied = tuple(found_input(tub, name) for name in ("head of pumps", "flow of jets"))
    untold, made = given_inputs(*varied), list[Variant]()

    def variant(plant: VariedPlant) -> Variant:
        return Variant(plant.scenario, plant.tolerance)

    def interrupted(plant: VariedPlant, *ran: Any) -> Numbers:
        if len(made) == 3:
            raise KeyboardInterrupt
        made.append(variant(plant))
        return numbers(plant, *ran)

    how = How(keep=tmp_path / "runs.jsonl")
    monkeypatch.setattr(module, "NUMBERS", replace(NUMBERS, of=interrupted))
    with pytest.raises(KeyboardInterrupt):
        confidence(tub, days=1, draws=0, how=how)
    again: list[Variant] = []
    counted = replace(NUMBERS, of=lambda *ran: again.append(variant(ran[0])) or numbers(*ran))
    monkeypatch.setattr(module, "NUMBERS", counted)
    assert asdict(untold) == asdict(confidence(tub, days=1, draws=0, how=how))
    assert 5 == len(made) + len(again)
    assert not any(one in made for one in again)
    assert asdict(untold) == asdict(confidence(tub, days=1, draws=0, how=how))
    assert 5 == len(made) + len(again)


def test_a_run_kept_for_its_outcome_is_not_one_for_its_numbers(tub: Scenario, tmp_path: Path) -> None:
    """The same job in the same file, read in two ways, and a number that is never comes back as never."""
    kept, one = tmp_path / "runs.jsonl", job(tub, 1)
    how = How(keep=kept)
    outcomes, read = sweep([one], how), swept([one], NUMBERS, how)
    assert (outcomes, read) == (sweep([one], how), swept([one], NUMBERS, how))
    assert 2 == len([line for line in kept.read_text("utf-8").splitlines() if line])
    never = {Number("oldest_water_h", "bench", 24.0): math.inf, Number("cost", "EUR"): 0.1}
    assert never == NUMBERS.read(json.loads(json.dumps(NUMBERS.as_values(never))))


def test_public_name_and_refusal(tub: Scenario) -> None:
    """It is offered as `cyclesim.confidence`, and a run of no day is refused as `simulate` refuses it."""
    assert cyclesim.confidence is confidence
    with pytest.raises(ValueError, match="at least one day, not 0"):
        cyclesim.confidence(tub, days=0)


# -- flushes -----------------------------------------------------------------------------------------------


def test_the_filter_on_the_way_is_found_and_one_off_it_is_not() -> None:
    """One pump drives the jets through the filter; a jet pump of its own passes none."""
    for file, passes in (("walled-garden", True), ("walled-garden-circulator", False)):
        scenario = load(f"schedules/{file}.yaml")
        plant = Assembly(scenario)
        flush = scenario.schedule.line_flushes[0]
        flow = plant.duty(plant.at(*flush.pump)).flow_m3_s("filter")
        lines = list(flush_lines(plant, Programme(scenario)))
        assert ["left_bench", "right_bench"] == [line.leg for line in lines]
        for line in lines:
            assert (0.014 / flow if passes else 0.0) == pytest.approx(line.filter_s)
            assert 0.0 <= line.filter_s < line.reached_s


def test_a_flush_of_one_volume_by_each_picture() -> None:
    """In order all is replaced, by 5 tanks 55.95 % (exact, Erlang), and 1.83 volumes leave 5 %."""
    scenario = load("schedules/walled-garden.yaml")
    line = next(flush_lines(Assembly(scenario), Programme(scenario)))
    found = old_water(replace(line, lasts_s=line.reached_s))
    assert 1.0 == found.volumes
    assert 0.0 == found.in_order_percent
    assert 100.0 - 55.95 == pytest.approx(found.few_tanks_percent, abs=0.01)
    assert found.stirred_filter_percent is not None
    assert 1.8307 * line.reached_s == pytest.approx(
        found.lasts_for_5_percent_s, rel=1e-4
    )  # chi2(10) 0.95 / 10
    never = old_water(replace(line, reached_s=math.inf))
    assert (None, 0.0, 100.0) == (never.tub_water_at_last_jet_s, never.volumes, never.few_tanks_percent)
