"""What the file leaves out: every command counts the same numbers, and tells a need as the duty has it."""

from datetime import date
from pathlib import Path

import pytest

from cyclesim.analysis.combinations import together
from cyclesim.analysis.result import simulate
from cyclesim.analysis.rules import check_plant
from cyclesim.said.check import check_page
from cyclesim.said.defaults_table import counted
from cyclesim.said.duty import duty_page
from cyclesim.said.run import run_page
from cyclesim.said.values import duty_values
from cyclesim.scenario.reading.defaults import filled_in
from cyclesim.scenario.reading.load import load
from cyclesim.shown.terminal import printed
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme

SHIPPED = sorted((Path(__file__).parents[2] / "schedules").glob("*.yaml"))


@pytest.mark.parametrize("file", SHIPPED[:3], ids=lambda file: file.stem)
def test_check_run_and_duty_count_the_same_numbers(file: Path) -> None:
    """The count of the file is in all three; the model's own are told apart from it."""
    scenario = load(file)
    plant, programme = Assembly(scenario), Programme(scenario)
    duties = duty_page(
        scenario,
        duty_values(plant)["duties"],
        {duty.name: who for duty, who in together(plant, programme)},
    )
    pages = (
        check_page("a file", plant, programme, *check_plant(plant, programme)),
        run_page(simulate(scenario, days=1, start=date(scenario.place.year, 1, 10))),
        duties,
    )
    expected = f"{len(filled_in(scenario))} numbers are filled in"
    for page in pages:
        assert expected in " ".join(printed(page).split())


def test_one_number_is_one() -> None:
    """In the singular."""
    one = filled_in(load(SHIPPED[0]))[:1]
    assert "1 number is filled in" == counted(one)


def test_a_jet_needs_the_same_wherever_it_is_told() -> None:
    """Cedar yard, in US units: three quarters of 10 gpm in the table of duties and among the defaults."""
    scenario = load(next(file for file in SHIPPED if file.stem == "cedar-yard"))
    text = printed(duty_page(scenario, duty_values(Assembly(scenario))["duties"]), us=True)
    rows = [line.split() for line in text.splitlines() if line.startswith("east_seats")]
    (need,) = {row[2] for row in rows if row[-1] == "enough"}
    assert "7.5" == need
    assert "manifold.needs: 7.5 gpm (75 % of rated)" in " ".join(text.split())


def test_how_far_a_number_of_the_model_may_be_off_is_told_in_the_units_of_its_value() -> None:
    """The soil's 1.5 W/(m K), 0.5 to 2.5; one BTU/h/ft/F is 1.7307 W/(m K), so 0.289 to 1.444."""
    page = run_page(simulate(load(SHIPPED[0]), days=1), everything=False)
    for us, told in (
        (False, "1.5 W/(m K); spread 0.5 to 2.5 W/(m K)"),
        (True, "0.87 BTU/h/ft/°F; spread 0.3 to 1.44 BTU/h/ft/°F"),
    ):
        assert f"conductivity of the soil: {told}" in " ".join(printed(page, us=us).split())
