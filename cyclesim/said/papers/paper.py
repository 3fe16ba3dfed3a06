"""A paper as plain data: a page with, besides, boxes to tick, tests to do by hand, and pictures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from cyclesim.said.cautions import ADVICE
from cyclesim.said.drawing import Drawing
from cyclesim.said.page import Block, Page
from cyclesim.said.papers.hand_test import WrittenTest
from cyclesim.said.stretch import Stretch
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.text.picture_file import Picture

Reader = Literal["client", "electrician", "plumber", "owner"]
READERS: tuple[Reader, ...] = ("client", "electrician", "plumber", "owner")

ELECTRICITY = (
    "Work on circuits is for a licensed electrician, with the supply switched off and locked, by the code of "
    "the place. Where this paper and the maker's instructions differ, the maker's hold."
)
PLUMBING = (
    "Suction covers, drains and connections to the mains are for a licensed plumber, by the code of the "
    "place. Where this paper and the maker's instructions differ, the maker's hold."
)


@dataclass(frozen=True, slots=True)
class Checklist:
    """Things to look at, each with a box to tick."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Drawn:
    """A stretch of the run drawn, what it is in a few words, and how high it may be."""

    of: Stretch
    says: str
    high_mm: int


@dataclass(frozen=True, slots=True)
class NewPage:
    """What follows begins on a page of its own."""


PaperBlock = Block | Checklist | WrittenTest | Drawn | NewPage


class Sheet(Page):
    """Collects what a paper says, block after block."""

    blocks: list[PaperBlock]  # type: ignore[assignment]  # more kinds than a page on the screen has

    def checks(self, items: Sequence[str]) -> None:
        """Add boxes to tick; none where there is nothing to look at."""
        if items:
            self.blocks.append(Checklist(tuple(items)))

    def add(self, block: PaperBlock) -> None:
        """Add any other block."""
        self.blocks.append(block)


@dataclass(frozen=True, slots=True)
class Paper:
    """One paper for one reader."""

    reader: Reader
    heading: str
    blocks: tuple[PaperBlock, ...]
    cautions: tuple[str, ...] = (ADVICE,)
    plant: Drawing | None = None
    """The plant, on a page of its own behind all else, as large as that page allows."""


@dataclass(frozen=True, slots=True)
class Papers:
    """All papers of one call, with what stands at the head and the foot of each."""

    title: str
    about: tuple[tuple[str, str], ...]
    logo: Picture | None
    fingerprint: str
    changed: tuple[str, ...]
    """What was put in for this call in place of what the file says."""
    day: str
    version: str
    papers: tuple[Paper, ...]


def head_of(scenario: Scenario) -> tuple[tuple[str, str], ...]:
    """The lines of the file's `about`, those that it has."""
    about = scenario.about
    fields = ("firm", "client", "address", "drawing", "revision")
    values = ((name.capitalize(), getattr(about, name, None)) for name in fields)
    return tuple((name, value) for name, value in values if value)
