"""What each element of a plant is on the sheet: its symbol, its label, and all that is known of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from cyclesim.analysis.amounts import listed
from cyclesim.analysis.metrics import LegMetrics
from cyclesim.said.drawing.apart import ring, trench
from cyclesim.said.drawing.beside import along, at_symbol, box_of, even, label_beside
from cyclesim.said.drawing.joined import Tee
from cyclesim.said.drawing.pieces import GRID, DrawnPart
from cyclesim.said.drawing.shapes import (
    ROW_PX,
    Band,
    Line,
    LineKind,
    Point,
    Symbol,
    SymbolKind,
    Way,
    label_width,
)
from cyclesim.said.words import NEVER_MOVES, number
from cyclesim.scenario.blocks.plant import Leg
from cyclesim.scenario.blocks.treatment import KINDS as TREATMENTS
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.jets import last_stretch
from cyclesim.units import METRIC, format_quantity, unit_for, value_for

_LONGEST_PX, _SHORTEST_PX = 192, 24
_MOST_WIDE = 12  # jets; more of them stand closer


@dataclass(frozen=True)
class Elements:
    """The elements of a plant; *ages* by leg, last stretch or housing, None where no run is told.

    *us*: quantities in US units.
    """

    plant: Assembly
    ages: Mapping[str, LegMetrics] | None = None
    us: bool = False
    findings: Mapping[str, Sequence[int]] = field(default_factory=dict)

    def piece(self, name: str | Tee, way: Way) -> DrawnPart:
        """One element with its label above, or to the right where water flows north."""
        if isinstance(name, Tee):
            return at_symbol(Symbol("tee", Point(0, 0), way, name.name), (name.name,), way)
        sheet = self.plant.sheet
        if name in sheet.legs:
            return self._leg(name, way)
        source = sheet.heat_sources.get(name)
        if source is not None and source.own_water is not None:
            return self._behind_plates(name, source.own_water.circulator, way)
        lines, aged = (name, *self._facts(name)), name in self.plant.housings
        band = self.band(name)
        if aged and band:
            lines = (*lines, self._age(name))
        symbol = Symbol(self._kind(name), Point(0, 0), way, name, self._is_shut(name), band)
        return at_symbol(symbol, lines, way, age=bool(aged and band))

    def band(self, name: str) -> Band:
        """How old the water of a leg, last stretch or housing gets."""
        if self.ages is None or name not in self.ages:
            return ""
        oldest, limit = self.ages[name].oldest_water_h, self.limit_h
        if oldest is None:
            return "never"
        return "over" if oldest > limit else "older" if oldest > limit / 2 else "young"

    @property
    def limit_h(self) -> float:
        """The oldest that water may get."""
        return self.plant.scenario.limits.water_age_s / 3600.0

    def key(self) -> tuple[tuple[Band, str], ...]:
        """What the bands mean."""
        if self.ages is None:
            return ()
        half, limit = f"{self.limit_h / 2:g}", f"{self.limit_h:g}"
        return (
            ("young", f"oldest water up to {half} h"),
            ("older", f"up to the limit of {limit} h"),
            ("over", f"over {limit} h"),
            ("never", NEVER_MOVES),
        )

    def told(self) -> dict[str, str]:
        """A sentence for each element."""
        sheet = self.plant.sheet
        names = [*sheet.legs, *sheet.pumps, *sheet.equipment, *sheet.heat_sources, *sheet.valves]
        names += [way for diverter in sheet.diverters.values() for way in diverter.ways]
        names += [*sheet.check_valves, *sheet.air, *sheet.circulators]
        told = {name: f"{name}: {', '.join(self._everything(name))}." for name in names}
        for name, one in sheet.trenches.items():
            told[f"trenches.{name}"] = (
                f"trench {name}: {listed(list(one.legs))} in this order, {self._trench(name)}."
            )
        return told

    def dead_end(self, name: str) -> DrawnPart:
        """A leg that is capped, apart from all else."""
        piece = self._leg(name, "east")
        piece.symbols.append(Symbol("cap", piece.outlets[0], "east", name))
        return piece

    def blower(self, name: str) -> DrawnPart:
        """A blower, whose air goes west."""
        return at_symbol(Symbol("blower", Point(0, 0), "west", name), (name, *self._facts(name)), "west")

    def _behind_plates(self, name: str, circulator: str, way: Way) -> DrawnPart:
        """The plates of a heat source on the way of the tub's water, and the source in a ring of its own."""
        band = self.band(name)
        volume = self.quantity(self.plant.sheet.heat_sources[name].volume_m3, "volume")
        plates = ("plates", volume, *([self._age(name)] if band else []))
        lines = (name, *self._facts(name))
        return ring(
            (Symbol("plates", Point(0, 0), way, name, band=band), plates),
            (Symbol("pump", Point(0, 0), "east", circulator), (circulator, *self._facts(circulator))),
            (Symbol(self._kind(name), Point(0, 0), "east", name), lines),
            way,
            age=bool(band),
        )

    def trench(self, name: str) -> DrawnPart:
        """A trench, cut across."""
        said = self._trench(name)
        return trench(f"trenches.{name}", (f"trench {name}", said), self.plant.sheet.trenches[name].legs)

    def _trench(self, name: str) -> str:
        """How deep a trench is, and how its legs lie in it."""
        one, sheet = self.plant.sheet.trenches[name], self.plant.sheet
        depth_m = self.plant.scenario.place.zones[sheet.legs[one.legs[0]].zone].depth_m or 0.0
        length = f", {self.quantity(one.stated_length_m, 'length')} long" if one.stated_length_m else ""
        return (
            f"{self.quantity(depth_m, 'length')} deep{length}; "
            f"{self.quantity(one.spacing_m, 'length')} from axis to axis"
        )

    # -- legs --------------------------------------------------------------------------------------------

    @cached_property
    def _px_per_m(self) -> float:
        longest = max((leg.length_m for leg in self.plant.sheet.legs.values()), default=1.0)
        return _LONGEST_PX / longest

    def _leg(self, name: str, way: Way) -> DrawnPart:
        leg = self.plant.sheet.legs[name]
        pipe = 2 * GRID * max(_SHORTEST_PX // (2 * GRID), round(leg.length_m * self._px_per_m / (2 * GRID)))
        jets, apart = self._jets(leg)
        bar = apart * max(0, jets - 1)
        lines, band = (name, *self._facts(name)), self.band(name)
        if band:
            lines = (*lines, self._age(name))
        wide, high = label_width(lines), ROW_PX * len(lines)
        beside = wide + GRID if way != "north" else high + GRID
        long = even(max(pipe + bar + 2 * GRID, beside))
        px = 2 + round(100.0 * leg.bore_m)
        spots = [(long - pipe - bar) // 2 // GRID * GRID]
        spots += [spots[0] + pipe, spots[0] + pipe + bar]
        at = [along(way, spot) for spot in (0, *spots, long)]
        after: LineKind = "spray" if jets else "joint"
        made = [Line((at[0], at[1])), Line((at[1], at[2]), "pipe", name, px, band)]
        made.append(Line((at[3], at[4]), after))
        last = self.band(last_stretch(name)) or band
        if bar:
            made.append(Line((at[2], at[3]), "jets", name, max(3, px // 2), last))
        symbols = []
        for k in range(jets):
            spot = along(way, spots[1] + k * apart)
            off = px // 4 + 6
            spot = Point(spot.x - off, spot.y) if way == "north" else Point(spot.x, spot.y + off)
            symbols.append(
                Symbol("last jet" if k == jets - 1 else "jet", spot, way, name, band=last if bar else "")
            )
        half = max((px + 1) // 2, px // 4 + 12 if jets else 0)
        label = label_beside(lines, name, way, long, (px + 1) // 2, age=bool(band), band=self._worst(name))
        box = box_of(way, long, half, label.box)
        return DrawnPart([at[0]], [at[-1]], box, made, symbols, [label])

    def _worst(self, name: str) -> Band:
        order: tuple[Band, ...] = ("", "young", "older", "over", "never")
        return max(self.band(name), self.band(last_stretch(name)), key=order.index)

    def _jets(self, leg: Leg) -> tuple[int, int]:
        """How many, and how far apart on the sheet."""
        if leg.manifold is None:
            return 0, 0
        n = leg.manifold.jets
        return n, 2 * GRID if n <= _MOST_WIDE else GRID

    # -- words -------------------------------------------------------------------------------------------

    def _facts(self, name: str) -> Iterator[str]:
        """What stands below a name."""
        sheet = self.plant.sheet
        if name in sheet.legs:
            leg = sheet.legs[name]
            facts = [self.quantity(leg.length_m, "length"), self._size(leg)]
            if leg.manifold:
                facts.append("1 jet" if leg.manifold.jets == 1 else f"{leg.manifold.jets} jets")
            yield ", ".join(facts)
            if leg.dead_end:
                yield "dead end, capped"
            yield from (f"in trench {trench}" for trench, one in sheet.trenches.items() if name in one.legs)
        elif name in sheet.pumps:
            powers = [self._power(speed.power_w) for speed in sheet.pumps[name].speeds.values()]
            yield "pump, " + " or ".join(powers)
            if sheet.pumps[name].check_valve:
                yield "with a check valve"
        elif name in sheet.equipment:
            thing = sheet.equipment[name]
            kind = "" if thing.kind in (name, "other") else f"{thing.kind}, "
            yield f"{kind}{self.quantity(thing.volume_m3, 'volume')}"
        elif name in sheet.heat_sources:
            source = sheet.heat_sources[name]
            kind = source.kind.replace("_", " ")
            yield f"{kind}, {self.quantity(source.output_w, 'power')}"
            if name in self.plant.steered:
                steered = self.plant.steered[name]
                yield f"let in by {steered.valve or steered.pump}"
            if source.own_water is not None:
                glycol = f", {100.0 * source.own_water.glycol:g} % glycol" if source.own_water.glycol else ""
                volume = self.quantity(source.own_water.volume_m3, "volume")
                yield f"own water, {volume}{glycol}"
        elif name in sheet.valves:
            yield f"valve, usually {sheet.valves[name].usual}"
        elif name in self._diverter_of:
            diverter = self._diverter_of[name]
            shut = "shut" if self._is_shut(name) else "open"
            motors = [s.valve.valve for s in self.plant.steered.values() if s.valve]
            by = ", moved by its motor" if diverter in motors else ""
            yield f"way of {diverter}{by}, usually {shut}"
        elif name in sheet.check_valves:
            yield "check valve"
        elif name in sheet.air:
            yield f"blower, {self._power(sheet.air[name].power_w)}"
        elif name in sheet.circulators:
            yield f"circulator, {self._power(sheet.circulators[name].power_w)}"
        for device, treatment in sheet.treatment.items():
            if treatment.in_ == name:
                yield f"{device} ({TREATMENTS[treatment.kind]}) treats here"
        here = [name, *(device for device, treatment in sheet.treatment.items() if treatment.in_ == name)]
        numbers = sorted({number for one in here for number in self.findings.get(one, ())})
        if numbers:
            yield f"finding{'s' * (len(numbers) > 1)} {listed(list(map(str, numbers)))}"

    def _everything(self, name: str) -> Iterator[str]:
        """All that is known of an element."""
        leg = self.plant.sheet.legs.get(name)
        if leg is not None:
            yield "leg"
        yield from self._facts(name)
        for source, one in self.plant.sheet.heat_sources.items():
            if one.own_water is not None and source == name:
                yield "behind plates"
            elif one.own_water is not None and one.own_water.circulator == name:
                yield f"turns the own water of {source}"
        if leg is not None:
            yield f"{self.quantity(self.plant.leg_volume_m3(name), 'volume')} in it"
        if name in self.plant.pumps:
            return
        if self.band(name):
            yield f"{self._age(name)} (limit {self.limit_h:g} h)"

    def quantity(self, value: float, kind: str) -> str:
        """A value in SI in the reader's units, to three digits, or whole where it has more."""
        text, unit = format_quantity(value, kind).split(" ", 1)
        amount = value_for(float(text), unit) if self.us and unit in METRIC else float(text)
        told = f"{amount:,.0f}" if amount >= 1000.0 else f"{float(f'{amount:.3g}'):g}"
        return f"{told} {unit_for(unit, self.us)}"

    def _power(self, power_w: float) -> str:
        """What a pump or blower draws, which US data sheets tell in horsepower."""
        if not self.us:
            return self.quantity(power_w, "power")
        return f"{value_for(power_w, 'W of pump'):.2g} hp"

    def _size(self, leg: Leg) -> str:
        return leg.pipe.name if leg.pipe else f"bore {self.quantity(leg.bore_m, 'length')}"

    def _age(self, name: str) -> str:
        """The number by which a leg is coloured, and that of its last jet."""
        text, last = self._hours(name, "oldest "), last_stretch(name)
        if self.ages is not None and last in self.ages:
            text += f", last jet {self._hours(last)}"
        return text

    def _hours(self, name: str, before: str = "") -> str:
        oldest = (self.ages or {})[name].oldest_water_h
        if oldest is None:
            return NEVER_MOVES
        return f"{before}{number(oldest)} h{' !' if oldest > self.limit_h else ''}"

    @cached_property
    def _diverter_of(self) -> dict[str, str]:
        return {way: name for name, one in self.plant.sheet.diverters.items() for way in one.ways}

    def _is_shut(self, name: str) -> bool:
        sheet = self.plant.sheet
        if name in self._diverter_of:
            diverter = sheet.diverters[self._diverter_of[name]]
            return name not in diverter.opens[diverter.usual]
        return name in sheet.valves and sheet.valves[name].usual == "shut"

    def _kind(self, name: str) -> SymbolKind:
        sheet = self.plant.sheet
        if name in sheet.pumps:
            return "pump"
        if name in sheet.equipment:
            kind = sheet.equipment[name].kind
            return "vessel" if kind == "other" else kind
        if name in sheet.heat_sources:
            return "electric" if sheet.heat_sources[name].kind == "electric" else "exchanger"
        return "check valve" if name in sheet.check_valves else "valve"
