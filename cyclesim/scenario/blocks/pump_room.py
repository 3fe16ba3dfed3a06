"""The room that the pumps stand in, and the fittings through which they draw."""

from typing import Annotated

from pydantic import Field, model_validator

from cyclesim.scenario.blocks.room_loads import (
    ROOM_FAN,
    ROOM_HEATER,
    SUMP_PUMP,
    RoomFan,
    RoomHeater,
    SumpPump,
)
from cyclesim.scenario.forms.fields import YesNo
from cyclesim.scenario.forms.forms import Count, Model, Quantity, RefusedError

Height = Annotated[float, Quantity("length", ge=-10, le=8, example="300 mm or -2 ft")]
Clear = Annotated[float, Quantity("length", ge=0, le=20, example="600 mm or 2 ft")]
Apart = Annotated[float, Quantity("length", ge=0, le=300)]
OpenArea = Annotated[float, Quantity("area", ge=0.0005, le=1, example="150 cm2 or 23 in2")]
SuctionHead = Annotated[float, Quantity("head", gt=0, le=30, example="2.5 m or 8 ft")]


class PumpRoom(Model):
    """The room or pit that the machines stand in; what is left out cannot be judged."""

    below_ground: YesNo | None = Field(None, description="true: its floor lies below the ground around it.")
    drain: YesNo | None = Field(
        None, description="true: water on its floor runs off by itself, or a sump pump lifts it."
    )
    weather_tight: YesNo | None = Field(
        None, description="true: neither rain nor spray reaches what is in it."
    )
    distance_m: Apart | None = Field(
        None, alias="distance", description="How far it stands from the tub's edge, e.g. 8 m."
    )
    free_space_m: Clear | None = Field(
        None, alias="free_space", description="Free floor before filter and valves, e.g. 600 mm."
    )
    heater: RoomHeater | None = Field(
        None, description="Its own heater with a thermostat; room_heater where a circuit feeds it."
    )
    fan: RoomFan | None = Field(
        None, description="Its own fan with a thermostat; room_fan where a circuit feeds it."
    )
    sump_pump: SumpPump | None = Field(
        None, description="The pump of its sump; sump_pump where a circuit feeds it."
    )

    @property
    def loads(self) -> dict[str, float]:
        """What it draws power for, by the name that a circuit feeds, with that power [W]."""
        known = {ROOM_HEATER: self.heater, ROOM_FAN: self.fan, SUMP_PUMP: self.sump_pump}
        return {name: load.power_w for name, load in known.items() if load is not None}

    @property
    def either(self) -> tuple[str, ...]:
        """Heater and fan, where they keep one zone: its file is refused if a temperature has both on."""
        one = self.heater and self.fan and self.heater.zone == self.fan.zone
        return (ROOM_HEATER, ROOM_FAN) if one else ()


class Suction(Model):
    """The fittings in the tub's wall or floor through which a leg draws."""

    fittings: Annotated[int, Count(1, 20)] = Field(description="How many stand on this leg.")
    open_area_m2: OpenArea = Field(
        alias="open_area", description="Open area of one cover, off its data sheet, e.g. 150 cm2."
    )
    one_can_be_shut: YesNo = Field(
        False, description="true: a valve that is not in the network can shut one of them off."
    )

    @model_validator(mode="after")
    def _one_of_several(self) -> "Suction":
        if self.one_can_be_shut and self.fittings < 2:
            raise RefusedError(
                "", "two fittings or more, of which one can be shut off", at=("one_can_be_shut",)
            )
        return self

    @property
    def always_open(self) -> int:
        """How many of them no such valve shuts off."""
        return self.fittings - self.one_can_be_shut
