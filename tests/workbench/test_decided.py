"""Answers by which one decides: each says what its command prints and writes, and what can be applied."""

import json
from base64 import b64decode
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner

from cyclesim.analysis.result import simulate
from cyclesim.analysis.trials import tried
from cyclesim.cli import cli
from cyclesim.errors import CycleSimError
from cyclesim.said.page import Line
from cyclesim.said.run import run_page
from cyclesim.said.verify import verification_values, verify_page
from cyclesim.scenario.reading.fingerprint import fingerprint
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.shown.as_json import as_text
from cyclesim.verification.verifier import verify
from cyclesim.workbench.asked import Question, answer
from cyclesim.workbench.decided import in_units
from cyclesim.workbench.views import page_view

SIZED = {"pump": "walled-garden", "blower": "long-table"}
SCHEDULES = Path(__file__).resolve().parents[2] / "schedules"


@pytest.fixture(autouse=True)
def _no_kept_runs(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))


def nobody(*_: object) -> None:
    """Listens to no progress."""


def test_every_order_of_events_is_told_as_the_command_tells_it() -> None:
    """The page in the reader's units, the values as --json has them, and a scene for each step."""
    file = SCHEDULES / "orchard-wall.yaml"
    said = answer(Question("verify", file, {"rule": "heat-without-flow"}, us=True), nobody)
    found = verify(load(file), rule="heat-without-flow")
    assert page_view(verify_page(found), True) == said["page"]
    assert json.loads(as_text(verification_values(found))) == json.loads(as_text(said["values"]))
    (verdict,) = said["verdicts"]
    assert len(verdict["story"]["steps"]) == len(verdict["story"]["scenes"])


def test_sentences_are_turned_and_edits_are_not() -> None:
    """36 degC are 96.8 degF; what would be written into the file stays as it is."""
    values = {"said": "keep at 36 degC", "edits": [[["a", 0], "36 degC", False]], "n": 36.0}
    assert {**values, "said": "keep at 97 °F"} == in_units(values, True)


def test_a_mend_is_told_as_a_run_tells_it(tmp_path: Path) -> None:
    """Line by line what `run` prints of the finding, with the edits that `run --apply` would make."""
    file = tmp_path / "garden.yaml"
    file.write_text(starter_text().replace("start: [07:30", "start: [23:30"), encoding="utf-8")
    asked = {"rule": "quiet-hours", "subjects": ["main high"], "days": 2}
    told = answer(Question("mend", file, asked), nobody)["tried"]
    result = simulate(load(file), days=2, start=date(load(file).place.year, 1, 1))
    findings = [finding for finding in result.findings if finding.rule == "quiet-hours"]
    page = run_page(result, tried=tried(result, findings))
    lines = [block.text for block in page.blocks if isinstance(block, Line)]
    (mend,) = told
    assert f"{mend['head']}: {mend['said']}. {mend['then']}" in lines
    assert mend["head"] == "Mend 1, tried"
    assert [list(edit)[1] for edit in mend["edits"]] == ['["07:00", "19:30"]']


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("machine", ["pump", "blower"])
def test_a_size_comes_with_the_picture_of_the_command(machine: str, units: str, tmp_path: Path) -> None:
    """Byte for byte: in the reader's units, marked by the file; whole in its own address."""
    file, to = SCHEDULES / f"{SIZED[machine]}.yaml", tmp_path / "figure.svg"
    said = answer(Question("size", file, {"machine": machine}, us=units == "us"), nobody)
    words = ["size", machine, str(file), "--units", units, "--figure", str(to)]
    assert CliRunner().invoke(cli, words).exit_code in (0, 1)
    kind, _, data = said["figure"].partition(",")
    assert kind == "data:image/svg+xml;base64"
    assert b64decode(data) == to.read_bytes()
    assert fingerprint([file]).encode() in to.read_bytes()


@pytest.mark.parametrize(
    ("machine", "options", "told"),
    [
        ("oven", {}, "heater, pump or blower"),
        ("heater", {"within": "8 bar"}, "within: found '8 bar'"),
        ("heater", {"from": 30}, "another kind"),
        ("blower", {"flow": "much"}, "flow: found 'much'"),
    ],
)
def test_what_cannot_be_asked_is_refused(machine: str, options: dict, told: str) -> None:
    """In a sentence that a person can act on."""
    file = SCHEDULES / "walled-garden.yaml"
    with pytest.raises(CycleSimError, match=told):
        answer(Question("size", file, {"machine": machine, **options}), nobody)


@pytest.mark.slow
@pytest.mark.timeout(400)
def test_a_tuned_programme_can_be_put_into_the_file() -> None:
    """A strip for each programme that is told, and for all but the file's own its text, which loads."""
    file = SCHEDULES / "walled-garden-circulator.yaml"
    said = answer(Question("tune", file, {"days": 3}), nobody)
    rows, texts = said["strips"]["strips"], said["texts"]
    assert len(rows) == len(texts)
    (advised,) = [k for k, row in enumerate(rows) if row["is_advised"]]
    scenario = load_text(texts[advised], str(file), folder=file.parent)
    starts = [f"{clock:%H:%M}" for run in scenario.schedule.line_flushes for clock in run.start or ()]
    hours = [f"{int(hour):02d}:{round(60 * (hour % 1)):02d}" for hour in rows[advised]["flushes_h"]]
    assert sorted(hours) == sorted(starts)
    assert [k for k, text in enumerate(texts) if text is None] == [said["strips"]["best"]]
