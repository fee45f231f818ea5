"""The line that a sweep ends with, for whatever watches it. Its form is a contract."""

from __future__ import annotations

import time
from collections import Counter

from collector.finding import Verdict
from collector.result import Ended, PairResult


class LastLine:
    """What is known of a sweep while it goes on; the clock runs from the moment when this is made.

    `pairs` is how many are to be asked. `ended` is how the asking came to its end, as far as that is known.
    """

    def __init__(self) -> None:
        self.pairs = 0
        self.ended = Ended.FAILED
        self._began = time.monotonic()
        self._verdicts: Counter[Verdict] = Counter()
        self._not_in_time = 0

    def judged(self, result: PairResult) -> None:
        """A pair has its verdict."""
        self._verdicts[result.verdict] += 1
        self._not_in_time += not result.in_time

    def text(self, status: int) -> str:
        """The line; `status` is the exit status. With 2 or 3, whatever was asked, it failed."""
        ended = self.ended if status in (0, 1) or self.ended is Ended.INTERRUPTED else Ended.FAILED
        verdicts = ", ".join(
            f"{self._verdicts[verdict]} {verdict}" for verdict in (Verdict.GO, Verdict.NO_GO, Verdict.UNDECIDED)
        )
        # Those that a second signal left without a verdict; with the first one, every pair gets its own.
        left = self.pairs - self._verdicts.total() if ended is Ended.INTERRUPTED else 0
        return (
            f"readypair sweep: {self.pairs} pairs, {verdicts}, {self._not_in_time + left} not reached in time; "
            f"ended {ended} after {round(time.monotonic() - self._began)} s; exit {status}"
        )
