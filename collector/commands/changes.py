"""What changed over some nights, pair by pair."""

from __future__ import annotations

import argparse
from fnmatch import fnmatchcase
from functools import lru_cache
from typing import TYPE_CHECKING

from collector.commands.options import Commands, add_command, narrowing_options, store_options
from collector.commands.remembering import reading
from collector.commands.stored_nights import first_night, nights_options, some, span, stored_nights
from collector.commands.telling import GO, UsageError, complain, console, print_json

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

    from collector.nights.night import Night


def add(commands: Commands) -> None:
    """Offer `changes`."""
    text = "tell what changed over some nights, pair by pair, the pairs that are worse first"
    command = add_command(commands, "changes", do, text, nights_options(last=1), narrowing_options(), store_options())
    command.add_argument("--json", action="store_true", help="print it as JSON and nothing else")


def do(options: argparse.Namespace) -> int:
    """Tell of the changes; that there are some doesn't change the exit status."""
    from collector.nights.timeline import looked_back, moves, worst_first
    from collector.report import history_document, history_terminal

    with reading(options) as store:
        nights = stored_nights(options, store)
        since = first_night(options, nights)
        state = lru_cache(store.state)
        seen = store.fleet(since=looked_back(since), until=options.until)
        fitting = [
            moves(each, state, store.ap_set, since=since) for _, each in seen if each and _fits(options, each[-1])
        ]
        if not fitting and (options.pairs or options.site):
            raise UsageError(f"no pair stored{span(options)} fits {_narrowed(options)}; {some(store.pairs())}")
    every = [found for found in fitting if found is not None]
    changed = worst_first(every)
    told = [night for night in {*nights, *_nights(seen)} if since is None or night >= since]
    # Of what nobody swept it isn't known that nothing changed.
    since, until = min(told, default=since), max(told, default=options.until)
    if options.json:
        print_json(history_document.changes(changed, len(every), since, until))
    elif since is None or until is None or not every:
        complain(f"no night is stored{span(options)}", GO)
    else:
        console().print(history_terminal.changes(changed, len(every), since, until))
    return GO


def _nights(seen: Iterable[tuple[str, Sequence[Night]]]) -> set[date]:
    return {night.night for _, nights in seen for night in nights}


def _fits(options: argparse.Namespace, night: Night) -> bool:
    return (options.pairs is None or fnmatchcase(night.pair, options.pairs)) and (
        options.site is None or night.site.casefold() == options.site.casefold()
    )


def _narrowed(options: argparse.Namespace) -> str:
    asked = (("pairs", options.pairs), ("site", options.site))
    return " and ".join(f"--{name} {value!r}" for name, value in asked if value)
