"""The calendar that orders a search: what it raises, what is rare, and a date for each story."""

from datetime import date, datetime

import pytest
from dateutil.rrule import rrulestr

from cyclesim.said.verify import verify_page
from cyclesim.shown.terminal import printed
from cyclesim.simulation.programme import Programme
from cyclesim.verification.calendar_order import PEOPLE, Calendar, every_day_of
from cyclesim.verification.verifier import verify


def test_the_calendar_is_one_cycle_of_what_is_raised(build):
    """Two filter runs and two flushes a day that do not meet: nothing, one, nothing, the other."""
    calendar = Calendar(Programme(build()))
    order = calendar.order([name for name in calendar.spans if name != PEOPLE])
    names = {frozenset(n.removesuffix(".raised") for n in vector) for vector in order.vectors}
    assert {frozenset(), frozenset({"filter run"}), frozenset({"line flush"})} == names
    nothing = order.vectors.index(frozenset())
    assert {nothing} == {k for i, after in enumerate(order.follows) for k in after if i != nothing}


def test_both_states_of_the_clock_are_passed(build):
    """03:00 comes at two times of day in UTC: 400 days hold summer and winter."""
    spans = Calendar(Programme(build(("Europe/Lisbon", "Europe/Vienna")))).spans["filter run.raised"]
    begin = Calendar(Programme(build())).begin
    assert begin.hour == 0
    assert 2 <= len({start % 86_400 for start, _ in spans if start % 86_400 < 6 * 3600})


RARE_FLUSH = (
    'start: ["07:30", "19:30"], lasts: 40 s}]',
    'start: "19:30", lasts: 40 s, repeats: "FREQ=MONTHLY;BYMONTHDAY=17"}]',
)


@pytest.mark.parametrize(("start", "broken"), [("19:00", True), ("18:00", False)])
def test_what_is_rare_may_fall_on_any_day(build, start, broken):
    """A flush on the 17th and bathing on Mondays of March meet in 2031, not in 2027: 17 March is a Wednesday.

    By the weekdays of 17 March, from Python's own calendar; an hour earlier they meet in no year.
    """
    assert 2 == date(2027, 3, 17).weekday()
    assert 0 == date(2031, 3, 17).weekday()
    bathes = f'{{start: "{start}", lasts: 1 h, repeats: "FREQ=WEEKLY;BYDAY=MO;BYMONTH=3"}}'
    flush = RARE_FLUSH[0], RARE_FLUSH[1].replace("BYMONTHDAY", "BYMONTH=3;BYMONTHDAY")
    scenario = build(flush, ("  heating: {with", f"  bathing: [{bathes}]\n  heating: {{with"))
    (verdict,) = verify(scenario, rule="flush-onto-people").verdicts
    assert broken == verdict.broken


def test_a_story_of_the_calendar_has_its_date(build):
    """A flush at 19:30 and bathing on Mondays at seven: first on 4 January 2027, a Monday."""
    assert 0 == date(2027, 1, 4).weekday()
    bathes = '{days: [monday], start: "19:00", lasts: 1 h}'
    scenario = build(("  heating: {with", f"  bathing: [{bathes}]\n  heating: {{with"))
    found = verify(scenario, rule="flush-onto-people")
    (verdict,) = found.verdicts
    assert "2027-01-04T19:30+00:00" == verdict.story.first_on
    assert "The calendar first asks for this on 4 Jan 2027 19:30." in printed(verify_page(found))
    (any_day,) = verify(scenario, rule="flush-onto-people", any_order=True).verdicts
    assert "" == any_day.story.first_on


@pytest.mark.parametrize(
    ("rule", "often"),
    [
        ("FREQ=WEEKLY;BYDAY=FR", ""),
        ("FREQ=DAILY;BYMONTH=6,7", ""),
        ("FREQ=WEEKLY;INTERVAL=2;BYDAY=FR", "FREQ=WEEKLY;BYDAY=FR"),
        ("FREQ=DAILY;INTERVAL=3", "FREQ=DAILY"),
        ("FREQ=MONTHLY;BYDAY=1MO,-1FR;BYMONTH=5", "FREQ=WEEKLY;BYDAY=MO,FR;BYMONTH=5"),
        ("FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=29", "FREQ=DAILY;BYMONTH=2"),
        ("FREQ=YEARLY", "FREQ=DAILY;BYMONTH=1"),
    ],
)
def test_the_days_that_a_rare_rule_could_name(rule, often):
    """As RFC 5545 reads: each rare rule's days, over 40 years, are days of the rule that stands for it."""
    assert often == every_day_of(rule)
    if often:
        begin, end = datetime(2027, 1, 1), datetime(2067, 1, 1)
        rare, all_ = (set(rrulestr(r, dtstart=begin).between(begin, end, inc=True)) for r in (rule, often))
        assert rare < all_


def test_any_order_breaks_what_the_calendar_does_not(build):
    """A flush an hour before people come: their order in the day is all that keeps it off them."""
    changes = ("  heating: {with", '  bathing: [{start: "18:00", lasts: 1 h}]\n  heating: {with')
    rule = "flush-onto-people"
    (verdict,) = verify(build(changes), rule=rule).verdicts
    assert (False, True) == (verdict.broken, verdict.only_in_another_order)
    (verdict,) = verify(build(changes), rule=rule, any_order=True).verdicts
    assert verdict.broken
