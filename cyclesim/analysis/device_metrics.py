"""What each device did and drew in a run, in numbers; named as in `metrics.py`."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class PumpMetrics:
    """What a pump did. A one-speed pump has no low and high hours."""

    running_h: float
    low_h: float | None
    high_h: float | None
    starts: int
    starts_per_day: float
    speed_changes: int
    most_starts_in_an_hour: int
    energy_kwh: float
    cost: float
    asked_h: dict[str, float]
    """Per demand, the hours for which it asked for this pump, served or not."""


@dataclass(frozen=True, slots=True)
class HeatSourceMetrics:
    """What a heat source did."""

    firing_h: float
    firings: int
    run_on_h: float
    proving_h: float
    called_not_firing_h: dict[str, float]
    """Per reason, the hours for which it was called and did not fire."""
    tripped_h: float
    energy_kwh: float
    """Electricity; of a boiler that of its fan and controls."""
    cost: float
    """Of electricity and fuel."""
    heat_kwh: float | None = None
    """Heat that it gave the water."""
    seasonal_cop: float | None = None
    """Of a heat pump: its heat over its electricity, defrosting taken off; None where it never ran."""
    fuel_kwh: float | None = None
    """Of a boiler, as the fuel's price counts it."""
    sun_unused_kwh: float | None = None
    """Of collectors: heat that was not used since no water moved through them."""
    sun_unused_at_stop_kwh: float | None = None
    """Of that, with the tub at their high stop or within the kelvin below; None where they have none."""
    valve_moves: int | None = None
    """Of collectors that a motor valve steers: how often it moved, to and fro."""
    stood_hot_h: float | None = None
    """Of collectors with a temperature: how long they could have warmed the water and none moved."""
    hottest_c: float | None = None
    """Of those: how hot the water that stood in them got, as if it did not boil."""
    hottest_at: str | None = None


@dataclass(frozen=True, slots=True)
class TreatmentMetrics:
    """What a treatment device did."""

    kind: str
    on_h: float
    starts: int
    on_without_flow_h: float
    """On with less flow than it needs."""
    held_off_h: float
    """Wanted, and kept off until its flow is proven or by its own flow switch."""
    energy_kwh: float
    cost: float


@dataclass(frozen=True, slots=True)
class BlowerMetrics:
    """What a blower did, and its duty: flow at its intake, and the pressure that depth and pipe ask for."""

    running_h: float
    starts: int
    energy_kwh: float
    cost: float
    flow_l_min: float
    pressure_kpa: float
    why_not: str | None
    """Why its duty is not where its curve meets the line; None where it is."""
    wet_volume_l: float
    """Water that stands in its pipe, which no pump moves."""
    each_injector_l_min: float | None = None
    """Air through each injector; None where the file does not tell how many there are."""


@dataclass(frozen=True, slots=True)
class OwnWaterMetrics:
    """What the own water of a heat source did, and its circulator, behind a plate exchanger."""

    circulator: str
    circulator_h: float
    circulator_starts: int
    circulator_energy_kwh: float
    circulator_cost: float
    flow_l_min: float
    """What the circulator moves."""
    ua_w_k: float
    """What the plates pass per degree."""
    heat_on_h: float
    """How long its own thermostat had its heat on."""
    heat_starts: int
    still_while_on_h: float
    """How long the source was on while its own water stood."""
    given_kwh: float
    over_kwh: float
    """What went through the plates to the tub's water."""
    lost_kwh: float
    hottest_c: float
    """In the source."""
    coldest_c: float
    freezes_c: float


@dataclass(frozen=True, slots=True)
class DeviceEnergy:
    """Electricity and fuel of one pump, heat source or blower, and what they cost together."""

    energy_kwh: float
    cost: float
    fuel_kwh: float = 0.0


@dataclass(frozen=True, slots=True)
class MonthEnergy:
    """Energy and cost in one calendar month."""

    month: str
    energy_kwh: float
    cost: float
    fuel_kwh: float = 0.0
    by_device: dict[str, DeviceEnergy] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class CircuitMetrics:
    """The most that one circuit carried.

    most_starting_a is the worst second of a start: the starting currents of what starts in it, where the file
    tells them, and the current of all else that runs. It is told, not judged: breakers bear it for a moment.
    most_drop_v: the most voltage that was lost on cables to anything on it while that ran, to which, and as a
    share of the supply's; None where the file tells no cable. most_starting_drop_v: the same in the worst
    second of a start, by resistance alone; None where no starting current is told either.
    """

    breaker_a: float
    most_current_a: float
    at: str | None
    most_starting_a: float | None = None
    starting_at: str | None = None
    most_drop_v: float | None = None
    most_drop_percent: float | None = None
    most_drop_to: str | None = None
    most_starting_drop_v: float | None = None
    most_starting_drop_percent: float | None = None


@dataclass(frozen=True, slots=True)
class EnergyMetrics:
    """Electricity of pumps, blowers, circulators, heat sources, treatment devices and the pump room's heater,
    fan and sump pump, and fuel. What else is on the supply (also_on_it) counts towards the current only.
    """

    currency: str
    by_device: dict[str, DeviceEnergy]
    energy_kwh: float
    cost: float
    energy_kwh_per_day: float
    cost_per_day: float
    by_month: tuple[MonthEnergy, ...]
    most_current_a: float
    most_current_at: str | None
    breaker_a: float | None
    """None where several circuits share the load."""
    circuits: dict[str, CircuitMetrics] = field(default_factory=dict)
    fuel_kwh: float = 0.0
