"""The nights of a pair as its story, or those of the fleet in numbers."""

from __future__ import annotations

import argparse
from functools import lru_cache
from typing import TYPE_CHECKING

from collector.commands.options import Commands, add_command, store_options
from collector.commands.remembering import reading
from collector.commands.stored_nights import first_night, known_pair, nights_options, nights_until, span, stored_nights
from collector.commands.telling import GO, complain, console, print_json

if TYPE_CHECKING:
    from collector.store.store import Store


def add(commands: Commands) -> None:
    """Offer `history`."""
    text = "tell a pair's nights as its story, or the fleet's in numbers"
    command = add_command(commands, "history", do, text, nights_options(last=30), store_options())
    command.add_argument("pair", metavar="PAIR", nargs="?", help="the pair whose story to tell (default: the fleet's)")
    command.add_argument("--json", action="store_true", help="print it as JSON and nothing else")


def do(options: argparse.Namespace) -> int:
    """Tell of the nights; what they were like doesn't change the exit status."""
    with reading(options) as store:
        if options.pair is None:
            return _fleet(options, store)
        return _pair(options, store, known_pair(options.pair, store.pairs()))


def _pair(options: argparse.Namespace, store: Store, name: str) -> int:
    from collector.nights.timeline import Story, story
    from collector.report import history_document, history_terminal

    nights = store.nights(name, until=options.until)
    swept = nights_until(options, store.fleet_nights(name))
    since = first_night(options, [*swept, *(night.night for night in nights)])
    told = Story(name, "", (), ())
    if nights:
        told = story(nights, swept, lru_cache(store.state), store.ap_set, since=since)
    if options.json:
        print_json(history_document.pair(told))
    elif told.entries:
        console().print(history_terminal.pair(told))
    else:
        complain(f"no night of {name} is stored{span(options)}", GO)
    return GO


def _fleet(options: argparse.Namespace, store: Store) -> int:
    from collector.nights.timeline import fleet_story, looked_back
    from collector.report import history_document, history_terminal

    swept = store.swept().between(until=options.until)
    since = first_night(options, stored_nights(options, store))
    seen = store.fleet(since=looked_back(since), until=options.until)
    nights = fleet_story(seen, swept, lru_cache(store.state), store.ap_set, since=since)
    if options.json:
        print_json(history_document.fleet(nights))
    elif nights:
        console().print(history_terminal.fleet(nights))
    else:
        complain(f"no night is stored{span(options)}", GO)
    return GO
