"""The drawing of a day or a week."""

import subprocess
import sys
from datetime import date
from io import BytesIO

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from cyclesim.analysis.ages import AgeRows
from cyclesim.analysis.result import Result, simulate
from cyclesim.errors import CycleSimError
from cyclesim.said.stretch import (
    _oldest,
    asked_lanes,
    band,
    below_top,
    check_first,
    chosen_span,
    oldest_curves,
    ran_lanes,
    stretch,
)
from cyclesim.said.verdict import alike
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.shown.pictures.run import draw, write_figure

H = 3600


@pytest.fixture(scope="module")
def cut() -> Result:
    """Ten days of the starter with a power cut of 20 h on the second."""
    sets = ["limits.water_age=8 h", "schedule.outages=[{from: 2027-01-05 03:00, lasts: 20 h}]"]
    return simulate(load_text(starter_text(), sets=sets), days=10)


def test_week_with_the_worst_finding_is_drawn(cut: Result) -> None:
    """It begins a day before the finding; a day that is given, and the run's end, have their way."""
    assert chosen_span(cut) == (3 * 24 * H, 10 * 24 * H)
    assert chosen_span(cut, date(2027, 1, 2), 1) == (24 * H, 48 * H)
    assert chosen_span(cut, date(2027, 1, 10)) == (9 * 24 * H, 10 * 24 * H)
    assert chosen_span(cut, None, 1) == (4 * 24 * H, 5 * 24 * H)
    assert chosen_span(cut, None, 31) == (0, 10 * 24 * H)


def test_day_outside_the_run_is_refused() -> None:
    """The days that are run are named."""
    check_first(date(2027, 1, 3), date(2027, 1, 1), 3)
    with pytest.raises(CycleSimError, match="from 2027-01-01 to 2027-01-03"):
        check_first(date(2027, 1, 4), date(2027, 1, 1), 3)


def test_lanes_show_who_asked_and_what_ran(cut: Result) -> None:
    """In a power cut the flush asks and gets nothing; nobody's lane is drawn that saw nothing."""
    span = (4 * 24 * H, 5 * 24 * H)
    asked = {lane.name: lane for lane in asked_lanes(cut, span)}
    flush = asked["line flush"]
    assert len(flush.outline) == 2
    assert flush.full == []
    ran = {lane.name: lane for lane in ran_lanes(cut, span)}
    assert ran["power lost"].full == [(99 * H, 119 * H)]
    assert all(end <= 99 * H or start >= 119 * H for start, end in ran["main"].half + ran["main"].full)
    assert "power lost" not in {lane.name for lane in ran_lanes(cut, (0, 24 * H))}


def test_oldest_water_rises_while_still_and_falls_in_flow() -> None:
    """Two hours still, then 100 s of old water leaving, then water of 20 s, as made-up rows say."""
    still = (0.0, 7200.0, 0.0, 7200.0, 0.0)
    flow = (7200.0, 8200.0, 1e-3, 7300.0, 7250.0 * 100.0 + 20.0 * 900.0)
    rows = AgeRows(*(np.array(column) for column in zip(still, flow, strict=True)), *([np.zeros(2)] * 2))
    at, ages = _oldest(rows, (0, 8200))
    assert at == [0.0, 7200.0, 7200.0, 7300.0, 7300.0, 8200.0]
    assert [0.0, 7200.0, 7200.0, 7300.0, 20.0, 20.0] == pytest.approx([3600.0 * age for age in ages])


def test_oldest_water_peaks_where_the_metrics_say(cut: Result) -> None:
    """Over the whole run the greatest age of each drawn leg is that of its row in the report."""
    curves = oldest_curves(cut, (0, cut.trace.span_s))
    assert {"suction_left", "left_bench", "left_bench, last jet"} <= {name for name, _, _ in curves}
    for name, at, ages in curves:
        assert cut.metrics.legs[name].oldest_water_h == pytest.approx(max(ages))
        assert (at[0], at[-1]) == (0.0, cut.trace.span_s)
        assert at == sorted(at)


def test_band_is_what_the_thermostat_keeps(cut: Result) -> None:
    """From within below the set point up to it, to the end of what is drawn."""
    heating = cut.scenario.schedule.heating
    assert heating is not None
    kept = band(cut, (0, 24 * H))
    assert kept is not None
    assert (kept[0][0], kept[0][-1]) == (0.0, 24.0 * H)
    assert set(kept[1]) == {heating.keep_at_c - heating.within_k}
    assert set(kept[2]) == {heating.keep_at_c}


def test_every_lane_and_finding_is_named_in_words(cut: Result) -> None:
    """Legs, demands, machines and the findings' numbers stand on the drawing, all of it on the sheet."""
    figure = draw(stretch(cut, spells=True))
    told = [text.get_text() for text in figure.texts]
    labels = {label.get_text() for ax in figure.axes for label in ax.get_yticklabels()}
    assert {"line flush", "filter run", "main", "element", "power lost"} <= labels
    assert sum(label.endswith("alike") for label in labels) >= 1, "legs that read the same share a row"
    first = alike(cut.findings)[0][0]
    assert any(text.strip().startswith("1  ") and first.rule in text for text in told)
    assert f"{first.severity}  1" in {label.get_text() for label in figure.axes[0].get_yticklabels()}
    wide, high = figure.get_size_inches() * figure.dpi
    renderer = FigureCanvasAgg(figure).get_renderer()
    for text in (*figure.texts, *(t for ax in figure.axes for t in (*ax.texts, *ax.get_yticklabels()))):
        box = text.get_window_extent(renderer)
        assert box.x0 >= 0, text.get_text()
        assert box.x1 <= wide, text.get_text()
        assert box.y0 >= 0, text.get_text()
        assert box.y1 <= high, text.get_text()


def test_findings_are_drawn_for_as_long_as_they_were_broken(cut: Result) -> None:
    """In all of the run: each finding's spells sum to its hours, and the first begins at its first time."""
    whole = stretch(cut, date(2027, 1, 1), 10, spells=True)
    groups = alike(cut.findings)
    assert whole.noted
    for noted in whole.noted:
        group = groups[noted.number - 1]
        begins = min(moment for finding in group for moment in finding.first)
        assert begins == cut.trace.local(noted.spells[0][0]).isoformat(timespec="seconds")
        if len(group) == 1 and group[0].total_h is not None:
            drawn_h = sum(end - start for start, end in noted.spells) / H
            assert group[0].total_h == pytest.approx(drawn_h, abs=(group[0].times + 1) * 2 / H)


def test_a_day_in_us_units_has_degrees_of_fahrenheit(cut: Result) -> None:
    """Whole ones, at their places: 32 degF is drawn at 0 degC."""
    figure = draw(stretch(cut), us=True)
    (tub,) = [ax for ax in figure.axes if ax.get_title(loc="left").startswith("Temperature of the tub")]
    assert "[°F]" in tub.get_title(loc="left")
    for place, label in zip(tub.get_yticks(), tub.get_yticklabels(), strict=True):
        assert float(label.get_text()) == pytest.approx(32.0 + 1.8 * place, abs=0.01)


def test_title_is_taken_as_written_and_nothing_warns() -> None:
    """Dollar signs make no formula, and a sign that the font has not makes no noise."""
    scenario = load_text(starter_text(), sets=["title=Tub $a_b$ \U0001f6c1"])
    stream = BytesIO()
    write_figure(stretch(simulate(scenario, days=1, start=date(2027, 3, 28)), days=1), stream, ".png")
    assert stream.getvalue().startswith(b"\x89PNG")


def test_clock_change_makes_the_day_shorter() -> None:
    """The drawing ends with the local day: 23 h when the clock goes forward."""
    result = simulate(load_text(starter_text()), days=2, start=date(2027, 3, 27))
    assert chosen_span(result, date(2027, 3, 28), 1) == (24 * H, 47 * H)


def test_drawing_leaves_no_pyplot_behind() -> None:
    """Neither the module nor a drawing imports pyplot, and matplotlib only comes with a drawing."""
    script = (
        "import sys, cyclesim.shown.pictures.run as f; print('matplotlib' in sys.modules)\n"
        "from io import BytesIO\nfrom cyclesim.analysis.result import simulate\n"
        "from cyclesim.said.stretch import stretch\n"
        "from cyclesim.scenario.reading.load import load_text\n"
        "from cyclesim.scenario.reading.starter import starter_text\n"
        "f.write_figure(stretch(simulate(load_text(starter_text()), days=1)), BytesIO(), '.svg')\n"
        "print('matplotlib.pyplot' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", script], text=True, capture_output=True, check=True)
    assert done.stdout.split() == ["False", "False"]


def test_a_curve_is_cut_where_it_leaves_the_scale():
    """From 0 to 100 h over 100 s with a scale of 25 h: it reaches the top after 25 s, not at the end."""
    assert ([0.0, 25.0, 100.0], [0.0, 25.0, 25.0]) == below_top([0.0, 100.0], [0.0, 100.0], 25.0)
    assert ([0.0, 5.0], [1.0, 2.0]) == below_top([0.0, 5.0], [1.0, 2.0], 25.0)
    assert ([0.0, 30.0, 40.0], [25.0, 25.0, 15.0]) == below_top([0.0, 40.0], [55.0, 15.0], 25.0)
