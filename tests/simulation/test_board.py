"""The board: what is done in a second ends in one pass, or in none where nothing has changed."""

from collections.abc import Iterator

import pytest

from cyclesim.simulation.board import Board
from cyclesim.simulation.clock import Priority

NEVER_S = 1000


@pytest.fixture
def told() -> list[tuple[str, int]]:
    """What has been told, in order."""
    return []


@pytest.fixture
def board(told: list[tuple[str, int]]) -> Board:
    """A board whose arbiter and whose heat tell when they were called."""
    return Board(0, lambda now: told.append(("pass", now)), lambda now: told.append(("on", now)))


def test_all_of_a_second_comes_before_its_one_pass(board: Board, told: list[tuple[str, int]]) -> None:
    """Two facts of one second, posted apart, are seen by one pass after both; the next second by another."""
    board.at(10, lambda: board.post(1, True))
    board.at(10, lambda: board.post(2, True))
    board.at(10, lambda: told.append(("third", board.facts)))
    board.at(11, lambda: board.post(1, False))
    board.run(NEVER_S, Priority.END)
    assert told == [("third", 3), ("pass", 10), ("pass", 11)]
    assert board.facts == 2


def test_what_changes_no_fact_asks_for_no_pass(board: Board, told: list[tuple[str, int]]) -> None:
    """Heat is handed on all the same, once in a second."""
    board.facts = 5
    board.at(10, lambda: board.set(2, 4))
    board.at(10, lambda: board.post(1, True))
    board.at(20, lambda: None)
    board.run(NEVER_S, Priority.END)
    assert told == [("on", 10), ("on", 20)]


def test_what_a_pass_asks_for_comes_in_its_second(board: Board, told: list[tuple[str, int]]) -> None:
    """A pass asked for in a later second comes there, after what else is done in it."""
    board.at(10, lambda: board.wake(11))
    board.at(11, lambda: told.append(("done", board.now)))
    board.run(NEVER_S, Priority.END)
    assert told == [("on", 10), ("done", 11), ("pass", 11)]


def test_a_reading_comes_before_what_is_posted(board: Board, told: list[tuple[str, int]]) -> None:
    """Something that is read in a second is read before anything of that second is done."""
    board.at(10, lambda: told.append(("posted", 10)))
    board.at(10, lambda: told.append(("read", 10)), Priority.READ)
    board.run(NEVER_S, Priority.END)
    assert told == [("read", 10), ("posted", 10), ("on", 10)]


def test_steps_go_on_in_their_seconds(board: Board, told: list[tuple[str, int]]) -> None:
    """The first step is gone at once, each later one in the second that the one before gave."""

    def steps() -> Iterator[int]:
        for at in (3, 7):
            told.append(("step", board.now))
            yield at
        board.wake()

    board.process(steps())
    assert told == [("step", 0)]
    board.run(NEVER_S, Priority.END)
    assert told == [("step", 0), ("step", 3), ("on", 3), ("pass", 7)]


def test_no_second_that_is_past(board: Board) -> None:
    """Nothing can be done before now, nor within a second."""
    board.run(10, Priority.CUT)
    assert board.now == 10
    for at in (9, 10.5):
        with pytest.raises(ValueError, match="whole second that is not past"):
            board.at(at, lambda: None)  # type: ignore[arg-type]


def test_what_is_planned_anew_leaves_nothing_behind(told: list[tuple[str, int]]) -> None:
    """It is done once, in the second that was planned last, and nothing happens in the others."""
    board: Board

    def go_on(now: int) -> None:
        told.append(("on", now))
        board.fix_next()

    board = Board(0, go_on, go_on)
    board.plan("a", 30, lambda: told.append(("early", 30)))
    board.plan("a", 50, lambda: told.append(("late", 50)))
    board.plan("b", 40, lambda: told.append(("never", 40)))
    board.at(10, lambda: board.plan("b", None, lambda: None))
    board.at(50, lambda: told.append(("at", 50)))
    board.run(NEVER_S, Priority.END)
    assert [name for name, _ in told] == ["on", "at", "late", "on"]
    assert told[0] == ("on", 10)
    assert told[-1] == ("on", 50)


def test_what_is_planned_for_a_second_may_plan_the_next(told: list[tuple[str, int]]) -> None:
    """Each time it is done it plans itself anew."""
    board: Board

    def again() -> None:
        told.append(("done", board.now))
        board.plan("a", board.now + 20 if board.now < 60 else None, again)

    def go_on(_: int) -> None:
        board.fix_next()

    board = Board(0, go_on, go_on)
    board.plan("a", 20, again)
    board.at(5, lambda: None)
    board.run(NEVER_S, Priority.END)
    assert told == [("done", 20), ("done", 40), ("done", 60)]
