"""Where the tub stands and what it is fed from: year, climate, zones, supply, tariff."""

import re
from datetime import time
from functools import cache
from typing import Annotated, Literal, NamedTuple
from zoneinfo import ZoneInfo, available_timezones

from pydantic import AfterValidator, BeforeValidator, Discriminator, Field, Tag, model_validator

from cyclesim.scenario.blocks.cables import Cable
from cyclesim.scenario.blocks.weather import TIMES_SAY, CsvFile, Times, Weather, WeatherFile
from cyclesim.scenario.forms.fields import (
    AirTemperature,
    Clock,
    Current,
    Days,
    Depth,
    Name,
    Power,
    Voltage,
    Warming,
    named,
    not_empty,
    single_or_list,
)
from cyclesim.scenario.forms.forms import Count, Model, Quantity, RefusedError, Text, default, nearest
from cyclesim.scenario.forms.times import Date
from cyclesim.spreads import NoRange, Spread
from cyclesim.units import WITH_COMMA, has_comma


class Zone(Model):
    """What a leg, equipment or the tub loses heat to: the weather, soil or a fixed temperature."""

    follows: Literal["weather"] | None = Field(None, description="weather: as warm as the air outside.")
    above_by_k: Warming = Field(
        0.0, alias="above_by", description="How much warmer than the weather, e.g. 4 K."
    )
    never_below_c: AirTemperature | None = Field(
        None, alias="never_below", description="The zone is kept at least this warm, e.g. 2 degC."
    )
    kept_by: Literal["supply", "house"] = default(
        "supply",
        spread=NoRange("supply or house"),
        source="the worse of the two; project choice, no standard",
        description="What keeps it at never_below: supply, a heater on this supply (name it in also_on_it), "
        "which a power cut stops; or house, which goes on. A heater with its power is pump_room.heater.",
    )
    never_above_c: AirTemperature | None = Field(
        None, alias="never_above", description="The zone is kept at most this warm."
    )
    depth_m: Depth | None = Field(
        None, alias="depth", description="Soil this far under the surface, e.g. 600 mm."
    )
    always_c: AirTemperature | None = Field(
        None, alias="always", description="A fixed temperature, e.g. 18 degC."
    )
    loses_w_k: Annotated[float, Quantity("conductance", gt=0, le=10_000)] | None = Field(
        None,
        alias="loses",
        description="Heat it loses per degree; what runs in it then warms it, e.g. 15 W/K.",
    )
    stores_j_k: Annotated[float, Quantity("heat_capacity", ge=1000, le=1e9)] | None = Field(
        None, alias="stores", description="Heat that air, walls and things in it store, e.g. 200 kJ/K."
    )

    @model_validator(mode="after")
    def _one_kind(self) -> "Zone":
        written = self.model_fields_set
        if len(written & {"follows", "depth_m", "always_c"}) != 1:
            raise RefusedError(
                "", "expected exactly one of follows: weather, depth: 600 mm or always: 18 degC"
            )
        if self.follows is None and written & {"above_by_k", "never_below_c", "never_above_c"}:
            raise RefusedError("", "above_by, never_below and never_above go with follows: weather only")
        if self.never_below_c is None and "kept_by" in written:
            raise RefusedError("", "kept_by goes with never_below: 2 degC", at=("kept_by",))
        if self.follows is None and written & {"loses_w_k", "stores_j_k"}:
            raise RefusedError("", "loses and stores go with follows: weather only: a room of its own")
        if (self.loses_w_k is None) != (self.stores_j_k is None):
            missing = "loses" if self.loses_w_k is None else "stores"
            raise RefusedError("", "loses: 15 W/K and stores: 200 kJ/K go together", at=(missing,))
        if None not in (low := self.never_below_c, high := self.never_above_c) and low > high:  # type: ignore[operator]
            raise RefusedError("", "never_above must be at least never_below", at=("never_above",))
        return self

    def idle(self) -> frozenset[str]:
        """Nothing keeps what may get as cold as it likes."""
        return frozenset({"kept_by"} if self.never_below_c is None else ())

    @property
    def needs_power(self) -> bool:
        """Whether a power cut ends what keeps it warm."""
        return self.never_below_c is not None and self.kept_by == "supply"


@cache
def _time_zones() -> frozenset[str]:
    return frozenset(available_timezones())


def read_time_zone(text: str) -> str:
    """A time zone that the zone database knows."""
    try:
        ZoneInfo(text)
    except (ValueError, OSError, KeyError):
        cities = {zone.rsplit("/", 1)[-1]: zone for zone in sorted(_time_zones(), reverse=True)}
        city = nearest(text.rsplit("/", 1)[-1], cities)
        near = f"did you mean '{cities[city]}'?" if city else ""
        raise RefusedError(
            "an unknown time zone", "expected a zone of the tz database, e.g. Europe/Lisbon", near
        ) from None
    return text


def _with_outdoors(zones: dict[str, Zone]) -> dict[str, Zone]:
    return {"outdoors": Zone.model_validate({"follows": "weather"}), **zones}


class ColdSpell(Model):
    """Days as cold as a place has seen, laid over its weather."""

    lowest_c: AirTemperature = Field(alias="lowest", description="The air's coldest hour, e.g. -18 degC.")
    lasts_s: Annotated[float, Quantity("time", ge=3600, le=30 * 86_400, whole=True)] = default(
        3 * 86_400.0,
        alias="lasts",
        spread=Spread(1, 7, "days"),
        source="common practice, no source",
        description="How long the spell lasts, e.g. 3 days.",
    )
    from_date: Date | None = Field(
        None, alias="from", description="Its first day; the worst of the year unless said."
    )


class Place(Model):
    """Where and when."""

    year: Annotated[int, Count(1970, 2100)] = Field(description="The calendar year that is simulated.")
    time_zone: Annotated[str, Text(read_time_zone, "expected a time zone", examples=("Europe/Lisbon",))] = (
        Field(description="The local clock, by its name in the tz database, e.g. Europe/Lisbon.")
    )
    weather: Weather = Field(
        description="The climate in five lines, twelve monthly means, or a CSV file; or the path of a file "
        "that says so."
    )
    zones: Annotated[dict[str, Zone], named, AfterValidator(_with_outdoors)] = Field(
        default_factory=lambda: _with_outdoors({}),
        description="Named temperatures around the plant; outdoors is built in.",
    )
    record_low_c: AirTemperature | None = Field(
        None,
        alias="record_low",
        description="The coldest that the place has seen, e.g. -18 degC: days like that are run.",
    )
    stated_cold_spell: ColdSpell | None = Field(
        None, alias="cold_spell", description="Instead of record_low: with its length and its date."
    )
    altitude_m: Annotated[float, Quantity("length", ge=-430, le=5000, example="400 m or 1300 ft")] = Field(
        0.0,
        alias="altitude",
        description="Height above the sea, for what pumps can draw; the sea's own unless said.",
    )

    @property
    def cold_spell(self) -> ColdSpell | None:
        """The spell that is run: as the file has it, or days as cold as the record."""
        if self.stated_cold_spell is not None or self.record_low_c is None:
            return self.stated_cold_spell
        return ColdSpell.model_construct(lowest_c=self.record_low_c)

    @model_validator(mode="after")
    def _soil_known(self) -> "Place":
        if isinstance(self.weather, WeatherFile) and self.weather.file.days < 365:
            for name, zone in self.zones.items():
                if zone.depth_m is not None:
                    what = "soil needs a year of weather, and the file has less; say always: 12 degC"
                    raise RefusedError("", what, at=("zones", name, "depth"))
        return self


class Price(NamedTuple):
    """What a kilowatt-hour costs."""

    amount: float
    currency: str


_PRICE_DUE = "expected a price, e.g. 0.24 EUR/kWh"


def read_price(text: str) -> Price:
    """`0.24 EUR/kWh`."""
    match = re.fullmatch(r"(\d{1,6}(?:\.\d{1,6})?) ?(\S+?) ?/ ?kWh", text.strip(), re.ASCII)
    if match is None:
        what, hint = WITH_COMMA if has_comma(text) else ("no price", "")
        raise RefusedError(what, _PRICE_DUE, hint)
    if not re.fullmatch("[A-Z]{3}", match[2]):
        code = {"€": "EUR", "$": "USD", "£": "GBP"}.get(
            match[2], match[2].upper() if len(match[2]) == 3 else "EUR"
        )
        raise RefusedError(
            "no currency code of three capitals", _PRICE_DUE, f"did you mean {match[1]} {code}/kWh?"
        )
    return Price(float(match[1]), match[2])


PriceTag = Annotated[
    Price,
    Text(read_price, _PRICE_DUE, r"^\d+(\.\d+)? ?[A-Z]{3} ?/ ?kWh$", ("0.24 EUR/kWh",)),
]


class Hours(Model):
    """A daily window on the wall clock; `to` before `from` runs over midnight."""

    from_time: Clock = Field(alias="from", description="Local clock time at which the window opens.")
    to_time: Clock = Field(alias="to", description="Local clock time at which it closes.")
    days: Days | None = Field(None, description="Only on these days of the week (the day the window opens).")

    @model_validator(mode="after")
    def _open(self) -> "Hours":
        if self.from_time == self.to_time:
            raise RefusedError(
                "", "from and to must differ; a window that never closes needs no window", at=("to",)
            )
        return self


class PriceWindow(Hours):
    """A cheaper or dearer part of the day."""

    price: PriceTag = Field(description="Price per kilowatt-hour in this window.")


def _bare_price(value: object) -> object:
    return {"otherwise": value} if isinstance(value, str) else value


class Tariff(Model):
    """The price of electricity by the clock."""

    otherwise: PriceTag = Field(description="Price per kilowatt-hour outside every window.")
    windows: tuple[PriceWindow, ...] = Field(
        (), description="Parts of the day with another price; the first fits."
    )

    @property
    def currency(self) -> str:
        """The one currency of the tariff."""
        return self.otherwise.currency

    def at(self, clock: time, weekday: int) -> Price:
        """The price at a local clock time on a day of the week (Monday 0)."""
        for window in self.windows:
            over_midnight = window.to_time < window.from_time
            late = clock >= window.from_time and (over_midnight or clock < window.to_time)
            early = over_midnight and clock < window.to_time
            opened = weekday if late else (weekday - 1) % 7
            if (late or early) and (window.days is None or opened in window.days):
                return window.price
        return self.otherwise


class PriceFile(Model):
    """Prices from a CSV file, read as weather is: a file of one year serves any year, and so on."""

    file: CsvFile = Field(description="The path of a CSV file with the columns time and price [EUR/kWh].")
    times: Times = Field("local standard", description=TIMES_SAY)

    @property
    def currency(self) -> str:
        """The one currency of the file."""
        return self.file.currency


def _which_tariff(value: object) -> str:
    return "<pricefile>" if isinstance(value, dict) and "file" in value else "<tariff>"


_CABLE = (
    "The cable from the breaker to what it feeds, e.g. {length: 18 m, area: 2.5 mm2}; how much voltage is "
    "lost on it is told, for the electrician to check."
)


class Circuit(Model):
    """One of several circuits, with what hangs on it."""

    breaker_a: Current = Field(alias="breaker", description="Rating printed on its breaker, e.g. 20 A.")
    feeds: Annotated[tuple[Name, ...], not_empty, single_or_list] = Field(
        description="The pumps, heat sources, blower and names of also_on_it that it feeds."
    )
    rcd: str | None = Field(
        None,
        max_length=80,
        description="The residual-current device before it, by a name of yours; circuits that name the same "
        "one lose power together when it trips.",
    )
    cable: Cable | None = Field(None, description=_CABLE)


class Supply(Model):
    """The electrical circuit or circuits that the plant is on."""

    voltage_v: Voltage = Field(alias="voltage", description="Voltage at the plant, e.g. 230 V or 240 V.")
    breaker_a: Current | None = Field(
        None, alias="breaker", description="Rating printed on the breaker, e.g. 20 A, where one feeds all."
    )
    circuits: Annotated[dict[str, Circuit], named] | None = Field(
        None, description="Or several circuits by name, each with its breaker and what it feeds."
    )
    cable: Cable | None = Field(None, description=f"Where one breaker feeds all: {_CABLE}")
    cables_to: Annotated[dict[str, Cable], named] = Field(
        default_factory=dict,
        description="The cable from there on to one thing, by its name, e.g. "
        "{main: {length: 6 m, area: 2.5 mm2}}.",
    )
    drop_at_most: Annotated[float, Quantity("fraction", gt=0, le=0.2)] = default(
        0.05,
        spread=NoRange("3 % for lighting, 5 % for the rest"),
        source="IEC 60364-5-52 table G.52.1, seen second-hand; document not checked",
        description="The most of the voltage that may be lost on the cables, e.g. 5 %.",
    )
    region: Literal["europe", "north_america"] = default(
        "europe",
        spread=NoRange("europe or north_america"),
        source="IEC 60364 and NEC 210.19, 210.20, quoted from memory; document not checked",
        description="north_america: what runs for 3 h or more counts 125 % against the breaker.",
    )
    also_on_it: Annotated[dict[str, Power], named] = Field(
        default_factory=dict, description="Other things on the same breaker, name: power, e.g. lights: 60 W."
    )
    tariff: Annotated[
        Annotated[Tariff, Tag("<tariff>")] | Annotated[PriceFile, Tag("<pricefile>")],
        Discriminator(_which_tariff),
        BeforeValidator(_bare_price),
    ] = Field(description="One price per kilowatt-hour, prices by the clock, or a CSV file of them.")

    @model_validator(mode="after")
    def _on_breakers(self) -> "Supply":
        if self.breaker_a is None and self.circuits is None:
            raise RefusedError("", "expected a breaker, e.g. 20 A, or circuits", at=("breaker",))
        if self.breaker_a is not None and self.circuits is not None:
            raise RefusedError("", "each circuit has its breaker; leave this one out", at=("breaker",))
        if self.circuits == {}:
            raise RefusedError("", "expected at least one circuit, or breaker instead", at=("circuits",))
        if self.circuits is not None and self.cable is not None:
            raise RefusedError("", "each circuit has its cable; leave this one out", at=("cable",))
        return self

    def idle(self) -> frozenset[str]:
        """Without a cable nothing is lost on one."""
        cables = (self.cable, *self.cables_to.values(), *(c.cable for c in (self.circuits or {}).values()))
        return frozenset(() if any(cables) else {"drop_at_most"})

    @model_validator(mode="after")
    def _one_currency(self) -> "Supply":
        if isinstance(self.tariff, PriceFile):
            return self
        currency = self.tariff.currency
        for index, window in enumerate(self.tariff.windows):
            if window.price.currency != currency:
                raise RefusedError(
                    "another currency",
                    f"one currency in a file; otherwise: is in {currency}",
                    at=("tariff", "windows", index, "price"),
                )
        return self
