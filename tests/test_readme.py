"""The README's numbers are those of the shipped files."""

import re
from collections import Counter
from pathlib import Path

import pytest

import cyclesim
from cyclesim.physics.links import PipeLink
from cyclesim.said.tune import tune_page
from cyclesim.said.verify import verify_page
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.shown.terminal import printed
from cyclesim.simulation.assembly import Assembly
from tests.cli.called import call
from tests.evidence.catalogue import light

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


PAIR = ("walled-garden", "walled-garden-circulator")
READINGS = "schedules/readings/walled-garden.yaml"


def row(label: str) -> list[float]:
    """The numbers of a row of the README's table."""
    (line,) = (line for line in README.splitlines() if line.startswith(f"| {label} |"))
    return [float(n) for n in re.findall(r"\| ([\d.]+)", line)]


def in_order(told: str, report: str) -> None:
    """Every line that the README tells stands in the report, in that order."""
    at = 0
    for line in filter(None, told.splitlines()):
        at = report.index(line, at)


def buried_m(scenario: Scenario) -> float:
    """Metres of its pipes, all of which lie in soil, with those between jets."""
    assert {"soil"} == {leg.zone for leg in scenario.plant.legs.values()}
    plant = Assembly(scenario)
    links = plant.links_at(dict.fromkeys(plant.pumps, "stopped"), plant.usually)
    return sum(link.length_m for link in links if isinstance(link, PipeLink))


def test_the_table_of_the_shipped_pair_is_true():
    """A year of both plants, to the digits that the README prints."""
    for k, name in enumerate(PAIR):
        result = cyclesim.simulate(cyclesim.load(ROOT / "schedules" / f"{name}.yaml"))
        metrics = result.metrics
        benches = [leg.oldest_water_h for leg_name, leg in metrics.legs.items() if "bench" in leg_name]
        pumps = sum(pump.energy_kwh for pump in metrics.pumps.values())
        assert pytest.approx(row("oldest water in a jet leg")[k], abs=0.05) == max(benches)
        assert pytest.approx(row("energy of the pumps in a year")[k], abs=0.5) == pumps
        assert pytest.approx(row("energy in a year")[k], abs=0.5) == metrics.energy.energy_kwh
        assert (
            pytest.approx(row("heat lost from the pipes in a year")[k], abs=0.5)
            == metrics.tub.lost_from_legs_kwh
        )
        assert () == result.findings
        assert f"{buried_m(result.scenario):.0f} m" in README.partition("The pipes lose some three times")[2]
        assert (
            pytest.approx(1100, rel=0.03)
            == metrics.tub.lost_through_cover_kwh + metrics.tub.lost_through_shell_kwh
        )


KINDS = {"computed": 1, "read": 2, "seen": 2, "from": 3, "arithmetic": 4, "common": 5, "yardstick": 6}
"""First word of a status -> its column behind the number of checks."""


def test_the_table_of_evidence_counts_the_checks():
    """How many of which kind in each group; how much of a tolerance is used is held where each is judged."""
    counted = Counter()
    for check in light():
        counted[check.group, 0] += 1
        counted[check.group, KINDS[re.split("[ ,]", check.status)[0]]] += 1
    for group in sorted({group for group, _ in counted}):
        assert row(group)[:-1] == [counted[group, column] for column in range(7)], group


def test_the_story_of_the_heat_pump_is_what_verify_tells():
    """Every line of the README's story stands in the report of the shipped file, in that order."""
    page = verify_page(cyclesim.verify(cyclesim.load(ROOT / "schedules" / "orchard-wall.yaml")))
    begins = "How heat-without-flow (heat_pump) comes about\n"
    told = README.partition(begins)[2].partition("```")[0]
    assert 6 == len(told.splitlines())
    in_order(begins + told, printed(page))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("begins", "lines", "command"),
    [
        ("1. heat_pump:", 9, "run schedules/orchard-wall.yaml"),
        ("gauge after main,", 8, f"measured schedules/walled-garden.yaml {READINGS}"),
    ],
)
def test_what_a_command_is_shown_to_print_it_prints(begins: str, lines: int, command: str) -> None:
    """Line by line, from the first that is shown."""
    told = begins + README.partition(f"\n{begins}")[2].partition("```")[0]
    assert lines == len(told.splitlines())
    in_order(told, call(*command.split()).stdout)


@pytest.mark.slow
def test_the_heaters_of_the_walled_garden_are_as_told() -> None:
    """Each number of the README's sentence stands in what the command says of that size."""
    found = call("size", "heater", "schedules/walled-garden.yaml").stdout
    (said,) = (line for line in README.splitlines() if line.startswith("**How large?**"))
    for size, hours, current in (("3 *", 22.9, 14.8), ("> 4.1", 15.9, 19.6), ("4.5", 14.3, 21.3)):
        warm, year = re.findall(rf"^ +{re.escape(size)} +(.*)", found, re.MULTILINE)
        assert hours == float(warm.split()[0])
        assert pytest.approx(current / 20.0, abs=0.006) == float(re.search(r"(\d+)%", year)[1]) / 100.0
        assert f"{current}" in said
        assert f"{hours} h" in said or size == "4.5"


# -- deciding: minutes of runs, so only where slow tests are asked for -------------------------------------


@pytest.mark.slow
@pytest.mark.timeout(1800)
def test_the_table_of_200_futures_is_what_compare_tells():
    """Every number of the table, and those in the words below it."""
    pair = [cyclesim.load(ROOT / "schedules" / f"{name}.yaml") for name in PAIR]
    found = cyclesim.compare(pair, futures=200, how=cyclesim.How(workers=None))
    for label, measure in (
        ("EUR a year", "cost_a_year"),
        ("EUR over 15 years", "total"),
        ("kWh a year", "energy_kwh_a_year"),
        ("oldest water, h", "oldest_water_h"),
    ):
        one = found.versus(0, 1, measure)
        (line,) = (line for line in README.splitlines() if line.startswith(f"| {label} |"))
        told = [float(n) for n in re.findall(r"\| (-?[\d.]+)", line)]
        assert [one.of - one.less - one.same, one.less] == told[:2]
        assert [one.low, one.median, one.high] == pytest.approx(told[2:], rel=0.005, abs=0.05)
    assert f"paid that back by year {found.pays_back()}" in README
    assert not any(swing.flips for swing in found.swings)


@pytest.mark.slow
@pytest.mark.timeout(1800)
def test_the_tuned_pair_is_as_told():
    """The programme in the block above, and what a year of each costs."""
    costs = []
    for name in PAIR:
        found = cyclesim.tune(
            cyclesim.load(ROOT / "schedules" / f"{name}.yaml"), how=cyclesim.How(workers=None)
        )
        assert found.recommended is not None
        costs.append(found.recommended.outcome)
    told = "Key this in\n" + README.partition("Key this in\n")[2].partition("```")[0]
    in_order(told, printed(tune_page(found)))
    assert f"costs {costs[0].cost:.0f} EUR a year beside {costs[1].cost:.0f}" in README
    assert f"({costs[0].oldest_water_h:.1f} h and {costs[1].oldest_water_h:.1f} h)" in README
