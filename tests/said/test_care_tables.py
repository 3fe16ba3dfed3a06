"""Water care in a report, from numbers made up here, and the list of rules."""

from types import SimpleNamespace as Made
from typing import Any

from cyclesim.analysis.metrics import DisinfectantMetrics, Fading, FilterCare, RefillCare, WaterCareMetrics
from cyclesim.analysis.rules import RULES
from cyclesim.said.care_tables import say_water_care
from cyclesim.said.page import Page
from cyclesim.said.rules import rule_page, rule_values
from cyclesim.shown.terminal import printed

FADING = Fading("leg", 0.397, 1.26, 12, 48.5, 0, 0.0)
UNKNOWN = Fading("dead end", None, None, None, None, None, None)
LEG = Made(oldest_water_h=10.0, above_limit_h=0.0, kind="leg")
DEAD = Made(oldest_water_h=None, above_limit_h=0.0, kind="dead end")
LEGS = {"bench": LEG, "bench, last jet": LEG, "spare": DEAD}
TOLD = {"bench": FADING, "bench, last jet": FADING, "spare": UNKNOWN}
GIVEN = DisinfectantMetrics(4.0, 1.0, 3.0, 6.0, 6.0, 12.0, TOLD)


def said(care: Any, legs: dict[str, Any] | None = None) -> str:
    """The section at 80 columns."""
    page = Page()
    energy = Made(currency="EUR")
    say_water_care(page, Made(water_care=care, legs=legs or {}, energy=energy))  # type: ignore[arg-type]
    return printed(page)


def test_disinfectant_is_told_at_both_ends_of_its_half_life() -> None:
    """When water is below, what is least, how often and how long; nothing known of water that never moves."""
    text = said(WaterCareMetrics(GIVEN, None, None), LEGS)
    assert "below 1.0 mg/L in water older than 6.0 h (fast) to 12.0 h (slow)" in " ".join(text.split())
    rows = [line.split() for line in text.splitlines()]
    assert ["bench", "0.4", "1.3", "12", "48.5", "0", "0"] in rows
    assert ["its", "last", "jet", "0.4", "1.3", "12", "48.5", "0", "0"] in rows
    assert ["spare", "never", "moves", "-", "-", "-", "-", "-"] in rows
    assert max(map(len, text.splitlines())) <= 80


def flat(refill: RefillCare | None, filter_: FilterCare | None = None) -> str:
    """The section without disinfectant, on one line."""
    return " ".join(said(WaterCareMetrics(None, refill, filter_)).split())


def test_refills_and_filter_are_told_in_a_line_each() -> None:
    """Only what the file mentions; nothing at all without the block."""
    text = flat(RefillCare(90.0, "2027-01-01", 5.0, 1.73, 181.2))
    assert "every 90 days; the last, if that is kept up, 5 days before the end" in text
    assert "1.7 bathers a day would not ask for one sooner (US gallons / 3 / bathers a day: common" in text
    assert "181" not in text, "nobody reads the file's 90 days as too many"
    text = flat(RefillCare(90.0, "2027-01-01", 5.0, 3.5, 60.0, 4, 201.4, 48.3))
    assert "3.5 bathers a day suggest every 60 days" in text
    assert "Not in the cost of these days: warming 4 refills, about 201 kWh of heat or 48.3 EUR." in text
    text = flat(RefillCare(None, "2027-01-01", 1.0, 0.0, None))
    assert "Refills: the last 1 day before the end; nobody bathes" in text
    assert "the last on 2029-01-01, after the end" in flat(RefillCare(None, "2029-01-01", None, 0.0, None))
    text = flat(None, FilterCare(14.0, 84.4, 1487.3))
    assert "cleaned every 14 days; 1,487 m3 pass it in 84.4 h of flow between two cleanings" in text
    assert said(None).strip() == ""


def test_every_rule_is_listed_under_its_severity() -> None:
    """Words of each row, none wider than 80 columns; the same in JSON, the most severe first."""
    page = rule_page()
    text = printed(page)
    assert max(map(len, text.splitlines())) <= 80
    flat = " ".join(text.split()).replace("°C", "degC")
    for rule in RULES.values():
        assert all(words in flat for words in (rule.id, rule.sentence, f"Mend: {rule.mend}."))
        assert f"Source: {rule.source}." in flat
    order = [text.index(f"\n{name}: ") for name in ("danger", "hygiene", "wear", "comfort")]
    assert sorted(order) == order
    values = rule_values()["rules"]
    assert set(RULES) == {value["id"] for value in values}
    assert len(RULES) == len(values)
    assert ("danger", "comfort") == (values[0]["severity"], values[-1]["severity"])
