"""A window of quay in a store: its baseline, a watch of a played upgrade, and the comparison after it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

from collector.capture import Capture
from collector.judging import judge_snapshot, snapshot_of
from collector.nights.night import Source
from collector.played_upgrade import Failure, Play
from collector.rules.flash_space import rooms
from collector.store.store import Start, Store, WatchStart, opened
from collector.watching import stage_log
from collector.watching.following import follow
from collector.watching.recognising import sight
from collector.watching.sighting import plain
from collector.watching.watch import Outcome, concluded
from parsers import catalogue
from tests.collector.playing_pair import BEGINS, answering, text
from tests.collector.watching import polls
from tests.demo_fleet import fleet

COMPARED = tuple(command.text for command in catalogue.needed_by("compare"))
EVENING = -1800.0
Edit = Callable[[Capture], Capture]


def unchanged(capture: Capture) -> Capture:
    return capture


def last(of: Play) -> float:
    """The second of the play at which all is over."""
    return of.cues[-1] + 900


def keep(
    store: Store, of: Play, moment: float, source: Source, *, shown: float | None = None, edit: Edit = unchanged
) -> None:
    """Store the pair as it is at this second of the play, asked then; `shown` is another second of the play."""
    asked = BEGINS + timedelta(seconds=moment)
    scene = moment if shown is None else shown
    captures = {
        name: [
            edit(Capture(name, command, _at(asked, text(of, scene, name, command)), started=asked, seconds=0.2))
            for command in COMPARED
        ]
        for name in answering(of, scene)
    }
    pair = replace(polls.pair(), target_release=polls.TARGET)
    snapshot = snapshot_of(pair, captures, asked + timedelta(seconds=20))
    result = judge_snapshot(snapshot, fleet().policy, fleet().waivers)
    writer = store.begin(Start(source, "north", "/etc/readypair", False, asked))
    writer.keep(snapshot, result, rooms=rooms(snapshot, fleet().policy))
    writer.finish(snapshot.moment)


def _at(asked: datetime, said: str) -> str:
    """What a member said at the play's begin, with the clock of this moment instead."""
    return said.replace(f"{BEGINS:%H:%M:%S}.", f"{asked:%H:%M:%S}.")


def watch(store: Store, of: Play, every: float = 60.0) -> None:
    """Store a watch that polls so often, until it ends by itself or the play is over."""
    state = polls.start()
    writer = store.begin_watch(WatchStart("quay", polls.TARGET, "/etc/readypair", "north", BEGINS, plain(state)))
    for number, moment in enumerate(polls.every(every, of), 1):
        snapshot = polls.snapshot(of, moment)
        sighting = sight(number, snapshot, polls.TARGET, state.latest)
        state, happenings = follow(state, sighting)
        writer.keep(sighting, happenings, snapshot)
        ended: Outcome | None = concluded(state)
        if ended is not None:
            writer.finish(snapshot.moment, ended.value, stage_log.durations(state))
            return


def fill(
    path: Path,
    *,
    failure: Failure | None = None,
    watched: bool = True,
    before: bool = True,
    after: bool = True,
    edit: Edit = unchanged,
) -> Path:
    """A new store at this path that holds a whole window, or the parts of it."""
    of = polls.play(failure)
    with opened(str(path)) as store:
        if before:
            keep(store, of, EVENING, Source.BASELINE, shown=0.0, edit=edit)
        if watched:
            watch(store, of)
        if after:
            keep(store, of, last(of), Source.COMPARE, edit=edit)
    return path
