"""Shows how far a sweep is: a live line on a terminal, one plain line a pair elsewhere; always on standard error."""

from __future__ import annotations

from types import TracebackType
from typing import Self

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from collector.report.visible import visible
from collector.result import PairResult


class SweepProgress:
    """A context manager; `total` is the number of pairs.

    `verdict` is what stands before a verdict in a plain line, where another answer than that one was asked for.
    """

    def __init__(self, total: int, *, quiet: bool, verdict: str = "") -> None:
        self._verdict = verdict
        self._console = Console(stderr=True, quiet=quiet, highlight=False, markup=False)
        self._total = total
        self._done = 0
        self._live = Progress(
            TextColumn("asking", markup=False),
            BarColumn(bar_width=24),
            MofNCompleteColumn(),
            TextColumn("pairs", markup=False),
            TimeElapsedColumn(),
            TextColumn("{task.description}", markup=False),
            console=self._console,
            transient=True,
        )
        self._task = self._live.add_task("", total=total)

    def __enter__(self) -> Self:
        if self._console.is_terminal and not self._console.quiet:
            self._live.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._live.live.is_started:
            self._live.stop()

    def asked(self, member: str, what: str) -> None:
        """A member is being asked something."""
        self._live.update(self._task, description=visible(f"{member}: {what}"[:40]))

    def judged(self, result: PairResult) -> None:
        """A pair has its verdict."""
        self._done += 1
        self._live.update(self._task, advance=1)
        late = "" if result.in_time else " (not reached in time)"
        if not self._console.is_terminal:
            self._console.print(
                f"{self._done}/{self._total} {visible(result.pair.name)}: {self._verdict}{result.verdict.value}{late}"
            )
