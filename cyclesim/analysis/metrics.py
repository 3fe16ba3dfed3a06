"""What a run came to, in numbers. Field names are the keys of the JSON: unit in the key, unknown is None."""

from __future__ import annotations

from dataclasses import dataclass, field

from cyclesim.analysis.device_metrics import (
    BlowerMetrics,
    EnergyMetrics,
    HeatSourceMetrics,
    OwnWaterMetrics,
    PumpMetrics,
    TreatmentMetrics,
)

SPELL_EDGES_H = (1, 3, 6, 12, 24, 48, 168)
"""Upper edges of the histogram of stagnant spells [h]; one more class takes what is longer."""


@dataclass(frozen=True, slots=True)
class Spells:
    """One class of the histogram of stagnant spells: those up to this long (None: longer than all others)."""

    up_to_h: int | None
    spells: int


@dataclass(frozen=True, slots=True)
class LegMetrics:
    """A leg, its last stretch of manifold, or a housing: how its water stood, aged and cooled.

    The volume of a leg is all of it; its ages are those of its water up to the first jet, and the last
    stretch is told apart. Water that never moved since before the run has no known age: None.
    """

    kind: str
    """leg, last jet, dead end, equipment or heat source."""
    volume_l: float
    exchanges_per_day: float
    stagnant_h: float
    stagnant_share_percent: float
    longest_stagnant_h: float
    longest_stagnant_from: str | None
    stagnant_spells: tuple[Spells, ...]
    oldest_water_h: float | None
    oldest_water_at: str | None
    """When it was oldest; the start of the flow, where that happened while it flowed."""
    oldest_water_mean_h: float | None
    mean_water_age_h: float | None
    above_limit_h: float
    longest_warm_still_h: float
    longest_warm_still_from: str | None
    coldest_water_c: float | None
    heat_lost_flowing_kwh: float | None
    heat_lost_standing_kwh: float | None
    """Both None for a last stretch: its leg takes it in. A leg stands, here, until it has turned over."""

    @property
    def heat_lost_kwh(self) -> float | None:
        """Flowing and standing together."""
        parts = (self.heat_lost_flowing_kwh, self.heat_lost_standing_kwh)
        known = [part for part in parts if part is not None]
        return sum(known) if known else None


@dataclass(frozen=True, slots=True)
class TubMetrics:
    """The tub: temperatures, filtration, and where its heat came from and went.

    Time since filtered is that of a well mixed tub, dA/dt = 1 - A Q / V, as if the span repeated for ever.
    What evaporates and what bathers carry out is filled up at once; the heat that warms it is in the heat of
    open water, of bathers (which may be below 0 for it) and of blown air.
    """

    volume_l: float
    mean_c: float | None
    coldest_c: float | None
    coldest_at: str | None
    warmest_c: float | None
    warmest_at: str | None
    turnovers_per_day: float
    fewest_turnovers_in_a_day: float | None
    """None where the span has no whole calendar day."""
    fewest_turnovers_on: str | None
    since_filtered_mean_h: float | None
    since_filtered_max_h: float | None
    since_filtered_max_at: str | None
    lost_through_cover_kwh: float
    lost_through_shell_kwh: float
    lost_from_legs_kwh: float
    lost_from_equipment_kwh: float
    heat_from_pumps_kwh: float
    heat_from_sources_kwh: float
    stored_change_kwh: float
    balance_error_kwh: float
    lost_from_open_water_kwh: float
    heat_from_bathers_kwh: float
    taken_by_air_kwh: float
    topped_up_l: float
    """A kilogram as a litre, which is right within 0.3 % at the temperature of make-up water."""
    sessions: int
    """Those that began in the span; sessions that touch or overlap are one. Under a cover nobody bathes."""
    bathed_h: float
    mean_at_session_start_c: float | None
    """Mean of the water's temperature when people stepped in."""
    mean_at_session_end_c: float | None = None
    """Likewise when they stepped out, of the sessions that ended in the span."""


@dataclass(frozen=True, slots=True)
class SessionMetrics:
    """The tub's water while people are in it.

    set_point_c is that of the moment in which they step in, None without heating; out_c is None where the
    span ends before they step out. coldest_at_jet_c: the coldest water that came out of a jet as it started,
    and cold_at_jet_s for how long at most one start gave water more than 3 K colder than the tub; None where
    nothing started.
    """

    from_local: str
    lasts_h: float
    set_point_c: float | None
    in_c: float
    out_c: float | None
    coldest_c: float
    coldest_at_jet_c: float | None = None
    cold_at_jet_s: float | None = None


@dataclass(frozen=True, slots=True)
class OutageMetrics:
    """One power cut: the coldest part while it lasted, and how long each part would have withstood it.

    until_zero_h counts from the cut's start and takes each part as standing from then on beside its zone, the
    tub under its cover, and nothing as kept warm that needs power; None where that is more than ten days.
    After the run's last hour its zones stay as they are. until_frozen_h goes on from there until a tenth of
    the part's water is ice, by the heat that it loses at 0 degC, as if ice kept no cold out: it is sooner
    than true. *circuit* alone had no power: nothing else is taken as off, and hours are told only of what
    nothing moves then, of the tub where no heat comes to it.
    """

    from_local: str
    lasts_h: float
    coldest_part: str
    coldest_c: float
    until_zero_h: dict[str, float | None]
    until_frozen_h: dict[str, float | None]
    circuit: str | None = None


@dataclass(frozen=True, slots=True)
class ColdSpellMetrics:
    """The cold spell of the file, in the span.

    lowest_c: the air's coldest hour; colder_by_k: than the weather without it. coldest_c: of each part while
    it lasts, at its coldest end. until_zero_h: hours from its start until a part is at 0 degC in this run,
    None where it is not while the spell lasts; without power from power_fails_at on, its coldest hour.
    """

    from_local: str
    lasts_h: float
    lowest_c: float
    colder_by_k: float
    coldest_c: dict[str, float | None]
    until_zero_h: dict[str, float | None]
    until_zero_without_power_h: dict[str, float | None]
    power_fails_at: str


@dataclass(frozen=True, slots=True)
class Fading:
    """The disinfectant in the oldest water of a leg, last stretch or housing, at fast and at slow decay.

    How often it was below the least wanted, and for how long at most. None where water never moved.
    """

    kind: str
    least_fast_mg_l: float | None
    least_slow_mg_l: float | None
    times_below_fast: int | None
    below_fast_h: float | None
    times_below_slow: int | None
    below_slow_h: float | None


@dataclass(frozen=True, slots=True)
class DisinfectantMetrics:
    """The disinfectant as the file has it, the age at which water falls below the least wanted, and where."""

    residual_mg_l: float
    at_least_mg_l: float
    half_life_fast_h: float
    half_life_slow_h: float
    until_below_fast_h: float
    until_below_slow_h: float
    legs: dict[str, Fading]


@dataclass(frozen=True, slots=True)
class RefillCare:
    """Refills, and what the bathers suggest: US gallons / 3 / bathers a day (common practice, no source)."""

    refill_every_days: float | None
    last_refill: str | None
    since_refill_days: float | None
    """As the span ends; where both are told, the tub is refilled every so often from last_refill on."""
    bathers_per_day: float
    suggested_refill_days: float | None
    """None where nobody bathes."""
    refills: int = 0
    """How many fall into the span."""
    refills_heat_kwh: float | None = None
    """To warm them from fill water to the tub's mean temperature; None without heat in the run."""
    refills_heat_cost: float | None = None
    """That heat at what the heat of this run cost; None where no source gave any."""


@dataclass(frozen=True, slots=True)
class FilterCare:
    """What passes the filter between two cleanings, on the mean of the span."""

    clean_filter_every_days: float
    flow_between_cleans_h: float
    passed_between_cleans_m3: float


@dataclass(frozen=True, slots=True)
class WaterCareMetrics:
    """What the file's water care comes to; None for what it does not mention."""

    disinfectant: DisinfectantMetrics | None
    refill: RefillCare | None
    filter: FilterCare | None


@dataclass(frozen=True, slots=True)
class SuctionMetrics:
    """The suction side of one pump; None where the file does not say enough."""

    above_water_m: float | None
    npsh_available_m: float | None
    """In the worst duty that the schedule can ask for."""
    npsh_worst_at: str | None
    npsh_needed_m: float | None
    suction_fittings_always_open: int | None
    """The fewest that feed it in any duty, less those that a valve can shut off."""
    cover_speed_one_blocked_m_s: float | None
    """The fastest in any duty that can occur; None too where the blocked one is the only one."""


@dataclass(frozen=True, slots=True)
class RoomLoadMetrics:
    """What the room's own heater or fan did, and the coldest and warmest hour of its zone."""

    on_h: float
    starts: int
    coldest_c: float | None
    warmest_c: float | None


@dataclass(frozen=True, slots=True)
class PumpRoomMetrics:
    """What the file says of the pump room; None where it says nothing."""

    below_ground: bool | None
    drain: bool | None
    weather_tight: bool | None
    distance_m: float | None
    free_space_m: float | None
    loads: dict[str, RoomLoadMetrics] = field(default_factory=dict)
    """Its own heater and fan, by name."""
    dry_without_power_h: float | None = None
    """How long a sump pump may stand until water is at anything electric; None where that is not told."""


@dataclass(frozen=True, slots=True)
class PromisesMetrics:
    """What a programme promises to those who live with it, and how far it was kept in a run.

    None where nothing was promised: no quiet hours, no heating, nobody who bathes.
    """

    times_to_be_warm: int
    """Times at which the water was to be ready, and sessions that began, where there is heating."""
    warm_on_time: int
    """At which of them it was no further below its set point than limits.cold_session, in tenths."""
    most_short_k: float | None
    """The worst of them, below its set point; less than 0 where the water was always warmer."""
    most_short_at: str | None
    coldest_at_step_out_c: float | None
    coldest_at_step_out_at: str | None
    loud_in_quiet_hours_h: float | None
    oldest_water_h: float | None
    """Of all that may not stand: dead ends left out. None where water never moved."""
    oldest_water_in: str | None
    water_age_limit_h: float
    coldest_water_c: float | None
    """Of every leg, housing, pump whose zone is known, and the tub."""
    coldest_water_in: str | None
    first_at_zero: str | None
    """What would be at 0 degC first, had the power failed in the coldest hour; None beyond ten days."""
    first_at_zero_after_h: float | None
    power_fails_at: str | None


@dataclass(frozen=True, slots=True)
class Metrics:
    """Everything that is measured of a run."""

    legs: dict[str, LegMetrics]
    pumps: dict[str, PumpMetrics]
    heat_sources: dict[str, HeatSourceMetrics]
    blowers: dict[str, BlowerMetrics]
    tub: TubMetrics
    energy: EnergyMetrics
    outages: tuple[OutageMetrics, ...]
    treatment: dict[str, TreatmentMetrics] = field(default_factory=dict)
    own_water: dict[str, OwnWaterMetrics] = field(default_factory=dict)
    """By heat source, of those that have water of their own."""
    water_care: WaterCareMetrics | None = None
    """None where the file says nothing of it."""
    sessions: tuple[SessionMetrics, ...] = ()
    cold_spell: ColdSpellMetrics | None = None
    """None where the file has none, or it begins outside the span."""
    suction: dict[str, SuctionMetrics] = field(default_factory=dict)
    pump_room: PumpRoomMetrics | None = None
    promises: PromisesMetrics | None = None
    """None where they were not asked for."""
