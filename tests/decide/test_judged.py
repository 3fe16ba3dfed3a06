"""Which programmes are refused, by what their runs broke."""

from dataclasses import replace

import pytest

from cyclesim.analysis.keyed_in import AIR, PLAN
from cyclesim.decide.sweeps.outcome import Broken, Outcome
from cyclesim.decide.sweeps.sweep import job, run
from cyclesim.decide.tuning.judged import of_the_plant, refused_for
from tests.evidence.small import filtered


@pytest.fixture(scope="module")
def plain() -> Outcome:
    """A run that breaks nothing of interest here."""
    return replace(run(job(filtered(), 1)), findings=())


def broken(rule: str, severity: str, subject: str = "tub", times: int = 1, cause: str = "why") -> Broken:
    """One finding."""
    return Broken(rule, severity, subject, cause, times, "")


def test_more_people_in_cold_water_than_before_is_refused(plain: Outcome) -> None:
    """Five where there were none, or six where there were five; not as many as before."""
    five, six = (replace(plain, findings=(broken("cold-at-session", "comfort", times=n),)) for n in (5, 6))
    assert five.findings == refused_for(five, plain, ())
    assert six.findings == refused_for(six, five, ())
    assert () == refused_for(five, five, ())
    assert () == refused_for(five, six, ())


def test_people_are_cold_as_often_whatever_the_cause(plain: Outcome) -> None:
    """19 times for two causes are as many as 19; 20 for either are more, whichever comes last."""
    cools, came = (broken("cold-at-end", "comfort", times=n, cause=why) for n, why in ((18, "a"), (1, "b")))
    own = replace(plain, findings=(cools, came))
    assert () == refused_for(own, own, ())
    assert () == refused_for(replace(plain, findings=(replace(came, times=19),)), own, ())
    for more in ((replace(cools, times=19), came), (cools, replace(came, times=2))):
        assert more == refused_for(replace(plain, findings=more), own, ())


def test_what_cannot_be_keyed_in_and_what_is_loud_at_night_is_refused_whoever_does_it(plain: Outcome) -> None:
    """The file's own programme is no excuse for these two."""
    for rule in ("programme-does-not-fit", "quiet-hours"):
        one = replace(plain, findings=(broken(rule, "comfort"),))
        assert one.findings == refused_for(one, one, ())


def test_a_plan_that_cannot_be_keyed_in_refuses_no_programme(plain: Outcome) -> None:
    """Other runs leave the file's own plan and air flushes as they are."""
    of = [broken("programme-does-not-fit", "comfort", subject) for subject in (PLAN, AIR)]
    one = replace(plain, findings=tuple(of))
    assert () == refused_for(one, one, ())


def test_wear_that_the_files_own_programme_has_too_is_borne(plain: Outcome) -> None:
    """And that of another machine is not."""
    one = replace(plain, findings=(broken("short-cycling", "wear", "main"),))
    other = replace(plain, findings=(broken("short-cycling", "wear", "jets"),))
    assert () == refused_for(one, one, ())
    assert other.findings == refused_for(other, one, ())
    assert () == refused_for(replace(plain, findings=(broken("no-run-on", "wear"),)), plain, ())


def test_dangers_that_every_programme_has_are_of_the_plant(plain: Outcome) -> None:
    """Told apart, and no reason to refuse; stale water never is, unless for want of power."""
    danger, stale = broken("single-suction", "danger", "main"), broken("stale-water", "hygiene", "leg")
    runs = [replace(plain, findings=(danger, stale)), replace(plain, findings=(stale, danger))]
    standing = of_the_plant(runs)
    assert (danger,) == standing
    assert (stale,) == refused_for(runs[0], plain, standing)
    dark = broken("stale-water", "hygiene", "leg", cause="there is no power")
    assert (dark,) == of_the_plant([replace(plain, findings=(dark,))])
    assert () == refused_for(replace(plain, findings=(dark,)), plain, ())
