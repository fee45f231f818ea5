"""The store that a command keeps its pairs in, or reads them out of."""

from __future__ import annotations

import os
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from collector.commands.telling import GO, WRONG_QUESTION, UsageError, complain
from collector.commands.unwritten import Unwritten

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator, Mapping, Sequence

    from collector.nights.night import PairState, Source
    from collector.plan.stages import History
    from collector.store.memory import StoreMemory
    from collector.store.store import Store, StoreError
    from inventory.opening import Fleet
    from inventory.pairs import Pair


@dataclass(frozen=True)
class Remembering:
    """What a sweep remembers by; `store` and `memory` are None where no store is named. Made by `remembering`.

    `missed` are the pairs that the last sweep of this inventory didn't reach; none where there is no store.
    `unwritten` is what `--out` lacks.
    """

    inventory: str
    keep_days: int | None = None
    store: Store | None = None
    memory: StoreMemory | None = None
    missed: tuple[str, ...] = ()
    unwritten: Unwritten = field(default_factory=Unwritten)

    def finish(self, moment: datetime) -> None:
        """Note that the sweep came to its end at this moment of its own time."""
        if self.memory:
            self.memory.finish(moment)

    def announced(self) -> Mapping[str, PairState]:
        """Of each pair what somebody was last told of; StoreError where the store fails."""
        if self.store is None:
            return {}
        return {pair: self.store.state(number) for pair, number in self.store.announced().items()}

    def announce(self, moment: datetime) -> None:
        """Note that somebody was told of this sweep."""
        if self.memory:
            self.memory.announce(moment)

    @property
    def keeps(self) -> bool:
        """Whether the store has every pair that was judged so far."""
        return self.memory is not None and self.memory.problem is None

    def ended(self, status: int) -> int:
        """Take away what is kept for too long; returns the exit status, another one where the store or disk failed."""
        from collector.nights.night import night_of

        status = self.unwritten.ended(status)
        if self.memory is None:
            return status
        if self.keep_days is not None:
            # By this machine's own time: the demo plays another day, and its future must not age what is real.
            self.memory.prune(night_of(datetime.now().astimezone()) - timedelta(days=self.keep_days))
        problem = self.memory.problem
        return status if problem is None else complain(problem, WRONG_QUESTION)


@contextmanager
def remembering(
    options: argparse.Namespace, fleet: Fleet, pairs: Sequence[Pair], source: Source, shift: timedelta = timedelta(0)
) -> Iterator[Remembering]:
    """Begin a sweep of these pairs in the store that the options name; StoreError where it can't be used.

    `shift` is added to this machine's time, as in `sweep.sweep`.
    """
    inventory, named = str(fleet.folder.resolve()), named_store(options)
    if named is None:
        if options.keep_days is not None:
            raise UsageError("--keep-days is about a store; name it with --store or in READYPAIR_STORE")
        yield Remembering(inventory)
        return
    from collector.store.memory import StoreMemory
    from collector.store.store import Start, opened

    whole = len(pairs) == len(fleet.pairs)
    with opened(named) as store:
        # Asked first: once this sweep has begun, it is the last one, and has reached nobody.
        missed, problem = _missed(store, inventory)
        writer = store.begin(Start(source, collector_name(), inventory, whole, datetime.now().astimezone() + shift))
        yield Remembering(
            inventory, options.keep_days, store, StoreMemory(store, writer, fleet, problem=problem), missed
        )


def _missed(store: Store, inventory: str) -> tuple[tuple[str, ...], StoreError | None]:
    """Whom to ask first, or why that isn't known: it costs the order of asking, and no verdict."""
    from collector.store.store import StoreError

    try:
        return store.missed(inventory, collector_name()), None
    except StoreError as error:
        return (), error


@contextmanager
def reading(options: argparse.Namespace) -> Iterator[Store]:
    """The store that the options name, for a command that only reads; UsageError where they name none."""
    from collector.store.store import opened

    named = named_store(options)
    if named is None:
        raise UsageError("name the store with --store URL or FILE, or in READYPAIR_STORE")
    with opened(named, existing=True) as store:
        yield store


def stage_history(options: argparse.Namespace, fleet: Fleet) -> History:
    """The recorded durations of stages: those of the site's own file, and those of the watches in the store.

    A store that only the environment names, and that can't be read, costs a note and no plan.
    """
    from collector.plan.stages import merged
    from collector.store.store import StoreError, opened
    from inventory import history

    written = history.read_history(fleet.folder / history.FILE)
    named = named_store(options)
    if named is None:
        return written
    try:
        with opened(named, existing=True) as store:
            return merged(written, store.stage_durations())
    except StoreError as error:
        if options.store is not None:
            raise
        complain(f"{error}; the durations that watches recorded there don't count", GO)
        return written


def named_store(options: argparse.Namespace) -> str | None:
    """The store's URL or file as --store or READYPAIR_STORE gives it; None where neither does, or with an empty one."""
    named: str | None = options.store
    return (os.environ.get("READYPAIR_STORE") if named is None else named) or None


def collector_name() -> str:
    """Which machine this is, as stores are told."""
    import platform

    return os.environ.get("READYPAIR_COLLECTOR") or platform.node()
