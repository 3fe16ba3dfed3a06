"""Collectors that are steered: what leads water through them, and at which temperatures."""

from typing import Annotated, NamedTuple

from pydantic import Field, model_validator

from cyclesim.scenario.forms.fields import NAME, PumpAt, read_pump_speed
from cyclesim.scenario.forms.forms import Model, Quantity, RefusedError, Text, default
from cyclesim.spreads import Spread

PRACTICE = "common practice, no source"
SHEET = (
    "a published test sheet to ISO 9806:2017 (glazed; 3.51 W/(m2 K), 10.6 kJ/(m2 K), 733 W/m2 in full sun at "
    "no loss), with 60 % of full sun on the average noon: common practice, no source"
)
LOSES_PER_W, HOLDS_PER_W = 8e-3, 24.0
"""Of each W of summer_peak [1/K], [J/(K W)]: 3.51 / (0.6 x 733) and 10,620 / (0.6 x 733), by `SHEET`."""
BACK_K = 1.0
"""So far below the high stop must the water be before the sun comes in again; common practice, no source."""
Difference = Annotated[float, Quantity("temperature_difference", ge=0.1, le=40)]


class ValveAt(NamedTuple):
    """A valve and the position in which water runs through the collectors."""

    valve: str
    position: str

    def __str__(self) -> str:
        return f"{self.valve} {self.position}"


def read_valve_at(text: str) -> ValveAt:
    """`sun_valve sun`."""
    try:
        valve, position = read_pump_speed(text)
    except RefusedError:
        valve, position = "", "on"
    if not valve or len(text.split()) < 2:
        due = "expected a valve and the position that leads through the collectors, e.g. sun_valve sun"
        raise RefusedError("no valve and position", due)
    return ValveAt(valve, position)


LEAST_OFF_K = 0.5
"""Less than that two sensors hardly tell apart: common practice, no source."""


class Steered(Model):
    """A pump or a motor valve that the collectors have, on at a difference of temperature."""

    pump: PumpAt | None = Field(
        None, description="The pump and speed that run while the sun can warm the water, e.g. sun_pump."
    )
    valve: (
        Annotated[
            ValveAt,
            Text(
                read_valve_at,
                "expected a valve and a position, e.g. sun_valve sun",
                rf"^{NAME} +{NAME}$",
                ("sun_valve sun",),
            ),
        ]
        | None
    ) = Field(
        None,
        description="Or a motor valve and the position that leads through them, a key of its opens and not "
        "a way, e.g. sun_valve sun where it has opens: {sun: [to_sun], past: [past_sun]}. Else it is in its "
        "usual one. Water moves when a pump runs.",
    )
    on_at_k: Difference = default(
        6.0,
        alias="on_at",
        spread=Spread(4, 10, "K"),
        source=PRACTICE,
        description="So much warmer than the tub is the water in them, on the mean, when it goes on.",
    )
    off_at_k: Difference = default(
        2.0,
        alias="off_at",
        spread=Spread(LEAST_OFF_K, 4, "K"),
        source=PRACTICE,
        description="It goes off when that is warmer by no more than this; less than what the flow leaves.",
    )
    high_stop_c: Annotated[float, Quantity("temperature", ge=10, le=60)] | None = Field(
        None,
        alias="high_stop",
        description="The tub's temperature at which it goes off, until the tub is 1 K colder, e.g. 39 degC.",
    )

    not_above_c: Annotated[float, Quantity("temperature", ge=30, le=150)] | None = Field(
        None,
        alias="not_above",
        description="It does not go on while the water in them is hotter than this, which would scald, and "
        "goes off then if no water moves through them, e.g. 50 degC.",
    )

    @model_validator(mode="after")
    def _one_way(self) -> "Steered":
        if (self.pump is None) == (self.valve is None):
            raise RefusedError("", "expected either pump: sun_pump or valve: sun_valve sun")
        if self.off_at_k >= self.on_at_k:
            raise RefusedError("", "off_at is less than on_at", at=("off_at",))
        return self


class Plate(NamedTuple):
    """What a collector loses and holds by itself, beside the water in it: W/K to the air about it, J/K."""

    loses_w_k: float
    holds_j_k: float
