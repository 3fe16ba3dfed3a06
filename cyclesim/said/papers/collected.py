"""Every paper that is asked for, and the commissioning tests as data."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from cyclesim.analysis.result import Result, simulate
from cyclesim.decide.ranges.confidence import Confidence
from cyclesim.said.defaults_table import unmeasured
from cyclesim.said.page import Line
from cyclesim.said.papers.client import client
from cyclesim.said.papers.commissioning import barrier_said, test_values, written
from cyclesim.said.papers.electrician import electrician
from cyclesim.said.papers.hand_test import WrittenTest
from cyclesim.said.papers.owner import owner
from cyclesim.said.papers.paper import READERS, Paper, Papers, Reader, head_of
from cyclesim.said.papers.plumber import plumber
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.done_tests import DoneTest
from cyclesim.scenario.reading.untouched import untouched
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.verification.answer import Verification
from cyclesim.verification.by_hand import HandTests, hand_tests


@dataclass(frozen=True)
class HandOver:
    """A plant that is handed over: its tests, worked out once, and its papers."""

    scenario: Scenario
    fingerprint: str
    changed: tuple[str, ...]
    """What was put in for this call in place of what the file says."""
    day: str
    """The papers' date, in ISO form."""
    version: str
    us: bool = False
    """Whether what is drawn is told in US units; the rest is turned where it is shown."""
    other: Scenario | None = None
    """A second plant, which the client's paper sets beside it."""
    sure: Confidence | None = None
    """How far the cost of the year may be off, where that was asked for."""
    faults: Verification | None = None
    """What each single fault breaks, where that was asked for."""

    @cached_property
    def plant(self) -> Assembly:
        """The plant."""
        return Assembly(self.scenario)

    @cached_property
    def programme(self) -> Programme:
        """Its programme."""
        return Programme(self.scenario)

    @cached_property
    def year(self) -> Result:
        """A year's run, which the papers of client, plumber and owner share."""
        return simulate(self.scenario)

    @cached_property
    def told(self) -> HandTests:
        """The tests, each told apart by the engine."""
        return hand_tests(self.scenario)

    @cached_property
    def tests(self) -> tuple[WrittenTest, ...]:
        """The tests in words."""
        return written(self.told, self.plant, self.programme)

    def papers(self, readers: Collection[Reader], done: Mapping[str, DoneTest] | None = None) -> Papers:
        """The papers for these readers; *done*: the tests that were done, by their names."""
        about = self.scenario.about
        return Papers(
            self.scenario.title,
            head_of(self.scenario),
            about.logo if about else None,
            self.fingerprint,
            self.changed,
            self.day,
            self.version,
            tuple(self._paper(reader, done or {}) for reader in READERS if reader in readers),
        )

    def _paper(self, reader: Reader, done: Mapping[str, DoneTest]) -> Paper:
        made: dict[Reader, Callable[[], Paper]] = {
            "client": lambda: client(
                self.year,
                None if self.other is None else simulate(self.other),
                self.sure,
                us=self.us,
            ),
            "owner": lambda: owner(self.year),
            "plumber": lambda: plumber(self.plant, self.programme, self.year.findings, self.us),
            "electrician": lambda: electrician(
                self.plant, self.programme, self.told, with_done(self.tests, done), self.faults
            ),
        }
        paper = made[reader]()
        first = (Line(said),) if (said := unmeasured(untouched(self.scenario))) else ()
        return replace(paper, blocks=(*first, *paper.blocks))

    def values(self, done: Mapping[str, DoneTest] | None = None) -> dict[str, Any]:
        """The commissioning tests as plain values: a copy is filled in and given back."""
        return {
            "title": self.scenario.title,
            "fingerprint": self.fingerprint,
            "changed": list(self.changed),
            "day": self.day,
            "version": self.version,
            "about": {name.lower(): value for name, value in head_of(self.scenario)},
            "tests": test_values(with_done(self.tests, done or {})),
            "not_told_by_tests": [barrier_said(barrier, self.plant) for barrier in self.told.untold],
        }


def with_done(tests: Sequence[WrittenTest], done: Mapping[str, DoneTest]) -> tuple[WrittenTest, ...]:
    """The tests with what was found, where they were done."""
    return tuple(replace(test, done=done.get(test.id)) for test in tests)
