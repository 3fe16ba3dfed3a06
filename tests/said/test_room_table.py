"""The pump room and the suction side on the page, from numbers made up here."""

from dataclasses import replace

from cyclesim.analysis.metrics import PumpRoomMetrics, SuctionMetrics
from cyclesim.said.page import Page
from cyclesim.said.room_table import say_suction
from cyclesim.shown.terminal import printed

ROW = SuctionMetrics(0.3, 8.42, "main high", 3.0, 2, 0.431)
NOTHING = SuctionMetrics(None, None, None, None, None, None)


def said(suction: dict[str, SuctionMetrics], room: PumpRoomMetrics | None) -> str:
    """The section on one line; no line of it is wider than a terminal."""
    page = Page()
    say_suction(page, suction, room)
    assert max(map(len, printed(page).splitlines())) <= 80
    return " ".join(printed(page).split())


def test_a_row_for_each_pump_and_the_room_in_a_line() -> None:
    """What is unknown is a dash; a pump below the water has its sign."""
    rows = {"main": ROW, "circulator": replace(NOTHING, above_water_m=-0.25)}
    text = said(rows, PumpRoomMetrics(True, False, True, 8.0, 0.6))
    assert "main 0.30 8.4 3.0 2 0.43" in text
    assert "circulator -0.25 - - - -" in text
    room = "below ground; without a drain; weather-tight; 8.0 m from the tub; 600 mm free before its machines"
    assert text.endswith(f"The pump room: {room}.")


def test_what_nobody_said_is_not_shown() -> None:
    """Neither a table of dashes nor a heading; a room alone has its line."""
    assert "" == said({"main": NOTHING}, None)
    above = said({"main": NOTHING}, PumpRoomMetrics(False, None, None, None, None))
    assert "Pump room and suction The pump room: not below ground." == above
