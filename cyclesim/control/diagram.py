"""The machines drawn for a person: as text, as Mermaid, as Graphviz dot, as SVG where dot is installed."""

from __future__ import annotations

import shutil
import subprocess
from textwrap import wrap

from cyclesim.control.machines import Machine, Transition

_WIDTH = 80

# What a fact says when it is true, and when it is not, in the order in which a sentence names them.
_WORDS = {
    "trips": ("it trips", "nothing trips it"),
    "reset": ("a person has reset it", "nobody has reset it"),
    "called": ("heat is called for", "no heat is called for"),
    "blocked": ("something blocks it", "nothing blocks it"),
    "flow_ok": ("flow is sensed", "flow is not sensed"),
    "wants_run": ("it is wanted", "nobody wants it"),
    "wants_high": ("high is wanted", "high is not wanted"),
    "forced": ("a block or a loss of power leaves no choice", "nothing forces it"),
}

# What `time_up` says in each state; a state that is not named is a speed.
_SERVED = {
    "stopped": "it has rested",
    "off": "it has rested",
    "changing": "the changeover is over",
    "proving": "flow has lasted as long as it must",
    "proving_again": "flow has lasted as long as it must",
    "run_on": "the run-on is over",
}


def _phrase(transition: Transition) -> str:
    """The guard of one transition in words."""
    facts = dict.fromkeys(transition.when, True) | dict.fromkeys(transition.unless, False)
    words: list[str] = []
    if facts.get("wants_run") and "wants_high" in facts:  # the two together name a speed
        words.append("high is wanted" if facts.pop("wants_high") else "low is wanted")
        del facts["wants_run"]
    words += [_WORDS[fact][not facts[fact]] for fact in _WORDS if fact in facts]
    words += [
        fact if true else f"not {fact}" for fact, true in facts.items() if fact not in (*_WORDS, "time_up")
    ]
    if "time_up" in facts:
        words.append(_SERVED.get(transition.source, "the minimum run is over"))
    return " and ".join(filter(None, (", ".join(words[:-1]), *words[-1:])))


def _arrows(machine: Machine) -> dict[tuple[str, str], str]:
    """What leads from one state to another, in words; several ways are joined by "or"."""
    phrases_of: dict[tuple[str, str], list[str]] = {}
    for transition in machine.transitions:
        phrase = _phrase(transition)
        if machine.kind == "treatment":
            phrase = phrase.replace("no heat is called for", "nobody calls for it")
            phrase = phrase.replace("heat is called for", "it is called for")
        phrases_of.setdefault((transition.source, transition.dest), []).append(phrase)
    return {ends: ", or ".join(phrases) for ends, phrases in phrases_of.items()}


def ways_out(machine: Machine) -> list[tuple[str, str, str]]:
    """(state, the next one, when), in the order of the states."""
    ways = [(source, dest, label) for (source, dest), label in _arrows(machine).items()]
    return sorted(ways, key=lambda way: machine.states.index(way[0]))


def as_text(machine: Machine) -> str:
    """Each state and its ways out, at most 80 columns wide; of two that match, the upper is taken."""
    lines = [f"{machine.name} ({machine.kind}); at first {machine.initial}"]
    for source, dest, label in ways_out(machine):
        sentence = f"{source} -> {dest}: {label}"
        lines += wrap(sentence, _WIDTH, initial_indent="  ", subsequent_indent="      ")
    return "\n".join(lines) + "\n"


def as_mermaid(machine: Machine) -> str:
    """A Mermaid stateDiagram-v2."""
    lines = ["stateDiagram-v2", f"    [*] --> {machine.initial}"]
    lines += [f"    {source} --> {dest}: {label}" for (source, dest), label in _arrows(machine).items()]
    return "\n".join(lines) + "\n"


def as_dot(machine: Machine) -> str:
    """A Graphviz digraph; the initial state has a double border."""
    lines = [f"digraph {_quoted(machine.name)} {{", "  node [shape=box, style=rounded]"]
    lines.append("  edge [fontsize=10]")
    for state in machine.states:
        lines.append(f"  {state}{' [peripheries=2]' if state == machine.initial else ''}")
    for (source, dest), label in _arrows(machine).items():
        lines.append(f"  {source} -> {dest} [label={_quoted(chr(10).join(wrap(label, 28)))}]")
    return "\n".join([*lines, "}"]) + "\n"


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n") + '"'


def as_svg(machine: Machine) -> str | None:
    """The dot drawing as SVG, or None where Graphviz's dot is not installed."""
    dot = shutil.which("dot")
    if dot is None:
        return None
    drawn = subprocess.run([dot, "-Tsvg"], input=as_dot(machine), capture_output=True, text=True, check=True)
    return drawn.stdout
