"""Shows a watch while it goes on: drawn anew a line at a time on a terminal, as a log elsewhere, or as JSON.

A terminal at the end of a slow line gets what changed and no more: nothing is sent between two polls.
"""

from __future__ import annotations

import json
from collections import deque
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import TextIO

from collector.report import watch_terminal
from collector.report.visible import visible
from collector.watching import stage_log
from collector.watching.sighting import Happening, WatchState, plain

HEARTBEAT = timedelta(minutes=5)
"""A log that has nothing to tell says so this often."""

_TAIL = 5
_UP, _TO_END_OF_LINE, _TO_END, _CLEAR = "\x1b[{}A", "\x1b[K", "\x1b[J", "\x1b[H\x1b[2J"


class Live:
    """The picture at the foot of a terminal, and above it the log, which scrolls; `size` gives columns and lines.

    `note` is asked at every poll what else there is to say.
    """

    def __init__(
        self,
        stream: TextIO,
        size: Callable[[], tuple[int, int]],
        note: Callable[[], str] = lambda: "",
        *,
        colours: bool = True,
    ) -> None:
        self._stream = stream
        self._size = size
        self._note = note
        self._colours = colours
        self._remedies: dict[tuple[str, str], str] = {}
        self._log: deque[Happening] = deque(maxlen=_TAIL)
        self._drawn: list[str] = []
        self._width = 0

    def remember(self, happenings: Sequence[Happening]) -> None:
        """Take in what happened before this watch was taken up again."""
        self._log.extend(happenings)
        for each in happenings:
            if each.id is not None and each.remedy:
                self._remedies[(each.id, each.subject)] = each.remedy

    def polled(self, state: WatchState, happenings: Sequence[Happening]) -> None:
        """Draw what changed."""
        self.remember(happenings)
        width, height = self._size()
        picture = watch_terminal.lines(
            watch_terminal.picture(state, self._remedies, self._note()), width, colours=self._colours
        )
        # What is taller than the terminal can't be gone back to.
        picture = picture[: max(height - 1, 1)]
        if not self._drawn or width != self._width:
            # Another width has broken the lines that stand there anew: nobody knows where.
            start = _CLEAR if self._drawn else ""
            self._send(start + self._happened(tuple(self._log), width) + _whole(picture))
        elif happenings or len(picture) != len(self._drawn):
            up = _UP.format(len(self._drawn))
            self._send(f"{up}\r{_TO_END}" + self._happened(happenings, width) + _whole(picture))
        else:
            self._send(_changed(self._drawn, picture))
        self._drawn, self._width = picture, width

    def ended(self, state: WatchState) -> None:
        """Leave the picture as it is, and the stage log below it."""
        self._send("".join(f"{visible(line)}\n" for line in ("", *watch_terminal.ended(state))))

    def _happened(self, happenings: Sequence[Happening], width: int) -> str:
        parts = (watch_terminal.lines(watch_terminal.happening(h), width, colours=self._colours) for h in happenings)
        return "".join(f"{line}\n" for part in parts for line in part)

    def _send(self, text: str) -> None:
        self._stream.write(text)
        self._stream.flush()


def _whole(lines: Sequence[str]) -> str:
    return "".join(f"{line}\n" for line in lines)


def _changed(before: Sequence[str], now: Sequence[str]) -> str:
    """From the line below the picture up to the first line that changed, and down again."""
    first = next((at for at, (old, new) in enumerate(zip(before, now, strict=True)) if old != new), None)
    if first is None:
        return ""
    below = zip(before[first:], now[first:], strict=True)
    rest = "".join("\n" if old == new else f"{new}{_TO_END_OF_LINE}\n" for old, new in below)
    return _UP.format(len(now) - first) + "\r" + rest


class Log:
    """A line for each thing that happened, and every few minutes one that says how it stands."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._last: datetime | None = None

    def remember(self, happenings: Sequence[Happening]) -> None:
        """What happened before stands in an earlier log."""

    def polled(self, state: WatchState, happenings: Sequence[Happening]) -> None:
        """Tell what happened, or how it stands where nothing has for a while."""
        latest = state.latest
        if latest is None:
            return
        for each in happenings:
            self._say(stage_log.line(each))
        if happenings or self._last is None:
            self._last = latest.moment
        elif latest.moment - self._last >= HEARTBEAT:
            self._last = latest.moment
            self._say(f"{latest.moment:%Y-%m-%d %H:%M:%S}   {'; '.join(_standing(state))}")

    def ended(self, state: WatchState) -> None:
        """The stage log."""
        for line in watch_terminal.ended(state):
            self._say(line)

    def _say(self, line: str) -> None:
        self._stream.write(f"{visible(line)}\n")
        self._stream.flush()


def _standing(state: WatchState) -> list[str]:
    latest = state.latest
    away = [f"nothing heard of {away.name} since {away.since:%H:%M}" for away in state.away]
    return [*stage_log.status(state), *away] or [latest.statement if latest is not None else "no poll yet"]


class Json:
    """One JSON object a line: each happening, each sighting, and at the end the stage log."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def remember(self, happenings: Sequence[Happening]) -> None:
        """What happened before was printed before."""

    def polled(self, state: WatchState, happenings: Sequence[Happening]) -> None:
        """What the poll saw, and what that brought."""
        if state.latest is not None:
            self._print({"sighting": plain(state.latest)})
        for each in happenings:
            self._print({"happening": plain(each)})

    def ended(self, state: WatchState) -> None:
        """The runs of the stages, as they came to stand."""
        self._print({"stages": plain(state)["runs"]})

    def _print(self, data: object) -> None:
        # Escaped, so that it can be printed whatever the locale.
        self._stream.write(json.dumps(data) + "\n")
        self._stream.flush()
