"""Waivers and weights as a user meets them: through the command line, in every output."""

from __future__ import annotations

import html
import json
import shutil
from datetime import datetime, tzinfo
from pathlib import Path
from typing import Any

import pytest

from collector import demo
from collector.cli import main
from tests.demo_fleet import FIXTURES, INVENTORY, fleet

VALID = "{pair: gull-rock, rule: upgrade-path, who: R. Vane, why: The site closes for the night., until: 2999-12-30}"


class Evening(datetime):
    """The clock stands at the fixtures' evening: windows come near and certificates end otherwise."""

    @classmethod
    def now(cls, tz: tzinfo | None = None) -> Evening:
        return cls.fromisoformat(demo.EVENING.isoformat())


@pytest.fixture
def inventory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setattr("collector.sweep.datetime", Evening)
    shutil.copytree(INVENTORY, tmp_path / "inventory")
    (tmp_path / "inventory" / "waivers.yaml").unlink()
    return tmp_path / "inventory"


def waive(inventory: Path, *waivers: str) -> None:
    (inventory / "waivers.yaml").write_text("waivers:\n" + "".join(f"- {waiver}\n" for waiver in waivers))


def replay(inventory: Path, pairs: str, *more: str) -> int:
    return main(["replay", str(FIXTURES), "--inventory", str(inventory), "--pairs", pairs, "--quiet", *more])


def report(inventory: Path, pair: str, capsys: pytest.CaptureFixture[str]) -> tuple[dict[str, Any], dict[str, Any]]:
    replay(inventory, pair, "--json")
    data = json.loads(capsys.readouterr().out)
    return data, {finding["rule"]: finding for finding in data["pairs"][0]["findings"]}


def test_a_waived_block_shows_and_the_pair_is_go(inventory: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before, _ = report(inventory, "gull-rock", capsys)
    assert before["pairs"][0]["verdict"] == "no-go"
    assert [step["rule"] for step in before["pairs"][0]["steps"]] == ["upgrade-path"]
    waive(inventory, VALID)
    after, findings = report(inventory, "gull-rock", capsys)
    assert after["pairs"][0]["verdict"] == "go"
    assert after["pairs"][0]["steps"] == []
    assert findings["upgrade-path"]["status"] == "block"
    assert findings["upgrade-path"]["waiver"] == {
        "who": "R. Vane",
        "why": "The site closes for the night.",
        "until": "2999-12-30",
    }
    assert after["notes"] == []
    assert replay(inventory, "gull-rock") == 0
    out, err = capsys.readouterr()
    text = " ".join(out.split())
    assert "block, waived upgrade-path" in text
    assert "Waived by R. Vane until 2999-12-30: The site closes for the night." in text
    assert err == ""


@pytest.mark.parametrize(
    ("waiver", "said"),
    [
        (VALID.replace("2999-12-30", "2026-02-01"), "gull-rock by R. Vane has expired (2026-02-01) and counts no more"),
        (VALID.replace("gull-rock", "gull-rocks"), "for gull-rocks by R. Vane matches no pair of the inventory"),
        (VALID.replace("upgrade-path", "install-mode"), "has nothing to waive: install-mode is pass there"),
    ],
)
def test_a_waiver_that_does_nothing_is_told_of_everywhere(
    inventory: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], waiver: str, said: str
) -> None:
    waive(inventory, waiver)
    assert replay(inventory, "gull-rock", "--out", str(tmp_path / "out")) == 1
    err = capsys.readouterr().err
    assert len(err.splitlines()) == 1
    assert err.startswith("readypair: waivers.yaml: waivers.0: ")
    assert said in err
    assert any(said in note for note in json.loads((tmp_path / "out" / "report.json").read_text())["notes"])
    assert said in (tmp_path / "out" / "report.html").read_text()


@pytest.mark.parametrize(
    ("waiver", "said"),
    [
        (VALID.replace("upgrade-path", "pair-state"), "waivers.yaml: waivers.0.rule: nobody may waive pair-state"),
        (VALID.replace("upgrade-path", "one-active"), "waivers.yaml: waivers.0.rule: nobody may waive one-active"),
        (VALID.replace("upgrade-path", "upgrade-activity"), "waivers.0.rule: nobody may waive upgrade-activity"),
        (VALID.replace("upgrade-path", "path"), "waivers.0.rule: there is no rule 'path'"),
        (VALID.replace("2999-12-30", "tomorrow"), "waivers.yaml: waivers.0.until: must be a date"),
    ],
)
def test_a_waiver_that_may_not_be_is_one_sentence(
    inventory: Path, capsys: pytest.CaptureFixture[str], waiver: str, said: str
) -> None:
    waive(inventory, waiver)
    assert replay(inventory, "gull-rock") == 2
    out, err = capsys.readouterr()
    assert (out, len(err.splitlines())) == ("", 1)
    assert said in err


@pytest.mark.parametrize("rule", ["one-active", "pair-state", "upgrade-activity"])
@pytest.mark.parametrize("weight", ["off", "caution"])
def test_what_nobody_may_waive_cannot_be_weighed_away(
    inventory: Path, capsys: pytest.CaptureFixture[str], rule: str, weight: str
) -> None:
    weigh(inventory, f"{rule}: {weight}")
    assert replay(inventory, "gull-rock") == 2
    assert f"policy.yaml: rules.{rule}: nobody may turn {rule} off or ease it" in capsys.readouterr().err


def weigh(inventory: Path, weights: str) -> None:
    policy = inventory / "policy.yaml"
    assert "rules: {certificates: block}" in policy.read_text()
    policy.write_text(policy.read_text().replace("rules: {certificates: block}", f"rules: {{{weights}}}"))


def test_other_weights_show_in_every_output(
    inventory: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    weigh(inventory, "install-mode: off, upgrade-path: caution")
    assert replay(inventory, "gull-rock", "--out", str(tmp_path / "out")) == 0
    said = "Weighed by the site's policy, not by default: upgrade-path as caution, install-mode off"
    assert said in " ".join(capsys.readouterr().out.split())
    page = html.unescape((tmp_path / "out" / "report.html").read_text())
    assert said in page
    assert page.count("The site's policy weighs this rule as: ") == 2
    _, findings = report(inventory, "gull-rock", capsys)
    assert {rule: found["weighed"] for rule, found in findings.items() if found["weighed"]} == {
        "upgrade-path": "caution",
        "install-mode": "off",
    }


def test_a_waiver_of_what_is_weighed_as_caution_has_nothing_to_waive(
    inventory: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    weigh(inventory, "upgrade-path: caution")
    waive(inventory, VALID)
    data, findings = report(inventory, "gull-rock", capsys)
    assert (findings["upgrade-path"]["status"], findings["upgrade-path"]["waiver"]) == ("caution", None)
    assert "upgrade-path is caution there" in data["notes"][0]


def test_every_finding_says_why_it_matters(inventory: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _, findings = report(inventory, "gull-rock", capsys)
    assert all(finding["why"].endswith(".") for finding in findings.values())
    weigh(inventory, "clock: off")
    assert report(inventory, "gull-rock", capsys)[1]["clock"]["why"].endswith(".")


def test_the_demo_shows_a_waiver_and_one_that_has_expired() -> None:
    first, second = fleet().waivers
    pairs = {pair.name: pair for pair in fleet().pairs}
    assert first.holds(pairs[first.pair], demo.EVENING)
    assert not second.holds(pairs[second.pair], demo.EVENING)
