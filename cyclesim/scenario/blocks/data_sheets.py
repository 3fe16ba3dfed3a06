"""Pumps, equipment and valves as their data sheets give them."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from cyclesim.scenario.blocks.pump_room import Height, SuctionHead
from cyclesim.scenario.blocks.wiring import STARTED, Starters
from cyclesim.scenario.forms.fields import (
    AtHead,
    Current,
    Flow,
    FlowAtHead,
    Head,
    Insulation,
    Name,
    PartVolume,
    Pause,
    Power,
    Rest,
    Share,
    SpeedShare,
    YesNo,
    named,
    not_empty,
    single_or_list,
)
from cyclesim.scenario.forms.forms import (
    Assumed,
    Model,
    Quantity,
    RefusedError,
    SeveralError,
    default,
    did_you_mean,
    one_of,
)
from cyclesim.scenario.forms.lists import Points
from cyclesim.spreads import AS_BUILT, Spread
from cyclesim.units import format_quantity

PRACTICE = "common practice, no source"
Curve = Annotated[
    tuple[tuple[float, float], ...],
    Points(
        Quantity("flow", ge=0, le=0.1),
        Quantity("head", ge=0, le=200),
        "a pump's",
        "head",
        (("0 L/min", "15 m"), ("250 L/min", "13 m"), ("460 L/min", "9.3 m")),
    ),
]


_N_PER_M3 = 993.0 * 9.807  # water at 38 degC, from memory


class _Running(Model):
    """What a pump does and draws at one speed."""

    curve: Curve | None = Field(
        None, description="Points [flow, head] read off the data sheet's curve, at least three, flow rising."
    )
    max_head_m: Head | None = Field(None, alias="max_head", description="Or: the head at no flow.")
    max_flow_m3_s: Flow | None = Field(None, alias="max_flow", description="And the flow at no head.")
    power_w: Power = Field(
        0.0, alias="power", description="Electrical power at this speed, off the nameplate."
    )
    current_a: Current | None = Field(
        None,
        alias="current",
        description="Current at this speed, off the nameplate; power over voltage unless said.",
    )
    starting_current_a: Current | None = Field(
        None, alias="starting_current", description="Current of its start at this speed, e.g. 32 A."
    )

    def _curves(self) -> int:
        """How many ways of giving the curve are used; refuses half a one, and a plate that cannot be true."""
        if (self.max_head_m is None) != (self.max_flow_m3_s is None):
            raise RefusedError("", "max_head and max_flow go together")
        if None not in (start := self.starting_current_a, run := self.current_a) and start < run:  # type: ignore[operator]
            raise RefusedError("", "starting_current is at least current", at=("starting_current",))
        if 0.0 < self.power_w < (work_w := self._most_work_w()):
            due = f"expected at least {format_quantity(work_w, 'power')}"
            raise RefusedError("less than its curve gives the water", due, at=("power",))
        return (self.curve is not None) + (self.max_head_m is not None)

    def _most_work_w(self) -> float:
        """The most that the curve gives the water [W], at one of its points; of a parabola at its top."""
        points = list(self.curve or ())
        if self.max_head_m is not None and self.max_flow_m3_s is not None:
            points.append((self.max_flow_m3_s / 3.0**0.5, self.max_head_m * 2.0 / 3.0))
        return _N_PER_M3 * max((flow * head for flow, head in points), default=0.0)


class Speed(_Running):
    """One speed of a pump; power_w is 0 where it follows from the other speed (see Pump.speeds)."""

    share_of_speed: SpeedShare | None = Field(
        None,
        alias="speed",
        description="Or: this share of the other speed's turns, e.g. 50 %; the curve follows.",
    )

    @model_validator(mode="after")
    def _one_curve(self) -> "Speed":
        if self._curves() + (self.share_of_speed is not None) != 1:
            raise RefusedError("", "expected one of curve, max_head and max_flow, or speed: 50 %")
        if self.share_of_speed is None and not self.power_w:
            raise RefusedError("", "expected a power, e.g. 310 W or 1.5 hp", at=("power",))
        return self


# At half speed a motor draws about a fifth, not the eighth that the cube law gives: its own losses fall less.
_POWER_EXPONENT = 2.3


class Pump(_Running):
    """A pump: two speeds `low` and `high`, or one speed whose curve and power stand at the pump itself."""

    low: Speed | None = Field(None, description="The low speed of a two-speed pump.")
    high: Speed | None = Field(None, description="The high speed of a two-speed pump.")
    changeover_s: Rest = default(
        2.0,
        alias="changeover",
        spread=Spread(1, 10, "s"),
        source=PRACTICE,
        description="How long it is off between two speeds.",
    )
    contactors_lock: YesNo = default(
        False,
        spread=AS_BUILT,
        source=PRACTICE,
        description="true if the contactors of its two speeds lock each other, so that one closes only while "
        "the other is open.",
    )
    check_valve: YesNo = default(
        False,
        spread=AS_BUILT,
        source=PRACTICE,
        description="true if a check valve stops water from running back through it.",
    )
    rest_s: Rest = default(
        0.0,
        alias="rest",
        spread=Spread(0, 2, "min"),
        source=PRACTICE,
        description="How long the controller leaves it off at least before it starts again.",
    )
    minimum_run_s: Rest = default(
        0.0,
        alias="minimum_run",
        spread=Spread(0, 5, "min"),
        source=PRACTICE,
        description="How long the controller runs it at least.",
    )
    coasts_s: Pause = default(
        1.0,
        alias="coasts",
        spread=Spread(0.5, 3, "s"),
        source=PRACTICE,
        description="How long water still moves after it is switched off.",
    )
    opens_within_s: Pause = default(
        0.0,
        alias="opens_within",
        spread=Spread(0, 1, "s"),
        source=PRACTICE,
        description="How long its contactor takes to open.",
    )
    heat_to_water: Share = default(
        0.7,
        spread=Spread(50, 100, "%"),
        source=PRACTICE,
        description="Share of its electrical power that ends up in the water.",
    )
    volume_m3: PartVolume = default(
        0.002, alias="volume", spread=Spread(1, 5, "L"), source=PRACTICE, description="Water inside it."
    )
    zone: Name | None = Field(None, description="The zone it stands in.")
    also_started_by: Starters = STARTED
    above_water_m: Height | None = Field(
        None,
        alias="above_water",
        description="How far its inlet lies above the tub's water, e.g. 300 mm; negative below it.",
    )
    npsh_needed_m: SuctionHead | None = Field(
        None,
        alias="npsh_needed",
        description="The NPSH its data sheet asks for at the largest flow of its highest speed, e.g. 2.5 m.",
    )
    self_priming: YesNo = default(
        False,
        spread=AS_BUILT,
        source=PRACTICE,
        description="true if it draws its suction pipe empty of air by itself.",
    )

    @model_validator(mode="after")
    def _one_or_two_speeds(self) -> "Pump":
        own = self._curves()
        if self.low is None and self.high is None:
            if own != 1:
                raise RefusedError("", "expected low and high, or one of curve, or max_head and max_flow")
            if not self.power_w:
                raise RefusedError("", "expected a power, e.g. 310 W or 1.5 hp", at=("power",))
        elif self.low is None or self.high is None:
            missing = "low" if self.low is None else "high"
            raise RefusedError("", "a two-speed pump has low and high", at=(missing,))
        elif own or self.power_w or self.current_a is not None or self.starting_current_a is not None:
            raise RefusedError("", "curve, power and current stand inside low and high, not beside them")
        elif self.low.share_of_speed is not None and self.high.share_of_speed is not None:
            raise RefusedError("", "one of the two speeds needs a curve of its own", at=("low", "speed"))
        return self

    @property
    def speeds(self) -> dict[str, Speed]:
        """Its speeds, each with its power: "low" and "high", or "on" alone."""
        if self.low is None or self.high is None:
            own = {name: getattr(self, name) for name in _Running.model_fields}
            return {"on": Speed.model_construct(_fields_set=None, **own)}
        return {"low": _powered(self.low, self.high), "high": _powered(self.high, self.low)}

    def idle(self) -> frozenset[str]:
        """A pump not known to stand above the water need not prime itself; one contactor locks none."""
        above, two = (self.above_water_m or 0.0) > 0.0, len(self.speeds) > 1
        idle = {"self_priming": not above, "contactors_lock": not two}
        return frozenset(name for name, is_idle in idle.items() if is_idle)

    def assumed(self) -> list[Assumed]:
        """The power of a speed that is a share of the other."""
        worked_out: list[Assumed] = []
        for name, speed in {"low": self.low, "high": self.high}.items():
            if speed is not None and not speed.power_w:
                power_w, spread = self.speeds[name].power_w, Spread(-30, 30, "%", off=True)
                text = format_quantity(power_w, "power")
                worked_out.append(Assumed(f"{name}.power", text, spread, PRACTICE, power_w))
        return worked_out


def _powered(speed: Speed, other: Speed) -> Speed:
    """A speed with its power, worked out from the other one where the file leaves it out."""
    if speed.power_w or speed.share_of_speed is None:
        return speed
    return speed.model_copy(update={"power_w": other.power_w * speed.share_of_speed**_POWER_EXPONENT})


class Equipment(Model):
    """Something that the water passes, with water inside."""

    kind: Literal["filter", "strainer", "other"] = Field(description="filter, strainer or other.")
    drop: AtHead = Field(description="Head lost at a flow, off the data sheet, e.g. 1.0 m at 400 L/min.")
    volume_m3: PartVolume = Field(alias="volume", description="Water inside it, e.g. 14 L.")
    at_most_m3_s: Flow | None = Field(
        None, alias="at_most", description="The most flow its data sheet allows."
    )
    zone: Name = Field(description="The zone it stands in, e.g. pump_room.")
    insulation_m: Insulation = Field(
        0.0, alias="insulation", description="Thickness of its insulation all round; none unless said."
    )


class _Turnable(Model):
    """What a person turns: it has positions, a usual one, and those that it may be left in."""

    usual: str = Field(description="How it normally is.")
    may_be: Annotated[tuple[str, ...], not_empty, single_or_list] = Field(
        (), description="How else it may be left; always as `usual` unless said."
    )

    @property
    def known(self) -> tuple[str, ...]:
        """Every position that it has."""
        raise NotImplementedError

    @property
    def positions(self) -> tuple[str, ...]:
        """Every position that can occur, the usual one first."""
        return tuple(dict.fromkeys((self.usual, *self.may_be)))

    @model_validator(mode="after")
    def _all_known(self) -> "_Turnable":
        known = self.known
        places: list[tuple[str | int, ...]] = [("usual",), *(("may_be", i) for i in range(len(self.may_be)))]
        wrong = [
            RefusedError("an unknown word", f"expected {one_of(known)}", did_you_mean(word, known), place)
            for place, word in zip(places, (self.usual, *self.may_be), strict=True)
            if word not in known
        ]
        if wrong:
            raise SeveralError(*wrong)
        return self


class Valve(_Turnable):
    """A valve that is open, shut, or throttled to a position with a name."""

    drop: AtHead = Field(description="Head lost at a flow when open, e.g. 0.1 m at 400 L/min.")
    throttled: Annotated[dict[str, AtHead], named] = Field(
        default_factory=dict,
        description="Other positions by name, with the head lost there, e.g. {half: 3 m at 200 L/min}.",
    )

    @model_validator(mode="after")
    def _no_third_word(self) -> "Valve":
        for name in self.throttled:
            if name in ("open", "shut"):
                raise RefusedError(
                    "a name that is taken", "open and shut are built in", at=("throttled", name)
                )
        return self

    @property
    def known(self) -> tuple[str, ...]:
        """open, shut, and what the file calls the rest."""
        return ("open", "shut", *self.throttled)

    def drop_at(self, position: str) -> FlowAtHead:
        """Head lost at a flow in a position; when shut, that of the open valve."""
        return self.throttled.get(position, self.drop)


class Diverter(_Turnable):
    """A valve of several ways: each position opens some of them."""

    drop: AtHead = Field(description="Head lost at a flow in a way that is open.")
    ways: Annotated[tuple[Name, ...], not_empty] = Field(
        description="The names that its ways have in the network, e.g. [to_left, to_right]."
    )
    opens: Annotated[dict[str, tuple[Name, ...]], named] = Field(
        description="Which ways each position opens, e.g. {middle: [to_left, to_right], left: [to_left]}."
    )

    @model_validator(mode="after")
    def _its_ways(self) -> "Diverter":
        if len(self.ways) < 2 or len(set(self.ways)) < len(self.ways):
            raise RefusedError("", "expected at least two ways with different names", at=("ways",))
        for position, ways in self.opens.items():
            for i, way in enumerate(ways):
                if way not in self.ways:
                    due, near = f"expected {one_of(self.ways)}", did_you_mean(way, self.ways)
                    raise RefusedError("an unknown way", due, near, ("opens", position, i))
        return self

    @property
    def known(self) -> tuple[str, ...]:
        """What the file calls its positions."""
        return tuple(self.opens)


class CheckValve(Model):
    """A valve that lets water pass one way, as the network is written."""

    drop: AtHead = Field(description="Head lost at a flow, e.g. 0.2 m at 400 L/min.")
