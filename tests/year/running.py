"""Runs the year through the real path: captures, snapshot with its past, judging, the store.

Only the connection is left out, and reading a text a second time that was read before: reading is a pure function of
the text, and it is what takes the time.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from functools import lru_cache
from pathlib import Path
from typing import cast

from nornir.core import Nornir

from collector import rules
from collector.capture import Capture, Ending
from collector.judging import judge_snapshot
from collector.snapshot import MemberSnapshot, Reading, Snapshot, understand
from collector.store.memory import StoreMemory
from collector.store.store import Start, Store
from inventory.opening import Fleet, read_policy
from inventory.pairs import Pair
from inventory.policy import Policy
from parsers import Facts
from tests.demo_fleet import INVENTORY
from tests.year import captures
from tests.year.story import ZONE, Asking, Year

# A sweep's commands take some ten seconds on each pair, and then it is judged.
_ANSWERS = timedelta(seconds=13)
_DATED = datetime(2026, 3, 1, tzinfo=ZONE)


def run(year: Year, store: Store, nights: Iterable[date]) -> None:
    """Sweep these nights, the oldest first, into the store."""
    policy = read_policy(INVENTORY / "policy.yaml", rules.waivable())
    for night in nights:
        for asking in year.askings(night):
            _ask(year, store, policy, night, asking)


def _ask(year: Year, store: Store, policy: Policy, night: date, asking: Asking) -> None:
    described = {name: captures.described(year.story(name), night, asking) for name in asking.pairs}
    pairs = {name: captures.pair_of(pair) for name, pair in described.items()}
    fleet = _fleet(pairs.values(), policy, year)
    inventory = f"/srv/readypair/{asking.region.value}"
    writer = store.begin(Start(asking.source, asking.region.value, inventory, asking.whole, asking.started))
    memory = StoreMemory(store, writer, fleet)
    moment = asking.started
    for name in asking.pairs:
        answers = captures.of_night(year.story(name), night, asking, year.seed)
        moment = captures.asked_at(asking, name) + _ANSWERS
        pair = pairs[name] if asking.planned else replace(pairs[name], target_release="17.13.1", image=None)
        snapshot = _snapshot(pair, answers, moment)
        snapshot = replace(snapshot, past=memory.past(snapshot))
        result = judge_snapshot(snapshot, policy, fleet.waivers)
        memory.keep(snapshot, result, in_time=name not in asking.unasked)
    if asking.finished:
        memory.finish(moment)
    assert memory.problem is None, memory.problem


def _fleet(pairs: Iterable[Pair], policy: Policy, year: Year) -> Fleet:
    """The inventory of one night; what would ask the controllers isn't there."""
    return Fleet(Path("/srv/readypair"), cast(Nornir, None), tuple(pairs), policy, (), year.waivers)


def _snapshot(pair: Pair, answers: dict[str, list[Capture]], moment: datetime) -> Snapshot:
    first, second = (_member(member.name, answers[member.name]) for member in pair.members)
    return Snapshot(pair, (first, second), moment)


def _member(name: str, answers: Sequence[Capture]) -> MemberSnapshot:
    by_command = {capture.command: capture for capture in answers}
    return MemberSnapshot(name, by_command, {command: _read(capture) for command, capture in by_command.items()})


def _read(capture: Capture) -> Reading[Facts]:
    if capture.ending is not Ending.COMPLETE:
        return understand(capture)
    return replace(_read_before(capture.command, capture.text), member=capture.member)


@lru_cache(maxsize=4096)
def _read_before(command: str, text: str) -> Reading[Facts]:
    return understand(Capture("", command, text, started=_DATED))
