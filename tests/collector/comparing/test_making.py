"""Whole comparisons: of played upgrades, of nights without one, and of sides that lack something."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from collector.capture import Capture, Ending
from collector.comparing.comparison import Comparison, Difference, Kind, Side, Standing, Topic
from collector.comparing.making import compare, target_of
from collector.played_upgrade import FAILURES, Failure, Play
from collector.snapshot import MemberSnapshot, Snapshot
from parsers import catalogue
from tests.collector.comparing.played import (
    GOOD,
    TARGET,
    after,
    before,
    compared,
    edited,
    kinds,
    of_topic,
    taken,
    troubles,
)
from tests.demo_fleet import fleet, with_capture

OLD = "17.9.4a"
PAIRS = ("quay", "tidewater", "lantern", "sandbar")
DEEP = {each.text for each in catalogue.deep()}
ROLES = ("show redundancy", "show chassis rmi")
# What a side can lack without anybody missing it: of the side before, the state that the pair was in then, which is
# judged by the side after alone; and on either side what rules look at beforehand only.
ONLY_AFTER = {
    "show redundancy config-sync failures mcl",
    "show redundancy config-sync failures bem",
    "show redundancy config-sync failures prc",
    "show redundancy config-sync ignored failures mcl",
    "show issu state detail",
    "show ap image",
    "show clock",
    "show ntp status",
    "dir bootflash:core",
    "dir stby-bootflash:",
    "dir stby-bootflash:core",
}
NEVER = {
    "show romvar",
    "show redundancy switchover history",
    "show wireless stats ap join summary",
    "show platform software status control-processor brief",
    "show platform resources",
    "show running-config | include Last configuration change",
    "show running-config | include NVRAM config last updated",
    "show ap dot11 5ghz load-info",
    "show ap dot11 24ghz load-info",
}
OF_PARTNER = {
    "quay-a": {"show rom-monitor chassis standby R0"},
    "quay-b": {"show rom-monitor chassis active R0"},
}
OF_THE_ACTIVE = {"show ap summary", "show wireless summary", "show wlan summary", "show ap image"} | {
    f"show ap dot11 {band} summary" for band in ("5ghz", "24ghz")
}


@pytest.mark.parametrize("pair", PAIRS)
def test_a_good_upgrade_is_clean(pair: str) -> None:
    found = compared(before(pair), after(pair))
    assert (found.standing, found.upgrade, troubles(found)) == (Standing.CLEAN, True, {})
    expected = {each.topic for each in found.of_kind(Kind.EXPECTED)}
    assert {Topic.RELEASE, Topic.SOFTWARE, Topic.ROLES} <= expected
    assert {each.topic for each in found.differences} == set(Topic)
    assert [(member.release, member.role) for member in found.before.members] != [
        (member.release, member.role) for member in found.after.members
    ]


def test_what_was_no_better_before_is_to_explain() -> None:
    found = compared(before("estuary"), after("estuary"))
    assert (found.standing, troubles(found)) == (Standing.TO_EXPLAIN, {Topic.CLOCK: {Kind.TO_EXPLAIN}})
    (clock,) = of_topic(found, Topic.CLOCK)
    assert clock.statement.startswith("As before: NTP doesn't synchronise estuary-b's clock")


def test_a_night_like_the_one_before_is_clean() -> None:
    found = compared(before(), taken(GOOD, 60.0), OLD)
    assert (found.standing, found.upgrade, found.of_kind(Kind.EXPECTED)) == (Standing.CLEAN, False, ())


def test_a_window_in_which_nothing_was_done_is_faulty() -> None:
    found = compared(before(), before())
    assert found.standing is Standing.FAULTY
    assert troubles(found)[Topic.RELEASE] == {Kind.FAULT}
    (release,) = of_topic(found, Topic.RELEASE)
    assert release.statement == "quay-a runs 17.9.4a, not 17.12.4; quay-b likewise; before it was 17.9.4a."


def test_without_an_upgrade_nothing_is_put_down_to_one() -> None:
    found = compared(before(), after(), OLD)
    assert (found.standing, found.upgrade) == (Standing.TO_EXPLAIN, False)
    told = troubles(found)
    assert told[Topic.RELEASE] == told[Topic.SOFTWARE] == told[Topic.ROLES] == {Kind.TO_EXPLAIN}
    assert found.of_kind(Kind.EXPECTED) == ()


@pytest.mark.parametrize("failure", FAILURES)
def test_every_failure_is_faulty_until_its_end(failure: Failure) -> None:
    play = Play(replace(GOOD.upgrade, failure=failure))
    for moment in (play.moment("synchronise", 0.9), play.cues[-1] + 60):
        found = compared(before(), taken(play, moment))
        assert found.standing is Standing.FAULTY
        assert Topic.RELEASE in troubles(found)


@pytest.mark.parametrize(
    ("failure", "topic", "words"),
    [
        ("config-mismatch", Topic.CONFIGURATION, "The mismatched-command list isn't empty: 5 lines"),
        ("aps-missing", Topic.ACCESS_POINTS, "8 access points of 24 are missing: quay-car-deck-06, quay-car-deck-18"),
        ("auto-abort", Topic.SOFTWARE, "activated but not committed (U)"),
    ],
)
def test_a_failure_is_named_while_it_lasts(failure: Failure, topic: Topic, words: str) -> None:
    play = Play(replace(GOOD.upgrade, failure=failure))
    found = compared(before(), taken(play, play.moment("validate")))
    faults = [each for each in of_topic(found, topic) if each.kind is Kind.FAULT]
    assert any(words in each.statement for each in faults)
    assert all(each.after for each in faults)


def test_a_standby_that_never_gets_hot_is_named() -> None:
    play = Play(replace(GOOD.upgrade, failure="standby-never-hot"))
    found = compared(before(), taken(play, play.moment("synchronise", 0.9)))
    (state, *_) = of_topic(found, Topic.REDUNDANCY)
    assert state.kind is Kind.FAULT
    assert "STANDBY COLD" in state.statement


def test_a_crash_leaves_its_file() -> None:
    play = Play(replace(GOOD.upgrade, failure="active-crashes"))
    found = compared(before(), taken(play, play.moment("validate")))
    (files,) = of_topic(found, Topic.CRASH_FILES)
    assert files.kind in (Kind.TO_EXPLAIN, Kind.UNKNOWN)
    assert "wncd" in files.statement


def lost(snapshot: Snapshot, member: MemberSnapshot, command: str, ending: Ending) -> Snapshot:
    own = member.captures[command]
    text = "" if ending is Ending.MISSING else own.text[: len(own.text) // 2]
    return with_capture(snapshot, Capture(member.name, command, text, ending, "lost", own.started, own.seconds))


@pytest.mark.parametrize("ending", [Ending.MISSING, Ending.CUT_OFF])
@pytest.mark.parametrize("side", ["before", "after"])
def test_no_loss_of_what_is_needed_is_clean(side: str, ending: Ending) -> None:
    whole = before() if side == "before" else after()
    active = "quay-a" if side == "before" else "quay-b"
    for member in whole.members:
        for command in member.captures:
            damaged = lost(whole, member, command, ending)
            found = compared(damaged, after()) if side == "before" else compared(before(), damaged)
            unneeded = command in NEVER or (command in OF_THE_ACTIVE and member.name != active)
            unneeded |= side == "before" and command in ONLY_AFTER
            # Each member tells its own ROM monitor, and its partner's only where that one couldn't.
            unneeded |= side == "before" and command in OF_PARTNER[member.name]
            # What the standby's flash held, the active one tells as well.
            unneeded |= (side, member.name, command) == ("before", "quay-b", "dir bootflash:")
            # A standby's word about its partner's flash was refused anyway.
            unneeded |= command.startswith("dir stby-") and member.name != active
            assert (found.standing is Standing.CLEAN) == unneeded, (member.name, command, found.standing)


def broken() -> dict[str, Snapshot]:
    """A window in which nothing was done, and those that failed, while they are being validated."""
    plays = {str(failure): Play(replace(GOOD.upgrade, failure=failure)) for failure in FAILURES}
    validated = {name: play.moment("validate") for name, play in plays.items() if "validate" in play.acts}
    return {"nothing done": before(), **{name: taken(plays[name], moment) for name, moment in validated.items()}}


BROKEN = broken()


@pytest.mark.parametrize("case", BROKEN)
def test_no_loss_makes_a_fault_clean(case: str) -> None:
    for side, whole in (("before", before()), ("after", BROKEN[case])):
        for member in whole.members:
            for command in member.captures:
                damaged = lost(whole, member, command, Ending.MISSING)
                found = compared(damaged, BROKEN[case]) if side == "before" else compared(before(), damaged)
                assert found.standing is not Standing.CLEAN, (side, member.name, command)


def ordinary(snapshot: Snapshot) -> Snapshot:
    """The snapshot as a sweep takes it, which asks none of the deep commands."""
    first, second = (
        MemberSnapshot(
            member.name,
            {command: capture for command, capture in member.captures.items() if command not in DEEP},
            {command: reading for command, reading in member.readings.items() if command not in DEEP},
        )
        for member in snapshot.members
    )
    return replace(snapshot, members=(first, second))


def test_ordinary_nights_compare_what_they_asked() -> None:
    found = compared(ordinary(before()), ordinary(taken(GOOD, 60.0)), OLD)
    assert found.standing is Standing.CLEAN
    assert {each.topic for each in found.of_kind(Kind.NOT_COMPARED)} == {Topic.CLIENTS, Topic.RADIOS, Topic.WLANS}
    assert "wasn't asked before and after" in found.of_kind(Kind.NOT_COMPARED)[0].statement


def test_across_an_upgrade_an_ordinary_night_is_not_enough() -> None:
    for old, new in ((ordinary(before()), after()), (before(), ordinary(after()))):
        found = compared(old, new)
        assert found.standing is Standing.UNKNOWN
        assert {each.topic for each in found.of_kind(Kind.UNKNOWN)} == {Topic.CLIENTS, Topic.RADIOS, Topic.WLANS}


def test_two_nights_are_compared_for_what_they_have_in_common() -> None:
    assert target_of(before(), before()) == OLD
    assert target_of(after(), after()) == TARGET
    assert target_of(before(), after()) == TARGET
    first = before().members[0]
    assert target_of(lost(before(), first, "show version", Ending.MISSING), before()) == TARGET


def test_sides_of_different_members_are_refused() -> None:
    with pytest.raises(ValueError, match=r"quay-a, quay-b and tidewater-a, tidewater-b"):
        compare(before(), before("tidewater"), fleet().policy, TARGET)


def test_another_controller_in_a_members_place_is_to_explain() -> None:
    serial = "quay-a is another controller: serial number "
    model = edited(after(), "quay-a", "show version", lambda text: text.replace("WX-9840", "WX-9880"))
    found = compared(before(), model)
    assert Kind.TO_EXPLAIN in kinds(found, Topic.MODEL)
    other = edited(after(), "quay-a", "show version", _another_serial)
    found = compared(before(), other)
    assert any(each.statement.startswith(serial) for each in of_topic(found, Topic.MODEL))
    assert found.standing is Standing.TO_EXPLAIN


def _another_serial(text: str) -> str:
    line = next(line for line in text.splitlines() if "Processor board ID" in line)
    return text.replace(line, "Processor board ID 9ZZZZZZZZZZ")


def test_a_software_maintenance_update_that_goes_is_expected_only_of_an_upgrade() -> None:
    smu = "SMU   C    bootflash:wx-universal.17.09.04a.SMU0001.bin"

    def with_smu(text: str) -> str:
        return text.replace("IMG   C    17.09.04a.0.6", f"IMG   C    17.09.04a.0.6\n{smu}")

    old = before()
    for member in ("quay-a", "quay-b"):
        old = edited(old, member, "show install summary", with_smu)
    assert compared(old, after()).standing is Standing.CLEAN
    found = compared(old, before(), OLD)
    assert troubles(found) == {Topic.SOFTWARE: {Kind.TO_EXPLAIN}}


@pytest.mark.parametrize("name", ["17.09.04a.0.6", "bootflash:wx-universal.17.09.04a.bin"])
@pytest.mark.parametrize(("state", "kind"), [("I", Kind.TO_EXPLAIN), ("C", Kind.FAULT)])
def test_an_image_of_before_may_be_left_inactive(name: str, state: str, kind: Kind) -> None:
    """As `watch` takes it: no obstacle, but somebody has to say whether it is to stay."""
    new = after()
    for member in ("quay-a", "quay-b"):
        new = edited(
            new,
            member,
            "show install summary",
            lambda text: text.replace("IMG   C", f"IMG   {state}    {name}\nIMG   C"),
        )
    found = compared(before(), new)
    assert kind in kinds(found, Topic.SOFTWARE)
    assert (kind is Kind.FAULT) == any(
        each.kind is Kind.FAULT and "which is not 17.12.4" in each.statement for each in of_topic(found, Topic.SOFTWARE)
    )
    if state == "I":
        said = [each.statement for each in found.of_kind(Kind.TO_EXPLAIN) if each.topic is Topic.SOFTWARE]
        assert any("is left" in each and "17.09.04a" in each for each in said), said


def test_flash_that_filled_is_to_explain() -> None:
    def filled(text: str) -> str:
        line = next(line for line in text.splitlines() if "bytes free" in line)
        return text.replace(line, "26458804224 bytes total (9000000000 bytes free)")

    found = compared(before(), edited(after(), "quay-b", "dir bootflash:", filled))
    (told,) = [each for each in of_topic(found, Topic.FLASH) if each.kind is Kind.TO_EXPLAIN]
    assert told.statement.startswith("quay-b has 9 GB free, before it was 19.5 GB: 10.5 GB are gone")


def test_the_worst_decides() -> None:
    pair = before().pair
    nothing = compared(before(), after())
    side: Side = nothing.before

    def standing(*found: Kind) -> Standing:
        differences = tuple(Difference(Topic.CLOCK, kind, "") for kind in found)
        return Comparison(pair, TARGET, True, side, side, differences).standing

    assert standing() is Standing.UNKNOWN
    assert standing(Kind.IN_ORDER, Kind.EXPECTED, Kind.NOT_COMPARED) is Standing.CLEAN
    assert standing(Kind.IN_ORDER, Kind.TO_EXPLAIN) is Standing.TO_EXPLAIN
    assert standing(Kind.TO_EXPLAIN, Kind.UNKNOWN) is Standing.UNKNOWN
    assert standing(Kind.UNKNOWN, Kind.FAULT) is Standing.FAULTY


def test_a_clock_that_was_right_before_is_to_explain() -> None:
    """The rule's weight is caution: no more than that comes of it."""

    def unsynchronised(text: str) -> str:
        return text.replace("Clock is synchronized, stratum 3", "Clock is unsynchronized, stratum 16")

    found = compared(before(), edited(after(), "quay-a", "show ntp status", unsynchronised))
    assert troubles(found) == {Topic.CLOCK: {Kind.TO_EXPLAIN}}
    (clock,) = of_topic(found, Topic.CLOCK)
    assert not clock.statement.startswith("As before")


def _slow(snapshot: Snapshot, member: str, minutes: int) -> Snapshot:
    """The snapshot with a member's clock so many minutes behind."""
    own = next(each for each in snapshot.members if each.name == member).captures["show clock"]
    assert own.started is not None
    return with_capture(snapshot, replace(own, started=own.started + timedelta(minutes=minutes)))


def test_a_clock_that_was_wrong_before_with_other_figures_is_to_explain_as_before() -> None:
    (clock,) = of_topic(compared(_slow(before(), "quay-a", 5), _slow(after(), "quay-a", 92)), Topic.CLOCK)
    assert clock.kind is Kind.TO_EXPLAIN
    assert clock.statement.startswith("As before, with other figures: quay-a's clock and this host's are 5,5")
    # Of the other member it is news.
    (clock,) = of_topic(compared(_slow(before(), "quay-a", 5), _slow(after(), "quay-b", 5)), Topic.CLOCK)
    assert clock.kind is Kind.TO_EXPLAIN
    assert "before" not in clock.statement


def test_nobody_is_told_after_a_window_to_do_something_before_it() -> None:
    (clock,) = of_topic(compared(before("estuary"), after("estuary")), Topic.CLOCK)
    assert "and mend it: logs, certificates" in clock.remedy
    assert not any("before the window" in each.remedy for each in compared(before(), before()).differences)


def test_a_release_that_is_not_known_of_before_says_nothing_of_an_upgrade() -> None:
    found = compared(lost(before(), before().members[0], "show version", Ending.MISSING), after())
    assert kinds(found, Topic.RELEASE) == {Kind.UNKNOWN}
