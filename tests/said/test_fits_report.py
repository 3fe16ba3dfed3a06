"""What is said of another controller: the page beside its JSON, and the calls that are refused."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from cyclesim.cli import cli

GARDEN = Path(__file__).parents[2] / "schedules" / "walled-garden-circulator.yaml"
NEW = "controller: {filter_windows: 1, time_step: 6 h, flush_lengths: [60 s], flushes_a_day: 2}\n"


@pytest.fixture
def new(tmp_path: Path) -> Path:
    """A file of a controller with few times to choose from."""
    path = tmp_path / "new.yaml"
    path.write_text(NEW, "utf-8")
    return path


def fits(new: Path, *args: object) -> Result:
    """The command in this process, for a day."""
    words = ["fits", GARDEN, "--controller", new, "--days", 1, "--workers", 1, *args]
    return CliRunner().invoke(cli, [str(word) for word in words])


@pytest.mark.parametrize("step", ["7 h", pytest.param("6 h", marks=pytest.mark.slow)])
def test_the_page_tells_what_its_json_does(new: Path, tmp_path: Path, step: str) -> None:
    """Each misfit with its mend, each lost promise, and what a year costs; by 7 h nothing can be tuned."""
    new.write_text(NEW.replace("6 h", step), "utf-8")
    data = tmp_path / "o.json"
    shown = fits(new, "--json", data)
    assert 1 == shown.exit_code, shown.output
    assert 80 >= max(map(len, shown.stdout.splitlines()))
    values, flat = json.loads(data.read_text("utf-8")), " ".join(shown.stdout.split())
    assert not values["fits"]
    assert f"{len(values['cannot_be_keyed_in'])} things of the programme cannot be keyed" in flat
    for misfit in values["cannot_be_keyed_in"]:
        assert f"- {misfit['cause']}: {misfit['mend']}" in flat
    for name in ("nearest", "tuned"):
        for broken in (values[name] or {"no_longer_kept": []})["no_longer_kept"]:
            assert f"{broken['severity']}, {broken['rule']}, {broken['subject']}" in flat
    assert ("6 h" == step) == ("by a tuning" in flat) == (not values["not_tuned"])
    for entry in values["nearest"]["programme"]:
        assert ", ".join(entry["starts"]) in flat
    for name in ("today", "nearest"):
        out = values[name]["outcome"] if name == "nearest" else values[name]
        assert f"{name} {365 * out['cost']:,.0f} " in flat
    assert "no safety controller" in flat


def test_a_controller_that_takes_all_ends_with_0(new: Path) -> None:
    """And says so; one that says nothing is told as not judged."""
    new.write_text("controller: {filter_windows: 4}\n", "utf-8")
    shown = fits(new)
    assert 0 == shown.exit_code, shown.output
    assert "can be keyed into the new controller as it is" in shown.stdout
    new.write_text("controller: {clock_gains: 0 s}\n", "utf-8")
    assert "nothing is judged by it" in " ".join(fits(new).stdout.split())


def test_an_output_never_overwrites_the_controller(new: Path) -> None:
    """Nor is anything run before that is refused."""
    shown = fits(new, "--json", new)
    assert 2 == shown.exit_code
    assert "would overwrite the new controller" in shown.stderr
    assert NEW == new.read_text("utf-8")


def test_a_controller_that_is_wrong_is_2_with_its_line(new: Path) -> None:
    """As a scenario would be."""
    new.write_text("controller:\n  filter_windows: two\n", "utf-8")
    shown = fits(new)
    assert 2 == shown.exit_code
    assert "new.yaml:2:19: controller.filter_windows: found 'two'" in shown.stderr
