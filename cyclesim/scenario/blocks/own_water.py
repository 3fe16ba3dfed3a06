"""A heat source's own water: a circuit that gives its heat to the tub's through a plate exchanger."""

from typing import Annotated, ClassVar

from pydantic import Field, model_validator

from cyclesim.scenario.blocks.data_sheets import Curve
from cyclesim.scenario.blocks.wiring import STARTED, Starters
from cyclesim.scenario.forms.fields import (
    AtHead,
    Current,
    Flow,
    Head,
    HeatOutput,
    Name,
    PartVolume,
    Power,
    WaterTemperature,
    YesNo,
)
from cyclesim.scenario.forms.forms import Model, Quantity, RefusedError, default
from cyclesim.spreads import AS_BUILT, Spread
from cyclesim.units import format_quantity

PRACTICE = "common practice, no source"
MOST_GLYCOL = 0.5
"""Its freezing point is known up to here."""
_PER_M3_K = 4.13e6  # water at 50 degC, IAPWS; J/(m3 K)


class Circulator(Model):
    """A small pump that turns a heat source's own water; the tub's water never passes it."""

    flow_m3_s: Flow | None = Field(
        None, alias="flow", description="The flow that it gives as it is installed, e.g. 18 L/min."
    )
    curve: Curve | None = Field(
        None, description="Or points [flow, head] of its data sheet's curve, at least three, flow rising."
    )
    max_head_m: Head | None = Field(None, alias="max_head", description="Or: the head at no flow.")
    max_flow_m3_s: Flow | None = Field(None, alias="max_flow", description="And the flow at no head.")
    power_w: Power = Field(alias="power", description="Electrical power, off the nameplate, e.g. 45 W.")
    current_a: Current | None = Field(
        None, alias="current", description="Current, off the nameplate; power over voltage unless said."
    )
    also_started_by: Starters = STARTED

    @model_validator(mode="after")
    def _told_once(self) -> "Circulator":
        if (self.max_head_m is None) != (self.max_flow_m3_s is None):
            raise RefusedError("", "max_head and max_flow go together")
        if (self.flow_m3_s is not None) + (self.curve is not None) + (self.max_head_m is not None) != 1:
            raise RefusedError("", "expected one of flow: 18 L/min, curve, or max_head and max_flow")
        return self


class RatedPlates(Model):
    """One line of a plate exchanger's data sheet, in counterflow."""

    output_w: HeatOutput = Field(alias="output", description="Heat that goes over, e.g. 20 kW.")
    hot_in_c: WaterTemperature = Field(
        alias="hot_in", description="Where the hot side comes in, e.g. 70 degC."
    )
    hot_flow_m3_s: Flow = Field(alias="hot_flow", description="The flow of the hot side, e.g. 18 L/min.")
    cold_in_c: WaterTemperature = Field(
        alias="cold_in", description="Where the cold side comes in, e.g. 38 degC."
    )
    cold_flow_m3_s: Flow = Field(alias="cold_flow", description="The flow of the cold side, e.g. 60 L/min.")

    @model_validator(mode="after")
    def _possible(self) -> "RatedPlates":
        least_m3_s = min(self.hot_flow_m3_s, self.cold_flow_m3_s)
        most_w = _PER_M3_K * least_m3_s * (self.hot_in_c - self.cold_in_c)
        if self.hot_in_c <= self.cold_in_c:
            raise RefusedError("no warmer than cold_in", "hot_in must be more than cold_in", at=("hot_in",))
        if self.output_w >= most_w:
            due = f"expected less than {format_quantity(most_w, 'power')} at these flows and temperatures"
            hint = "no exchanger warms its smaller flow beyond the other side's inlet"
            raise RefusedError("more than any exchanger does", due, hint, ("output",))
        return self


class Exchanger(Model):
    """The plates between a heat source's own water and the tub's, in counterflow."""

    ua_w_k: (
        Annotated[float, Quantity("conductance", gt=0, le=100_000, example="1.8 kW/K or 3400 BTU/h/F")] | None
    ) = Field(None, alias="ua", description="Heat that its plates pass per degree, e.g. 1.8 kW/K.")
    rated: RatedPlates | None = Field(
        None,
        description="Or a line of its data sheet, e.g. {output: 20 kW, hot_in: 70 degC, hot_flow: 18 L/min, "
        "cold_in: 38 degC, cold_flow: 60 L/min}.",
    )

    @model_validator(mode="after")
    def _told_once(self) -> "Exchanger":
        if (self.ua_w_k is None) == (self.rated is None):
            raise RefusedError("", "expected either ua: 1.8 kW/K or rated: {output: ...}")
        return self


class OwnThermostat(Model):
    """The thermostat of a circuit: it starts and stops the heat while the source is called."""

    starts_below_c: WaterTemperature = Field(alias="starts_below", description="It fires below this.")
    stops_above_c: WaterTemperature = Field(alias="stops_above", description="It stops above this.")

    @model_validator(mode="after")
    def _in_order(self) -> "OwnThermostat":
        if self.stops_above_c <= self.starts_below_c:
            raise RefusedError("", "stops_above must be more than starts_below", at=("stops_above",))
        return self


class _Turned(Model):
    """Water of a source's own, turned by its circulator, that meets the tub's in a plate exchanger alone."""

    exchanger: Exchanger = Field(description="The plates, e.g. {ua: 1.8 kW/K}.")
    circulator: Name = Field(description="The pump that turns it, of plant.circulators.")
    volume_m3: PartVolume = Field(alias="volume", description="All the water of the circuit, e.g. 14 L.")
    in_source_m3: PartVolume = Field(
        alias="in_source", description="How much of it is inside the source, e.g. 3 L."
    )
    glycol: Annotated[float, Quantity("fraction", ge=0, le=MOST_GLYCOL)] = default(
        0.0,
        spread=Spread(0, 40, "%"),
        source=PRACTICE,
        description="Share of propylene glycol in it by volume, e.g. 30 %.",
    )
    drop: AtHead | None = Field(
        None, description="Head that the circuit loses at a flow; asked for by a circulator with a curve."
    )

    @model_validator(mode="after")
    def _a_part(self) -> "_Turned":
        if self.in_source_m3 >= self.volume_m3:
            raise RefusedError("", "in_source is a part of volume", at=("in_source",))
        return self


class OwnCircuit(_Turned):
    """The own water of a source that the controller switches; its thermostat starts and stops the heat."""

    thermostat: OwnThermostat = Field(
        description="Reads the circuit's water, e.g. {starts_below: 60 degC, stops_above: 70 degC}."
    )
    stated_zone: Name | None = Field(
        None, alias="zone", description="The zone that it lies in; that of the source unless said."
    )
    flow_switch: YesNo = default(
        False,
        spread=AS_BUILT,
        source=PRACTICE,
        description="true if a flow switch in the circuit holds the source off while its water stands.",
    )


class SunCircuit(_Turned):
    """The own water of collectors: it turns while the sun is let in, and gets hot while it stands."""

    flow_switch: ClassVar[bool] = False
    """None: nobody switches the sun."""
    stated_zone: Name = Field(
        alias="zone", description="The zone that the collectors stand in, e.g. outdoors."
    )


AnyCircuit = OwnCircuit | SunCircuit
