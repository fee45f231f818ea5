"""Which of the stored nights a command is about, and how it says that a pair isn't among them."""

from __future__ import annotations

import argparse
from datetime import date, timedelta
from typing import TYPE_CHECKING

from collector.commands.options import days
from collector.commands.telling import UsageError

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from collector.store.store import Store

_NAMED = 10


def nights_options(last: int) -> argparse.ArgumentParser:
    """The options that `first_night` reads; without them it is the last so many nights."""
    options = argparse.ArgumentParser(add_help=False)
    begin = options.add_mutually_exclusive_group()
    begin.add_argument("--since", metavar="DATE", type=_date, help="from this night on, such as 2027-01-31")
    begin.add_argument(
        "--last", metavar="N", type=days, default=last, help=f"the last N nights, up to the latest (default: {last})"
    )
    options.add_argument("--until", metavar="DATE", type=_date, help="up to this night (default: the latest)")
    return options


def first_night(options: argparse.Namespace, stored: Iterable[date]) -> date | None:
    """The first night asked about, counted back from the latest one stored; None where there is none.

    UsageError where the nights end before they begin.
    """
    since: date | None = options.since
    if since is not None and options.until is not None and since > options.until:
        raise UsageError(f"--since {since} is later than --until {options.until}; turn them round")
    if since is not None:
        return since
    latest = max(nights_until(options, stored), default=None)
    return latest - timedelta(days=options.last - 1) if latest is not None else None


def nights_until(options: argparse.Namespace, stored: Iterable[date]) -> list[date]:
    """Those of the nights that are up to the last one asked about."""
    return [night for night in stored if options.until is None or night <= options.until]


def stored_nights(options: argparse.Namespace, store: Store) -> list[date]:
    """The nights that are stored up to the last one asked about: the fleet's or, while it has none, those of pairs."""
    fleet = store.fleet_nights() or (night.night for _, nights in store.fleet() for night in nights)
    return nights_until(options, fleet)


def span(options: argparse.Namespace) -> str:
    """Which nights the options ask about, in words that follow on `stored`; empty for whichever are the latest."""
    since = f" from {options.since} on" if options.since else ""
    until = f" up to {options.until}" if options.until else ""
    return since + until


def known_pair(name: str, pairs: Sequence[str]) -> str:
    """The name, if a pair of the store has it; UsageError, with those that are near it, where none has."""
    from difflib import get_close_matches

    if name in pairs:
        return name
    near = get_close_matches(name, pairs, n=4, cutoff=0.5)
    told = f"near to it are {', '.join(near)}" if near else some(pairs)
    raise UsageError(f"the store has no pair {name!r}; {told}")


def some(pairs: Sequence[str]) -> str:
    """A few of the store's pairs, and how many more it has."""
    more = f" and {len(pairs) - _NAMED} more" if len(pairs) > _NAMED else ""
    return f"it has {', '.join(pairs[:_NAMED])}{more}" if pairs else "it holds no night yet"


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} must be a date such as 2027-01-31") from None
