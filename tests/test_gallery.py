"""The pictures of the README: each can be drawn again, and is there."""

import re
import sys
from io import BytesIO
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "scripts"))

MADE_BY = {
    "workbench.png": "workbench",
    "plant.svg": "plant",
    "page.png": "page",
    "paper.png": "paper",
    "measured-pipe.svg": "measured",
    "compare.svg": "compare",
}


def test_every_picture_of_the_readme_is_drawn_by_the_script() -> None:
    """By its name; none is shown that nobody can draw again, and none is drawn that nobody sees."""
    from gallery import PICTURES

    shown = re.findall(r"schedules/gallery/([\w.-]+)\)", (ROOT / "README.md").read_text("utf-8"))
    assert sorted(MADE_BY) == sorted(set(shown))
    assert sorted(PICTURES) == sorted(MADE_BY.values())
    assert all((ROOT / "schedules" / "gallery" / name).stat().st_size for name in shown)


def test_the_drawn_plant_says_what_it_is_and_of_which_file() -> None:
    """Title, advice and the fingerprint of the file as it is shipped."""
    from cyclesim.scenario.reading.fingerprint import fingerprint

    text = (ROOT / "schedules" / "gallery" / "plant.svg").read_text("utf-8")
    mark = fingerprint([ROOT / "schedules" / "walled-garden-circulator.yaml"])
    assert f"Simulated; advice, not a controller. file {mark}" in text


def test_no_line_of_the_measured_pipe_lies_on_another() -> None:
    """What its lines are stands above the advice in the corner, and below what the axes are marked with."""
    from measured_pipe import measured_figure

    from cyclesim.shown.pictures.drawing import ADVICE, save

    drawn = []
    save(lambda: drawn.append(measured_figure()) or drawn[0], BytesIO(), ".png")
    (picture,) = drawn
    (key,), (advice,) = picture.legends, [text for text in picture.texts if text.get_text() == ADVICE]
    assert advice.get_window_extent().y1 < key.get_window_extent().y0
    assert key.get_window_extent().y1 < min(axes.get_tightbbox().y0 for axes in picture.axes)
