"""Which of the catalogue's commands are sent when."""

from __future__ import annotations

import pytest

from collector.dialogue import NotInCatalogue, check
from parsers import catalogue

LOADS = ["show ap dot11 5ghz load-info", "show ap dot11 24ghz load-info"]
STATES = ["show wlan summary", "show ap dot11 5ghz summary", "show ap dot11 24ghz summary"]
DEEP = ["show ap neighbor summary", *LOADS, "show wireless summary", *STATES]


def test_a_sweep_does_not_send_what_only_something_else_needs() -> None:
    assert [command.text for command in catalogue.deep()] == DEEP
    assert not set(catalogue.deep()) & set(catalogue.asked())


def test_a_plan_and_a_comparison_need_what_a_sweep_asks_and_some_more() -> None:
    swept = [command.text for command in catalogue.asked()]
    assert [command.text for command in catalogue.needed_by("plan")] == [*swept, *DEEP[:3]]
    assert [command.text for command in catalogue.needed_by("compare")] == [*swept, *DEEP[1:]]


def test_a_poll_of_a_watch_asks_little() -> None:
    asked = [command.text for command in catalogue.needed_by("watch")]
    assert "show wireless summary" in asked
    assert "show install summary" in asked
    assert len(asked) <= 10
    assert not {"dir bootflash:", "show ap image", *LOADS, *STATES} & set(asked)


def test_a_session_may_send_what_a_sweep_or_a_plan_asks_and_nothing_else() -> None:
    sent = {*catalogue.asked(), *catalogue.deep()}
    for command in catalogue.COMMANDS:
        if command in sent:
            check(command.text)
        else:
            with pytest.raises(NotInCatalogue):
                check(command.text)


def test_no_two_commands_share_a_file() -> None:
    assert len({command.slug for command in catalogue.COMMANDS}) == len(catalogue.COMMANDS)
