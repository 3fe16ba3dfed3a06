"""What each view is sent: what is said, in its reader's units, as JSON; no number is worked out here."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path, PurePath
from typing import Any

from cyclesim.analysis.pumped import duties_of
from cyclesim.errors import CycleSimError, Fault, InputError
from cyclesim.physics.water_age import STILL_M3_S
from cyclesim.said.drawing import drawing
from cyclesim.said.fields import Field, fields
from cyclesim.said.page import Block, Page
from cyclesim.scenario.blocks.bathing import Bathing
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.schedule import DEMANDS, Run
from cyclesim.scenario.forms.fields import DAYS
from cyclesim.scenario.reading.defaults import filled_in
from cyclesim.scenario.reading.load import load, written
from cyclesim.scenario.reading.rewrite import as_listed
from cyclesim.scenario.text.tree import Tree
from cyclesim.shown.page.blocks import viewed
from cyclesim.shown.pictures.plant import within
from cyclesim.shown.reader import turned
from cyclesim.simulation.assembly import Assembly
from cyclesim.workbench.folder import SUFFIXES, Folder, Written, version_of
from cyclesim.workbench.pressed import pressed

Values = dict[str, Any]


@dataclass(frozen=True)
class Opened:
    """One plant as it stands: its file, every file that it is read from, and what came of reading them."""

    name: str
    file: Path
    files: dict[Path, Written]
    """Its own file first, then each that a section lies in."""
    version: str
    scenario: Scenario | None
    faults: tuple[Fault, ...]

    @property
    def written(self) -> Written:
        """Its own file as it stands."""
        return self.files[self.file]


def opened(folder: Folder, name: str) -> Opened:
    """Read a plant; one that cannot be run has faults in place of a scenario."""
    file = folder.path(name)
    read, scenario, faults = list[Path](), None, tuple[Fault, ...]()
    files = {file: folder.read(file)}
    try:
        scenario = load(file, on_read=read.append)
    except InputError as error:
        faults = error.faults
    others = [path for path in dict.fromkeys(read) if path != file and path.is_file()]
    files |= {path: folder.read(path) for path in others if path.suffix in SUFFIXES}
    data = [files[path].data if path in files else path.read_bytes() for path in (file, *others)]
    return Opened(name, file, files, version_of(data), scenario, faults)


def is_us(plant: Opened, units: str | None) -> bool:
    """Whether a plant is told in US units: as asked for, else as its file is written."""
    if units is not None:
        return units == "us"
    return plant.scenario is not None and plant.scenario.in_us_units


def plant_view(plant: Opened, units: str | None = None) -> Values:
    """A plant with all its fields; one that cannot be run has its problems, its text and its fields."""
    tree = _tree(plant)
    us = is_us(plant, units)
    problems = list(map(problem, plant.faults))
    drawn: Values | None = None
    moves = dict[str, list[str]]()
    if plant.scenario is not None:
        try:
            assembly = Assembly(plant.scenario)
            drawn, moves = drawn_view(assembly, us), _moves(assembly)
        except CycleSimError as error:
            problems.append({"error": str(error)})
    filled = filled_in(plant.scenario) if plant.scenario is not None else ()
    shown = fields(tree, filled, as_listed(plant.written.text)) if isinstance(tree.value, dict) else ()
    return {
        "name": plant.name,
        "title": title_of(plant, tree),
        "version": plant.version,
        "units": "us" if us else "metric",
        "text": plant.written.text,
        "fields": [_field_view(field, plant) for field in shown],
        "problems": problems,
        "drawing": drawn,
        "network": tree.get(("plant", "network"), default=None),
        "schedule": schedule_view(plant.scenario) if plant.scenario is not None else None,
        "moves": moves,
    }


def title_of(plant: Opened, tree: Tree | None = None) -> str:
    """What a plant is called; its file's name where it does not say."""
    if plant.scenario is not None:
        return plant.scenario.title
    said = (tree or _tree(plant)).get(("title",), default=None)
    return said if isinstance(said, str) and said.strip() else plant.name


def _tree(plant: Opened) -> Tree:
    return written(plant.file)


def _field_view(field: Field, plant: Opened) -> Values:
    """A field, with its file by its place in the folder; empty for the plant's own."""
    own = field.file in ("", str(plant.file))
    told = {name: getattr(field, name) for name in Field.__slots__}
    return told | {"file": "" if own else str(PurePath(field.file).relative_to(plant.file.parent))}


def problem(fault: Fault) -> Values:
    """One fault, with the field that it is about and the place where that is written."""
    parts = (fault.found and f"found {fault.found}", fault.allowed, fault.hint)
    return {
        "error": "; ".join(filter(None, parts)),
        "found": fault.found,
        "allowed": fault.allowed,
        "hint": fault.hint,
        "path": fault.path,
        "file": Path(fault.file).name,
        "line": fault.line,
        "column": fault.column,
    }


def in_a_line(fault: Fault) -> str:
    """A fault as a card tells it: where in its file, and what."""
    place = f"line {fault.line}: " if fault.line else ""
    return f"{place}{fault.path}{': ' if fault.path else ''}{problem(fault)['error']}"


def drawn_view(plant: Assembly, us: bool, *of_a_run: Any) -> Values:
    """A plant's drawing as SVG, with ids `plant-NAME`; and in words, for who cannot see it."""
    legs, findings = of_a_run or (None, ())
    drawn = drawing(plant, legs, us, findings)
    return {
        "svg": within(drawn),
        "told": drawn.told,
        "words": list(drawn.alternative),
        "key": [list(pair) for pair in drawn.key],
    }


def page_view(page: Page | Sequence[Block], us: bool) -> list[Values]:
    """The blocks of a page in its reader's units, each with its kind and texts, for a browser's reader."""
    blocks = page.blocks if isinstance(page, Page) else page
    shown: list[Values] = pressed(list(map(asdict, viewed(turned(blocks, us)))))
    return shown


def schedule_view(scenario: Scenario) -> Values:
    """What the strip of a day needs: demands with their times, what stands behind them, the steps."""
    schedule, steps = scenario.schedule, scenario.controller
    tariff = scenario.supply.tariff
    return {
        "demands": list(_demands(scenario)),
        "ranks": list(schedule.order),
        "quiet_hours": None if schedule.quiet_hours is None else {
            "from": f"{schedule.quiet_hours.from_time:%H:%M}",
            "to": f"{schedule.quiet_hours.to_time:%H:%M}",
            "days": _days(schedule.quiet_hours.days),
            "applies_to": list(map(str, schedule.quiet_hours.applies_to)),
        },
        "prices": [
            {
                "from": f"{window.from_time:%H:%M}",
                "to": f"{window.to_time:%H:%M}",
                "days": _days(window.days),
                "price": window.price.amount,
                "currency": window.price.currency,
            }
            for window in getattr(tariff, "windows", ())
        ],
        "otherwise": _price(tariff),
        "plan": [] if schedule.heating is None else [
            {
                "path": f"schedule.heating.plan.{k}",
                "from": _clock(step.from_time),
                "ready_by": _clock(step.ready_by),
                "until": f"{step.until:%H:%M}",
                "keep_at_c": step.keep_at_c,
                "days": _days(step.days),
            }
            for k, step in enumerate(schedule.heating.plan)
        ],
        "controller": {
            "filter_windows": steps.filter_windows,
            "time_step_s": steps.time_step_s,
            "flush_lengths_s": list(steps.flush_lengths_s or ()),
            "flushes_a_day": steps.flushes_a_day,
            "plan_steps": steps.plan_steps,
            "tells_weekdays": steps.tells_weekdays,
            "seasons": steps.seasons,
        },
    }  # fmt: skip


def _moves(plant: Assembly) -> dict[str, list[str]]:
    """What each entry of the schedule runs, and the legs whose water that moves."""
    lists = [getattr(plant.scenario.schedule, key) for key in DEMANDS.values()]
    runs = [entry.in_one for entries in lists if isinstance(entries, tuple) for entry in entries]
    legs = {name: plug for name, plug in plant.reported.items() if ", " not in name}
    moves = dict[str, list[str]]()
    for pumping in dict.fromkeys(filter(None, runs)):
        flows = [duty.plug_flows_m3_s for duty in duties_of(plant, pumping)]
        moves[str(pumping)] = [
            name for name, plug in legs.items() if any(abs(flow[plug]) > STILL_M3_S for flow in flows)
        ]
    return moves


def _demands(scenario: Scenario) -> Iterator[Values]:
    """Every entry of the schedule that the clock or people start."""
    for kind, key in DEMANDS.items():
        entries = getattr(scenario.schedule, key)
        for k, entry in enumerate(entries if isinstance(entries, tuple) else ()):
            pumping = entry.in_one
            told: Values = {
                "path": f"schedule.{key}.{k}",
                "kind": kind,
                "name": entry.name,
                "pump": None if pumping is None else str(pumping),
                "pumps": [str(pump) for pump in pumping.pumps] if pumping else [],
                "runs": pumping.written if pumping else None,
                "starts": [f"{clock:%H:%M}" for clock in entry.start or ()],
                "lasts_s": entry.lasts_s,
                "days": _days(entry.days),
                "repeats": entry.repeats,
            }
            if isinstance(entry, Run):
                told["after"] = entry.after
            if isinstance(entry, Bathing):
                told |= {"people": entry.people, "cover": entry.cover, "drawn": None}
                if entry.drawn is not None:
                    told["drawn"] = {
                        "per_week": entry.drawn.per_week,
                        "between": [f"{clock:%H:%M}" for clock in entry.drawn.between],
                        "lasts_s": list(entry.drawn.lasts_s),
                        "people": list(entry.drawn.people),
                    }
            yield told


def _days(days: Sequence[int] | None) -> list[str]:
    """The days of the week that are meant, by their names; none written means every day."""
    return list(DAYS) if days is None else [DAYS[day] for day in sorted(days)]


def _clock(clock: Any) -> str | None:
    return None if clock is None else f"{clock:%H:%M}"


def _price(tariff: Any) -> Values | None:
    price = getattr(tariff, "otherwise", None)
    return None if price is None else {"price": price.amount, "currency": price.currency}
