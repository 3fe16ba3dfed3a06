"""What a programme promises, against findings, a real power cut and plain counting."""

from collections.abc import Callable

import pytest

from cyclesim.analysis.promises import oldest_of
from cyclesim.analysis.result import Result, simulate
from cyclesim.scenario.blocks.model import Scenario


@pytest.fixture(scope="module")
def kept(scenario: Callable[..., Scenario], winter: tuple[tuple[str, str], ...]) -> Result:
    """Nine January days with sessions, a power cut, and jets in the quiet hours."""
    night = ('from: "22:00", to: "07:00"', 'from: "19:00", to: "07:00"')
    return simulate(scenario(*winter, night), days=9)


def test_times_to_be_warm_are_those_that_are_kept_and_those_that_are_found_broken(kept: Result) -> None:
    """Four sessions in nine days from a Friday; each is warm, or is a finding of cold-at-session."""
    promises = kept.metrics.promises
    assert promises is not None
    cold = sum(finding.times for finding in kept.findings if finding.rule == "cold-at-session")
    assert kept.metrics.tub.sessions == promises.times_to_be_warm == 4
    assert promises.warm_on_time == promises.times_to_be_warm - cold
    assert promises.coldest_at_step_out_c is not None
    assert promises.coldest_at_step_out_c >= (kept.metrics.tub.coldest_c or 0.0)


def test_loud_hours_are_those_that_the_rule_finds(kept: Result) -> None:
    """One pump, so that what the findings sum up is what was loud."""
    loud = [finding for finding in kept.findings if finding.rule == "quiet-hours"]
    assert loud
    assert kept.metrics.promises is not None
    assert kept.metrics.promises.loud_in_quiet_hours_h == pytest.approx(sum(f.total_h or 0.0 for f in loud))


def test_what_would_freeze_first_is_what_a_cut_of_that_hour_tells(scenario: Callable[..., Scenario]) -> None:
    """The same plant with a power cut at that time: both are alike until then, so part and hours agree."""
    cold = ("mean: 12 degC", "mean: 3 degC")
    told = simulate(scenario(cold), days=9).metrics.promises
    assert told is not None
    assert told.power_fails_at is not None
    assert "T03:00:00" in told.power_fails_at, "which the filter run of 03:00 no longer gets"
    at = told.power_fails_at[:10] + " 03:00"
    cut = ("  quiet_hours:", f"  outages: [{{from: {at}, lasts: 1 h}}]\n  quiet_hours:")
    outage = simulate(scenario(cold, cut), days=9).metrics.outages[0]
    hours = {part: h for part, h in outage.until_zero_h.items() if h is not None}
    assert told.first_at_zero == min(hours, key=lambda part: hours[part])
    assert told.first_at_zero_after_h == pytest.approx(min(hours.values()), abs=0.01)
    assert told.first_at_zero_after_h > 1.0


def test_the_coldest_water_may_be_in_a_pump(scenario: Callable[..., Scenario]) -> None:
    """A pump's housing outdoors, alone: it is told by its own name, as a power cut of that hour tells it."""
    outdoors = ("above_water: -300 mm\n", "above_water: -300 mm\n      volume: 0.2 L\n      zone: outdoors\n")
    result = simulate(scenario(outdoors), days=3)
    assert result.metrics.promises is not None
    assert "main" == result.metrics.promises.coldest_water_in
    assert "main" not in result.metrics.legs


def test_the_oldest_water_is_that_of_the_worst_leg(kept: Result) -> None:
    """The largest of the ages; water that never moved is older than all."""
    legs = kept.metrics.legs
    assert kept.metrics.promises is not None
    assert kept.metrics.promises.oldest_water_h == max(leg.oldest_water_h or 0.0 for leg in legs.values())
    assert kept.metrics.promises.oldest_water_in == oldest_of(legs)
