"""What is kept of a night: equal while nothing moves, never wrong where something is lost, and whole after storing."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from dataclasses import fields, replace
from datetime import datetime, timedelta
from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.capture import Capture, Ending
from collector.finding import Status, Verdict
from collector.judging import judge_snapshot
from collector.nights.night import CertificateEnd, MemberState, PairState
from collector.nights.state import ap_names, pair_state, plain, restored
from collector.result import PairResult
from collector.snapshot import Snapshot, member_snapshot
from tests.collector.nights.states import states
from tests.demo_fleet import fleet, pairs, snapshot, with_capture

_A_DAY = timedelta(days=1)
_MESSAGE = "*Feb  6 21:14:09.132: %LINK-5-CHANGED: Interface TenGigabitEthernet0/1/1, changed state to up"
_REFUSAL = "                     ^\n% Invalid input detected at '^' marker.\n"
# What the facts of a state are from.
_READ = frozenset(
    {
        "show version",
        "show redundancy",
        "show chassis rmi",
        "show install summary",
        "show boot",
        "show rom-monitor chassis active R0",
        "show rom-monitor chassis standby R0",
        "show wireless management trustpoint",
        "show crypto pki certificates",
        "show ap summary",
    }
)


@cache
def _result(pair: str) -> PairResult:
    return judge_snapshot(snapshot(pair), fleet().policy)


@cache
def _state(pair: str) -> PairState:
    return pair_state(snapshot(pair), _result(pair))


def test_a_healthy_pair_is_known_in_every_fact() -> None:
    quay = _state("quay")
    assert (quay.verdict, quay.target_release) == (Verdict.GO, "17.12.4")
    assert {rule.status for rule in quay.rules.values()} <= {Status.PASS, Status.NOT_APPLICABLE}
    chassis = (
        "chassis 1 0000.5e00.5300, 198.51.100.11, RMI 192.0.2.11, Ready",
        "chassis 2 0000.5e00.5301, 198.51.100.12, RMI 192.0.2.12, Ready",
        "communications up",
    )
    standby = MemberState(
        reached=True,
        role="standby",
        release="17.9.4a",
        install_mode="install",
        packages=("IMG C 17.09.04a.0.6",),
        boot=("bootflash:packages.conf",),
        rom_monitor="17.12.1r",
        neighbours=chassis,
        certificates=(CertificateEnd("quay_join (serial 02)", datetime(2034, 1, 5, 10, 22, 31)),),
    )
    assert quay.members == {"quay-a": replace(standby, role="active"), "quay-b": standby}


def test_access_points_are_named_once_each_in_order() -> None:
    names = ap_names(snapshot("quay"))
    assert names is not None
    assert len(names) == 24
    assert list(names) == sorted(set(names))
    assert "Linkspan Öresund crew mess" in names


def test_a_member_that_is_not_reached_has_what_its_partner_tells() -> None:
    told = pair_state(_without(snapshot("quay"), "quay-b"), _result("quay")).members["quay-b"]
    assert told == replace(
        _state("quay").members["quay-b"], reached=False, install_mode=None, neighbours=None, certificates=None
    )


@pytest.mark.parametrize("pair", pairs())
def test_no_loss_of_a_member_makes_a_fact_of_the_other_another_one(pair: str) -> None:
    for lost in snapshot(pair).members:
        partner = snapshot(pair).other(lost).name
        left = pair_state(_without(snapshot(pair), lost.name), _result(pair)).members[partner]
        before = _state(pair).members[partner]
        # Of two that both claim to be active, nobody knows who is, until only one is left to say so.
        assert [fact for fact in _otherwise(before, left) if getattr(before, fact) is not None] == []


@pytest.mark.parametrize("pair", pairs())
def test_no_loss_of_a_capture_makes_a_fact_another_one(pair: str) -> None:
    """Nor, which is more than it has to be, known where it wasn't."""
    before = snapshot(pair)
    names = ap_names(before)
    for capture in _captures(before):
        for damaged in _damaged(capture):
            after = with_capture(before, damaged)
            assert ap_names(after) in (None, names)
            for name, left in pair_state(after, _result(pair)).members.items():
                assert _otherwise(_state(pair).members[name], left) == [], f"{capture.member}: {capture.command}"


@pytest.mark.parametrize("pair", pairs())
def test_a_pair_on_which_nothing_moved_is_the_same_the_next_night(pair: str) -> None:
    tonight, next_night = snapshot(pair), _a_night_later(snapshot(pair))
    assert tonight.members != next_night.members
    later = pair_state(next_night, judge_snapshot(next_night, fleet().policy))
    assert later.members == _state(pair).members
    assert later.rules == _state(pair).rules
    assert plain(later) == plain(_state(pair))
    assert ap_names(next_night) == ap_names(tonight)


def test_counters_of_switchovers_are_not_in_it() -> None:
    counted = _changed(snapshot("quay"), lambda text: text.replace("experienced = 0", "experienced = 7"))
    assert pair_state(counted, _result("quay")) == _state("quay")


def test_a_running_timer_leaves_nothing_that_runs() -> None:
    def running(left: str) -> Snapshot:
        timer = f"Auto abort timer: active on install_activate, time before rollback - {left}"
        return _changed(snapshot("quay"), lambda text: text.replace("Auto abort timer: inactive", timer))

    assert pair_state(running("01:49:42"), _result("quay")) == pair_state(running("00:13:01"), _result("quay"))


def test_a_list_of_packages_that_may_have_lost_its_end_is_not_known() -> None:
    undated = _changed(snapshot("quay"), lambda text: text.replace("Auto abort timer: inactive", ""), dated=False)
    assert [each.packages for each in pair_state(undated, _result("quay")).members.values()] == [None, None]


def test_a_table_of_access_points_without_a_count_may_have_lost_its_end() -> None:
    def uncounted(text: str) -> str:
        return text.replace("Number of APs: 24\n", "")

    assert ap_names(_changed(snapshot("quay"), uncounted, dated=False)) is None
    assert ap_names(_changed(snapshot("quay"), uncounted)) == ap_names(snapshot("quay"))


def test_a_refused_command_is_told_by_the_partner() -> None:
    for command in ("show version", "show boot", "show install summary", "show rom-monitor chassis standby R0"):
        capture = replace(snapshot("quay").members[1].captures[command], text=_REFUSAL)
        left = pair_state(with_capture(snapshot("quay"), capture), _result("quay")).members["quay-b"]
        assert replace(left, install_mode="install") == _state("quay").members["quay-b"], command


def test_a_lost_answer_is_told_by_nobody() -> None:
    """It could have held something else than what the partner tells."""
    left = pair_state(_lost("show version"), _result("quay")).members["quay-b"]
    assert left == replace(_state("quay").members["quay-b"], release=None, install_mode=None)


def test_an_answer_lost_that_could_have_contradicted_the_roles_leaves_them_unknown() -> None:
    lost = _lost("show chassis rmi")
    assert [each.role for each in pair_state(lost, _result("quay")).members.values()] == [None, None]
    assert ap_names(lost) is None


def test_an_end_that_is_not_shown_leaves_the_certificates_unknown() -> None:
    endless = _changed(snapshot("quay"), lambda text: re.sub("(?m)^ *end +date:.*$", "", text))
    assert [each.certificates for each in pair_state(endless, _result("quay")).members.values()] == [None, None]


def test_an_empty_boot_variable_of_a_standby_that_is_not_ready_says_nothing() -> None:
    unready = _changed(
        snapshot("quay"), lambda text: re.sub("(?m)^(Standby BOOT variable|  +BOOT) = .*$", r"\1 = ", text)
    )
    refused = replace(snapshot("quay").members[1].captures["show boot"], text=_REFUSAL)
    assert pair_state(with_capture(unready, refused), _result("quay")).members["quay-b"].boot is None


def test_an_empty_boot_variable_of_its_own_is_one() -> None:
    emptied = _changed(snapshot("quay"), lambda text: re.sub("(?m)^BOOT variable = .*$", "BOOT variable = ", text))
    assert [each.boot for each in pair_state(emptied, _result("quay")).members.values()] == [(), ()]


def test_the_boot_variable_is_one_however_flash_is_called() -> None:
    renamed = _changed(
        snapshot("quay"), lambda text: text.replace("BOOT variable = bootflash:", "BOOT variable = flash:")
    )
    assert pair_state(renamed, _result("quay")) == _state("quay")


@pytest.mark.parametrize("pair", pairs())
def test_a_state_of_the_demo_comes_back_as_it_was(pair: str) -> None:
    assert restored(json.loads(json.dumps(plain(_state(pair))))) == _state(pair)


@given(states())
def test_a_state_comes_back_as_it_was(state: PairState) -> None:
    assert restored(json.loads(json.dumps(plain(state)))) == state


@given(states())
def test_equal_states_are_kept_alike_in_whatever_order_they_were_made(state: PairState) -> None:
    turned = replace(
        state,
        rules=dict(reversed(list(state.rules.items()))),
        members=dict(reversed(list(state.members.items()))),
    )
    assert json.dumps(plain(turned)) == json.dumps(plain(state))


@given(states(), st.sampled_from(["members", "rules"]))
def test_what_a_later_version_keeps_besides_is_passed_over(state: PairState, where: str) -> None:
    data = json.loads(json.dumps(plain(state)))
    data["later"] = 1
    for inner in data[where].values():
        inner["later"] = {"still": "later"}
    assert restored(data) == state


def test_a_status_of_a_later_version_is_no_status() -> None:
    data = plain(_state("quay"))
    data["rules"]["flash-space"]["status"] = "splendid"
    with pytest.raises(ValueError, match="splendid"):
        restored(data)


def _otherwise(before: MemberState, after: MemberState) -> list[str]:
    """The facts that are known after and were not the same before."""
    names = [field.name for field in fields(MemberState) if field.name != "reached"]
    return [name for name in names if getattr(after, name) not in (None, getattr(before, name))]


def _captures(described: Snapshot) -> Iterator[Capture]:
    for member in described.members:
        yield from (each for each in member.captures.values() if each.command in _READ and each.text)


def _damaged(capture: Capture) -> Iterator[Capture]:
    yield Capture(capture.member, capture.command, ending=Ending.MISSING, reason="removed")
    yield replace(capture, ending=Ending.CUT_OFF)
    lines = capture.text.splitlines(keepends=True)
    few = range(len(lines)) if len(lines) < 60 else (*range(20), len(lines) // 2, len(lines) - 1)
    for kept in few:
        # Of a text that changed, no manifest tells when it was taken and that it is whole.
        yield replace(capture, text="".join(lines[:kept]), started=None)


def _lost(command: str) -> Snapshot:
    """The pair quay without what its standby answers to a command."""
    return with_capture(snapshot("quay"), Capture("quay-b", command, ending=Ending.MISSING, reason="the line broke"))


def _without(described: Snapshot, member: str) -> Snapshot:
    first, second = (member_snapshot(each.name, []) if each.name == member else each for each in described.members)
    return replace(described, members=(first, second))


def _changed(described: Snapshot, change: Callable[[str], str], *, dated: bool = True) -> Snapshot:
    """The pair with every text changed; one that it leaves as it is stands for all that this test is about."""
    texts = [each.text for member in described.members for each in member.captures.values()]
    assert any(change(text) != text for text in texts)
    first, second = (
        member_snapshot(
            member.name,
            [
                replace(each, text=change(each.text), started=each.started if dated else None)
                for each in member.captures.values()
            ],
        )
        for member in described.members
    )
    return replace(described, members=(first, second))


def _a_night_later(described: Snapshot) -> Snapshot:
    """The pair a day later: clocks, uptimes, free bytes and tables' orders have moved, and messages break in."""
    first, second = (
        member_snapshot(member.name, [_later(capture) for capture in member.captures.values()])
        for member in described.members
    )
    window = described.pair.window
    # What a rule says may change as the window comes near, so that is as far off as it was.
    pair = replace(described.pair, window=replace(window, start=window.start + _A_DAY) if window else None)
    return replace(described, pair=pair, members=(first, second), moment=described.moment + _A_DAY)


def _later(capture: Capture) -> Capture:
    if not capture.text:
        return capture
    text = capture.text
    for pattern, later in _MOVED:
        text = pattern.sub(later, text)
    lines = text.splitlines()
    rows = [number for number, line in enumerate(lines) if _ROW.match(line)]
    for number, line in zip(rows, [lines[number] for number in reversed(rows)], strict=True):
        lines[number] = line
    lines[len(lines) // 2 : len(lines) // 2] = [_MESSAGE]
    started = capture.started + _A_DAY if capture.started is not None else None
    return replace(capture, text="\n".join(["Load for five secs: 7%/0%; one minute: 4%", *lines, ""]), started=started)


_MOVED: tuple[tuple[re.Pattern[str], str | Callable[[re.Match[str]], str]], ...] = (
    (re.compile("Fri Feb 5 2027"), "Sat Feb 6 2027"),
    (re.compile("([0-9]+) weeks?, ([0-9]) days?"), lambda found: f"{int(found[1]) + 1} weeks, {found[2]} days"),
    (re.compile("([0-9]+)( bytes free)"), lambda found: f"{int(found[1]) - 4096}{found[2]}"),
    (re.compile("ntp uptime is [0-9]+"), "ntp uptime is 1902960000"),
    (re.compile("time before rollback - 01:"), "time before rollback - 00:"),
)
# The rows of access points come in no order of their own.
_ROW = re.compile(r".*[ ]{2}0200[.]5e10[.][0-9a-f]{4}[ ]{2}")
