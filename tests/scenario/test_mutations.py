"""Whatever happens to a file, the answer is a scenario or a list of faults."""

from hypothesis import given, settings
from hypothesis import strategies as st

from cyclesim.errors import InputError
from cyclesim.scenario.reading.load import load_text
from cyclesim.scenario.reading.starter import starter_text

LINES = [line for line in starter_text().splitlines() if line.strip() and not line.lstrip().startswith("#")]
TEXT = "\n".join(LINES)
PIECES = (
    """: |- |[|]|{|}|'|"|#|*a|&a |!!int |<<|~|0|-1|1e999|nan|parallel|tub|main low|null|off|é|1 m|\t|\n|\0"""
)
pieces = st.one_of(st.sampled_from([*PIECES.split("|"), "9" * 40]), st.text(max_size=5))
places, lines = st.integers(0, len(TEXT)), st.integers(0, 60)
edits = st.lists(
    st.one_of(
        st.tuples(st.just("delete"), places, st.integers(1, 40)),
        st.tuples(st.just("insert"), places, pieces),
        st.tuples(st.just("replace"), places, pieces),
        st.tuples(st.just("swap"), lines, lines),
        st.tuples(st.just("drop"), lines, st.integers(1, 12)),
        st.tuples(st.just("double"), lines, st.integers(1, 3)),
    ),
    min_size=1,
    max_size=6,
)


def mutate(text, edits):
    """The text after each edit in turn."""
    for what, where, how in edits:
        lines = text.split("\n")
        if what == "delete":
            text = text[:where] + text[where + how :]
        elif what == "insert":
            text = text[:where] + how + text[where:]
        elif what == "replace":
            text = text[:where] + how + text[where + 1 :]
        else:
            if what == "swap" and max(where, how) < len(lines):
                lines[where], lines[how] = lines[how], lines[where]
            elif what == "drop":
                del lines[where : where + how]
            elif what == "double":
                lines[where:where] = lines[where : where + how]
            text = "\n".join(lines)
    return text


def faults_of(text, sets=()):
    """The faults of a text, none if it loads; any other error goes through."""
    try:
        load_text(text, sets=sets)
    except InputError as error:
        return error.faults or ("an error without a fault",)
    return ()


@settings(max_examples=300, deadline=None)
@given(edits)
def test_a_mutated_starter_loads_or_is_refused_with_faults(edits):
    """Characters or lines deleted, inserted, replaced or swapped never end in another error."""
    for fault in faults_of(mutate(TEXT, edits)):
        assert fault.line
        assert fault.found
        assert fault.allowed


def block(keys):
    """A flow mapping."""
    return "{" + ", ".join(f"{key}: {value}" for key, value in keys.items()) + "}"


KEYS = st.sampled_from(["file", "monthly_means", "parallel", "zone", "low", "a", "block", "keep", "curve"])
ANYTHING = st.recursive(
    st.sampled_from(["5", "'main low'", "1e999", "true", "30 s", "soil", "''", "-3"]),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map(lambda items: f"[{', '.join(items)}]"),
        st.dictionaries(KEYS, inner, max_size=3).map(block),
    ),
    max_leaves=6,
)
PATHS = [
    "place",
    "place.zones",
    "place.zones.soil",
    "place.weather",
    "supply.tariff",
    "supply.tariff.windows",
    "plant",
    "plant.tub",
    "plant.tub.cover",
    "plant.tub.dimensions",
    "plant.legs",
    "plant.legs.left_bench",
    "plant.legs.left_bench.fittings",
    "plant.legs.left_bench.manifold",
    "plant.pumps",
    "plant.pumps.main",
    "plant.pumps.main.low",
    "plant.pumps.main.low.curve",
    "plant.pumps.main.low.curve.1",
    "plant.heat_sources.element",
    "plant.junctions",
    "plant.network",
    "plant.network.0",
    "plant.network.0.1",
    "plant.valves",
    "schedule",
    "schedule.heating",
    "schedule.heating.with",
    "schedule.filter_runs",
    "schedule.filter_runs.0.start",
    "schedule.bathing.0.days",
    "schedule.quiet_hours",
    "schedule.ranks",
    "interlocks",
    "interlocks.0",
    "limits.growth_band",
    "controller",
    "format",
    "title",
]


@settings(max_examples=300, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(PATHS), ANYTHING), min_size=1, max_size=3))
def test_any_value_anywhere_is_taken_or_refused_with_faults(values):
    """Any part of the file replaced by another shape never ends in another error or a library's words."""
    for fault in faults_of(TEXT, [f"{path}={value}" for path, value in values]):
        assert "[type=" not in str(fault)
        assert "something else" not in str(fault)
