"""What plumbing would help where no programme keeps a plant's water fresh: each change as a plant to run."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from cyclesim.analysis.amounts import flow, lasting, listed
from cyclesim.analysis.findings import Breach
from cyclesim.analysis.history import FLUSH_VOLUMES
from cyclesim.analysis.pumped import duties_of, in_a_body
from cyclesim.analysis.rules import of_kind
from cyclesim.decide.tuning.bleed import bleeds
from cyclesim.decide.tuning.duty_effect import best_duty, end_of, reached_s, weakest_jet_m3_s
from cyclesim.physics.links import TUB
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.forms.pipes import Pipe, of_standard
from cyclesim.simulation.assembly import Assembly, PlantDuty
from cyclesim.simulation.jets import last_stretch
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.variant import with_plant

_TOLD = {"jets-weak", "flush-too-short"}
"""Plant rules whose breach the sentence or the caller's run tells; any other that is new forbids a change."""


@dataclass(frozen=True)
class Plumbing:
    """One change of the pipes, in a sentence, and the scenario with it."""

    kind: str
    """One of: bleed, narrower pipe, narrower pipes, dead end removed."""
    subject: str
    """The legs that it is about."""
    sentence: str
    scenario: Scenario


def plumbing(scenario: Scenario, legs: Collection[str]) -> Iterator[Plumbing]:
    """The changes that may help *legs* (as reported: a leg, or "leg, last jet"), whose water gets too old.

    None of them starves a heat source or breaks a rule of the plant that was kept, but for weak jets, which
    the sentence tells. Whether one is enough is for a run to say.
    """
    shown = {last_stretch(name): name for name in scenario.plant.legs}
    stale = list(dict.fromkeys(shown.get(name, name) for name in legs))
    before = _Judged(scenario)
    for name in stale:
        if name in scenario.plant.legs and scenario.plant.legs[name].dead_end:
            yield from _removed(scenario, name)
    for bleed in bleeds(before.plant, stale):
        if before.unharmed(bleed.scenario):
            yield Plumbing("bleed", listed(list(bleed.into)), bleed.sentence, bleed.scenario)
    narrowed = dict[str, Plumbing]()
    for name in stale:
        if name in scenario.plant.legs and not scenario.plant.legs[name].dead_end:
            narrowed.update((name, change) for change in _narrower(before, name))
    yield from narrowed.values()
    if len(narrowed) > 1:
        yield from _all_narrower(before, narrowed)


# -- a dead end ----------------------------------------------------------------------------------------------


def _removed(scenario: Scenario, name: str) -> Iterator[Plumbing]:
    """The plant without a capped spare, if nothing watches or doses it."""
    plant = scenario.plant
    if name in _watched(scenario) | {treatment.in_ for treatment in plant.treatment.values()}:
        return
    litres = 1000.0 * Assembly(scenario).leg_volume_m3(name)
    left = {other: leg for other, leg in plant.legs.items() if other != name}
    yield Plumbing(
        "dead end removed",
        name,
        f"{name} cut off at its tee: its {litres:.1f} L are capped, and no pump ever moves them.",
        with_plant(scenario, legs=left),
    )


def _watched(scenario: Scenario) -> set[str]:
    """Whatever has a sensor in it."""
    frost, heating, plant = scenario.schedule.frost_protection, scenario.schedule.heating, scenario.plant
    things = [*plant.pumps.values(), *plant.heat_sources.values(), *plant.air.values()]
    started = [way for thing in (*things, *plant.treatment.values()) for way in thing.also_started_by]
    watched = {way.thermostat.watches for way in started if way.thermostat}
    watched |= {frost.watches} if frost else set()
    return watched | ({heating.sensor.in_} if heating and heating.sensor else set())


# -- a narrower pipe -----------------------------------------------------------------------------------------


def _narrower(before: _Judged, name: str) -> Iterator[Plumbing]:
    """The next narrower pipe of the same standard, where no flush replaces a leg's water as it should."""
    plant, leg = before.plant, before.plant.sheet.legs[name]
    pipe = next_narrower(leg.pipe)
    if pipe is None or leg.suction is not None or _draws(plant, name):  # never narrow a suction
        return
    slowest = _slowest_flush(plant, before.programme, name)
    if slowest is None:
        return
    duty, longest_s = slowest
    now_s = reached_s(duty, end_of(plant, name))
    legs = {**plant.sheet.legs, name: leg.model_copy(update={"pipe": pipe})}
    changed = with_plant(plant.scenario, legs=legs)
    narrow = Assembly(changed)
    then_s = reached_s(narrow.duty(duty.speeds), end_of(plant, name))
    if then_s is None or (now_s is not None and (longest_s >= FLUSH_VOLUMES * now_s or then_s >= now_s)):
        return
    if before.unharmed(changed):
        held = in_a_body(narrow, narrow.duty(duty.speeds), end_of(plant, name))
        litres = [f"{1000.0 * built.leg_volume_m3(name):.1f} L" for built in (narrow, plant)]
        was = "where it never was" if now_s is None else f"in place of {lasting(now_s)}"
        yield Plumbing(
            "narrower pipe",
            name,
            f"{pipe.name} in place of {leg.pipe.name if leg.pipe else ''} for {name}: it holds {litres[0]} "
            f"in place of {litres[1]}, and at {duty.name} tub water is at its end after {lasting(then_s)} "
            f"{was}{held}. {_what_jets_lose(plant, narrow, name, duty)}",
            changed,
        )


def _all_narrower(before: _Judged, narrowed: Mapping[str, Plumbing]) -> Iterator[Plumbing]:
    """All of these changes at once: of legs that are alike, one alone leaves the other as it was."""
    legs = {name: change.scenario.plant.legs[name] for name, change in narrowed.items()}
    changed = with_plant(before.plant.scenario, legs={**before.plant.sheet.legs, **legs})
    if before.unharmed(changed):
        names = listed(list(narrowed))
        yield Plumbing("narrower pipes", names, f"A narrower pipe for each of {names} at once.", changed)


def next_narrower(pipe: Pipe | None) -> Pipe | None:
    """The next smaller bore of the same standard; None where there is none, or no standard is known."""
    smaller = [p for p in of_standard(pipe) if pipe and p.bore_m < pipe.bore_m]
    return smaller[-1] if smaller else None


def _draws(plant: Assembly, name: str) -> bool:
    """Whether a leg draws from the tub, as the network is written."""
    return any(link.name == name and link.a == TUB for link in plant.links)


def _slowest_flush(plant: Assembly, programme: Programme, name: str) -> tuple[PlantDuty, float] | None:
    """The duty of the flush that moves a leg most, and the longest that the controller lets one last."""
    flushes = [
        (duty, run.lasts_s)
        for run in programme.scenario.schedule.line_flushes
        for duty in duties_of(plant, run.pumping)
    ]
    moving = [(duty, lasts_s) for duty, lasts_s in flushes if abs(duty.flow_m3_s(name)) > STILL_M3_S]
    if not moving:
        return None
    offered = plant.scenario.controller.flush_lengths_s or ()
    duty, _ = max(moving, key=lambda pair: abs(pair[0].flow_m3_s(name)))
    return duty, max(*offered, *(lasts_s for _, lasts_s in moving), 0.0)


def _what_jets_lose(before: Assembly, after: Assembly, name: str, duty: PlantDuty) -> str:
    manifold = before.sheet.legs[name].manifold
    if manifold is None:
        was, now = (abs(solved.flow_m3_s(name)) for solved in (duty, after.duty(duty.speeds)))
        return f"It costs flow: {flow(now)} in place of {flow(was)}."
    best = best_duty(before, name)
    was, now = (weakest_jet_m3_s(plant, plant.duty(best.speeds), name) for plant in (before, after))
    needs, short = manifold.needs_flow_m3_s, ""
    if needs is not None:
        short = f", {'too little: it needs' if now < needs else 'and needs'} {flow(needs)}"
    return f"Its weakest jet gets {flow(now)} in place of {flow(was)} at {best.name}{short}."


# -- what a change must not do -------------------------------------------------------------------------------


class _Judged:
    """A plant with the rules that it breaks as drawn, to hold a changed one against."""

    def __init__(self, scenario: Scenario) -> None:
        self.plant, self.programme = Assembly(scenario), Programme(scenario)
        self.broken = set(_broken(self.plant, self.programme))

    def unharmed(self, changed: Scenario) -> bool:
        """Whether a changed plant feeds all that was fed and breaks no rule of the plant that was kept."""
        plant = Assembly(changed)
        fed = [*self.plant.sheet.heat_sources, *self.plant.sheet.treatment]
        for was, now in zip(self.plant.duties(), plant.duties(), strict=True):
            if any(self.plant.has_flow(name, was) and not plant.has_flow(name, now) for name in fed):
                return False
        return {rule for rule in _broken(plant, Programme(changed)) if rule[0] not in _TOLD} <= self.broken


def _broken(plant: Assembly, programme: Programme) -> Iterator[tuple[str, str]]:
    """Rule and subject of all that a plant breaks before anything runs."""
    for rule in of_kind("plant").values():
        for judged in rule.judge(plant, programme):
            if isinstance(judged, Breach):
                yield rule.id, judged.subject
