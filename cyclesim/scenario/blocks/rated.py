"""Lines of a heat pump's data sheet, and what no heat pump can reach."""

from typing import Annotated

from pydantic import Field, model_validator

from cyclesim.scenario.forms.fields import AirTemperature, HeatOutput
from cyclesim.scenario.forms.forms import Count, Model, Quantity, RefusedError

_ZERO_C_K = 273.15
# No exchanger works without a difference: the refrigerant is warmer than the water and colder than the air;
# where the air is so warm that this ideal work vanishes, 0.03 of the heat. Common practice, no source.
_CONDENSER_K, _EVAPORATOR_K, _LEAST_EFFORT = 5.0, 10.0, 0.03


def highest_cop(air_c: float, water_c: float) -> float:
    """What a heat pump's COP stays below at these temperatures: Carnot between its two refrigerant sides.

    Without the exchangers' differences it is T_water / (T_water - T_air), Carnot's outright limit.
    """
    warm_k = water_c + _CONDENSER_K + _ZERO_C_K
    return 1 / max((water_c - air_c + _CONDENSER_K + _EVAPORATOR_K) / warm_k, _LEAST_EFFORT)


class Rated(Model):
    """One line of a heat pump's data sheet."""

    air_c: AirTemperature = Field(alias="air", description="Temperature of the air, e.g. 7 degC.")
    water_c: Annotated[float, Quantity("temperature", ge=5, le=80)] = Field(
        alias="water", description="Temperature of the water, e.g. 35 degC."
    )
    output_w: HeatOutput = Field(alias="output", description="Heat it gives there, e.g. 8 kW.")
    cop: Annotated[float, Count(1, 20, whole=False)] = Field(
        description="Heat per electricity there, e.g. 4.2."
    )

    @model_validator(mode="after")
    def _possible(self) -> "Rated":
        most = highest_cop(self.air_c, self.water_c)
        if self.cop >= most:
            claim, lift_k = "a COP that no heat pump reaches", self.water_c - self.air_c
            carnot = f"; Carnot's limit is {(self.water_c + _ZERO_C_K) / lift_k:.1f}" if lift_k > 0 else ""
            due = f"expected less than {most:.1f} at these temperatures"
            raise RefusedError(claim, due, f"no heat pump does that{carnot}", ("cop",))
        return self
