"""Python's search for circular rubbish, put off while much is made that has none."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def uncollected() -> Iterator[None]:
    """Inside, objects that point at each other stay; a run and a search make none on their way."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()
