"""The recordings that tests and benchmarks make are healthy where nothing else was asked for."""

from __future__ import annotations

from pathlib import Path

from collector import recording
from collector.demo import EVENING
from collector.finding import Status, Verdict
from collector.rules import waivable
from collector.snapshot import Snapshot, member_snapshot
from inventory.opening import open_inventory
from parsers import catalogue
from tests.demo_fleet import INVENTORY, judged, taken
from tests.fleet.making import healthy_pairs
from tests.fleet.writing import groups, hosts, write_pair


def test_made_pairs_are_go(tmp_path: Path) -> None:
    made = healthy_pairs(2)
    for pair in made:
        write_pair(pair, tmp_path)
    _write_inventory(tmp_path, 2)
    for found in open_inventory(tmp_path, waivable()).pairs:
        first, second = (
            member_snapshot(
                member.name, [taken(each) for each in recording.load(tmp_path, member.name, catalogue.asked())]
            )
            for member in found.members
        )
        result = judged(Snapshot(found, (first, second), EVENING))
        assert result.with_status(Status.UNKNOWN) == result.with_status(Status.BLOCK) == set()
        assert result.verdict is Verdict.GO


def test_two_hundred_pairs_have_addresses_of_their_own(tmp_path: Path) -> None:
    _write_inventory(tmp_path, 200)
    members = [member for pair in open_inventory(tmp_path, waivable()).pairs for member in pair.members]
    assert len({member.hostname for member in members}) == len(members) == 400


def test_writing_what_is_missing_leaves_the_rest_alone(tmp_path: Path) -> None:
    pair = healthy_pairs(1)[0]
    write_pair(pair, tmp_path)
    edited, missing = tmp_path / "berth-0-a" / "show_boot.txt", tmp_path / "berth-0-b" / "show_boot.txt"
    edited.write_text("edited by hand\n")
    missing.unlink()
    assert write_pair(pair, tmp_path, anew=False) == [missing]
    assert edited.read_text() == "edited by hand\n"


def _write_inventory(folder: Path, count: int) -> None:
    made = healthy_pairs(count, access_points=0)
    (folder / "hosts.yaml").write_text(hosts(made))
    (folder / "groups.yaml").write_text(groups(made))
    (folder / "policy.yaml").write_bytes((INVENTORY / "policy.yaml").read_bytes())
