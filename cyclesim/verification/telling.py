"""How a rule comes to be broken, told and put to the engine."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import islice
from typing import NamedTuple

from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.verification.answer import Story
from cyclesim.verification.calendar_order import PEOPLE, Calendar
from cyclesim.verification.environment import CALENDAR
from cyclesim.verification.in_time import TooManyWaysError, Way, ways
from cyclesim.verification.replay import replayed
from cyclesim.verification.search import Explored
from cyclesim.verification.story import steps_in_words
from cyclesim.verification.subjects import Check, judges

_WAYS_TRIED = 12
"""How many ways in time are put to the engine, before the rule is called not decided."""


def in_any_order(story: Story, fault: str) -> Story:
    """A story that a *fault*, told first, lets come: from then on what the calendar has comes as it likes."""
    return replace(story, steps=(f"{fault}, so that runs come in any order; all is off", *story.steps[1:]))


class Teller(NamedTuple):
    """What a story is told of: a plant, its programme, its calendar."""

    plant: Assembly
    programme: Programme
    calendar: Calendar
    at_most_s: Mapping[str, int]
    """How long the runs of the schedule are raised at a stretch; nothing where demands come as they like."""

    def story(self, name: str, check: Check, explored: Explored) -> tuple[str, Story | None]:
        """The first way to break a rule that the engine goes too, or else the shortest; None if no times fit.

        First the shortest way to each state is tried; where none of them is gone in time, every way in time.
        """
        first: tuple[str, Story] | None = None
        for node, why in explored.broken[name]:
            story = self.told(name, check, explored.path(node))
            first = first or (why, story)
            if story.replayed != "in order, not in time":
                return why, story
        assert first is not None
        judge = judges(replace(check, rules=(name,)), explored.automaton)[name]
        fits = False
        try:
            for way, why in islice(ways(explored, judge), _WAYS_TRIED):
                story, fits = self.told(name, check, way), True
                if story.replayed != "in order, not in time":
                    return why, story
        except TooManyWaysError:
            return first
        return first if fits else (first[0], None)

    def told(self, name: str, check: Check, path: Way) -> Story:
        """A way in words, put to the engine."""
        steps = steps_in_words(path)
        how, times = replayed(self.plant, self.programme, name, check.subject, path, self.at_most_s)
        at_s = tuple(times[step[0]] - times[steps[0][0]] for step in steps) if times else ()
        said, scenes = tuple(step[1] for step in steps), tuple(step[2] for step in steps)
        return Story(said, how, at_s, self._first_on(path), scenes)

    def _first_on(self, path: Way) -> str:
        """The date on which the calendar first asks for what is asked for at the end of a way."""
        automaton, _, node = path[-1]
        dims = zip(automaton.dims, node.env, strict=True)
        value = next((dim.values[k] for dim, k in dims if dim.name == CALENDAR), None)
        names = [f"{name}.raised" for name in sorted(value.raised)] if value else []
        if value and value.people and PEOPLE in self.calendar.spans:
            names.append(PEOPLE)
        when = self.calendar.first_together(names) if names else None
        return when.isoformat(timespec="minutes") if when else ""
