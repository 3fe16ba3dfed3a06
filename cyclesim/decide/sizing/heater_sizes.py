"""Which heat source is sized, the sizes that are tried, and a scenario with another size."""

from __future__ import annotations

import math
from collections.abc import Sequence

from cyclesim.errors import Fault, InputError
from cyclesim.scenario.blocks.heat_sources import Electric, HeatPump
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.forms.forms import did_you_mean, one_of

USUAL_W = tuple(1000.0 * kw for kw in (1, 1.5, 2, 3, 4.5, 6, 9, 12, 18))
"""Outputs that heaters are sold in; common practice, no source."""
AROUND = 3.0
"""So many times smaller and larger than the file's own is looked at."""
_STEP_W, _APART = 100.0, 1.05
"""What a circuit carries is tried in whole hundreds of watts, where it is so far above a usual size."""
LEAST_W, MOST_W, MOST_SIZES = 100.0, 100_000.0, 12


def chosen_source(scenario: Scenario, wanted: str | None = None) -> str:
    """The heat source to size. Raises InputError where there is none that can be."""
    heating, sheets = scenario.schedule.heating, scenario.plant.heat_sources

    def refused(written: str, allowed: str, hint: str = "") -> InputError:
        return InputError(Fault("--source" if wanted else "", 0, 0, "", written, allowed, hint))

    if heating is None:
        raise InputError(
            Fault("size heater", 0, 0, "schedule.heating", "nothing", "expected a set point and its sources")
        )
    can = [n for n in heating.sources if sheets[n].switched]
    if wanted is not None:
        if wanted not in sheets:
            raise refused(
                f"an unknown heat source '{wanted}'", f"expected {one_of(can)}", did_you_mean(wanted, can)
            )
        if not sheets[wanted].switched:
            raise refused(
                f"{wanted}, which is {sheets[wanted].kind}",
                "an electric element, a heat pump or a boiler can be sized",
                "its heat is declared hour by hour and has no size that the others could be scaled by",
            )
        if wanted not in can:
            raise refused(f"{wanted}, which heating does not use", f"expected {one_of(can)}")
        return wanted
    if not can:
        raise InputError(
            Fault("size heater", 0, 0, "schedule.heating.with", "no source that is switched", "expected one")
        )
    return next((n for n in can if isinstance(sheets[n], Electric)), can[0])


def with_size(scenario: Scenario, name: str, size_w: float) -> Scenario:
    """The scenario with one heat source of another size; of a heat pump every rated output and its current.

    Its drop, volume, least flow and time stay as they are.
    """
    sheet = scenario.plant.heat_sources[name]
    share = size_w / sheet.output_w
    if isinstance(sheet, HeatPump):
        rated = tuple(p.model_copy(update={"output_w": share * p.output_w}) for p in sheet.rated)
        current = None if sheet.current_a is None else share * sheet.current_a
        changed: dict[str, object] = {"rated": rated, "current_a": current}
    else:
        changed = {"output_w": size_w}
    if share == 1.0:
        return scenario
    sources = {**scenario.plant.heat_sources, name: sheet.model_copy(update=changed)}
    plant = scenario.plant.model_copy(update={"heat_sources": sources})
    return scenario.model_copy(update={"plant": plant})


def sizes_around(
    own_w: float, wanted_w: Sequence[float] | None, carried_w: float | None = None
) -> list[float]:
    """The sizes to try in order, the own one among them.

    *carried_w*: the largest that the circuit carries, tried as well where no usual size is near below it.
    """
    if wanted_w is None:
        usual = {own_w, *(w for w in USUAL_W if own_w / AROUND <= w <= own_w * AROUND)}
        largest = _STEP_W * math.floor((carried_w or 0.0) / _STEP_W)
        below = max((w for w in usual if w <= largest), default=0.0)
        between = min(usual) < largest < max(usual) and largest > _APART * below
        return sorted({*usual, *((largest,) if between else ())})
    wrong = next((w for w in wanted_w if not LEAST_W <= w <= MOST_W), None)
    if wrong is not None:
        due = f"expected sizes from {LEAST_W:g} W to {MOST_W / 1000:g} kW"
        raise InputError(Fault("--sizes", 0, 0, "", f"{wrong:g} W", due))
    watts = sorted({own_w, *wanted_w})
    if not wanted_w or len(watts) > MOST_SIZES:
        due = f"expected one to {MOST_SIZES} sizes, the file's own counted"
        raise InputError(Fault("--sizes", 0, 0, "", f"{len(watts)} of them" if wanted_w else "none", due))
    return watts
