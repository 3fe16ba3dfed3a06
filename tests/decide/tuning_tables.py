"""Every table of a tuning held to its JSON."""

import json

from cyclesim.decide.tuning.tuning import Tuning
from cyclesim.said.tune import tune_page, tune_values
from cyclesim.shown.as_json import as_text
from tests.said.tables import Key, Values, hold_in_order, hold_in_us, tables_of


def _a_year(choice: Values) -> float:
    out = choice["outcome"]
    return float(out["cost"]) * 365.0 / float(out["days"])


def _pumps_a_day(key: str) -> Key:
    def of(choice: Values) -> float:
        devices = choice["outcome"]["devices"].values()
        amounts = [float(device[key]) for device in devices if device["kind"] == "pump"]
        return sum(amounts) / float(choice["outcome"]["days"])

    return of


def _oldest_h(choice: Values) -> float | None:
    """Unknown, which is never, where water of any leg never moves."""
    ages = [leg["oldest_water_h"] for leg in choice["outcome"]["legs"].values()]
    return None if None in ages else max(ages)


def _in_short(choice: Values) -> str:
    """The lengths of these tests are 30 s, 45 s and whole hours."""

    def of(does: str) -> str:
        entries = [entry for entry in choice["programme"] if entry["does"] == does]
        lasts = [e["lasts_s"] for e in entries]
        texts = [f"{s / 3600:.0f} h" if s >= 3600 else f"{s:.0f} s" for s in lasts]
        return " + ".join(f"{len(e['starts'])} x {t}" for e, t in zip(entries, texts, strict=True)) or "none"

    return f"{of('line flush')}; {of('filter run')}"


CHOICE: dict[str, Key] = {
    "money a year": _a_year,
    "pumps h/day": _pumps_a_day("running_h"),
    "starts /day": _pumps_a_day("starts"),
    "loud min/day": lambda choice: choice["outcome"]["loud_min"] / choice["outcome"]["days"],
    "oldest h": _oldest_h,
}


def _holds(limit: Values) -> bool:
    return limit["choice"] is not None and not limit["choice"]["refused_for"]


def _change(least: float) -> Key:
    def of(limit: Values) -> float | str:
        if not _holds(limit):
            return "no programme"
        change = _a_year(limit["choice"]) - least
        return change if abs(change) > 0.005 else 0.0

    return of


LIMIT: dict[str, Key] = {"now": "now", "tried": "tried"}


def hold_tuning(tuning: Tuning) -> list[str]:
    """Every table of a tuning, cell by cell against the JSON; the first words of their titles."""
    page, values = tune_page(tuning), json.loads(as_text(tune_values(tuning)))
    tables = list(tables_of(page))
    for title, table in tables:
        match title.split()[0]:
            case "Key" | "No" | "Leave":
                programme = values["recommended"]["programme"]
                assert [(e["does"], e["pump"], e["lasts_s"], e["starts"]) for e in programme] == [
                    (*row.cells[:3], [*row.cells[3]])
                    for row in table.rows  # type: ignore[misc]
                ]
            case "Best":
                assert len(values["best"]) <= 8, "more are not shown"
                hold_in_order(table, CHOICE, values["best"])
                rows = [row for row in table.rows if not row.level]
                for row, choice in zip(rows, values["best"], strict=True):
                    mark = " *" if choice == values["recommended"] else ""
                    assert row.cells[0] == f"{_in_short(choice)}{mark}"
            case "Beside":
                choices = [values["own"], *values["rules_of_thumb"]]
                hold_in_order(table, CHOICE, choices)
                rows = [row for row in table.rows if not row.level]
                assert [choice["name"] for choice in choices] == [row.cells[0] for row in rows]
            case "What":
                keys = {
                    **LIMIT,
                    "money a year": _change(_a_year(values["best"][0])),
                    "flushes; filter": lambda limit: _in_short(limit["choice"]) if _holds(limit) else "",
                }
                hold_in_order(table, keys, values["limits"])
            case "Which":
                then: Key = lambda limit: _in_short(limit["choice"]) if _holds(limit) else "no programme"  # noqa: E731
                hold_in_order(table, {**LIMIT, "then holds: flushes; filter": then}, values["limits"])
            case _:
                raise AssertionError(f"no keys for {title}")
        if title.split()[0] in ("What", "Which"):
            assert [limit["limit"] for limit in values["limits"]] == [row.cells[0] for row in table.rows]
    hold_in_us(page)
    return [title.split()[0] for title, _ in tables]
