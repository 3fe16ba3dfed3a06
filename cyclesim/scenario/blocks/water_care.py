"""What is done for the water by hand: disinfectant, refills, cleaning the filter."""

from typing import Annotated

from pydantic import Field, model_validator

from cyclesim.scenario.forms.forms import Model, Quantity, RefusedError
from cyclesim.scenario.forms.lists import Pair
from cyclesim.scenario.forms.times import Date

Residual = Annotated[float, Quantity("concentration", gt=0, le=0.05)]
Interval = Annotated[float, Quantity("time", ge=86_400, le=1100 * 86_400, example="14 days or 90 days")]
_HALF_LIFE = Quantity("time", ge=60, le=90 * 86_400)


class Disinfectant(Model):
    """What the tub's water has in it, and how it fades once that water has left the tub."""

    residual_kg_m3: Residual = Field(
        alias="residual", description="What is kept in the tub, e.g. 3 mg/L or 3 ppm."
    )
    half_life_s: Annotated[tuple[float, float], Pair(_HALF_LIFE, "two half-lives", "[3 h, 20 h]")] = Field(
        alias="half_life", description="In pipes it halves in this time, fast and slow, e.g. [3 h, 20 h]."
    )
    at_least_kg_m3: Residual = Field(
        alias="at_least", description="The least that any water should have, e.g. 1 mg/L."
    )

    @model_validator(mode="after")
    def _fades(self) -> "Disinfectant":
        if self.at_least_kg_m3 >= self.residual_kg_m3:
            raise RefusedError("", "at_least must be less than residual", at=("at_least",))
        return self


class WaterCare(Model):
    """Disinfectant, refills and the filter; each may be left out."""

    disinfectant: Disinfectant | None = Field(
        None, description="Its residual in the tub, how it fades, and the least that is wanted."
    )
    refill_every_s: Interval | None = Field(
        None, alias="refill_every", description="How often the tub is emptied and refilled, e.g. 90 days."
    )
    last_refill: Date | None = Field(None, description="The day of the last refill, e.g. 2027-01-01.")
    clean_filter_every_s: Interval | None = Field(
        None, alias="clean_filter_every", description="How often the filter is cleaned, e.g. 14 days."
    )

    @model_validator(mode="after")
    def _something(self) -> "WaterCare":
        if not self.model_fields_set:
            raise RefusedError("", f"expected one of {', '.join(WATER_CARE)}, or leave the block out")
        return self


WATER_CARE = ("disinfectant", "refill_every", "last_refill", "clean_filter_every")
