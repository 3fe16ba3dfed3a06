"""Inputs larger than any person writes: each is refused at once, by its place, in a message of one line."""

from pathlib import Path

import pytest

from cyclesim.errors import InputError
from cyclesim.scenario.reading.load import TOLD, load, load_text
from cyclesim.scenario.reading.starter import starter_text
from cyclesim.scenario.text import csv_file
from cyclesim.scenario.text.csv_file import WEATHER, Series, read_series
from cyclesim.units import QuantityError, parse

TEXT = starter_text()
SCHEDULES = Path(__file__).resolve().parents[2] / "schedules"
LONG = 2_000_000
"""So many steps of the square of it take hours, and of itself less than a second."""


def faults(text=TEXT, sets=()):
    """What is said against a text."""
    with pytest.raises(InputError) as caught:
        load_text(text, "tub.yaml", sets=sets)
    return caught.value.faults


@pytest.mark.parametrize(
    "text", ["1" * LONG, "1" * LONG + " m", "1" + " " * LONG + "m", "1 " * LONG, "1/" * LONG, "." * LONG]
)
def test_a_long_quantity_is_refused_before_it_is_matched(text):
    """Patterns that try every split of a text would take hours."""
    with pytest.raises(QuantityError, match=r"^a text that is too long for a quantity; expected a length"):
        parse(text, "length")


def test_a_long_word_is_not_compared_with_others():
    """A pump and its speed, of which each could be meant by a slip."""
    told = faults(sets=[f"schedule.heating.pump=m{'x' * 500_000}"])
    assert "a text that is too long; expected a pump and its speed, e.g. main low" in str(told[0])
    assert all(len(str(fault)) < 300 for fault in told)


def test_no_more_faults_than_a_person_mends_at_once():
    """A hundred, in the order of their lines, and that there are more."""
    text = TEXT.replace("plant:\n", "plant:\n" + "".join(f"  legz_{k}: 5\n" for k in range(TOLD + 50)), 1)
    told = faults(text)
    assert TOLD + 1 == len(told)
    assert list(told) == sorted(told)
    assert (f"the first {TOLD} are told", told[-2].line + 1) == (told[-1].allowed, told[-1].line)


def read(tmp_path, text):
    """The series of a text, or its faults as lines."""
    (tmp_path / "x.csv").write_text(text, encoding="utf-8", newline="")
    found = read_series(tmp_path / "x.csv", "x.csv", WEATHER)
    return found if isinstance(found, Series) else [str(fault) for fault in found]


def test_a_plant_with_more_duties_than_are_worked_out():
    """The starter's pump makes three, eight more pumps with one speed 3 x 2^8 = 768."""
    pump = "{max_head: 5 m, max_flow: 9 gpm, power: 50 W, zone: pump_room}"
    text = TEXT.replace("  pumps:\n", "  pumps:\n" + "".join(f"    p{k}: {pump}\n" for k in range(8)), 1)
    line = 1 + TEXT.splitlines().index("plant:")
    expected = f"tub.yaml:{line}:1: plant: found 768 combinations of pump speeds and valve positions; at most"
    assert str(faults(text)[0]).startswith(expected)


def test_a_pipe_that_breaks_the_surface_is_not_buried():
    """63 mm outside and twice 9 mm of foam are 81 mm: with its axis 40 mm deep it lies open, at 41 mm not."""
    shallow = TEXT.replace("soil: {depth: 600 mm}", "soil: {depth: 40 mm}", 1)
    told = faults(shallow)
    assert 4 == len(told)
    assert [line for line, row in enumerate(TEXT.splitlines(), 1) if "{pipe: 63 PN10" in row] == [
        fault.line for fault in told
    ]
    assert str(told[0]).endswith(
        "plant.legs.suction_left.zone: found 'soil', soil at 40 mm; a pipe 81 mm thick lies deeper than half "
        "of that; depth is that of the pipe's axis"
    )
    assert load_text(shallow.replace("40 mm}", "41 mm}"))


HEAD = "time,temperature [degC]\n"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            "time,temperature [degC]\r2027-01-01 00:00,5\r2027-01-01 01:00,5\r" * 50_000,
            "1:24: found a carriage",
        ),
        (f"{HEAD}2027-01-01 00:00,5\n2027-01-01 01:00,5\r2027-01-01 02:00,5\n", "3:19: found a carriage"),
        ("time" + ",abc" * LONG, "1:1: found a line of 8,000,004 characters; at most 2,000 are allowed"),
        ("time,x" + " " * LONG + "y", "1:1: found a line of 2,000,007 characters"),
        (HEAD + "1," * LONG + "\n", "2:1: found a line of 4,000,000 characters"),
    ],
    ids=["only returns", "one return", "header", "spaces", "row"],
)
def test_a_row_without_end_is_refused_by_its_length(tmp_path, text, says):
    """A lone carriage return is named as what it is: with it, a whole file would be one row."""
    assert read(tmp_path, text)[0].startswith(f"x.csv:{says}")


def test_windows_line_ends_and_doubled_ones_are_read(tmp_path):
    """Only a return without a line feed after it is refused."""
    for end in ("\r\n", "\r\r\n"):
        text = end.join(["time,temperature [degC]", "2027-01-01 00:00,5", "2027-01-01 01:00,5", ""])
        assert 2 == read(tmp_path, text).steps
    assert 2 == read(tmp_path, f"{HEAD}2027-01-01 00:00,5\n2027-01-01 01:00,5\r").steps


def test_a_file_of_faults_is_not_read_to_its_end(tmp_path, monkeypatch):
    """After a thousand nothing more is learnt; that there are more is said."""
    told = read(tmp_path, HEAD + "x\n" * LONG)
    assert "x.csv:22:1: found at least 980 more faults; the first 20 are told" == told[-1]
    monkeypatch.setattr(csv_file, "MOST_FAULTS", 10)
    assert "x.csv:11:1: found 1 fields; expected 2, as in the header" == read(tmp_path, HEAD + "x\n" * 90)[-1]


@pytest.mark.parametrize(
    ("written", "hint"),
    [
        (("99 MW", "power"), "write 99000000 W"),
        (("5 km", "length"), "write 5000 m"),
        (("1 MPa", "head"), "write 1000000 Pa"),
        (("5 hPa", "head"), "write 500 Pa"),
        (("3 hL", "volume"), "write 300 L"),
        (("5 Mw", "power"), "write 5000000 W"),
        (("5 KW", "power"), "did you mean 5 kW?"),
        (("9 gpn", "flow"), "did you mean 9 gpm?"),
        (("5 kph", "speed"), "did you mean 5 km/h?"),
        (("3 hh", "time"), "did you mean 3 h?"),
        (("5000 mmm", "length"), "did you mean 5000 mm?"),
        (("1 h30", "time"), "say the unit of 30, too"),
    ],
)
def test_a_hint_is_the_same_amount(written, hint):
    """By the prefixes of the SI: a megawatt is a million watts, a hectopascal a hundred pascals.

    A letter that stands twice is no prefix, and half of what was written is no hint.
    """
    with pytest.raises(QuantityError) as caught:
        parse(*written)
    assert hint == caught.value.hint


def test_units_that_are_known_apart_are_no_misspelling():
    """A cubic metre a minute is a thousand litres a minute."""
    with pytest.raises(QuantityError) as caught:
        parse("3 m3/min", "flow")
    assert caught.value.hint.startswith("known units: L/min")


HIGH = "plant.pumps.main.high"
CURVE = "[[0 L/min, 15 m], [250 L/min, 13 m], [460 L/min, 6 m]]"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        # 2 / sqrt(27) x 993 kg/m3 x 9.807 m/s2 x 16 m x 0.01 m3/s, at the top of the parabola
        (
            f"{HIGH}={{max_head: 16 m, max_flow: 600 L/min, power: 550 W}}",
            f"{HIGH}.power: found '550 W', less than its curve gives the water; expected at least 599.7 W",
        ),
        # 993 kg/m3 x 9.807 m/s2 x 13 m x 250 L/min
        (f"{HIGH}={{curve: {CURVE}, power: 500 W}}", "water; expected at least 527.5 W"),
        ("plant.tub.dimensions.depth=700 cm", "too large; more than 0 mm and at most 2 m is allowed"),
        ("plant.heat_sources.element.output=3 W", "too small; at least 100 W and at most 100 kW is allowed"),
    ],
)
def test_what_no_plant_has_is_refused(change, said):
    """A pump that gives more than it draws, a tub seven metres deep, an element of three watts."""
    [told] = faults(sets=[change])
    assert said in str(told)


def test_who_writes_us_units_is_told_bounds_in_them_too() -> None:
    """40 degC are 104 degF, 300 m are 984.25 ft, 200,000 L are 52,834 gal; a metric file is told neither."""
    cedar = SCHEDULES / "cedar-yard.yaml"
    for change, told in (
        ("schedule.heating.keep_at=150 degF", "at most 40 degC (104 degF) is allowed"),
        ("plant.legs.suction.length=3000 ft", "more than 0 mm and at most 300 m (984 ft) is allowed"),
        ("plant.tub.water=90000 gal", "at most 200000 L (52,800 gal) is allowed"),
    ):
        with pytest.raises(InputError) as caught:
            load(cedar, sets=[change])
        assert told in str(caught.value)
    with pytest.raises(InputError) as caught:
        load(SCHEDULES / "slate-barn.yaml", sets=["schedule.heating.keep_at=150 degF"])
    assert "at most 40 degC is allowed" in str(caught.value)
