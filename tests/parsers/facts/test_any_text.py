"""Whatever stands in a capture, reading it gives facts or says in a clause why not."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from parsers import Facts, Unreadable, read
from tests.parsers.facts import (
    test_certificates,
    test_clock,
    test_history,
    test_joining,
    test_neighbours,
    test_redundancy,
    test_resources,
    test_upgrade,
)

ANSWERS = [
    *test_redundancy.ANSWERS,
    *test_upgrade.ANSWERS,
    *test_history.ANSWERS,
    *test_clock.ANSWERS,
    *test_certificates.ANSWERS,
    *test_resources.ANSWERS,
    *test_joining.ANSWERS,
    *test_neighbours.ANSWERS,
]
_LINES = sorted({line for _, text in ANSWERS for line in text.splitlines()})
_WORDS = sorted({word for line in _LINES for word in line.split()})
_ODD = st.sampled_from(["9" * 5000, "²", "٣", "\x00", "\u2028", "\ud800", "{{", "::", "=", "%", "1/2/3", "-" * 9])


def _facts_or_reason(command: str, text: str) -> Facts | str:
    try:
        return read(command, text)
    except Unreadable as error:
        return str(error)


@pytest.mark.parametrize("command", sorted({command for command, _ in ANSWERS}))
@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_reading_any_text_ends_well(command: str, data: st.DataObject) -> None:
    word = st.one_of(st.sampled_from(_WORDS), _ODD, st.text(max_size=8))
    made = st.lists(word, max_size=7).map(" ".join)
    text = "\n".join(data.draw(st.lists(st.one_of(st.sampled_from(_LINES), made), max_size=25)))
    facts = _facts_or_reason(command, text)
    if isinstance(facts, str):
        assert facts
        assert not facts.endswith(".")
        return
    count = text.count("\n") + text.count("\r") + 1
    assert all(1 <= number <= count for numbers in facts.at.values() for number in numbers)


@pytest.mark.parametrize(("command", "text"), ANSWERS)
def test_one_reading_leaves_nothing_behind_for_the_next(command: str, text: str) -> None:
    alone = read(command, text)
    for other, words in ANSWERS:
        read(other, words)
    assert read(command, text) == alone
