"""simpy events at absolute whole seconds, and the order of what happens within one second."""

from __future__ import annotations

from collections.abc import Callable
from enum import IntEnum

import simpy


class Priority(IntEnum):
    """Order within one second; 0 and 1 belong to simpy."""

    CUT = 2
    READ = 3
    POST = 4
    SCAN = 5
    END = 9


class At(simpy.Event):
    """Fires at an absolute whole second, before or after others of that second by its priority."""

    def __init__(
        self,
        env: simpy.Environment,
        at_s: int,
        priority: Priority,
        called: tuple[Callable[[At], None], ...] = (),
        do: Callable[[], None] | None = None,
    ) -> None:
        """All *called* get the event then; *do* is for them to do."""
        now = env.now
        if at_s.__class__ is not int or at_s < now:
            raise ValueError(f"an event needs a whole second that is not past (got {at_s!r} at {now!r})")
        self.env, self.callbacks, self.do = env, [*called], do  # as simpy's own timeouts do, without a call
        self._ok, self._value = True, None
        env.schedule(self, priority, at_s - now)  # type: ignore[arg-type]  # any int is a priority
