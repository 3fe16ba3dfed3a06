"""What people, blowers and power cuts came to, and what heat was made of."""

from __future__ import annotations

from collections.abc import Sequence

from cyclesim.analysis.amounts import listed
from cyclesim.analysis.device_metrics import BlowerMetrics, HeatSourceMetrics, OwnWaterMetrics
from cyclesim.analysis.metrics import OutageMetrics, SessionMetrics, TubMetrics
from cyclesim.said.page import Column, Page, cost, record, records, whole, words
from cyclesim.said.words import count, hours, number, when
from cyclesim.scenario.blocks.model import Scenario

_MOST_PARTS, _FIRST_FROZEN, _COLDEST_SESSIONS = 6, 3, 3


def say_people(page: Page, tub: TubMetrics, sessions: Sequence[SessionMetrics]) -> None:
    """Sessions, hours in the water, how warm it was, and what water had to be filled up."""
    if tub.sessions or tub.bathed_h:
        page.heading("People")
        sentence = f"{count(tub.sessions, 'session')}, {number(tub.bathed_h)} h with people in the water"
        if tub.mean_at_session_start_c is not None:
            sentence += f"; at {number(tub.mean_at_session_start_c)} °C on the mean when they stepped in"
        if tub.mean_at_session_end_c is not None:
            sentence += f", {number(tub.mean_at_session_end_c)} °C when they stepped out"
        page.line(f"{sentence}.")
        page.line(f"Water topped up: {number(tub.topped_up_l)} L.")
        say_coldest_sessions(page, sessions)


def say_coldest_sessions(page: Page, sessions: Sequence[SessionMetrics]) -> None:
    """The few sessions at which people stepped out of the coldest water."""
    ended = [(session.out_c, k) for k, session in enumerate(sessions) if session.out_c is not None]
    columns = (
        Column("from", "from_local", kind="when"),
        Column("lasts\n{unit}", "lasts_h", "h"),
        Column("set point\n{unit}", "set_point_c", "°C"),
        Column("step in\n{unit}", "in_c", "°C"),
        Column("coldest\n{unit}", "coldest_c", "°C"),
        Column("step out\n{unit}", "out_c", "°C"),
        Column("at a jet\n{unit}", "coldest_at_jet_c", "°C"),
        Column("for\n{unit}", "cold_at_jet_s", "s"),
    )
    rows = [
        record(columns, sessions[k].from_local, sessions[k]) for _, k in sorted(ended)[:_COLDEST_SESSIONS]
    ]
    if rows:
        note = (
            "At a jet: the coldest water as one starts, and for how long it is over 3 K colder than the tub."
        )
        page.table(columns, rows, "The coldest sessions, by the water when people step out", notes=(note,))


def say_blowers(page: Page, blowers: dict[str, BlowerMetrics], currency: str) -> None:
    """Blowers: the air they get through, or why none."""
    if not blowers:
        return
    columns = (
        words("blower"),
        Column("runs\n{unit}", "running_h", "h"),
        whole("starts", "starts"),
        Column("air\n{unit}", "flow_l_min", "L/min of air"),
        Column("pressure\n{unit}", "pressure_kpa", "kPa"),
        Column("energy\n{unit}", "energy_kwh", "kWh"),
        cost(currency),
    )
    page.table(columns, records(columns, blowers), "Blowers")
    for name, blower in blowers.items():
        if blower.why_not:
            page.line(f"{name}: {blower.why_not}.", hang=2)
        if blower.each_injector_l_min:
            each = number(blower.each_injector_l_min)
            page.line(f"{name}: each of its injectors gets {each} L/min of air.", hang=2)
        if blower.wet_volume_l:
            page.line(
                f"{name}: {number(blower.wet_volume_l)} L stand in its pipe, which no pump moves.", hang=2
            )


def say_own_waters(page: Page, waters: dict[str, OwnWaterMetrics], currency: str) -> None:
    """Own water of heat sources behind plate exchangers, and the circulators that turn it."""
    if not waters:
        return
    columns = (
        words("source"),
        Column("turns\n{unit}", "flow_l_min", "L/min"),
        Column("for\n{unit}", "circulator_h", "h"),
        Column("heat on\n{unit}", "heat_on_h", "h"),
        whole("times", "heat_starts"),
        Column("hottest\n{unit}", "hottest_c", "°C"),
        Column("coldest\n{unit}", "coldest_c", "°C"),
        Column("to the tub\n{unit}", "over_kwh", "kWh"),
        Column("lost\n{unit}", "lost_kwh", "kWh"),
    )
    notes = [
        f"{water.circulator}: {number(water.circulator_energy_kwh)} kWh, {water.circulator_cost:.2f} "
        f"{currency}; the water that it turns freezes at {number(water.freezes_c)} °C."
        for water in waters.values()
    ]
    notes.append("heat on: as the thermostat of its own water has it, or while the sun shines on it.")
    page.table(columns, records(columns, waters), "Own water behind a plate exchanger", notes=notes)
    for name, water in waters.items():
        if water.still_while_on_h:
            stood = hours(water.still_while_on_h)
            page.line(f"{name} was on for {stood} while its own water stood.", tone="mind", hang=2)


def say_made_from(page: Page, sources: dict[str, HeatSourceMetrics]) -> None:
    """Heat that a heat pump made of its electricity, and fuel that a boiler burnt."""
    for name, source in sources.items():
        if source.seasonal_cop is not None:
            made = (
                f"{number(source.heat_kwh)} kWh of heat from {number(source.energy_kwh)} kWh of electricity"
            )
            page.line(f"{name} made {made}, {number(source.seasonal_cop)} to 1 over these days.", hang=2)
        if source.fuel_kwh is not None:
            made = f"{number(source.heat_kwh)} kWh of heat from {number(source.fuel_kwh)} kWh of fuel"
            page.line(f"{name} made {made}.", hang=2)


def rooms_that_store(scenario: Scenario) -> list[str]:
    """The rooms that hold heat."""
    return [name for name, zone in scenario.place.zones.items() if zone.stores_j_k]


def say_power_cuts(page: Page, cuts: Sequence[OutageMetrics], rooms: Sequence[str] = ()) -> None:
    """Each power cut: the coldest part, and how long until the first parts would be at 0 degC and freeze.

    *rooms*: those that hold heat, and so follow from the run.
    """
    if not cuts:
        return
    page.heading("Power cuts")
    for cut in cuts:
        which = f"circuit {cut.circuit} alone, " if cut.circuit else ""
        sentence = (
            f"- {which}from {when(cut.from_local)} for {hours(cut.lasts_h)}: coldest {cut.coldest_part} at"
        )
        page.line(f"{sentence} {number(cut.coldest_c)} °C.", hang=2)
        freeze = sorted((h, part) for part, h in cut.until_zero_h.items() if h is not None)
        if freeze:
            parts = ", ".join(f"{part} after {hours(h)}" for h, part in freeze[:_MOST_PARTS])
            rest = f", then {len(freeze) - _MOST_PARTS} more" if len(freeze) > _MOST_PARTS else ""
            page.line(f"Had it gone on, at 0 °C: {parts}{rest}.", indent=2)
            frozen = sorted((h, part) for part, h in cut.until_frozen_h.items() if h is not None)
            if frozen:
                parts = ", ".join(f"{part} after {hours(h)}" for h, part in frozen[:_FIRST_FROZEN])
                page.line(f"With a tenth of their water ice, at the soonest: {parts}.", indent=2)
        else:
            page.line("Had it gone on, no part would have been at 0 °C within ten days.", indent=2)
    if rooms:
        warmed = f"In a cut that was run the water warms {listed(list(rooms))} as it cools"
        page.line(f"{warmed}; the hours under Frost leave that out and are fewer.", indent=2)
