"""What a tuned programme must have to spare, and the least that it does in a day."""

from typing import Annotated, ClassVar

from cyclesim.scenario.forms.fields import Share
from cyclesim.scenario.forms.forms import JUDGED_BY, Count, Model, Quantity, default
from cyclesim.spreads import Spread

_CHOICE = "project choice, no standard"


class TuningWishes(Model):
    """Margins and minimums of what `tune` puts first; what lies outside them is shown as a trade-off."""

    not_varied: ClassVar[str] = JUDGED_BY

    margin: Share = default(
        0.2,
        spread=Spread(0, 40, "%"),
        source=_CHOICE,
        description="How far a programme keeps from the limits of water age and turnovers, e.g. 20 %.",
    )
    filter_runs_a_day: Annotated[int, Count(0, 24)] = default(
        2,
        spread=Spread(1, 4),
        source="common practice, no source",
        description="The fewest filter runs in a day; fewer where the controller takes fewer.",
    )
    flushes_a_day: Annotated[int, Count(0, 24)] = default(
        1,
        spread=Spread(0, 3),
        source="common practice, no source",
        description="The fewest line flushes in a day; fewer where the controller takes fewer.",
    )
    filter_hours_s: Annotated[float, Quantity("time", ge=0, le=86_400)] = default(
        7200.0,
        alias="filter_hours",
        spread=Spread(2, 8, "h"),
        source="common practice, no source",
        description="How long the filter runs of a day last together, at least, e.g. 2 h.",
    )
