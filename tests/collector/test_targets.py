"""To which releases a pair could go, judged from captures that were taken once."""

from __future__ import annotations

import json
import shutil
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest

from collector import demo, recording
from collector.capture import Capture
from collector.cli import main
from collector.demo import EVENING
from collector.finding import Verdict
from collector.targets import TargetResult, candidates, judge_targets
from inventory.pairs import Image, Pair
from inventory.policy import Policy
from parsers import catalogue
from tests.collector.rules.building import policy
from tests.collector.test_cli import controllers
from tests.demo_fleet import FIXTURES, INVENTORY, fleet

PATHS = [
    {"from": "17.3", "to": "17.6", "direct": True},
    {"from": "17.6", "to": "17.12", "direct": True},
    {"from": "17.9", "to": "17.12", "direct": True},
    {"from": "17.9", "to": "17.9", "direct": True},
    {"from": "17.9.1", "to": "17.12", "direct": False},
    {"from": "17.12", "to": "17.13.2", "direct": True},
]
TRAINS = {**{train: {"long_lived": True} for train in ("17.3", "17.9", "17.12")}, "17.13": {"long_lived": False}}
POLICY = policy(trains=TRAINS, upgrade_paths=PATHS, recommended_release="17.12.4", rules={"ap-support": "off"})


@pytest.fixture(autouse=True)
def _plain_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("INVENTORY", "KNOWN_HOSTS", "USERNAME", "PASSWORD", "SECRET"):
        monkeypatch.delenv(f"READYPAIR_{name}", raising=False)
    monkeypatch.setenv("COLUMNS", "80")


def named(name: str) -> Pair:
    return next(pair for pair in fleet().pairs if pair.name == name)


def captures(pair: Pair) -> Mapping[str, list[Capture]]:
    return {member.name: recording.load(FIXTURES, member.name, catalogue.asked()) for member in pair.members}


def judged(pair: Pair, by: Policy = POLICY) -> dict[str, TargetResult]:
    _, targets = judge_targets(pair, captures(pair), by, EVENING)
    return {target.target: target for target in targets}


def test_the_candidates_are_the_long_lived_releases_and_what_is_planned() -> None:
    quay = replace(named("quay"), images={"17.9.5": Image("five.bin", 1), "17.13.3": Image("three.bin", 1)})
    # 17.13 isn't long-lived, and nothing names a release of 17.3.
    assert candidates(quay, POLICY) == ("17.3", "17.9.1", "17.9.5", "17.12.4")
    assert candidates(replace(quay, target_release="17.13.1"), POLICY)[-1] == "17.13.1"


def test_each_candidate_has_its_path_and_its_verdict() -> None:
    found = judged(replace(named("quay"), images={"17.9.5": named("quay").image or Image("x", 1)}))
    assert {target: (each.verdict, each.path, each.blocks) for target, each in found.items()} == {
        "17.3": (Verdict.NO_GO, (), ("upgrade-path",)),
        "17.9.1": (Verdict.NO_GO, (), ("upgrade-path",)),
        "17.9.5": (Verdict.GO, ("17.9.4a", "17.9.5"), ()),
        "17.12.4": (Verdict.GO, ("17.9.4a", "17.12.4"), ()),
    }


def test_without_the_images_size_a_target_is_undecided_at_best_and_says_why() -> None:
    found = judged(replace(named("quay"), images={}), policy(upgrade_paths=PATHS, recommended_release="17.9.5"))
    assert found["17.9.5"].verdict is Verdict.UNDECIDED
    assert found["17.9.5"].notes[0].startswith("Space can't be judged without the image's size: add the release")
    assert found["17.12.4"].notes == ()


def test_the_way_by_steps_is_told() -> None:
    found = judged(named("gull-rock"))
    assert found["17.12.4"].path == ("17.3.6", "17.6", "17.12.4")
    assert found["17.12.4"].blocks == ("upgrade-path",)


def test_of_a_train_without_a_release_only_the_path_is_told() -> None:
    found = judged(named("gull-rock"), policy(trains={"17.6": {"long_lived": True}}, upgrade_paths=PATHS))["17.6"]
    assert (found.verdict, found.path, found.blocks, found.result) == (Verdict.UNDECIDED, ("17.3.6", "17.6"), (), None)
    assert "names no release of this train" in found.notes[0]
    assert "readypair check gull-rock --target RELEASE" in found.notes[0]


def test_where_the_site_does_not_block_on_paths_a_train_is_not_blocked_by_one() -> None:
    eased = policy(trains=TRAINS, upgrade_paths=PATHS, rules={"upgrade-path": "caution"})
    assert judged(named("quay"), eased)["17.3"].verdict is Verdict.UNDECIDED


def test_where_it_is_not_known_what_runs_there_is_no_path() -> None:
    found = judged(named("farholm"))
    assert {each.path for each in found.values()} == {()}
    assert found["17.3"].verdict is Verdict.UNDECIDED
    assert found["17.12.4"].verdict is Verdict.NO_GO


def test_the_planned_result_is_the_pairs_own() -> None:
    planned, targets = judge_targets(named("quay"), captures(named("quay")), POLICY, EVENING)
    own = next(target for target in targets if target.target == planned.target_release)
    assert own.result == planned


def test_the_command_on_recorded_captures(capsys: pytest.CaptureFixture[str]) -> None:
    arguments = ["targets", "gull-rock", "--from", str(FIXTURES), "--inventory", str(INVENTORY)]
    assert main([*arguments, "--quiet"]) == 1
    out, err = capsys.readouterr()
    assert "17.3.6 to 17.6 to 17.12.4" in out
    assert "17.3, 17.6: The policy names no release of this train" in out
    assert max(map(len, out.splitlines())) <= 80
    assert err == ""
    assert main([*arguments, "--json"]) == 1
    out, err = capsys.readouterr()
    data = json.loads(out)
    assert (data["schema"], data["pair"], data["target_release"]) == (1, "gull-rock", "17.12.4")
    last = data["targets"][-1]
    assert (last["target"], last["verdict"], last["path"]) == ("17.12.4", "no-go", ["17.3.6", "17.6", "17.12.4"])
    assert "upgrade-path" in last["blocks"]
    assert last["result"]["verdict"] == "no-go"
    assert "gull-rock" in err


def test_the_command_over_ssh_asks_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with controllers(tmp_path, monkeypatch, "gull-rock-a", "gull-rock-b"):
        main(["trust", "--yes"])
        capsys.readouterr()
        assert main(["targets", "gull-rock", "--quiet"]) == 1
    assert "17.3.6 to 17.6 to 17.12.4" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["targets", "nope", "--from", str(FIXTURES)], "has no pair 'nope'"),
        (["targets", "quay", "--from", "/nowhere"], "/nowhere: there is no such folder"),
        (["targets", "quay", "--from", str(INVENTORY)], "holds no captures of quay; name the folder of a sweep"),
        (["replay", str(FIXTURES), "--target", "17.12"], "--target: '17.12' is not a release such as 17.9.4a"),
    ],
)
def test_a_wrong_question_is_one_sentence(arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*arguments, "--inventory", str(INVENTORY)]) == 2
    out, err = capsys.readouterr()
    assert (out, len(err.splitlines())) == ("", 1)
    assert said in err


def test_replay_decides_the_same_evidence_for_another_release(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(demo.inventory_folder(), tmp_path, dirs_exist_ok=True)
    groups = tmp_path / "groups.yaml"
    image = "image: {file: wx-universal.17.12.04.bin, bytes: 1250000000}"
    other = f"images: {{17.13.1: {{file: thirteen.bin, bytes: 1260000000}}}}\n    {image}"
    groups.write_text(groups.read_text().replace(image, other))
    arguments = ["replay", str(FIXTURES), "--inventory", str(tmp_path), "--pairs", "quay", "--json", "--quiet"]
    main([*arguments, "--target", "17.13.01"])
    (pair,) = json.loads(capsys.readouterr().out)["pairs"]
    assert (pair["target_release"], pair["verdict"]) == ("17.13.1", "no-go")
    assert pair["image"] == {"file": "thirteen.bin", "bytes": 1260000000}
    statuses = {finding["rule"]: finding["status"] for finding in pair["findings"]}
    assert (statuses["release-support"], statuses["flash-space"]) == ("block", "pass")
