"""The answer of a run: on the first screen, and again at the end."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

import cyclesim
from cyclesim.said.answer import answer, losses_of, promises
from cyclesim.said.run import run_page
from cyclesim.shown.terminal import printed

SHIPPED = sorted((Path(__file__).parents[2] / "schedules").glob("*.yaml"))
SCREEN = 24


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_the_answer_stands_on_the_first_screen_and_the_verdict_on_the_last(file: Path) -> None:
    """Seven January days of each shipped plant, at 80 columns."""
    scenario = cyclesim.load(file)
    result = cyclesim.simulate(scenario, days=7, start=date(scenario.place.year, 1, 10), left=True)
    told = answer(result)
    lines = printed(run_page(result)).splitlines()
    first, last = " ".join(" ".join(lines[:SCREEN]).split()), " ".join(" ".join(lines[-12:]).split())
    assert told.verdict in first
    assert told.verdict in last
    assert "cyclesim" not in told.largest_loss  # a client types no commands
    for said in (told.money, told.largest_loss, *(promise.said for promise in told.promises)):
        assert said in first
    assert all(group[0].mend in first for group in told.worst)


ON_TOP = ("Power cuts", "Cold spell", "Own water", "As wired")
"""Headings of what a file brings beyond legs, pumps and heat sources: told on top of the hundred lines."""


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_a_year_is_told_on_a_hundred_lines(file: Path) -> None:
    """Unless everything is asked for; what is left out then has a place, the voltage lost on cables too."""
    result = cyclesim.simulate(cyclesim.load(file), left=True)
    short, whole = printed(run_page(result)), printed(run_page(result, everything=True))
    parts = [part.strip("\n") for part in short.split("\n\n")]
    kept = [part.partition("\nMost current at once")[0] for part in parts if not part.startswith(ON_TOP)]
    assert len("\n\n".join(kept).splitlines()) <= 100 < len(whole.splitlines())
    assert "cables lose" not in short
    lost = [circuit.most_drop_v for circuit in result.metrics.energy.circuits.values()]
    assert ("cables lose" in whole) == any(volts is not None for volts in lost)


def test_losses_sum_to_what_is_lost_and_the_largest_is_first() -> None:
    """The heat balance of the tub, with its stored heat, is what came in."""
    tub = cyclesim.simulate(cyclesim.load(SHIPPED[0]), days=7).metrics.tub
    losses = losses_of(tub)
    came = tub.heat_from_pumps_kwh + tub.heat_from_sources_kwh + max(tub.heat_from_bathers_kwh, 0.0)
    went = sum(loss.kwh for loss in losses) + tub.stored_change_kwh + max(-tub.heat_from_bathers_kwh, 0.0)
    assert went == pytest.approx(came, rel=1e-6)
    assert [loss.kwh for loss in losses] == sorted((loss.kwh for loss in losses), reverse=True)
    assert sum(loss.share for loss in losses) == pytest.approx(1.0)


def test_a_disinfectant_that_may_fade_below_what_is_wanted_is_in_the_answer() -> None:
    """Long table: 4 mg/L, halved in 3 h at the fastest, against the age of its oldest water."""
    file = next(file for file in SHIPPED if file.stem == "long-table")
    result = cyclesim.simulate(cyclesim.load(file), days=4)
    (told,) = (promise for promise in promises(result.metrics) if promise.what == "Disinfectant")
    legs = {n: leg.oldest_water_h for n, leg in result.metrics.legs.items() if leg.oldest_water_h is not None}
    oldest = max(legs, key=lambda name: legs[name])
    assert told.kept is False
    least = 4.0 * 2.0 ** (-legs[oldest] / 3.0)
    assert f"may fall to {least:.1f} mg/L, in {oldest} (1.0 mg/L wanted)" in told.said
    assert told.said.endswith("in all if it halves in 3 h, never if in 20 h")
    lasts = cyclesim.load(file, sets=["water_care.disinfectant.half_life=[15 h, 20 h]"])
    (kept,) = (p for p in promises(cyclesim.simulate(lasts, days=4).metrics) if p.what == "Disinfectant")
    assert kept.kept is True
    assert "mg/L at the least" in kept.said


def test_frost_tells_who_must_come_where_the_controller_waits() -> None:
    """By hand: 10 January to 12 February are 34 days, on which nobody comes."""
    away = "schedule.heating.absences=[{from: 2027-01-10, to: 2027-02-12, keep_at: 12 degC}]"
    waits = "controller.after_power_cut=wait"
    by = "by person_within 24 h later"
    file = next(file for file in SHIPPED if file.stem == "high-valley")
    for sets, ends in (
        ([waits, away], f"{by}; of the 34 days away none counts, since nobody comes then"),
        ([waits, "schedule.heating.absences=[]"], f"starts nothing until somebody comes, {by}"),
        ([away], " h"),
    ):
        result = cyclesim.simulate(cyclesim.load(file, sets=sets), days=1)
        (frost,) = (promise for promise in answer(result).promises if promise.what == "Frost")
        assert frost.said.endswith(ends)
        assert ("somebody comes" in frost.said) == (waits in sets)


def test_water_too_hot_to_bathe_in_is_told_at_step_out() -> None:
    """40 °C and the thermostat's 0.2 K are the limit of the file: 69.5 °C is no promise kept."""
    kept = cyclesim.simulate(cyclesim.load(SHIPPED[0]), days=1).metrics
    assert kept.promises is not None
    for hot, is_kept, said in ((69.5, False, "too hot to bathe in"), (36.0, None, "36.0 °C at the coldest")):
        ended = replace(
            kept.promises, coldest_at_step_out_c=hot, coldest_at_step_out_at="2027-01-22T20:50:00+01:00"
        )
        told = promises(replace(kept, promises=ended), 40.2)
        (out,) = (promise for promise in told if promise.what == "At step-out")
        assert (out.kept, said in out.said) == (is_kept, True)


def test_water_hardly_above_freezing_is_no_promise_kept() -> None:
    """A night of one kelvin less would freeze it: neither kept nor broken, and it says so."""
    kept = cyclesim.simulate(cyclesim.load(SHIPPED[0]), days=1).metrics
    assert kept.promises is not None
    for coldest_c, is_kept in ((-0.1, False), (0.0, False), (0.2, None), (1.0, None), (1.1, True)):
        cold = replace(kept.promises, coldest_water_c=coldest_c, coldest_water_in="bench")
        (frost,) = (p for p in promises(replace(kept, promises=cold), 40.2) if p.what == "Frost")
        assert frost.kept is is_kept
        assert frost.said.startswith("hardly kept: coldest water") == (is_kept is None)


def test_a_boilers_own_water_that_freezes_with_power_is_no_promise_kept() -> None:
    """Every leg is warm, and the circuit behind the plates, without glycol, is ice."""
    kept = cyclesim.simulate(cyclesim.load(SHIPPED[0]), days=1).metrics
    assert kept.promises is not None
    own = replace(kept.promises, coldest_water_c=8.5, first_at_zero="own water of boiler")
    for after_h, is_kept, said in (
        (0.0, False, "own water of boiler is at 0 °C with power"),
        (2.0, True, "after 2 h"),
    ):
        one = replace(own, first_at_zero_after_h=after_h)
        (frost,) = (p for p in promises(replace(kept, promises=one), 40.2) if p.what == "Frost")
        assert (frost.kept, said in frost.said) == (is_kept, True)
