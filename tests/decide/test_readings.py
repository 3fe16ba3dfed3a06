"""What readings would be at a plant, by hand; and readings that no such plant can give."""

from datetime import date
from math import exp, inf, log, log10, pi
from pathlib import Path

import pytest

import cyclesim
from cyclesim.decide.readings.built import AsBuilt, OutOfOrder
from cyclesim.decide.readings.doubts import drawn
from cyclesim.decide.readings.measured import Measured, measured
from cyclesim.decide.readings.predicted import predictions
from cyclesim.physics.water import G, density_kg_m3, heat_capacity_j_kg_k, viscosity_pa_s
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.readings import Readings
from cyclesim.scenario.reading.readings import load_readings_text
from cyclesim.simulation.assembly import Assembly

L_MIN = 1.0 / 60_000.0


@pytest.fixture(scope="module")
def loop() -> Scenario:
    """A pump of 16 m and 400 L/min whose loop loses 4 m at 200 L/min, all of it in the filter."""
    return cyclesim.load(Path(__file__).parent / "loop.yaml")


def taken(scenario: Scenario, *lines: str) -> Readings:
    """Readings, one a line."""
    text = "measured: 2027-05-02\nreadings:\n" + "".join(f"  - {{{line}}}\n" for line in lines)
    return load_readings_text(text, scenario)


def would_be(scenario: Scenario, line: str, parts: OutOfOrder | None = None) -> float:
    """What one reading would be."""
    built = AsBuilt(scenario) if parts is None else AsBuilt(scenario, parts=parts)
    return predictions(built, taken(scenario, line).readings, date(2027, 5, 2))[0]


def found(scenario: Scenario, *lines: str) -> Measured:
    """What readings say."""
    return measured(scenario, taken(scenario, *lines), days=2)


def test_the_duty_of_two_parabolas_by_hand(loop: Scenario) -> None:
    """16 (1 - (Q/400)2) = 4 (Q/200)2 = 16 (Q/400)2 at Q = 400 / root 2 and half of 16 m.

    Of water at 38 degC, 993 kg/m3 (IAPWS, in physics' own tests): as a gauge in bar has it, 7.944 m.
    """
    high = "with: main high"
    assert 282.84 * L_MIN == pytest.approx(
        would_be(loop, f"kind: flow, reads: 1 L/min, through: filter, {high}"), rel=1e-4
    )
    reads = would_be(loop, f"kind: gauge, reads: 1 m, at: after main, {high}")
    assert 0.993 * 8.0 == pytest.approx(reads, abs=0.01)
    higher = would_be(loop, f"kind: gauge, reads: 1 m, at: after main, {high}, above_water: 1.5 m")
    assert 0.993 * 6.5 == pytest.approx(higher, abs=0.01)


def test_a_gauge_in_bar_reads_what_the_plumbers_paper_tells(loop: Scenario) -> None:
    """The paper's kPa are density times g times the head: the same number, typed in, is what is predicted."""
    paper_kpa = density_kg_m3(38.0) * G * 8.0 / 1000.0  # half of 16 m, as above
    gauge = f"kind: gauge, reads: {paper_kpa:.3f} kPa, at: after main, with: main high"
    [reading] = taken(loop, gauge).readings
    assert reading.value == pytest.approx(would_be(loop, gauge), rel=1e-3)


def test_half_the_speed_is_half_the_flow_and_a_quarter_of_the_head(loop: Scenario) -> None:
    """The affinity laws, in a loop whose losses go by the square."""
    bucket = "kind: bucket, holds: 10 L, filled_in: 9 s, at: return, with: main"
    gauge = "kind: gauge, reads: 1 m, at: before filter, with: main"
    assert 0.5 == pytest.approx(would_be(loop, f"{bucket} low") / would_be(loop, f"{bucket} high"), rel=1e-4)
    assert 0.25 == pytest.approx(would_be(loop, f"{gauge} low") / would_be(loop, f"{gauge} high"), rel=1e-3)


def test_the_drop_along_a_narrow_pipe_is_the_handbook_s(loop: Scenario) -> None:
    """Darcy and Swamee-Jain (1976), by hand, for the flow that is predicted: within 1 %."""
    ways = "with: main low, valves: {main_way: shut, by_way: open}"
    flow = would_be(loop, f"kind: flow, reads: 1 L/min, through: capillary, {ways}")
    drop = would_be(loop, f"kind: gauge, reads: 1 m, at: before capillary, {ways}")
    bore_m, length_m, rough_m = 0.020, 20.0, 1.5e-6
    speed = flow / (pi / 4.0 * bore_m**2)
    reynolds = density_kg_m3(38.0) * speed * bore_m / viscosity_pa_s(38.0)
    factor = 0.25 / log10(rough_m / (3.7 * bore_m) + 5.74 / reynolds**0.9) ** 2
    assert drop == pytest.approx(factor * length_m / bore_m * speed**2 / (2.0 * G), rel=0.01)


def test_dye_comes_with_the_water_and_warmth_after_it(loop: Scenario) -> None:
    """Suction 0.785 L, pump 2 L, filter 10 L, element 1 L, return 0.785 L at 282.84 L/min."""
    at = "at: return, with: main high"
    litres = 2.0 * pi / 4.0 * 0.1**2 * 0.1 * 1000.0 + 2.0 + 10.0 + 1.0
    dye_s = would_be(loop, f"kind: arrival, of: dye, after: 9 s, {at}")
    assert litres / 282.84 * 60.0 == pytest.approx(dye_s, rel=1e-3)
    assert dye_s < would_be(loop, f"kind: arrival, of: warm_water, after: 9 s, {at}") < 1.3 * dye_s
    never = found(loop, f"kind: arrival, of: dye, after: 9 s, {at}, valves: {{main_way: shut}}").compared[0]
    assert (inf, False) == (never.predicted, never.agrees)


def test_a_cooling_is_an_exponential_and_gives_its_conductance_back(loop: Scenario) -> None:
    """Thin steel: one node. UA from the two temperatures, by hand, is that of cover and shell."""
    ended = would_be(loop, "kind: cooling, from: 38 degC, to: 30 degC, took: 24 h")
    per_m3 = density_kg_m3(38.0) * heat_capacity_j_kg_k(38.0)
    node = Assembly(loop).tub_node
    held = per_m3 + node.shell_j_k
    shell = 1.0 / (1.0 / node.g_w_k + 1.0 / node.ua_shell_w_k)
    assert ended == pytest.approx(10.0 + 28.0 * exp(-(node.ua_cover_w_k + shell) * 86_400 / held), abs=0.02)
    assert node.ua_cover_w_k + shell == pytest.approx(held / 86_400 * log(28.0 / (ended - 10.0)), rel=0.01)


def test_a_warm_up_without_losses_to_speak_of_is_m_c_dt(loop: Scenario) -> None:
    """4.6 kW and 70 % of 100 W for an hour into 1 m3; cover and shell lose some 20 W at 5 K above."""
    ended = would_be(
        loop, "kind: warm_up, from: 15 degC, to: 19 degC, took: 1 h, with: main low, heat: element"
    )
    held = density_kg_m3(38.0) * heat_capacity_j_kg_k(38.0) * 1.0128
    assert ended == pytest.approx(15.0 + (4600.0 + 70.0 - 35.0) * 3600.0 / held, abs=0.05)


def test_electric_readings_are_the_plate_s(loop: Scenario) -> None:
    """4600 W over 230 V is 20 A."""
    assert 20.0 == pytest.approx(would_be(loop, "kind: current, reads: 19 A, of: element"))
    assert 900.0 / 230.0 == pytest.approx(would_be(loop, "kind: current, reads: 4 A, of: main high"))
    assert 900.0 == pytest.approx(would_be(loop, "kind: power, reads: 900 W, of: main high"))


def test_a_meter_between_two_dates_is_the_run_s(loop: Scenario) -> None:
    """Two days of two hours on low, and the heating's runs beside them: the trace's own sums."""
    between = "between: [2027-05-02, 2027-05-04]"
    metrics = cyclesim.simulate(loop, days=2, start=date(2027, 5, 2)).metrics
    ran = would_be(loop, f"kind: running, reads: 4 h, of: main, {between}")
    assert metrics.pumps["main"].running_h == pytest.approx(ran / 3600.0)
    assert metrics.energy.energy_kwh == pytest.approx(
        would_be(loop, f"kind: energy, reads: 4 kWh, {between}") / 3.6e6
    )


def test_a_blocked_jet_leaves_its_water_to_the_others() -> None:
    """One of six jets that passes nothing: its bucket stays empty, its neighbour gets more."""
    garden = cyclesim.load("schedules/walled-garden.yaml")
    line = "kind: bucket, holds: 10 L, filled_in: 18 s, at: left_bench, with: main high, jet:"
    blocked = OutOfOrder({"left_bench jet 3": 1e-6})
    assert would_be(garden, f"{line} 3", blocked) < 1e-4 * would_be(garden, f"{line} 3")
    assert would_be(garden, f"{line} 2", blocked) > 1.03 * would_be(garden, f"{line} 2")


def test_a_prediction_is_off_by_the_root_of_squares_of_its_doubts(loop: Scenario) -> None:
    """An element's current: its output's -10 to +5 % alone, so 20 A less 0.5 A, 1.5 A to either side."""
    told = drawn(loop, taken(loop, "kind: current, reads: 19 A, of: element").readings, date(2027, 5, 2))
    assert list(told.deviation) == ["output of elements: element"]
    assert told.likely()[0] == pytest.approx(-0.5)
    assert 1.6449 * told.covariance()[0, 0] ** 0.5 == pytest.approx(1.5)


def test_the_reading_that_is_furthest_off_is_told_first(loop: Scenario) -> None:
    """2.5 A less than the middle of 19.5 A, with 1.5 A and 0.5 A: 1.58 of what both may be off by."""
    current = "kind: current, reads: 17 A, of: element, give_or_take: 0.5 A"
    rows = found(loop, "kind: flow, reads: 280 L/min, through: filter, with: main high", current).compared
    assert ["current of element", "flow through filter, main high"] == [row.reading for row in rows]
    assert 1.58 == pytest.approx(rows[0].apart, abs=0.01)
    assert [False, True] == [row.agrees for row in rows]


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("kind: flow, reads: 500 L/min, through: filter, with: main high", "ends at 400 L/min"),
        ("kind: bucket, holds: 20 L, filled_in: 2 s, at: return, with: main high", "ends at 400 L/min"),
        ("kind: gauge, reads: 20 m, at: after main, with: main high", "at most 16 m"),
        ("kind: gauge, reads: -10.2 m, at: before main, with: main high", "boils"),
        (
            "kind: arrival, of: dye, after: 0.5 s, at: capillary, with: main high, give_or_take: 0.1 s",
            "alone takes",
        ),
        ("kind: warm_up, from: 10 degC, to: 30 degC, took: 1 h, with: main low, heat: element", "K at most"),
        ("kind: cooling, from: 38 degC, to: 5 degC, took: 10 days", "colder than 10.0"),
        ("kind: energy, reads: 500 kWh, between: [2027-05-02, 2027-05-04]", "at full draw"),
    ],
)
def test_a_reading_that_contradicts_physics_is_named(loop: Scenario, line: str, why: str) -> None:
    """No plant of this pump, this pipe and this element can give it."""
    assert why in found(loop, line).compared[0].impossible


def test_a_reading_within_reach_contradicts_nothing(loop: Scenario) -> None:
    """Each kind, as predicted or near it."""
    rows = found(
        loop,
        "kind: flow, reads: 400 L/min, through: filter, with: main high",
        "kind: gauge, reads: 15 m, at: after main, with: main high",
        "kind: gauge, reads: -5 m, at: before main, with: main high",
        "kind: cooling, from: 38 degC, to: 11 degC, took: 10 days",
        "kind: warm_up, from: 15 degC, to: 19 degC, took: 1 h, with: main low, heat: element",
    ).compared
    assert [""] * 5 == [row.impossible for row in rows]
