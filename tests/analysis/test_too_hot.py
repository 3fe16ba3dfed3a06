"""Hot water, hot outlets and a stove: histories that break a rule and ones that do not."""

from collections.abc import Callable
from math import acosh, log, pi
from pathlib import Path

import pytest

from cyclesim.analysis.history import History
from cyclesim.physics.pieces import Exchanged
from cyclesim.physics.stays import Stay
from cyclesim.simulation.trace import Rows
from tests.analysis.by_hand import H, told, tub
from tests.analysis.conftest import TEXT

Run = Callable[..., History]
Changes = tuple[tuple[str, str], ...]
SCHEDULES = Path(__file__).parents[2] / "schedules"


# -- water-too-hot: 104 degF = 40.000 degC is the most, New York State 6-1.25(b), seen


def hot_day(run: Run, most_c: float, **streams: object) -> History:
    """39.2 degC, but from 10 h to 12 h up to *most_c* and from 12 h to 14 h down again."""
    history = run(**streams)
    tub(history, (0, 39.2), (10, 39.2), (12, most_c), (14, 39.2), end_c=39.2)
    return history


@pytest.mark.parametrize(
    ("streams", "cause", "mend"),
    [
        ({"sources": {"element": [(9 * H, "firing"), (12 * H, "off")]}}, "element heats it", "than 36 degC"),
        ({"pumps": {"main": [(0, "low")]}}, "the heat of main alone, with no source firing", "cover open"),
        ({"sources": {"element": [(0, "firing"), (H, "off")]}}, "it is as warm as that with nothing running",
         "open the cover"),
    ],
)  # fmt: skip
def test_water_too_hot_tells_its_causes_apart(run: Run, streams: dict, cause: str, mend: str) -> None:  # type: ignore[type-arg]
    """40.7 degC at 12 h; 40.2, the limit and the swing, is passed at two thirds of the way up and down."""
    (breach,) = told(hot_day(run, 40.7, **streams), "water-too-hot")
    assert ("tub", cause, pytest.approx(40.7)) == (breach.subject, breach.cause, breach.worst)
    assert (pytest.approx((10 + 4 / 3) * H), pytest.approx(4 / 3 * H)) == (breach.at_s, breach.lasts_s)
    assert "40.7 of 40 degC" == breach.text
    assert mend in breach.mend


def test_the_thermostats_swing_is_not_too_hot(run: Run) -> None:
    """Up to 40.2 degC is within the swing; where the file says that 38 degC is the most, 38.3 is too hot."""
    assert [] == told(hot_day(run, 40.2), "water-too-hot")
    stricter = ("interlocks:\n", "limits: {bathing_temperature: 38 degC}\ninterlocks:\n")
    history = run(stricter)
    tub(history, (0, 38.3), (1, 37.0), end_c=37.0)
    (breach,) = told(history, "water-too-hot")
    assert "38.3 of 38 degC" == breach.text


# -- outlet-too-hot


def fires(run: Run, *changes: tuple[str, str], source: str = "element") -> History:
    """A source fires for an hour at main low into water of 38 degC, and pauses before and after."""
    history = run(
        *changes,
        pumps={"main": [(H, "low"), (3 * H, "stopped")]},
        sources={source: [(H, "firing"), (2 * H, "off")]},
    )
    tub(history, (0, 38.0), end_c=38.0)
    return history


def rise_k(history: History, heat_w: float, source: str) -> float:
    """Heat over flow, with rho cp = 4.1499 MJ/(m3 K) at 38 degC: IAPWS-95, computed with CoolProp.

    The pump adds its share; on the way some is lost, 28 K above soil and room: by 6 m of bare PVC at 600 mm
    of soil, 1 / (ln(D/d) / (2 pi 0.19) + acosh(2 z / D) / (2 pi 1.5)) W/(m K), and by the filter's housing,
    8 W/(m2 K) on a cylinder of 14 L twice as high as wide.
    """
    plant = history.plant
    bore, outside = plant.sheet.legs["suction"].bore_m, 0.063
    pipe_w_k = 6.0 / (log(outside / bore) / (2 * pi * 0.19) + acosh(2 * 0.6 / outside) / (2 * pi * 1.5))
    filter_w_k = 8.0 * 2.5 * pi * (2.0 * 0.014 / pi) ** (2.0 / 3.0)
    pump_w = 300.0 * plant.pumps["main"].heat_to_water
    per_k = 4.1499e6 * plant.duty(plant.at("main", "low")).flow_m3_s(source)
    return (heat_w + pump_w - 28.0 * (pipe_w_k + filter_w_k)) / per_k


def test_an_outlet_too_hot(run: Run) -> None:
    """60 kW into what main low sends through it: over 41 degC by the balance, for the hour it fires."""
    limit = ("interlocks:\n", "limits: {outlet_temperature: 41 degC}\ninterlocks:\n")
    history = fires(run, limit, ("output: 2300 W", "output: 60 kW"))
    (breach,) = told(history, "outlet-too-hot")
    assert pytest.approx(38.0 + rise_k(history, 60_000.0, "element"), abs=0.01) == breach.worst
    assert (H, H, "element") == (breach.at_s, breach.lasts_s, breach.subject)
    assert "pass it at main low" in breach.cause
    assert [] == told(fires(run, limit), "outlet-too-hot"), "2300 W warm it by a sixth of a degree"


def test_a_heat_pumps_outlet_follows_what_it_gave(run: Run, winter: Changes) -> None:
    """50 kWh in its second half hour: too hot there, and not in the first, in which it gave 1 kWh."""
    limit = (
        "interlocks:\n  - {block: unit",
        "limits: {outlet_temperature: 41 degC}\ninterlocks:\n  - {block: unit",
    )
    history = fires(run, *winter, limit, source="unit")
    rows = history.trace.exchanges["unit"] = Rows("unit", Exchanged)
    rows.put(Exchanged(0, H, H + 1800, 3.6e6, 1.0, 0.0))
    rows.put(Exchanged(0, H + 1800, 2 * H, 50.0 * 3.6e6, 1.0, 0.0))
    (breach,) = told(history, "outlet-too-hot")
    assert pytest.approx(38.0 + rise_k(history, 100_000.0, "unit"), abs=0.02) == breach.worst
    assert (H + 1800, 1800) == (breach.at_s, breach.lasts_s)


def test_a_heat_pump_that_gave_nothing_heats_nothing(run: Run, winter: Changes) -> None:
    """Its rows may be there and empty, where it fired in the warm-up alone."""
    history = fires(run, *winter, source="unit")
    history.trace.exchanges["unit"] = Rows("unit", Exchanged)
    assert [] == told(history, "outlet-too-hot")


def test_what_stood_hot_in_a_source_leaves_as_water_starts(run: Run) -> None:
    """62 degC in the element as the pump starts at 3 h: 2 L at the flow of main low."""
    history = run(pumps={"main": [(3 * H, "low")]})
    tub(history, (0, 38.0), end_c=38.0)
    rows = history.trace.stays["element"]
    rows.put(Stay(0, 0, 2 * H, False, 38.0, 70.0, 0.0, 38.0, 38.0))
    rows.put(Stay(0, 2 * H, 3 * H, False, 70.0, 62.0, 0.0, 62.0, 70.0))
    rows.put(Stay(0, 3 * H, 24 * H, True, 62.0, 38.0, 0.0, 38.0, 62.0))
    (breach,) = told(history, "outlet-too-hot")
    assert ("element", 3 * H, 62.0, "62.0 of 50 degC") == (
        breach.subject,
        breach.at_s,
        breach.worst,
        breach.text,
    )
    low_m3_s = history.plant.duty(("low",)).flow_m3_s("element")
    assert pytest.approx(0.002 / low_m3_s) == breach.lasts_s
    assert "keep, after: element" in breach.mend


def test_what_stood_in_a_stove_has_no_limiter_and_may_boil(run: Run) -> None:
    """Nobody can switch off a fire, nor does `keep` take it; a run does not reckon with steam."""
    lines = TEXT.splitlines(keepends=True)
    at = next(k for k, line in enumerate(lines) if line.startswith("    element: "))
    element, unwired = "".join(lines[at : at + 2]), TEXT[TEXT.index("interlocks:") :]
    stove = (
        '    element: {kind: wood, output: 9 kW, burns: [{start: "16:00", lasts: 2 h}], '
        "drop: 0.3 m at 400 L/min, volume: 2 L, needs_flow: 30 L/min, zone: room}\n"
    )
    heating = "  heating: {with: [element], pump: main low, keep_at: 36 degC, within: 1 K}\n"
    history = run((element, stove), (unwired, ""), (heating, ""), pumps={"main": [(3 * H, "low")]})
    tub(history, (0, 38.0), end_c=38.0)
    rows = history.trace.stays["element"]
    rows.put(Stay(0, 0, 3 * H, False, 38.0, 130.9, 0.0, 38.0, 130.9))
    rows.put(Stay(0, 3 * H, 24 * H, True, 130.9, 38.0, 0.0, 38.0, 130.9))
    (breach,) = told(history, "outlet-too-hot")
    assert breach.text == "130.9 of 50 degC, as if it did not boil"
    assert breach.mend == "run a pump through it for as long as it is hot: nobody can switch it off"


# -- what cannot be switched off


def stove(run: Run, **streams: object) -> History:
    """A wood stove in the loop."""
    sheet = """
    stove: {kind: wood, output: 10 kW, burns: [{start: "17:00", lasts: 3 h}], drop: 0.1 m at 400 L/min,
            volume: 20 L, needs_flow: 10 L/min, zone: room}
  network: [[tub, suction, main, filter, stove, element, bench, tub]]"""
    change = ("  network: [[tub, suction, main, filter, element, bench, tub]]", sheet)
    return run(change, sources={"stove": [(17 * H, "firing"), (20 * H, "off")]}, **streams)


def test_a_stove_in_still_water_is_a_danger_that_only_a_pump_mends(run: Run) -> None:
    """No proof and no run-on is asked of what nobody switches; water through it is."""
    (breach,) = told(stove(run), "heat-without-flow")
    assert "run a pump through it" in breach.mend
    pumped = stove(run, pumps={"main": [(17 * H, "low"), (20 * H, "stopped")]})
    for rule in ("heat-without-flow", "heat-before-proof", "no-run-on"):
        assert [] == told(pumped, rule)
