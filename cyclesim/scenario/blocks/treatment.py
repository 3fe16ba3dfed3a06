"""What treats the water: dosing, ozone, UV lamps and salt cells, each with its proof of flow.

A treatment device has no place in the network: it treats the water of an element that has one (`in`), and its
machine is a heat source's with another name for being on.
"""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from cyclesim.scenario.blocks.heat_sources import Proof
from cyclesim.scenario.blocks.wiring import OWN_SWITCH, STARTED, Starters
from cyclesim.scenario.forms.fields import Current, Flow, Name, Pause, not_empty
from cyclesim.scenario.forms.forms import Model, Quantity, RefusedError
from cyclesim.scenario.forms.times import Occasion

KINDS = {"dosing": "dosing", "ozone": "ozone", "uv": "UV lamp", "salt_cell": "salt cell"}
"""What treats the water, and what people call it."""


class Treatment(Model):
    """A device that treats what flows past it; it has no place of its own in the network."""

    kind: Literal["dosing", "ozone", "uv", "salt_cell"] = Field(
        description="dosing (a liquid), ozone, uv (a lamp) or salt_cell."
    )
    in_: Name = Field(
        alias="in", description="Where it treats: a leg, a piece of equipment, a pump or a heat source."
    )
    needs_flow_m3_s: Flow = Field(alias="needs_flow", description="The least flow its data sheet asks for.")
    proof: Proof = Field(
        description="How the controller knows that water flows past it, e.g. {by: flow_switch}."
    )
    power_w: Annotated[float, Quantity("power", ge=0, le=5000)] = Field(
        alias="power", description="Electrical power, off the nameplate."
    )
    current_a: Current | None = Field(
        None, alias="current", description="Its current; power over voltage unless said."
    )
    with_: Name | None = Field(
        None, alias="with", description="The pump with which the controller runs it, at any speed."
    )
    runs: Annotated[tuple[Occasion, ...], not_empty] | None = Field(
        None, description="Or: when the controller runs it, e.g. [{start: 10:00, lasts: 6 h}]."
    )
    own_flow_switch_s: Pause | None = OWN_SWITCH
    also_started_by: Starters = STARTED

    @model_validator(mode="after")
    def _has_a_cause(self) -> "Treatment":
        if self.with_ is not None and self.runs is not None:
            raise RefusedError("", "expected either with: main or runs: [...], not both", at=("runs",))
        if self.with_ is None and self.runs is None and not self.also_started_by:
            raise RefusedError("", "expected with: main, runs: [...] or also_started_by")
        return self
