"""The model checker Spin on a model that is written from the tables alone: it reaches as many states.

Spin (Debian's package `spin`) compiles the model with gcc. What a pass does is written out once more, in C;
of cyclesim it has the machines' tables, the interlocks, the declared times and what duties say of water.
"""

import re
import shutil
import subprocess
from itertools import combinations, product

import pytest

from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.programme import Programme
from cyclesim.verification.automaton import Automaton
from cyclesim.verification.calendar_order import Calendar
from cyclesim.verification.cone import cone_of
from cyclesim.verification.environment import Environment
from cyclesim.verification.search import search
from tests.verify.test_independent import NO_BLOCK, NO_KEEP, NO_PROOF

LONGEST_S = 8
"""Beyond this no difference is made in how long a timer lasts at least from now."""
PASS = r"""
static void pass(const unsigned char *m, const unsigned char *up, int cmd, int dark,
                 const unsigned char *sensed, const unsigned char *trips, const unsigned char *resets,
                 unsigned char *out) {
  int want[PUMPS], forced[PUMPS], i, k, b, round;
  for (i = 0; i < N; i++) out[i] = m[i];
  for (i = 0; i < PUMPS; i++) { want[i] = dark ? 0 : ASKED[cmd][i]; forced[i] = dark; }
  for (round = 0; round < 3; round++) {  /* sources open; pumps; sources close */
    if (round < 2)
      for (b = 0; b < LOWERS; b++) {
        int target = LOWER[b][0], level = LOWER[b][1];
        if ((LOWER[b][2] >= PUMPS) > round || !true_of(LOWER[b][2], LOWER[b][3], out, want)) continue;
        if (want[target] == level || LEVEL[target][out[target]] == level) forced[target] = 1;
        if (want[target] == level) want[target]--;
      }
    if (round == 1) {
      for (k = 0; k < KEEPS; k++) {
        int held = LEVEL[PUMPS + KEEP[k][2]][out[PUMPS + KEEP[k][2]]]
                   || out[PUMPS + KEEP[k][2]] == RUN_ON[KEEP[k][2]]
                   || out[PUMPS + KEEP[k][2]] == AGAIN[KEEP[k][2]];
        if (!dark && held && want[KEEP[k][0]] < KEEP[k][1]) want[KEEP[k][0]] = KEEP[k][1];
      }
      for (i = 0; i < PUMPS; i++)
        out[i] = NEXT[i][out[i]][bits(i, (int[]){want[i] >= 1, want[i] >= 2, up[i], forced[i], 0, 0})];
      continue;
    }
    for (k = 0; k < SOURCES; k++) {
      int blocked = dark, answer, leads;
      i = PUMPS + k;
      if (out[i] != m[i]) continue;
      for (b = 0; b < BLOCKS; b++)
        if (BLOCK[b][0] == k && true_of(BLOCK[b][1], BLOCK[b][2], out, want)) blocked = 1;
      answer = NEXT[i][out[i]][bits(i, (int[]){CALLED[cmd][k], blocked, PROVES[k] ? sensed[k] : 1, up[i],
                                               trips[k], resets[k]})];
      leads = LEVEL[i][answer] || answer == PROVING[k] || answer == AGAIN[k];
      if (round == 2 || !leads) out[i] = answer;
    }
  }
}
"""
"""One pass in its fixed order, one keep to a source at most."""
PUMP_FACTS = ("wants_run", "wants_high", "time_up", "forced")
SOURCE_FACTS = ("called", "blocked", "flow_ok", "time_up", "trips", "reset")


def braced(rows):
    """Nested lists as C writes them."""
    return "{" + ", ".join(braced(row) if isinstance(row, list) else str(int(row)) for row in rows) + "}"


def model_of(scenario):
    """The model's text: tables as constants, the pass, and one option for each way to move."""
    plant, c = Assembly(scenario), Programme(scenario).controller
    machines, pumps, sources = [*c.pumps, *c.sources], len(c.pumps), len(c.sources)
    active = [list(p.speeds) for p in c.pumps] + [[s.active] for s in c.sources]
    states = [m.table.states for m in machines]
    most, facts = max(map(len, states)), max(len(m.table.facts) for m in machines)
    asked = []
    for raised in product((False, True), repeat=len(c.demands)):
        up = [d for d, is_up in zip(c.demands, raised, strict=True) if is_up]
        mine = [[(d.rank, -p.speeds.index(d.speed)) for d in up if d.pump == p.name] for p in c.pumps]
        row = (
            [1 - min(m)[1] if m else 0 for m in mine],
            [any(s.name in d.calls for d in up) for s in c.sources],
        )
        if row not in asked:
            asked.append(row)

    def place(name):
        return next(i for i, m in enumerate(machines) if m.name == name)

    def truth(condition):
        i = place(condition.subject)
        words = ["stopped", *active[i]]
        return [i, sum(1 << level for level, word in enumerate(words) if condition.holds(word))]

    lowers = sorted(
        ([place(b.target), c.pumps[place(b.target)].speeds.index(b.speed) + 1, *truth(b.condition)]
         for b in c.blocks if b.speed), key=lambda row: -row[1])  # fmt: skip
    blocks = [[place(b.target) - pumps, *truth(b.condition)] for b in c.blocks if b.speed is None]
    keeps = [[place(k.pump), c.pumps[place(k.pump)].speeds.index(k.speed) + 1, place(k.after) - pumps]
             for k in c.keeps]  # fmt: skip
    levels = [[a.index(s) + 1 if s in a else 0 for s in of] + [0] * (most - len(of))
              for a, of in zip(active, states, strict=True)]  # fmt: skip
    dwells = [[min(LONGEST_S, c.dwell_s.get(m.name, {}).get(s, 0)) for s in m.table.states]
              + [0] * (most - len(m.table.states)) for m in machines]  # fmt: skip
    tables = [[[*row, *[0] * ((1 << facts) - len(row))] for row in m.table.next]
              + [[0] * (1 << facts)] * (most - len(m.table.states)) for m in machines]  # fmt: skip
    read = [PUMP_FACTS] * pumps + [SOURCE_FACTS] * sources
    order = [[m.table.facts.index(fact) if fact in m.table.facts else -1 for fact in of]
             for m, of in zip(machines, read, strict=True)]  # fmt: skip
    order = [row + [-1] * (6 - len(row)) for row in order]
    (pump,) = c.pumps
    duties = [plant.duty((speed,)) for speed in ("stopped", *pump.speeds)]
    named = {
        "ASKED": [row[0] for row in asked], "CALLED": [row[1] for row in asked], "LEVEL": levels,
        "DWELL": dwells, "ORDER": order, "LOWER": lowers or [[0] * 4], "BLOCK": blocks or [[0] * 3],
        "KEEP": keeps or [[0] * 3],
        "SENSES": [[plant.sensed(s.name, duty) for s in c.sources] for duty in duties],
        "STANDS": [[duty.flow_m3_s(s.name) == 0.0 for s in c.sources] for duty in duties],
    }  # fmt: skip
    lists = {
        "PROVES": ["proving" in s.table.states for s in c.sources],
        **{
            name: [s.table.states.index(state) if state in s.table.states else -1 for s in c.sources]
            for name, state in (("PROVING", "proving"), ("AGAIN", "proving_again"), ("RUN_ON", "run_on"))
        },
        "TRIPPED": [s.table.states.index("tripped") for s in c.sources],
        "LIMITED": [plant.sheet.heat_sources[s.name].high_limit_c is not None for s in c.sources],
    }
    n = len(machines)
    constants = [f"enum {{N = {n}, PUMPS = {pumps}, SOURCES = {sources}, LOWERS = {len(lowers)}, "
                 f"BLOCKS = {len(blocks)}, KEEPS = {len(keeps)}}};"]  # fmt: skip
    constants += [f"static const int {k}[][{len(v[0])}] = {braced(v)};" for k, v in named.items()]
    constants += [f"static const int {k}[] = {braced(v)};" for k, v in lists.items()]
    constants += [f"static const int NEXT[][{most}][{1 << facts}] = {braced(tables)};"]
    ends = [(i,) for i in range(n)]
    ways = [(-1, 0, end, "", 0) for end in [*ends, *combinations(range(n), 2)]]
    ways += [(-1, 0, (), event, k) for event in ("trips", "resets") for k in range(sources)]
    ways += [(cmd, 0, end, "", 0) for cmd in range(len(asked)) for end in [(), *ends]]
    ways += [(-1, 1, (), "", 0), (-1, 0, (), "", 0)]
    calls = []
    for cmd, dark, end, event, k in ways:
        mask, what = sum(1 << i for i in end), {"": 0, "trips": 1, "resets": 2}[event]
        calls.append(f"{cmd}, {dark}, {mask}, {what}, {k}")
    options = [
        f"  :: d_step {{ able[{k}] -> c_code {{ go({call}); look(); }} }}" for k, call in enumerate(calls)
    ]
    look = ["static void look() {", *(f"  now.able[{k}] = may({call});" for k, call in enumerate(calls)), "}"]
    fields = f"byte m[{n}]; byte t[{n}]; byte cmd; byte dark; byte sensed[{sources}]; byte trip[{sources}];"
    able = f"bit able[{len(calls)}];"  # it follows from the rest, and no call may stand in a guard
    code = ["c_code {", *constants, HELPERS, PASS, MOVES, *look, "}"]
    first = ["active proctype plant() {", "  d_step { c_code { look(); } }", "  do"]
    return "\n".join([fields, able, *code, *first, *options, "  od", "}", ""])


HELPERS = r"""
static int bits(int i, const int *facts) {
  int found = 0, f;
  for (f = 0; f < 6; f++) if (ORDER[i][f] >= 0 && facts[f]) found |= 1 << ORDER[i][f];
  return found;
}
static int true_of(int subject, int at, const unsigned char *m, const int *want) {
  int level = LEVEL[subject][m[subject]], soon = level;
  if (subject < PUMPS) soon = want[subject];
  else if (m[subject] == PROVING[subject - PUMPS] || m[subject] == AGAIN[subject - PUMPS]) soon = 1;
  return (at >> level & 1) || (at >> soon & 1);
}
"""
MOVES = r"""
static int due(const unsigned char *m, const unsigned char *t, int cmd, int dark, const unsigned char *sensed,
               const unsigned char *trip) {
  unsigned char up[N], none[SOURCES] = {0}, out[N];
  int i, moved = 0;
  for (i = 0; i < N; i++) up[i] = !t[i];
  pass(m, up, cmd, dark, sensed, trip, none, out);
  for (i = 0; i < N; i++) moved |= out[i] != m[i];
  return moved;
}
static int may(int cmd, int dark, int ends, int event, int k) {
  int i, is_due = due(now.m, now.t, now.cmd, now.dark, now.sensed, now.trip), m = now.m[PUMPS + k];
  if (cmd == now.cmd) return 0;
  if (event == 1 && !(LIMITED[k] && LEVEL[PUMPS + k][m] && STANDS[LEVEL[0][now.m[0]]][k])) return 0;
  if (event == 1 && now.trip[k]) return 0;
  if (event == 2 && m != TRIPPED[k]) return 0;
  for (i = 0; i < N; i++) if (ends >> i & 1 && (!now.t[i] || (is_due && now.t[i] > 2))) return 0;
  return cmd >= 0 || dark || ends || event || is_due;
}
static void go(int cmd, int dark, int ends, int event, int k) {
  int i, was_due = due(now.m, now.t, now.cmd, now.dark, now.sensed, now.trip), will_be;
  unsigned char up[N], aged[N], out[N], resets[SOURCES] = {0};
  for (i = 0; i < N; i++) {
    aged[i] = ends >> i & 1 ? 0 : was_due ? now.t[i] > 1 ? now.t[i] - 1 : now.t[i] : now.t[i] != 0;
    up[i] = !aged[i];
  }
  if (cmd >= 0) now.cmd = cmd;
  if (dark) now.dark = !now.dark;
  if (event == 1) now.trip[k] = 1;
  if (event == 2) { now.trip[k] = 0; resets[k] = 1; }
  pass(now.m, up, now.cmd, now.dark, now.sensed, now.trip, resets, out);
  for (i = 0; i < N; i++) {
    int lasts = DWELL[i][out[i]];
    now.t[i] = out[i] != now.m[i] ? lasts ? 1 + lasts : 0 : aged[i];
    now.m[i] = out[i];
  }
  for (i = 0; i < SOURCES; i++) now.sensed[i] = SENSES[LEVEL[0][now.m[0]]][i];
  will_be = due(now.m, now.t, now.cmd, now.dark, now.sensed, now.trip);
  for (i = 0; i < N; i++) if (!will_be) now.t[i] = now.t[i] != 0;
}
"""
PLANTS = {"as it is": [], "no proof, no keep": [NO_PROOF, NO_KEEP], "no block": [NO_BLOCK]}


def states_of(model, folder):
    """How many states the checker stores."""
    (folder / "plant.pml").write_text(model, encoding="utf-8")
    for call in (["spin", "-a", "plant.pml"], ["gcc", "-w", "-DSAFETY", "-DNOREDUCE", "-o", "pan", "pan.c"]):
        subprocess.run(call, cwd=folder, check=True, capture_output=True)
    told = subprocess.run(
        ["./pan", "-m100000"], cwd=folder, check=True, capture_output=True, text=True
    ).stdout
    assert "errors: 0" in told
    found = re.search(r"(\d+) states, stored", told)
    assert found is not None, told
    return int(found[1]) - 1  # but for the one before it has looked


@pytest.mark.skipif(not (shutil.which("spin") and shutil.which("gcc")), reason="spin or gcc is not installed")
@pytest.mark.parametrize("changes", PLANTS.values(), ids=PLANTS)
def test_the_checker_stores_as_many_states(build, tmp_path, changes):
    """Three plants; a pass in another order would store others."""
    scenario = build(*changes)
    plant, programme = Assembly(scenario), Programme(scenario)
    cone = cone_of(plant, programme, ["element"])
    automaton = Automaton(plant, cone, Environment(plant, programme, Calendar(programme), cone), coarse=True)
    assert search(automaton, {}).states == states_of(model_of(scenario), tmp_path)
