"""A played upgrade of quay over real SSH, for a watch that polls it: its clock stands still and is set."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import timedelta
from pathlib import Path

from collector import playing, rules
from collector.played_upgrade import Failure, Pace, Upgrade
from collector.playing import Playing
from collector.snapshot import Snapshot
from collector.watching.polling import SshPoller
from collector.watching.sighting import Happening, Sighting, WatchState
from collector.watching.watch import Outcome, Stop, watch
from collector.watching.watch import Pace as WatchPace
from inventory.opening import Fleet, open_inventory
from inventory.pairs import Pair
from parsers import catalogue
from tests.collector.playing_pair import BEGINS, IMAGE_BYTES
from tests.demo_fleet import INVENTORY

A, B = "quay-a", "quay-b"


@dataclass
class Played:
    """The play and who polls it."""

    fleet: Fleet
    pair: Pair
    playing: Playing
    poller: SshPoller

    @property
    def known_hosts(self) -> Path:
        """The file of the keys by which the members are recognised."""
        extras = self.fleet.nornir.inventory.hosts[A].get_connection_parameters("ssh").extras or {}
        return Path(extras["known_hosts"])


@dataclass
class Seen:
    """A keeper and viewer that only remembers."""

    sightings: list[Sighting] = field(default_factory=list)
    happenings: list[Happening] = field(default_factory=list)
    snapshots: list[Snapshot] = field(default_factory=list)
    shown: list[int] = field(default_factory=list)

    def keep(self, sighting: Sighting, happenings: Sequence[Happening], snapshot: Snapshot) -> None:
        self.sightings.append(sighting)
        self.snapshots.append(snapshot)
        self.happenings += happenings

    def polled(self, state: WatchState, happenings: Sequence[Happening]) -> None:
        # What is shown has been kept.
        assert state.latest == self.sightings[-1]
        self.shown.append(state.polls)


@contextmanager
def played(failure: Failure | None = None, *, silent: bool = False, silence: float = 20.0) -> Iterator[Played]:
    fleet = open_inventory(INVENTORY, rules.waivable())
    pair = next(each for each in fleet.pairs if each.name == "quay")
    upgrade = Upgrade("17.12.4", IMAGE_BYTES, replace(Pace(), speed=0.0), batches=3, failure=failure)
    with playing.play_pair(fleet, pair, upgrade, begins=BEGINS, silent=silent) as running:
        poller = SshPoller(fleet.nornir, pair, catalogue.needed_by("watch"), silence=silence)
        try:
            yield Played(fleet, pair, running, poller)
        finally:
            poller.close()


def follow(
    of: Played,
    state: WatchState,
    seen: Seen,
    *,
    seconds: float,
    stop: Stop | None = None,
    until: float = 6 * 3600,
    paused: Callable[[], None] = lambda: None,
) -> tuple[WatchState, Outcome]:
    """Watch the play, whose clock goes on by so many seconds between two polls."""

    def pause(_: float) -> None:
        of.playing.set_elapsed(of.playing.elapsed + seconds)
        paused()

    end = BEGINS + timedelta(seconds=until)
    pace = WatchPace(seconds, end)
    stop = stop or Stop(of.poller)
    return watch(of.pair, state, of.poller, stop, pace, seen, (seen,), now=of.playing.now, pause=pause)
