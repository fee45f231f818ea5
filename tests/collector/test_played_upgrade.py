"""The play of an upgrade, moment by moment: what both members print, read by the parsers."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise
from typing import TypeVar

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector import judging
from collector.finding import Status, Verdict
from collector.plan.plan import STAGES
from collector.played_recording import PlayError, Recorded
from collector.played_upgrade import ACTS, CRASH_STAGES, FAILURES, Act, CrashStage, Failure, Pace, Play, Upgrade
from collector.result import PairResult
from parsers import Facts
from parsers.facts.access_points import ApImage, ApSummary
from parsers.facts.clock import Clock
from parsers.facts.flash import CoreDirectory, Directory, StandbyDirectory
from parsers.facts.history import SwitchoverHistory
from parsers.facts.joining import JoinSummary
from parsers.facts.neighbours import ApLoad, ApNeighbours
from parsers.facts.redundancy import Chassis, ConfigSync, Redundancy
from parsers.facts.resources import ControlProcessors, PlatformResources
from parsers.facts.software import Boot, Version
from parsers.facts.upgrade import InstallSummary, IssuState
from parsers.facts.wireless import RadioSummary, WirelessSummary
from tests.collector.playing_pair import BEGINS, IMAGE_BYTES, answering, captures, recorded, text, understood
from tests.demo_fleet import fleet

F = TypeVar("F", bound=Facts)

UPGRADE = Upgrade("17.12.4", IMAGE_BYTES, batches=2)
GOOD = Play(UPGRADE)
UPGRADES: dict[str, Upgrade] = {
    "good": UPGRADE,
    "good, told by an older train": replace(UPGRADE, older_train=True),
    **{str(failure): replace(UPGRADE, failure=failure) for failure in FAILURES},
    "crash at the reload": replace(UPGRADE, failure="active-crashes", crash_during="reload-standby"),
}
PLAYS = {name: Play(upgrade) for name, upgrade in UPGRADES.items()}
READY_PAIRS = ("tidewater", "lantern", "estuary", "skerry-light", "pontoon", "night-ferry", "causeway", "sandbar")
OF_RADIOS = {"show ap dot11 5ghz summary", "show ap dot11 24ghz summary"}
OF_THE_STANDBY = {"dir stby-bootflash:", "dir stby-bootflash:core", "show rom-monitor chassis standby R0"}


def facts(play: Play, moment: float, member: str, command: str, kind: type[F], pair: str = "quay") -> F:
    found = understood(command, text(play, moment, member, command, pair))
    assert isinstance(found, kind), found
    return found


def moments(play: Play) -> Iterator[float]:
    """The middle between every moment at which something changes and the next, and long after the last one."""
    for before, after in pairwise([0.0, *play.cues, play.cues[-1] + 3600]):
        yield (before + after) / 2


def unread(play: Play, moment: float, pair: str) -> Iterator[str]:
    """What can't be read of what a moment's members print, where it could be."""
    scene, of = play.scene(moment), recorded(pair)
    for name in answering(play, moment, pair):
        place = of.names.index(name)
        me, peer = scene.members[place], scene.members[1 - place]
        then = of.texts[0 if me.active else 1]
        for command in then:
            found = understood(command, text(play, moment, name, command, pair))
            refusing = peer.away and command in OF_THE_STANDBY
            # Without a figure and without a row nothing shows that the table is whole.
            refusing |= command in OF_RADIOS and not any(batch.here for batch in scene.batches)
            refusing |= isinstance(understood(command, then[command]), str)
            if isinstance(found, str) is not refusing:
                yield f"{name} at {moment:g} ({scene.act}): `{command}`: {found}"


@pytest.mark.parametrize("name", PLAYS)
def test_every_answer_of_every_moment_can_be_read(name: str) -> None:
    complaints = [line for moment in moments(PLAYS[name]) for line in unread(PLAYS[name], moment, "quay")]
    assert complaints == []


@pytest.mark.parametrize("name", ["good", "active-crashes"])
def test_so_can_those_of_the_very_moments_of_change(name: str) -> None:
    complaints = [line for moment in PLAYS[name].cues for line in unread(PLAYS[name], moment, "quay")]
    assert complaints == []


@pytest.mark.parametrize("pair", READY_PAIRS)
def test_so_can_those_of_the_other_pairs_that_are_ready(pair: str) -> None:
    play = PLAYS["active-crashes"]
    complaints = [line for moment in moments(play) for line in unread(play, moment, pair)]
    assert complaints == []


def told(play: Play, moment: float, pair: str = "quay") -> dict[str, str]:
    """What each member says of itself: state, release, its packages; of the pair: the upgrade, the timer, the peer."""
    said = {}
    for name in recorded(pair).names:
        if name not in answering(play, moment, pair):
            said[name] = "down"
            continue
        pair_state = facts(play, moment, name, "show redundancy", Redundancy, pair)
        installed = facts(play, moment, name, "show install summary", InstallSummary, pair)
        issu = facts(play, moment, name, "show issu state detail", IssuState, pair)
        version = facts(play, moment, name, "show version", Version, pair)
        assert pair_state.this is not None
        number = (pair_state.this.location or "").split()[-1]
        own = [scope for scope in installed.scopes if number in {place[0] for place in scope.locations}]
        states = "".join(package.state for scope in own for package in scope.packages)
        peer = pair_state.peer.state if pair_state.peer is not None else None
        timer = "timer" if installed.auto_abort == "active" else "no timer"
        said[name] = (
            f"{pair_state.this.state}, {version.release}, {states}, {timer}, "
            f"{'upgrading' if issu.in_progress else 'idle'}, peer {peer}"
        )
        assert issu.in_progress is not None
        assert pair_state.this.release == version.release
    return said


A, B = "quay-a", "quay-b"
OLD, NEW = "17.9.4a", "17.12.4"
STAGES_TOLD: list[tuple[Act, float, str, str]] = [
    (
        "before",
        0.5,
        f"ACTIVE, {OLD}, C, no timer, idle, peer STANDBY HOT",
        f"STANDBY HOT, {OLD}, C, no timer, idle, peer ACTIVE",
    ),
    (
        "expand",
        0.25,
        f"ACTIVE, {OLD}, C, no timer, upgrading, peer STANDBY HOT",
        f"STANDBY HOT, {OLD}, C, no timer, upgrading, peer ACTIVE",
    ),
    (
        "expand",
        0.75,
        f"ACTIVE, {OLD}, CI, no timer, upgrading, peer STANDBY HOT",
        f"STANDBY HOT, {OLD}, CI, no timer, upgrading, peer ACTIVE",
    ),
    ("reload-standby", 0.0, f"ACTIVE, {OLD}, CI, timer, upgrading, peer DISABLED", "down"),
    ("reload-standby", 0.99, f"ACTIVE, {OLD}, CI, timer, upgrading, peer DISABLED", "down"),
    (
        "synchronise",
        0.5,
        f"ACTIVE, {OLD}, CI, timer, upgrading, peer STANDBY COLD-BULK",
        f"STANDBY COLD-BULK, {NEW}, U, timer, upgrading, peer ACTIVE",
    ),
    (
        "synchronise",
        0.9,
        f"ACTIVE, {OLD}, CI, timer, upgrading, peer STANDBY HOT",
        f"STANDBY HOT, {NEW}, U, timer, upgrading, peer ACTIVE",
    ),
    ("switch-over", 0.5, "down", f"ACTIVE, {NEW}, U, timer, upgrading, peer DISABLED"),
    ("reload-other", 0.5, "down", f"ACTIVE, {NEW}, U, timer, upgrading, peer DISABLED"),
    (
        "reload-other",
        0.7,
        f"STANDBY COLD-BULK, {NEW}, U, timer, upgrading, peer ACTIVE",
        f"ACTIVE, {NEW}, U, timer, upgrading, peer STANDBY COLD-BULK",
    ),
    (
        "reload-other",
        0.95,
        f"STANDBY HOT, {NEW}, U, timer, upgrading, peer ACTIVE",
        f"ACTIVE, {NEW}, U, timer, upgrading, peer STANDBY HOT",
    ),
    (
        "restart-aps",
        0.5,
        f"STANDBY HOT, {NEW}, U, timer, upgrading, peer ACTIVE",
        f"ACTIVE, {NEW}, U, timer, upgrading, peer STANDBY HOT",
    ),
    (
        "validate",
        0.5,
        f"STANDBY HOT, {NEW}, U, timer, upgrading, peer ACTIVE",
        f"ACTIVE, {NEW}, U, timer, upgrading, peer STANDBY HOT",
    ),
    (
        "commit",
        0.25,
        f"STANDBY HOT, {NEW}, U, timer, upgrading, peer ACTIVE",
        f"ACTIVE, {NEW}, U, timer, upgrading, peer STANDBY HOT",
    ),
    (
        "commit",
        0.75,
        f"STANDBY HOT, {NEW}, C, no timer, idle, peer ACTIVE",
        f"ACTIVE, {NEW}, C, no timer, idle, peer STANDBY HOT",
    ),
    (
        "after",
        0.5,
        f"STANDBY HOT, {NEW}, C, no timer, idle, peer ACTIVE",
        f"ACTIVE, {NEW}, C, no timer, idle, peer STANDBY HOT",
    ),
]


@pytest.mark.parametrize("name", ["good", "good, told by an older train"])
@pytest.mark.parametrize(("act", "share", "of_a", "of_b"), STAGES_TOLD)
def test_the_answers_tell_the_stage(name: str, act: Act, share: float, of_a: str, of_b: str) -> None:
    play = PLAYS[name]
    moment = play.moment(act, share)
    assert play.scene(moment).act == act
    assert told(play, moment) == {A: of_a, B: of_b}


def test_the_acts_are_a_plans_stages_in_their_order() -> None:
    played = [act for act in ACTS if act in STAGES]
    assert played == [stage for stage in STAGES if stage not in ("copy", "stage-aps")]
    assert list(GOOD.acts) == ["before", *played, "after"]
    assert list(GOOD.acts.values()) == sorted(GOOD.acts.values())


def test_before_the_play_it_prints_what_was_recorded_but_for_the_time() -> None:
    of = recorded("quay")
    unchanged = [
        "show boot",
        "show chassis rmi",
        "show romvar",
        "show install summary",
        "show issu state detail",
        "dir bootflash:",
        "dir stby-bootflash:",
        "dir bootflash:core",
        "show ap summary",
        "show ap image",
        "show wireless stats ap join summary",
        "show ap neighbor summary",
        "show ap dot11 5ghz load-info",
        "show redundancy switchover history",
        "show platform resources",
        "show platform software status control-processor brief",
        "show crypto pki certificates",
        "show redundancy config-sync failures mcl",
        "show rom-monitor chassis standby R0",
    ]
    for name, texts in zip(of.names, of.texts, strict=True):
        assert {command: text(GOOD, 0.0, name, command) for command in unchanged} == {
            command: texts[command] for command in unchanged
        }


def pair_result(play: Play, moment: float) -> PairResult:
    pair = next(each for each in fleet().pairs if each.name == "quay")
    return judging.judge_pair(pair, captures(play, moment), fleet().policy, BEGINS + timedelta(seconds=moment))


def test_the_pair_is_judged_go_before_and_no_go_all_through_the_upgrade() -> None:
    before = pair_result(GOOD, 60.0)
    assert before.verdict is Verdict.GO
    assert {finding.status for finding in before.findings} <= {Status.PASS, Status.NOT_APPLICABLE}
    for act, begin in list(GOOD.acts.items())[1:-1]:
        assert pair_result(GOOD, begin + 1.0).verdict is Verdict.NO_GO, act


def test_after_the_commit_the_rules_say_that_it_runs_its_target_already() -> None:
    after = pair_result(GOOD, GOOD.moment("after"))
    assert after.verdict is Verdict.GO
    notable = {
        finding.rule: finding
        for finding in after.findings
        if finding.status not in (Status.PASS, Status.NOT_APPLICABLE)
    }
    assert {rule: finding.status for rule, finding in notable.items()} == {"upgrade-path": Status.CAUTION}
    assert notable["upgrade-path"].statement.startswith("quay-a already runs the target 17.12.4")
    assert [(member.role, member.release) for member in after.members] == [("standby", NEW), ("active", NEW)]


def test_reloads_and_the_switchover_leave_their_traces() -> None:
    moment = GOOD.moment("after")
    reboot = {A: GOOD.moment("reload-other", 0.6), B: GOOD.acts["synchronise"]}
    for name in (A, B):
        version = facts(GOOD, moment, name, "show version", Version)
        assert version.last_reload_reason == "Image Install"
        assert version.uptime_seconds == (moment - reboot[name]) // 60 * 60
        assert version.install_mode == "install"
        state = facts(GOOD, moment, name, "show redundancy", Redundancy)
        assert (state.switchovers, state.last_switchover_reason) == (1, "user forced")
        history = facts(GOOD, moment, name, "show redundancy switchover history", SwitchoverHistory)
        last = history.switchovers[-1]
        assert (len(history.switchovers), last.previous_active, last.current_active) == (3, 1, 2)
        assert last.time == datetime(2027, 2, 6, 23) + timedelta(seconds=GOOD.acts["switch-over"])
    boot = facts(GOOD, moment, B, "show boot", Boot)
    assert boot.boot == boot.peer_boot == ("bootflash:packages.conf",)
    assert facts(GOOD, moment, A, "show boot", Boot).peer_boot is None


def test_the_members_clocks_go_on() -> None:
    for moment in (0.0, 1000.0, GOOD.moment("after")):
        shown = {facts(GOOD, moment, name, "show clock", Clock).time for name in answering(GOOD, moment)}
        assert shown == {datetime(2027, 2, 6, 23, 0, 0, 132_000) + timedelta(seconds=moment)}


def test_the_timer_counts_down() -> None:
    activated, full = GOOD.acts["reload-standby"], UPGRADE.pace.auto_abort
    for later in (0.0, 1.0, 75.0, 600.0):
        for play in (GOOD, PLAYS["good, told by an older train"]):
            shown = facts(play, activated + later, A, "show install summary", InstallSummary)
            assert shown.auto_abort_seconds_left == full - later
            left = f"remaining time before rollback: {shown.scopes and '0' + str(timedelta(seconds=full - later))}"
            assert left in text(play, activated + later, A, "show issu state detail")


def test_older_trains_name_the_slot_that_is_being_modified() -> None:
    play = PLAYS["good, told by an older train"]
    middles = {act: play.moment(act) for act in play.acts}
    said = {
        act: text(play, moment, answering(play, moment)[0], "show issu state detail") for act, moment in middles.items()
    }
    slots = {act: re.findall(r"Slot being modified: +(.*)", each) for act, each in said.items()}
    assert slots["before"] == slots["after"] == []
    assert (slots["expand"], slots["synchronise"], slots["restart-aps"]) == (["1 2"], ["2"], ["1"])
    operations = [each for each in (re.findall(r"Last operation: +(.*)", of_act) for of_act in said.values()) if each]
    assert [each for (each,) in operations] == [
        "add",
        "loadversion",
        "loadversion",
        "loadversion",
        "runversion",
        "acceptversion",
        "acceptversion",
    ]
    assert "Loadversion time:        20270206 23:08:00 on console" in said["validate"]
    assert "Current ISSU Status" not in "".join(said.values())


def test_a_standby_tells_of_its_boot_variables_as_the_recorded_standby_did() -> None:
    for pair, ends in (("quay", "MANUAL_BOOT variable = no"), ("estuary", "Standby not ready to show bootvar")):
        for act, standby in (("before", f"{pair}-b"), ("validate", f"{pair}-a")):
            said = text(GOOD, GOOD.moment("before" if act == "before" else "validate"), standby, "show boot", pair)
            assert said.rstrip("\n").endswith(ends)
            assert "Standby BOOT" not in said


def test_a_standby_that_reloads_has_left_the_chassis() -> None:
    rows = {
        row.number: row for row in facts(GOOD, GOOD.moment("reload-standby"), A, "show chassis rmi", Chassis).members
    }
    assert (rows[1].role, rows[1].state, rows[1].is_local) == ("Active", "Ready", True)
    assert (rows[2].role, rows[2].state, rows[2].mac) == ("Member", "Removed", "0000.0000.0000")
    alone = facts(GOOD, GOOD.moment("reload-standby"), A, "show redundancy", Redundancy)
    assert (alone.hardware_mode, alone.communications, alone.operating_mode) == ("Simplex", "down", "Non-redundant")
    swapped = facts(GOOD, GOOD.moment("validate"), B, "show chassis rmi", Chassis).members
    assert [(row.role, row.state, row.is_local) for row in swapped] == [
        ("Standby", "Ready", False),
        ("Active", "Ready", True),
    ]


def test_an_active_one_alone_tells_of_no_processor_but_its_own() -> None:
    command = "show platform software status control-processor brief"

    def slots(act: Act, member: str) -> list[str]:
        told_of = facts(GOOD, GOOD.moment(act), member, command, ControlProcessors, "causeway")
        assert {core.slot for core in told_of.cores} == {each.slot for each in told_of.processors}
        return [each.slot for each in told_of.processors]

    # The recorded one that is active is the second, and so the first one takes over.
    assert slots("before", "causeway-b") == slots("validate", "causeway-a") == ["1-RP0", "2-RP0"]
    assert slots("reload-standby", "causeway-b") == slots("validate", "causeway-b") == ["2-RP0"]
    assert slots("switch-over", "causeway-a") == slots("before", "causeway-a") == ["1-RP0"]


def test_the_components_tell_the_role_of_the_moment() -> None:
    for moment, role in ((GOOD.moment("before"), "active"), (GOOD.moment("validate"), "standby")):
        resources = facts(GOOD, moment, A, "show platform resources", PlatformResources).resources
        assert {row.component for row in resources} == {f"RP0 (ok, {role})", f"ESP0(ok, {role})"}


def test_the_image_takes_its_room_on_both_members_flash_while_it_is_expanded() -> None:
    def free(moment: float) -> list[int | None]:
        own = facts(GOOD, moment, A, "dir bootflash:", Directory)
        of_standby = facts(GOOD, moment, A, "dir stby-bootflash:", StandbyDirectory)
        assert facts(GOOD, moment, B, "dir bootflash:", Directory).bytes_free == of_standby.bytes_free
        return [own.bytes_free, of_standby.bytes_free]

    whole = free(GOOD.moment("before"))[0]
    assert whole is not None
    assert free(GOOD.moment("expand", 0.25)) == [whole - IMAGE_BYTES // 2] * 2
    assert free(GOOD.moment("expand", 0.5)) == [whole - IMAGE_BYTES] * 2
    files = facts(GOOD, GOOD.moment("expand", 0.75), A, "dir bootflash:", Directory).files or ()
    new = [file for file in files if "17.12.04.pkg" in file.name]
    assert [file.name for file in new] == ["wx-rpboot.17.12.04.pkg", "wx-base.17.12.04.pkg"]
    assert sum(file.bytes for file in new) == pytest.approx(IMAGE_BYTES, abs=2)


def aps(play: Play, moment: float, member: str, pair: str = "quay") -> tuple[int, int, int, int]:
    """Registered, away by the join summary, on the target, clients of both bands."""
    summary = facts(play, moment, member, "show ap summary", ApSummary, pair)
    joins = facts(play, moment, member, "show wireless stats ap join summary", JoinSummary, pair)
    images = facts(play, moment, member, "show ap image", ApImage, pair)
    loads = [facts(play, moment, member, f"show ap dot11 {band} load-info", ApLoad, pair) for band in ("5ghz", "24ghz")]
    here = {ap.name for ap in summary.aps}
    assert summary.count == images.total == len(here)
    assert {ap.name for ap in images.aps} == here
    assert {ap.name for ap in joins.aps if ap.status == "Joined"} == here
    assert {row.name for load in loads for row in load.loads} == here
    neighbours = facts(play, moment, member, "show ap neighbor summary", ApNeighbours, pair)
    assert {row.name for row in neighbours.neighbours} <= here
    away = [ap for ap in joins.aps if ap.status == "Not Joined"]
    target = [ap for ap in images.aps if (ap.primary or "").startswith("17.12.4.")]
    assert {(ap.backup, ap.status) for ap in target} <= {("17.9.4.27", "None")}
    clients = sum(row.clients or 0 for load in loads for row in load.loads)
    totals = facts(play, moment, member, "show wireless summary", WirelessSummary, pair)
    assert totals.aps is not None
    assert (totals.clients, totals.aps.total) == (clients, len(here))
    assert {row.kind: row.up for row in totals.radios} == {
        "802.11 5GHz": len(loads[0].loads),
        "802.11 2.4GHz": len(loads[1].loads),
    }
    for band, load in zip(("5ghz", "24ghz"), loads, strict=True):
        if not load.loads:
            continue
        radios = facts(play, moment, member, f"show ap dot11 {band} summary", RadioSummary, pair).radios
        assert [(radio.name, radio.slot) for radio in radios] == [(row.name, row.slot) for row in load.loads]
    return len(here), len(away), len(target), clients


def test_access_points_leave_and_return_in_batches_with_their_clients() -> None:
    every = aps(GOOD, 0.0, A)
    assert every[:3] == (24, 0, 0)
    assert aps(GOOD, GOOD.moment("reload-other"), B) == every
    begin, batch = GOOD.acts["restart-aps"], UPGRADE.pace.restart_aps
    first_away = aps(GOOD, begin + 0.3 * batch, B)
    first_back = aps(GOOD, begin + 0.7 * batch, B)
    first_serves = aps(GOOD, begin + 0.95 * batch, B)
    assert [first_away[:3], first_back[:3], first_serves[:3]] == [(12, 12, 0), (24, 0, 12), (24, 0, 12)]
    assert first_away[3] == first_back[3] < first_serves[3] == every[3]
    assert aps(GOOD, begin + 1.3 * batch, B)[:3] == (12, 12, 12)
    assert aps(GOOD, GOOD.moment("validate"), B) == (24, 0, 24, every[3])


def test_a_standby_that_never_gets_hot_stays_cold_until_the_timer_takes_it_back() -> None:
    play = PLAYS["standby-never-hot"]
    fires = play.acts["rolling-back"]
    assert fires == play.acts["reload-standby"] + UPGRADE.pace.auto_abort
    for moment in (play.acts["synchronise"] + 1, GOOD.moment("validate"), fires - 1):
        assert play.scene(moment).act == "synchronise"
        assert told(play, moment) == {
            A: f"ACTIVE, {OLD}, CI, timer, upgrading, peer STANDBY COLD-BULK",
            B: f"STANDBY COLD-BULK, {NEW}, U, timer, upgrading, peer ACTIVE",
        }
    assert told(play, fires + 1) == {A: f"ACTIVE, {OLD}, CI, no timer, upgrading, peer DISABLED", B: "down"}
    assert told(play, play.moment("rolled-back")) == {
        A: f"ACTIVE, {OLD}, CI, no timer, idle, peer STANDBY HOT",
        B: f"STANDBY HOT, {OLD}, CI, no timer, idle, peer ACTIVE",
    }


def mismatches(play: Play, moment: float) -> Mapping[str, bool | None]:
    command = "show redundancy config-sync failures mcl"
    return {name: facts(play, moment, name, command, ConfigSync).empty for name in answering(play, moment)}


def test_configuration_that_does_not_match_shows_after_the_switchover() -> None:
    play = PLAYS["config-mismatch"]
    assert mismatches(play, play.moment("synchronise", 0.9)) == {A: True, B: True}
    assert mismatches(play, play.moment("reload-other", 0.3)) == {B: True}
    for moment in (play.moment("reload-other", 0.61), play.moment("validate")):
        assert mismatches(play, moment) == {A: False, B: False}
    assert "commit" not in play.acts
    assert mismatches(play, play.moment("rolled-back")) == {A: True, B: True}
    for moment in moments(GOOD):
        assert all(mismatches(GOOD, moment).values()), moment


def test_a_third_of_the_access_points_does_not_return() -> None:
    play = PLAYS["aps-missing"]
    assert aps(play, play.moment("validate"), B)[:3] == (16, 8, 16)
    assert aps(play, play.acts["rolling-back"] - 1, B)[:3] == (16, 8, 16)
    assert aps(play, play.moment("rolled-back"), A)[:3] == (24, 0, 0)


def test_the_timer_fires_and_both_reload_to_the_old_release() -> None:
    play = PLAYS["auto-abort"]
    fires = play.acts["rolling-back"]
    assert told(play, fires - 1)[B] == f"ACTIVE, {NEW}, U, timer, upgrading, peer STANDBY HOT"
    assert facts(play, fires - 1, B, "show install summary", InstallSummary).auto_abort_seconds_left == 1
    assert told(play, fires + 1) == {A: "down", B: "down"}
    up = fires + UPGRADE.pace.reload_standby
    assert told(play, up + 1) == {A: f"ACTIVE, {OLD}, CI, no timer, upgrading, peer DISABLED", B: "down"}
    assert aps(play, up + 1, A)[:2] == (0, 24)
    over = play.moment("rolled-back")
    assert told(play, over) == {
        A: f"ACTIVE, {OLD}, CI, no timer, idle, peer STANDBY HOT",
        B: f"STANDBY HOT, {OLD}, CI, no timer, idle, peer ACTIVE",
    }
    for name in (A, B):
        reason = facts(play, over, name, "show version", Version).last_reload_reason
        assert reason == "Image rollback, auto abort timer expired"
        state = facts(play, over, name, "show redundancy", Redundancy)
        assert (state.switchovers, state.last_switchover_reason) == (0, "none")


def test_a_commit_in_time_stops_the_timer_and_one_that_is_late_does_not() -> None:
    committed = GOOD.moment("commit", 0.5) - GOOD.acts["reload-standby"]
    for seconds, rolls_back in ((committed - 1, True), (committed + 1, False)):
        play = Play(replace(UPGRADE, pace=replace(UPGRADE.pace, auto_abort=seconds)))
        assert ("rolling-back" in play.acts) is rolls_back
        assert ("after" in play.acts) is not rolls_back


def test_the_active_one_crashes_while_access_points_restart_and_the_other_one_takes_over() -> None:
    play = PLAYS["active-crashes"]
    crash = play.moment("restart-aps")
    assert told(play, crash - 1)[B].startswith("ACTIVE")
    assert told(play, crash + 1) == {A: f"ACTIVE, {NEW}, U, timer, upgrading, peer DISABLED", B: "down"}
    over = play.acts["rolling-back"] - 1
    assert told(play, over) == {
        A: f"ACTIVE, {NEW}, U, timer, upgrading, peer STANDBY HOT",
        B: f"STANDBY HOT, {NEW}, U, timer, upgrading, peer ACTIVE",
    }
    assert facts(play, over, B, "show version", Version).last_reload_reason == "Critical process fault"
    assert facts(play, over, A, "show version", Version).last_reload_reason == "Image Install"
    state = facts(play, over, A, "show redundancy", Redundancy)
    assert (state.switchovers, state.last_switchover_reason) == (2, "active unit failed")
    cores = [facts(play, over, name, "dir bootflash:core", CoreDirectory).files or () for name in (A, B)]
    assert [len(files) for files in cores] == [0, 1]
    assert cores[1][0].modified == BEGINS + timedelta(seconds=crash)
    assert aps(play, over, A)[:3] == (24, 0, 24)


def test_the_active_one_crashes_while_its_standby_reloads_and_nobody_is_up_for_a_while() -> None:
    play = PLAYS["crash at the reload"]
    crash = play.moment("reload-standby")
    assert told(play, crash - 1)[B] == "down"
    assert told(play, crash + 1) == {A: "down", B: "down"}
    back = play.acts["synchronise"]
    assert told(play, back + 1) == {A: "down", B: f"ACTIVE, {NEW}, U, timer, upgrading, peer DISABLED"}
    assert aps(play, back + 1, B)[:2] == (0, 24)
    over = play.acts["rolling-back"] - 1
    assert told(play, over) == {
        A: f"STANDBY COLD, {OLD}, CI, timer, upgrading, peer ACTIVE",
        B: f"ACTIVE, {NEW}, U, timer, upgrading, peer STANDBY COLD",
    }
    assert facts(play, over, A, "show version", Version).last_reload_reason == "Critical process fault"
    assert aps(play, over, B)[:3] == (24, 0, 24)


paces = st.lists(st.floats(1.0, 5000.0), min_size=10, max_size=10).map(lambda seconds: Pace(*seconds))


@given(
    pace=paces,
    batches=st.integers(1, 5),
    failure=st.sampled_from([None, *FAILURES]),
    crash_during=st.sampled_from(CRASH_STAGES),
    share=st.floats(0.0, 1.1),
)
def test_whoever_answers_has_exactly_one_active_one_whatever_the_pace(
    pace: Pace, batches: int, failure: Failure | None, crash_during: CrashStage, share: float
) -> None:
    play = Play(Upgrade(NEW, IMAGE_BYTES, pace, batches, failure, crash_during))
    scene = play.scene(play.cues[-1] * share)
    up = [member for member in scene.members if not member.away]
    assert sum(member.active for member in up) == (1 if up else 0)
    assert all((member.state == "ACTIVE") is member.active for member in up)
    left = scene.seconds_left
    assert left is None or 0 <= left <= pace.auto_abort
    last = play.scene(play.cues[-1])
    assert last.act == ("after" if failure is None and "rolling-back" not in play.acts else "rolled-back")
    assert [member.away for member in last.members] == [False, False]
    assert {member.state for member in last.members} == {"ACTIVE", "STANDBY HOT"}
    assert all(batch.here for batch in last.batches)


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        ({"expand": 0}, "expand is 0"),
        ({"reload_other": -1}, "reload-other is -1"),
        ({"validate": float("nan")}, "validate is nan"),
        ({"speed": float("inf")}, "speed is inf"),
    ],
)
def test_a_pace_that_is_none_is_refused(wrong: dict[str, float], named: str) -> None:
    with pytest.raises(ValueError, match=named):
        Pace(**wrong)


def test_an_upgrade_without_a_batch_is_refused() -> None:
    with pytest.raises(ValueError, match="0 batches"):
        Upgrade(NEW, IMAGE_BYTES, batches=0)


def test_a_pace_by_a_policy_takes_its_likely_minutes() -> None:
    pace = Pace.by_policy(fleet().policy)
    assert (pace.expand, pace.reload_other, pace.restart_aps, pace.auto_abort) == (360, 1080, 240, 21600)
    assert (pace.before, pace.speed) == (Pace().before, Pace().speed)


def changed(member: str, command: str, said: str | None) -> Mapping[str, Mapping[str, str]]:
    of = recorded("quay")
    texts = {name: dict(each) for name, each in zip(of.names, of.texts, strict=True)}
    if said is None:
        del texts[member][command]
    else:
        texts[member][command] = said
    return texts


@pytest.mark.parametrize(
    ("member", "command", "said", "complaint"),
    [
        (B, "show redundancy", "Current Software state = ACTIVE", "quay-a: ACTIVE, quay-b: ACTIVE"),
        (A, "show redundancy", "", "quay-a: not told"),
        (A, "show install summary", None, "quay-a: there is no recorded answer to `show install summary`"),
        (B, "show version", "% Invalid input detected at '^' marker.", "quay-b: there is no recorded answer"),
        (A, "show clock", "noon", "quay-a: `show clock` shows no time"),
        (A, "show version", "Version 17.9.4a", "quay-a: `show version` doesn't tell the release"),
        (A, "show chassis rmi", "Chassis#", "quay-a: `show chassis rmi` doesn't list"),
    ],
)
def test_recordings_that_make_no_play_are_refused_in_a_sentence(
    member: str, command: str, said: str | None, complaint: str
) -> None:
    with pytest.raises(PlayError, match=complaint.replace("(", r"\(")):
        Recorded.of(changed(member, command, said), BEGINS, BEGINS)
