"""The whole file as one frozen object, with the limits it is judged by."""

from itertools import pairwise
from typing import Annotated, ClassVar, Literal

from pydantic import Field, PrivateAttr, model_validator

from cyclesim.scenario.blocks.about import About
from cyclesim.scenario.blocks.candidates import Candidates
from cyclesim.scenario.blocks.place import Circuit, Place, Supply
from cyclesim.scenario.blocks.plant import Plant
from cyclesim.scenario.blocks.prices_and_lives import Money
from cyclesim.scenario.blocks.pump_room import Clear
from cyclesim.scenario.blocks.room_loads import RoomFan, RoomHeater
from cyclesim.scenario.blocks.schedule import Controller, Interlock, Schedule
from cyclesim.scenario.blocks.tuning_wishes import TuningWishes
from cyclesim.scenario.blocks.water_care import WaterCare
from cyclesim.scenario.forms.fields import Pause, Span, WaterTemperature
from cyclesim.scenario.forms.fields import Speed as SpeedField
from cyclesim.scenario.forms.forms import (
    JUDGED_BY,
    Assumed,
    Count,
    Model,
    Quantity,
    RefusedError,
    SeveralError,
    default,
)
from cyclesim.scenario.forms.lists import Pair
from cyclesim.spreads import Edges, Spread
from cyclesim.units import format_quantity

FORMATS = (1,)
PRACTICE = "common practice, no source"
CHOICE = "project choice, no standard"
GrowthBand = Annotated[
    tuple[float, float],
    Pair(Quantity("temperature", ge=0, le=100), "two temperatures", "[20 degC, 45 degC]", equal=False),
]


class Limits(Model):
    """What the rules judge by; a limit that is left out has the default that the report lists."""

    not_varied: ClassVar[str] = JUDGED_BY

    water_age_s: Span = default(
        86_400.0,
        alias="water_age",
        spread=Spread(12, 72, "h"),
        source=CHOICE,
        description="The oldest that water in a leg may get.",
    )
    warm_stagnation_s: Span = default(
        86_400.0,
        alias="warm_stagnation",
        spread=Spread(12, 72, "h"),
        source=CHOICE,
        description="The longest that water may stand still inside the growth band.",
    )
    growth_band_c: GrowthBand = default(
        (20.0, 45.0),
        alias="growth_band",
        spread=Edges(Spread(20, 25, "degC"), Spread(42, 45, "degC")),
        source="HSE L8 (lower edge), CDC Legionella control toolkit (upper edge)",
        description="Between which temperatures bacteria grow well, e.g. [20 degC, 45 degC].",
    )
    turnovers_per_day: Annotated[float, Count(0, 200, whole=False)] = default(
        2.0,
        spread=Spread(1, 6),
        source=PRACTICE,
        description="How often a day the filter must pass the tub's volume.",
    )
    suction_speed_m_s: SpeedField = default(
        1.8,
        alias="suction_speed",
        spread=Spread(1.5, 2.4, "m/s"),
        source="US residential pool practice, quoted from memory",
        description="The fastest that water may run in a suction pipe.",
    )
    run_on_s: Pause = default(
        30.0,
        alias="run_on",
        spread=Spread(15, 5, "min", low_unit="s"),
        source=PRACTICE,
        description="How long water must still run after a heater stops.",
    )
    proof_time_s: Pause = default(
        5.0,
        alias="proof_time",
        spread=Spread(2, 15, "s"),
        source=PRACTICE,
        description="How long a flow must be proven before a heater may fire.",
    )
    heat_without_flow_grace_s: Pause = default(
        5.0,
        alias="heat_without_flow_grace",
        spread=Spread(1, 10, "s"),
        source=CHOICE,
        description="How long a heater may be on without flow before it counts as a danger.",
    )
    pump_rest_s: Pause = default(
        75.0,
        alias="pump_rest",
        spread=Spread(35, 180, "s"),
        source="NEMA MG 10 table 2-3, 1 hp 2-pole, seen second-hand",
        description="How long a pump motor must rest between two starts.",
    )
    starts_per_hour: Annotated[float, Count(1, 60, whole=False)] = default(
        8.0,
        spread=Spread(6, 16, remark="less for large motors"),
        source="NEMA MG 10, 5 hp 2-pole 8.1, seen second-hand",
        description="How often a pump motor may start in an hour.",
    )
    bathing_temperature_c: WaterTemperature = default(
        40.0,
        alias="bathing_temperature",
        spread=Spread(38, 40, "degC"),
        source="New York 6-1.25 and UL 1563, seen second-hand",
        description="The warmest that water with people in it may be.",
    )
    outlet_temperature_c: WaterTemperature = default(
        50.0,
        alias="outlet_temperature",
        spread=Spread(45, 60, "degC"),
        source="equipment-standard practice, quoted from memory",
        description="The warmest that water from an outlet may be.",
    )
    session_at_most_s: Span = default(
        3600.0,
        alias="session_at_most",
        spread=Spread(15, 60, "min"),
        source=CHOICE,
        description="The longest that people should stay in warm water at a time.",
    )
    cold_session_k: Annotated[float, Quantity("temperature_difference", ge=0.1, le=20)] = default(
        1.0,
        alias="cold_session",
        spread=Spread(0.5, 2, "K"),
        source=CHOICE,
        description="How far below the set point water is cold to those who step in.",
    )
    cold_end_k: Annotated[float, Quantity("temperature_difference", ge=0.1, le=20)] = default(
        2.5,
        alias="cold_end",
        spread=Spread(1.5, 4, "K"),
        source=CHOICE,
        description="How far below the set point water is cold to those who step out.",
    )
    cover_speed_m_s: SpeedField = default(
        0.5,
        alias="cover_speed",
        spread=Spread(0.45, 0.5, "m/s"),
        source="EN 13451-3, quoted from memory; document not checked",
        description="The fastest that water may run through a suction cover with another one blocked.",
    )
    free_space_m: Clear = default(
        0.6,
        alias="free_space",
        spread=Spread(500, 900, "mm"),
        source=PRACTICE,
        description="The free floor that is needed before filter and valves.",
    )


class Scenario(Model):
    """A plant, where it stands, and what it is told."""

    format: Literal[1] = Field(description="The number of this file format: 1.")
    title: str = Field(description="What the report is headed with.", min_length=1, max_length=200)
    about: About | None = Field(
        None, description="Who hands it over to whom, for the head of papers; it changes no number."
    )
    place: Place = Field(description="Where and when: year, time zone, weather, zones.")
    supply: Supply = Field(description="The electrical circuit and what its energy costs.")
    plant: Plant = Field(description="What is built.")
    controller: Controller = Field(
        default_factory=lambda: Controller.model_validate({}),
        description="What can be keyed into the controller.",
    )
    schedule: Schedule = Field(description="What the plant is told to do.")
    water_care: WaterCare | None = Field(
        None, description="What is done for the water by hand: disinfectant, refills, the filter's cleaning."
    )
    money: Money | None = Field(
        None, description="What the plant costs to buy and to keep; for comparing, a run does not need it."
    )
    candidates: Candidates | None = Field(
        None, description="Pumps and blowers to choose from; for sizing, a run does not need them."
    )
    tuning: TuningWishes = Field(
        default_factory=lambda: TuningWishes.model_validate({}),
        description="What a tuned programme must have to spare, and the least that it does in a day.",
    )
    interlocks: tuple[Interlock, ...] = Field(
        (), description="Blocks and keeps that the controller enforces."
    )
    limits: Limits = Field(
        default_factory=lambda: Limits.model_validate({}), description="What the rules judge by."
    )

    @model_validator(mode="after")
    def _under_the_ground(self) -> "Scenario":
        wrong = []
        for name, leg in self.plant.legs.items():
            zone = self.place.zones.get(leg.zone)
            thick_m = leg.outside_m + 2.0 * leg.insulation_m
            if zone is not None and zone.depth_m is not None and zone.depth_m <= thick_m / 2.0:
                what = f"soil at {format_quantity(zone.depth_m, 'length')}"
                due = f"a pipe {format_quantity(thick_m, 'length')} thick lies deeper than half of that"
                wrong.append(
                    RefusedError(
                        what, due, "depth is that of the pipe's axis", ("plant", "legs", name, "zone")
                    )
                )
        if wrong:
            raise SeveralError(*wrong)
        return self

    @model_validator(mode="after")
    def _trenches_hold_their_legs(self) -> "Scenario":
        wrong, placed = list[RefusedError](), dict[str, str]()
        legs, zones = self.plant.legs, self.place.zones
        for name, trench in self.plant.trenches.items():
            at = ("plant", "trenches", name)
            known = {leg: legs[leg] for leg in trench.legs if leg in legs}
            if len(known) < len(trench.legs) or any(leg.zone not in zones for leg in known.values()):
                continue  # told where names are checked
            for i, leg in enumerate(trench.legs):
                if zones[known[leg].zone].depth_m is None or known[leg].zone != known[trench.legs[0]].zone:
                    what, due = f"{leg} in {known[leg].zone}", "all legs of a trench lie in one zone of soil"
                    wrong.append(RefusedError(what, due, at=(*at, "legs", i)))
                if leg in placed:
                    due = f"a leg lies in one trench; it is in {placed[leg]}"
                    wrong.append(RefusedError(f"'{leg}' again", due, at=(*at, "legs", i)))
                placed.setdefault(leg, name)
            skins = [known[leg].outside_m + 2.0 * known[leg].insulation_m for leg in trench.legs]
            least_m = max((a + b) / 2.0 for a, b in pairwise(skins))
            if trench.spacing_m < least_m * (1.0 - 1e-9):
                due = f"at least {format_quantity(least_m, 'length')}, or two of them overlap"
                wrong.append(
                    RefusedError(format_quantity(trench.spacing_m, "length"), due, at=(*at, "spacing"))
                )
            shortest_m = min(leg.length_m for leg in known.values())
            if trench.stated_length_m is not None and trench.stated_length_m > shortest_m:
                due = f"at most {format_quantity(shortest_m, 'length')}, as long as the shortest of them"
                what = format_quantity(trench.stated_length_m, "length")
                wrong.append(RefusedError(what, due, at=(*at, "length")))
        if wrong:
            raise SeveralError(*wrong)
        return self

    @model_validator(mode="after")
    def _rooms_are_kept(self) -> "Scenario":
        wrong = []
        for name, zone in self.place.zones.items():
            heater, fan = self.room_loads(name)
            for key, load, other in (("heater", heater, "never_below"), ("fan", fan, "never_above")):
                at = ("plant", "pump_room", key, "zone")
                if load is not None and zone.loses_w_k is None:
                    due = (
                        f"expected loses: 15 W/K and stores: 200 kJ/K there, by which the {key} is worked out"
                    )
                    wrong.append(RefusedError("a zone without loses and stores", due, at=at))
                elif load is not None and getattr(zone, f"{other}_c") is not None:
                    due = f"either {other} of the zone, or a {key} with its power"
                    wrong.append(RefusedError(f"a zone with {other}", f"expected {due}", at=at))
            if heater and fan and fan.stops_below_c < heater.stops_above_c:
                due = "at least the heater's stops_above, or both run against each other"
                at = ("plant", "pump_room", "fan", "stops_below")
                wrong.append(RefusedError(format_quantity(fan.stops_below_c, "temperature"), due, at=at))
        if wrong:
            raise SeveralError(*wrong)
        return self

    def assumed(self) -> list[Assumed]:
        """The sea's own height, where it decides what a pump can draw."""
        npsh_matters = any(pump.npsh_needed_m is not None for pump in self.plant.pumps.values())
        if "altitude_m" in self.place.model_fields_set or not npsh_matters:
            return []
        return [Assumed("place.altitude", "0 m", Spread(0, 2000, "m"), "the sea's own; " + CHOICE)]

    _us_units: bool = PrivateAttr(default=False)

    @property
    def in_us_units(self) -> bool:
        """Whether most of the file is written in US units, so that its reader is told in them."""
        return self._us_units

    def told_in_us_units(self, us: bool) -> None:
        """Remember how the file was written; no number depends on it."""
        self._us_units = us

    @property
    def always_on(self) -> dict[str, float]:
        """What the controller does not switch, with its power [W]: others on the supply, the room's own."""
        return self.supply.also_on_it | (self.plant.pump_room.loads if self.plant.pump_room else {})

    def room_loads(self, zone: str) -> tuple[RoomHeater | None, RoomFan | None]:
        """The heater and the fan of the pump room that keep a zone."""
        room = self.plant.pump_room
        heater, fan = (room.heater, room.fan) if room else (None, None)
        return (
            heater if heater and heater.zone == zone else None,
            fan if fan and fan.zone == zone else None,
        )

    def needs_power(self, zone: str) -> bool:
        """Whether a power cut ends what keeps a zone warm."""
        return self.place.zones[zone].needs_power or self.room_loads(zone)[0] is not None

    @property
    def circuits(self) -> dict[str, Circuit]:
        """Every circuit with what it feeds; one named supply where the file has a breaker alone."""
        if self.supply.circuits is not None:
            return self.supply.circuits
        switched = (name for name, source in self.plant.heat_sources.items() if source.switched)
        feeds = (
            *self.plant.pumps,
            *switched,
            *self.plant.air,
            *self.plant.circulators,
            *self.plant.treatment,
            *self.always_on,
        )
        return {
            "supply": Circuit.model_construct(
                breaker_a=self.supply.breaker_a or 0.0, feeds=feeds, cable=self.supply.cable
            )
        }
