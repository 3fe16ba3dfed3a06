"""What starts a thing past the controller: its own thermostat, a time clock, a hand switch, a contact."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from cyclesim.scenario.forms.fields import READS, Lasting, Name, Offset, YesNo
from cyclesim.scenario.forms.fields import AirTemperature as Level
from cyclesim.scenario.forms.forms import Model, Quantity, RefusedError, default
from cyclesim.scenario.forms.times import Occasion, Spell
from cyclesim.spreads import AS_BUILT


class Watch(Model):
    """A temperature that starts something below one level and stops it above another."""

    watches: Name = Field(
        description="Whose temperature is measured: a zone such as pump_room, a leg, a piece of equipment, "
        "a heat source, or water (the tub's)."
    )
    starts_below_c: Level = Field(alias="starts_below", description="It starts below this.")
    stops_above_c: Level = Field(alias="stops_above", description="It stops above this.")
    reads_k: Offset | None = READS

    @property
    def starts_at_c(self) -> float:
        """How warm it truly is when it starts [degC]."""
        return self.starts_below_c - (self.reads_k or 0.0)

    @property
    def stops_at_c(self) -> float:
        """How warm it truly is when it stops [degC]."""
        return self.stops_above_c - (self.reads_k or 0.0)

    @model_validator(mode="after")
    def _in_order(self) -> "Watch":
        if self.stops_above_c <= self.starts_below_c:
            raise RefusedError("", "stops_above must be more than starts_below", at=("stops_above",))
        return self


class LeftIn(Spell):
    """A hand switch that somebody leaves in another position than auto."""

    to: Literal["hand", "off"] = Field(description="hand: on whatever the controller says; off: off.")


_WAYS = ("thermostat", "clock", "hand_switch", "contact_of")


class Starter(Model):
    """One contact beside the controller's: it starts the thing whatever the controller's interlocks say."""

    thermostat: Watch | None = Field(None, description="Its own thermostat.")
    clock: Occasion | None = Field(None, description="A time clock of its own.")
    hand_switch: tuple[LeftIn, ...] | None = Field(
        None, description="A hand switch, with when it is left in hand or off; [] if it stays in auto."
    )
    contact_of: Name | None = Field(
        None, description="A heat source that closes this contact while it wants water."
    )
    every_s: Lasting | None = Field(
        None, alias="every", description="That contact also closes so often, to look at the water."
    )
    for_s: Lasting | None = Field(None, alias="for", description="For so long each time, e.g. 3 min.")
    lasting_s: Lasting | None = Field(
        None, alias="lasting", description="That contact stays closed so long after, e.g. 2 min."
    )
    clock_gains_s: Annotated[float, Quantity("time", ge=-600, le=600)] = Field(
        0.0,
        alias="clock_gains",
        description="What a time clock gains a day, e.g. 4 s; less than 0 if it loses.",
    )
    clock_stops: YesNo = default(
        False,
        spread=AS_BUILT,
        source="common practice, no source",
        description="true: a time clock without a reserve, which stands while there is no power and is late "
        "from then on; nobody sets it right.",
    )
    speed: Literal["low", "high"] | None = Field(
        None, description="The speed that it starts, of a pump with two."
    )

    @model_validator(mode="after")
    def _one_way(self) -> "Starter":
        ways = [way for way in _WAYS if getattr(self, way) is not None]
        if len(ways) != 1:
            raise RefusedError("", f"expected one of {', '.join(_WAYS[:-1])} or {_WAYS[-1]}")
        for key, value in (("every", self.every_s), ("for", self.for_s), ("lasting", self.lasting_s)):
            if value is not None and self.contact_of is None:
                raise RefusedError("", f"{key} goes with contact_of", at=(key,))
        for key, said in (("clock_gains", self.clock_gains_s), ("clock_stops", self.clock_stops)):
            if said and self.clock is None:
                raise RefusedError("", f"{key} goes with clock", at=(key,))
        if (self.every_s is None) != (self.for_s is None):
            raise RefusedError("", "every and for go together", at=("every" if self.every_s else "for",))
        if self.every_s is not None and self.for_s is not None and self.for_s >= self.every_s:
            raise RefusedError("", "for is shorter than every", at=("for",))
        return self

    def idle(self) -> frozenset[str]:
        """What has no clock has none that stops."""
        return frozenset({"clock_stops"} if self.clock is None else ())

    @property
    def way(self) -> str:
        """Which of the four it is."""
        return next(way for way in _WAYS if getattr(self, way) is not None)


Starters = tuple[Starter, ...]
STARTED = Field(
    (),
    description="What starts it without the controller, e.g. [{clock: {start: 09:00, lasts: 8 h}}]; or "
    "{thermostat: ...}, {hand_switch: ...}, {contact_of: ...}.",
)
OWN_SWITCH = Field(
    None,
    alias="own_flow_switch",
    description="Its own flow switch, by how long that must feel water first, e.g. 10 s; none unless said.",
)
