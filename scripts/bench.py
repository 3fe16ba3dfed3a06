"""How fast cyclesim is: a year beside bare simpy timeouts, whole commands, sweeps, and what the parts cost.

`python scripts/bench.py` prints what is to be reached, each beside its reach and its aim (some ten minutes on
two idle cores), then the parts; `--table` stops before the parts, `--quick` leaves out what runs many years,
`--sweep` measures long sweeps alone, `--copy build/quick` sets a compiled copy (`scripts/compile.py`) beside
it all in the table. Commands are measured in seconds of a processor, which another user of the machine moves
less than a clock. Nothing here is a test: times are printed, not judged.
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command has it, and before it is loaded

import simpy

import cyclesim
from cyclesim.decide.sweeps.sweep import job, sweep
from cyclesim.scenario.reading.load import load
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.hourly_weather import zones
from cyclesim.simulation.programme import Programme

ROOT = Path(__file__).resolve().parent.parent
FILE = ROOT / "schedules" / "walled-garden.yaml"
WINTER = ROOT / "schedules" / "high-valley.yaml"
PACKAGE = Path(cyclesim.__file__).resolve().parents[1]
"""Where the program lies that is measured: here, or a compiled copy."""
DAY = 86_400
BYTECODE = tempfile.TemporaryDirectory()


def best(times: int, do: Callable[[], object]) -> float:
    """Shortest time [s of the processor] of *times* runs of *do*."""
    found = []
    for _ in range(times):
        start = time.process_time()
        do()
        found.append(time.process_time() - start)
    return min(found)


def bare_timeouts() -> None:
    """15,000 simpy timeouts of one process, with nothing else."""
    env = simpy.Environment()

    def wait() -> object:
        for _ in range(15_000):
            yield env.timeout(1)

    env.process(wait())  # type: ignore[arg-type]
    env.run()


def one_second_day(plant: Assembly, programme: Programme) -> Callable[[], None]:
    """A plain loop over one day in seconds: control, heat of tub, shell and bodies, cells of water age.

    It shares the duty table and the heat conductances with the engine, and nothing else; each plug is ten
    stirred cells, so that its ages are rougher than the engine's. It is here for its speed alone.
    """
    scenario = plant.scenario
    trace = simulate_trace(plant, programme, days=1)
    series = zones(scenario, trace.begin_utc, 0, DAY).series
    raised = {name: stream.spans("raised") for name, stream in trace.demands.items()}
    low, high = plant.duty(("low",)), plant.duty(("high",))
    heating = scenario.schedule.heating
    assert heating is not None

    def day() -> None:
        node, water, shell = plant.tub_node, heating.keep_at_c, heating.keep_at_c
        bodies = [water] * len(plant.bodies)
        cells = [[0.0] * 10 for _ in plant.plugs]
        oldest = [0.0] * len(plant.plugs)
        called = False
        for second in range(DAY):
            hour = second // 3600
            if water <= heating.keep_at_c - heating.within_k:
                called = True
            elif water >= heating.keep_at_c:
                called = False
            flush = any(a <= second < b for n, s in raised.items() if "flush" in n for a, b in s)
            run = called or any(a <= second < b for n, s in raised.items() if "filter" in n for a, b in s)
            duty = high if flush else low if run else None
            heat = (3000.0 if called and not flush else 0.0) + (duty.pump_heat_w if duty else 0.0)
            cover = node.ua_cover_w_k * (water - series[node.cover_zone][hour])
            through = node.g_w_k * (water - shell)
            out = node.ua_shell_w_k * (shell - series[node.shell_zone][hour])
            for i, body in enumerate(plant.bodies):
                loss = body.ua_w_k * (bodies[i] - series[body.zone][hour])
                bodies[i] -= loss / body.capacity_j_k
                if duty:
                    share = min(1.0, duty.body_flows_m3_s[i] / body.volume_m3)
                    apart = share * (water - bodies[i])
                    bodies[i] += apart
                    water -= apart * body.capacity_j_k / node.water_j_k
            water += (heat - cover - through) / node.water_j_k
            shell += (through - out) / node.shell_j_k
            for i, plug in enumerate(plant.plugs):
                mine = cells[i]
                flow = duty.plug_flows_m3_s[i] if duty else 0.0
                if flow and plug.volume_m3:
                    share = min(1.0, 10 * flow / plug.volume_m3)
                    for k in range(9, 0, -1):
                        mine[k] += share * (mine[k - 1] - mine[k]) + 1.0
                    mine[0] += share * (0.0 - mine[0]) + 1.0
                else:
                    for k in range(10):
                        mine[k] += 1.0
                oldest[i] = max(oldest[i], mine[9])

    return day


YEARS = """
import resource, sys, time
from cyclesim.decide.sweeps.sweep import job, sweep
from cyclesim.scenario.reading.load import load
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.programme import Programme
scenario = load(sys.argv[1])
plant, programme = Assembly(scenario), Programme(scenario)
simulate_trace(plant, programme, days=2)
start = time.process_time()
trace = simulate_trace(plant, programme, days=int(sys.argv[2]))
print(time.process_time() - start, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def years(days: int) -> tuple[float, float]:
    """Time [s of the processor] and peak memory [MB] of a run of *days*, in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-c", YEARS, str(FILE), str(days)], capture_output=True, text=True, check=True
    )
    seconds, megabytes = done.stdout.split()
    return float(seconds), float(megabytes)


class Taken(NamedTuple):
    """What a command took, its workers included: seconds of a processor, and by the clock."""

    cpu_s: float
    wall_s: float


def command(*words: str, times: int = 3) -> Taken:
    """What a cyclesim command took, the least of some times; no run is kept from one to the next.

    Python has read the program before and kept its bytecode, as it does for whoever has run a command once.
    """
    found = []
    env = {**os.environ, "PYTHONPATH": str(PACKAGE), "PYTHONPYCACHEPREFIX": BYTECODE.name}
    env.pop("PYTHONDONTWRITEBYTECODE", None)
    subprocess.run(
        [sys.executable, "-m", "cyclesim", "check", str(FILE)], capture_output=True, check=False, env=env
    )
    for _ in range(times):
        with tempfile.TemporaryDirectory() as folder:
            env["XDG_CACHE_HOME"] = folder
            before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
            whole = [sys.executable, "-m", "cyclesim", *words]
            subprocess.run(whole, cwd=folder, capture_output=True, check=False, env=env)
            wall_s, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
            cpu_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
            found.append(Taken(cpu_s, wall_s))
    return min(found)


SWEEP = """
import resource, sys, time
from cyclesim.decide.sweeps.sweep import How, job, sweep
from cyclesim.scenario.reading.load import load
scenario = load(sys.argv[1])
jobs = [job(scenario, 365, seed=k) for k in range(int(sys.argv[2]))]
start = time.perf_counter()
sweep(jobs, How(workers=int(sys.argv[3])))
print(time.perf_counter() - start, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def swept(runs: int, workers: int) -> tuple[float, float]:
    """Wall time [s] of a sweep over so many years, and peak memory [MB] of who asks for it."""
    words = [sys.executable, "-c", SWEEP, str(FILE), str(runs), str(workers)]
    seconds, megabytes = subprocess.run(words, capture_output=True, text=True, check=True).stdout.split()
    return float(seconds), float(megabytes)


def candidates() -> None:
    """200 and 1,000 years of candidates, each simulated, measured and judged."""
    (one_s, _), (two_s, _) = swept(200, 1), swept(200, 2)
    say("200 candidate-years, one core", f"{one_s:.0f} s")
    say(
        "200 candidate-years, two cores", f"{two_s:.0f} s", f"{one_s / two_s:.2f} times sooner (at least 1.8)"
    )
    most_s, most_mb = swept(1000, 2)
    say("1,000 candidate-years, two cores", f"{most_s:.0f} s", f"(under 300), {most_mb:.0f} MB")


def year_s(file: Path, times: int) -> float:
    """Shortest time [s] of a year of a file, run and not judged."""
    scenario = load(file)
    plant, programme = Assembly(scenario), Programme(scenario)
    simulate_trace(plant, programme, days=2)
    return best(times, lambda: simulate_trace(plant, programme, days=365))


class Row(NamedTuple):
    """A line of the table."""

    what: str
    now: str
    beside: str


def table(bare: float, quick: bool) -> Iterator[Row]:
    """What is to be reached. Of a sweep the processors' time is halved: so long two idle cores take."""
    one = year_s(FILE, 3)
    yield Row(f"year of {FILE.stem}, bare timeouts", f"{one / bare:.0f}", "25, 15")
    years_s = {file.stem: year_s(file, 1) for file in sorted((ROOT / "schedules").glob("*.yaml"))}
    slowest = max(years_s, key=lambda name: years_s[name])
    yield Row(f"slowest year, {slowest}", f"{years_s[slowest] / bare:.0f}", "60, 40")
    run, check = command("run", str(FILE)), command("check", str(FILE), times=5)
    yield Row("cyclesim run of a year", f"{run.cpu_s:.2f} s", "1.2 s, 0.8 s")
    yield Row("cyclesim check", f"{check.cpu_s:.2f} s", "half of 0.75 s, 0.4 s")
    candidate = best(3, lambda: sweep([job(load(FILE), 365)]))
    yield Row("candidate-year in a sweep", f"{candidate:.2f} s", "0.35 s, 0.18 s")
    if quick:
        return
    pair = (str(ROOT / "schedules" / "walled-garden-circulator.yaml"), str(FILE))
    for what, words, reach in (
        ("tune of a shipped plant", ("tune", pair[0]), "15 s, 8 s"),
        ("run --confidence of a year", ("run", str(FILE), "--confidence"), "40 s, 20 s"),
        ("compare --futures 200", ("compare", *pair, "--futures", "200"), "75 s, 40 s"),
    ):
        took = command(*words, "--workers", "2", times=1)
        by_clock = f"(here {took.wall_s:.0f} s by the clock)"
        yield Row(f"{what}, two cores", f"{took.cpu_s / 2.0:.0f} s", f"{reach} {by_clock}")


def rows_of_copy(folder: str, quick: bool) -> list[Row]:
    """The table of a compiled copy in a folder, each line measured by this script in a process of its own."""
    words = [sys.executable, __file__, "--rows", *["--quick"] * quick]
    env = {**os.environ, "PYTHONPATH": str(Path(folder).resolve())}
    done = subprocess.run(words, capture_output=True, text=True, check=True, env=env)
    return [Row(*row) for row in json.loads(done.stdout)]


def say_table(bare: float, quick: bool, copy: str | None) -> None:
    """Print the table, with a compiled copy's beside it if one is named."""
    beside = rows_of_copy(copy, quick) if copy else []
    say("measure", "now", f"{'compiled':>12}   reach, aim" if copy else "reach, aim")
    for place, row in enumerate(table(bare, quick)):
        say(row.what, row.now, f"{beside[place].now:>12}   {row.beside}" if copy else row.beside)


def main() -> None:
    """Measure and print everything, or what the options say."""
    if "--sweep" in sys.argv[1:]:
        candidates()
        return
    bare, quick = best(5, bare_timeouts), "--quick" in sys.argv[1:]
    if "--rows" in sys.argv[1:]:
        print(json.dumps(list(table(bare, quick))))
        return
    say("15,000 bare simpy timeouts", f"{bare * 1e3:.1f} ms")
    copy = sys.argv[sys.argv.index("--copy") + 1] if "--copy" in sys.argv[1:] else None
    say_table(bare, quick, copy)
    if "--table" in sys.argv[1:]:
        return
    scenario = load(FILE)
    plant, programme = Assembly(scenario), Programme(scenario)
    trace = simulate_trace(plant, programme, days=5)
    year = year_s(FILE, 3)
    stepped = 365 * best(1, one_second_day(plant, programme))
    (one_s, one_mb), (ten_s, ten_mb) = years(365), years(3652)
    say(f"a year of {FILE.stem}", f"{year * 1e3:.0f} ms")
    say("a year in plain seconds", f"{stepped:.0f} s", f"{stepped / year:.0f} times slower (reach 200)")
    say("passes of the controller in 5 days", str(trace.passes))
    say("one year, in a process of its own", f"{one_s:.2f} s", f"{one_mb:.0f} MB")
    say("ten years", f"{ten_s:.2f} s", f"{ten_mb:.0f} MB (under 300)")
    say("", f"{ten_s / one_s:.1f} times", "(at most 12)")
    winter(bare)
    verifying()
    say("cyclesim --help", f"{command('--help').cpu_s * 1e3:.0f} ms", "(under 300)")


PARTS = (
    ("bathing with the cover off", ("schedule.filter_runs.1=null", "schedule.bathing=null")),
    ("the heat pump", ("schedule.heating.with=element",)),
    ("set points by a plan, ready-by", ("schedule.heating.plan=null",)),
    ("frost protection", ("schedule.frost_protection=null",)),
    ("a power cut", ("schedule.outages=null",)),
)
"""What is left out of the winter plant, in turn and for good, to see what each part costs."""


def winter(bare: float) -> None:
    """The plant with everything switched on, and what each part of it costs."""

    def year(sets: tuple[str, ...]) -> float:
        scenario = load(WINTER, sets=sets)
        plant, programme = Assembly(scenario), Programme(scenario)
        simulate_trace(plant, programme, days=2)
        return best(3, lambda: simulate_trace(plant, programme, days=365))

    before, left_out = year(()), tuple[str, ...]()
    say(f"a year of {WINTER.stem}", f"{before * 1e3:.0f} ms", f"{before / bare:.0f} times bare (reach 80)")
    for what, sets in PARTS:
        left_out += sets
        now = year(left_out)
        say(f"  of it {what}", f"{(before - now) * 1e3:.0f} ms")
        before = now
    say("  what is left", f"{before * 1e3:.0f} ms", f"{before / bare:.0f} times bare")


VERIFY = """
import resource, sys, time
from cyclesim.scenario.reading.load import load, load_text
from cyclesim.verification.verifier import verify
scenario = load(sys.argv[1]) if sys.argv[1] != "-" else load_text(sys.stdin.read(), "invented.yaml")
start = time.perf_counter()
found = verify(scenario, faults=1)
print(time.perf_counter() - start, found.states, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def invented(loops: int = 4) -> str:
    """An invented plant: a pump and a heat source in each of its loops, 12 lines of demands for 4 loops."""
    each = range(1, loops + 1)
    speeds = """low: {max_head: 4 m, max_flow: 300 L/min, power: 300 W, current: 1.5 A}
      high: {max_head: 16 m, max_flow: 600 L/min, power: 1500 W, current: 7 A}"""
    lines = [
        "format: 1",
        "title: four loops, invented",
        "place:",
        "  year: 2027",
        "  time_zone: Europe/Lisbon",
        "  weather: {mean: 12 degC, seasonal_swing: 8 K, daily_swing: 4 K, coldest_day: 20 January}",
        "  zones: {room: {follows: weather, above_by: 2 K}, soil: {depth: 600 mm}}",
        "supply:",
        "  voltage: 230 V",
        "  tariff: 0.20 EUR/kWh",
        "  circuits:",
        *(f"    loop_{k}: {{breaker: 18 A, feeds: [main_{k}, element_{k}]}}" for k in each),
        "plant:",
        "  tub:",
        "    water: 6000 L",
        "    surface: 9 m2",
        "    cover: {foam: 60 mm, fit: good}",
        "    shell: {wall: 120 mm, of: concrete, insulation: 50 mm, area: 20 m2, zone: soil}",
        "  legs:",
        *(
            f"    {way}_{k}: {{pipe: 63 PN10, length: 8 m, zone: soil}}"
            for k in each
            for way in ("out", "back")
        ),
        "  pumps:",
        *(f"    main_{k}:\n      {speeds}\n      rest: 75 s" for k in each),
        "  heat_sources:",
        *(
            f"    element_{k}: {{kind: electric, output: 3 kW, drop: 0.3 m at 400 L/min, volume: 2 L, "
            "needs_flow: 60 L/min, proof: {by: flow_switch}, high_limit: 60 degC, zone: room}"
            for k in each
        ),
        "  network:",
        *(f"    - [tub, out_{k}, main_{k}, element_{k}, back_{k}, tub]" for k in each),
        "schedule:",
        "  filter_runs:",
        *(f'    - {{pump: main_{k} low, start: ["0{k}:00"], lasts: 3 h}}' for k in each),
        "  line_flushes:",
        *(f'    - {{pump: main_{k} high, start: ["{8 + k:02d}:30"], lasts: 40 s}}' for k in each),
        "  bathing:",
        '    - {start: "18:00", lasts: 1 h, pump: main_1 high, name: evening}',
        '    - {start: "21:00", lasts: 1 h, pump: main_2 high, name: night}',
        f"  heating: {{with: [{', '.join(f'element_{k}' for k in each)}], pump: main_1 low, "
        "keep_at: 36 degC, within: 1 K}",
        "  frost_protection: {watches: room, starts_below: 4 degC, stops_above: 6 degC, pump: main_3 low}",
        "interlocks:",
        *(f"  - {{block: element_{k}, unless: flow proven, for: 5 s}}" for k in each),
        *(f"  - {{block: element_{k}, while: main_{k} high, because: the breaker}}" for k in each),
        *(f"  - {{keep: main_{k} low, after: element_{k}, lasting: 60 s}}" for k in each),
    ]
    return "\n".join(lines) + "\n"


def verifying() -> None:
    """Every order of events with one fault, on the shipped plant with most states and an invented one."""
    for name, file, text, bound in (
        (WINTER.stem, str(WINTER), "", "(under 20 s, 500 MB)"),
        ("an invented plant of four loops", "-", invented(), "(under 3 min)"),
    ):
        done = subprocess.run(
            [sys.executable, "-c", VERIFY, file], input=text, capture_output=True, text=True, check=True
        )
        seconds, states, megabytes = done.stdout.split()
        rate = f"{int(states)} states, {int(states) / float(seconds):.0f} a second"
        say(
            f"verify {name}, one fault",
            f"{float(seconds):.1f} s",
            f"{float(megabytes):.0f} MB {bound}; {rate}",
        )


def say(what: str, measured: str, beside: str = "") -> None:
    """One line: what, how much, and the bound or the comparison."""
    print(f"{what:<36}{measured:>12}   {beside}")


if __name__ == "__main__":
    main()
