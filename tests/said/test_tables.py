"""Tables of a run, from numbers made up here."""

import re
from dataclasses import replace

import pytest

from cyclesim.analysis.device_metrics import HeatSourceMetrics, PumpMetrics
from cyclesim.analysis.findings import Checked, Finding, is_broken
from cyclesim.analysis.metrics import LegMetrics
from cyclesim.said.page import Page
from cyclesim.said.run_tables import say_legs, say_pumps, say_tripped, worst_first
from cyclesim.said.verdict import how_bad, say_first, say_open, say_others, verdict
from cyclesim.shown.terminal import printed

LEG = LegMetrics(
    kind="leg", volume_l=28.1, exchanges_per_day=3.2, stagnant_h=100.0, stagnant_share_percent=59.5,
    longest_stagnant_h=11.94, longest_stagnant_from="2027-01-02T21:00:00+00:00", stagnant_spells=(),
    oldest_water_h=12.4, oldest_water_at="2027-01-03T08:56:00+00:00", oldest_water_mean_h=4.0,
    mean_water_age_h=3.0, above_limit_h=0.0, longest_warm_still_h=0.02,
    longest_warm_still_from="2027-01-02T21:00:00+00:00", coldest_water_c=18.4, heat_lost_flowing_kwh=1.0,
    heat_lost_standing_kwh=2.5,
)  # fmt: skip
FINDING = Finding(
    rule="stale-water", severity="hygiene", subject="left", cause="flushes are too rare", times=12,
    total_h=30.5, worst=31.2, worst_unit="h", worst_text="", first=("2027-01-02T21:00:00+00:00",),
    mend="flush twice a day",
    sentence="Water in a leg is no older than the limit.", source="24 h: project choice, no standard",
)  # fmt: skip


def test_legs_come_worst_first_with_their_last_stretch_below() -> None:
    """What never moves, then hours above the limit, then age; a last stretch counts for its leg."""
    last = replace(
        LEG, kind="last jet", above_limit_h=7.0, heat_lost_flowing_kwh=None, heat_lost_standing_kwh=None
    )
    legs = {
        "young": LEG,
        "old": replace(LEG, oldest_water_h=20.0),
        "jets": LEG,
        "jets, last jet": last,
        "spare": replace(LEG, oldest_water_h=None),
    }
    assert list(worst_first(legs)) == ["spare", "jets", "jets, last jet", "old", "young"]


def test_table_of_legs_shows_what_decides() -> None:
    """Volume, age, hours above, stillness, changes and heat, each with the digits it deserves."""
    page = Page()
    say_legs(page, {"left": LEG, "spare": replace(LEG, oldest_water_h=None)}, 24.0)
    rows = [line.split() for line in printed(page).splitlines()]
    assert ["left", "28.1", "12.4", "0", "11.9", "3.2", "<0.1", "3.5"] in rows
    assert ["spare", "28.1", "never", "moves", "0", "11.9", "3.2", "<0.1", "3.5"] in rows
    assert "24 h" in printed(page)


def test_table_of_pumps_has_each_number_under_its_head() -> None:
    """Hours in all, then low, then high, as the heads say; a one-speed pump has neither."""
    page = Page()
    two = PumpMetrics(7.0, 5.0, 2.0, 30, 4.3, 6, 3, 1.1, 0.33, {"heating": 4.0})
    say_pumps(page, {"main": two, "circulator": replace(two, low_h=None, high_h=None)}, "EUR")
    lines = printed(page, 100).splitlines()
    heads = next(line for line in lines if "speed h" in line)
    main, lone = (
        next(line for line in lines if line.startswith(f"{name} ")) for name in ("main", "circulator")
    )
    assert ["main", "7.0", "5.0", "2.0", "4.3", "3", "6", "1.1", "0.33"] == main.split()
    above = lines[lines.index(heads) - 1]
    ends = [found.end() for found in re.finditer("speed h", heads)]
    assert [above.index("low") + 3, above.index("high") + 4] == ends
    for end, cell in zip(ends, ("5.0", "2.0"), strict=True):
        assert end == main.index(f" {cell} ") + 1 + len(cell), "one column"
    assert ["circulator", "7.0", "-", "-"] == lone.split()[:4]


def test_source_that_tripped_is_said_in_words() -> None:
    """A source that waits for a person stands out below the verdict."""
    page, calm = Page(), Page()
    source = HeatSourceMetrics(0.0, 0, 0.0, 0.0, {"tripped": 9.0}, 24.0, 0.0, 0.0)
    say_tripped(page, {"element": source})
    say_tripped(calm, {"element": replace(source, tripped_h=0.0)})
    assert "waits 24.0 h for a person" in " ".join(printed(page).split())
    assert "person" not in printed(calm)


def test_verdict_counts_rules_not_findings() -> None:
    """Two subjects of one rule are one rule broken, and the tally of rules follows."""
    findings = [
        replace(FINDING, rule="heat-without-flow", severity="danger"),
        FINDING,
        replace(FINDING, subject="b"),
    ]
    checked = Checked(17, (("no-run-on", "no keep"), ("no-run-on", "no pump")), ("jets-weak", "dry-running"))
    assert verdict(findings, checked) == (
        "2 rules broken: 1 danger, 1 hygiene. 16 rules apply to this plant; 2 have nothing to judge here; "
        "1 could not be checked: no-run-on."
    )
    assert verdict([], Checked(17, ())) == "No rule broken. 17 rules apply to this plant."


def test_what_was_not_checked_is_told_with_its_reason() -> None:
    """A rule that could not be judged has a line of its own; where all could, there is none."""
    page, whole = Page(), Page()
    say_open(page, Checked(16, (("jets-weak", "no need known"),)))
    say_open(whole, Checked(16, ()))
    assert "- jets-weak: no need known" in printed(page)
    assert [] == whole.blocks


@pytest.mark.parametrize(
    ("severity", "broken"), [("danger", True), ("hygiene", True), ("wear", False), ("comfort", False)]
)
def test_only_danger_and_hygiene_break_the_exit_status(severity: str, broken: bool) -> None:
    """Wear and comfort are reported, and leave the status 0."""
    assert broken == is_broken([replace(FINDING, severity=severity)])


def test_finding_says_how_bad_and_what_mends_it() -> None:
    """Times, hours, the worst and the first date; then the mend; rule and source where all are told."""
    assert how_bad(FINDING) == "12 times, 30.5 h in all; worst: 31.2 h; first 2 Jan 2027 21:00"
    findings = [replace(FINDING, cause=f"cause {k}") for k in range(10)]
    head, page, all_of_it = Page(), Page(), Page()
    say_first(head, findings)
    say_others(page, findings)
    say_others(all_of_it, findings, everything=True)
    assert printed(head).count("Mend, not tried: flush twice a day") == 2
    assert printed(page).count("Mend, not tried: flush twice a day") == 6
    assert printed(all_of_it).count("Mend, not tried: flush twice a day") == 8
    assert "2 more findings" in printed(page)
    assert "project choice, no standard" in " ".join(printed(all_of_it).split())


def test_findings_that_differ_in_subject_alone_are_told_together() -> None:
    """Two legs with one cause and one mend are one paragraph, with the numbers of each."""
    page = Page()
    say_first(page, [FINDING, replace(FINDING, subject="right", worst=40.0)])
    assert "1. left and right: flushes are too rare" in printed(page)
    assert "   left: 12 times, 30.5 h in all; worst: 31.2 h;" in printed(page)
    assert "   right: 12 times, 30.5 h in all; worst: 40.0 h;" in printed(page)
    assert printed(page).count("Mend, not tried:") == 1


def test_finding_of_the_plant_has_no_times() -> None:
    """What is wrong with the plant itself is wrong at no time in particular."""
    assert how_bad(replace(FINDING, first=(), total_h=None, worst=2.1, worst_unit="m/s")) == "worst: 2.1 m/s"
