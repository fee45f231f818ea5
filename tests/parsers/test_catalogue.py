"""Which of the catalogue's commands are sent when."""

from __future__ import annotations

import pytest

from collector.dialogue import NotInCatalogue, check
from parsers import catalogue

DEEP = ["show ap neighbor summary", "show ap dot11 5ghz load-info", "show ap dot11 24ghz load-info"]


def test_a_sweep_does_not_send_what_only_a_plan_needs() -> None:
    assert [command.text for command in catalogue.deep()] == DEEP
    assert not set(catalogue.deep()) & set(catalogue.asked())


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
