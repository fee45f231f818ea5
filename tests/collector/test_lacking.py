"""What a fleet needs of its policy and the policy lacks; and the command that says so."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from collector.cli import main
from collector.lacking import Seen, lacks, seen
from inventory.pairs import Pair
from tests.collector.rules.building import policy
from tests.demo_fleet import FIXTURES, INVENTORY, fleet

SEEN = Seen(("WX-9840",), ("17.9.4a",), (), ())


@pytest.fixture(autouse=True)
def _plain_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")


def quay(target: str = "17.12.4") -> Pair:
    return replace(fleet().pairs[0], name="quay", target_release=target)


def lacking(told: Seen = SEEN, target: str = "17.12.4", **changes: object) -> list[str]:
    return [sentence.split(":")[0] for sentence in lacks([quay(target)], policy(**changes), {"quay": told})]


def test_a_policy_that_has_all_lacks_nothing() -> None:
    assert lacking() == []


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        (replace(SEEN, models=("WX-9999",)), ["hardware.WX-9999"]),
        # The policy of these tests has this physical model without a minimum.
        (replace(SEEN, models=("WX-9880",)), ["hardware.WX-9880.rom_monitor_minimum"]),
        (replace(SEEN, models=("WX-VC",)), []),
        (replace(SEEN, access_points=("WX-AP77",)), ["access_points.WX-AP77"]),
        (replace(SEEN, releases=("17.15.1",)), ["trains.17.15", "upgrade_paths"]),
        (replace(SEEN, releases=("17.6.3",)), ["upgrade_paths"]),
        (replace(SEEN, releases=("17.12.4",)), []),
        (replace(SEEN, untold=("the model of quay-b",)), ["not looked at, since no capture tells it"]),
    ],
)
def test_what_is_seen_and_not_listed_is_named(told: Seen, expected: list[str]) -> None:
    assert lacking(told) == expected


def test_a_target_on_a_train_that_is_not_listed_is_named_without_any_capture() -> None:
    sentences = lacks([quay("17.14.1")], policy(), None)
    assert sentences[0] == "trains.17.14: isn't there, but it is the target of quay; say whether it is long-lived"
    assert sentences[1].startswith("not looked at: what the controllers run")


def test_a_recommended_release_on_a_train_that_is_not_listed_is_named() -> None:
    assert lacking(recommended_release="17.15.1") == ["trains.17.15"]


def test_a_step_that_is_listed_as_not_direct_is_listed() -> None:
    assert lacking(upgrade_paths=[{"from": "17.9.4a", "to": "17.12.4", "direct": False}]) == []
    assert lacking(upgrade_paths=[{"from": "17.9.4", "to": "17.12.4", "direct": True}]) == ["upgrade_paths"]


def test_many_pairs_are_named_in_short() -> None:
    pairs = [replace(quay("17.14.1"), name=f"quay-{number}") for number in range(9)]
    (sentence, _) = lacks(pairs, policy(), None)
    assert "the target of quay-2 and 6 more;" in sentence


def test_the_recordings_tell_models_releases_and_access_points() -> None:
    pairs = {pair.name: pair for pair in fleet().pairs}
    found = seen([pairs["quay"], pairs["farholm"]], FIXTURES)
    assert found["quay"].models == ("WX-9840",)
    assert found["quay"].releases == ("17.9.4a",)
    assert found["quay"].access_points
    assert found["quay"].untold == ()
    assert found["farholm"].untold == ("the model of farholm-b", "the release of farholm-b")


def inventory(folder: Path) -> Path:
    shutil.copytree(INVENTORY, folder, dirs_exist_ok=True)
    path = folder / "policy.yaml"
    text = "".join(line for line in path.read_text().splitlines(keepends=True) if "WX-9840" not in line)
    path.write_text(text.replace("rules: {certificates: block}", "rules: {clock: off}"))
    return path


def test_the_command_prints_every_value_with_its_source(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = inventory(tmp_path)
    assert main(["policy", "--inventory", str(tmp_path), "--from", str(FIXTURES)]) == 0
    out, err = capsys.readouterr()
    number = path.read_text().splitlines().index("images_to_hold: 3") + 1
    rows = {line.split()[0]: line.split()[1:] for line in out.splitlines() if len(line.split()) > 2}
    assert rows["images_to_hold"] == ["3", f"policy.yaml:{number}"]
    assert rows["rules.clock"][0] == "off"
    assert rows["rules.flash-space"] == ["block", "built-in", "default"]
    assert "hardware.WX-9840: isn't there, but quay, " in " ".join(out.split())
    assert max(map(len, out.splitlines())) <= 80
    assert err == ""


def test_the_command_as_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = inventory(tmp_path)
    assert main(["policy", "--inventory", str(tmp_path), "--from", str(FIXTURES), "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert (data["schema"], data["file"]) == (1, str(path))
    by_key = {row["key"]: row for row in data["settings"]}
    assert by_key["rules.clock"]["value"] == "off"
    assert by_key["rules.clock"]["source"] == f"policy.yaml:{by_key['rules.clock']['line']}"
    assert (by_key["rules.headroom"]["line"], by_key["rules.headroom"]["source"]) == (None, "built-in default")
    assert any(warning.startswith("hardware.WX-9840: ") for warning in data["warnings"])


def test_without_captures_it_says_what_it_did_not_look_at(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["policy", "--inventory", str(INVENTORY)]) == 0
    assert "name recorded captures with --from DIR" in " ".join(capsys.readouterr().out.split())


def test_a_folder_that_is_not_there_is_one_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["policy", "--inventory", str(INVENTORY), "--from", "/nowhere"]) == 2
    assert capsys.readouterr().err.startswith("readypair: /nowhere: there is no such folder")
