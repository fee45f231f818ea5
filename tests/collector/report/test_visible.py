from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.report.visible import encodable, visible

ANYTHING = st.text(st.characters(exclude_categories=()))


@given(ANYTHING)
def test_nothing_that_steers_or_hides_is_left(text: str) -> None:
    # Categories of Unicode, chapter 4.5: control, format, surrogate, private use, unassigned, line, paragraph.
    left = {unicodedata.category(character) for character in visible(text)}
    assert not left & {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("26458804224 bytes total", "26458804224 bytes total"),
        ("Überfahrt 渡船 [bold]", "Überfahrt 渡船 [bold]"),
        ("\x1b[31mred\x07", "\\x1b[31mred\\x07"),
        ("a\tb", "a       b"),
        ("\u202eback", "\\u202eback"),
        ("\udcff", "\\xff"),
        ("\ud800", "\\ud800"),
        ("\U000e0041", "\\U000e0041"),
        ("two\nlines", "two\\x0alines"),
    ],
)
def test_it_spells_out(text: str, shown: str) -> None:
    assert visible(text) == shown


@given(ANYTHING)
def test_what_is_encodable_differs_in_lone_surrogates_only(text: str) -> None:
    result = encodable(text)
    result.encode("utf-8")
    assert all(b == ("\ufffd" if unicodedata.category(a) == "Cs" else a) for a, b in zip(text, result, strict=True))
