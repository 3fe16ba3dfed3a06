"""Plants compared with their best programmes, to the end: each has what a tuning of it puts first."""

import pytest

from cyclesim.decide.comparing.comparison import compare
from cyclesim.decide.tuning import space as space_module
from cyclesim.decide.tuning.programmes import own, scheduled
from cyclesim.decide.tuning.tuning import tune
from cyclesim.said.compare import compare_page
from cyclesim.shown.terminal import printed
from tests.decide.coarse import DAYS, small


@pytest.mark.slow
def test_each_plant_runs_the_programme_that_a_tuning_finds_for_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """One may be 16 h old, the other 30: two tunings by themselves, then both beside each other."""
    monkeypatch.setattr(space_module, "USUAL_STEP_S", 3 * 3600)
    plants = [small("limits.water_age=16 h"), small("limits.water_age=30 h")]
    found = compare(plants, ["fresh", "old"], days=DAYS, tuned=True)
    for plant, side in zip(plants, found.sides, strict=True):
        best = tune(plant, days=DAYS).recommended
        assert best is not None
        assert own(scheduled(plant, best.programme)) == own(side.scenario)
        assert best.outcome.cost == pytest.approx(side.outcome.cost)
    assert own(plants[0]) != own(found.sides[0].scenario), "the file's own programme is not the best one"
    text = " ".join(printed(compare_page(found)).split())
    assert "Each runs the programme that cyclesim tune found for it:" in text
    assert "Tuning both may reverse the answer" not in text
