"""Pumps and blowers to choose from: what could stand in the place of the one that is drawn."""

from typing import Annotated

from pydantic import Field, model_validator

from cyclesim.scenario.blocks.air import AirCurve
from cyclesim.scenario.blocks.data_sheets import Pump
from cyclesim.scenario.blocks.prices_and_lives import Price
from cyclesim.scenario.forms.fields import Current, Power, named
from cyclesim.scenario.forms.forms import Model, RefusedError


class PumpOffer(Pump):
    """A pump by its data sheet, with what it costs; it stands where the plant's does unless it says."""

    price: Price | None = Field(None, description="What it costs, e.g. 780 EUR.")

    @model_validator(mode="after")
    def _no_wiring(self) -> "PumpOffer":
        if self.also_started_by:
            raise RefusedError(
                "", "a candidate is not wired; it goes with a pump of the plant", at=("also_started_by",)
            )
        return self


class BlowerOffer(Model):
    """A blower by its data sheet; its air pipe is that of the plant."""

    power_w: Power = Field(alias="power", description="Electrical power, off the nameplate, e.g. 700 W.")
    current_a: Current | None = Field(None, alias="current", description="Current, off the nameplate.")
    curve: AirCurve = Field(
        description="Points [flow, pressure] of its data sheet, at least three, flow rising."
    )
    price: Price | None = Field(None, description="What it costs, e.g. 320 EUR.")


class Candidates(Model):
    """Machines to choose from, by name."""

    pumps: Annotated[dict[str, PumpOffer], named] = Field(
        default_factory=dict, description="Pumps, each as under plant.pumps."
    )
    blowers: Annotated[dict[str, BlowerOffer], named] = Field(
        default_factory=dict, description="Blowers by curve and power."
    )

    @model_validator(mode="after")
    def _something(self) -> "Candidates":
        if not self.pumps and not self.blowers:
            raise RefusedError("", "expected pumps or blowers, or leave the block out")
        return self
