"""Rules of what is wired, left and treated: for each an unsafe plant, and a mended twin without just that."""

from collections.abc import Callable

import pytest

from cyclesim.analysis.left import positions_left
from cyclesim.analysis.result import simulate
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.assembly import Assembly

Changes = tuple[tuple[str, str], ...]
Build = Callable[..., Scenario]

NETWORK = "  network: [[tub, suction, main, filter, element, bench, tub]]"
LIMIT = "high_limit: 60 degC, limit_sensor: own"


def device(kind: str, *more: str) -> tuple[str, str]:
    """A treatment device in the bench leg that runs for longer than the pump."""
    said = ", ".join(
        [
            f"kind: {kind}, in: bench, needs_flow: 30 L/min, power: 60 W",
            "proof: {by: none}",
            'runs: [{start: "03:00", lasts: 4 h}]',
            *more,
        ]
    )
    return NETWORK, f"  treatment: {{device: {{{said}}}}}\n{NETWORK}"


PROVEN = (
    "  - {block: element, while",
    "  - {block: device, unless: flow proven, for: 5 s}\n  - {block: element, while",
)
DIVERTED = (
    ("    bench: {pipe", "    spout: {pipe: 50 PN10, length: 3 m, zone: room}\n    bench: {pipe"),
    (
        "filter, element, bench, tub]]",
        "filter, element, {parallel: [[to_bench, bench], [to_spout, spout]]}, tub]]",
    ),
)
BOTH = "both: [to_bench, to_spout], spout: [to_spout], bench: [to_bench]"


def diverter(may_be: str) -> Changes:
    """The spout beside the bench, behind a diverter that may be left so."""
    text = (
        "  diverters: {turn: {drop: 0.2 m at 300 L/min, ways: [to_bench, to_spout], "
        f"opens: {{{BOTH}}}, usual: both{may_be}}}}}\n"
    )
    return (*DIVERTED[:1], (NETWORK, text + NETWORK.replace(*DIVERTED[1])))


OWN = "own_flow_switch: 5 s"
STILL = "it is on with no water flowing through bench"
TWINS: list[tuple[str, str, Changes, Changes, str]] = [
    ("no-independent-limit", "element", ((f" {LIMIT},", ""),), (), "it has no high limit"),
    (
        "no-independent-limit",
        "element",
        ((LIMIT, LIMIT.replace("own", "thermostat")),),
        (),
        "its high limit shares the thermostat's sensor",
    ),
    ("dosing-without-flow", "device", (device("dosing"),), (device("dosing"), PROVEN), STILL),
    ("gas-without-flow", "device", (device("ozone"),), (device("ozone"), PROVEN), STILL),
    ("gas-without-flow", "device", (device("salt_cell"),), (device("salt_cell", OWN),), STILL),
    ("lamp-without-flow", "device", (device("uv"),), (device("uv"), PROVEN), STILL),
    (
        "dry-running",
        "main",
        (("  quiet_hours", "  low_water: [{from: 2027-01-02 03:30, lasts: 10 min}]\n  quiet_hours"),),
        (
            ("  quiet_hours", "  low_water: [{from: 2027-01-02 03:30, lasts: 10 min}]\n  quiet_hours"),
            ("    surface: 3 m2", "    surface: 3 m2\n    level_switch: true"),
        ),
        "the water is below the suction fittings",
    ),
    (
        "left-without-flush",
        "bench",
        diverter(", may_be: spout"),
        diverter(""),
        "with turn at spout, nothing flushes this leg",
    ),
    (
        "sample-too-short",
        "sensor",
        (("within: 1 K}", "within: 1 K, sensor: {in: element, every: 1 h, for: 10 s}}"),),
        (("within: 1 K}", "within: 1 K, sensor: {in: element, every: 1 h, for: 2 min}}"),),
        "tub water takes",
    ),
]  # fmt: skip


@pytest.mark.parametrize(
    ("rule", "subject", "unsafe", "mended", "cause"), TWINS, ids=[f"{t[0]}: {t[4][:30]}" for t in TWINS]
)
def test_an_unsafe_plant_and_its_mended_twin_differ_by_that_finding(
    scenario: Build, rule: str, subject: str, unsafe: Changes, mended: Changes, cause: str
) -> None:
    """Three days of each: the unsafe one breaks this rule for this cause; the mended one does not."""
    found = {(f.rule, f.subject): f for f in simulate(scenario(*unsafe), days=3).findings}
    left = {(f.rule, f.subject) for f in simulate(scenario(*mended), days=3).findings}
    aside = {"demand-not-served", "left-without-flush"} - {rule}  # a stopped pump; the spout's own dead end
    differ = {key for key in found.keys() ^ left if key[0] not in aside}
    assert {(rule, subject)} == differ
    assert found[rule, subject].cause.startswith(cause)
    assert found[rule, subject].mend


def test_dosing_with_the_pump_stops_with_it(scenario: Build) -> None:
    """A doser that the controller runs with the pump is on only while the pump is, and breaks no rule."""
    with_pump = device("dosing")[1].replace('runs: [{start: "03:00", lasts: 4 h}]', "with: main")
    result = simulate(scenario((NETWORK, with_pump)), days=3)
    assert () == result.findings
    runs = result.trace.pumps["main"].spans("low", "high", "changing")
    assert all(
        any(a <= c and d <= b for a, b in runs) for c, d in result.trace.treatments["device"].spans("on")
    )
    assert result.metrics.treatment["device"].on_h > 11.0
    assert 0.0 == result.metrics.treatment["device"].on_without_flow_h


def test_a_device_is_metered_and_fed(scenario: Build) -> None:
    """60 W for the 4 h of each of three days: 0.72 kWh; on a circuit of its own it is all of the current."""
    result = simulate(scenario(device("uv")), days=3)
    assert pytest.approx(0.72) == result.metrics.energy.by_device["device"].energy_kwh
    on, runs = result.trace.treatments["device"].spans("on"), result.trace.pumps["main"].spans("low", "high")
    fed_s = sum(max(0, min(b, d) - max(a, c)) for a, b in on for c, d in runs)
    assert (
        pytest.approx(12.0 - fed_s / 3600.0, abs=0.01) == result.metrics.treatment["device"].on_without_flow_h
    )


def test_the_worst_position_of_each_leg_is_told(scenario: Build) -> None:
    """Left at spout the bench never moves; left at bench the spout does not; the suction does not mind."""
    result = simulate(scenario(*diverter(", may_be: [bench, spout]")), days=3, left=True)
    assert ("turn at spout", None) == (result.left["bench"].worst_left, result.left["bench"].oldest_left_h)
    assert ("turn at bench", 0.0) == (
        result.left["spout"].worst_left, result.left["spout"].most_flow_left_l_min,
    )  # fmt: skip
    assert result.left["bench"].oldest_usual_h == result.metrics.legs["bench"].oldest_water_h
    assert {} == simulate(scenario(), days=1, left=True).left


def test_positions_that_are_left_know_of_nobody_who_turns_a_valve(scenario: Build) -> None:
    """A file that turns it, and one that does not: the same becomes of each leg in every position."""
    turn = "  valves_turned: [{valve: turn, to: spout, from: 2027-01-01 06:00, lasts: 2 days}]\n  quiet_hours"
    still = simulate(scenario(*diverter(", may_be: [spout]")), days=3, left=True)
    turned = simulate(scenario(*diverter(", may_be: [spout]"), ("  quiet_hours", turn)), days=3, left=True)
    assert turned.left == still.left
    assert turned.metrics.legs["bench"] != still.metrics.legs["bench"]


def test_many_valves_are_turned_one_at_a_time(scenario: Build) -> None:
    """Five valves have 32 combinations: only the five in which one is turned are tried."""
    names = [f"v{k}" for k in range(5)]
    valves = "".join(f"    {n}: {{drop: 0.1 m at 300 L/min, usual: open, may_be: [shut]}}\n" for n in names)
    built = scenario(
        (NETWORK, f"  valves:\n{valves}" + NETWORK.replace("suction,", f"suction, {', '.join(names)},"))
    )
    assert 5 == len(positions_left(Assembly(built)))
    assert 32 == len(Assembly(built).may_be_left)
