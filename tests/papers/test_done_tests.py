"""Tests that were done: filled in, given back, printed; and whatever a person may write wrong."""

import json
from pathlib import Path

import pytest

from cyclesim.errors import InputError
from cyclesim.scenario.reading.done_tests import DoneTest, read_done_tests

KNOWN = ("stays-off-element-main", "runs-on-main")
PRINT = "aaaa bbbb cccc dddd"
HEAD = f"fingerprint: {PRINT}\ntests:\n"
DONE = "as_expected: true, reading: 61 s, by: A. B., when: 2027-03-02"


def read(tmp_path, text):
    """What a file says was done."""
    file = tmp_path / "tests.yaml"
    file.write_text(text, encoding="utf-8")
    return read_done_tests(file, KNOWN, PRINT)


def test_a_filled_in_copy_is_read_and_what_stays_empty_is_not_done(tmp_path):
    """JSON is YAML: the copy may keep the form in which it was written."""
    entries = [
        {"id": KNOWN[0], "name": "any", "as_expected": "", "reading": "", "by": "", "when": ""},
        {"id": KNOWN[1], "as_expected": "no", "reading": 31, "by": "A. B.", "when": "2027-03-02"},
    ]
    done = read(tmp_path, json.dumps({"fingerprint": PRINT, "tests": entries}))
    assert {KNOWN[1]: DoneTest(False, "31", "A. B.", "2027-03-02")} == done


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            "fingerprint: x\n",
            "1:1: found no list of tests; expected a filled-in copy of what cyclesim papers FILE "
            "--json tests.yaml writes",
        ),
        (
            "fingerprint: x\ntests: []\n",
            "1:14: fingerprint: found 'x', the fingerprint of another file; expected tests of this very "
            f"scenario; the scenario's is {PRINT}: it has changed, and the tests are done anew",
        ),
        (
            f"{HEAD}  - {{id: runs-on-mian, {DONE}}}\n",
            "3:10: tests.0.id: found 'runs-on-mian', no test of this plant; expected the id of one of its "
            "tests; did you mean 'runs-on-main'?",
        ),
        (
            f"{HEAD}  - {{id: runs-on-main, {DONE}}}\n  - {{id: runs-on-main, {DONE}}}\n",
            "4:10: tests.1.id: found 'runs-on-main', a test that stands here already; each test stands once",
        ),
        (
            f"{HEAD}  - {{id: runs-on-main, {DONE.replace('true', 'perhaps')}}}\n",
            "3:37: tests.0.as_expected: found 'perhaps', neither; expected true or false",
        ),
        (
            f"{HEAD}  - {{id: runs-on-main, {DONE.replace('2027-03-02', '2027-02-30')}}}\n",
            "3:75: tests.0.when: found '2027-02-30', a date that does not exist; expected a date, "
            "e.g. 2027-02-01",
        ),
        (
            f"{HEAD}  - {{id: runs-on-main, as_expected: true, by: A. B., when: 2027-03-02}}\n",
            "3:5: tests.0.reading: found nothing to read; expected a text, e.g. 4 s or A. B.",
        ),
        (f"{HEAD}  - 5\n", "3:5: tests.0: found '5', a bare number; expected a test with its id"),
    ],
)
def test_what_cannot_be_used_is_told_by_its_place(tmp_path, text, says):
    """File, line, column, what was found and what is due."""
    with pytest.raises(InputError) as caught:
        read(tmp_path, text)
    assert f"{Path(tmp_path)}/tests.yaml:{says}" == str(caught.value)


def test_a_file_that_is_not_there_is_told_for_what_it_should_be(tmp_path):
    """The name, and what is expected."""
    with pytest.raises(InputError, match="found no file; expected a filled-in copy of what papers --json"):
        read_done_tests(tmp_path / "tests.yaml", KNOWN, PRINT)
