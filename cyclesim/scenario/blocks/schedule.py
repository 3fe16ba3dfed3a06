"""What the plant is told to do, what the controller enforces, and what can be keyed into it."""

from typing import Annotated, Literal

from pydantic import Discriminator, Field, Tag, model_validator

from cyclesim.scenario.blocks.bathing import Bathing
from cyclesim.scenario.blocks.heating import Heating
from cyclesim.scenario.blocks.place import Hours
from cyclesim.scenario.blocks.wiring import Watch
from cyclesim.scenario.forms.fields import (
    Clocks,
    Days,
    Lasting,
    Name,
    PumpAt,
    YesNo,
    not_empty,
    single_or_list,
)
from cyclesim.scenario.forms.forms import Count, Model, Quantity, RefusedError, default
from cyclesim.scenario.forms.pumping import Pumped, Pumping
from cyclesim.scenario.forms.times import (
    DAYS,
    LASTS,
    REPEATS,
    START,
    Moment,
    Occasion,
    Rule,
    Spell,
    check_recurring,
)
from cyclesim.spreads import AS_BUILT, Spread


class Run(Pumped):
    """A pump or several, from a clock time on or after bathing, for a length of time."""

    in_turn: YesNo = Field(
        False, description="true: several pumps run one after the other, each for the length of lasts."
    )
    start: Clocks | None = Field(None, description=START.description)
    lasts_s: Lasting = LASTS
    days: Days | None = DAYS
    repeats: Rule | None = REPEATS
    name: str | None = Field(None, description="A name for reports.", max_length=80)
    after: Literal["bathing"] | None = Field(
        None, description="bathing: in place of start, whenever people have left the water."
    )

    @model_validator(mode="after")
    def _some_pump(self) -> "Run":
        if self.in_one is None:
            raise RefusedError("", "expected pump: main low, or pumps: [jets_left, jets_right]")
        if self.in_turn and len(self.pumps) < 2:
            raise RefusedError("", "in_turn goes with several pumps", at=("in_turn",))
        if self.in_turn and self.stagger_s is not None:
            raise RefusedError("", "either stagger or in_turn is allowed, not both", at=("stagger",))
        if not self.in_turn and not self.pumping.meet(self.lasts_s):
            first, last = self.pumps[0], self.pumps[-1]
            due = f"{last} would not start before {first} stops; for that write in_turn: true"
            raise RefusedError("", due, at=("stagger",))
        return self

    @model_validator(mode="after")
    def _one_cause(self) -> "Run":
        if (self.start is None) == (self.after is None):
            due = "expected either start: 03:00 or after: bathing"
            raise RefusedError("", due, at=("after" if self.start else "start",))
        if self.after is not None:
            for name in ("days", "repeats"):
                if getattr(self, name) is not None:
                    raise RefusedError("", "after: bathing is on every day that people bathe", at=(name,))
        check_recurring(self.start, self.days, self.repeats)
        return self

    @property
    def pumping(self) -> Pumping:
        """Its pumps and how they follow each other."""
        found = self.in_one
        assert found is not None  # refused above
        return found

    @property
    def whole_s(self) -> int:
        """How long it lasts from the first start to the last stop [s]."""
        return self.pumping.whole_s(self.lasts_s)


Runs = tuple[Run, ...]


class FrostProtection(Watch):
    """Running a pump when it gets cold."""

    pump: PumpAt = Field(description="The pump and speed that run, e.g. main low.")


class QuietHours(Hours):
    """When neighbours sleep."""

    applies_to: Annotated[tuple[PumpAt, ...], not_empty, single_or_list] = Field(
        description="What must stay off, e.g. [main high] or a blower; a pump's name alone means every "
        "speed of it."
    )


class Outage(Model):
    """A power cut, or the trip of one circuit."""

    from_local: Moment = Field(alias="from", description="Local date and clock time, e.g. 2027-01-12 03:00.")
    lasts_s: Annotated[float, Quantity("time", ge=1, le=30 * 86_400, whole=True)] = Field(
        alias="lasts", description="How long it lasts, e.g. 8 h; at most 30 days."
    )
    circuit: Name | None = Field(
        None,
        description="The one circuit that has no power, by its name in supply.circuits; the controller and "
        "the rest go on. All of them unless said.",
    )


class Turned(Spell):
    """A valve that somebody turns and leaves for a while."""

    valve: Name = Field(description="The valve or diverter that is turned.")
    to: str = Field(description="The position that it is left in, one that it may be in.")


class LowWater(Spell):
    """A while in which the water stands below the suction fittings, to try the plant with."""


class AirLineFlush(Occasion):
    """The blower blows its lines free of water."""


Kind = Literal["bathing", "frost_protection", "line_flush", "heating", "filter_run", "sun"]
SUN = "sun"
"""What asks for the pump of collectors that are steered; it stands last where `ranks` leaves it out."""
DEMANDS: dict[str, str] = {
    "bathing": "bathing",
    "frost_protection": "frost_protection",
    "line_flush": "line_flushes",
    "heating": "heating",
    "filter_run": "filter_runs",
}
"""What asks for a pump, with its key in the schedule; who wins it when several ask comes first."""


class Schedule(Model):
    """What the plant is told, in local clock time."""

    filter_runs: Runs = Field((), description="When water is filtered.")
    line_flushes: Runs = Field((), description="When the lines to the jets are flushed.")
    bathing: tuple[Bathing, ...] = Field((), description="When people are in the water.")
    heating: Heating | None = Field(None, description="How the water is kept warm.")
    frost_protection: FrostProtection | None = Field(None, description="What is done against frost.")
    quiet_hours: QuietHours | None = Field(None, description="When what must stay off.")
    outages: tuple[Outage, ...] = Field((), description="Power cuts to try the plant with.")
    valves_turned: tuple[Turned, ...] = Field((), description="When somebody leaves a valve turned.")
    low_water: tuple[LowWater, ...] = Field((), description="Low water to try the plant with.")
    air_line_flushes: tuple[AirLineFlush, ...] = Field(
        (), description="When the blower blows its lines free."
    )
    ranks: tuple[Kind, ...] | None = Field(
        None, description=f"Which demand wins a pump, first wins; {', '.join((*DEMANDS, SUN))} unless said."
    )

    @model_validator(mode="after")
    def _all_ranked(self) -> "Schedule":
        if self.ranks is not None and sorted(self.ranks) not in (sorted(DEMANDS), sorted((*DEMANDS, SUN))):
            raise RefusedError("", f"each of {', '.join(DEMANDS)} stands once", at=("ranks",))
        return self

    @property
    def order(self) -> tuple[str, ...]:
        """The kinds of demands as they are called, who wins a pump first."""
        ranked = dict.fromkeys((*(self.ranks or DEMANDS), SUN))
        return tuple(kind.replace("_", " ") for kind in ranked)

    @property
    def timed(self) -> dict[str, tuple[Run | Bathing, ...]]:
        """The kinds of demands that the calendar raises, each with its entries."""
        entries = {kind.replace("_", " "): getattr(self, key) for kind, key in DEMANDS.items()}
        return {kind: runs for kind, runs in entries.items() if isinstance(runs, tuple)}


class Controller(Model):
    """What can be keyed into the controller on the wall."""

    filter_windows: Annotated[int, Count(0, 50)] | None = Field(
        None, description="How many filter runs a day it takes."
    )
    time_step_s: Lasting | None = Field(
        None, alias="time_step", description="The step its times move in, e.g. 15 min."
    )
    flush_lengths_s: Annotated[tuple[Lasting, ...], not_empty] | None = Field(
        None, alias="flush_lengths", description="The flush lengths it offers, e.g. [15 s, 30 s, 60 s]."
    )
    flushes_a_day: Annotated[int, Count(0, 50)] | None = Field(
        None, description="How many line flushes a day it takes."
    )
    plan_steps: Annotated[int, Count(0, 50)] | None = Field(
        None, description="How many steps of a heating plan a day it takes."
    )
    tells_weekdays: YesNo | None = Field(
        None, description="false if it runs every day alike, true if it tells the days of the week apart."
    )
    seasons: YesNo | None = Field(
        None, description="false if it knows no dates: neither months nor days away; true if it does."
    )
    after_power_cut: Literal["resume", "midnight", "wait"] = default(
        "resume",
        spread=AS_BUILT,
        source="common practice, no source",
        description="What it does when power is back: resume, midnight (its clock starts at 00:00) or wait "
        "(for a person).",
    )
    person_within_s: Annotated[float, Quantity("time", ge=0, le=30 * 86_400, whole=True)] = default(
        86_400.0,
        alias="person_within",
        spread=Spread(1, 7, "days", low_unit="h"),
        source="common practice, no source",
        description="How long after a power cut somebody comes to start it, or to set its clock; days away "
        "(absences) do not count.",
    )
    clock_gains_s: Annotated[float, Quantity("time", ge=-600, le=600)] = Field(
        0.0, alias="clock_gains", description="What its clock gains a day, e.g. 4 s; less than 0 if it loses."
    )

    def idle(self) -> frozenset[str]:
        """Nobody has to come where it resumes by itself."""
        return frozenset({"person_within_s"} if self.after_power_cut == "resume" else ())


class Block(Model):
    """Something is off unless, or while, something else is so."""

    block: str = Field(
        description="What is blocked: a heat source, a treatment device, or a pump and speed, e.g. main high."
    )
    unless: Literal["flow proven"] | None = Field(
        None, description="flow proven: off until the flow is proven."
    )
    for_s: Lasting | None = Field(
        None, alias="for", description="How long the flow must be proven first, e.g. 5 s."
    )
    while_: str | None = Field(
        None, alias="while", description="Off while this is so: main high, main running or element firing."
    )
    because: str | None = Field(None, description="Why, for the report.", max_length=200)

    @model_validator(mode="after")
    def _one_cause(self) -> "Block":
        if (self.unless is None) == (self.while_ is None):
            raise RefusedError("", "expected either unless: flow proven or while: main high")
        if (self.unless is None) != (self.for_s is None):
            raise RefusedError("", "unless: flow proven and for: 5 s go together", at=("for",))
        return self


class Keep(Model):
    """A pump goes on at this speed, at least, after a heat source has stopped."""

    keep: PumpAt = Field(description="The pump and speed, e.g. main low.")
    after: Name = Field(description="The heat source, e.g. element.")
    lasting_s: Lasting = Field(alias="lasting", description="For how long, e.g. 60 s.")


def _tag_of(value: object) -> str:
    return "<keep>" if isinstance(value, dict) and "keep" in value else "<block>"


Interlock = Annotated[
    Annotated[Block, Tag("<block>")] | Annotated[Keep, Tag("<keep>")], Discriminator(_tag_of)
]
