"""What the pump room itself draws power for: its heater, its fan, and the pump of its sump."""

from typing import Annotated

from pydantic import Field, model_validator

from cyclesim.scenario.forms.fields import AirTemperature, Flow, Name, Power, YesNo
from cyclesim.scenario.forms.forms import Model, Quantity, RefusedError

ROOM_HEATER, ROOM_FAN, SUMP_PUMP = "room_heater", "room_fan", "sump_pump"
"""What each is called where a circuit or a cable names it."""


class RoomHeater(Model):
    """A heater with a thermostat that keeps the room from getting cold."""

    zone: Name = Field(description="The zone that it warms, one with loses and stores, e.g. pump_room.")
    power_w: Power = Field(alias="power", description="What it draws and gives, e.g. 500 W.")
    starts_below_c: AirTemperature = Field(alias="starts_below", description="It starts below this.")
    stops_above_c: AirTemperature = Field(alias="stops_above", description="It stops above this.")

    @model_validator(mode="after")
    def _in_order(self) -> "RoomHeater":
        if self.stops_above_c <= self.starts_below_c:
            raise RefusedError("", "stops_above must be more than starts_below", at=("stops_above",))
        return self


class RoomFan(Model):
    """A fan with a thermostat that keeps the room from getting hot."""

    zone: Name = Field(description="The zone that it airs, one with loses and stores, e.g. pump_room.")
    power_w: Power = Field(alias="power", description="What it draws, e.g. 30 W.")
    starts_above_c: AirTemperature = Field(alias="starts_above", description="It starts above this.")
    stops_below_c: AirTemperature = Field(alias="stops_below", description="It stops below this.")
    loses_w_k: Annotated[float, Quantity("conductance", gt=0, le=10_000)] = Field(
        alias="loses", description="Heat that the room loses per degree through it, on top, e.g. 40 W/K."
    )

    @model_validator(mode="after")
    def _in_order(self) -> "RoomFan":
        if self.stops_below_c >= self.starts_above_c:
            raise RefusedError("", "stops_below must be less than starts_above", at=("stops_below",))
        return self


class SumpPump(Model):
    """The pump that lifts out what runs into the room; what is left out cannot be judged."""

    power_w: Power = Field(alias="power", description="What it draws, e.g. 400 W.")
    float_: YesNo | None = Field(None, alias="float", description="true: a float starts and stops it.")
    backed_up: YesNo | None = Field(
        None, description="true: a battery, or a second pump on another supply, lifts without this power."
    )
    lifts_m3_s: Flow | None = Field(None, alias="lifts", description="What it lifts, e.g. 100 L/min.")
    inflow_m3_s: Flow | None = Field(
        None, alias="inflow", description="The most that runs into the room in the wet, e.g. 40 L/h."
    )
    holds_m3: Annotated[float, Quantity("volume", gt=0, le=100, example="200 L or 50 gal")] | None = Field(
        None,
        alias="holds",
        description="Water in sump and room before it is at anything electric, e.g. 200 L.",
    )

    @property
    def mean_w(self) -> float:
        """What it draws in the wet as a mean, by its share of the time; 0 where the flows are not told."""
        if self.lifts_m3_s is None or self.inflow_m3_s is None:
            return 0.0
        return self.power_w * min(1.0, self.inflow_m3_s / self.lifts_m3_s)

    @property
    def dry_for_h(self) -> float | None:
        """Hours until water is at anything electric while it stands; None where the file does not tell."""
        if self.holds_m3 is None or self.inflow_m3_s is None:
            return None
        return self.holds_m3 / self.inflow_m3_s / 3600.0
