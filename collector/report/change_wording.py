"""What changes say in words: for each what it is about, how it is now, how it was, and what came and went."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from collector.nights.change import Change, Kind
from collector.nights.drift import is_worse
from collector.nights.timeline import FleetNight, Missed, Moves, Silence, Story, Stretch
from collector.report.wording import VERDICTS, number_of

_KINDS = {
    Kind.VERDICT: "verdict",
    Kind.TARGET: "target",
    Kind.ROLE: "switchover",
    Kind.ACCESS_POINTS: "access points",
    Kind.RELEASE: "release",
    Kind.INSTALL_STATE: "installed software",
    Kind.INSTALL_MODE: "install mode",
    Kind.BOOT: "boot variable",
    Kind.ROM_MONITOR: "ROM monitor",
    Kind.NEIGHBOURS: "redundancy link",
    Kind.CERTIFICATE: "certificate",
    Kind.REACHED: "silent members",
}
_OF_THE_PAIR = (Kind.VERDICT, Kind.TARGET, Kind.ROLE, Kind.ACCESS_POINTS)
_COMES_AND_GOES = (Kind.INSTALL_STATE, Kind.NEIGHBOURS, Kind.CERTIFICATE)
_NAMES, _MOST = 10, 3


@dataclass(frozen=True)
class Line:
    """One thing that changed, or several findings that changed alike; parts that there are none of are empty.

    `since` says how long ago it was last known, where that is longer than for other changes of the night.
    """

    about: str
    now: str = ""
    was: str = ""
    came: str = ""
    went: str = ""
    since: str = ""
    worse: bool | None = None

    @property
    def said(self) -> str:
        """How it was, and since when, as it follows on how it is now."""
        return "".join((f", was {self.was}" if self.was else "", f" ({self.since})" if self.since else ""))


def lines(changes: Iterable[Change]) -> list[Line]:
    """The changes of one pair and one night as lines, in their order; findings that changed alike are one line."""
    alike: dict[tuple[object, ...], list[Change]] = {}
    for number, change in enumerate(changes):
        finding = change.kind is Kind.FINDING
        key = (change.before, change.after, change.since) if finding else (number,)
        alike.setdefault((finding, *key), []).append(change)
    latest = max((change.since for found in alike.values() for change in found), default=None)
    return [_line(found, latest) for found in alike.values()]


def subject(kind: Kind, about: str) -> str:
    """What changes of one kind are about in any pair: a rule's id, or the kind in words."""
    return about if kind is Kind.FINDING else _KINDS[kind]


def unswept(found: Stretch) -> str:
    """How many of the nights nobody swept, as it follows on the others; empty where it was done every night."""
    unswept = (found.last - found.first).days + 1 - found.nights
    return f", and {unswept} without a sweep" if unswept else ""


def missed(found: Missed) -> str:
    """How many nights the pair was left, and how."""
    return f"{number_of(found.nights, 'night')} {_why(found)}"


def span(found: Stretch | Missed) -> str:
    """The night, or the first and the last."""
    first, last = found.first.isoformat(), found.last.isoformat()
    return first if first == last else f"{first} to {last}"


def most(subjects: Counter[tuple[Kind, str]], number: int) -> str:
    """What the most changes are about, such as `flash-space (3), release (2)`; empty where there are none.

    Verdicts follow from the others, and tell nobody what to look at.
    """
    told = {subject(*each): count for each, count in subjects.items() if each[0] is not Kind.VERDICT}
    return _most(told, number)


def most_often(nights: Iterable[FleetNight]) -> list[str]:
    """What changed most over all nights, and which pairs did: a sentence each, and none where nothing changed."""
    subjects, pairs = Counter[tuple[Kind, str]](), Counter[str]()
    for night in nights:
        subjects.update(night.subjects)
        pairs.update(night.moved)
    told = (("What changed most", most(subjects, _MOST)), ("Pairs that changed most", _most(pairs, _MOST)))
    return [f"{what}: {which}" for what, which in told if which]


def nights_of(story: Story) -> str:
    """A pair's nights in numbers: `30 nights: 24 go, 5 no-go, 1 not swept`."""
    numbers: Counter[str] = Counter()
    for entry in story.entries:
        if isinstance(entry, Stretch):
            numbers[entry.verdict.value] += entry.nights
        elif isinstance(entry, Missed):
            numbers[_why(entry)] += entry.nights
    order = [*(verdict.value for verdict in reversed(VERDICTS)), *numbers]
    told = ", ".join(f"{numbers[what]} {what}" for what in dict.fromkeys(order) if numbers[what])
    return f"{number_of(numbers.total(), 'night')}: {told}"


def total(found: Sequence[Moves], pairs: int, since: date, until: date) -> str:
    """How many changes there were over some nights, on how many pairs, and how many of these are worse or better."""
    nights = since.isoformat() if since == until else f"{since} to {until}"
    number = sum(each.number for each in found)
    if not number:
        return f"{nights}: nothing changed on {number_of(pairs, 'pair')}"
    worse = sum(is_worse(each.was, each.now) for each in found)
    better = sum(is_worse(each.now, each.was) for each in found)
    verdicts = "".join(f", {count} of them {how}" for count, how in ((worse, "worse"), (better, "better")) if count)
    on = f"{number_of(number, 'change')} on {len(found)} of {number_of(pairs, 'pair')}"
    return f"{nights}: {on}{f'{verdicts} than before' if verdicts else ', and no verdict is another than before'}"


def moved(night: FleetNight) -> str:
    """How many changes there were, and on how many pairs."""
    number = sum(night.moved.values())
    return f"{number} on {number_of(len(night.moved), 'pair')}" if number else "none"


def _why(found: Missed) -> str:
    return "not swept" if found.why is Silence.NOT_SWEPT else "not asked in time"


def _most(numbers: Mapping[str, int], number: int) -> str:
    first = sorted(numbers.items(), key=lambda each: (-each[1], each[0]))[:number]
    return ", ".join(f"{what} ({count})" for what, count in first)


def _line(found: Sequence[Change], latest: date | None) -> Line:
    change = found[0]
    # What most changes of a night are since is the night before it; only what was unknown meanwhile is since longer.
    since = f"last known on {change.since}" if change.since != latest else ""
    line = Line(_about(found), since=since, worse=change.worse)
    if change.kind is Kind.ACCESS_POINTS:
        return _with(line, change.after, change.before, _names(change.gained), _names(change.lost))
    if change.kind is Kind.REACHED:
        return _with(line, "no answer" if change.worse else "answers again", "", "", "")
    if change.kind in _COMES_AND_GOES:
        return _with(line, "", "", change.after, change.before)
    nothing = "not asked" if change.kind is Kind.FINDING else "empty"
    return _with(line, change.after or nothing, change.before or nothing, "", "")


def _with(line: Line, now: str, was: str, came: str, went: str) -> Line:
    return Line(line.about, now, was, came, went, line.since, line.worse)


def _about(found: Sequence[Change]) -> str:
    change = found[0]
    if change.kind is Kind.FINDING:
        return ", ".join(each.subject for each in found)
    label = _KINDS[change.kind]
    if change.kind in _OF_THE_PAIR:
        return label
    member = change.subject or "both members"
    return member if change.kind is Kind.REACHED else f"{member}, {label}"


def _names(names: Sequence[str]) -> str:
    more = f" and {len(names) - _NAMES:,} more" if len(names) > _NAMES else ""
    return ", ".join(names[:_NAMES]) + more
