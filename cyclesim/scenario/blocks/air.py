"""The blower and the pipe that takes its air under the water."""

from math import pi
from typing import Annotated

from pydantic import Field, model_validator

from cyclesim.scenario.blocks.wiring import STARTED, Starters
from cyclesim.scenario.forms.fields import (
    Bore,
    Current,
    Flow,
    FlowAtHead,
    Length,
    Name,
    PartVolume,
    Power,
    YesNo,
    read_flow_at_head,
)
from cyclesim.scenario.forms.forms import Count, Model, Quantity, RefusedError, Text, default
from cyclesim.scenario.forms.lists import Points
from cyclesim.scenario.forms.pipes import DUE, Fittings, Pipe, read_pipe
from cyclesim.spreads import ANY_ZONE, AS_BUILT, Spread

PRACTICE = "common practice, no source"
AirCurve = Annotated[
    tuple[tuple[float, float], ...],
    Points(
        Quantity("flow", ge=0, le=0.1, example="600 L/min or 21 cfm"),
        Quantity("head", ge=0, le=20, example="12 kPa, 120 mbar or 1.7 psi"),
        "a blower's",
        "pressure",
        (("0 L/min", "18 kPa"), ("600 L/min", "12 kPa"), ("1100 L/min", "4 kPa")),
    ),
]
_AT_DUE = "expected a flow of air and a pressure, e.g. 40 L/min at 2 kPa or 1.4 cfm at 0.3 psi"


def read_injector(text: str) -> FlowAtHead:
    """`40 L/min at 2 kPa`, or the other way round."""
    try:
        return read_flow_at_head(text)
    except RefusedError as error:
        allowed = error.allowed if "allowed" in error.allowed else _AT_DUE
        raise RefusedError(error.what, allowed, error.hint) from None


InjectorAt = Annotated[
    FlowAtHead,
    Text(read_injector, _AT_DUE, r"^\S+ ?\S+ at \S+ ?\S+$", ("40 L/min at 2 kPa", "1.4 cfm at 0.3 psi")),
]
Height = Annotated[float, Quantity("length", ge=0, le=10)]


class Blower(Model):
    """A blower, its pipe, and the holes under water."""

    power_w: Power = Field(alias="power", description="Electrical power, off the nameplate, e.g. 700 W.")
    current_a: Current | None = Field(
        None, alias="current", description="Current, off the nameplate; power over voltage unless said."
    )
    starting_current_a: Current | None = Field(
        None, alias="starting_current", description="Current of its start, e.g. 14 A."
    )
    curve: AirCurve | None = Field(
        None, description="Points [flow, pressure] of its data sheet, at least three, flow rising."
    )
    delivers_m3_s: Flow | None = Field(
        None, alias="delivers", description="Or: the flow it gives as it is installed, e.g. 600 L/min."
    )
    pipe: Annotated[Pipe, Text(read_pipe, DUE, examples=("63 PN10", "2 in Sch 40"))] | None = Field(
        None, description="Size and standard as printed on the air pipe, e.g. 50 PN10."
    )
    stated_bore_m: Bore | None = Field(None, alias="bore", description="Or its inside diameter.")
    length_m: Length = Field(alias="length", description="Length of the air pipe, e.g. 6 m or 20 ft.")
    fittings: Fittings = Field(
        default_factory=dict, description="How many of each fitting, e.g. {elbow: 6, tee_branch: 1}."
    )
    outlets_below_water_m: Height = Field(
        alias="outlets_below_water", description="How far under water the air comes out, e.g. 600 mm."
    )
    injectors: Annotated[int, Count(1, 500)] | None = Field(
        None, description="How many air injectors there are, all alike, e.g. 12."
    )
    each: InjectorAt | None = Field(
        None,
        description="What one injector does by its data sheet: a flow of air at the pressure that it alone "
        "asks for, e.g. 40 L/min at 2 kPa.",
    )
    loop_above_water_m: Height = default(
        0.0,
        alias="loop_above_water",
        spread=Spread(0, 600, "mm"),
        source=PRACTICE,
        description="How far above the water the highest point of the pipe lies, e.g. 300 mm.",
    )
    check_valve: YesNo = default(
        False,
        spread=AS_BUILT,
        source=PRACTICE,
        description="true if a check valve stops water from running back to the blower.",
    )
    stated_wet_volume_m3: PartVolume | None = Field(
        None, alias="wet_volume", description="Water that stands in the air pipe, e.g. 3 L."
    )
    wet_length_m: Length | None = Field(
        None, alias="wet_length", description="Or: how much of the pipe lies below the waterline."
    )
    air_from: Name = default(
        "outdoors", spread=ANY_ZONE, source=PRACTICE, description="The zone whose air it draws."
    )
    zone: Name = Field(description="The zone it stands in, e.g. pump_room.")
    also_started_by: Starters = STARTED

    @model_validator(mode="after")
    def _told_once(self) -> "Blower":
        if None not in (start := self.starting_current_a, run := self.current_a) and start < run:  # type: ignore[operator]
            raise RefusedError("", "starting_current is at least current", at=("starting_current",))
        if (self.curve is None) == (self.delivers_m3_s is None):
            raise RefusedError("", "expected either curve or delivers: 600 L/min")
        if (self.pipe is None) == (self.stated_bore_m is None):
            raise RefusedError("", "expected either pipe: 63 PN10 or bore: 57 mm")
        if (self.stated_wet_volume_m3 is None) == (self.wet_length_m is None):
            raise RefusedError("", "expected either wet_volume: 3 L or wet_length: 2 m")
        if (self.injectors is None) != (self.each is None):
            missing = "each" if self.each is None else "injectors"
            raise RefusedError("", "injectors: 12 and each: 40 L/min at 2 kPa go together", at=(missing,))
        if self.wet_length_m is not None and self.wet_length_m > self.length_m:
            raise RefusedError("", "wet_length is a part of length", at=("wet_length",))
        return self

    @property
    def bore_m(self) -> float:
        """Inside diameter of the air pipe."""
        return self.pipe.bore_m if self.pipe else self.stated_bore_m or 0.0

    @property
    def wet_volume_m3(self) -> float:
        """Water that stands in the air pipe, which no pump moves."""
        if self.stated_wet_volume_m3 is not None:
            return self.stated_wet_volume_m3
        return pi / 4 * self.bore_m**2 * (self.wet_length_m or 0.0)
