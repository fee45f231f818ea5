"""Tries random damages on every pair that should not go, and counts what becomes of the verdict."""

from __future__ import annotations

import random
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from multiprocessing import get_context

from collector import rules
from collector.capture import Capture, Ending
from collector.finding import Verdict
from collector.snapshot import MemberSnapshot, Reading, Snapshot, understand
from collector.verdict import weigh
from parsers import Facts, transcript
from tests.damage.kinds import SEVERAL, Said, damaged, exchange_all
from tests.damage.pairs import GENERATED, Key, Trial, trials
from tests.demo_fleet import fleet, judged
from tests.fleet.printing import REFUSED

_SHARES = 40
CHASSIS = "show chassis rmi"
INSTALL = "show install summary"
REDUNDANCY = "show redundancy"
LIMITED = frozenset({"dir bootflash:", "show boot", INSTALL, CHASSIS})
"""What the limited shell of a standby may refuse in a pair that goes, since the active one tells it of both."""
_MAC = re.compile(r"\b[0-9a-f]{4}(?:\.[0-9a-f]{4}){2}\b")
_SYSLOG = re.compile(r".*%[A-Z_]+-\d-[A-Z_]+:|Load for |Time source ")


@dataclass(frozen=True)
class Case:
    """One damage that made a pair go: the number draws it again, `differing` are the lines lost and gained."""

    number: int
    pair: str
    faults: tuple[str, ...]
    kind: str
    differing: tuple[str, ...]
    undetectable: bool

    def __str__(self) -> str:
        return "\n".join(
            (
                f"case {self.number}, {self.pair} ({', '.join(self.faults)}), {self.kind}",
                *(f"    {line}" for line in self.differing),
            )
        )


@dataclass(frozen=True)
class Count:
    """What became of so many damages: how many by kind, and those that made a pair go."""

    by_kind: Counter[str]
    unchanged: int
    went: tuple[Case, ...]

    @property
    def damages(self) -> int:
        return self.by_kind.total()

    @property
    def false(self) -> tuple[Case, ...]:
        """Cases in which what the tool was given told it better."""
        return tuple(case for case in self.went if not case.undetectable)

    @property
    def undetectable(self) -> tuple[Case, ...]:
        """Cases in which every answer is one of a pair that is fit to go."""
        return tuple(case for case in self.went if case.undetectable)


def unfit(tried: Iterable[Trial]) -> list[Trial]:
    """The pairs that should not go: those that, undamaged, are not judged go."""
    return [trial for trial in tried if trial.verdict is not Verdict.GO]


def attempt(number: int, tried: Sequence[Trial], seed: int) -> tuple[str, bool, Case | None]:
    """The damage of this number: its kind, whether it changed anything, and the case where the pair goes with it."""
    trial = tried[number % len(tried)]
    done = damaged(trial, random.Random(f"damage {seed} {number}"))
    kind = SEVERAL if done.kind.startswith(SEVERAL) else done.kind
    after, changed = snapshot(trial.snapshot, done.said)
    if not changed or not goes(after, trial.deciding):
        return kind, changed, None
    case = Case(
        number, trial.name, trial.faults, done.kind, tuple(_differing(trial, done.said)), is_fit(trial, done.said)
    )
    return kind, changed, case


def goes(described: Snapshot, first: Sequence[str] = ()) -> bool:
    """Whether the pair goes; these rules are asked first, since one that decides against it is enough."""
    policy = fleet().policy
    for rule in sorted(rules.CATALOGUE, key=lambda rule: rule.id not in first):
        if weigh(rule, rule.judge(described, policy), policy).decides:
            return False
    return judged(described).verdict is Verdict.GO


def snapshot(before: Snapshot, said: Said) -> tuple[Snapshot, bool]:
    """The damaged pair, of which only what was damaged is read again, and whether anything was."""
    first, second = (_member(member, said) for member in before.members)
    changed = any(new is not old for new, old in zip((first, second), before.members, strict=True))
    return Snapshot(before.pair, (first, second), before.moment, before.past), changed


def _member(member: MemberSnapshot, said: Said) -> MemberSnapshot:
    own = {command: capture for (name, command), capture in said.items() if name == member.name}
    new = {command: capture for command, capture in own.items() if capture != member.captures.get(command)}
    if not new:
        return member
    readings = {**member.readings, **{command: _understood(capture) for command, capture in new.items()}}
    return MemberSnapshot(member.name, own, readings)


def _understood(capture: Capture) -> Reading[Facts]:
    return replace(_understood_as_anyone(replace(capture, member="")), member=capture.member)


@lru_cache(maxsize=20_000)
def _understood_as_anyone(capture: Capture) -> Reading[Facts]:
    # Many damages put the same answer in another place, and reading is what takes the time.
    return understand(capture)


def is_fit(trial: Trial, said: Said) -> bool:
    """Whether all the answers together are, word for word, those that a pair fit to go gives tonight.

    That is the same pair without its faults. The image may not be staged yet, other files may be on its flash, and the
    standby may have a limited shell. Nobody can tell from these words that it isn't so, since they are all there is.
    """
    if not trial.healthy:
        return False
    if all(_is_healthy(trial, said, key) for key in said):
        return True
    # Or the same pair with its two addresses exchanged as a whole: names are the inventory's, no controller's.
    exchanged = exchange_all(trial, said, random.Random())
    return all(_is_healthy(trial, exchanged, key) for key in exchanged)


def _is_healthy(trial: Trial, said: Said, key: Key) -> bool:
    capture = said[key]
    if capture.ending is not Ending.COMPLETE:
        return key not in trial.twin
    if capture.started != trial.snapshot.moment:
        return False
    if key[0] == trial.standby and key[1] in LIMITED and _is_refusal(capture):
        return True
    image = trial.snapshot.pair.image
    named = image.file if image else ""
    fit = [trial.twin[key]] if key in trial.twin else []
    fit += ["\n".join(line for line in text.split("\n") if named not in line) for text in fit]
    if key not in trial.telling:
        # As recorded: it tells of no fault.
        fit.append(next(each for each in trial.snapshot.members if each.name == key[0]).captures[key[1]].text)
    texts = [capture.text, *fit]
    own = said.get((trial.standby, CHASSIS))
    if key[1] == CHASSIS and own is not None and _is_refusal(own):
        # Which chassis the standby is nobody but its partner tells then.
        texts = [_MAC.sub("", text) for text in texts]
    words, *others = (_words(text, named) for text in texts)
    if key[1] == REDUNDANCY and not re.search("experienced = 0", capture.text):
        # A switchover may begin the count of time anew, in one session and not in the other.
        words, *others = ([row for row in each if "uptime" not in " ".join(row).lower()] for each in (words, *others))
    if key[1] == INSTALL:
        return _by_slot(words) in [_by_slot(each) for each in others]
    return words in others


def _by_slot(words: list[list[str]]) -> dict[str, list[list[str]]]:
    """The packages of each controller, told in one block for both or in one for each, and what stands around them."""
    found: dict[str, list[list[str]]] = {"": []}
    slots: list[str] = []
    for row in words:
        if row[0] == "[":
            slots = re.findall(r"(?<![\w/])[0-9]+", " ".join(row)) or [" ".join(row)]
        # Type, state, name: what stands around them is printed in each block, or once.
        elif len(row) == 3 and re.fullmatch("[IUCD]", row[1]):
            for slot in slots:
                found.setdefault(slot, []).append(row)
        elif row not in found[""]:
            found[""].append(row)
    return found


def _is_refusal(capture: Capture) -> bool:
    return capture.ending is Ending.COMPLETE and _words(capture.text, "") == _words("\n".join(REFUSED), "")


def _words(text: str, image: str) -> list[list[str]]:
    """The lines without blank ones, what breaks in from outside, and the rows of files that no rule asks about."""
    rows = [line.split() for line in transcript.split(text)]
    # A file's own number says nothing.
    rows = [row[1:] if "-rw-" in row else row for row in rows]
    return [row for row in rows if row and not _SYSLOG.match(" ".join(row)) and not _is_another_file(row, image)]


def _is_another_file(row: list[str], image: str) -> bool:
    # The recordings of the demo are scrubbed.
    return row[0] == "SR_INIT_SEED" or "drwx" in row or ("-rw-" in row and image not in row)


def _differing(trial: Trial, said: Said) -> Iterator[str]:
    for member in trial.snapshot.members:
        for command, before in member.captures.items():
            after = said.get((member.name, command))
            if after is None or after == before:
                continue
            yield f"{member.name} {command}: {after.ending}, {after.started}"
            old, new = before.text.splitlines(), after.text.splitlines()
            yield from (f"  - {line}" for line in old if line.strip() and old.count(line) > new.count(line))
            yield from (f"  + {line}" for line in new if line.strip() and new.count(line) > old.count(line))


def counted(numbers: Iterable[int], tried: Sequence[Trial], seed: int) -> Count:
    """The damages of these numbers, by turns on these pairs."""
    by_kind: Counter[str] = Counter()
    went, unchanged = [], 0
    for number in numbers:
        kind, changed, case = attempt(number, tried, seed)
        by_kind[kind] += 1
        unchanged += not changed
        went += [case] if case else []
    return Count(by_kind, unchanged, tuple(went))


def _share(numbers: range, generated: int, seed: int) -> Count:
    return counted(numbers, unfit(trials(generated, seed)), seed)


def tried(count: int, seed: int = 1, *, generated: int = GENERATED, processes: int = 1) -> Count:
    """So many damages, by turns on every pair that should not go."""
    work = partial(_share, generated=generated, seed=seed)
    if processes == 1:
        return work(range(count))
    trials(generated, seed)
    with ProcessPoolExecutor(processes, mp_context=get_context("fork")) as pool:
        found = list(pool.map(work, [range(start, count, _SHARES) for start in range(_SHARES)]))
    return Count(
        sum((each.by_kind for each in found), Counter()),
        sum(each.unchanged for each in found),
        tuple(sorted((case for each in found for case in each.went), key=lambda case: case.number)),
    )
