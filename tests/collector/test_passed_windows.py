from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from collector import demo
from collector.cli import main
from collector.passed_windows import passed
from inventory.pairs import Member, Pair, Window
from tests.inventory.conftest import GROUPS, HOSTS

START = datetime.fromisoformat("2020-02-06T23:00:00+01:00")
MEMBERS = Member("quay-a", "192.0.2.11", 22), Member("quay-b", "192.0.2.12", 22)
QUAY = Pair("quay", "Harbour Quay", MEMBERS, "17.12.4", window=Window(START, 240))
END = START + timedelta(minutes=240)
AFTER = END + timedelta(days=2000)


def named(*names: str) -> list[Pair]:
    return [replace(QUAY, name=name) for name in names]


def test_one_that_has_ended_is_told_with_its_day() -> None:
    assert passed([QUAY], AFTER) == ("quay's window ended on 2020-02-07; plan another",)
    assert passed([QUAY, replace(QUAY, name="pier", window=None)], AFTER) == passed([QUAY], AFTER)


def test_one_that_is_still_to_come_or_goes_on_is_not() -> None:
    assert passed([QUAY], START - timedelta(days=1)) == ()
    assert passed([QUAY], END) == ()
    assert passed([replace(QUAY, window=None)], AFTER) == ()


def test_the_day_is_that_of_the_pairs_own_clocks() -> None:
    (said,) = passed([replace(QUAY, time_zone="America/New_York")], AFTER)
    assert "ended on 2020-02-06" in said


def test_several_are_one_sentence_and_many_are_not_all_named() -> None:
    assert passed(named("quay", "pier"), AFTER) == (
        "the windows of 2 pairs have ended: quay on 2020-02-07, pier on 2020-02-07; plan others",
    )
    (said,) = passed(named(*"abcdefg"), AFTER)
    assert said.startswith("the windows of 7 pairs have ended: a on ")
    assert said.endswith("e on 2020-02-07 and others; plan others")


@pytest.mark.parametrize("command", [["replay", "FIXTURES"], ["targets", "quay", "--from", "FIXTURES"]])
def test_a_command_says_it_on_standard_error(
    command: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("READYPAIR_STORE", raising=False)
    (tmp_path / "hosts.yaml").write_text(HOSTS)
    (tmp_path / "groups.yaml").write_text(GROUPS.replace("2027-02-06", "2020-02-06"))
    (tmp_path / "policy.yaml").write_text((demo.inventory_folder() / "policy.yaml").read_text())
    fixtures = str(demo.fixtures_folder())
    arguments = [fixtures if each == "FIXTURES" else each for each in command]
    assert main([*arguments, "--inventory", str(tmp_path), "--quiet"]) in (0, 1)
    assert capsys.readouterr().err == "readypair: quay's window ended on 2020-02-07; plan another\n"


def test_the_demo_plays_an_evening_before_its_windows(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["demo", "--quiet", "--pairs", "quay"]) == 0
    assert "window" not in capsys.readouterr().err
