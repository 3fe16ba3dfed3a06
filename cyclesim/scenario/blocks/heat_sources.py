"""Heat sources by kind: those that the controller switches, and those that burn or shine by themselves."""

from typing import Annotated, ClassVar, Literal

from pydantic import BeforeValidator, Discriminator, Field, Tag, model_validator

from cyclesim.scenario.blocks.collectors import HOLDS_PER_W, LOSES_PER_W, SHEET, Plate, Steered
from cyclesim.scenario.blocks.own_water import OwnCircuit, SunCircuit
from cyclesim.scenario.blocks.place import PriceTag
from cyclesim.scenario.blocks.rated import Rated
from cyclesim.scenario.blocks.wiring import OWN_SWITCH, STARTED, Starter, Starters
from cyclesim.scenario.forms.fields import (
    AirTemperature,
    AtHead,
    Current,
    Flow,
    HeatOutput,
    Insulation,
    Name,
    PartVolume,
    Pause,
    Power,
    Rest,
    Share,
    WaterTemperature,
    not_empty,
)
from cyclesim.scenario.forms.forms import (
    Assumed,
    Model,
    Quantity,
    RefusedError,
    default,
    did_you_mean,
    one_of,
)
from cyclesim.scenario.forms.times import Occasion
from cyclesim.spreads import ANY_ZONE, AS_BUILT, Spread
from cyclesim.units import format_quantity

PRACTICE = "common practice, no source"
KINDS = ("electric", "heat_pump", "boiler", "wood", "solar")
UNSWITCHED = ("wood", "solar")
KIND_SAYS = f"What it is: {one_of(KINDS)}."


class Proof(Model):
    """How the controller knows that water flows through a heat source."""

    by: Literal["flow_switch", "pressure_switch", "temperature_rise", "pump_contact", "none"] = Field(
        description="flow_switch: feels water; pressure_switch: content against a shut valve too; "
        "temperature_rise: knows only once heat is on; pump_contact: knows only that the pump is on; none."
    )
    in_: Name | None = Field(
        None, alias="in", description="Where a flow switch sits, if elsewhere than in it: a leg or equipment."
    )
    feels_m3_s: Flow | None = Field(
        None,
        alias="feels",
        description="The flow at which a flow switch closes, e.g. 40 L/min; needs_flow unless said.",
    )
    closes_at_m: Annotated[float, Quantity("head", ge=0.1, le=50)] | None = Field(
        None, alias="closes_at", description="Pressure at which a pressure switch closes; 1 m unless said."
    )
    rise_k: Annotated[float, Quantity("temperature_difference", ge=1, le=50)] | None = Field(
        None, alias="rise", description="Rise of temperature that means no flow; 8 K unless said."
    )

    @model_validator(mode="after")
    def _its_own(self) -> "Proof":
        if self.closes_at_m is not None and self.by != "pressure_switch":
            raise RefusedError("", "closes_at goes with by: pressure_switch", at=("closes_at",))
        if self.in_ is not None and self.by != "flow_switch":
            raise RefusedError("", "in goes with by: flow_switch", at=("in",))
        if self.feels_m3_s is not None and self.by != "flow_switch":
            raise RefusedError("", "feels goes with by: flow_switch", at=("feels",))
        if self.rise_k is not None and self.by != "temperature_rise":
            raise RefusedError("", "rise goes with by: temperature_rise", at=("rise",))
        return self

    def assumed(self) -> list[Assumed]:
        """Where a pressure switch closes, and the rise that means no flow, unless said."""
        if self.by == "pressure_switch" and self.closes_at_m is None:
            return [Assumed("closes_at", "1 m", Spread(0.7, 2, "m"), PRACTICE)]
        if self.by == "temperature_rise" and self.rise_k is None:
            return [Assumed("rise", "8 K", Spread(4, 15, "K"), PRACTICE)]
        return []

    @property
    def pressure_m(self) -> float:
        """Head at which a pressure switch closes."""
        return 1.0 if self.closes_at_m is None else self.closes_at_m

    @property
    def no_flow_rise_k(self) -> float:
        """Rise of temperature that means no flow."""
        return 8.0 if self.rise_k is None else self.rise_k


class _Source(Model):
    """What every heat source has."""

    kind: str = Field(description=KIND_SAYS)
    drop: AtHead = Field(description="Head lost at a flow, off the data sheet, e.g. 0.3 m at 400 L/min.")
    volume_m3: PartVolume = Field(alias="volume", description="Water inside it, e.g. 2 L.")
    needs_flow_m3_s: Flow = Field(alias="needs_flow", description="The least flow its data sheet asks for.")
    zone: Name = Field(description="The zone it stands in, e.g. pump_room.")
    insulation_m: Insulation = Field(
        0.0,
        alias="insulation",
        description="Thickness of the insulation round its body; none unless said. What collectors lose "
        "stands in loses.",
    )


class Switched(_Source):
    """A heat source that the controller switches on and off."""

    switched: ClassVar[bool] = True

    proof: Proof = Field(
        description="How the controller knows that water flows through it, e.g. {by: flow_switch}."
    )
    high_limit_c: WaterTemperature | None = Field(
        None,
        alias="high_limit",
        description="Water temperature at which it trips and stays off until reset by hand.",
    )
    limit_sensor: Literal["own", "thermostat"] = default(
        "own",
        spread=AS_BUILT,
        source=PRACTICE,
        description="Whether its high limit has a sensor of its own, or shares the thermostat's.",
    )
    own_flow_switch_s: Pause | None = OWN_SWITCH
    also_started_by: Starters = STARTED
    rest_s: Rest = default(
        0.0,
        alias="rest",
        spread=Spread(0, 3, "min"),
        source=PRACTICE,
        description="How long it stays off at least before it fires again.",
    )
    opens_within_s: Pause = default(
        0.0,
        alias="opens_within",
        spread=Spread(0, 1, "s"),
        source=PRACTICE,
        description="How long its contactor takes to open.",
    )
    own_water: OwnCircuit | None = Field(
        None,
        description="Water of its own that a plate exchanger parts from the tub's, with its circulator. Then "
        "drop, volume, needs_flow and zone are of the tub's side, high_limit and limit_sensor of its own.",
    )

    @model_validator(mode="after")
    def _behind_an_exchanger(self) -> "Switched":
        if self.own_water is None:
            return self
        stops_c = self.own_water.thermostat.stops_above_c
        if self.high_limit_c is not None and self.high_limit_c <= stops_c:
            due = "expected more than stops_above of own_water's thermostat, or it trips at every firing"
            raise RefusedError("no warmer than its thermostat lets it get", due, at=("high_limit",))
        if self.proof.by == "temperature_rise":
            due = "expected another means of proof, e.g. by: flow_switch"
            raise RefusedError("which cannot be seen behind an exchanger", due, at=("proof", "by"))
        return self

    def idle(self) -> frozenset[str]:
        """Without a high limit it has no sensor."""
        return frozenset({"limit_sensor"} if self.high_limit_c is None else ())


class Unswitched(_Source):
    """A heat source that nobody can switch off; its heat is trapped in it while no water moves."""

    switched: ClassVar[bool] = False

    @property
    def proof(self) -> Proof:
        """None: no controller asks."""
        return Proof(by="none")

    @property
    def high_limit_c(self) -> float | None:
        """None: nothing trips."""
        return None

    @property
    def limit_sensor(self) -> str:
        """Nothing trips, so that its sensor is nobody's."""
        return "own"

    @property
    def own_flow_switch_s(self) -> None:
        """None: it is not switched."""
        return

    @property
    def also_started_by(self) -> tuple[Starter, ...]:
        """Nothing: it is not switched."""
        return ()

    @property
    def rest_s(self) -> float:
        """0 s: it is not switched."""
        return 0.0

    @property
    def opens_within_s(self) -> float:
        """0 s: it is not switched."""
        return 0.0

    @property
    def minimum_run_s(self) -> float:
        """0 s: it is not switched."""
        return 0.0

    @property
    def power_w(self) -> float:
        """0 W: it takes no electricity."""
        return 0.0

    @property
    def current_a(self) -> float | None:
        """None: it takes no electricity."""
        return None


class Electric(Switched):
    """An electric element."""

    kind: Literal["electric"] = Field(description=KIND_SAYS)
    output_w: HeatOutput = Field(alias="output", description="Heat it gives, e.g. 3 kW.")

    @property
    def minimum_run_s(self) -> float:
        """0 s: an element may stop at once."""
        return 0.0

    @property
    def power_w(self) -> float:
        """Electrical power: all of it becomes heat."""
        return self.output_w

    @property
    def current_a(self) -> float | None:
        """None: power over voltage."""
        return None


class HeatPump(Switched):
    """A heat pump that takes its heat from air."""

    kind: Literal["heat_pump"] = Field(description=KIND_SAYS)
    rated: Annotated[tuple[Rated, ...], not_empty] = Field(
        description="Lines of its data sheet, e.g. [{air: 7 degC, water: 35 degC, output: 8 kW, cop: 4.2}]."
    )
    lowest_air_c: AirTemperature = Field(
        alias="lowest_air", description="Below this air temperature it stands still, e.g. -7 degC."
    )
    defrost_below_c: AirTemperature = default(
        5.0,
        alias="defrost_below",
        spread=Spread(3, 7, "degC"),
        source=PRACTICE,
        description="Below this air temperature its coil frosts.",
    )
    defrost_share: Share = default(
        0.1,
        spread=Spread(5, 20, "%"),
        source=PRACTICE,
        description="Share of its output that defrosting costs there, in damp air.",
    )
    minimum_run_s: Rest = default(
        300.0,
        alias="minimum_run",
        spread=Spread(2, 10, "min"),
        source=PRACTICE,
        description="How long it runs at least once it has started.",
    )
    outside: Name = default(
        "outdoors", spread=ANY_ZONE, source=PRACTICE, description="The zone whose air it draws heat from."
    )
    current_a: Current | None = Field(
        None, alias="current", description="Current, off the nameplate; power over voltage unless said."
    )

    @model_validator(mode="after")
    def _each_once(self) -> "HeatPump":
        places = [(point.air_c, point.water_c) for point in self.rated]
        for index, place in enumerate(places):
            if place in places[:index]:
                raise RefusedError("", "each pair of temperatures is rated once", at=("rated", index))
        return self

    def idle(self) -> frozenset[str]:
        """A sheet with a line rated in frost has its defrosting in it: no share is taken beside."""
        in_frost = any(point.air_c < self.defrost_below_c for point in self.rated)
        return super().idle() | frozenset({"defrost_share"} if in_frost else ())

    @property
    def output_w(self) -> float:
        """The most heat of its rated points."""
        return max(point.output_w for point in self.rated)

    @property
    def power_w(self) -> float:
        """The most electrical power of its rated points."""
        return max(point.output_w / point.cop for point in self.rated)


class Boiler(Switched):
    """A boiler that burns fuel."""

    kind: Literal["boiler"] = Field(description=KIND_SAYS)
    output_w: HeatOutput = Field(alias="output", description="Heat it gives the water, e.g. 20 kW.")
    efficiency: Annotated[float, Quantity("fraction", ge=0.3, le=1.1)] = Field(
        description="Heat in the water over heat in the fuel, as the fuel's price counts it, e.g. 90 %."
    )
    fuel_price: PriceTag = Field(
        alias="fuel", description="Price of a kilowatt-hour of fuel, e.g. 0.09 EUR/kWh."
    )
    minimum_run_s: Rest = default(
        0.0,
        alias="minimum_burn",
        spread=Spread(0, 10, "min"),
        source=PRACTICE,
        description="How long it burns at least once it has started.",
    )
    power_w: Annotated[float, Quantity("power", ge=0, le=5000)] = default(
        0.0,
        alias="power",
        spread=Spread(0, 150, "W"),
        source=PRACTICE,
        description="Electrical power of its fan and controls.",
    )
    current_a: Current | None = Field(
        None, alias="current", description="Its current; power over voltage unless said."
    )


class Wood(Unswitched):
    """A wood stove: lit at clock times, then it burns and dies down by itself."""

    kind: Literal["wood"] = Field(description=KIND_SAYS)
    output_w: HeatOutput = Field(alias="output", description="Heat it gives while it burns, e.g. 15 kW.")
    burns: Annotated[tuple[Occasion, ...], not_empty] = Field(
        description="When it is lit and how long it burns, e.g. [{start: 17:00, lasts: 3 h, days: saturday}]."
    )
    dies_down_s: Annotated[float, Quantity("time", ge=0, le=86_400)] = default(
        1800.0,
        alias="dies_down",
        spread=Spread(10, 60, "min"),
        source=PRACTICE,
        description="Time in which its heat falls to 37 % after the fire has burnt.",
    )

    @property
    def own_water(self) -> None:
        """None: the tub's water passes it."""
        return


class Solar(Unswitched):
    """Collectors, by the noon output that is expected of them."""

    kind: Literal["solar"] = Field(description=KIND_SAYS)
    summer_peak_w: Power = Field(
        alias="summer_peak",
        description="Heat at noon on the average day at midsummer, e.g. 4 kW; with loses or steered that of "
        "water as warm as the air.",
    )
    winter_peak_w: Annotated[float, Quantity("power", ge=0, le=100_000)] = Field(
        alias="winter_peak", description="Heat at noon on the average day at midwinter, e.g. 800 W; likewise."
    )
    loses_w_k: Annotated[float, Quantity("conductance", gt=0, le=10_000)] | None = Field(
        None, alias="loses", description="Heat they lose for each degree above the air, e.g. 40 W/K."
    )
    holds_j_k: Annotated[float, Quantity("heat_capacity", ge=100, le=1e8)] | None = Field(
        None, alias="holds", description="Heat that they hold without their water, e.g. 30 kJ/K."
    )
    steered: Steered | None = Field(
        None, description="What leads water through them and when, e.g. {pump: sun_pump, high_stop: 39 degC}."
    )
    own_water: SunCircuit | None = Field(
        None,
        description="Water or glycol of their own that a plate exchanger parts from the tub's, turned while "
        "the pump of steered runs. Then drop, volume, needs_flow and zone are of the tub's side.",
    )

    @model_validator(mode="after")
    def _has_water(self) -> "Solar":
        if self.plate is not None and not self.volume_m3:
            raise RefusedError(
                "no water in them", "with steered, loses or holds more than 0 L", at=("volume",)
            )
        if self.insulation_m and self.plate is not None and self.own_water is None:
            raise RefusedError("", "what collectors lose stands in loses", at=("insulation",))
        if self.own_water is not None and (self.steered is None or self.steered.pump is None):
            due = "expected steered: {pump: sun_pump}, which starts the circulator, too"
            found = "own water that nothing turns"
            if self.steered is not None:
                found = "own water beside a valve, which starts no circulator"
                due += "; with a valve the tub's water runs through the collectors, and own_water is left out"
            raise RefusedError(found, due, at=("own_water",))
        return self

    def assumed(self) -> list[Assumed]:
        """What they lose and hold, where they have a temperature of their own."""
        if self.plate is None:
            return []
        loses, holds = LOSES_PER_W * self.summer_peak_w, HOLDS_PER_W * self.summer_peak_w
        rows = (
            ("loses", self.loses_w_k, loses, "conductance", Spread(-30, 80, "%", off=True)),
            ("holds", self.holds_j_k, holds, "heat_capacity", Spread(-60, 50, "%", off=True)),
        )
        return [
            Assumed(key, format_quantity(value, kind), spread, SHEET, value)
            for key, said, value, kind, spread in rows
            if said is None
        ]

    @property
    def plate(self) -> Plate | None:
        """What they lose and hold by themselves; None where they have no temperature of their own."""
        if self.steered is None and self.loses_w_k is None and self.holds_j_k is None:
            return None
        loses = LOSES_PER_W * self.summer_peak_w if self.loses_w_k is None else self.loses_w_k
        holds = HOLDS_PER_W * self.summer_peak_w if self.holds_j_k is None else self.holds_j_k
        return Plate(loses, holds)

    @property
    def output_w(self) -> float:
        """The most heat of the year."""
        return max(self.summer_peak_w, self.winter_peak_w)


HeatSource = Electric | HeatPump | Boiler | Wood | Solar


def _known_kind(value: object) -> object:
    """Refuse a kind that is none before anything is said about its keys."""
    if isinstance(value, dict) and value.get("kind") not in KINDS:
        word = value.get("kind")
        if word is None:
            raise RefusedError("", f"expected kind: {one_of(KINDS)}", at=("kind",))
        is_text = isinstance(word, str)
        what = "an unknown word" if is_text else ""
        raise RefusedError(what, f"expected {one_of(KINDS)}", did_you_mean(str(word), KINDS), ("kind",))
    return value


def _tag_of(value: object) -> str:
    kind = value.get("kind") if isinstance(value, dict) else "electric"
    return f"<{str(kind).replace('_', '')}>"


AnyHeatSource = Annotated[
    Annotated[Electric, Tag("<electric>")]
    | Annotated[HeatPump, Tag("<heatpump>")]
    | Annotated[Boiler, Tag("<boiler>")]
    | Annotated[Wood, Tag("<wood>")]
    | Annotated[Solar, Tag("<solar>")],
    Discriminator(_tag_of),
    BeforeValidator(_known_kind),
]
