"""Small plants drawn by a number: every way of joining legs, pumps and valves, with runs and flushes."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from random import Random
from typing import Any

import yaml

from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load_text

Sheet = dict[str, Any]
_PIPES = ("40 PN10", "50 PN10", "63 PN10", "75 PN10")


class Drawn:
    """A plant being drawn."""

    def __init__(self, seed: int) -> None:
        self.chance = Random(seed)
        self.legs: Sheet = {}
        self.pumps: Sheet = {}
        self.equipment: Sheet = {}
        self.more: Sheet = {}
        self.junctions: list[str] = []

    def leg(self, name: str, *, longest_m: float = 15.0, jets: bool = False, small: bool = False) -> str:
        """A leg of some pipe and length."""
        draw = self.chance
        pipe = draw.choice(_PIPES[:2] if small else _PIPES)
        sheet: Sheet = {"pipe": pipe, "length": f"{draw.uniform(1.0, longest_m):.1f} m", "zone": "room"}
        sheet["fittings"] = {"elbow": draw.randint(0, 6), "tee_branch": draw.randint(0, 1)}
        if jets:
            each = f"{draw.uniform(25.0, 45.0):.0f} L/min at {draw.uniform(3.0, 7.0):.1f} m"
            sheet["manifold"] = {"jets": draw.randint(2, 5), "spacing": "400 mm", "each": each}
        self.legs[name] = sheet
        return name

    def pump(self, name: str, *, head_m: tuple[float, float] = (6.0, 14.0), check: bool = False) -> str:
        """A pump of one speed or two, by its two ends or by a curve."""
        draw, kind = self.chance, self.chance.randint(0, 2)
        head, flow = draw.uniform(*head_m), draw.uniform(200.0, 450.0)
        ends: Sheet = {"max_head": f"{head:.1f} m", "max_flow": f"{flow:.0f} L/min", "power": "900 W"}
        if kind == 1:
            points = [
                [0.0, 1.0],
                [0.4, draw.uniform(0.82, 0.95)],
                [0.75, draw.uniform(0.5, 0.7)],
                [1.0, 0.15],
            ]
            ends = {
                "curve": [[f"{q * flow:.0f} L/min", f"{h * head:.2f} m"] for q, h in points],
                "power": "900 W",
            }
        sheet = {"low": {"speed": "60 %"}, "high": ends} if kind == 2 else ends
        self.pumps[name] = {**sheet, "volume": f"{draw.uniform(1.0, 4.0):.1f} L", "check_valve": check}
        return name

    def filter(self, name: str) -> str:
        """A housing with a drop."""
        draw = self.chance
        drop = f"{draw.uniform(0.3, 1.5):.2f} m at 300 L/min"
        volume = f"{draw.uniform(2.0, 20.0):.1f} L"
        self.equipment[name] = {"kind": "filter", "drop": drop, "volume": volume, "zone": "room"}
        return name

    def flap(self, name: str) -> str:
        """A check valve of its own."""
        self.more.setdefault("check_valves", {})[name] = {"drop": "0.2 m at 300 L/min"}
        return name

    def runs(self) -> tuple[list[Sheet], list[Sheet]]:
        """For each pump two runs a day, at drawn times, and two flushes; two pumps overlap by chance."""
        draw, long, short = self.chance, list[Sheet](), list[Sheet]()
        for name, sheet in self.pumps.items():
            slow, fast = (f"{name} low", f"{name} high") if "low" in sheet else (name, name)
            starts = [f"{draw.randint(3, 10):02}:{draw.randint(0, 59):02}" for _ in "ab"]
            long.append({"pump": slow, "start": sorted(set(starts)), "lasts": f"{draw.randint(4, 40)} min"})
            starts = [f"{draw.randint(11, 21):02}:{draw.randint(0, 59):02}" for _ in "ab"]
            short.append({"pump": fast, "start": sorted(set(starts)), "lasts": f"{draw.randint(4, 90)} s"})
        return long, short


def _series(d: Drawn) -> list[Any]:
    return [["tub", d.leg("suction"), d.pump("main"), d.filter("filter"), d.filter("body"), d.leg("there"),
             d.leg("back"), "tub"]]  # fmt: skip


def _parallel(d: Drawn) -> list[Any]:
    suctions = [d.leg("suction_a"), d.leg("suction_b")]
    ways = [d.leg("left", jets=True), [d.leg("right"), d.filter("strainer")], d.leg("far", longest_m=25.0)]
    return [["tub", {"parallel": suctions}, d.pump("main"), d.filter("filter"), {"parallel": ways}, "tub"]]


def _shared_suction(d: Drawn) -> list[Any]:
    d.junctions.append("tee")
    return [
        ["tub", d.leg("suction"), "tee"],
        ["tee", d.pump("circulator", check=True), d.filter("filter"), d.leg("return"), "tub"],
        ["tee", d.pump("jets", check=True), d.leg("seats", jets=True), "tub"],
    ]


def _pumps_in_series(d: Drawn) -> list[Any]:
    return [["tub", d.leg("suction"), d.pump("first"), d.filter("filter"), d.leg("between"), d.pump("second"),
             d.leg("back"), "tub"]]  # fmt: skip


def _back_fed(d: Drawn) -> list[Any]:
    """Two pumps side by side: what stands is pushed through backwards."""
    sides = [[d.pump("one"), d.filter("filter")], [d.leg("side"), d.pump("other")]]
    return [["tub", d.leg("suction"), {"parallel": sides}, d.leg("back"), "tub"]]


def _reversed(d: Drawn) -> list[Any]:
    """Two suctions that meet behind their pumps: a standing pump's leg runs backwards."""
    d.junctions.append("meet")
    return [
        ["tub", d.leg("suction_a"), d.pump("one"), "meet"],
        ["tub", d.leg("suction_b"), d.pump("other"), d.filter("filter"), "meet"],
        ["meet", d.leg("back"), d.leg("seats", jets=True), "tub"],
    ]


def _check_valves(d: Drawn) -> list[Any]:
    d.junctions.append("meet")
    return [
        ["tub", d.leg("suction_a"), d.flap("flap_a"), d.pump("one"), "meet"],
        ["tub", d.leg("suction_b"), d.pump("other"), d.flap("flap_b"), d.filter("filter"), "meet"],
        ["meet", {"parallel": [d.leg("left"), d.leg("right")]}, "tub"],
    ]


def _bridge(d: Drawn) -> list[Any]:
    """Two loops with a leg between them, through which water runs one way or the other."""
    d.junctions += ["here", "there"]
    return [
        ["tub", d.leg("suction_a"), d.pump("one"), "here"],
        ["tub", d.leg("suction_b"), d.pump("other"), d.filter("filter"), "there"],
        ["here", d.leg("bridge", longest_m=5.0), "there"],
        ["here", d.leg("left"), "tub"],
        ["there", d.leg("right"), "tub"],
    ]


def _dead_end(d: Drawn) -> list[Any]:
    """A way behind a shut valve that nothing moves, and a capped spare."""
    d.leg("spare")
    d.legs["spare"]["dead_end"] = True
    d.more["valves"] = {"shut_off": {"drop": "0.1 m at 300 L/min", "usual": "shut"}}
    ways = [d.leg("left", jets=True), [d.leg("closed"), "shut_off"]]
    return [["tub", d.leg("suction"), d.pump("main"), d.filter("filter"), {"parallel": ways}, "tub"]]


def _throttled(d: Drawn) -> list[Any]:
    """A valve turned by hand on the second day, and back."""
    half = f"{d.chance.uniform(1.0, 4.0):.1f} m at 150 L/min"
    valve = {
        "drop": "0.1 m at 300 L/min",
        "throttled": {"half": half},
        "usual": "open",
        "may_be": ["half", "shut"],
    }
    d.more["valves"] = {"balance": valve}
    ways = [[d.leg("left"), "balance"], d.leg("right", jets=True)]
    return [["tub", d.leg("suction"), d.pump("main"), d.filter("filter"), {"parallel": ways}, "tub"]]


def _past_the_tub(d: Drawn) -> list[Any]:
    """A leg from behind the pump to before it: water circles past the tub."""
    d.junctions += ["before", "behind"]
    return [
        ["tub", d.leg("suction"), "before"],
        ["before", d.pump("main"), d.filter("filter"), "behind"],
        ["behind", d.leg("bypass", longest_m=6.0), "before"],
        ["behind", d.leg("back"), "tub"],
    ]


KINDS: dict[str, Callable[[Drawn], list[Any]]] = {
    "series": _series,
    "parallel": _parallel,
    "shared suction": _shared_suction,
    "two pumps in series": _pumps_in_series,
    "back-fed": _back_fed,
    "reversed": _reversed,
    "check valves": _check_valves,
    "bridge": _bridge,
    "dead end": _dead_end,
    "throttled": _throttled,
    "past the tub": _past_the_tub,
}


@cache
def drawn(seed: int) -> Scenario:
    """The network of this number; its kind is the number's remainder by the number of kinds."""
    d, kind = Drawn(seed), list(KINDS)[seed % len(KINDS)]
    network = KINDS[kind](d)
    runs, flushes = d.runs()
    schedule: Sheet = {"filter_runs": runs, "line_flushes": flushes}
    if "may_be" in d.more.get("valves", {}).get("balance", {}):
        schedule["valves_turned"] = [
            {"valve": "balance", "to": "half", "from": "2027-01-01 12:00", "lasts": "1 days"},
            {"valve": "balance", "to": "shut", "from": "2027-01-03 02:00", "lasts": "6 h"},
        ]
    plant = {
        "tub": {"water": "1500 L", "surface": "3 m2", "cover": {"foam": "60 mm", "fit": "good"},
                "shell": {"wall": "120 mm", "of": "concrete", "insulation": "50 mm", "area": "7 m2",
                          "zone": "room"}},
        "legs": d.legs, "pumps": d.pumps, "equipment": d.equipment, **d.more,
        "junctions": d.junctions, "network": network,
    }  # fmt: skip
    weather = {"mean": "15 degC", "seasonal_swing": "0 K", "daily_swing": "0 K", "coldest_day": "20 January"}
    zones = {"room": {"follows": "weather"}}
    file = {
        "format": 1,
        "title": f"{kind}, drawn by {seed}",
        "place": {"year": 2027, "time_zone": "Etc/UTC", "weather": weather, "zones": zones},
        "supply": {"voltage": "230 V", "breaker": "20 A", "tariff": "0.20 EUR/kWh"},
        "plant": plant,
        "schedule": schedule,
    }  # fmt: skip
    return load_text(yaml.safe_dump(file, sort_keys=False), f"drawn-{seed}.yaml")
