"""What the weather is: a described climate, twelve monthly means, or a CSV file."""

from typing import Annotated, Literal

from pydantic import Discriminator, Field, Tag, model_validator

from cyclesim.scenario.forms.fields import AirTemperature, MonthDay, Share, Swing, Wind
from cyclesim.scenario.forms.forms import (
    Assumed,
    Count,
    Form,
    Model,
    Quantity,
    RefusedError,
    SeveralError,
    default,
    what_is,
)
from cyclesim.scenario.text.csv_file import Series
from cyclesim.spreads import Spread
from cyclesim.units import format_quantity

_NO_SOURCE = "common practice, no source"
_WARMEST_HOUR = default(
    15,
    spread=Spread(13, 17),
    source=_NO_SOURCE,
    description="The warmest hour of the day, 0 to 23; the coldest is 12 hours away.",
)
# What else the air does to open water, where no measurement says it.
_HUMIDITY, _WIND_M_S, _CLOUD = 0.75, 1.5, 0.6
_SPREADS = {
    "humidity": Spread(40, 95, "%"),
    "wind": Spread(0, 4, "m/s"),
    "cloud": Spread(20, 90, "%"),
}
_HUMIDITY_FIELD = default(
    _HUMIDITY,
    spread=_SPREADS["humidity"],
    source=_NO_SOURCE,
    description="Mean relative humidity of the air, e.g. 75 %.",
)
_WIND_FIELD = default(
    _WIND_M_S,
    alias="wind",
    spread=_SPREADS["wind"],
    source=_NO_SOURCE,
    description="Mean wind at the water, e.g. 1.5 m/s.",
)
_CLOUD_FIELD = default(
    _CLOUD,
    spread=_SPREADS["cloud"],
    source=_NO_SOURCE,
    description="Mean share of the sky that clouds cover, e.g. 60 %.",
)


class Climate(Model):
    """A described climate: two sine waves around a mean; swings are mean plus or minus the value."""

    mean_c: AirTemperature = Field(alias="mean", description="Mean air temperature of the whole year.")
    seasonal_swing_k: Swing = Field(
        alias="seasonal_swing",
        description="How far the mean of the coldest and the warmest day lies from the mean of the year.",
    )
    daily_swing_k: Swing = Field(
        alias="daily_swing", description="How far a day's coldest and warmest hour lie from the day's mean."
    )
    coldest_day: MonthDay = Field(description="The coldest day of the year, e.g. 20 January.")
    warmest_hour: Annotated[int, Count(0, 23)] = _WARMEST_HOUR
    humidity: Share = _HUMIDITY_FIELD
    wind_m_s: Wind = _WIND_FIELD
    cloud: Share = _CLOUD_FIELD


_AIR = Quantity("temperature", ge=-60, le=60)
_MEANS_DUE = "expected twelve temperatures, January first, e.g. [4 degC, 5 degC, ...]"


def read_means(value: object) -> tuple[float, ...]:
    """Twelve temperatures."""
    if not isinstance(value, list):
        raise RefusedError(what_is(value), _MEANS_DUE)
    if len(value) != 12:
        raise RefusedError(f"a list of {len(value)}", _MEANS_DUE)
    means, wrong = [], []
    for index, entry in enumerate(value):
        try:
            means.append(_AIR.validate(entry))
        except RefusedError as error:
            wrong.append(RefusedError(error.what, error.allowed, error.hint, (index,)))
    if wrong:
        raise SeveralError(*wrong)
    return tuple(means)


class Monthly(Model):
    """The mean temperature of each month, from any climate table; between them the year runs smoothly."""

    monthly_means_c: Annotated[
        tuple[float, ...],
        Form(read_means, {"type": "array", "items": {"type": "string"}, "minItems": 12, "maxItems": 12}),
    ] = Field(alias="monthly_means", description="Mean air temperature of each month, January first.")
    daily_swing_k: Swing = Field(
        alias="daily_swing", description="How far a day's coldest and warmest hour lie from the day's mean."
    )
    warmest_hour: Annotated[int, Count(0, 23)] = _WARMEST_HOUR
    humidity: Share = _HUMIDITY_FIELD
    wind_m_s: Wind = _WIND_FIELD
    cloud: Share = _CLOUD_FIELD


_FILE_DUE = "expected the path of a CSV file, e.g. weather/town.csv"


def read_read(value: object) -> Series:
    """A series that was read before the models are built."""
    if not isinstance(value, Series):
        raise RefusedError(what_is(value), _FILE_DUE)
    return value


_FILE_SCHEMA = {"type": "string", "pattern": r"^[^/\\:][^\\:]*\.csv$", "examples": ["weather/town.csv"]}
CsvFile = Annotated[Series, Form(read_read, _FILE_SCHEMA)]
Times = Literal["local standard", "utc"]
TIMES_SAY = "How the file's times are meant: local standard (no summer time, unless said) or utc."


class WeatherFile(Model):
    """Weather from a CSV file: a header with units, one row for every step from 1 min to 1 day.

    A file of one year serves any year, by the day of the year; 29 February repeats the 28th if the file has
    none. A shorter or longer file is taken by its own dates. What it has no column for is one value for all.
    """

    file: CsvFile = Field(
        description="The path of a CSV file with the columns time and temperature [degC], and, if known, "
        "humidity [%], wind [m/s], cloud [%], sky temperature [degC]."
    )
    times: Times = Field("local standard", description=TIMES_SAY)
    stated_humidity: Share | None = Field(
        None, alias="humidity", description="Mean relative humidity, where the file has no such column."
    )
    stated_wind_m_s: Wind | None = Field(
        None, alias="wind", description="Mean wind at the water, where the file has no such column."
    )
    stated_cloud: Share | None = Field(
        None, alias="cloud", description="Mean cloud cover, where the file has neither cloud nor sky."
    )
    stated_wind_at_water: Share | None = Field(
        None,
        alias="wind_at_water",
        description="Share of the file's wind, measured at 10 m, that reaches the water, e.g. 30 %.",
    )

    @model_validator(mode="after")
    def _said_once(self) -> "WeatherFile":
        columns = self.file.columns.keys()
        for key, stated, column in (
            ("humidity", self.stated_humidity, "humidity"),
            ("wind", self.stated_wind_m_s, "wind_m_s"),
            ("cloud", self.stated_cloud, "cloud"),
            ("cloud", self.stated_cloud, "sky_c"),
        ):
            if stated is not None and column in columns:
                what = "the sky's temperature" if column == "sky_c" else "a column for it"
                raise RefusedError("", f"the file has {what}; leave this out", at=(key,))
        if self.stated_wind_at_water is not None and "wind_m_s" not in columns:
            raise RefusedError(
                "", "the file has no wind; leave this out, or say wind: 1.5 m/s", at=("wind_at_water",)
            )
        return self

    @property
    def humidity(self) -> float:
        """Relative humidity where the file has none."""
        return _HUMIDITY if self.stated_humidity is None else self.stated_humidity

    @property
    def wind_m_s(self) -> float:
        """Wind at the water where the file has none."""
        return _WIND_M_S if self.stated_wind_m_s is None else self.stated_wind_m_s

    @property
    def cloud(self) -> float:
        """Cloud cover where the file has none."""
        return _CLOUD if self.stated_cloud is None else self.stated_cloud

    @property
    def wind_at_water(self) -> float:
        """Share of the file's wind that reaches the water."""
        return 0.3 if self.stated_wind_at_water is None else self.stated_wind_at_water

    def assumed(self) -> list[Assumed]:
        """Values for what the file has no column for."""
        columns, assumptions = self.file.columns.keys(), []
        for key, value, kind, has_column in (
            ("humidity", self.humidity, "fraction", "humidity" in columns),
            ("wind", self.wind_m_s, "speed", "wind_m_s" in columns),
            ("cloud", self.cloud, "fraction", bool(columns & {"cloud", "sky_c"})),
        ):
            if (
                not has_column
                and getattr(self, "stated_wind_m_s" if key == "wind" else f"stated_{key}") is None
            ):
                assumptions.append(Assumed(key, format_quantity(value, kind), _SPREADS[key], _NO_SOURCE))
        if "wind_m_s" in columns and self.stated_wind_at_water is None:
            assumptions.append(Assumed("wind_at_water", "30 %", Spread(10, 70, "%"), _NO_SOURCE))
        return assumptions


def _which_weather(value: object) -> str:
    keys = value if isinstance(value, dict) else ()
    return "<weatherfile>" if "file" in keys else "<monthly>" if "monthly_means" in keys else "<climate>"


Weather = Annotated[
    Annotated[Climate, Tag("<climate>")]
    | Annotated[Monthly, Tag("<monthly>")]
    | Annotated[WeatherFile, Tag("<weatherfile>")],
    Discriminator(_which_weather),
]
