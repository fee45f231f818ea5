"""The watch over what the tests' controllers receive sees what is sent, and what may not be."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from collector import simulated
from collector.dialogue import NotInCatalogue
from parsers import catalogue
from parsers.catalogue import Command
from parsers.facts.core import Facts
from tests.collector.sessions import MEMBER, SETTINGS, command, controller, logged_in
from tests.wire import allowed, of_other_processes, stray


def test_what_is_sent_is_seen(tmp_path: Path, read_only_wire: dict[str, str]) -> None:
    with controller(tmp_path) as fleet, logged_in(fleet, tmp_path) as member:
        member.ask(command("show boot"))
        assert fleet.received(MEMBER) == [*SETTINGS, "show boot"]
    assert {*SETTINGS, "show boot"} <= set(read_only_wire)


def test_what_may_not_be_typed_is_a_stray() -> None:
    lines = ("reload", "SHOW VERSION", "show chassis", "show version ", "configure terminal", "", "terminal length 24")
    assert set(stray(dict.fromkeys(lines, "tests/test_any.py::test"))) == set(lines)
    assert stray(dict.fromkeys(allowed(), "tests/test_any.py::test")) == {}
    assert {row.text for row in catalogue.COMMANDS if row.sent} < allowed()


def test_what_another_process_receives_is_seen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    log = tmp_path / "received"
    monkeypatch.setenv(simulated.WIRE_LOG, str(log))
    demo = [sys.executable, "-c", "from collector.cli import run; run()", "demo", "--pairs", "quay", "--quiet"]
    demo += ["--out", str(tmp_path / "out")]
    assert subprocess.run(demo, check=False, cwd=Path(__file__).parents[1], stdout=subprocess.DEVNULL).returncode == 0
    received = of_other_processes(log.read_text().splitlines())
    assert {*SETTINGS, *(row.text for row in catalogue.asked())} == set(received)
    assert stray(received) == {}
    own = json.dumps({"process": os.getpid(), "line": "typed here"})
    other = json.dumps({"process": 0, "line": "reload"})
    assert stray(of_other_processes([own, other])) == {"reload": "process 0"}


_FOREIGN = "reload in 5"


def _asked_of_the_member(member: Any) -> None:
    member.ask(Command(_FOREIGN, "version", Facts))


def _asked_of_the_dialogue(member: Any) -> None:
    member._login.dialogue.ask(_FOREIGN, 5)


def _sent_by_the_driver(method: str, *given: Any) -> Callable[[Any], None]:
    return lambda member: getattr(member._login._driver, method)(*given)


@pytest.mark.parametrize(
    "way",
    [
        _asked_of_the_member,
        _asked_of_the_dialogue,
        _sent_by_the_driver("write_channel", f"{_FOREIGN}\n"),
        _sent_by_the_driver("send_command", _FOREIGN),
        _sent_by_the_driver("send_command_timing", _FOREIGN),
        _sent_by_the_driver("send_multiline", [_FOREIGN]),
        _sent_by_the_driver("send_config_set", ["hostname else"]),
        _sent_by_the_driver("config_mode"),
        _sent_by_the_driver("save_config"),
        _sent_by_the_driver("enable"),
        _sent_by_the_driver("find_prompt"),
    ],
)
def test_no_way_leads_to_anything_else(way: Callable[[Any], None], tmp_path: Path) -> None:
    with controller(tmp_path) as fleet, logged_in(fleet, tmp_path) as member:
        with pytest.raises(NotInCatalogue):
            way(member)
        assert fleet.received(MEMBER) == SETTINGS
