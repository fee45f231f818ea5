"""The watch of one pair: poll after poll, each stored before it is shown, until both members prove that all is done."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Protocol

from collector.capture import Capture
from collector.judging import snapshot_of
from collector.snapshot import Snapshot
from collector.watching.following import follow
from collector.watching.hearing import is_hot
from collector.watching.polling import Poller
from collector.watching.recognising import sight
from collector.watching.sighting import Happening, Sighting, WatchState
from inventory.pairs import Pair

_GLANCE = 0.2


class Outcome(StrEnum):
    """How a watch ended; only the first one is good, and the last two can be taken up again."""

    DONE = "done"
    ROLLED_BACK = "rolled back"
    TIME = "out of time"
    INTERRUPTED = "interrupted"


class Keeper(Protocol):
    """Keeps each poll."""

    def keep(self, sighting: Sighting, happenings: Sequence[Happening], snapshot: Snapshot) -> None:
        """Store a poll; it may raise only what is to end the watch."""


class Viewer(Protocol):
    """Whoever is shown what a poll brought."""

    def polled(self, state: WatchState, happenings: Sequence[Happening]) -> None:
        """A poll has been stored."""


@dataclass(frozen=True)
class Pace:
    """How long after the beginning of a poll the next one begins, in seconds, and when the watch ends whatever is."""

    every: float
    until: datetime


class Stop:
    """Ends a watch from a signal's handler: the poll that goes on is thrown away."""

    def __init__(self, poller: Poller) -> None:
        self._poller = poller
        self.asked = False
        """Whether it is to end."""

    def stop(self) -> None:
        """End it, whatever its members do."""
        self.asked = True
        self._poller.stop()

    def pause(self, seconds: float) -> None:
        """Wait so long, or until it is to end."""
        end = time.monotonic() + seconds
        # A signal can't wake who waits: it is looked for every now and then.
        while not self.asked and (left := end - time.monotonic()) > 0:
            time.sleep(min(left, _GLANCE))


def watch(
    pair: Pair,
    state: WatchState,
    poller: Poller,
    stop: Stop,
    pace: Pace,
    keeper: Keeper,
    viewers: Sequence[Viewer],
    *,
    now: Callable[[], datetime] = lambda: datetime.now().astimezone(),
    pause: Callable[[float], None] | None = None,
) -> tuple[WatchState, Outcome]:
    """Go on from this state until the watch ends; returns the last state, and how it ended.

    Raises what the keeper raises.
    """
    pause = pause or stop.pause
    while (outcome := concluded(state)) is None:
        moment, began = now(), time.monotonic()
        if moment >= pace.until:
            return state, Outcome.TIME
        captures = poller.poll() if not stop.asked else {}
        if stop.asked:
            return state, Outcome.INTERRUPTED
        state = _polled(pair, state, captures, moment, keeper, viewers)
        if concluded(state) is None:
            pause(max(pace.every - (time.monotonic() - began), 0.0))
    return state, outcome


def concluded(state: WatchState) -> Outcome | None:
    """How the pair's state ends the watch: done as both members prove it, or whole again on the old release."""
    if state.done is not None:
        return Outcome.DONE
    latest = state.latest
    if latest is None or latest.stage != "rolled-back" or latest.operating is not False or latest.timer == "active":
        return None
    back = [member for member in latest.members if member.answered and member.on_target is False]
    hot = [member for member in back if member.role == "standby" and is_hot(member)]
    return Outcome.ROLLED_BACK if len(back) == len(latest.members) and len(hot) == 1 else None


def _polled(
    pair: Pair,
    state: WatchState,
    captures: dict[str, list[Capture]],
    moment: datetime,
    keeper: Keeper,
    viewers: Sequence[Viewer],
) -> WatchState:
    snapshot = snapshot_of(pair, captures, moment)
    sighting = sight(state.polls + 1, snapshot, state.target, state.latest, state.baseline)
    state, happenings = follow(state, sighting)
    keeper.keep(sighting, happenings, snapshot)
    for viewer in viewers:
        viewer.polled(state, happenings)
    return state
