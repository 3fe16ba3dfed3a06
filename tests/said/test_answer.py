"""The answer of a run: on the first screen, and again at the end."""

from datetime import date
from pathlib import Path

import pytest

import cyclesim
from cyclesim.said.answer import answer, losses_of
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
    for said in (told.money, told.largest_loss, *(promise.said for promise in told.promises)):
        assert said in first
    assert all(group[0].mend in first for group in told.worst)


@pytest.mark.slow
@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_a_year_is_told_on_a_hundred_lines(file: Path) -> None:
    """Unless everything is asked for; what is left out then has a place."""
    result = cyclesim.simulate(cyclesim.load(file), left=True)
    short, whole = printed(run_page(result)), printed(run_page(result, everything=True))
    assert len(short.splitlines()) <= 100 < len(whole.splitlines())


def test_losses_sum_to_what_is_lost_and_the_largest_is_first() -> None:
    """The heat balance of the tub, with its stored heat, is what came in."""
    tub = cyclesim.simulate(cyclesim.load(SHIPPED[0]), days=7).metrics.tub
    losses = losses_of(tub)
    came = tub.heat_from_pumps_kwh + tub.heat_from_sources_kwh + max(tub.heat_from_bathers_kwh, 0.0)
    went = sum(loss.kwh for loss in losses) + tub.stored_change_kwh + max(-tub.heat_from_bathers_kwh, 0.0)
    assert went == pytest.approx(came, rel=1e-6)
    assert [loss.kwh for loss in losses] == sorted((loss.kwh for loss in losses), reverse=True)
    assert sum(loss.share for loss in losses) == pytest.approx(1.0)
