"""Drift: what was otherwise on an earlier night.

A fact that isn't known is no other fact: what comes back after nights of silence is compared with what was last known
of it, and is no change where it came back the same. Numbers are compared first, so that quiet nights cost nothing.

What is worse: for a finding, in this order, pass or not-applicable or a rule that nobody asked, a caution, an unknown
that decides nothing, a block that somebody accepts, an unknown that keeps the pair from being go, a block; for a
verdict go, undecided, no-go. Of facts nobody can say it, save that a member that no longer answers is worse.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from collector.finding import Status, Verdict
from collector.nights.change import Change, Kind
from collector.nights.night import CertificateEnd, Night, PairState, RuleState

LoadState = Callable[[int], PairState]
LoadAps = Callable[[int], tuple[str, ...]]

_Key = tuple[Kind, str]
_VERDICTS = (Verdict.GO, Verdict.UNDECIDED, Verdict.NO_GO)
_OF_MEMBERS: Mapping[Kind, str] = {
    Kind.RELEASE: "release",
    Kind.INSTALL_STATE: "packages",
    Kind.INSTALL_MODE: "install_mode",
    Kind.BOOT: "boot",
    Kind.ROM_MONITOR: "rom_monitor",
    Kind.NEIGHBOURS: "neighbours",
    Kind.CERTIFICATE: "certificates",
    Kind.REACHED: "reached",
}
_IN_ORDER = tuple(Kind)


def changes(pair: str, before: Night, after: Night, load_state: LoadState, load_aps: LoadAps) -> tuple[Change, ...]:
    """What was otherwise for the pair on the first of two nights.

    Only `walk` over a whole series knows what was known before them.
    """
    assert before.pair == after.pair == pair, "two nights of one pair"
    return tuple(walk((before, after), load_state, load_aps))


def walk(
    nights: Iterable[Night], load_state: LoadState, load_aps: LoadAps, *, since: date | None = None
) -> Iterator[Change]:
    """Every change from `since` on over a pair's nights, oldest first; those before it only tell what was known.

    Nights on which the pair wasn't asked in time say nothing.
    """
    known: dict[_Key, _Known] = {}
    last: Night | None = None
    current: Mapping[_Key, Any] = {}
    for night in nights:
        if not night.in_time:
            continue
        if last is not None and (night.state, night.aps) != (last.state, last.aps):
            known.update({key: _Known(value, last.night) for key, value in current.items()})
            facts = _facts(night, load_state)
            if since is None or night.night >= since:
                yield from _together(_compared(night, last, known, facts, load_aps))
            for key in _unasked(known, facts):
                del known[key]
            current = facts
        elif last is None:
            current = _facts(night, load_state)
        last = night


def is_worse(before: Verdict, after: Verdict) -> bool:
    """Whether the later one of two verdicts is the worse one."""
    return _VERDICTS.index(after) > _VERDICTS.index(before)


@dataclass(frozen=True)
class _Known:
    """What is known of a fact, and the last night on which it was."""

    value: Any
    night: date


def _facts(night: Night, load_state: LoadState) -> dict[_Key, Any]:
    """All that is known of the pair that night; an access points' set by its number."""
    state = load_state(night.state)
    facts: dict[_Key, Any] = {(Kind.VERDICT, ""): state.verdict, (Kind.TARGET, ""): state.target_release}
    facts.update({(Kind.FINDING, id): rule for id, rule in state.rules.items()})
    facts[Kind.ROLE, ""] = _active(state)
    for name, member in state.members.items():
        facts.update({(kind, name): getattr(member, field) for kind, field in _OF_MEMBERS.items()})
    facts[Kind.ACCESS_POINTS, ""] = night.aps
    return {key: value for key, value in facts.items() if value is not None}


def _active(state: PairState) -> str | None:
    """The active member's name: who is active says both roles, so that a switchover is one change."""
    actives = [name for name, member in state.members.items() if member.role == "active"]
    return actives[0] if len(actives) == 1 else None


def _compared(
    night: Night, last: Night, known: Mapping[_Key, _Known], facts: Mapping[_Key, Any], load_aps: LoadAps
) -> Iterator[Change]:
    unasked = _unasked(known, facts)
    for key in sorted([*facts, *unasked], key=lambda key: _place(key, facts.get(key))):
        earlier, value = known.get(key), facts.get(key)
        if earlier is None and key[0] is Kind.FINDING:
            earlier = _Known(None, last.night)
        if earlier is not None and earlier.value != value:
            yield from _change(night, key, earlier, value, load_aps)


def _place(key: _Key, value: Any) -> tuple[int, int, str]:
    """Where a change stands among those of its night: by kind, of findings the worst first, then by subject."""
    kind, subject = key
    return _IN_ORDER.index(kind), -_severity(value) if kind is Kind.FINDING else 0, subject


def _unasked(known: Mapping[_Key, _Known], facts: Mapping[_Key, Any]) -> list[_Key]:
    """The rules that are no longer asked: other than a fact, a finding that isn't there is no lack of knowledge."""
    return [key for key in known if key[0] is Kind.FINDING and key not in facts]


def _change(night: Night, key: _Key, earlier: _Known, value: Any, load_aps: LoadAps) -> Iterator[Change]:
    """The change, unless it is none for anybody: a rule that had nothing against the pair on either night.

    A forecast that is silent on some nights and promises well on others would else be told again and again.
    """
    kind, subject = key
    change = Change(night.pair, night.night, earlier.night, kind, subject, "", "")
    if kind is Kind.ACCESS_POINTS:
        before, after = set(load_aps(earlier.value)), set(load_aps(value))
        gained, lost = tuple(sorted(after - before)), tuple(sorted(before - after))
        if gained or lost:
            yield replace(change, before=str(len(before)), after=str(len(after)), gained=gained, lost=lost)
    elif kind is Kind.FINDING:
        worse = _severity(value) - _severity(earlier.value)
        if worse or _severity(value):
            before_said, after_said = _rule(earlier.value), _rule(value)
            yield replace(change, before=before_said, after=after_said, worse=worse > 0 if worse else None)
    elif kind is Kind.VERDICT:
        worse_verdict = is_worse(earlier.value, value)
        yield replace(change, before=earlier.value.value, after=value.value, worse=worse_verdict)
    elif kind is Kind.REACHED:
        yield replace(change, before=_answer(earlier.value), after=_answer(value), worse=not value)
    else:
        before_words, after_words = _words(kind, earlier.value, value), _words(kind, value, earlier.value)
        yield replace(change, before=before_words, after=after_words)


def _words(kind: Kind, value: Any, other: Any) -> str:
    """A fact's value for a person; of several things without an order only those that the other one lacks."""
    if kind is Kind.ROLE:
        return f"{value} active"
    if kind is Kind.BOOT:
        return "; ".join(value)
    if kind is Kind.CERTIFICATE:
        return "; ".join(_certificate(each) for each in value if each not in other)
    if kind in (Kind.INSTALL_STATE, Kind.NEIGHBOURS):
        return "; ".join(each for each in value if each not in other)
    return str(value)


def _certificate(certificate: CertificateEnd) -> str:
    return f"{certificate.label} until {certificate.end:%Y-%m-%d %H:%M}"


def _answer(reached: bool) -> str:
    return "answers" if reached else "no answer"


def _rule(rule: RuleState | None) -> str:
    """What a rule said, in words that differ wherever it said something else; empty where nobody asked."""
    if rule is None:
        return ""
    waived = ", waived" if rule.waived else ""
    usual = rule.status is Status.UNKNOWN or (rule.status is Status.BLOCK and not rule.waived)
    weight = "" if rule.decides is usual else " (still decides)" if rule.decides else " (decides nothing)"
    return f"{rule.status.value}{waived}{weight}"


def _severity(rule: RuleState | None) -> int:
    if rule is None:
        return 0
    if rule.waived and rule.status is Status.BLOCK:
        return 4 if rule.decides else 3
    if rule.status is Status.UNKNOWN:
        return 4 if rule.decides else 2
    return {Status.BLOCK: 5, Status.CAUTION: 1}.get(rule.status, 0)


def _together(found: Iterable[Change]) -> list[Change]:
    """The changes in their order, those that both members share as one of the pair's."""
    ordered: dict[tuple[Any, ...], list[Change]] = {}
    for change in found:
        shared = change.kind in _OF_MEMBERS
        alike = (change.kind, "" if shared else change.subject, change.before, change.after, change.since)
        ordered.setdefault(alike, []).append(change)
    return [replace(same[0], subject="") if len(same) > 1 else same[0] for same in ordered.values()]
