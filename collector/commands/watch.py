"""One pair's window, followed from outside until both members prove that all is done."""

from __future__ import annotations

import argparse
import os
import re
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta, timezone, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING

from collector.commands.asking import prepare_recorded, prepare_ssh
from collector.commands.choosing import aimed, one_pair, open_fleet
from collector.commands.options import INVENTORY_HELP, PAIR_HELP, TARGET_HELP, Commands, add_command, store_options
from collector.commands.options import seconds as duration
from collector.commands.remembering import collector_name, named_store, stage_history
from collector.commands.telling import GO, NOT_GO, WRONG_QUESTION, UsageError, complain
from collector.commands.telling_on import receivers_of

if TYPE_CHECKING:
    from typing import TextIO

    from collector.notify import Receiver
    from collector.report.watch_last_line import WatchLastLine
    from collector.report.watch_live import Json, Live, Log
    from collector.signals import Signals
    from collector.snapshot import Snapshot
    from collector.store.store import Store
    from collector.watching.keeping import Begun
    from inventory.opening import Fleet
    from inventory.pairs import Pair

LEAST_SECONDS = 5.0
"""No poll follows another one sooner: a controller in its window has something else to do."""

_MOST_SECONDS = 3600.0
_LONGEST = "12h"


def add(commands: Commands) -> None:
    """Offer `watch`."""
    store = store_options("the store that keeps every poll: a file or postgresql://… (default: $READYPAIR_STORE)")
    command = add_command(commands, "watch", do, "follow the window of a pair, read-only, from start to commit", store)
    command.add_argument("pair", metavar="PAIR", help=PAIR_HELP)
    command.add_argument("--inventory", metavar="DIR", type=Path, help=INVENTORY_HELP)
    command.add_argument("--target", metavar="RELEASE", help=TARGET_HELP)
    every = "seconds from one poll of both members to the next (default: 30)"
    command.add_argument("--every", metavar="SECONDS", type=_every, default=30.0, help=every)
    until = f"end then: a time such as 06:00 or 2027-02-07T06:00+01:00, or a duration such as 8h (default: {_LONGEST})"
    command.add_argument("--until", metavar="TIME", type=_until, default=_LONGEST, help=until)
    plan = "plan from the captures recorded there (default: asks the pair at the start)"
    command.add_argument("--plan", dest="folder", metavar="DIR", type=Path, help=plan)
    command.add_argument("--anew", action="store_true", help="begin another watch; don't take up the one that was left")
    notify = "tell whoever is at this URL; may be repeated (default: $READYPAIR_NOTIFY)"
    command.add_argument("--notify", metavar="URL", action="append", help=notify)
    command.add_argument("--json", action="store_true", help="print one JSON object a line and nothing else")


def do(options: argparse.Namespace) -> int:
    """Follow the window; whatever becomes of it, its last line is said."""
    from collector.report.watch_last_line import WatchLastLine
    from collector.signals import Signals
    from collector.watching.watch import Outcome

    last = WatchLastLine(options.pair)
    options.closing = lambda status: print(last.text(status), file=sys.stderr)
    with _terminal_may_go(), Signals() as signals:
        try:
            return _watch(options, signals, last)
        except KeyboardInterrupt:
            last.ended = Outcome.INTERRUPTED
            return complain("interrupted before its first poll", NOT_GO) if last.state is None else NOT_GO


def _watch(options: argparse.Namespace, signals: Signals, last: WatchLastLine) -> int:
    from collector import locking
    from collector.store.store import opened

    fleet = open_fleet(options.inventory)
    pair = aimed(one_pair(fleet, options.pair), options)
    last.target = pair.target_release
    named = named_store(options)
    if named is None:
        raise UsageError("a watch keeps every poll; name the store with --store URL or FILE, or in READYPAIR_STORE")
    with locking.alone(fleet.folder, pair.name):
        receivers = receivers_of(options)
        with opened(named) as store:
            begun = _begun(options, fleet, pair, store)
            last.remember(begun.log)
            return _follow(options, fleet, pair, begun, receivers, signals, last)


def _begun(options: argparse.Namespace, fleet: Fleet, pair: Pair, store: Store) -> Begun:
    """The watch that was left, if there is one to take up, else a new one; asks the pair only for a new one's plan."""
    from collector.watching import keeping
    from collector.watching.opening import opening_state

    inventory, now = str(fleet.folder.resolve()), _now(pair)()
    found, others = keeping.left_open(store, pair.name, pair.target_release, inventory, now)
    begun = keeping.taken_up(store, found) if found is not None and not options.anew else None
    if found is not None and begun is not None:
        since = f"{begun.state.runs[0].seen:%Y-%m-%d %H:%M}" if begun.state.runs else "a moment ago"
        complain(f"going on with the watch that began {since}, after {found.polls} polls; --anew begins another", GO)
    else:
        snapshot = _asked(options, fleet, pair, now)
        baseline = keeping.stored_baseline(store, pair, now)
        state = opening_state(snapshot, fleet, stage_history(options, fleet), baseline)
        others = (*others, *([found] if found is not None else []))
        begun = keeping.begun(store, state, inventory, collector_name(), now)
    keeping.leave(store, others, now)
    return begun


def _asked(options: argparse.Namespace, fleet: Fleet, pair: Pair, now: datetime) -> Snapshot:
    """What the plan is made of."""
    from collector import ssh
    from collector.watching.opening import ASKING_SECONDS, opening_snapshot

    if options.folder is not None:
        return opening_snapshot(fleet, pair, now, connection=prepare_recorded(options.folder, fleet, pair))
    prepare_ssh(fleet, [pair])
    complain(f"asking {pair.name} for its plan first, for {ASKING_SECONDS:.0f} s at most", GO)
    return opening_snapshot(fleet, pair, now, connection=ssh.CONNECTION)


def _follow(
    options: argparse.Namespace,
    fleet: Fleet,
    pair: Pair,
    begun: Begun,
    receivers: list[Receiver],
    signals: Signals,
    last: WatchLastLine,
) -> int:
    from collector.report import watch_message
    from collector.store.store import StoreError, TakenOver
    from collector.watching import keeping, stage_log
    from collector.watching.opening import zone_of
    from collector.watching.polling import SshPoller
    from collector.watching.telling import Telling
    from collector.watching.watch import Outcome, Pace, Stop, watch
    from parsers import catalogue

    prepare_ssh(fleet, [pair])
    now = _now(pair)
    poller = SshPoller(fleet.nornir, pair, catalogue.needed_by("watch"))
    stop, keeper = Stop(poller), keeping.StoreKeeper(begun.writer)
    view = _view(options, lambda: _trouble(keeper.problem))
    view.remember(begun.log)
    telling = Telling(receivers, watch_message.of_poll, lambda sentence: complain(sentence, GO))
    pace = Pace(options.every, options.until(now(), zone_of(pair)))
    signals.first = stop.stop
    try:
        state, outcome = watch(pair, begun.state, poller, stop, pace, keeper, (last, view, telling), now=now)
        last.ended = outcome
        view.ended(state)
        telling.finish()
        keeper.finish(now(), outcome, stage_log.durations(state) if outcome is Outcome.DONE else {})
    except KeyboardInterrupt:
        # A second signal, as timeout(1) sends one to the process and one to its group: every poll shown is stored.
        last.ended = Outcome.INTERRUPTED
        view.ended(last.state or begun.state)
        return NOT_GO
    except TakenOver as taken:
        return complain(str(taken), NOT_GO)
    except StoreError as error:
        return complain(_trouble(error), WRONG_QUESTION)
    finally:
        poller.close()
    return GO if outcome is Outcome.DONE and not state.up else NOT_GO


def _trouble(problem: Exception | None) -> str:
    return f"{problem}; the polls since then are not stored" if problem is not None else ""


def _view(options: argparse.Namespace, note: Callable[[], str]) -> Live | Log | Json:
    """How the watch is shown: as JSON, drawn on a terminal, or as a log."""
    from collector.report.watch_live import Json, Live, Log

    if options.json:
        return Json(sys.stdout)
    if not sys.stdout.isatty() or os.environ.get("TERM", "dumb") == "dumb":
        return Log(sys.stdout)
    return Live(sys.stdout, _size(sys.stdout), note, colours="NO_COLOR" not in os.environ)


def _size(stream: TextIO) -> Callable[[], tuple[int, int]]:
    """Asks a terminal how many columns and lines it has, each time anew; 80 and 24 where it doesn't say."""

    def size() -> tuple[int, int]:
        try:
            columns, lines = os.get_terminal_size(stream.fileno())
        except OSError:
            return 80, 24
        return columns or 80, lines or 24

    return size


def _now(pair: Pair) -> Callable[[], datetime]:
    """This machine's time, told in the zone of the window.

    The offset is fixed in the result: two moments of one changing zone would be subtracted as clocks show them.
    """
    from collector.watching.opening import zone_of

    zone = zone_of(pair)

    def now() -> datetime:
        local = datetime.now().astimezone(zone)
        return local.replace(tzinfo=timezone(local.utcoffset() or timedelta(0)), fold=0)

    return now


@contextmanager
def _terminal_may_go() -> Iterator[None]:
    """A terminal that goes away ends no watch: its polls are stored, and its messages sent."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGHUP, signal.SIG_DFL if before is None else before)


def _every(text: str) -> float:
    try:
        number = float(text)
    except ValueError:
        number = 0.0
    if not LEAST_SECONDS <= number <= _MOST_SECONDS:
        raise argparse.ArgumentTypeError(
            f"{text!r} must be a number of seconds from {LEAST_SECONDS:g} to {_MOST_SECONDS:g}"
        )
    return number


def _until(text: str) -> Callable[[datetime, tzinfo | None], datetime]:
    """The end as it was named, which is a moment as soon as it is known when and in which zone the watch begins."""
    if found := re.fullmatch(r"([01]?\d|2[0-3]):([0-5]\d)", text, re.ASCII):
        hour, minute = int(found[1]), int(found[2])
        return lambda now, zone: _next(now, zone, hour, minute)
    try:
        moment = datetime.fromisoformat(text) if "T" in text else None
    except ValueError:
        moment = None
    if moment is not None and moment.tzinfo is not None:
        return lambda now, zone: moment
    try:
        length = timedelta(seconds=duration(text))
    except argparse.ArgumentTypeError:
        raise argparse.ArgumentTypeError(
            f"{text!r} must be a time such as 06:00 or 2027-02-07T06:00+01:00, or a duration such as 8h"
        ) from None
    return lambda now, zone: now + length


def _next(now: datetime, zone: tzinfo | None, hour: int, minute: int) -> datetime:
    """The next moment at which the zone's clocks, this machine's for None, show that; by the offset in force then."""
    wall = now.astimezone(zone).replace(tzinfo=None, hour=hour, minute=minute, second=0, microsecond=0)
    days = (wall + timedelta(days=number) for number in (0, 1))
    moments = (each.replace(tzinfo=zone) if zone is not None else each.astimezone() for each in days)
    return next(moment for moment in (each.astimezone(now.tzinfo) for each in moments) if moment > now)
