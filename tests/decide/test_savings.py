"""What would save most: against runs of files written with the change in them."""

import json
from pathlib import Path

import pytest

from cyclesim.analysis.result import simulate
from cyclesim.decide.sizing.savings import Savings, _not_tried, changes, savings
from cyclesim.said.savings import savings_page, savings_values
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.shown.as_json import as_text
from cyclesim.shown.terminal import printed
from tests.said.tables import Key, hold_in_order, hold_in_us, tables_of

GARDEN = Path(__file__).parents[2] / "schedules" / "walled-garden.yaml"
DAYS = 4


PRICED = ("money.changes={pipes: 380 EUR, cover: 900 EUR}",)


@pytest.fixture(scope="module")
def found() -> Savings:
    """Four January days of the plant whose pipes lose most, with the prices of two changes."""
    return savings(load(GARDEN, sets=PRICED), days=DAYS)


def test_a_saving_is_the_difference_to_a_file_with_the_change(found: Savings) -> None:
    """A cover with 50 mm more of foam, and 1 K less, written by hand: the costs of two runs."""
    now = simulate(load(GARDEN), days=DAYS).metrics.energy
    by_start = {one.change.split(",")[0]: one for one in found.tried}
    thick = load(GARDEN).plant.tub.cover
    assert thick != "none"
    foam = f"plant.tub.cover.foam={1000 * thick.foam_m + 50:g} mm"
    keep = load(GARDEN).schedule.heating
    assert keep is not None
    for sets, start in (
        ((foam, "plant.tub.cover.fit=good"), f"a cover of {1000 * thick.foam_m + 50:g} mm"),
        ((f"schedule.heating.keep_at={keep.keep_at_c - 1:g} degC",), "every set point 1 K lower"),
    ):
        then = simulate(load(GARDEN, sets=sets), days=DAYS).metrics.energy
        (saving,) = (one for name, one in by_start.items() if name.startswith(start))
        assert saving.cost_less == pytest.approx(now.cost - then.cost)
        assert saving.energy_kwh_less == pytest.approx(now.energy_kwh - then.energy_kwh)


def test_the_pipes_that_lose_most_save_most(found: Savings) -> None:
    """Their insulation stands first, and what saves together saves more than the best alone."""
    assert found.tried[0].change.startswith("pipes insulated by 25 mm, now 9 mm")
    assert [s.cost_less for s in found.tried] == sorted((s.cost_less for s in found.tried), reverse=True)
    assert found.together is not None
    assert found.together.cost_less > found.tried[0].cost_less
    text = " ".join(printed(savings_page(found)).split())
    assert "Pipes insulated by 25 mm" in text
    assert savings_values(found)["advice"][0].startswith("Pipes insulated by 25 mm")


def test_a_price_in_the_file_is_paid_back_by_what_it_saves(found: Savings) -> None:
    """The price over what is saved in 365 days; what has no price has no years."""
    by_start = {one.change.split(" ")[0]: one for one in found.tried}
    pipes = by_start["pipes"]
    assert pipes.pays_back_years == pytest.approx(380.0 / (pipes.cost_less * 365.0 / DAYS))
    assert (None, None) == (by_start["every"].price, by_start["every"].pays_back_years)
    assert found.together is not None
    assert found.together.price is None, "the shell's is not in the file"
    text = " ".join(printed(savings_page(found)).split())
    assert f"it pays back in {pipes.pays_back_years:.1f} years" in text
    assert "its price in the file over what it saves" in text


DEAR = 'supply.tariff={otherwise: 0.20 EUR/kWh, windows: [{from: "17:00", to: "21:00", price: 0.40 EUR/kWh}]}'


@pytest.mark.parametrize(("start", "tried"), [("19:00", False), ("12:00", True)])
def test_nobody_is_put_into_cooler_water_to_save(start: str, tried: bool) -> None:
    """Sessions at 19:00 are in the dear hours: cooling then is no saving, and the report says so."""
    bathing = f'schedule.bathing=[{{pump: main high, start: "{start}", lasts: 50 min}}]'
    scenario = load(GARDEN, sets=[DEAR, bathing])
    assert tried == any("costs most" in change.sentence for change in changes(scenario))
    if not tried:
        text = " ".join(printed(savings_page(savings(scenario, days=1))).split())
        assert "Not tried: cooler water while a kilowatt-hour costs most, because people bathe" in text


def test_a_set_back_is_made_around_the_sessions_or_deepened() -> None:
    """As a person would write it: warm again by each session until its end; with a plan, the base lowered."""
    bathing = 'schedule.bathing=[{pump: main high, days: [friday], start: ["19:00"], lasts: 50 min}]'
    keep = load(GARDEN).schedule.heating
    assert keep is not None
    usual, low = keep.keep_at_c, keep.keep_at_c - 5
    plan = f'[{{days: [friday], ready_by: "19:00", until: "19:50", keep_at: {usual:g} degC}}]'
    by_hand = (bathing, f"schedule.heating.keep_at={low:g} degC", f"schedule.heating.plan={plan}")
    written, scenario = load(GARDEN, sets=by_hand), load(GARDEN, sets=[bathing])
    (change,) = (one for one in changes(scenario) if "set-back" in one.sentence)
    assert f"a set-back of {low:g} degC between sessions, warm again by each, now none" == change.sentence
    assert written.schedule.heating == change.of(scenario).schedule.heating
    (deeper,) = (one for one in changes(written) if "set-back" in one.sentence)
    assert f"a set-back of {low - 5:g} degC, now {low:g} degC" == deeper.sentence
    assert not [one for one in changes(load(GARDEN)) if "set-back" in one.sentence], (
        "nobody bathes by a clock"
    )


def test_filter_runs_are_tried_a_quarter_shorter() -> None:
    """In whole quarters of an hour; a run of 15 min cannot be shorter."""
    runs = "schedule.filter_runs=[{{pump: main low, start: ['03:00'], lasts: {}}}]"
    scenario = load(GARDEN, sets=[runs.format("4 h")])
    (change,) = (one for one in changes(scenario) if one.sentence.startswith("filter runs"))
    assert "filter runs a quarter shorter, the longest now 4 h" == change.sentence
    assert 3 * 3600.0 == change.of(scenario).schedule.filter_runs[0].lasts_s
    short = load(GARDEN, sets=[runs.format("15 min")])
    assert not [one for one in changes(short) if one.sentence.startswith("filter runs")]


@pytest.mark.parametrize(("starts", "stops", "tried"), [(6, 8, True), (4, 6, False)])
def test_frost_protection_is_tried_or_the_report_says_why_not(starts: int, stops: int, tried: bool) -> None:
    """Two kelvin lower, but not below 4 degC; a file that is as low already is told so."""
    watch = f"{{watches: pump_room, starts_below: {starts} degC, stops_above: {stops} degC, pump: main low}}"
    scenario = load(GARDEN, sets=[f"schedule.frost_protection={watch}"])
    assert tried == any(change.sentence.startswith("frost protection") for change in changes(scenario))
    untried = f"frost protection 2 K lower, now below {starts} degC, because 4 degC is the least"
    assert tried != any(reason.startswith(untried) for reason in _not_tried(scenario))


@pytest.mark.parametrize(
    ("like", "lagged"),
    [(None, ["filter", "element"]), ("boiler", ["filter"]), ("heat-pump", ["filter", "element"])],
)
def test_bodies_are_tried_with_insulation_as_a_file_says_it(like: str | None, lagged: list[str]) -> None:
    """25 mm round filter and element, that had none; foam has no place on a burner."""
    scenario = load_text(starter_text(like), "tub.yaml")
    (change,) = (one for one in changes(scenario) if "where the maker allows" in one.sentence)
    assert (
        change.sentence
        == f"{' and '.join(lagged)} insulated by 25 mm where the maker allows, now 0 mm at the least"
    )
    blocks = {
        **dict.fromkeys(scenario.plant.equipment, "equipment"),
        **dict.fromkeys(scenario.plant.heat_sources, "heat_sources"),
    }
    sets = [f"plant.{blocks[name]}.{name}.insulation=25 mm" for name in lagged]
    assert load_text(starter_text(like), "tub.yaml", sets=sets).plant == change.of(scenario).plant
    assert not [one for one in changes(change.of(scenario)) if "where the maker allows" in one.sentence]


def test_only_what_the_file_leaves_room_for_is_tried() -> None:
    """One price, or no heating: fewer changes."""
    sentences = [change.sentence for change in changes(load(GARDEN, sets=["supply.tariff=0.2 EUR/kWh"]))]
    assert sentences
    assert not any("costs most" in sentence for sentence in sentences)
    cold = [change.sentence for change in changes(load(GARDEN, sets=["schedule.heating=null"]))]
    assert not any("set point" in sentence for sentence in cold)


def test_a_tub_without_a_cover_is_offered_one() -> None:
    """And a spare that is capped is left as it is: nothing flows in it."""
    spare = "plant.legs.spare={pipe: 63 PN10, length: 2 m, zone: soil, dead_end: true}"
    scenario = load(GARDEN, sets=["plant.tub.cover=none", spare])
    offered = {change.sentence: change.of(scenario).plant for change in changes(scenario)}
    cover = offered["a cover of 50 mm that fits well, now none"].tub.cover
    assert cover != "none"
    assert (0.05, "good") == (cover.foam_m, cover.fit)
    legs = next(plant for said, plant in offered.items() if said.startswith("pipes insulated")).legs
    assert (0.0, 0.025) == (legs["spare"].insulation_m, legs["left_bench"].insulation_m)


SAVED: dict[str, Key] = {
    "saves kWh": "energy_kwh_less",
    "saves money": "cost_less",
    "pays back after years": "pays_back_years",
    "breaks": lambda saving: ", ".join(saving["breaks"]),
}


def test_the_table_tells_the_numbers_of_the_json(found: Savings) -> None:
    """Row by row, in the order of the JSON, in both worlds of units."""
    page, values = savings_page(found), json.loads(as_text(savings_values(found)))
    ((_, table),) = tables_of(page)
    assert [saving["change"] for saving in values["tried"]] == [row.cells[0] for row in table.rows]
    hold_in_order(table, SAVED, values["tried"])
    assert hold_in_us(page) == 0


def test_frost_protection_is_never_advised_lower_than_is_usual() -> None:
    """From 7 degC down to 5 is tried; from 4 degC down to 2 is nothing that anybody should sign."""
    watch = (
        "schedule.frost_protection={{watches: pump_room, starts_below: {} degC, stops_above: 9 degC, "
        "pump: main low}}"
    )
    for starts_c, tried in ((7, True), (4, False)):
        said = [change.sentence for change in changes(load(GARDEN, sets=[watch.format(starts_c)]))]
        assert tried == any(sentence.startswith("frost protection") for sentence in said)
