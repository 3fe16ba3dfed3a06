"""A heater in several sizes: the supply, the need, the year, the advice and its refusals."""

import json
from collections.abc import Callable
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from cyclesim.analysis.result import simulate
from cyclesim.decide.sizing import heater_sizing
from cyclesim.decide.sizing.heat_up import heating_of, seasons, set_back_c, too_cold_h
from cyclesim.decide.sizing.heater_need import need_of
from cyclesim.decide.sizing.heater_sizes import chosen_source, sizes_around, with_size
from cyclesim.decide.sizing.heater_sizing import (
    SESSIONS,
    Against,
    HeaterSizing,
    NoneDoes,
    _advised,
    _against,
    _cold_sessions,
    size_heater,
)
from cyclesim.decide.sizing.supply_share import largest_w, supply_share
from cyclesim.decide.sweeps.outcome import Broken
from cyclesim.decide.sweeps.sweep import job, run
from cyclesim.errors import InputError
from cyclesim.said.heater_drawn import heater_drawn
from cyclesim.said.size_heater import advice, heater_page, heater_values
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.shown.as_json import as_text
from cyclesim.shown.cells import shown
from cyclesim.shown.pictures.heater import heater_figure, write_heater_figure
from cyclesim.shown.terminal import printed
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.programme import Programme
from tests.evidence.small import ELEMENT, heated_text
from tests.said.tables import Key, hold_in_order, hold_in_us, tables_of

SHIPPED = Path(__file__).parents[2] / "schedules"
WALLED = SHIPPED / "walled-garden.yaml"
FLAT = "supply.tariff=0.20 EUR/kWh"


@pytest.fixture(scope="module")
def walled() -> HeaterSizing:
    """The walled garden with a flat tariff in three sizes, and the file's own."""
    return size_heater(load(WALLED, sets=(FLAT,)), sizes_w=[2000.0, 4000.0, 6000.0])


# -- the supply --------------------------------------------------------------------------------------------


def test_a_heater_with_what_may_run_beside_it() -> None:
    """By hand: 3000/230 + 1.5 + 60/230 = 14.804 A of 20 A; main high is kept apart by a block."""
    share = supply_share(Assembly(load(WALLED)), "element", lasts=True)
    assert share is not None
    assert 14.804 == pytest.approx(share.counted_a, abs=1e-3)
    assert 0.7402 == pytest.approx(share.share, abs=1e-4)
    assert ("main low", "lights") == share.beside
    # (20 - 1.5 - 0.261) A times 230 V
    assert 4195.0 == pytest.approx(largest_w(Assembly(load(WALLED)), "element", lasts=True), abs=0.1)


def test_a_load_of_hours_counts_a_quarter_more_in_north_america() -> None:
    """125 % of all three: 18.505 A; the 80 % rule the other way round: 16 A may be drawn.

    A heater that is done in less than 3 h counts as it is; frost protection has main low on for longer.
    """
    plant = Assembly(load(WALLED, sets=("supply.region=north_america",)))
    share = supply_share(plant, "element", lasts=True)
    assert share is not None
    assert 18.505 == pytest.approx(share.counted_a, abs=1e-3)
    assert (16.0 - 1.5 - 60 / 230) * 230 == pytest.approx(largest_w(plant, "element", lasts=True), abs=0.1)
    short = supply_share(plant, "element", lasts=False)
    assert short is not None
    assert 3000 / 230 + 1.25 * (1.5 + 60 / 230) == pytest.approx(short.counted_a)


def test_without_the_block_the_fast_pump_counts() -> None:
    """3000/230 + 7.4 + 60/230 = 20.704 A."""
    told = load(WALLED)
    lines = tuple(i for i in told.interlocks if getattr(i, "while_", None) is None)
    share = supply_share(Assembly(told.model_copy(update={"interlocks": lines})), "element", lasts=True)
    assert share is not None
    assert 20.704 == pytest.approx(share.counted_a, abs=1e-3)
    assert ("main high", "lights") == share.beside


def test_two_things_that_an_interlock_parts_do_not_count_together() -> None:
    """High valley's element is blocked at main high: 12 A + 3000/230 + low, not high, + 40/230 of lights."""
    plant = Assembly(load(SHIPPED / "high-valley.yaml"))
    share = supply_share(plant, "heat_pump", lasts=True)
    assert share is not None
    assert {"main low", "element", "lights"} == set(share.beside)
    assert 12 + 3000 / 230 + plant.current_a("main", "low") + 40 / 230 == pytest.approx(share.counted_a)


# -- what is asked -----------------------------------------------------------------------------------------


def test_the_need_and_the_set_back_of_a_file() -> None:
    """Long table: 23:00 to 17:00, of which the night of 28 March leaves 17 h; high valley: 72 h at most."""
    long, high, walled = (load(SHIPPED / f"{n}.yaml") for n in ("long-table", "high-valley", "walled-garden"))
    assert (17 * 3600.0, True) == (need_of(long).within_s, need_of(long).from_set_back)
    assert (72 * 3600.0, True) == (need_of(high).within_s, need_of(high).from_set_back)
    assert (129_600.0, False) == (need_of(walled).within_s, need_of(walled).from_set_back)
    assert 3600.0 == need_of(walled, 3600.0).within_s
    backs = [set_back_c(s.schedule.heating) for s in (long, high, walled) if s.schedule.heating]
    assert [36.5, 15.0, None] == backs


def test_the_coldest_day_is_the_one_the_file_names() -> None:
    """20 January by the file; the mild month is the one whose mean is nearest to the year's."""
    when = seasons(load(WALLED))
    assert ("2027-01-20", "2027-01-17") == (when.coldest_day.isoformat(), when.coldest_week.isoformat())
    assert when.mild_day.month in (4, 10)


def test_hours_too_cold_for_a_heat_pump_are_counted_and_told(walled: HeaterSizing) -> None:
    """High valley: the hours of its coldest week below a limit, as a run of that week reads its weather."""
    file = SHIPPED / "high-valley.yaml"
    week = seasons(load(file)).coldest_week
    trace = simulate_trace(Assembly(load(file)), Programme(load(file)), days=7, start=week)
    assert trace.zones is not None
    air_c = trace.zones.series["outdoors"][:168]
    for limit_c in (-15.0, -5.0, 2.0):
        colder = load(file, sets=[f"plant.heat_sources.heat_pump.lowest_air={limit_c} degC"])
        hours = sum(c < limit_c for c in air_c)
        assert too_cold_h(colder, week) == {"heat_pump": hours}
        said = " ".join(advice(replace(walled, scenario=colder, too_cold_h=too_cold_h(colder, week))))
        told = (
            f"the 168 h of the coldest week the air is below {limit_c:g} degC, where heat_pump stands still"
        )
        assert (f"For {hours} of {told}: element must be large enough alone then" in said) == bool(hours)
    assert 0 < sum(c < -5.0 for c in air_c) < 168


def test_usual_sizes_around_the_own() -> None:
    """A third to three times the own, which is always among them."""
    assert [1000.0, 1500.0, 2000.0, 3000.0, 4500.0, 6000.0, 9000.0] == sizes_around(3000.0, None)
    assert [2400.0] == [w for w in sizes_around(2400.0, None) if w not in (1e3, 15e2, 2e3, 3e3, 45e2, 6e3)]
    assert [2000.0, 3000.0] == sizes_around(3000.0, [2000.0, 3000.0])


@pytest.mark.parametrize(
    ("carried_w", "more"),
    [(4195.0, [4100.0]), (3090.0, []), (950.0, []), (40_000.0, []), (None, [])],
)
def test_what_the_circuit_carries_is_tried_as_well(carried_w: float | None, more: list[float]) -> None:
    """The walled garden's 4195 W lie between 3 and 4.5 kW; nothing is tried twice, nor beyond the others."""
    assert more == [w for w in sizes_around(3000.0, None, carried_w) if w not in sizes_around(3000.0, None)]
    assert [2000.0, 3000.0] == sizes_around(3000.0, [2000.0], carried_w)


@pytest.mark.parametrize(
    ("told", "says"),
    [
        ("stove", "an unknown heat source 'stove'"),
        ("elment", "did you mean 'element'?"),
    ],
)
def test_a_source_that_is_none(told: str, says: str) -> None:
    """It is refused with the nearest spelling."""
    with pytest.raises(InputError, match="--source") as refused:
        chosen_source(load(WALLED), told)
    assert says in str(refused.value)


def test_the_first_electric_source_is_sized_and_one_that_burns_by_itself_is_not(
    winter: Callable[..., Scenario],
) -> None:
    """Without an electric one the first that is switched."""
    assert "element" == chosen_source(winter())
    assert "heat_pump" == chosen_source(winter("schedule.heating.with=[heat_pump]"))
    assert "boiler" == chosen_source(load(SHIPPED / "cedar-yard.yaml"))
    stove = (
        "    stove: {kind: wood, output: 3 kW, drop: 0.3 m at 400 L/min, volume: 2 L, needs_flow: 60 L/min,\n"
        '            zone: pump_room, burns: [{start: "17:00", lasts: 2 h}]}\n'
    )
    text = WALLED.read_text("utf-8").replace("    element:\n", f"{stove}    element:\n", 1)
    text = text.replace("filter, element, {parallel", "filter, element, stove, {parallel", 1)
    with pytest.raises(InputError, match="found stove, which is wood; an electric element"):
        chosen_source(load_text(text, "stove.yaml"), "stove")


def test_a_boiler_burns_in_proportion() -> None:
    """Twice the output with the same efficiency; nothing else of its sheet moves."""
    told = load(SHIPPED / "cedar-yard.yaml")
    sheet = told.plant.heat_sources["boiler"]
    made = with_size(told, "boiler", 2.0 * sheet.output_w).plant.heat_sources["boiler"]
    assert 2.0 * sheet.output_w == made.output_w
    assert sheet.model_copy(update={"output_w": made.output_w}) == made
    assert with_size(told, "boiler", sheet.output_w) is told


# -- a sizing ------------------------------------------------------------------------------------------------


def test_a_year_costs_nearly_the_same_at_any_size(walled: HeaterSizing) -> None:
    """One price, one set point: what is lost is bought, whatever the size; pipes and pump leave 8 %."""
    costs = [one.cost for one in walled.sizes]
    assert max(costs) / min(costs) < 1.08
    for one in walled.sizes:
        assert 0.20 * one.energy_kwh == pytest.approx(one.cost, rel=1e-6)


def test_the_larger_the_sooner_and_the_shorter_it_fires(walled: HeaterSizing) -> None:
    """In the coldest week it takes longer than in the mild one."""
    for small, large in zip(walled.sizes, walled.sizes[1:], strict=False):
        for field in ("filled_coldest_s", "filled_mild_s", "from_set_back_s", "without_losses_s", "firing_h"):
            assert getattr(small, field) > getattr(large, field), field
    for one in walled.sizes:
        assert one.filled_coldest_s is not None
        assert one.filled_mild_s is not None
        assert one.filled_mild_s < one.filled_coldest_s


def test_the_heat_of_a_warming_up_adds_up(walled: HeaterSizing) -> None:
    """3 kW for its time of firing; the water's share is m c dT."""
    own = next(one for one in walled.sizes if one.is_own)
    heat, seconds = own.balance, own.filled_coldest_s
    assert heat is not None
    assert seconds is not None
    assert 3.0 * (seconds / 3600.0 - heat.waited_h) == pytest.approx(heat.from_sources_kwh, rel=1e-3)
    assert heat.into_tub_water_kwh == pytest.approx(3.0 * own.without_losses_s / 3600.0, rel=1e-9)
    assert heat.into_pipes_and_lost_there_kwh > 0.0


def test_the_smallest_that_does_everything_is_advised(walled: HeaterSizing) -> None:
    """2 kW takes more than 36 h; 6 kW draws 27.8 A of 20 A; 4 kW costs hardly less."""
    assert walled.recommended is not None
    assert 3000.0 == walled.recommended.size_w
    by_size = {one.size_w: [a.what for a in one.against] for one in walled.sizes}
    assert {2000.0: ["ready"], 3000.0: [], 4000.0: [], 6000.0: ["supply"]} == by_size
    said = " ".join(advice(walled))
    assert "3 kW is the smallest" in said
    assert "The next smaller, 2 kW: takes" in said
    assert "The next larger, 4 kW: warm in" in said


def test_one_cost_is_told_as_one(walled: HeaterSizing) -> None:
    """No range from a number to the same."""
    assert walled.recommended is not None
    sizes = tuple(replace(size, cost=996.2) for size in walled.sizes)
    alike = replace(walled, sizes=sizes, recommended=replace(walled.recommended, cost=996.2))
    text = " ".join(printed(heater_page(alike)).split())
    assert "A year costs 996 EUR with any of these." in text
    assert "996 to" not in text


def test_no_size_is_advised_that_another_beats_in_time_and_in_cost(walled: HeaterSizing) -> None:
    """A size that is warm later and dearer than the next is passed over; at equal cost it is not."""
    small, large = (one for one in walled.sizes if one.size_w in (3000.0, 4000.0))
    assert small.filled_coldest_s is not None
    dear = replace(small, cost=1.2 * large.cost)
    assert large == _advised([dear, large], walled.need)
    alike = replace(small, cost=large.cost)
    assert alike == _advised([alike, large], walled.need)
    beaten = replace(walled, sizes=(dear, large), recommended=large)
    said = " ".join(advice(beaten))
    assert "3 kW would do too, but 4 kW is warm sooner and costs less a year" in said
    assert "The next smaller, 3 kW: it would do, but it takes" in said


def test_where_none_does_the_advice_says_what_would() -> None:
    """To be warm within 8 h asks for more than the breaker carries."""
    found = size_heater(load(WALLED, sets=(FLAT,)), sizes_w=[2000.0, 9000.0], within_s=8 * 3600.0)
    assert found.recommended is None
    assert found.none_does is not None
    assert (3000.0, 9000.0) == (found.none_does.nearest_w, found.none_does.needed_w)
    assert 9000 / 230 + 1.5 + 60 / 230 == pytest.approx(found.none_does.needed_breaker_a)
    said = " ".join(advice(found))
    for word in ("A circuit for at least 40.9 A", "A heat pump of 9 kW", "More time", "Less loss"):
        assert word in said
    left_w = 230.0 * (20.0 - 1.5 - 60 / 230)  # a size between is named before a new circuit is
    assert left_w == pytest.approx(found.supply_limit_w)
    assert said.index("First a size between: this circuit carries up to 4.1 kW") < said.index("A circuit")


def test_a_heat_pump_is_advised_that_works_where_the_files_own_stands(walled: HeaterSizing) -> None:
    """In a coldest week at 0 degC one that works above 5 degC stands all the time: no other such helps."""
    built = load(WALLED.parent / "high-valley.yaml")
    name = next(n for n, sheet in built.plant.heat_sources.items() if sheet.kind == "heat_pump")
    none = NoneDoes(walled.sizes[-1].size_w, 9000.0, 40.0, None, None)
    found = replace(walled, scenario=built, recommended=None, none_does=none)
    said = [" ".join(advice(replace(found, too_cold_h={name: hours}))) for hours in (0, 168)]
    lowest_c = built.plant.heat_sources[name].lowest_air_c
    assert "A heat pump of 9 kW: at a COP" in said[0]
    second = replace(found, sizes=[replace(s, against=(Against(SESSIONS, ""),)) for s in found.sizes])
    assert "let element join sooner: next_below less than 1 K (not tried)" in " ".join(advice(second))
    assert "next_below" not in " ".join(advice(replace(second, scenario=walled.scenario)))
    wide = load(WALLED.parent / "high-valley.yaml", sets=("schedule.heating.within=2 degF",))
    band = " ".join(advice(replace(second, scenario=wide)))
    assert "First a narrower band: within: 1 K, for heating starts 1.1 K below the set point" in band
    assert "next_below" not in band
    assert f"A heat pump of 9 kW that works below {lowest_c:g} degC, as {name} does not: at" in said[1]


def test_sessions_are_told_cold_by_when_they_are(bathed: HeaterSizing) -> None:
    """Two begin cold and three end cold: both are told, and the table has the more of the two."""
    colds = (("cold-at-session", 2), ("cold-at-end", 3))
    seen = tuple(Broken(rule, "comfort", "bathing", "", times, "") for rule, times in colds)
    year = replace(run(job(bathed.scenario, 1)), findings=seen, sessions=105)
    [against] = _against(year, year, replace(bathed.sizes[0].held, holds=True), 37.0, None, bathed.need, 1.0)
    assert (against.what, against.text) == (SESSIONS, "of 105 sessions 2 begin cold and 3 end cold")
    assert _cold_sessions(year) == 3


def test_the_share_of_the_breaker_stands_beside_what_a_year_drew(walled: HeaterSizing) -> None:
    """What no interlock keeps apart is at least what came together in the year that was run."""
    own = next(size for size in walled.sizes if size.is_own)
    assert own.supply is not None
    assert 0.0 < own.most_current_a <= own.supply.drawn_a + 1e-9
    said = " ".join(printed(heater_page(walled)).split())
    assert f"the whole supply drew {own.most_current_a:.1f} A at most with 3 kW" in said


def test_where_another_size_keeps_no_more_sessions_warm_it_says_so(bathed: HeaterSizing) -> None:
    """Sessions that are as often cold with the smaller size want an earlier start, where none is planned."""
    cold = Against(SESSIONS, "2 of 105 sessions cold")
    sizes = tuple(replace(one, sessions=105, cold_sessions=2, against=(cold,)) for one in bathed.sizes)
    none = NoneDoes(sizes[-1].size_w, None, None, None, None)
    planned = replace(bathed, sizes=sizes, recommended=None, none_does=none)
    schedule = bathed.scenario.schedule
    heating = heating_of(bathed.scenario).model_copy(update={"plan": ()})
    bare = bathed.scenario.model_copy(update={"schedule": schedule.model_copy(update={"heating": heating})})
    said, unplanned = " ".join(advice(planned)), " ".join(advice(replace(planned, scenario=bare)))
    assert "Not another size: with 1 kW" in said
    assert "ready_by" not in said
    assert "a step of heating's plan with ready_by" in unplanned
    fewer = replace(planned, sizes=(replace(sizes[0], cold_sessions=9), *sizes[1:-1], sizes[-1]))
    assert "with 1 kW" not in " ".join(advice(fewer))


def test_a_report_fits_the_page_and_a_figure_is_the_same_bytes(walled: HeaterSizing) -> None:
    """80 columns, the cautions, every size in the JSON."""
    page = heater_page(walled)
    text = printed(page)
    assert max(map(len, text.splitlines())) <= 80
    for word in ("licensed electrician", "40 °C", "high limit", "no safety controller", "Handbook"):
        assert word in " ".join(text.split())
    one, other = BytesIO(), BytesIO()
    write_heater_figure(heater_drawn(walled), one, ".svg")
    write_heater_figure(heater_drawn(walled), other, ".svg")
    assert one.getvalue() == other.getvalue()
    values = json.loads(json.dumps(heater_values(walled)))
    assert 3000.0 == values["recommended_w"]
    assert 4 == len(values["sizes"])


TIMES: dict[str, Key] = {
    "filled at 15 degC January": lambda size: _hours(size["filled_coldest_s"]),
    "filled at 15 degC October": lambda size: _hours(size["filled_mild_s"]),
    "filled at 12 degC January": lambda size: _hours(size["filled_coldest_s"]),
    "filled at 12 degC October": lambda size: _hours(size["filled_mild_s"]),
    "from 30 degC January": lambda size: _hours(size["from_set_back_s"]),
    "from 36 degC January": lambda size: _hours(size["from_set_back_s"]),
    "begin, to be ready at 18:00": "begin_at",
    "handbook m c dT/P": lambda size: _hours(size["without_losses_s"]),
    "handbook with losses": lambda size: _hours(size["with_losses_s"]),
    "heater warms by K": "outlet_warmer_k",
}
YEAR: dict[str, Key] = {
    "energy kWh": lambda size: size["energy_kwh"] + size["fuel_kwh"],
    "cost money": "cost",
    "firing h": "firing_h",
    "begin or end cold of 2": "cold_sessions",
    "held": lambda size: size["held"]["holds"],
    "of the breaker": lambda size: size["supply"]["counted_a"] / size["supply"]["breaker_a"],
    "what stands against it": lambda size: "; ".join(reason["text"] for reason in size["against"]),
}


def _hours(seconds: float | None) -> float | None:
    return None if seconds is None else seconds / 3600.0


@pytest.fixture(scope="module")
def bathed() -> HeaterSizing:
    """A tub to be ready by six, with people in it at seven; the year is two days."""
    sets = (
        "place.weather.seasonal_swing=9 K",
        'schedule.bathing=[{start: "19:00", lasts: 50 min, people: 2}]',
        'schedule.heating.plan=[{ready_by: "18:00", keep_at: 38 degC, until: "20:00"}]',
    )
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(heater_sizing, "days_of_year", lambda _: 2)
        return size_heater(load_text(heated_text(element=ELEMENT), sets=sets), sizes_w=[1000.0, 6000.0])


@pytest.mark.parametrize("of", ["walled", "bathed"])
def test_every_table_tells_the_numbers_of_the_json(of: str, request: pytest.FixtureRequest) -> None:
    """Size by size, in both worlds of units; the one advised and the file's own have their marks."""
    sizing: HeaterSizing = request.getfixturevalue(of)
    page, values = heater_page(sizing), json.loads(as_text(heater_values(sizing)))
    times, year = (table for _, table in tables_of(page))
    hold_in_order(times, TIMES, values["sizes"])
    hold_in_order(year, YEAR, values["sizes"])
    for row, size in zip((*times.rows, *year.rows), 2 * values["sizes"], strict=True):
        text = shown(row.cells[0], times.columns[0])
        assert float(text.strip("> *")) == pytest.approx(size["size_w"] / 1000.0, abs=0.005)
        assert text.startswith(">") == (size["size_w"] == values["recommended_w"])
        assert text.endswith("*") == (size["size_w"] == values["own_w"])
    assert hold_in_us(page) == len(values["sizes"])  # how far the water is warmed that passes


@pytest.mark.parametrize("of", ["walled", "bathed"])
def test_the_drawing_has_the_numbers_of_the_json(of: str, request: pytest.FixtureRequest) -> None:
    """Hours from each start, what is needed of which, costs and cold sessions, size by size."""
    sizing: HeaterSizing = request.getfixturevalue(of)
    drawn, values = heater_drawn(sizing), json.loads(as_text(heater_values(sizing)))
    keys = {
        "filled, coldest": "filled_coldest_s",
        "filled, mild": "filled_mild_s",
        "set-back": "from_set_back_s",
        "handbook with losses": "with_losses_s",
        "handbook": "without_losses_s",
    }
    assert [*keys] == [times.start for times in drawn.times]
    for times in drawn.times:
        assert times.hours == tuple(_hours(size[keys[times.start]]) for size in values["sizes"])
    assert drawn.sizes_kw == tuple(size["size_w"] / 1000.0 for size in values["sizes"])
    assert [name.endswith("*") for name in drawn.names] == [size["is_own"] for size in values["sizes"]]
    assert drawn.costs == tuple(size["cost"] for size in values["sizes"])
    assert drawn.cold_sessions == tuple(size["cold_sessions"] for size in values["sizes"])
    assert drawn.need_h == values["need"]["within_s"] / 3600.0
    assert drawn.need_from == ("set-back" if values["need"]["from_set_back"] else "filled, coldest")
    assert drawn.advised_kw == (values["recommended_w"] and values["recommended_w"] / 1000.0)
    assert drawn.limit_kw == values["supply_limit_w"] / 1000.0


def test_names_of_sizes_stand_clear_of_each_other(bathed: HeaterSizing) -> None:
    """As drawn: no box of a name meets another, though 4.1 and 4.5 kW are a tenth apart."""
    sizes_kw = (2.0, 3.0, 4.1, 4.5, 6.0, 6.2, 6.4, 9.0)
    many = {"hours": (1.0,) * len(sizes_kw)}
    drawn = heater_drawn(bathed)
    drawn = replace(
        drawn, sizes_kw=sizes_kw, names=tuple(f"{kw:g} kW*" for kw in sizes_kw),
        times=tuple(replace(times, **many) for times in drawn.times),
        costs=(1.0,) * len(sizes_kw), cold_sessions=(0,) * len(sizes_kw),
    )  # fmt: skip
    figure = heater_figure(drawn)
    renderer = FigureCanvasAgg(figure).get_renderer()
    for axes in figure.axes:
        lines = [[*label.get_text().split("\n")] for label in axes.get_xticklabels()]
        boxes = [label.get_window_extent(renderer) for label in axes.get_xticklabels()]
        assert len(boxes) == len(sizes_kw)
        for k, box in enumerate(boxes):
            same = [other for j, other in enumerate(boxes[:k]) if len(lines[j]) == len(lines[k])]
            assert not any(box.overlaps(other) for other in same)
        assert {1, 2, 3} == set(map(len, lines)), "names far apart stand in the first line"
        assert [1, 1, 1, 2] == [len(line) for line in lines[:4]]


def test_a_drawing_for_readers_of_us_units(bathed: HeaterSizing) -> None:
    """12 degC are 53.6 degF, 36 are 96.8 and 38 are 100.4; times and powers stay."""
    times, _ = heater_figure(heater_drawn(bathed), us=True).axes
    labels = [str(line.get_label()) for line in times.lines]
    assert "filled at 54 °F, January" in labels
    assert "from 97 °F, January" in labels
    assert times.get_title(loc="left") == "Time to reach 100 °F"
    assert "°C" not in " ".join(labels)


@pytest.mark.slow
def test_sizes_alike_in_cost_differ_by_more_than_a_thermostat_s_phase() -> None:
    """A tub filled by up to 0.15 % more shifts every firing; what a year takes and costs hardly moves.

    At which of two prices a firing falls is chance, so its cost strays more than its energy.
    """
    scenario = load(WALLED)
    tub, years = scenario.plant.tub, []
    for more in (0.0, 0.0005, 0.001, 0.0015):
        water = {"water_m3": tub.volume_m3 * (1.0 + more), "stated_surface_m2": tub.surface_m2}
        plant = scenario.plant.model_copy(
            update={"tub": tub.model_copy(update={**water, "dimensions": None})}
        )
        years.append(simulate(scenario.model_copy(update={"plant": plant})).metrics.energy)
    for told, times in (([y.energy_kwh for y in years], 10.0), ([y.cost for y in years], 3.0)):
        assert times * (max(told) - min(told)) / min(told) < heater_sizing._ALIKE
