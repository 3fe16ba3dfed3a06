"""What was measured at the finished plant: a file of readings, each with what it may be off by."""

from typing import Annotated, Any, ClassVar, Literal, get_args

from pydantic import BeforeValidator, Discriminator, Field, PrivateAttr, Tag, model_validator

from cyclesim.scenario.blocks.reading_forms import (
    JET,
    KIND_SAYS,
    POINT_DUE,
    PRACTICE,
    RUNS,
    VALVES,
    WITHIN,
    Between,
    CurrentOff,
    Device,
    EnergyOff,
    FlowOff,
    Gauge_,
    GiveOrTake,
    HeadOff,
    Jet,
    NetworkPoint,
    PowerOff,
    TimeOff,
    WarmthOff,
    With,
    read_point,
)
from cyclesim.scenario.blocks.weather import TIMES_SAY, Times
from cyclesim.scenario.forms.fields import (
    AirTemperature,
    Current,
    Flow,
    Name,
    Power,
    Rise,
    Span,
    WaterTemperature,
    not_empty,
    single_or_list,
)
from cyclesim.scenario.forms.forms import (
    Model,
    Quantity,
    RefusedError,
    Text,
    did_you_mean,
    one_of,
)
from cyclesim.scenario.forms.times import Date
from cyclesim.scenario.text.log_file import Log
from cyclesim.units import format_quantity


class _Reading(Model):
    """What all readings share: a value in SI, its kind of quantity, and what it may be off by."""

    usual: ClassVar[GiveOrTake]
    """What such a reading may be off by where the file does not say."""
    quantity: ClassVar[str]
    """The kind of quantity that is read."""
    read_in: ClassVar[str] = "reads"
    """The field that has what was read."""

    within: Any = WITHIN

    @property
    def value(self) -> float:
        """What was read, in SI."""
        return float(getattr(self, self.read_in))

    @property
    def give_or_take(self) -> float:
        """What it may be off by to either side, in SI."""
        return self.tolerance.of(self.value)

    @property
    def tolerance(self) -> GiveOrTake:
        """As the file says, or the usual one."""
        stated: GiveOrTake | None = self.within
        return stated or self.usual

    @property
    def words(self) -> str:
        """What was read and where."""
        raise NotImplementedError


class _WithPumps(_Reading):
    """A reading taken while pumps run, with valves in their positions."""

    runs: With = RUNS
    valves: dict[str, str] = VALVES

    @property
    def while_(self) -> str:
        """The pumps that run and the valves that were turned, in words."""
        runs = " + ".join(map(str, self.runs))
        turned = ", ".join(f"{name} {at}" for name, at in self.valves.items())
        return f"{runs} with {turned}" if turned else runs

    @model_validator(mode="after")
    def _some_pump_runs(self) -> "_WithPumps":
        if not self.runs and self.needs_pump:
            raise RefusedError("", "expected with: main high, the pump that runs", at=("with",))
        pumps = [pump for pump, _ in self.runs]
        if len(set(pumps)) < len(pumps):
            raise RefusedError("", "a pump runs at one speed at a time", at=("with",))
        return self

    needs_pump: ClassVar[bool] = True


class Gauge(_WithPumps):
    """A gauge's pressure or vacuum at a place of the network."""

    kind: Literal["gauge"] = Field(description=KIND_SAYS)
    reads: Gauge_ = Field(description="What it reads: a pressure, or a vacuum below 0, e.g. 0.6 bar or -2 m.")
    at: Annotated[NetworkPoint, Text(read_point, POINT_DUE)] = Field(
        description="Where: before or after a part, e.g. after main, or a junction."
    )
    above_water_m: Rise = Field(
        0.0, alias="above_water", description="How far the gauge lies above the tub's water; 0 unless said."
    )
    within: HeadOff | None = WITHIN
    usual = GiveOrTake(0.3, 0.03, PRACTICE)
    quantity = "head"

    @property
    def words(self) -> str:
        """What was read and where."""
        return f"gauge {self.at}, {self.while_}"


class FlowMeter(_WithPumps):
    """A flow through a part of the network."""

    kind: Literal["flow"] = Field(description=KIND_SAYS)
    reads: Flow = Field(description="The flow, e.g. 210 L/min.")
    through: Name = Field(description="What it flows through: a leg, a pump, a filter, a heat source.")
    within: FlowOff | None = WITHIN
    usual = GiveOrTake(0.0, 0.05, PRACTICE)
    quantity = "flow"

    @property
    def words(self) -> str:
        """What was read and where."""
        return f"flow through {self.through}, {self.while_}"


class _AtLeg(_WithPumps):
    at: Name = Field(description="The leg, e.g. left_bench.")
    jet: Jet | None = JET

    @property
    def place(self) -> str:
        """The jet or the end of the leg."""
        return f"jet {self.jet} of {self.at}" if self.jet else f"the end of {self.at}"


class Bucket(_AtLeg):
    """A bucket or bag, held to a jet or a spout, and a stopwatch."""

    kind: Literal["bucket"] = Field(description=KIND_SAYS)
    holds_m3: Annotated[float, Quantity("volume", gt=0, le=1, example="10 L or 3 gal")] = Field(
        alias="holds", description="What it holds, e.g. 10 L."
    )
    filled_in_s: Annotated[float, Quantity("time", gt=0, le=3600)] = Field(
        alias="filled_in", description="How long it took to fill, e.g. 17 s."
    )
    within: FlowOff | None = WITHIN
    usual = GiveOrTake(0.0, 0.08, PRACTICE)
    quantity = "flow"

    @property
    def value(self) -> float:
        """The flow [m3/s]."""
        return self.holds_m3 / self.filled_in_s

    @property
    def words(self) -> str:
        """What was read and where."""
        return f"bucket at {self.place}, {self.while_}"


class Arrival(_AtLeg):
    """Time until dye or warm water from the tub comes out of a jet or of a leg's end."""

    kind: Literal["arrival"] = Field(description=KIND_SAYS)
    of: Literal["dye", "warm_water"] = Field(description="dye or warm_water.")
    after_s: Annotated[float, Quantity("time", gt=0, le=86_400)] = Field(
        alias="after", description="Time from the pump's start until it is seen or felt, e.g. 34 s."
    )
    within: TimeOff | None = WITHIN
    usual = GiveOrTake(3.0, 0.05, PRACTICE)
    read_in = "after_s"
    quantity = "time"

    @property
    def words(self) -> str:
        """What was read and where."""
        return f"{self.of.replace('_', ' ')} at {self.place}, {self.while_}"


OF: Any = Field(description="The pump at its speed, e.g. main high, or the electric heat source.")


class Amps(_Reading):
    """The current that a pump or an electric heat source draws."""

    kind: Literal["current"] = Field(description=KIND_SAYS)
    reads: Current = Field(description="The current, e.g. 7.4 A.")
    of: Device = OF
    within: CurrentOff | None = WITHIN
    usual = GiveOrTake(0.1, 0.03, "clamp meters of class 3, common practice, no source")
    quantity = "current"

    @property
    def words(self) -> str:
        """What was read and where."""
        return f"current of {self.of}"


class Watts(_Reading):
    """The power that a pump or an electric heat source draws."""

    kind: Literal["power"] = Field(description=KIND_SAYS)
    reads: Power = Field(description="The power, e.g. 1.6 kW.")
    of: Device = OF
    within: PowerOff | None = WITHIN
    usual = GiveOrTake(5.0, 0.02, PRACTICE)
    quantity = "power"

    @property
    def words(self) -> str:
        """What was read and where."""
        return f"power of {self.of}"


class _Warmth(_WithPumps):
    """The tub's temperature before and after some time."""

    from_c: WaterTemperature = Field(alias="from", description="The tub's water when it began, e.g. 38 degC.")
    to_c: WaterTemperature = Field(alias="to", description="The tub's water when it ended.")
    took_s: Span = Field(alias="took", description="How long that took, e.g. 10 h.")
    air_c: AirTemperature | None = Field(
        None,
        alias="air",
        description="Mean air outdoors meanwhile; what the file expects of the date unless said.",
    )
    cover: Literal["on", "off"] = Field("on", description="Whether the cover was on or off; on unless said.")
    within: WarmthOff | None = WITHIN
    usual = GiveOrTake(0.3, 0.0, "two readings of one thermometer, " + PRACTICE)
    quantity = "temperature"
    needs_pump = False
    read_in = "to_c"

    @property
    def give_or_take(self) -> float:
        """A share would be one of the change."""
        return self.tolerance.of(self.to_c - self.from_c)

    @property
    def _began(self) -> str:
        began = (
            f"from {format_quantity(self.from_c, 'temperature')} in {format_quantity(self.took_s, 'time')}"
        )
        return f"{began}, {self.while_}" if self.runs else began


class WarmUp(_Warmth):
    """A warming up of the tub with heat sources on throughout."""

    kind: Literal["warm_up"] = Field(description=KIND_SAYS)
    heat: Annotated[tuple[Name, ...], not_empty, single_or_list] = Field(
        description="The heat sources that were on throughout, e.g. element."
    )

    @model_validator(mode="after")
    def _warmer(self) -> "WarmUp":
        if self.to_c <= self.from_c:
            raise RefusedError("", "a warm_up ends warmer than it began", at=("to",))
        if not self.runs:
            raise RefusedError("", "expected with: main low, the pump that ran", at=("with",))
        return self

    @property
    def words(self) -> str:
        """What was read and where."""
        return f"warm-up {self._began} with {' + '.join(self.heat)}"


class Cooling(_Warmth):
    """A cooling of the tub with all heat off."""

    kind: Literal["cooling"] = Field(description=KIND_SAYS)

    @model_validator(mode="after")
    def _colder(self) -> "Cooling":
        if self.to_c >= self.from_c:
            raise RefusedError("", "a cooling ends colder than it began", at=("to",))
        return self

    @property
    def words(self) -> str:
        """What was read and where."""
        return f"cooling {self._began}" + ", cover off" * (self.cover == "off")


class _BetweenDates(_Reading):
    between: Between = Field(description="The dates of the two readings, e.g. [2027-04-01, 2027-05-01].")

    @property
    def span_s(self) -> float:
        """Seconds between the two dates."""
        return 86_400.0 * (self.between[1] - self.between[0]).days

    @model_validator(mode="after")
    def _not_long(self) -> "_BetweenDates":
        if self.span_s > 366 * 86_400:
            raise RefusedError("", "at most a year lies between the two dates", at=("between",))
        return self

    @property
    def _dates(self) -> str:
        return " to ".join(f"{day.day} {day:%b %Y}" for day in self.between)


class Energy(_BetweenDates):
    """A meter's kilowatt hours between two dates, of the whole plant or of one device."""

    kind: Literal["energy"] = Field(description=KIND_SAYS)
    reads: Annotated[float, Quantity("energy", gt=0, le=3.6e12)] = Field(
        description="The difference of the meter's two readings, e.g. 310 kWh."
    )
    of: Name | None = Field(
        None, description="The pump or heat source that it meters; the whole plant unless said."
    )
    within: EnergyOff | None = WITHIN
    usual = GiveOrTake(3.6e6, 0.02, "IEC 62053-21 class 2, quoted from memory; document not checked")
    quantity = "energy"

    @property
    def words(self) -> str:
        """What was read and where."""
        return f"energy of {self.of or 'the plant'}, {self._dates}"


class Running(_BetweenDates):
    """How long a pump or a heat source ran between two dates."""

    kind: Literal["running"] = Field(description=KIND_SAYS)
    reads: Span = Field(description="How long it ran in all, e.g. 182 h or 10920 min.")
    of: Name = Field(description="The pump, at any speed, or the heat source.")
    within: TimeOff | None = WITHIN
    usual = GiveOrTake(360.0, 0.01, "an hours-run meter of tenths of an hour, " + PRACTICE)
    quantity = "time"

    @model_validator(mode="after")
    def _fits(self) -> "Running":
        if self.reads > self.span_s:
            raise RefusedError(
                "a time longer than lies between the two dates", "expected less", at=("reads",)
            )
        return self

    @property
    def words(self) -> str:
        """What was read and where."""
        return f"{self.of} ran, {self._dates}"


Reading = Gauge | FlowMeter | Bucket | Arrival | Amps | Watts | WarmUp | Cooling | Energy | Running
BY_KIND: dict[str, type[Reading]] = {
    get_args(kind.model_fields["kind"].annotation)[0]: kind for kind in get_args(Reading)
}
"""Each kind of reading by the word that a file has for it."""
KINDS_OF_READING = tuple(BY_KIND)


def _known_kind(value: object) -> object:
    """Refuse a kind that is none before anything is said about its keys."""
    if isinstance(value, dict) and value.get("kind") not in KINDS_OF_READING:
        word = value.get("kind")
        due = f"expected kind: {one_of(KINDS_OF_READING)}"
        if word is None:
            raise RefusedError("", due, at=("kind",))
        near = did_you_mean(str(word), KINDS_OF_READING)
        raise RefusedError("an unknown word" if isinstance(word, str) else "", due, near, ("kind",))
    return value


def _tag_of(value: object) -> str:
    kind = value.get("kind") if isinstance(value, dict) else None
    known = BY_KIND.get(kind if isinstance(kind, str) else "")
    return f"<{(known or Gauge).__name__.lower()}>"


AnyReading = Annotated[
    Annotated[Gauge, Tag("<gauge>")]
    | Annotated[FlowMeter, Tag("<flowmeter>")]
    | Annotated[Bucket, Tag("<bucket>")]
    | Annotated[Arrival, Tag("<arrival>")]
    | Annotated[Amps, Tag("<amps>")]
    | Annotated[Watts, Tag("<watts>")]
    | Annotated[WarmUp, Tag("<warmup>")]
    | Annotated[Cooling, Tag("<cooling>")]
    | Annotated[Energy, Tag("<energy>")]
    | Annotated[Running, Tag("<running>")],
    Discriminator(_tag_of),
    BeforeValidator(_known_kind),
]


class LogFile(Model):
    """A data logger's CSV file: time, water and, if known, air, power, and each pump by its name in %."""

    file: str = Field(description="Its path beside the file of readings, e.g. may.csv.", max_length=200)
    times: Times = Field("local standard", description=TIMES_SAY)


class Readings(Model):
    """A file of readings, taken at one plant about one date."""

    measured: Date = Field(description="The date on which they were taken, e.g. 2027-05-02.")
    title: str = Field("", description="What they are about, in words.", max_length=200)
    readings: Annotated[tuple[AnyReading, ...], not_empty] = Field((), description="The readings.")
    logs: Annotated[tuple[LogFile, ...], not_empty] = Field(
        (), description="CSV files of a data logger, e.g. [{file: may.csv}]."
    )
    _read: tuple[Log, ...] = PrivateAttr(())

    @model_validator(mode="after")
    def _something(self) -> "Readings":
        if not self.readings and not self.logs:
            raise RefusedError("", "expected readings or logs")
        return self

    @property
    def logs_read(self) -> tuple[tuple[LogFile, Log], ...]:
        """Each log as the file names it, and what it says."""
        return tuple(zip(self.logs, self._read, strict=True))
