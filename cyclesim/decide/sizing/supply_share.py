"""What the circuit of a heat source, a pump or a blower carries, with whatever may run beside it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from cyclesim.analysis.amounts import listed
from cyclesim.analysis.combinations import as_written
from cyclesim.analysis.most_carried import most_carried
from cyclesim.analysis.supply import CONTINUOUS_SHARE, Carried, counts_lasting
from cyclesim.simulation.assembly import Assembly


@dataclass(frozen=True, slots=True)
class SupplyShare:
    """The most that a circuit carries while a source fires, by what the controller's interlocks let run then.

    What lasts 3 h counts as its region has it.
    """

    circuit: str
    breaker_a: float
    source_a: float
    drawn_a: float
    counted_a: float
    beside: tuple[str, ...]
    """What runs with it, by name."""
    without_a: float
    """As counted_a, were there no interlock."""
    rests_on: tuple[str, ...]
    """The interlocks that make it less: `element while main high`."""

    @property
    def share(self) -> float:
        """Of the breaker's rating."""
        return self.counted_a / self.breaker_a


def supply_share(plant: Assembly, source: str, *, lasts: bool) -> SupplyShare | None:
    """The circuit that feeds *source*, at the worst that interlocks allow; None where none does.

    *lasts*: the source and the pump of heating run for 3 h or more in one go.
    """
    circuit = _circuit_of(plant, source)
    if circuit is None:
        return None
    found = most_carried(plant, circuit, (source, "on"), heating_lasts=lasts)
    most = found.kept
    return SupplyShare(
        circuit,
        most.breaker_a,
        most.loads[0].current_a,
        most.drawn_a,
        most.counted_a,
        _beside(most),
        found.without.counted_a,
        tuple(f"{as_written(b.target, b.speed or 'on')} {b.condition}" for b in found.by),
    )


def largest_w(plant: Assembly, source: str, *, lasts: bool) -> float | None:
    """The largest size that the circuit carries; None where nothing limits it, as a boiler's fan does not."""
    share, sheet = supply_share(plant, source, lasts=lasts), plant.sheet.heat_sources[source]
    if share is None or not share.source_a or sheet.kind == "boiler":
        return None
    own = share.source_a * (CONTINUOUS_SHARE if lasts and counts_lasting(plant) else 1.0)
    return sheet.output_w * max(0.0, share.breaker_a - share.counted_a + own) / own


def overloads(plant: Assembly, name: str, *speeds: str) -> Iterator[str]:
    """In words, what its circuit carries that the breaker does not, with it on at the worst of *speeds*."""
    circuit = _circuit_of(plant, name)
    if circuit is None:
        return
    sums = [most_carried(plant, circuit, (name, speed)).kept for speed in speeds]
    most = max(sums, key=lambda m: m.counted_a)
    if not most.within(most.counted_a):
        beside = f" beside {listed(list(_beside(most)))}" if _beside(most) else ""
        yield f"{most.counted_a:.1f} A on {circuit}{beside}, whose breaker has {most.breaker_a:g} A"


def _circuit_of(plant: Assembly, name: str) -> str | None:
    circuits = plant.scenario.circuits.items()
    return next((n for n, circuit in circuits if name in circuit.feeds and circuit.breaker_a), None)


def _beside(most: Carried) -> tuple[str, ...]:
    return tuple(as_written(load.name, load.speed) for load in most.loads[1:] if load.current_a)
