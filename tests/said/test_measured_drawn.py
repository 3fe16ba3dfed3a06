"""Readings beside predictions as a drawing: where each stands, by hand, and that it is written whole."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from cyclesim.cli import cli
from cyclesim.decide.readings.measured import Compared, Measured
from cyclesim.said.measured_drawn import FURTHEST, ReadingDrawn, readings_drawn
from cyclesim.shown.pictures.measured import measured_figure

LOOP = Path(__file__).parents[1] / "decide" / "loop.yaml"
READINGS = "measured: 2027-05-02\nreadings: [{kind: current, reads: 20 A, of: element}]\n"


def drawn(read: float, predicted: float, apart: float, impossible: str = "") -> ReadingDrawn:
    """A gauge that may be off by 0.3 m beside a prediction that may be by 0.4 m: 0.5 m both together."""
    row = Compared("gauge", "head", read, 0.3, "0.3 m", "", predicted, 0.4, apart, impossible)
    (only,) = readings_drawn(Measured("a tub", "", "2027-05-02", (row,))).rows
    return only


def test_a_reading_stands_where_both_tolerances_put_it() -> None:
    """9 m beside 8 m: (9 - 8) / hypot(0.3, 0.4) = 2; the bars reach 0.3 / 0.5 and 0.4 / 0.5."""
    row = drawn(9.0, 8.0, 2.0)
    assert (2.0, 0.6, 0.8) == pytest.approx((row.at, row.measured_half, row.predicted_half))
    assert (False, "differs") == (row.beyond, row.verdict)
    assert ("9 ±0.3 m", "8 ±0.4 m") == (row.measured, row.predicted)
    assert -0.5 == pytest.approx(drawn(7.75, 8.0, 0.5).at)
    assert "agrees" == drawn(7.75, 8.0, 0.5).verdict


def test_what_lies_far_off_is_an_arrow_at_the_edge() -> None:
    """On its own side; so is a reading of what never comes."""
    far = drawn(30.0, 8.0, 44.0, "a pump gives 16 m at most")
    assert (FURTHEST, True, "cannot be") == (far.at, far.beyond, far.verdict)
    never = drawn(21.0, float("inf"), float("inf"))
    assert (-FURTHEST, True, 0.0, "never") == (never.at, never.beyond, never.predicted_half, never.predicted)


def test_the_drawing_has_every_row_in_its_readers_units() -> None:
    """10 m of water are 33 ft: 10 / 0.3048 = 32.8."""
    rows = tuple(
        Compared(name, "head", 10.0, 0.3, "0.3 m", "", 8.0, 0.4, 4.0, "") for name in ("gauge a", "gauge b")
    )
    found = readings_drawn(Measured("a tub", "as handed over", "2027-05-02", rows))
    for us, told in ((False, "10 ±0.3 m"), (True, "33 ±")):
        texts = [text.get_text() for text in measured_figure(found, us).axes[0].texts]
        assert ["gauge a", "gauge b"] == [text for text in texts if text.startswith("gauge")]
        assert 2 == sum(text.startswith(told) for text in texts)
    measured_figure(readings_drawn(Measured("nothing read", "", "2027-05-02", ())))


def test_the_command_writes_it(tmp_path: Path) -> None:
    """The same readings give the same bytes; another form is refused, and so is a file of readings."""
    readings, out = tmp_path / "readings.yaml", tmp_path / "o.svg"
    readings.write_text(READINGS, "utf-8")
    written = []
    for _ in range(2):
        call = ["measured", str(LOOP), str(readings), "--days", "1", "--figure"]
        result = CliRunner().invoke(cli, [*call, str(out)])
        assert 0 == result.exit_code, result.output
        written.append(out.read_bytes())
    assert written[0] == written[1]
    assert b"<svg" in written[0]
    refused = CliRunner().invoke(cli, [*call, str(tmp_path / "o.gif")])
    assert 2 == refused.exit_code
    assert "end the name" in refused.stderr
    same = tmp_path / "same.svg"
    same.symlink_to(readings)
    assert "would overwrite the readings" in CliRunner().invoke(cli, [*call, str(same)]).stderr
