"""Change the control's and the parcels' code in small ways, and see whether the tests notice.

`python scripts/mutation.py` (all modules) or with words that their paths hold, e.g. `step parcels`. It needs
the extras `dev` and `mutation`, and fork. Exit 1 where too few of a module's changes are noticed, or where
one that is not noticed stands without a reason in `tests/mutation/survivors.yaml`; such a one is printed as
a row for that file.

The changes are those of mutmut's operators, and every condition turned round. mutmut's own runner leaves out
whatever is decorated, which here is most of it, so they are run from here: each in a forked child that takes
the changed source from memory, and imports anew what imports it.
"""

from __future__ import annotations

import ast
import difflib
import importlib
import importlib.abc
import importlib.machinery
import os
import resource
import sys
import time
from collections.abc import Iterable, Iterator, Sequence
from itertools import accumulate
from pathlib import Path
from types import CodeType
from typing import NamedTuple

os.environ |= {"TESTS_PROFILE": "mutation", "OPENBLAS_NUM_THREADS": "1"}
sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

# imported once, before any fork
import grimp
import hypothesis.strategies  # noqa: F401
import libcst as cst
import pytest
import yaml
from libcst.metadata import CodeRange, MetadataWrapper, WhitespaceInclusivePositionProvider
from mutmut.mutation.mutators import mutation_operators

ROOT = Path(__file__).resolve().parent.parent
SURVIVORS = ROOT / "tests" / "mutation" / "survivors.yaml"
LEAST_KILLED = 0.85
WORKERS = 2
LEAST_CPU_S, TIMES_AS_LONG = 5, 3  # than the unchanged tests: a child that takes longer hangs
MOST_BYTES = 2 << 30
SURVIVED, NOT_LOADED, NO_PYTEST = 0, 99, 98
GRAPH = grimp.build_graph("cyclesim")
NEVER_CALLS = ("len", "isinstance")  # as in mutmut: an argument less is just an error


class Target(NamedTuple):
    """A module, the tests that are meant to notice (the quick ones first), and the functions if not all."""

    path: str
    tests: tuple[str, ...]
    only: tuple[str, ...] = ()

    @property
    def module(self) -> str:
        """Its name as Python imports it."""
        return self.path.removesuffix(".py").replace("/", ".")


TARGETS = (
    *(
        Target(
            f"cyclesim/control/{file}.py",
            tuple(
                f"tests/control/test_{name}.py"
                for name in ("wired", "pass", "step", "pump_control", "source_control")
            ),
        )
        for file in ("step", "one_pass", "rows")
    ),
    Target(
        "cyclesim/control/machines.py",
        tuple(
            f"tests/control/test_{name}.py"
            for name in ("machines", "pass", "step", "pump_control", "source_control")
        ),
    ),
    Target(
        "cyclesim/simulation/wired.py",
        ("tests/simulation/test_wired.py", "tests/verify/test_backflow.py", "tests/verify/test_instant.py"),
    ),
    Target("cyclesim/simulation/passes.py", ("tests/simulation/test_passes.py",)),
    Target("cyclesim/verification/flows.py", ("tests/verify/test_flows.py", "tests/verify/test_instant.py")),
    Target(
        "cyclesim/verification/instant.py",
        (
            "tests/verify/test_instant_by_hand.py",
            "tests/verify/test_instant.py",
            "tests/verify/test_backflow.py",
            "tests/verify/test_defects.py::test_a_defect_is_found_under_its_rule",
            *(
                f"tests/verify/test_{file}.py::test_{name}"
                for file, name in (
                    ("verifier", "a_timer_has_left_what_is_declared"),
                    ("stories", "times_are_fitted_or_refused"),
                    ("faults", "an_own_switch_beside_a_controller_that_proves_the_flow"),
                    ("stories", "what_no_length_of_a_timer_allows_is_held_by_time"),
                    ("verifier", "a_coarse_order_reaches_no_less"),
                    ("verifier", "twins_reach_what_each_state_reaches_by_itself"),
                    ("verifier", "a_stove_is_possible_in_order_and_no_more"),
                )
            ),
        ),
    ),
    *(
        Target(
            f"cyclesim/physics/{file}.py",
            tuple(f"tests/physics/test_{name}.py" for name in (file, "water_age", "water_age_drawn")),
        )
        for file in ("parcels", "circuit_age")
    ),
    Target(
        "cyclesim/simulation/programme.py",
        ("tests/simulation/test_wiring.py", "tests/simulation/test_programme.py"),
        tuple(
            f"Programme.{name}"
            for name in (
                "_beside",
                "_keeps",
                "_block_lines",
                "proof_s",
                "run_on_s",
                "_machines",
                "_blocks",
                "_dwells",
                "_active",
                "_devices",
            )
        ),
    ),
    Target("cyclesim/decide/sweeps/outcome.py", ("tests/decide/test_outcome.py",)),
    Target(
        "cyclesim/decide/comparing/comparison.py",
        (
            "tests/decide/test_compared.py",
            "tests/decide/test_compared_futures.py",
            "tests/said/test_compare_report.py::test_every_table_tells_the_numbers_of_the_json",
        ),
    ),
)


class Mutant(NamedTuple):
    """One change: where, the lines that were and the lines that are, and the whole changed source."""

    where: str
    was: str
    now: str
    code: str

    @property
    def key(self) -> tuple[str, str, str]:
        """What tells it from the others."""
        return self.where, self.was, self.now


class _Changes(cst.CSTVisitor):
    """Every change that the operators offer, with the name of the function it is in."""

    METADATA_DEPENDENCIES = (WhitespaceInclusivePositionProvider,)

    def __init__(self) -> None:
        super().__init__()
        self.within: list[str] = []
        self.found: list[tuple[str, CodeRange, cst.CSTNode]] = []

    def on_visit(self, node: cst.CSTNode) -> bool:
        if isinstance(node, cst.Annotation | cst.Decorator):
            return False
        if isinstance(node, cst.Call) and isinstance(node.func, cst.Name) and node.func.value in NEVER_CALLS:
            return False
        if isinstance(node, cst.Assign) and any(
            isinstance(t.target, cst.Name) and t.target.value == "__all__" for t in node.targets
        ):
            return False
        if isinstance(node, cst.FunctionDef | cst.ClassDef):
            self.within.append(node.name.value)
        for kind, operator in mutation_operators:
            if isinstance(node, kind):
                self._note(node, operator(node))
        if isinstance(node, cst.If | cst.CompIf):  # which mutmut leaves to the comparisons within
            test = node.test.with_changes(lpar=[cst.LeftParen()], rpar=[cst.RightParen()])
            self._note(node.test, [cst.UnaryOperation(cst.Not(), test)])
        return True

    def _note(self, node: cst.CSTNode, instead: Iterable[cst.CSTNode]) -> None:
        place = self.get_metadata(WhitespaceInclusivePositionProvider, node)
        where = ".".join(self.within) or "module"
        self.found += [(where, place, changed) for changed in instead]

    def on_leave(self, original_node: cst.CSTNode) -> None:
        if isinstance(original_node, cst.FunctionDef | cst.ClassDef):
            self.within.pop()


def mutants(source: str, only: Sequence[str]) -> Iterator[Mutant]:
    """Every change of *source* that Python can read, in order; alike ones of a function are numbered."""
    wrapper = MetadataWrapper(cst.parse_module(source))
    changes, seen = _Changes(), dict[tuple[str, str, str], int]()
    wrapper.visit(changes)
    starts = [0, *accumulate(len(line) for line in source.splitlines(keepends=True))]
    for where, place, new in changes.found:
        if only and where not in only:
            continue
        start, end = (starts[at.line - 1] + at.column for at in (place.start, place.end))
        code = source[:start] + wrapper.module.code_for_node(new) + source[end:]
        try:
            ast.parse(code)
        except SyntaxError:
            continue
        old, after = ([line.strip() for line in text.splitlines()] for text in (source, code))
        lines = [d for d in [*difflib.unified_diff(old, after, n=0, lineterm="")][2:] if d[0] in "+-"]
        was, now = (" ".join(d[1:] for d in lines if d[0] == sign) for sign in "-+")
        seen[where, was, now] = nth = seen.get((where, was, now), 0) + 1
        yield Mutant(where if nth == 1 else f"{where} #{nth}", was, now, code)


class _FromMemory(importlib.abc.MetaPathFinder, importlib.machinery.SourceFileLoader):
    """Finds one module, whose source it holds."""

    def __init__(self, target: Target, code: str) -> None:
        super().__init__(target.module, str(ROOT / target.path))
        self.held, self.loaded = code, False

    def find_spec(self, name: str, *_: object) -> importlib.machinery.ModuleSpec | None:
        """The module of that name, if it is the one."""
        return importlib.machinery.ModuleSpec(name, self, origin=self.path) if name == self.name else None

    def get_code(self, _: str) -> CodeType:
        """Its source as it is held, compiled."""
        self.loaded = True
        return compile(self.held, self.path, "exec")


class _PlainFirst:
    """Tests without drawn examples cost least, so they come first."""

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        """Put them in front."""
        items.sort(key=lambda item: getattr(getattr(item, "obj", None), "is_hypothesis_test", False))


def child(target: Target, code: str, cpu_s: int) -> int:
    """The tests against one source, in this process; the exit code."""
    resource.setrlimit(resource.RLIMIT_CPU, (cpu_s, cpu_s))
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.dup2(nowhere, 2)
    finder = _FromMemory(target, code)
    sys.meta_path.insert(0, finder)
    for name in {target.module, *GRAPH.find_downstream_modules(target.module)} & sys.modules.keys():
        parent, _, own = name.rpartition(".")
        del sys.modules[name]
        vars(sys.modules.get(parent, sys)).pop(own, None)
    words = ["-x", "-q", "-p", "no:xdist", "-p", "no:cacheprovider", "-p", "no:timeout", "--assert=plain"]
    words += ["--tb=no", "-o", "addopts=--import-mode=importlib", "-c", str(ROOT / "pyproject.toml")]
    answer = int(pytest.main([*words, *(str(ROOT / test) for test in target.tests)], [_PlainFirst()]))
    return answer if finder.loaded else NOT_LOADED


def fork(target: Target, code: str, cpu_s: int) -> int:
    """The id of a child that runs the tests."""
    sys.stdout.flush()
    if pid := os.fork():
        return pid
    answer = NO_PYTEST
    try:
        answer = child(target, code, cpu_s)
    finally:
        os._exit(answer)


def run(target: Target, some: Iterable[Mutant], cpu_s: int) -> Iterator[tuple[Mutant, int]]:
    """Each mutant with how its tests ended (0: nobody noticed), WORKERS at a time."""
    at_work = dict[int, Mutant]()

    def ended() -> tuple[Mutant, int]:
        pid, status = os.wait()
        return at_work.pop(pid), os.waitstatus_to_exitcode(status)

    for mutant in some:
        at_work[fork(target, mutant.code, cpu_s)] = mutant
        if len(at_work) == WORKERS:
            yield ended()
    while at_work:
        yield ended()


def measure(
    target: Target, listed: Sequence[dict[str, str]]
) -> tuple[tuple[str, int, int, int, int, int], bool]:
    """The row of a module, and whether it holds; what is not explained is printed."""
    source = (ROOT / target.path).read_text()
    before_s = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime
    ((_, answer),) = run(target, [Mutant("", "", "", source)], 600)
    if answer != SURVIVED:
        raise SystemExit(f"{target.path}: the tests fail (exit {answer}) on the unchanged module")
    alone_s = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime - before_s
    reasons = {(row["in"], row["was"], row["now"]): row["why"] for row in listed}
    ended, survived = 0, list[Mutant]()
    cpu_s = max(LEAST_CPU_S, round(TIMES_AS_LONG * alone_s))
    for mutant, answer in run(target, mutants(source, target.only), cpu_s):
        ended += 1
        if ended % 100 == 0:
            print(f"{target.path}: {ended} run", file=sys.stderr, flush=True)
        if answer in (NOT_LOADED, NO_PYTEST):
            raise SystemExit(f"{target.path}: no test of it was run (exit {answer})")
        if answer == SURVIVED:
            survived.append(mutant)
    unexplained = [m for m in survived if not reasons.get(m.key)]
    for mutant in unexplained:
        words = {"in": mutant.where, "was": mutant.was, "now": mutant.now, "why": ""}
        print(yaml.safe_dump([words], sort_keys=False, width=10**6, allow_unicode=True), end="")
    for where, was, now in reasons.keys() - {m.key for m in survived}:
        print(f"# listed, but noticed or gone: {where}: {was} -> {now}")
    killed = ended - len(survived)
    row = target.path, ended, killed, len(survived), len(survived) - len(unexplained), len(unexplained)
    return row, not unexplained and killed >= LEAST_KILLED * ended


def main(words: Sequence[str]) -> int:
    """Measure the targets that *words* name, all if none; 0 if every one holds."""
    sys.dont_write_bytecode = False  # what is not changed is compiled once
    for name in sorted(GRAPH.modules - {"cyclesim.__main__"}):
        importlib.import_module(name)
    targets = [t for t in TARGETS if not words or any(word in t.path for word in words)]
    listed = yaml.safe_load(SURVIVORS.read_text()) or {}
    start, rows, held = time.monotonic(), [], True
    for target in targets:
        row, holds = measure(target, listed.get(target.path) or [])
        rows.append(row)
        held &= holds
        print(f"{target.path}: {row[2]} of {row[1]} noticed, {time.monotonic() - start:.0f} s", flush=True)
    heads = ("module", "mutants", "killed", "survived", "harmless", "unexplained")
    print(f"\n{heads[0]:<34}" + "".join(f"{head:>12}" for head in (*heads[1:3], "share", *heads[3:])))
    for path, count, killed, *rest in rows:
        cells = (count, killed, f"{100 * killed / count:.1f} %", *rest)
        print(f"{path:<34}" + "".join(f"{cell:>12}" for cell in cells))
    return 0 if targets and held else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
