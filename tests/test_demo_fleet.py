"""The demo's fleet tells the stories that it was written for."""

from __future__ import annotations

import pytest

from collector.finding import Status, Verdict
from collector.rules.roles import with_role
from parsers import catalogue
from parsers.facts.flash import Directory
from parsers.facts.redundancy import Chassis, Redundancy
from parsers.facts.software import Boot, RomMonitorVersion, Version
from parsers.facts.upgrade import InstallSummary
from tests.demo_fleet import FIXTURES, judged, pairs, snapshot
from tests.fleet.demo import DEMO

_NO_GO = {
    "breakwater": {"install-mode"},
    "saltmarsh": {"flash-space"},
    "drydock": {"install-state"},
    "pilot-station": {"install-state"},
    "capstan": {"boot-variable"},
    "kelp-strand": {"rom-monitor"},
    "gantry": {"config-sync"},
    "pontoon": {"config-sync"},
    "moorings": {"pair-interface"},
    "spindrift": {"pair-state"},
    "farholm": {"pair-state", "pair-link"},
    # An upgrade that has added its image leaves that image inactive until it goes on.
    "slipway": {"upgrade-activity", "install-state"},
    "windlass": {"upgrade-activity"},
    "gull-rock": {"upgrade-path"},
    "north-mole": {"release-support"},
    "ropewalk": {"hardware-support"},
    "fairlead": {"hardware-support"},
    # Two releases mean two sets of installed software.
    "bollard": {"release-support", "install-state"},
    # Two active ones each see no peer, and so each contradicts the other.
    "twin-beacons": {"one-active", "pair-state", "pair-link", "mutual-view"},
    "cutwater": {"mutual-view"},
    "shingle-bank": {"ap-support"},
    "night-ferry": {"ap-staging"},
    "half-tide": {"image-staged"},
    "sea-wall": {"certificates"},
}
# What a member alone tells of itself, and what follows from its model.
_FROM_ITS_VERSION = {"hardware-support", "install-mode", "pair-interface", "rom-monitor"}
_CAUTION = {
    "quay": set[str](),
    "tidewater": set[str](),
    "lantern": set[str](),
    "estuary": {"release-support", "clock"},
    "skerry-light": {"rom-monitor", "headroom"},
    "causeway": {"recent-switchover", "crash-files"},
    "sandbar": {"ap-joined", "saved-configuration"},
}
# Cautions of pairs that are no-go: nobody has staged what can't be reached in one step, and a standby that isn't hot
# fails a system check as well.
_CAUTION_BESIDE = {"gull-rock": {"image-staged", "ap-staging"}, "spindrift": {"upgrade-activity"}}
# What a standby's limited shell refuses, and nobody else can tell; it decides nothing.
_NOT_TOLD = {"lantern": {"headroom"}, "fogbank": {"headroom", "recent-switchover"}}


@pytest.mark.parametrize("pair", _NO_GO)
def test_a_pair_is_no_go_for_its_own_story_only(pair: str) -> None:
    result = judged(snapshot(pair))
    assert result.with_status(Status.BLOCK) == _NO_GO[pair]
    assert result.with_status(Status.CAUTION) == _CAUTION_BESIDE.get(pair, set())
    assert result.verdict is Verdict.NO_GO


@pytest.mark.parametrize("pair", sorted({*_NO_GO} - {"farholm", "twin-beacons"}))
def test_of_a_pair_that_can_be_read_everything_is_known(pair: str) -> None:
    assert judged(snapshot(pair)).with_status(Status.UNKNOWN) == set()


@pytest.mark.parametrize("pair", _CAUTION)
def test_a_healthy_pair_is_go(pair: str) -> None:
    result = judged(snapshot(pair))
    assert result.with_status(Status.BLOCK) == set()
    assert result.with_status(Status.UNKNOWN) == _NOT_TOLD.get(pair, set())
    assert result.with_status(Status.CAUTION) == _CAUTION[pair]
    assert result.verdict is Verdict.GO


def test_what_nobody_can_tell_leaves_a_pair_undecided() -> None:
    result = judged(snapshot("fogbank"))
    assert result.with_status(Status.BLOCK) == set()
    assert result.with_status(Status.UNKNOWN) == _FROM_ITS_VERSION | _NOT_TOLD["fogbank"]
    assert result.verdict is Verdict.UNDECIDED


def test_every_pair_of_the_inventory_has_a_story() -> None:
    assert set(pairs()) == {*_NO_GO, *_CAUTION, "fogbank"} == {pair.name for pair in DEMO}


def test_every_member_that_can_be_reached_has_a_recording_of_every_command() -> None:
    wanted = {f"{command.slug}.txt" for command in (*catalogue.asked(), *catalogue.deep())}
    recorded = {folder.name: {file.name for file in folder.glob("*.txt")} for folder in FIXTURES.iterdir()}
    assert recorded == {member.name: wanted for pair in DEMO for member in pair.members if member.reachable}


@pytest.mark.parametrize("pair", sorted({*pairs()} - {"farholm", "twin-beacons", "cutwater"}))
def test_what_the_active_tells_of_the_standby_is_what_the_standby_says(pair: str) -> None:
    """Wherever both can be read; a fleet that contradicted itself by mistake would tell other stories than its own.

    The members of two pairs contradict each other on purpose.
    """
    described = snapshot(pair)
    active, standby = with_role(described, "active"), with_role(described, "standby")
    assert active is not None
    assert standby is not None
    told, own = active.read("show redundancy", Redundancy).facts, standby.read("show redundancy", Redundancy).facts
    assert told is not None
    assert own is not None
    assert (told.peer, told.this) == (own.this, own.peer)
    version = standby.read("show version", Version).facts
    assert version is None or (told.peer is not None and version.release == told.peer.release)
    near, far = standby.read("dir bootflash:", Directory).facts, active.read("dir stby-bootflash:", Directory).facts
    assert near is None or _on_flash(near) == _on_flash(far)
    boot, peer_boot = standby.read("show boot", Boot).facts, active.read("show boot", Boot).facts
    assert boot is None or peer_boot is None or peer_boot.peer_boot in (None, boot.boot)
    for command in ("show rom-monitor chassis standby R0", "show rom-monitor chassis active R0"):
        rom_monitor = standby.read(command, RomMonitorVersion).facts
        assert rom_monitor in (None, active.read(command, RomMonitorVersion).facts)
    chassis = [member.read("show chassis rmi", Chassis).facts for member in (active, standby)]
    rows = [[(row.number, row.role, row.mac, row.rmi_ip) for row in facts.members] for facts in chassis if facts]
    assert rows[0] == rows[1]
    installed = [member.read("show install summary", InstallSummary).facts for member in (active, standby)]
    kinds = [
        {(row.state, row.name) for scope in facts.scopes for row in scope.packages} for facts in installed if facts
    ]
    assert kinds[1:] in ([], kinds[:1])


def _on_flash(directory: Directory | None) -> tuple[object, ...]:
    assert directory is not None
    assert directory.files is not None
    files = sorted((file.name, file.bytes) for file in directory.files)
    return directory.bytes_total, directory.bytes_free, files


@pytest.mark.parametrize("pair", pairs())
def test_every_statement_begins_with_a_capital_or_a_members_name(pair: str) -> None:
    names = tuple(member.name for member in snapshot(pair).members)
    lower = [each.statement for each in judged(snapshot(pair)).findings if each.statement[0].islower()]
    assert [statement for statement in lower if not statement.startswith(names)] == []


@pytest.mark.parametrize("pair", pairs())
def test_every_block_says_what_to_do_and_shows_its_lines(pair: str) -> None:
    for finding in judged(snapshot(pair)).findings:
        if finding.status in (Status.BLOCK, Status.CAUTION):
            assert finding.remedy, finding.rule
        if finding.status is Status.BLOCK:
            # Which train a target is on stands in no capture.
            assert finding.evidence or finding.rule == "release-support", finding.rule
        for item in finding.evidence:
            reading = next(m for m in snapshot(pair).members if m.name == item.member).readings[item.command]
            assert item.lines == tuple(reading.printed[number - 1] for number in item.numbers)
            assert all(line.strip() for line in item.lines), finding.rule
