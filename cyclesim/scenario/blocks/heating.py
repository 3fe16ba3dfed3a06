"""How the water is kept warm: sources, set points by the clock and the calendar, dear hours."""

from itertools import pairwise
from typing import Annotated, Literal

from pydantic import Field, model_validator

from cyclesim.scenario.blocks.place import PriceTag
from cyclesim.scenario.forms.fields import (
    READS,
    Clock,
    Days,
    Lasting,
    Name,
    Offset,
    PumpAt,
    not_empty,
    single_or_list,
)
from cyclesim.scenario.forms.forms import Model, Quantity, RefusedError, default
from cyclesim.scenario.forms.times import DAYS, REPEATS, Date, Rule, check_recurring
from cyclesim.spreads import Spread

SetPoint = Annotated[float, Quantity("temperature", ge=5, le=40)]
Band = Annotated[float, Quantity("temperature_difference", ge=0.1, le=10)]


class PlanStep(Model):
    """Another set point for a part of the day."""

    days: Days | None = DAYS
    repeats: Rule | None = REPEATS
    ready_by: Clock | None = Field(
        None, description="The water is this warm by then: heating starts as early as that takes."
    )
    from_time: Clock | None = Field(None, alias="from", description="Or: the set point holds from then on.")
    until: Clock = Field(description="Until then; before ready_by or from, it is the next day's.")
    keep_at_c: SetPoint = Field(alias="keep_at", description="The set point, at most 40 degC (104 degF).")

    @model_validator(mode="after")
    def _one_start(self) -> "PlanStep":
        if (self.ready_by is None) == (self.from_time is None):
            raise RefusedError("", "expected either ready_by or from", at=("from",) if self.ready_by else ())
        if self.until in (self.ready_by, self.from_time):
            raise RefusedError("", "until must differ from the time it begins", at=("until",))
        check_recurring(None, self.days, self.repeats)
        return self


class Absence(Model):
    """Days on which nobody comes."""

    from_date: Date = Field(alias="from", description="The first day away, e.g. 2027-02-01.")
    to_date: Date = Field(alias="to", description="The last day away.")
    keep_at_c: SetPoint = Field(alias="keep_at", description="The set point on these days, e.g. 15 degC.")

    @model_validator(mode="after")
    def _in_order(self) -> "Absence":
        if self.to_date < self.from_date:
            raise RefusedError("", "to is the last day away, not before from", at=("to",))
        return self


class Dear(Model):
    """What gives way while energy is dear."""

    above: PriceTag = Field(description="While a kilowatt-hour costs more than this, e.g. 0.30 EUR/kWh.")
    let_fall_by_k: Annotated[float, Quantity("temperature_difference", gt=0, le=30)] = Field(
        alias="let_fall_by", description="The set point is lower by this, e.g. 2 K."
    )


class Sensor(Model):
    """A temperature sensor in the pump room: the pump runs now and then to bring it the tub's water."""

    in_: Name = Field(
        alias="in", description="Whose water it sits in: a leg, a piece of equipment or a heat source."
    )
    every_s: Lasting = Field(alias="every", description="How often the pump runs for it, e.g. 1 h.")
    for_s: Lasting = Field(alias="for", description="For how long, until it is read, e.g. 3 min.")

    @model_validator(mode="after")
    def _in_order(self) -> "Sensor":
        if self.for_s >= self.every_s:
            raise RefusedError("", "for is shorter than every", at=("for",))
        return self


class Heating(Model):
    """Keeping the water at a set point."""

    sources: Annotated[tuple[Name, ...], not_empty, single_or_list] = Field(
        alias="with", description="The heat sources that are used, the preferred one first, e.g. [element]."
    )
    pump: PumpAt = Field(description="The pump and speed that run while heating, e.g. main low.")
    keep_at_c: SetPoint = Field(alias="keep_at", description="The set point, at most 40 degC (104 degF).")
    within_k: Band = Field(
        alias="within",
        description="Heating starts this far below the set point and stops at it; at least 0.1 K.",
    )
    sensor: Sensor | None = Field(
        None,
        description="Where the thermostat's sensor sits if not in the tub; read only after the pump ran.",
    )
    reads_k: Offset | None = READS
    choose: Literal["preference", "price"] = Field(
        "preference",
        description="Which source is first: preference (the order of the list) or price (the cheapest heat).",
    )
    next_below_k: Annotated[float, Quantity("temperature_difference", ge=0.1, le=20)] = default(
        1.0,
        alias="next_below",
        spread=Spread(0.5, 3, "K"),
        source="common practice, no source",
        description="The next source joins this far below where heating starts, or where the one before "
        "cannot fire.",
    )
    plan: tuple[PlanStep, ...] = Field(
        (), description="Other set points by the clock; the last step that fits counts."
    )
    absences: tuple[Absence, ...] = Field((), description="Days away, with a set point of their own.")
    when_dear: Dear | None = Field(None, description="How far the water may cool while energy is dear.")

    @model_validator(mode="after")
    def _each_once(self) -> "Heating":
        if len(set(self.sources)) < len(self.sources):
            raise RefusedError("", "each heat source stands once", at=("with",))
        away = sorted(enumerate(self.absences), key=lambda numbered: numbered[1].from_date)
        for (_, first), (index, second) in pairwise(away):
            if second.from_date <= first.to_date:
                due = f"absences do not overlap; another is from {first.from_date} to {first.to_date}"
                raise RefusedError("", due, at=("absences", index))
        return self

    def idle(self) -> frozenset[str]:
        """One source has no next one."""
        return frozenset({"next_below_k"} if len(self.sources) < 2 else ())
