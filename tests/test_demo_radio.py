"""What the demo's active members tell of their radios is told of the access points that they have."""

from __future__ import annotations

import pytest

from collector import recording
from collector.capture import Ending
from parsers import Refused, catalogue, read
from parsers.facts.access_points import ApSummary
from parsers.facts.neighbours import ApLoad, ApNeighbours
from parsers.facts.wireless import RadioSummary, WirelessSummary, WlanSummary
from tests.demo_fleet import FIXTURES
from tests.fleet.demo import DEMO

_WLANS = "show wlan summary"
_ACTIVE = [
    member.name
    for pair in DEMO
    for member in pair.members
    if member.reachable and pair.seen_by(member).is_active(member)
]
_STANDBY = [member.name for pair in DEMO for member in pair.members if member.reachable and member.name not in _ACTIVE]


def _texts(member: str) -> list[str]:
    captures = recording.load(FIXTURES, member, catalogue.deep())
    assert all(capture.ending is Ending.COMPLETE for capture in captures)
    return [capture.text for capture in captures]


def _radios(member: str) -> dict[str, str | None]:
    """Its access points' names, and the address of their radios."""
    summary = read("show ap summary", (FIXTURES / member / "show_ap_summary.txt").read_text())
    assert isinstance(summary, ApSummary)
    return {ap.name: ap.radio_mac for ap in summary.aps}


@pytest.mark.parametrize("member", _ACTIVE)
def test_who_hears_whom_is_told_of_the_members_own_access_points(member: str) -> None:
    facts = read("show ap neighbor summary", _texts(member)[0])
    assert isinstance(facts, ApNeighbours)
    radios = _radios(member)
    assert {row.name for row in facts.neighbours} == set(radios)
    named = [row for row in facts.neighbours if not row.neighbour.startswith("0200.5e")]
    assert {row.neighbour for row in named} <= set(radios)
    assert all(row.neighbour != row.name for row in named)
    assert all(-100 < row.dbm <= -43 for row in facts.neighbours)
    assert len(facts.neighbours) == len({(row.name, row.slot, row.neighbour) for row in facts.neighbours})


@pytest.mark.parametrize("member", _ACTIVE)
def test_the_load_is_told_of_every_access_point_at_both_bands(member: str) -> None:
    for command, text in zip(catalogue.deep()[1:3], _texts(member)[1:3], strict=True):
        facts = read(command.text, text)
        assert isinstance(facts, ApLoad)
        assert {row.name: row.mac for row in facts.loads} == _radios(member)
        assert all(row.clients is not None and row.utilisation_percent is not None for row in facts.loads)


@pytest.mark.parametrize("member", _ACTIVE)
def test_the_totals_are_those_of_the_rows(member: str) -> None:
    told = dict(zip((command.text for command in catalogue.deep()), _texts(member), strict=True))
    summary, wlans = read("show wireless summary", told["show wireless summary"]), read(_WLANS, told[_WLANS])
    assert isinstance(summary, WirelessSummary)
    assert isinstance(wlans, WlanSummary)
    assert summary.aps is not None
    assert (summary.aps.total, summary.aps.down) == (len(_radios(member)), 0)
    assert any(wlan.enabled for wlan in wlans.wlans)
    loads = 0
    for band, row in zip(("24ghz", "5ghz"), summary.radios, strict=True):
        radios = read(f"show ap dot11 {band} summary", told[f"show ap dot11 {band} summary"])
        load = read(f"show ap dot11 {band} load-info", told[f"show ap dot11 {band} load-info"])
        assert isinstance(radios, RadioSummary)
        assert isinstance(load, ApLoad)
        assert [(each.name, each.slot) for each in radios.radios] == [(each.name, each.slot) for each in load.loads]
        assert row.up == sum(each.up is True for each in radios.radios)
        loads += sum(each.clients or 0 for each in load.loads)
    assert summary.clients == loads


def test_one_access_point_hears_nobody_well() -> None:
    best: dict[str, int] = {}
    for member in _ACTIVE:
        facts = read("show ap neighbor summary", _texts(member)[0])
        assert isinstance(facts, ApNeighbours)
        for row in facts.neighbours:
            best[row.name] = max(best.get(row.name, row.dbm), row.dbm)
    assert [name for name, dbm in best.items() if dbm < -85] == ["lantern-kiosk-row-12"]


@pytest.mark.parametrize("member", _STANDBY)
def test_a_standby_refuses_all_of_it(member: str) -> None:
    for command, text in zip(catalogue.deep(), _texts(member), strict=True):
        with pytest.raises(Refused):
            read(command.text, text)
