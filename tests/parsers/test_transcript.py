"""Numbering a capture's lines and telling the answer from what surrounds it. Structures: DESIGN section 5."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parsers import transcript

SYSLOG = (
    "*Feb  6 21:14:09.132: %SYS-5-CONFIG_I: Configured from console by vty0",
    ".Feb  6 21:14:09.132: %SYS-5-CONFIG_I: Configured from console by vty0",
    "Feb  6 2027 21:14:09.132 CET: %LINK-3-UPDOWN: Interface changed state to up",
    "000123: *Feb  6 21:14:09: %PORT_CHANNEL-STANDBY-5-DOWN: down",
    "<189>4711: Feb  6 21:14:09: %SYS-5-RESTART: System restarted",
    "00:06:31: %SYS-6-BOOTTIME: time taken to reboot",
    "1w2d: %LINEPROTO-5-UPDOWN: Line protocol changed",
    "%SYS-5-CONFIG_I: Configured from console",
)


def answer(text: str) -> list[tuple[int, str]]:
    return transcript.of(text).answer


@pytest.mark.parametrize(
    "before",
    [
        "quay-a#show boot",
        "quay-a-stby#show boot",
        "quay-a> show boot",
        "quay-a#sh boot",
        "quay-a#dir bootflash: | include free",
        "show boot",
        "Load for five secs: 4%/0%; one minute: 3%; five minutes: 3%",
        "Time source is NTP, 21:14:09.132 CET Sat Feb 6 2027",
        "",
        "   ",
        "quay-a#",
        "\x1b[0m",
        *SYSLOG,
    ],
)
def test_what_stands_before_the_answer_is_left_out(before: str) -> None:
    assert answer(f"{before}\nthe answer") == [(2, "the answer")]


@pytest.mark.parametrize(
    "line", ["Chassis#   Role    Mac Address", "PS1 = rommon ! >", "12 apples", "%Error opening stby-bootflash:/"]
)
def test_a_line_that_only_looks_like_a_prompt_or_a_message_is_kept(line: str) -> None:
    assert answer(f"{line}\nmore") == [(1, line), (2, "more")]


def test_echo_load_and_prompt_lines_within_the_answer_are_part_of_it() -> None:
    text = "first\nquay-a#show boot\nLoad for five secs: 4%\nlast"
    assert [number for number, _ in answer(text)] == [1, 2, 3, 4]


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r\r\n", "\r"])
def test_every_line_ending_counts_one_line(ending: str) -> None:
    assert transcript.split(f"one{ending}two{ending}") == ["one", "two"]


def test_only_line_feeds_and_carriage_returns_end_a_line() -> None:
    assert transcript.split("one\u2028still\x0bone\ntwo") == ["one\u2028still\x0bone", "two"]


def test_noise_that_python_would_call_blank_is_seen() -> None:
    assert answer("one\n\u00a0\n\x1c") == [(1, "one"), (2, "\u00a0"), (3, "\x1c")]


@pytest.mark.parametrize("message", SYSLOG[:-1])
def test_a_message_within_a_line_breaks_it(message: str) -> None:
    found = transcript.of(f"first\nInstallation mode is INS{message}\nTALL")
    assert found.answer == [(1, "first"), (2, "Installation mode is INS"), (3, "TALL")]
    assert found.broken == {2}


def test_a_broken_line_is_matched_by_nothing() -> None:
    from parsers.matching import match

    found = match("version", transcript.of(f"Installation mode is INSTALL {SYSLOG[0]}\nProcessor board ID ABC"))
    assert [each.kind for each in found.found] == ["serial"]
    assert found.unmatched == [1]


def test_the_closing_prompt_is_left_out_and_one_within_is_kept() -> None:
    assert answer("one\nquay-a#\ntwo\nquay-a#") == [(1, "one"), (2, "quay-a#"), (3, "two")]


def test_a_line_is_asked_for_by_its_number() -> None:
    found = transcript.of("one\n\n two  \n")
    assert found.line(3) == " two"
    with pytest.raises(IndexError, match="line 4 of 3"):
        found.line(4)
    with pytest.raises(IndexError):
        found.line(0)


@given(st.text())
def test_any_text_is_numbered_as_it_is_split(text: str) -> None:
    found = transcript.of(text)
    assert len(found.printed) == len(transcript.split(text))
    assert list(found.kept) == sorted(set(found.kept))
    assert all(found.line(number).strip(" \t") for number in found.kept)
    assert found.broken <= set(found.kept)
