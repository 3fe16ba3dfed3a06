"""Legs that lie side by side in one trench and warm each other's soil."""

from typing import Annotated

from pydantic import Field, model_validator

from cyclesim.scenario.forms.fields import Length, Name, not_empty
from cyclesim.scenario.forms.forms import Model, Quantity, RefusedError


class Trench(Model):
    """Legs side by side at one depth, that of their zone."""

    legs: Annotated[tuple[Name, ...], not_empty] = Field(
        description="The legs in it, in their order from side to side, e.g. [left_bench, right_bench]."
    )
    spacing_m: Annotated[float, Quantity("length", gt=0, le=5, example="120 mm or 5 in")] = Field(
        alias="spacing", description="From the axis of one to that of the next, e.g. 120 mm."
    )
    stated_length_m: Length | None = Field(
        None, alias="length", description="For how long they lie so; for all of the shortest unless said."
    )

    @model_validator(mode="after")
    def _several(self) -> "Trench":
        if len(self.legs) < 2:
            raise RefusedError("", "two legs or more share a trench", at=("legs",))
        if len(set(self.legs)) < len(self.legs):
            raise RefusedError("", "each leg stands once in a trench", at=("legs",))
        return self
