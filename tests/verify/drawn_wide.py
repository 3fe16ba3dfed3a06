"""Plants drawn at random with more about them: own water, collectors, circuits, blowers, loads of the room.

Each is a plant of `drawn`, which stays as it was, with parts of its text replaced; what is added is drawn
apart, so that the same seed gives the same file.
"""

from __future__ import annotations

import re
from random import Random

from tests.verify.drawn import Drawn, clock, maybe, moment

SUN_LEGS = "    {}: {{bore: 20 mm, length: 4 m, zone: room}}\n"
PANELS = (
    "    panels: {{kind: solar, summer_peak: 3 kW, winter_peak: 2 kW, drop: 1 m at 8 L/min, volume: 6 L, "
    "needs_flow: 2 L/min, {where}loses: 9 W/K, holds: 24 kJ/K, steered: {{{steered}}}}}\n"
)
BEHIND_PLATES = (
    "zone: room, own_water: {circulator: glycol_pump, exchanger: {ua: 200 W/K}, volume: 10 L, "
    "in_source: 6 L, glycol: 40 %, zone: outdoors}, "
)
VALVE = (
    "    sun_valve: {{drop: 0.5 m at 300 L/min, ways: [by_sun, past_sun], usual: past{left}, "
    "opens: {{to_sun: [by_sun, past_sun], past: [past_sun]}}}}\n"
)
BLOWER = (
    "  air: {{blower: {{power: 700 W, current: 3.3 A{starts}, "
    "curve: [[0 L/min, 20 kPa], [600 L/min, 14 kPa], [1200 L/min, 6 kPa]], "
    "pipe: 50 PN10, length: 8 m, outlets_below_water: 650 mm, injectors: 16, "
    "each: 45 L/min at 2.5 kPa, wet_length: 2.5 m, zone: room, air_from: room{also}}}}}\n"
)
CELLAR = "cellar: {follows: weather, loses: 12 W/K, stores: 400 kJ/K}"
LOADS = {
    "room_heater": "heater: {zone: cellar, power: 500 W, starts_below: 8 degC, stops_above: 10 degC}",
    "room_fan": "fan: {zone: cellar, power: 30 W, starts_above: 24 degC, stops_below: 22 degC, loses: 9 W/K}",
    "sump_pump": "sump_pump: {power: 400 W, float: true, lifts: 100 L/min, inflow: 40 L/h, holds: 200 L}",
}


class Wide(Drawn):
    """One plant; `text` is its file, `has` names what it has of all that is added here."""

    def __init__(self, seed: int) -> None:
        super().__init__(seed)
        self.draws = draws = Random(f"{seed}, wide")
        self.has = {
            name
            for name, chance in [("own water", 0.6), ("blower", 0.3), ("room", 0.2), ("circuits", 0.5)]
            if draws.random() < chance
        }
        self.sun = draws.choice(["", "", "pump", "valve", "plates"])
        if not self.has and not self.sun:
            self.has.add("own water")
        self.behind = draws.choice(self.sources) if "own water" in self.has else ""
        """The source with water of its own behind plates."""
        self.loads = draws.sample(sorted(LOADS), draws.randint(1, 3)) if "room" in self.has else []
        self.things = [*self.pumps, *self.sources, *self.loads, *(["cell"] if self.treated else [])]
        """All that hangs on some circuit."""
        self.things += ["own_pump"] if self.behind else []
        self.things += ["blower"] if "blower" in self.has else []
        self.things += {"pump": ["sun_pump"], "plates": ["sun_pump", "glycol_pump"]}.get(self.sun, [])

    @property
    def text(self) -> str:
        """The whole file."""
        text = super().text
        if "interlocks:\n" not in text:
            text += "interlocks:\n"
        for change in (self.with_own_water, self.with_sun, self.with_air, self.with_loads, self.on_circuits):
            text = change(text)
        return text.removesuffix("interlocks:\n")

    def put(self, text: str, before: str, *lines: str) -> str:
        """The text with lines put in before a line that it has once."""
        assert 1 == text.count(before), before
        return text.replace(before, "".join(lines) + before)

    def started(self, source: str = "") -> str:
        """What else starts a pump that is added, now and then."""
        left = self.draws.choice(["hand", "off"])
        ways = [
            f"clock: {{start: {clock(self.draws)}, lasts: 2 h}}",
            f"hand_switch: [{{from: {moment(self.draws)}, lasts: 9 h, to: {left}}}]",
        ]
        ways += [f"contact_of: {source}{maybe(self.draws, 0.5, ', lasting: 2 min')}"] if source else []
        return maybe(self.draws, 0.25, f", also_started_by: [{{{self.draws.choice(ways)}}}]")

    def circulators(self, text: str, name: str, flow: str, source: str = "") -> str:
        """The text with one more circulator."""
        row = f"    {name}: {{flow: {flow}, power: 45 W{self.started(source)}}}\n"
        if "  circulators:\n" in text:
            return text.replace("  circulators:\n", f"  circulators:\n{row}")
        return self.put(text, "  equipment:", "  circulators:\n", row)

    def with_own_water(self, text: str) -> str:
        """A source behind plates, its circulator watched by a block, a keep, a switch, or by nothing."""
        if not self.behind:
            return text
        draws, name = self.draws, self.behind
        switch = maybe(draws, 0.3, ", flow_switch: true")
        circuit = (
            "own_water: {circulator: own_pump, exchanger: {ua: 1.2 kW/K}, volume: 12 L, in_source: 3 L"
            f"{switch}, thermostat: {{starts_below: 55 degC, stops_above: 65 degC}}}}"
        )
        row = next(line for line in text.splitlines() if line.startswith(f"    {name}: {{kind: "))
        hot = re.sub("high_limit: .. degC", "high_limit: 80 degC", row.removesuffix("}"))
        hot = hot.replace("temperature_rise", "flow_switch")  # which cannot be seen behind plates
        text = text.replace(row, f"{hot}, {circuit}}}")
        text = self.circulators(text, "own_pump", "15 L/min", name)
        kept = re.search(rf"after: {name}, lasting: (\d+ s)", text)
        lasts = kept[1] if kept else f"{draws.choice([10, 60])} s"
        text += maybe(draws, 0.6, f"  - {{block: {name}, while: own_pump stopped}}\n")
        return text + maybe(draws, 0.5, f"  - {{keep: own_pump, after: {name}, lasting: {lasts}}}\n")

    def with_sun(self, text: str) -> str:
        """Collectors that a pump or a motor valve lets the water through, or plates."""
        if not self.sun:
            return text
        draws = self.draws
        steered = "valve: sun_valve to_sun" if self.sun == "valve" else "pump: sun_pump"
        steered += f", on_at: {draws.choice([4, 6])} K, off_at: 0.5 K"
        steered += maybe(draws, 0.7, f", high_stop: {draws.choice([37, 40])} degC")
        steered += maybe(draws, 0.3, ", not_above: 60 degC")
        where = BEHIND_PLATES if self.sun == "plates" else "zone: outdoors, "
        text = self.put(text, "  network:\n", "")
        text = text.replace(
            "  heat_sources:\n", "  heat_sources:\n" + PANELS.format(where=where, steered=steered)
        )
        if self.sun == "valve":
            way = "{parallel: [[by_sun, panels], past_sun]}, "
            text = text.replace("return, tub]", f"{way}return, tub]", 1)
            left = maybe(draws, 0.4, ", may_be: [to_sun]")
            return self.put(text, "  network:\n", "  diverters:\n", VALVE.format(left=left))
        also = self.started()
        pump = f"    sun_pump: {{max_head: 3 m, max_flow: 20 L/min, power: 30 W{also}}}\n"
        text = text.replace(
            "  pumps:\n", "".join(map(SUN_LEGS.format, ("sun_out", "sun_back"))) + f"  pumps:\n{pump}"
        )
        text = text.replace(
            "  network:\n", "  network:\n    - [tub, sun_out, sun_pump, panels, sun_back, tub]\n"
        )
        if self.sun == "plates":
            text = self.circulators(text, "glycol_pump", "2 L/min")
        return text + maybe(draws, 0.3, "  - {block: sun_pump, while: main running}\n")

    def with_air(self, text: str) -> str:
        """A blower that sessions ask for, that flushes its lines, or that something else starts."""
        if "blower" not in self.has:
            return text
        draws = self.draws
        starts = maybe(draws, 0.7, ", starting_current: 15 A")
        text = self.put(text, "  network:\n", BLOWER.format(starts=starts, also=self.started()))
        if draws.random() < 0.6:
            text = text.replace("people: 2", "people: 2, air: true, air_at_most: 5 min")
        flush = f"  air_line_flushes: [{{start: {clock(draws)}, lasts: 30 s}}]\n"
        text = text.replace("schedule:\n", f"schedule:\n{maybe(draws, 0.5, flush)}")
        return text + maybe(
            draws, 0.3, f"  - {{block: {draws.choice(self.sources)}, while: blower running}}\n"
        )

    def with_loads(self, text: str) -> str:
        """What the room itself draws power for."""
        if not self.loads:
            return text
        text = text.replace("zones: {", f"zones: {{{CELLAR}, ")
        rooms = ", ".join(LOADS[name] for name in self.loads)
        return self.put(text, "  legs:\n", f"  pump_room: {{{rooms}}}\n")

    def on_circuits(self, text: str) -> str:
        """Two or three circuits, one of which may lose its power alone; and motors that start with more."""
        draws = self.draws
        text = text.replace(
            "current: 7 A}", "current: 7 A" + maybe(draws, 0.5, ", starting_current: 28 A") + "}"
        )
        if "circuits" not in self.has:
            return text
        feeds: dict[str, list[str]] = {}
        for thing in self.things:
            feeds.setdefault(draws.choice(["wet", "hot", "rest"]), []).append(thing)
        rcd = maybe(draws, 0.4, ", rcd: cellar")
        rows = [
            f"{name}: {{breaker: {draws.choice([10, 16, 25])} A, feeds: [{', '.join(things)}]{rcd}}}"
            for name, things in feeds.items()
        ]
        text = re.sub("breaker: .. A, tariff", f"circuits: {{{', '.join(rows)}}}, tariff", text)
        if draws.random() > 0.7:
            return text
        lasts, circuit = draws.choice([2, 30, 400]), draws.choice(list(feeds))
        cut = f"{{from: {moment(draws)}, lasts: {lasts} min, circuit: {circuit}}}"
        if "outages: [" in text:
            return text.replace("outages: [", f"outages: [{cut}, ")
        return text.replace("schedule:\n", f"schedule:\n  outages: [{cut}]\n")
