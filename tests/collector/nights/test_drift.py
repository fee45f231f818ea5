"""Drift tells every change, once, on the night it was seen, and nothing else."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import fields, replace
from datetime import datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.finding import Verdict
from collector.nights.change import Change, Kind
from collector.nights.drift import changes, walk
from collector.nights.night import CertificateEnd, MemberState, Night, PairState, RuleState
from tests.collector.nights.states import (
    BLOCK,
    CAUTION,
    MEMBERS,
    NOT_APPLICABLE,
    PASS,
    UNKNOWN,
    UNSURE,
    WAIVED,
    WEIGHTLESS,
    ap_sets,
    night,
    states,
)

WORDS = {
    PASS: "pass",
    NOT_APPLICABLE: "not-applicable",
    CAUTION: "caution",
    WEIGHTLESS: "unknown (decides nothing)",
    WAIVED: "block, waived",
    UNSURE: "block, waived (still decides)",
    UNKNOWN: "unknown",
    BLOCK: "block",
}
STANDBY = MemberState(role="standby", release="17.9.4a", install_mode="install")
QUAY = PairState(Verdict.GO, "17.12.4", {}, {"quay-a": replace(STANDBY, role="active"), "quay-b": STANDBY})

Aps = tuple[str, ...] | None
_states_and_aps = st.tuples(states(), ap_sets())


def walked(seen: Sequence[PairState], aps: Sequence[Aps] = (), late: Iterable[int] = ()) -> list[Change]:
    """The changes over nights of these states; equal ones have one number, as in a store."""
    nights, load, load_aps = stored(seen, aps, late)
    return list(walk(nights, load, load_aps))


def stored(seen: Sequence[PairState], aps: Sequence[Aps], late: Iterable[int] = ()) -> tuple[list[Night], Any, Any]:
    held: list[PairState] = []
    sets: list[tuple[str, ...]] = []
    nights = []
    for number, state in enumerate(seen):
        if state not in held:
            held.append(state)
        names = aps[number] if aps else None
        if names is not None and names not in sets:
            sets.append(names)
        ap_set = None if names is None else sets.index(names)
        nights.append(night(number, held.index(state), aps=ap_set, in_time=number not in late))
    return nights, held.__getitem__, sets.__getitem__


def rule(*said: RuleState | None) -> list[PairState]:
    return [replace(QUAY, rules={"flash-space": each} if each else {}) for each in said]


def member(name: str, **facts: Any) -> PairState:
    return replace(QUAY, members={**QUAY.members, name: replace(QUAY.members[name], **facts)})


def told(found: Iterable[Change]) -> list[tuple[int, int, Kind, str, str, str]]:
    """The night and the one since which, as numbers of days, with what changed."""
    days = [(each, (each.night - night(0, 0).night).days, (each.since - night(0, 0).night).days) for each in found]
    return [(day, since, each.kind, each.subject, each.before, each.after) for each, day, since in days]


@given(_states_and_aps)
def test_nothing_is_otherwise_than_itself(seen: tuple[PairState, Aps]) -> None:
    state, aps = seen
    assert walked([state, state], [aps, aps]) == []


@given(_states_and_aps)
def test_nothing_is_otherwise_under_another_number(seen: tuple[PairState, Aps]) -> None:
    """Another version of readypair may keep an equal state in another form, under a number of its own."""
    state, aps = seen
    first, second = night(0, 0, aps=None if aps is None else 0), night(1, 1, aps=None if aps is None else 1)
    assert changes("quay", first, second, lambda _: state, lambda _: aps or ()) == ()


def test_quiet_nights_load_nothing_but_the_first_state() -> None:
    loaded: list[int] = []

    def load(number: int) -> PairState:
        loaded.append(number)
        return QUAY

    assert list(walk([night(day, 7, aps=3) for day in range(365)], load, lambda _: ())) == []
    assert loaded == [7]


@given(st.lists(_states_and_aps, min_size=1, max_size=6), st.integers(0, 6))
def test_changes_since_a_night_are_the_last_of_all(seen: list[tuple[PairState, Aps]], number: int) -> None:
    states, aps = [state for state, _ in seen], [aps for _, aps in seen]
    nights, load, load_aps = stored(states, aps)
    since = night(number, 0).night
    told_since = list(walk(nights, load, load_aps, since=since))
    assert told_since == [each for each in walked(states, aps) if each.night >= since]


@given(st.lists(_states_and_aps, min_size=1, max_size=6))
def test_all_changes_applied_to_what_was_known_first_give_what_is_known_last(
    seen: list[tuple[PairState, Aps]],
) -> None:
    known: dict[tuple[Kind, str], Any] = {}
    found = walked([state for state, _ in seen], [aps for _, aps in seen])
    nights = [night(number, 0).night for number in range(len(seen))]
    for day, (state, aps) in zip(nights, seen, strict=True):
        for change in (each for each in found if each.night == day):
            for name in subjects(change):
                known[change.kind, name] = applied(change, known.get((change.kind, name)))
        expected = facts(state, aps)
        if day == nights[0]:
            known = dict(expected)
        for key, value in expected.items():
            # What is known for the first time is no change of anything; all else has been told.
            assert known.setdefault(key, value) == value
        gone = [key for key in known if key[0] is Kind.FINDING and key not in expected]
        assert {known[key] for key in gone} <= {"pass"}
        known = {key: value for key, value in known.items() if key not in gone}


HARMLESS = ("pass", "not-applicable")
SEVERAL = (Kind.INSTALL_STATE, Kind.NEIGHBOURS, Kind.CERTIFICATE)


def harmless(words: str) -> str:
    """Between a rule that has nothing against a pair and one that doesn't apply nobody is told a difference."""
    return "pass" if words in HARMLESS else words


def subjects(change: Change) -> tuple[str, ...]:
    of_the_pair = (Kind.VERDICT, Kind.TARGET, Kind.ROLE, Kind.ACCESS_POINTS)
    return MEMBERS if not change.subject and change.kind not in of_the_pair else (change.subject,)


def facts(state: PairState, aps: Aps) -> dict[tuple[Kind, str], Any]:
    """What is known, in the words that a change has for it; things without an order as a set of them."""

    found: dict[tuple[Kind, str], Any] = {
        (Kind.VERDICT, ""): state.verdict.value,
        (Kind.TARGET, ""): state.target_release,
        **{(Kind.FINDING, id): harmless(WORDS[said]) for id, said in state.rules.items()},
    }
    actives = [name for name, each in state.members.items() if each.role == "active"]
    if len(actives) == 1:
        found[Kind.ROLE, ""] = f"{actives[0]} active"
    if aps is not None:
        found[Kind.ACCESS_POINTS, ""] = set(aps)
    for name, each in state.members.items():
        found[Kind.REACHED, name] = "answers" if each.reached else "no answer"
        ends = each.certificates
        for kind, value in (
            (Kind.RELEASE, each.release),
            (Kind.INSTALL_MODE, each.install_mode),
            (Kind.ROM_MONITOR, each.rom_monitor),
            (Kind.BOOT, None if each.boot is None else "; ".join(each.boot)),
            (Kind.INSTALL_STATE, None if each.packages is None else set(each.packages)),
            (Kind.NEIGHBOURS, None if each.neighbours is None else set(each.neighbours)),
            (Kind.CERTIFICATE, None if ends is None else {f"{e.label} until {e.end:%Y-%m-%d %H:%M}" for e in ends}),
        ):
            if value is not None:
                found[kind, name] = value
    return found


def applied(change: Change, value: Any) -> Any:
    """What a change makes of what was known: it must have said so, too."""
    if change.kind is Kind.ACCESS_POINTS:
        assert len(value) == int(change.before)
        after = (value - set(change.lost)) | set(change.gained)
        assert (set(change.lost) <= value, value.isdisjoint(change.gained)) == (True, True)
        assert len(after) == int(change.after)
        return after
    if change.kind in SEVERAL:
        lost, gained = ({each for each in said.split("; ") if each} for said in (change.before, change.after))
        assert lost <= value
        assert value.isdisjoint(gained)
        return (value - lost) | gained
    if change.kind is Kind.FINDING:
        assert (value or "pass") == harmless(change.before or "pass")
        return harmless(change.after or "pass")
    assert value == change.before
    return change.after


@given(_states_and_aps, _states_and_aps)
def test_no_order_of_what_was_kept_makes_a_difference(
    before: tuple[PairState, Aps], after: tuple[PairState, Aps]
) -> None:
    def turned(state: PairState) -> PairState:
        rules, members = dict(reversed(list(state.rules.items()))), dict(reversed(list(state.members.items())))
        return replace(state, rules=rules, members=members)

    told_so = walked([before[0], after[0]], [before[1], after[1]])
    assert walked([turned(before[0]), turned(after[0])], [before[1], after[1]]) == told_so


@given(_states_and_aps, _states_and_aps)
def test_the_way_back_is_the_way_there_turned_round(
    before: tuple[PairState, Aps], after: tuple[PairState, Aps]
) -> None:
    there = walked([before[0], after[0]], [before[1], after[1]])
    back = walked([after[0], before[0]], [after[1], before[1]])
    turned = [
        replace(
            each,
            before=each.after,
            after=each.before,
            gained=each.lost,
            lost=each.gained,
            worse=None if each.worse is None else not each.worse,
        )
        for each in back
    ]
    assert sorted(turned, key=_of) == sorted(there, key=_of)


def _of(change: Change) -> tuple[str, str]:
    return change.kind, change.subject


@given(ap_sets(), ap_sets())
def test_access_points_are_gained_and_lost_as_python_says(before: Aps, after: Aps) -> None:
    found = walked([QUAY, QUAY], [before, after])
    known = before is not None and after is not None
    gained, lost = set(after or ()) - set(before or ()), set(before or ()) - set(after or ())
    assert bool(found) is (known and bool(gained or lost))
    for change in found:
        assert (change.kind, set(change.gained), set(change.lost)) == (Kind.ACCESS_POINTS, gained, lost)
        assert (change.before, change.after) == (str(len(before or ())), str(len(after or ())))


def test_what_was_unknown_for_two_nights_and_came_back_the_same_is_no_change() -> None:
    gone = replace(QUAY, members={name: MemberState() for name in MEMBERS})
    aps = ("hall-1", "hall-2")
    assert walked([QUAY, gone, gone, QUAY], [aps, None, None, aps]) == []


def test_what_came_back_otherwise_is_dated_on_the_night_it_was_seen() -> None:
    states = [
        QUAY,
        QUAY,
        member("quay-b", release=None),
        member("quay-b", release=None),
        member("quay-b", release="17.9.5"),
    ]
    aps = [("hall-1",), ("hall-1",), None, None, ("hall-2",)]
    assert told(walked(states, aps)) == [
        (4, 1, Kind.RELEASE, "quay-b", "17.9.4a", "17.9.5"),
        (4, 1, Kind.ACCESS_POINTS, "", "1", "1"),
    ]


def test_what_becomes_known_for_the_first_time_is_no_change() -> None:
    assert walked([member("quay-b", release=None), QUAY], [None, ("hall-1",)]) == []


def test_a_night_on_which_nobody_asked_in_time_says_nothing() -> None:
    silent = replace(rule(UNKNOWN)[0], verdict=Verdict.UNDECIDED)
    assert walked([*rule(PASS), silent, *rule(PASS)], late=[1]) == []
    assert told(walked([*rule(PASS), silent, *rule(BLOCK)], late=[1])) == [
        (2, 0, Kind.FINDING, "flash-space", "pass", "block")
    ]


def test_a_switchover_is_one_change() -> None:
    over = replace(QUAY, members={"quay-a": STANDBY, "quay-b": replace(STANDBY, role="active")})
    assert told(walked([QUAY, over])) == [(1, 0, Kind.ROLE, "", "quay-a active", "quay-b active")]


def test_a_switchover_whose_old_active_is_silent_for_a_night_is_one_change() -> None:
    silent = MemberState(reached=False)
    alone = replace(QUAY, members={"quay-a": silent, "quay-b": replace(STANDBY, role="active")})
    over = replace(QUAY, members={"quay-a": STANDBY, "quay-b": replace(STANDBY, role="active")})
    assert told(walked([QUAY, alone, over])) == [
        (1, 0, Kind.REACHED, "quay-a", "answers", "no answer"),
        (1, 0, Kind.ROLE, "", "quay-a active", "quay-b active"),
        (2, 1, Kind.REACHED, "quay-a", "no answer", "answers"),
    ]


def test_a_member_that_answers_no_more_is_worse() -> None:
    silent = member("quay-b", reached=False)
    assert [each.worse for each in walked([QUAY, silent, QUAY])] == [True, False]


def test_an_upgrade_of_both_that_was_seen_since_other_nights_is_told_of_each() -> None:
    """What was last known of one of them is older, so one sentence wouldn't be true of both."""
    upgraded = replace(QUAY, members={name: replace(each, release="17.12.4") for name, each in QUAY.members.items()})
    assert told(walked([QUAY, member("quay-b", release=None), upgraded])) == [
        (2, 1, Kind.RELEASE, "quay-a", "17.9.4a", "17.12.4"),
        (2, 0, Kind.RELEASE, "quay-b", "17.9.4a", "17.12.4"),
    ]


def test_two_that_both_claim_to_be_active_are_no_switchover() -> None:
    both = member("quay-b", role="active")
    assert walked([QUAY, both, QUAY]) == []


def test_an_upgrade_of_both_members_is_one_change() -> None:
    upgraded = replace(QUAY, members={name: replace(each, release="17.12.4") for name, each in QUAY.members.items()})
    assert told(walked([QUAY, upgraded])) == [(1, 0, Kind.RELEASE, "", "17.9.4a", "17.12.4")]


def test_an_upgrade_of_one_after_the_other_is_told_of_each() -> None:
    half, whole = member("quay-b", release="17.12.4"), member("quay-b", release="17.12.4")
    whole = replace(whole, members={**whole.members, "quay-a": replace(QUAY.members["quay-a"], release="17.12.4")})
    assert told(walked([QUAY, half, whole])) == [
        (1, 0, Kind.RELEASE, "quay-b", "17.9.4a", "17.12.4"),
        (2, 1, Kind.RELEASE, "quay-a", "17.9.4a", "17.12.4"),
    ]


def test_of_things_without_an_order_only_those_that_came_and_went_are_told() -> None:
    ends = [CertificateEnd(f"quay_join (serial 0{n})", datetime(2030 + n, 1, 5, 10, 22)) for n in (2, 3)]
    before = member("quay-b", packages=("IMG C 17.09.04a.0.6", "SMU I fix.bin"), certificates=(ends[0],))
    after = member("quay-b", packages=("IMG C 17.09.04a.0.6", "SMU C fix.bin"), certificates=(ends[1],))
    assert told(walked([before, after])) == [
        (1, 0, Kind.INSTALL_STATE, "quay-b", "SMU I fix.bin", "SMU C fix.bin"),
        (
            1,
            0,
            Kind.CERTIFICATE,
            "quay-b",
            "quay_join (serial 02) until 2032-01-05 10:22",
            "quay_join (serial 03) until 2033-01-05 10:22",
        ),
    ]


def test_boot_entries_are_told_in_their_order() -> None:
    packages, old = "bootflash:packages.conf", "bootflash:old.bin"
    found = walked(
        [member("quay-b", boot=(packages, old)), member("quay-b", boot=(old, packages)), member("quay-b", boot=())]
    )
    assert [(each.before, each.after) for each in found] == [
        (f"{packages}; {old}", f"{old}; {packages}"),
        (f"{old}; {packages}", ""),
    ]


@pytest.mark.parametrize(
    ("before", "after", "worse"),
    [
        (PASS, CAUTION, True),
        (BLOCK, WAIVED, False),
        (PASS, WAIVED, True),
        (CAUTION, WEIGHTLESS, True),
        (WEIGHTLESS, WAIVED, True),
        (WAIVED, UNSURE, True),
        (UNKNOWN, UNSURE, None),
        (UNKNOWN, PASS, False),
        (UNKNOWN, BLOCK, True),
        (None, BLOCK, True),
        (BLOCK, None, False),
    ],
)
def test_findings_are_better_or_worse(before: RuleState | None, after: RuleState | None, worse: bool | None) -> None:
    [change] = walked(rule(before, after))
    assert (change.kind, change.subject, change.worse) == (Kind.FINDING, "flash-space", worse)
    assert (change.before, change.after) == (WORDS[before] if before else "", WORDS[after] if after else "")


def test_the_worst_findings_of_a_night_come_first() -> None:
    said = {"a": CAUTION, "b": PASS, "c": BLOCK, "d": UNKNOWN, "e": BLOCK}
    before = replace(QUAY, rules={"a": PASS, "b": BLOCK, "c": PASS, "d": PASS, "e": CAUTION, "f": BLOCK})
    found = walked([before, replace(QUAY, verdict=Verdict.NO_GO, rules=said)])
    assert [(each.kind, each.subject) for each in found] == [
        (Kind.VERDICT, ""),
        *((Kind.FINDING, id) for id in ("c", "e", "d", "a", "b", "f")),
    ]


@pytest.mark.parametrize(
    ("before", "after"),
    [(None, PASS), (PASS, None), (None, NOT_APPLICABLE), (None, None), (PASS, NOT_APPLICABLE), (NOT_APPLICABLE, PASS)],
)
def test_a_rule_that_has_nothing_against_the_pair_on_either_night_is_no_change(
    before: RuleState | None, after: RuleState | None
) -> None:
    assert walked([*rule(before, after), *rule(BLOCK)])[0].after == "block"


def test_a_block_whose_rule_was_gone_meanwhile_is_told_again() -> None:
    assert [(each.before, each.after) for each in walked(rule(BLOCK, None, BLOCK))] == [("block", ""), ("", "block")]


@pytest.mark.parametrize(
    ("before", "after", "worse"),
    [
        (Verdict.GO, Verdict.UNDECIDED, True),
        (Verdict.UNDECIDED, Verdict.NO_GO, True),
        (Verdict.NO_GO, Verdict.GO, False),
    ],
)
def test_verdicts_are_better_or_worse(before: Verdict, after: Verdict, worse: bool) -> None:
    [change] = walked([replace(QUAY, verdict=before), replace(QUAY, verdict=after)])
    assert (change.kind, change.subject, change.before, change.after) == (Kind.VERDICT, "", before.value, after.value)
    assert change.worse is worse


def test_every_fact_of_a_member_has_a_kind() -> None:
    """A fact that is added and forgotten here would never be told."""
    values: dict[str, Any] = {
        "reached": (True, False),
        "role": ("active", None),
        "release": ("17.9.4a", "17.9.5"),
        "install_mode": ("install", "bundle"),
        "packages": (("IMG C 1",), ()),
        "boot": ((), ("bootflash:packages.conf",)),
        "rom_monitor": ("17.12.1r", "17.13.1r"),
        "neighbours": (("communications up",), ("communications down",)),
        "certificates": ((), (CertificateEnd("quay_join", datetime(2034, 1, 5)),)),
    }
    assert set(values) == {field.name for field in fields(MemberState)}
    for name, (before, after) in values.items():
        if name != "role":
            assert len(walked([member("quay-b", **{name: before}), member("quay-b", **{name: after})])) == 1, name
