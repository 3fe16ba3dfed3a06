"""Plants of a text in which a few words are replaced."""

from collections.abc import Callable

from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load_text

Build = Callable[..., Scenario]


def built_from(text: str) -> Build:
    """What gives the plant of a text with (old, new) words replaced; each old one must stand there once."""

    def make(*changes: tuple[str, str]) -> Scenario:
        changed = text
        for old, new in changes:
            assert 1 == changed.count(old), old
            changed = changed.replace(old, new)
        return load_text(changed, "plant.yaml")

    return make
