"""Plants drawn at random: one to three pumps, one to three heat sources, wired well or badly.

Each is a whole file of text, so that what is drawn passes through everything a user's file passes. The same
seed gives the same file.
"""

from __future__ import annotations

from random import Random

DAYS = 60
STORES_L = (50, 120, 300, 800, 1500, 3000)
PROOFS = (
    "flow_switch", "flow_switch", "flow_switch",
    "pressure_switch", "pump_contact", "temperature_rise", "none",
)  # fmt: skip


def clock(random: Random, step_min: int = 5) -> str:
    """A clock time on a grid."""
    minutes = random.randrange(0, 1440, step_min)
    return f'"{minutes // 60:02d}:{minutes % 60:02d}"'


def moment(random: Random) -> str:
    """A date in the two months that are run, and a clock time."""
    return f"2027-{random.randint(1, 2):02d}-{random.randint(2, 26):02d} {random.randint(0, 23):02d}:30"


def maybe(random: Random, chance: float, text: str) -> str:
    """*text* with a chance, else nothing."""
    return text if random.random() < chance else ""


class Drawn:
    """One plant, part by part; `text` is its file."""

    STORED = 0.15
    """The chance that a source is a store of warm water; a share that keeps the quick tests quick."""

    def __init__(self, seed: int) -> None:
        self.random = random = Random(seed)
        self.pumps = ["main", "jets", "aux"][: random.choice([1, 1, 1, 2, 2, 3])]
        self.two_speeds = {name: random.random() < (0.6 if name == "main" else 0.2) for name in self.pumps}
        self.sources = ["element", "boiler", "second"][: random.choice([1, 1, 2, 2, 3])]
        self.with_stop = random.random() < 0.7
        self.may_shut = self.with_stop and random.random() < 0.6
        self.treated = random.random() < 0.4
        self.apart = Random(f"{seed}, several pumps")
        """Draws of its own, so that all else is drawn as it was before one entry could run several."""
        stored = Random(f"{seed}, stores")
        self.stores = {
            name: stored.choice(STORES_L) for name in self.sources if stored.random() < self.STORED
        }
        """Sources whose body is a store of warm water: how much is in it [L]."""
        self.reads = {
            what: stored.choice(sorted(self.stores))
            for what in ("frost", "own", "heating")
            if self.stores and stored.random() < 0.5
        }
        """What watches a store: frost protection, a device's own thermostat, the heating's sensor."""

    def several(self, first: str, *, run: bool) -> str:
        """That pump, or others with it: at once, one soon after the other, or in turn in a *run*."""
        others = [name for name in self.pumps if name != first.split()[0]]
        if not others or self.apart.random() < 0.4:
            return f"pump: {first}"
        others = [f"{name} low" if self.two_speeds[name] else name for name in others]
        how = self.apart.choice(["", ", stagger: 5 s", ", in_turn: true" if run else ", stagger: 3 min"])
        return f"pumps: [{', '.join([first, *others[: self.apart.choice([1, 2])]])}]{how}"

    def at(self, pump: str, *, lowest: bool = False) -> str:
        """A pump and one of its speeds."""
        if not self.two_speeds[pump]:
            return pump
        return f"{pump} {'low' if lowest else self.random.choice(['low', 'high'])}"

    def sensor(self) -> str:
        """Where the heating's sensor sits, if in a store."""
        store = self.reads.get("heating")
        return f", sensor: {{in: {store}, every: 2 h, for: 3 min}}" if store else ""

    def pump_text(self, name: str) -> str:
        """A pump's sheet."""
        random = self.random
        small, large = (
            "max_head: 5 m, max_flow: 300 L/min, power: 300 W",
            ("max_head: 15 m, max_flow: 550 L/min, power: 1500 W"),
        )
        lines = [f"    {name}:"]
        if self.two_speeds[name]:
            lines += [f"      low: {{{small}, current: 1.5 A}}", f"      high: {{{large}, current: 7 A}}"]
            lines += [f"      changeover: {random.choice([1, 2, 5])} s"]
        else:
            lines += [f"      {part}" for part in random.choice([small, large]).split(", ")]
        lines += [f"      rest: {random.choice([0, 30, 75])} s"]
        if random.random() < 0.3:
            lines += [f"      coasts: {random.choice([0, 1, 3, 6])} s"]
        if random.random() < 0.2:
            lines += ["      opens_within: 1 s"]
        if len(self.pumps) > 1 and name != "aux" and random.random() < 0.85:
            lines += ["      check_valve: true"]
        if started := self.starter(0.2, pump=name):
            lines += [f"      {started}"]
        return "\n".join(lines)

    def starter(self, chance: float, *, pump: str = "") -> str:
        """A contact beside the controller's, now and then."""
        random = self.random
        if random.random() > chance:
            return ""
        speed = f"speed: {random.choice(['low', 'high'])}, " if pump and self.two_speeds[pump] else ""
        left = random.choice(["hand", '"off"'])
        ways = [
            f"thermostat: {{watches: {self.reads.get('own', 'room')}, "
            "starts_below: 9 degC, stops_above: 11 degC}",
            f"clock: {{start: {clock(random)}, lasts: {random.choice([1, 3])} h}}",
            f"hand_switch: [{{from: {moment(random)}, lasts: {random.choice([1, 9])} h, to: {left}}}]",
        ]
        if pump:
            source = random.choice(self.sources)
            every = maybe(random, 0.3, ", every: 2 h, for: 3 min")
            ways += [f"contact_of: {source}{every}{maybe(random, 0.5, ', lasting: 2 min')}"] * 2
        return f"also_started_by: [{{{speed}{random.choice(ways)}}}]"

    def source_text(self, name: str) -> str:
        """A heat source's sheet."""
        random = self.random
        kind = "kind: electric, output: 3 kW"
        if name == "boiler":
            kind = "kind: boiler, output: 12 kW, efficiency: 90 %, fuel: 0.1 EUR/kWh, power: 60 W"
            kind += maybe(random, 0.5, f", minimum_burn: {random.choice([1, 3])} min")
        parts = [kind, "drop: 0.3 m at 400 L/min", f"volume: {self.stores.get(name, 2)} L"]
        parts += [f"needs_flow: {random.choice([20, 60, 60, 150])} L/min"]
        parts += [f"proof: {{by: {random.choice(PROOFS)}}}", "zone: room"]
        if random.random() < 0.6:
            parts += [f"high_limit: {random.choice([45, 60])} degC"]
            parts += [f"limit_sensor: {random.choice(['own', 'own', 'thermostat'])}"]
        if random.random() < 0.2:
            parts += [f"own_flow_switch: {random.choice([0, 3, 6])} s"]
        if random.random() < 0.2:
            parts += ["opens_within: 1 s"]
        if random.random() < 0.3:
            parts += [f"rest: {random.choice([30, 120])} s"]
        if started := self.starter(0.2):
            parts += [started]
        return f"    {name}: {{{', '.join(parts)}}}"

    def network(self) -> str:
        """Where water goes: one loop, two pumps on a tee, a loop of its own for the third."""
        split = self.random.randint(1, len(self.sources)) if len(self.pumps) == 3 else len(self.sources)
        first, last = ", ".join(self.sources[:split]), "".join(f"{n}, " for n in self.sources[split:])
        stop = "stop, " if self.with_stop else ""
        if len(self.pumps) == 1:
            rows = [f"[tub, suction, main, filter, {first}, {stop}return, tub]"]
        else:
            rows = [
                "[tub, suction, tee]",
                f"[tee, main, filter, {first}, {stop}return, tub]",
                "[tee, jets, seats, tub]",
            ]
        if len(self.pumps) == 3:
            rows += [f"[tub, own_suction, aux, {last}own_return, tub]"]
        return "".join(f"    - {row}\n" for row in rows)

    def schedule(self) -> str:
        """What is asked for, and what happens to the plant."""
        random = self.random
        lines = []
        runs = []
        for pump in self.pumps:
            if pump == "main" or random.random() < 0.4:
                days = random.choice(
                    ["", "", "", ", days: [monday, thursday]", ', repeats: "FREQ=MONTHLY;BYMONTHDAY=17"']
                )
                runs += [
                    f"{{pump: {self.at(pump, lowest=random.random() < 0.7)}, start: [{clock(random)}], "
                    f"lasts: {random.choice([20, 120, 240])} min{days}}}"
                ]
        lines += ["filter_runs: [" + ", ".join(runs) + "]"]
        if random.random() < 0.7:
            lines += [
                f"line_flushes: [{{{self.several(self.at(random.choice(self.pumps)), run=True)}, "
                f"start: [{clock(random)}], "
                f"lasts: {random.choice([15, 40, 90])} s}}]"
            ]
        heats = random.sample(self.sources, random.randint(1, len(self.sources)))
        served = "aux" if len(self.pumps) == 3 and random.random() < 0.2 else "main"
        lines += [
            f"heating: {{with: [{', '.join(heats)}], pump: {self.at(served, lowest=random.random() < 0.8)}, "
            f"keep_at: {random.choice([30, 36])} degC, within: 1 K{self.sensor()}}}"
        ]
        if random.random() < 0.4:
            lines += [
                f"frost_protection: {{watches: {self.reads.get('frost', 'room')}, starts_below: 8 degC, "
                "stops_above: 10 degC, "
                f"pump: {self.at(random.choice(self.pumps))}}}"
            ]
        if random.random() < 0.5:
            with_pump = random.random() < 0.7
            pump = f", {self.several(self.at(random.choice(self.pumps)), run=False)}" if with_pump else ""
            timed = ", jets_at_most: 10 min, presses: 2" if with_pump and random.random() < 0.5 else ""
            lines += [
                f"bathing: [{{days: [tuesday, saturday], start: {clock(random)}, lasts: 45 min, people: 2"
                f"{pump}{timed}}}]"
            ]
        if random.random() < 0.4:
            lines += [f"outages: [{{from: {moment(random)}, lasts: {random.choice([1, 30, 300])} min}}]"]
        if self.may_shut and random.random() < 0.7:
            lines += [
                f"valves_turned: [{{valve: stop, from: {moment(random)}, lasts: {random.choice([1, 30])} h, "
                "to: shut}]"
            ]
        if random.random() < 0.15:
            lines += [f"low_water: [{{from: {moment(random)}, lasts: 5 h}}]"]
        return "".join(f"  {line}\n" for line in lines)

    def interlocks(self) -> str:
        """Blocks and keeps, present or not."""
        random, lines = self.random, []
        for name in self.sources:
            if random.random() < 0.75:
                lines += [f"{{block: {name}, unless: flow proven, for: {random.choice([2, 5, 10])} s}}"]
            if self.two_speeds["main"] and random.random() < 0.3:
                lines += [f"{{block: {name}, while: main high}}"]
            if random.random() < 0.7:
                kept = self.at("main", lowest=True)
                lines += [f"{{keep: {kept}, after: {name}, lasting: {random.choice([10, 60, 120])} s}}"]
        if len(self.pumps) > 1 and random.random() < 0.3:
            lines += [f"{{block: {self.at('jets')}, while: main running}}"]
        if len(self.sources) > 1 and random.random() < 0.3:
            lines += [f"{{block: {self.sources[1]}, while: {self.sources[0]} firing}}"]
        if self.treated and random.random() < 0.6:
            lines += ["{block: cell, unless: flow proven, for: 5 s}"]
        return "".join(f"  - {line}\n" for line in lines)

    @property
    def text(self) -> str:
        """The whole file."""
        random = self.random
        legs = ["suction", "return"]
        legs += ["seats"] if len(self.pumps) > 1 else []
        legs += ["own_suction", "own_return"] if len(self.pumps) == 3 else []
        leg = "    {}: {{pipe: 63 PN10, length: {} m, zone: soil}}"
        stop = ", may_be: shut" if self.may_shut else ""
        valves = f"  valves: {{stop: {{drop: 0.1 m at 300 L/min, usual: open{stop}}}}}\n"
        treatment = ""
        if self.treated:
            when = random.choice(["with: main", f"runs: [{{start: {clock(random)}, lasts: 6 h}}]"])
            treatment = (
                f"  treatment: {{cell: {{kind: {random.choice(['salt_cell', 'uv', 'ozone', 'dosing'])}, "
                f"in: filter, needs_flow: 60 L/min, proof: {{by: {random.choice(PROOFS[:5])}}}, power: 90 W, "
                f"{when}}}}}\n"
            )
        after = random.choice(["resume", "resume", "midnight", "wait"])
        controller = maybe(random, 0.5, f"controller: {{after_power_cut: {after}, person_within: 5 h}}\n")
        interlocks = self.interlocks()
        region = maybe(random, 0.2, ", region: north_america")
        return "".join(
            [
                "format: 1\ntitle: drawn\nplace:\n  year: 2027\n  time_zone: Europe/Lisbon\n",
                "  weather: {mean: 12 degC, seasonal_swing: 8 K, daily_swing: 4 K, "
                "coldest_day: 20 January}\n",
                "  zones: {room: {follows: weather, above_by: 2 K}, soil: {depth: 600 mm}}\n",
                f"supply: {{voltage: 230 V, breaker: {random.choice([10, 16, 20, 32])} A, "
                f"tariff: 0.20 EUR/kWh{region}}}\n",
                "plant:\n  tub:\n    water: 1500 L\n    surface: 3 m2\n    cover: {foam: 60 mm, fit: good}\n",
                "    shell: {wall: 120 mm, of: concrete, insulation: 50 mm, area: 7 m2, zone: soil}\n",
                "  legs:\n",
                "".join(leg.format(name, random.choice([4, 8, 15])) + "\n" for name in legs),
                "  pumps:\n",
                "".join(self.pump_text(name) + "\n" for name in self.pumps),
                "  equipment: {filter: {kind: filter, drop: 1 m at 400 L/min, volume: 14 L, zone: room}}\n",
                "  heat_sources:\n",
                "".join(self.source_text(name) + "\n" for name in self.sources),
                treatment,
                valves if self.with_stop else "",
                "  junctions: [tee]\n" if len(self.pumps) > 1 else "",
                "  network:\n",
                self.network(),
                controller,
                "schedule:\n",
                self.schedule(),
                f"interlocks:\n{interlocks}" if interlocks else "",
            ]
        )
