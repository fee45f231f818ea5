"""The demo's fleet tells the stories that it was written for."""

from __future__ import annotations

import pytest

from collector.finding import Status, Verdict
from parsers import catalogue
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
}
_CAUTION = {
    "quay": set[str](),
    "tidewater": set[str](),
    "lantern": set[str](),
    "estuary": {"release-support"},
    "skerry-light": {"rom-monitor"},
}


@pytest.mark.parametrize("pair", _NO_GO)
def test_a_pair_is_no_go_for_its_own_story_only(pair: str) -> None:
    result = judged(snapshot(pair))
    assert result.with_status(Status.BLOCK) == _NO_GO[pair]
    assert result.verdict is Verdict.NO_GO


@pytest.mark.parametrize("pair", _CAUTION)
def test_a_healthy_pair_is_go(pair: str) -> None:
    result = judged(snapshot(pair))
    assert result.with_status(Status.BLOCK) == result.with_status(Status.UNKNOWN) == set()
    assert result.with_status(Status.CAUTION) == _CAUTION[pair]
    assert result.verdict is Verdict.GO


def test_what_nobody_can_tell_leaves_a_pair_undecided() -> None:
    result = judged(snapshot("fogbank"))
    assert result.with_status(Status.BLOCK) == set()
    assert result.with_status(Status.UNKNOWN) == {"hardware-support", "install-mode"}
    assert result.verdict is Verdict.UNDECIDED


def test_every_pair_of_the_inventory_has_a_story() -> None:
    assert set(pairs()) == {*_NO_GO, *_CAUTION, "fogbank"} == {pair.name for pair in DEMO}


def test_every_member_that_can_be_reached_has_a_recording_of_every_command() -> None:
    wanted = {f"{command.slug}.txt" for command in catalogue.asked()}
    recorded = {folder.name: {file.name for file in folder.glob("*.txt")} for folder in FIXTURES.iterdir()}
    assert recorded == {member.name: wanted for pair in DEMO for member in pair.members if member.reachable}
