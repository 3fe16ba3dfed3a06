"""What sizing says of a circuit, by hand, and beside what a run of the same file breaks."""

from collections.abc import Iterator
from itertools import combinations
from pathlib import Path

import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from cyclesim import simulate
from cyclesim.decide.sizing.blower_sizing import size_blower
from cyclesim.decide.sizing.heater_sizes import with_size
from cyclesim.decide.sizing.pump_given import given_by, with_pump
from cyclesim.decide.sizing.pump_sizing import size_pump
from cyclesim.decide.sizing.supply_share import largest_w, supply_share
from cyclesim.scenario.blocks.data_sheets import Pump
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.simulation.assembly import Assembly
from tests.analysis.wirings import Wiring

ALONE = Wiring((), (), (), (), "europe", False)
BUSY = """
  filter_runs: [{pump: main high, start: ["01:00", "09:30", "12:00"], lasts: 1 h}]
  bathing: [{start: "10:00", lasts: 50 min, people: 3, pump: jets, jets_at_most: 20 min, presses: 2,
             air: true, air_at_most: 15 min}]
"""
"""Whatever may run at once does so, sooner or later, on a winter's day."""


def busy(wiring: Wiring, breaker_a: float) -> Scenario:
    """The plant on a breaker, with a full day of a schedule and heating that has much to do."""
    text = wiring.text().replace("breaker: 20 A", f"breaker: {breaker_a:g} A")
    text = text.replace("mean: 12 degC", "mean: -5 degC").replace("\nschedule:\n", f"\nschedule:{BUSY}")
    return load_text(text)


def jet_pump(amps: float) -> Pump:
    """The pump of the jets as drawn, but for its current."""
    return Assembly(busy(ALONE, 20.0)).pumps["jets"].model_copy(update={"current_a": amps})


def cautions(scenario: Scenario, amps: float) -> list[str]:
    """What is told of the breaker with such a pump."""
    offers = given_by(scenario, "jets", "offer", jet_pump(amps), None)
    return [caution for offer in offers for caution in offer.cautions if "breaker" in caution]


def overloads(scenario: Scenario) -> Iterator[str]:
    """What is on when supply-overload is broken, within two days."""
    found = simulate(scenario, days=2).findings
    return (finding.cause for finding in found if finding.rule == "supply-overload")


@pytest.mark.parametrize(
    ("blocks", "most"),
    [
        ((), "31.0 A on supply beside main high, blower, element, second, cell and lights"),
        ((("jets", "element firing"),), "21.0 A on supply beside main high, blower, second, cell and lights"),
        (
            (("jets", "element firing"), ("jets", "second firing"), ("main high", "jets running")),
            "11.5 A on supply beside main low, blower, cell and lights",
        ),
        (
            (("jets", "element firing"), ("jets", "second firing"), ("main high", "jets running"),
             ("blower", "jets running")),
            "8.5 A on supply beside main low, cell and lights",
        ),
    ],
)  # fmt: skip
def test_a_pump_is_counted_with_all_that_may_run_beside_it(
    blocks: tuple[tuple[str, str], ...], most: str
) -> None:
    """5.5 A with 7 + 3 + 10 + 4 + 0.5 + 1 A: alone within 8 A; every block takes its load off the sum."""
    wiring = ALONE._replace(blocks=blocks, proven=("element", "second"))
    told = cautions(busy(wiring, 8.0), 5.5)
    assert [f"{most}, whose breaker has 8 A"] == told
    assert [] == cautions(busy(wiring, float(most.split()[0])), 5.5)


def test_a_pump_within_the_rating_alone_but_not_with_the_lights() -> None:
    """5 A and the 1 A of the lights on 5.5 A, with all else kept off: 6 A."""
    names = ("main low", "main high", "blower", "element", "second", "cell")
    wiring = ALONE._replace(blocks=tuple((name, "jets running") for name in names))
    assert ["6.0 A on supply beside lights, whose breaker has 5.5 A"] == cautions(busy(wiring, 5.5), 5.0)
    assert [] == cautions(busy(wiring, 6.0), 5.0)


@pytest.mark.parametrize(
    ("proven", "most", "without"),
    [
        (("second",), 4.0 + 7.0 + 1.0, 4.0 + 7.0 + 6.0 + 3.0 + 10.0 + 0.5 + 1.0),
        ((), 4.0 + 1.5 + 6.0 + 3.0 + 10.0 + 1.0, 4.0 + 7.0 + 6.0 + 3.0 + 10.0 + 0.5 + 1.0),
    ],
)
def test_both_sums_are_told(proven: tuple[str, ...], most: float, without: float) -> None:
    """Second with main high, which the jets keep off: the flow that second needs parts nothing.

    Unproven it fires while what it is to keep off still runs; but for the cell, which opens at once.
    """
    others = tuple((name, "second firing") for name in ("main low", "blower", "element", "cell"))
    wiring = ALONE._replace(blocks=(*others, ("main high", "jets running")), proven=proven)
    share = supply_share(Assembly(busy(wiring, 20.0)), "second", lasts=True)
    assert share is not None
    assert most == pytest.approx(share.counted_a)
    assert without == pytest.approx(share.without_a)
    assert ("blower while second firing" in share.rests_on) == bool(proven)
    assert "main high while jets running" in share.rests_on


GIVES_WAY = ("jets", "main high", "blower", "element", "second")
"""Each may be blocked while one before it runs, so that no two take turns from second to second."""


def calm() -> st.SearchStrategy[Wiring]:
    """Interlocks as they are wired for a breaker."""
    runs = dict.fromkeys(GIVES_WAY, "running") | {"main high": "", "element": "firing", "second": "firing"}
    pairs = [(later, f"{first} {runs[first]}".strip()) for first, later in combinations(GIVES_WAY, 2)]
    return st.builds(
        Wiring,
        st.lists(st.sampled_from(pairs), max_size=6, unique=True).map(tuple),
        st.just(("element", "second")),
        st.sampled_from(((), (("main", "low", "element"),))),
        st.sampled_from(((), ("jets",), ("element",))),
        st.sampled_from(("europe", "north_america")),
        st.just(False),
    )


@settings(max_examples=12)
@given(calm(), st.floats(2.0, 14.0), st.integers(8, 30))
def test_what_sizing_says_fits_breaks_no_rule_of_the_same_file(
    wiring: Wiring, amps: float, breaker_a: int
) -> None:
    """A pump without a caution, and a heater of the largest size that is told, through two busy days."""
    scenario = busy(wiring, breaker_a)
    broken = any("jets" in cause for cause in overloads(with_pump(scenario, "jets", jet_pump(amps))))
    told = bool(cautions(scenario, amps))
    event(f"pump: told {told}, broken {broken}")
    assert told or not broken
    largest = largest_w(Assembly(scenario), "element", lasts=True) or 0.0
    if largest >= 100.0:
        causes = list(overloads(with_size(scenario, "element", largest)))
        event(f"heater: {len(causes)} overloads without it")
        assert not any("element" in cause for cause in causes)


def test_a_pump_of_other_speeds_stands_for_each_that_the_programme_knows() -> None:
    """7.4 A at its one speed, which heats too: 3000/230 + 7.4 + 60/230 = 20.70 A of 20; 6.6 A: 19.90 A.

    The jets' one speed by either of two: 5 A and the lights' 1 A within 6.5 A, 6 A not.
    """
    walled = load(Path(__file__).parents[2] / "schedules" / "walled-garden.yaml")
    lone = {"max_head": "12 m", "max_flow": "450 L/min", "power": "1.5 kW"}
    for amps, told in (
        ("7.4 A", ["20.7 A on supply beside element and lights, whose breaker has 20 A"]),
        ("6.6 A", []),
    ):
        offer = Pump.model_validate({**lone, "current": amps})
        (one,) = given_by(walled, "main", "offer", offer, None)
        assert told == [caution for caution in one.cautions if "breaker" in caution]
    off = tuple((n, "jets running") for n in ("main low", "main high", "blower", "element", "second", "cell"))
    two = Pump.model_validate({"low": {**lone, "current": "5 A"}, "high": {**lone, "current": "6 A"}})
    low, high = given_by(busy(ALONE._replace(blocks=off), 6.5), "jets", "offer", two, None)
    assert not any("breaker" in caution for caution in low.cautions)
    assert "7.0 A on supply beside lights, whose breaker has 6.5 A" in high.cautions


def test_two_pumps_are_on_the_circuit_of_one() -> None:
    """Twice 6 A with the lights' 1 A on 12 A, in parallel or in two loops: 13 A; one alone: 7 A."""
    off = tuple((n, "jets running") for n in ("main low", "main high", "blower", "element", "second", "cell"))
    ways = size_pump(busy(ALONE._replace(blocks=off), 12.0), "jets").arrangements
    told = {way.how: [caution for caution in way.cautions if "breaker" in caution] for way in ways}
    both = ["13.0 A on supply beside lights, whose breaker has 12 A"]
    assert {"one pump": [], "two in parallel": both, "two loops": both} == told


def test_a_blower_that_its_circuit_does_not_carry_comes_after_one_that_it_does() -> None:
    """Long table's 32 A: element and main low with the strong blower's 1100 W are too much."""
    table = load(Path(__file__).parents[2] / "schedules" / "long-table.yaml")
    plant, volts = Assembly(table), 230.0
    always = plant.current_a("main", "low") + sum(table.supply.also_on_it.values()) / volts
    beside = always + table.plant.heat_sources["element"].output_w / volts
    assert beside + 400.0 / volts < 32.0 < beside + 1100.0 / volts
    given_ = {one.blower: one for one in size_blower(table).given}
    assert (f"{beside + 1100.0 / volts:.1f} A on supply",) == tuple(
        caution.partition(" beside")[0] for caution in given_["strong"].cautions
    )
    assert () == given_["quiet"].cautions
