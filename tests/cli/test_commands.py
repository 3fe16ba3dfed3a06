"""The command line: exit statuses, what is said where, and files that are whole or absent."""

import json
import subprocess
import sys
import time
from pathlib import Path
from xml.etree import ElementTree

import pytest

from cyclesim.cli import cli
from cyclesim.cli.shared import WANTED
from tests.cli.called import ENV, call, start

HEAVY = (
    "pydantic",
    "simpy",
    "numpy",
    "matplotlib",
    "pint",
    "scipy",
    "fluids",
    "rich",
    "transitions",
    "dateutil",
    "joblib",
)


# -- help, versions, spelling ------------------------------------------------------------------------------


def test_nothing_heavy_is_imported_before_it_is_needed() -> None:
    """Help and the package alone load none of the libraries that take time; a check no more than it needs."""
    needed_to_check = {"pydantic", "numpy", "fluids", "rich", "transitions", "dateutil"}
    for command, needed in (
        (["-m", "cyclesim", "--help"], set[str]()),
        (["-m", "cyclesim", "run", "--help"], set[str]()),
        (["-c", "import cyclesim"], set[str]()),
        (["-m", "cyclesim", "check", "schedules/walled-garden.yaml"], needed_to_check),
    ):
        told = subprocess.run(
            [sys.executable, "-X", "importtime", *command],
            text=True,
            capture_output=True,
            env=ENV,
            check=True,
        ).stderr
        loaded = {line.rpartition("|")[2].strip().partition(".")[0] for line in told.splitlines()}
        assert "cyclesim" in loaded
        assert loaded & set(HEAVY) <= needed


def test_nothing_is_looked_through_as_a_command_ends() -> None:
    """Python's last search for rings would take a check a fifth of its time, and find what goes anyway."""
    last = "import atexit, gc; atexit.register(lambda: print(gc.get_freeze_count() > 0))"
    script = (
        f"{last}\nimport sys; sys.argv = ['cyclesim', '--version']\nfrom cyclesim.cli import main; main()"
    )
    told = subprocess.run([sys.executable, "-c", script], text=True, capture_output=True, env=ENV, check=True)
    assert told.stdout.endswith("True\n")


@pytest.mark.parametrize(
    "command", ["run", "check", "verify", "duty", "states", "papers", "calendar", "schema", "rules", "new"]
)
def test_every_command_has_a_whole_sentence_of_help(command: str) -> None:
    """The list of commands cuts no sentence short, and each command explains itself."""
    assert call(command, "--help").exit_code == 0
    [line] = [line for line in call("--help").output.splitlines() if line.startswith(f"  {command} ")]
    assert line.endswith(".")
    assert not line.endswith("...")


def test_alone_prints_help() -> None:
    """Without a command, help is printed."""
    assert call("--help").output == call().output
    assert call().exit_code == 0


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("rum", "x.yaml"), "run"),
        (("run", "x.yaml", "--dayz", "3"), "--days"),
        (("run", "x.yaml", "--days", "0"), "1<=x<=3660"),
        (("run", "x.yaml", "--from", "2027-02-30"), "write year-month-day, e.g. 2027-03-01"),
        (("run", "x.yaml", "--from", "tomorrow"), "is no date; write year-month-day"),
        (("run", "x.yaml", "--from", "1969-12-31"), "a date from 1970"),
        (("states", "x.yaml", "--as", "pdf"), "mermaid"),
        (("run",), "Missing argument 'FILE'"),
        (("run", "x.yaml", "--figure", "x.gif"), "end the name x.gif with .svg, .pdf or .png"),
        (("run", "x.yaml", "--figure", "-"), "end the name - with .svg, .pdf or .png"),
        (("run", "x.yaml", "--figure-days", "2"), "go with --figure"),
    ],
)
def test_wrong_call_is_2_and_says_what_is_due(args: tuple[str, ...], said: str) -> None:
    """A misspelt command or option names the nearest one; a value out of range names the range."""
    result = call(*args)
    assert result.exit_code == 2
    assert said in result.stderr
    assert result.stdout == ""


# -- faults of the input -----------------------------------------------------------------------------------


@pytest.mark.parametrize("command", ["run", "check", "duty", "states"])
def test_broken_file_is_2_with_line_and_column_on_stderr(tub: Path, tmp_path: Path, command: str) -> None:
    """A length given as a time is named with its place; nothing is printed on stdout."""
    broken = tmp_path / "broken.yaml"
    broken.write_text(tub.read_text("utf-8").replace("length: 6 m", "length: 30 s", 1), "utf-8")
    assert broken.read_text("utf-8") != tub.read_text("utf-8"), "the starter has a leg of 6 m"
    result = call(command, broken)
    assert result.exit_code == 2
    assert f"{broken}:" in result.stderr
    assert "expected a length" in result.stderr
    assert result.stdout == ""


def test_missing_file_is_2(tmp_path: Path) -> None:
    """No file, and a folder in its place, are named as such."""
    assert "no file" in call("run", tmp_path / "none.yaml").stderr
    assert "a folder" in call("run", tmp_path).stderr


def test_set_changes_one_run(tub: Path) -> None:
    """--set reaches the duty, and a path that leads nowhere is 2 with the nearest one."""
    warmer = call("duty", tub, "--set", "schedule.heating.keep_at=31 degC", "--json", "-")
    assert json.loads(warmer.stdout)["duties"][0]["water_c"] == 31.0
    lost = call("duty", tub, "--set", "schedule.heating.keep_ta=31 degC")
    assert lost.exit_code == 2
    assert "schedule.heating.keep_at" in lost.stderr


def test_fault_of_ours_is_3_without_a_traceback(tub: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An exception nobody foresaw ends in an apology, one line of cause and a way to report it."""

    def fail(*_: object, **__: object) -> None:
        raise ZeroDivisionError("a leg of no length")

    monkeypatch.setattr("cyclesim.scenario.reading.load.load", fail)
    result = call("check", tub)
    assert result.exit_code == 3
    assert "ZeroDivisionError: a leg of no length" in result.stderr
    assert "report" in result.stderr
    assert "Traceback" not in result.stderr
    monkeypatch.setenv("CYCLESIM_TRACEBACK", "1")
    assert isinstance(call("check", tub).exception, ZeroDivisionError)


# -- output files ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("option", "place"),
    [
        *(
            (option, place)
            for option in ("--json", "--trace")
            for place in ("", "missing/out", "tub.yaml/out")
        ),
        ("--figure", "missing/out.svg"),
        ("--figure", "tub.yaml/out.png"),
        ("--trace", "missing/out.parquet"),
    ],
)
def test_unwritable_output_is_2_before_the_run(tub: Path, tmp_path: Path, option: str, place: str) -> None:
    """A folder or an unwritable place is refused at once, and leaves nothing behind."""
    (tmp_path / "tub.yaml").write_text(tub.read_text("utf-8"), "utf-8")
    begun = time.perf_counter()
    result = call("run", tmp_path / "tub.yaml", "--days", "3660", option, tmp_path / place)
    assert result.exit_code == 2
    assert "nothing was written" in result.stderr
    assert time.perf_counter() - begun < 2.0
    assert [path.name for path in tmp_path.iterdir()] == ["tub.yaml"]


def test_output_never_overwrites_the_scenario_or_another_output(tub: Path, tmp_path: Path) -> None:
    """The scenario itself, and one file for two outputs, are refused."""
    before = tub.read_text("utf-8")
    assert call("run", tub, "--json", tub).exit_code == 2
    assert call("run", tub, "--json", tmp_path / "x", "--trace", tmp_path / "x").exit_code == 2
    assert before == tub.read_text("utf-8")


def test_new_refuses_to_overwrite(tub: Path) -> None:
    """A file that is there already stays as it is."""
    before = tub.read_text("utf-8")
    result = call("new", tub)
    assert result.exit_code == 2
    assert "nothing is overwritten" in result.stderr
    assert before == tub.read_text("utf-8")
    assert before == call("new").stdout


@pytest.mark.parametrize("option", [("--workers", "2"), ("--cluster", "tcp://127.0.0.1:9"), ("--afresh",)])
def test_how_runs_are_made_is_for_confidence(tub: Path, option: tuple[str, ...]) -> None:
    """One run is not shared out, nor kept; and who shares it has one answer."""
    assert f"{option[0]} goes with --confidence" in call("run", tub, *option).stderr
    both = ("--confidence", "--workers", "2", "--cluster", "tcp://127.0.0.1:9")
    assert "Either --workers or --cluster" in call("run", tub, *both).stderr


def test_closed_pipe_is_quiet(tub: Path) -> None:
    """A reader that goes away, such as head, causes no message."""
    process = start("duty", tub, "--json", "-")
    assert process.stdout is not None
    process.stdout.close()
    _, err = process.communicate(timeout=20)
    assert err == ""
    assert process.returncode == 0


# -- what the commands print -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "args",
    [
        ("run", "--days", "3"),
        ("check",),
        ("verify", "--faults", "1", "--workers", "1"),
        ("duty",),
        ("states",),
    ],
)
def test_no_line_is_wider_than_80_columns(tub: Path, args: tuple[str, ...]) -> None:
    """Every line of every report fits, and nothing is cut short."""
    result = call(args[0], tub, *args[1:])
    assert result.exit_code in (0, 1)
    assert [line for line in result.stdout.splitlines() if len(line) > 80] == []
    assert "…" not in result.stdout
    assert "\x1b" not in result.stdout


def test_states_draws_every_machine(tub: Path) -> None:
    """The pump and the element appear in the text, the Mermaid page and the SVG."""
    assert "main (pump)" in call("states", tub).stdout
    assert call("states", tub, "--as", "mermaid").stdout.count("```mermaid\nstateDiagram-v2") == 2
    result = call("states", tub, "--as", "svg")
    if result.exit_code == 2:
        assert "Graphviz" in result.stderr
    else:
        root = ElementTree.fromstring(result.stdout)
        assert root.tag == "{http://www.w3.org/2000/svg}svg"
        assert {"main", "element"} <= {text.text for text in root.iter("{http://www.w3.org/2000/svg}text")}


def test_schema_is_json(tmp_path: Path) -> None:
    """The schema says which draft it is of, on the screen and in a file."""
    out = tmp_path / "s.json"
    assert call("schema", "-o", out).exit_code == 0
    assert call("schema").stdout == out.read_text("utf-8")
    assert json.loads(out.read_text("utf-8"))["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def test_duty_shows_the_numbers_of_its_json(tub: Path) -> None:
    """Flow and head of the pump at each speed are the same on the screen and in JSON."""
    screen = call("duty", tub).stdout
    for duty in json.loads(call("duty", tub, "--json", "-").stdout)["duties"]:
        pump = duty["pumps"]["main"]
        assert f"main  {pump['speed']}" in screen
        assert f"{pump['flow_l_min']:.0f}" in screen
        assert f"{pump['head_m']:.1f}" in screen


# -- the list of rules -------------------------------------------------------------------------------------


def test_rules_are_listed_by_a_process_of_its_own(tmp_path: Path) -> None:
    """Every rule at 80 columns; the same as JSON to a file, or alone to the screen."""
    file = tmp_path / "rules.json"
    process = start("rules", "--json", file)
    out, err = process.communicate(timeout=60)
    assert (0, "") == (process.returncode, err)
    values = json.loads(file.read_text("utf-8"))
    assert {"id", "severity", "kind", "judged", "sentence", "source", "mend"} == values["rules"][0].keys()
    lines = out.splitlines()
    assert all(f"  {rule['id']}" in lines for rule in values["rules"])
    assert max(map(len, lines)) <= 80
    alone = start("rules", "--json", "-")
    assert values == json.loads(alone.communicate(timeout=60)[0])


def test_a_key_a_rule_and_a_word_are_explained() -> None:
    """Its description, unit, default with spread and source, an example; the nearest where there is none."""
    key = " ".join(call("explain", "limits.water_age").stdout.split())
    assert "The oldest that water in a leg may get." in key
    assert "Left out it is 24 h (in practice 12 to 72 h; project choice, no standard)." in key
    assert "Example: water_age: 24 h" in key
    pump = " ".join(call("explain", "plant.pumps.main.coasts").stdout.split())
    assert "(in practice 0.5 to 3 s;" in pump
    assert "a time with its unit: s, sec" in pump
    assert "Its keys: " in call("explain", "plant.pumps.main").stdout
    assert "No water in a leg grows older" in call("explain", "stale-water").stdout
    assert "as a plug" in call("explain", "leg").stdout
    assert "How long the water of a leg has not moved." in call("explain", "standing", "time").stdout
    blocks = call("explain").stdout
    assert all(f"{block}: " in blocks for block in ("place", "supply", "plant", "schedule", "limits"))
    refused = call("explain", "limits.water_ages")
    assert 2 == refused.exit_code
    assert "did you mean 'water_age'?" in refused.output


def test_one_rule_is_told_by_its_id() -> None:
    """That one alone, in JSON too; what is no rule is refused with the nearest that is."""
    told = call("rules", "stale-water").stdout
    assert "  stale-water" in told.splitlines()
    assert "warm-stagnation" not in told
    assert ["stale-water"] == [
        r["id"] for r in json.loads(call("rules", "stale-water", "--json", "-").stdout)["rules"]
    ]
    refused = call("rules", "stale-watr")
    assert 2 == refused.exit_code
    assert "did you mean 'stale-water'?" in refused.output


def test_duty_tells_what_the_programme_asks_for_and_all_on_demand(tub: Path) -> None:
    """Two duties of the six of a plant with a diverter, which stands as usual."""
    short, whole = call("duty", tub).stdout, call("duty", tub, "--all").stdout
    harbour = Path(__file__).parents[2] / "schedules" / "harbour-steps.yaml"
    asked, every = call("duty", harbour).stdout, call("duty", harbour, "--all").stdout
    assert "Asked for by: " in short
    assert "Asked for by: " not in whole
    assert ["== main low ==", "== main high =="] == [
        line for line in asked.splitlines() if line.startswith("==")
    ]
    assert "seats at left" not in asked
    assert "seats at left" in every


def test_verify_says_what_it_looked_at_and_ends_with_its_status(tub: Path, tmp_path: Path) -> None:
    """0 where nothing is broken, 1 where a rule of danger is, 2 for no rule; JSON has the same."""
    whole = call("verify", tub, "--rule", "heat-without-flow")
    assert whole.exit_code == 0, whole.output
    assert "No modelled order of events breaks this" in whole.stdout
    assert "not the plant as" in whole.stdout
    file = tmp_path / "found.json"
    broken = call("verify", tub, "--set", "interlocks=[]", "--rule", "heat-without-flow", "--json", file)
    assert broken.exit_code == 1, broken.output
    assert "BROKEN" in broken.stdout
    assert "The engine has replayed it." in broken.stdout
    values = json.loads(file.read_text(encoding="utf-8"))
    assert values["broken"] is True
    assert values["verdicts"][0]["story"]["replayed"] == "by the engine"
    wrong = call("verify", tub, "--rule", "heat-without-flw")
    assert wrong.exit_code == 2
    assert "did you mean 'heat-without-flow'?" in wrong.stderr
    assert call("verify", tub, "--faults", "3").exit_code == 2


def test_a_set_with_a_star_tells_what_it_changed(tub: Path) -> None:
    """On the side, so that what is printed stays what it was."""
    result = call("check", tub, "--set", "plant.legs.*.insulation=40 mm")
    assert 0 == result.exit_code
    assert result.stderr.startswith("--set plant.legs.*.insulation=40 mm changed 4: plant.legs.suction_left.")
    assert "changed 4" not in result.stdout


def test_a_starter_like_another_plant(tmp_path: Path) -> None:
    """Written, or printed; what nobody offers is refused with what there is."""
    out = tmp_path / "boiler.yaml"
    assert 0 == call("new", "--like", "boiler", out).exit_code
    assert out.read_text(encoding="utf-8") == call("new", "--like", "boiler").output
    refused = call("new", "--like", "sauna")
    assert 2 == refused.exit_code
    assert "two-pumps" in refused.output


def test_help_names_every_command_on_one_line() -> None:
    """Under what one wants, cut nowhere."""
    said = call("--help").output.partition("Write a file:")[2]
    assert set(cli.commands) == {name for names in WANTED.values() for name in names}
    assert "..." not in said
