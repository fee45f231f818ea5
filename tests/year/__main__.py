"""Runs the simulated year into a store by hand: `python -m tests.year --store FILE`.

It prints what became of each pair beside what its story says; `--out` writes the board of the last night as well.
"""

from __future__ import annotations

import argparse
from datetime import datetime, time, timedelta
from pathlib import Path

from collector.nights.drift import walk
from collector.nights.streak import ready_share, streak
from collector.store.store import Store, opened
from tests.year import running, story
from tests.year.story import NIGHTS, START, ZONE, Story


def main() -> None:
    """Run it."""
    options = _options()
    year = story.year(options.seed)
    nights = list(story.nights(START))[: options.nights]
    with opened(options.store) as store:
        running.run(year, store, nights)
        for told in year.stories:
            print(_summary(store, told))
    if options.out is not None:
        from collector.report.board import making

        made = datetime.combine(nights[-1] + timedelta(days=1), time(7), ZONE)
        making.make(options.store, options.out, made)
        print(f"the board of {nights[-1]}: {options.out / 'index.html'}")


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.year", description=__doc__)
    parser.add_argument("--store", metavar="FILE", required=True, help="a new store's file, or the URL of a database")
    parser.add_argument("--out", metavar="DIR", type=Path, help="the board's own folder")
    parser.add_argument("--nights", metavar="N", type=int, default=NIGHTS, help="only the first so many nights")
    parser.add_argument("--seed", metavar="S", type=int, default=1, help="of what moves by itself")
    return parser.parse_args()


def _summary(store: Store, told: Story) -> str:
    nights = store.nights(told.name)
    if not nights:
        return f"{told.name}: not in the inventory yet"
    last, fleet = nights[-1], store.fleet_nights()
    ready, counted = ready_share(nights, fleet)
    rules = store.state(last.state).rules
    changes = [each for each in walk(nights, store.state, store.ap_set) if each.subject != "outlook"]
    written = [each for each in told.truth.moved if each.night <= last.night]
    return (
        f"{told.name}: {len(nights)} nights to {last.night}, {last.verdict} then, outlook {rules['outlook'].status}; "
        f"go {streak(nights, fleet)} nights in a row and {ready} of {counted}; "
        f"{len(changes)} changes told, {len(written)} in its story"
    )


if __name__ == "__main__":
    main()
