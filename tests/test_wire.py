"""The watch over what the tests' controllers receive sees what is sent, and what may not be."""

from __future__ import annotations

from pathlib import Path

from parsers import catalogue
from tests.collector.sessions import MEMBER, SETTINGS, command, controller, logged_in
from tests.wire import allowed, stray


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
