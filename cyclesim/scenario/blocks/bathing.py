"""When people are in the water: sessions by the calendar, or drawn from a pattern."""

from datetime import time
from typing import Annotated, Literal

from pydantic import Field, model_validator

from cyclesim.scenario.forms.fields import Clocks, Days, Lasting, PumpAt, YesNo, read_clock
from cyclesim.scenario.forms.forms import Count, Model, Quantity, RefusedError, Text, default
from cyclesim.scenario.forms.lists import Pair
from cyclesim.scenario.forms.pumping import Pumped
from cyclesim.scenario.forms.times import DAYS, REPEATS, Rule, check_recurring
from cyclesim.spreads import Spread

_CLOCK = Text(read_clock, "expected a time of day, e.g. 18:00", r"^([01]\d|2[0-3]):[0-5]\d$", ("18:00",))
_LASTING = Quantity("time", ge=1, le=86_400, whole=True)
PEOPLE = Count(1, 20)


class DrawnSessions(Model):
    """Sessions drawn by chance: how often, when, how long, how many people."""

    per_week: Annotated[float, Count(0, 21, whole=False)] = Field(
        description="Mean number of sessions in a week, e.g. 4."
    )
    between: Annotated[
        tuple[time, time], Pair(_CLOCK, "two times of day", "[18:00, 22:30]", rises=False, equal=False)
    ] = Field(description="A session starts evenly between these, e.g. [18:00, 22:30]; may pass midnight.")
    lasts_s: Annotated[tuple[float, float], Pair(_LASTING, "two times", "[30 min, 90 min]")] = Field(
        alias="lasts", description="It lasts evenly between these, e.g. [30 min, 90 min]."
    )
    people: Annotated[tuple[int, int], Pair(PEOPLE, "two numbers of people", "[1, 4]")] = Field(
        description="How many people come, evenly between these, e.g. [1, 4]."
    )


class Bathing(Pumped):
    """A session: people in the water, with jets, air and cover as they have them."""

    pump: PumpAt | None = Field(
        None,
        description="The pump and speed of the jets, e.g. main high; still water without pump and pumps.",
    )
    start: Clocks | None = Field(
        None, description='Local clock time or a list of them, e.g. ["18:00", "21:00"].'
    )
    lasts_s: Lasting | None = Field(None, alias="lasts", description="How long it lasts, e.g. 50 min.")
    days: Days | None = DAYS
    repeats: Rule | None = REPEATS
    name: str | None = Field(None, description="A name for reports.", max_length=80)
    people: Annotated[int, PEOPLE] = default(
        2,
        spread=Spread(1, 6),
        source="common practice, no source",
        description="How many people are in the water.",
    )
    cover: Literal["off", "on"] = Field(
        "off", description="off, or on where the cover stays on, e.g. for a jets programme without people."
    )
    jets_at_most_s: Lasting | None = Field(
        None,
        alias="jets_at_most",
        description="The time-out of the jets' button, e.g. 20 min; without it the jets run throughout.",
    )
    presses: Annotated[int, Count(1, 10)] = Field(
        1, description="How often the button is pressed, evenly over the session, first at its start."
    )
    air: YesNo = Field(False, description="true: the blower runs as well.")
    air_at_most_s: Lasting | None = Field(
        None, alias="air_at_most", description="The time-out of the air button, e.g. 15 min."
    )
    drawn: DrawnSessions | None = Field(
        None, description="Sessions drawn by chance, in place of start, lasts, days, repeats and people."
    )

    @model_validator(mode="after")
    def _calendar_or_drawn(self) -> "Bathing":
        written = self.model_fields_set
        if self.drawn is not None:
            for name in ("start", "lasts_s", "days", "repeats", "people"):
                if name in written:
                    key = name.removesuffix("_s")
                    raise RefusedError("", "drawn says this already; leave one of the two out", at=(key,))
        elif self.start is None or self.lasts_s is None:
            missing = "start" if self.start is None else "lasts"
            raise RefusedError("", "expected start and lasts, or drawn", at=(missing,))
        check_recurring(self.start, self.days, self.repeats)
        return self

    @model_validator(mode="after")
    def _buttons(self) -> "Bathing":
        jets = self.in_one
        if self.jets_at_most_s is not None and jets is None:
            raise RefusedError("", "jets_at_most goes with the pump of the jets", at=("jets_at_most",))
        shortest_s = self.jets_at_most_s or (self.drawn.lasts_s[0] if self.drawn else self.lasts_s or 0.0)
        if jets and not jets.meet(shortest_s):
            raise RefusedError("", f"{jets.pumps[-1]} would not start before the jets stop", at=("stagger",))
        if self.air_at_most_s is not None and not self.air:
            raise RefusedError("", "air_at_most goes with air: true", at=("air_at_most",))
        if self.presses > 1 and self.jets_at_most_s is None and self.air_at_most_s is None:
            raise RefusedError("", "presses goes with jets_at_most or air_at_most", at=("presses",))
        return self

    def idle(self) -> frozenset[str]:
        """Drawn sessions have drawn people."""
        return frozenset({"people"} if self.drawn else ())
