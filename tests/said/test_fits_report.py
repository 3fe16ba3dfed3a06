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


@pytest.mark.parametrize("step", ["7 h", "6 h"])
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


def test_the_nearest_programme_is_written_into_a_copy(new: Path, tmp_path: Path) -> None:
    """On steps of 7 h 03:00 goes to 00:00, 07:30 to 07:00, 19:30 to 21:00, and 6 h become 7 h, by hand."""
    new.write_text(NEW.replace("6 h", "7 h"), "utf-8")
    target = tmp_path / "written.yaml"
    shown = fits(new, "--write", target)
    assert 1 == shown.exit_code, shown.output
    assert f"try it with cyclesim run {target}" in shown.stdout
    old, now = GARDEN.read_text("utf-8").splitlines(), target.read_text("utf-8").splitlines()
    begins = old.index("controller:") + 1
    assert "schedule:" == old[begins + 4]
    assert old[:begins] == now[:begins]
    assert [
        "  {filter_windows: 1, time_step: 7 h, flush_lengths: [60 s], flushes_a_day: 2}",
        "",
        "schedule:",
        "  filter_runs:",
        '    - {pump: circulator, start: ["00:00"], lasts: 7 h}',
        "  line_flushes:",
        '    - {pump: jets, start: ["07:00", "21:00"], lasts: 60 s}',
    ] == now[begins : begins + 7]
    assert old[begins + 9 :] == now[begins + 7 :]


def test_what_is_set_is_not_written(new: Path, tmp_path: Path) -> None:
    """FILE does not say it; nothing is run or written."""
    target = tmp_path / "written.yaml"
    shown = fits(new, "--write", target, "--set", "limits.water_age=30 h")
    assert (2, False) == (shown.exit_code, target.exists())
    assert "cannot take what --set changes" in shown.stderr


@pytest.mark.parametrize("option", ["--json", "--write"])
def test_an_output_never_overwrites_the_controller(new: Path, option: str) -> None:
    """Nor is anything run before that is refused."""
    shown = fits(new, option, new)
    assert 2 == shown.exit_code
    assert "would overwrite the new controller" in shown.stderr
    assert NEW == new.read_text("utf-8")


def test_a_controller_that_is_wrong_is_2_with_its_line(new: Path) -> None:
    """As a scenario would be."""
    new.write_text("controller:\n  filter_windows: two\n", "utf-8")
    shown = fits(new)
    assert 2 == shown.exit_code
    assert "new.yaml:2:19: controller.filter_windows: found 'two'" in shown.stderr
