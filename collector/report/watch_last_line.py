"""The line that a watch ends with, for whatever started it. Its form is a contract."""

from __future__ import annotations

import time
from collections.abc import Sequence

from collector.report.visible import visible
from collector.watching.sighting import Happening, WatchState
from collector.watching.watch import Outcome


class WatchLastLine:
    """What is known of a watch while it goes on; the clock runs from the moment when this is made.

    Polls, warnings and failures are those of the whole watch, whoever began it.
    """

    def __init__(self, pair: str) -> None:
        self.pair = pair
        self.target = ""
        self.ended: Outcome | None = None
        self.state: WatchState | None = None
        """The state after the latest poll that was stored."""
        self._began = time.monotonic()
        self._warnings = 0

    def remember(self, happenings: Sequence[Happening]) -> None:
        """What happened before it was taken up again."""
        self._warnings += sum(each.severity == "warning" for each in happenings)

    def polled(self, state: WatchState, happenings: Sequence[Happening]) -> None:
        """A poll has been stored."""
        self.state = state
        self.remember(happenings)

    def text(self, status: int) -> str:
        """The line; `status` is the exit status. With 2 or 3 the watch failed, unless somebody interrupted it."""
        state = self.state
        stage = state.run.stage if state is not None and state.run is not None else "unclear"
        polls = state.polls if state is not None else 0
        failures = len(state.failures) if state is not None else 0
        ended: str = self.ended if self.ended and (status in (0, 1) or self.ended is Outcome.INTERRUPTED) else "failed"
        if ended is Outcome.DONE and state is not None and state.up:
            ended = f"done with {_counted(state)}"
        return (
            f"readypair watch: {visible(self.pair)}{f' to {self.target}' if self.target else ''}, {polls} polls, "
            f"stage {stage}, {self._warnings} warnings, {failures} failures; "
            f"ended {ended} after {round(time.monotonic() - self._began)} s; exit {status}"
        )


def _counted(state: WatchState) -> str:
    """What is still up: the failures, or the warnings where there are no failures."""
    failures = sum(each.severity == "failure" for each in state.up)
    number, what = (failures, "failure") if failures else (len(state.up), "warning")
    return f"{number} {what}{'' if number == 1 else 's'}"
