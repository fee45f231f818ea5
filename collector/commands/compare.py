"""A pair after its window against its baseline, or any two of its nights."""

from __future__ import annotations

import argparse
import re
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from collector.commands.asking import prepare_out, prepare_ssh, take
from collector.commands.choosing import aimed, one_pair, open_fleet
from collector.commands.options import (
    INVENTORY_HELP,
    PAIR_HELP,
    QUIET_HELP,
    TARGET_HELP,
    Commands,
    add_command,
    keeping_options,
)
from collector.commands.remembering import named_store, remembering
from collector.commands.telling import GO, NOT_GO, UsageError, complain, console, print_json
from collector.commands.unwritten import Unwritten

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from collector.comparing.comparison import Comparison
    from collector.snapshot import Snapshot
    from collector.store.store import Store
    from inventory.opening import Fleet
    from inventory.pairs import Pair


@dataclass
class _Before:
    """The side before, and what else of the store a comparison needs."""

    snapshot: Snapshot
    counts: Sequence[Snapshot] = field(default=())


def add(commands: Commands) -> None:
    """Offer `compare`."""
    text = "compare a pair after its window with its baseline, or any two of its nights"
    command = add_command(commands, "compare", do, text, keeping_options())
    command.add_argument("pair", metavar="PAIR", help=PAIR_HELP)
    text = "the side before: a stored night, or a folder of captures (default: the latest baseline in the store)"
    command.add_argument("--from", dest="before", metavar="DATE|DIR", type=_side, help=text)
    text = "the side after: a stored night, or a folder of captures (default: the pair is asked now)"
    command.add_argument("--to", dest="after", metavar="DATE|DIR", type=_side, help=text)
    command.add_argument("--target", metavar="RELEASE", help=TARGET_HELP)
    command.add_argument("--inventory", metavar="DIR", type=Path, help=INVENTORY_HELP)
    text = "write comparison.json there and, where the pair is asked, report.json, report.html and captures/"
    command.add_argument("--out", metavar="DIR", type=Path, help=text)
    command.add_argument("--json", action="store_true", help="print it as JSON and nothing else")
    command.add_argument("--quiet", action="store_true", help=QUIET_HELP)


def do(options: argparse.Namespace) -> int:
    """Compare and tell; GO where everything came back, or nothing differs that matters."""
    from collector.comparing.comparison import Standing
    from collector.sides import SideError

    fleet = open_fleet(options.inventory)
    pair = aimed(one_pair(fleet, options.pair), options)
    try:
        found, status = _recorded(options, fleet, pair) if options.after is not None else _now(options, fleet, pair)
    except SideError as error:
        raise UsageError(str(error)) from None
    unwritten = Unwritten()
    _tell(options, found, unwritten)
    return unwritten.ended(status or (GO if found.standing is Standing.CLEAN else NOT_GO))


def _recorded(options: argparse.Namespace, fleet: Fleet, pair: Pair) -> tuple[Comparison, int]:
    """Two sides that both have been; nobody is asked."""
    from collector.nights import moments

    if options.keep_days is not None:
        raise UsageError("--keep-days is about what is stored; with --to nothing is")
    if options.before is not None and _are_one(options.before, options.after):
        raise UsageError(
            f"--from and --to are both {options.after}, one judgement of {pair.name}; name two nights or two folders"
        )
    prepare_out(options)
    with _reading(options) as store:
        after = _side_of(options.after, store, pair)
        before = _before(options, store, pair, moments.asked(after) or after.moment)
        return _compared(options, fleet, before, after), 0


def _now(options: argparse.Namespace, fleet: Fleet, pair: Pair) -> tuple[Comparison, int]:
    """The side after is the pair as it answers now; that there is a side before is seen to before anybody is asked."""
    from collector.nights.night import Source

    prepare_out(options)
    with _reading(options) as store:
        before = _before(options, store, pair, datetime.now().astimezone())
    prepare_ssh(fleet, [pair])
    with remembering(options, fleet, [pair], Source.COMPARE) as remembers:
        after = take(options, fleet, pair, remembers).snapshot
        return _compared(options, fleet, before, after), remembers.ended(0)


def _compared(options: argparse.Namespace, fleet: Fleet, before: _Before, after: Snapshot) -> Comparison:
    from collector.comparing.making import compare, target_of

    # After a window the target is asked for; between two nights it is whatever they have in common.
    aims = options.target is not None or options.before is None or options.after is None
    target = after.pair.target_release if aims else target_of(before.snapshot, after)
    return compare(before.snapshot, after, fleet.policy, target, before.counts)


def _before(options: argparse.Namespace, store: Store | None, pair: Pair, moment: datetime) -> _Before:
    """The side before `moment`, that is to say before the side after."""
    from collector import sides

    if options.before is not None:
        return _Before(_side_of(options.before, store, pair))
    if store is None:
        raise UsageError(
            "name the store that holds the baseline with --store or in READYPAIR_STORE, or the side before with "
            "--from DATE or --from DIR"
        )
    stored = sides.baseline(store, pair, moment)
    begun = stored.asked or stored.judged
    if pair.window is not None and pair.window.start <= begun < pair.window.end:
        complain(f"the baseline of {begun:%Y-%m-%d %H:%M} was taken when the window had begun already", GO)
    return _Before(sides.of_baseline(store, pair, stored), sides.counts(store, pair, moment))


def _side_of(given: date | Path, store: Store | None, pair: Pair) -> Snapshot:
    from collector import sides

    if isinstance(given, Path):
        return sides.of_folder(given, pair)
    if store is None:
        raise UsageError(f"name the store that holds the night {given} with --store URL or FILE, or in READYPAIR_STORE")
    return sides.of_night(store, pair, given)


@contextmanager
def _reading(options: argparse.Namespace) -> Iterator[Store | None]:
    """The store where one is named and a side is looked for in it; a folder needs none."""
    named = named_store(options)
    if named is None or (isinstance(options.before, Path) and not isinstance(options.after, date)):
        yield None
        return
    from collector.store.store import opened

    with opened(named, existing=True) as store:
        yield store


def _tell(options: argparse.Namespace, found: Comparison, unwritten: Unwritten) -> None:
    import json

    from collector import output
    from collector.report import comparison_document, comparison_terminal

    if options.out is not None:
        text = json.dumps(comparison_document.document(found), indent=2, ensure_ascii=False)
        with unwritten.attempt():
            output.write(options.out / "comparison.json", text + "\n")
    if options.json:
        print_json(comparison_document.document(found))
    else:
        console().print(comparison_terminal.comparison(found))


def _are_one(before: date | Path, after: date | Path) -> bool:
    """Whether both sides are one night or one folder."""
    if isinstance(before, Path) and isinstance(after, Path):
        return before.resolve() == after.resolve()
    return before == after


def _side(text: str) -> date | Path:
    """A date where it is one, else a folder."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        folder = Path(text)
    if folder.is_dir():
        return folder
    if re.fullmatch(r"\d{4}-\d{1,2}-\d{1,2}", text):
        raise argparse.ArgumentTypeError(f"{text!r} is no date of the calendar; write it as 2027-01-31")
    if folder.exists():
        raise argparse.ArgumentTypeError(f"{text!r} is a file; name a night such as 2027-01-31, or a folder")
    return folder
