"""Faults read as one line each and survive a trip between processes."""

import pickle

from cyclesim.errors import CycleSimError, Fault, InputError

FAULT = Fault(
    "walled.yaml",
    12,
    7,
    "plant.legs.left.length",
    "'30 s', a time",
    "expected a length, e.g. 9 m",
    "sure?",
)


def test_a_fault_is_one_line_with_its_place_first():
    """File, line, column, path, what was found, what is due, the hint."""
    expected = (
        "walled.yaml:12:7: plant.legs.left.length: found '30 s', a time; expected a length, e.g. 9 m; sure?"
    )
    assert expected == str(FAULT)


def test_a_fault_without_a_place_names_the_file_alone():
    """A file that is not there has no lines."""
    assert str(Fault("x.yaml", 0, 0, "", "no file", "expected one")) == "x.yaml: found no file; expected one"


def test_an_input_error_lists_its_faults_and_can_be_rebuilt():
    """A worker process may hand the error back."""
    error = pickle.loads(pickle.dumps(InputError(FAULT, FAULT)))
    assert error.faults == (FAULT, FAULT)
    assert f"{FAULT}\n{FAULT}" == str(error)
    assert isinstance(error, CycleSimError)
    assert isinstance(error, ValueError)
