"""The command that sizes a heater, called wrongly."""

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from cyclesim.cli import cli

WALLED = Path(__file__).parents[2] / "schedules" / "walled-garden.yaml"


def call(*args: str | Path) -> Result:
    """Run the command in this process at 80 columns."""
    told = ["size", "heater", *map(str, args), "--workers", "1"]
    return CliRunner(env={"COLUMNS": "80"}).invoke(cli, told)


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("--sizes", "2 kW, three kW"), "--sizes: found"),
        (("--sizes", "2 kW, 3 m"), "--sizes: found"),
        (("--sizes", "5 W"), "--sizes: found 5 W; expected sizes from 100 W to 100 kW"),
        (("--from", "38 degC"), "--from: found 38 degC; expected less than the set point of 37 degC"),
        (("--within", "soon"), "--within: found"),
        (("--source", "filter"), "--source: found an unknown heat source 'filter'"),
        (("--figure", "out.gif"), "end the name out.gif with .svg, .pdf or .png"),
    ],
)
def test_a_wrong_call_is_told(args: tuple[str, ...], says: str) -> None:
    """Before anything is run."""
    result = call(WALLED, *args)
    assert result.exit_code != 0
    assert says in result.output + str(result.exception)
