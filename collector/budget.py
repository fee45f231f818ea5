"""How long an asking may go on."""

from __future__ import annotations

import time

from collector.result import Ended

# A signal can't wake who waits: it is looked for this often, in seconds.
_GLANCE = 0.2


class Budget:
    """The time that an asking has, from the moment when this is made, or no limit; and whether it was interrupted.

    Measured by a clock that nobody can set. `interrupt` may be called by a signal's handler.
    """

    def __init__(self, seconds: float | None = None) -> None:
        self.seconds = seconds
        self._end = None if seconds is None else time.monotonic() + seconds
        self._interrupted = False

    def interrupt(self) -> None:
        """Let it be spent from now on, whatever time is left."""
        self._interrupted = True

    def spent(self) -> Ended | None:
        """What ends the asking now; None while it may go on."""
        if self._interrupted:
            return Ended.INTERRUPTED
        if self._end is not None and time.monotonic() >= self._end:
            return Ended.DEADLINE
        return None

    def pause(self) -> float:
        """How long to wait, in seconds, before `spent` is worth another look."""
        left = _GLANCE if self._end is None else self._end - time.monotonic()
        return max(min(left, _GLANCE), 0.0)


def spoken(seconds: float) -> str:
    """A duration as a person says it, such as `45 min`, `1 h 30 min` or `90 s`."""
    whole = round(seconds)
    if whole < 120 and whole % 60:
        return f"{whole} s"
    parts = ((whole // 3600, "h"), (whole // 60 % 60, "min"), (whole % 60, "s"))
    return " ".join(f"{number} {unit}" for number, unit in parts if number) or "0 s"
