"""From a command and its text to facts, and the three ways in which that can fail."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from parsers import Refused, UnknownCommand, Unreadable, catalogue, read
from parsers.facts.software import Boot

FIXTURES = Path(__file__).parents[2] / "fixtures" / "demo"
COMMANDS = [command.text for command in catalogue.COMMANDS]


def test_a_command_is_known_in_any_case_and_spacing() -> None:
    assert isinstance(read(" SHOW   boot ", "BOOT variable = a"), Boot)


@pytest.mark.parametrize("command", ["", "reload", "show boot\nreload", "show running-config", "show"])
def test_a_command_out_of_the_catalogue_is_unknown(command: str) -> None:
    with pytest.raises(UnknownCommand, match="not in the catalogue"):
        read(command, "BOOT variable = a")


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize(
    "answer",
    [
        "                     ^\n% Invalid input detected at '^' marker.\n",
        "% Incomplete command.\n",
        "Command authorization failed.\n",
        "quay-a#show x\r\nLoad for five secs: 4%/0%\r\n% Invalid input detected at '^' marker.\r\n\r\n",
    ],
)
def test_a_refusal_is_refused(command: str, answer: str) -> None:
    with pytest.raises(Refused, match="the controller refused it: "):
        read(command, answer)


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("answer", ["", "\n \n", "quay-a#show x\n", "*Feb  6 21:14:09.132: %SYS-5-X: y\n", "quay-a#"])
def test_no_answer_is_unreadable(command: str, answer: str) -> None:
    with pytest.raises(Unreadable, match="the answer is empty"):
        read(command, answer)


@pytest.mark.parametrize("text", ["x" * 6_000_001, "x\n" * 100_001, "x\r" * 100_001])
def test_a_text_longer_than_any_answer_is_unreadable(text: str) -> None:
    with pytest.raises(
        Unreadable,
        match=r"it has [0-9,]+ (?:characters|lines), and no more than (?:6,000,000|25,000) are read of this command",
    ):
        read("show boot", text)


def test_an_answer_about_the_controller_itself_has_fewer_lines_than_a_list_of_access_points() -> None:
    with pytest.raises(
        Unreadable, match=r"it has 25,001 lines, and no more than 25,000 are read of this command \(run it by hand "
    ):
        read("show clock", "x\n" * 25_001)
    with pytest.raises(Unreadable, match="no line tells the number of access points"):
        read("show ap summary", "x\n" * 25_001)


@pytest.mark.parametrize("text", ["x" * 15_000_001, "x\n" * 130_001])
def test_the_list_of_neighbours_may_be_longer_but_not_for_ever(text: str) -> None:
    with pytest.raises(Unreadable, match=r"and no more than (?:15,000,000|130,000) are read of this command"):
        read("show ap neighbor summary", text)
    with pytest.raises(Unreadable, match="no line tells"):
        read("show ap neighbor summary", "x\n" * 120_001)


_PIECES = sorted({line for file in (FIXTURES / "quay-a").glob("*.txt") for line in file.read_text().split("\n")})


@settings(max_examples=30, deadline=None)
@given(st.one_of(st.text(), st.lists(st.one_of(st.sampled_from(_PIECES), st.text(max_size=20))).map("\n".join)))
def test_reading_any_text_gives_facts_or_says_that_it_is_unreadable(text: str) -> None:
    """Lines of real answers among noise reach further than noise alone."""
    for command in catalogue.COMMANDS:
        try:
            facts = read(command.text, text)
        except Unreadable:
            continue
        assert isinstance(facts, command.facts)
        last = len(text.replace("\r", "\n").split("\n"))
        assert all(1 <= number <= last for numbers in facts.at.values() for number in numbers)
