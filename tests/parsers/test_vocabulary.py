"""The controllers' own words."""

from __future__ import annotations

import pytest

from parsers import vocabulary


def test_they_are_words_in_lower_case() -> None:
    assert all(word.isascii() and word.isalpha() and word == word.lower() for word in vocabulary.words())


@pytest.mark.parametrize("word", ["bootflash", "standby", "mismatched", "chassis", "registered"])
def test_what_controllers_print_is_known(word: str) -> None:
    assert word in vocabulary.words()


@pytest.mark.parametrize("word", ["predownload", "uptime"])
def test_what_templates_look_for_is_known(word: str) -> None:
    assert word in vocabulary.words()


@pytest.mark.parametrize(
    "word", ["quay", "harbour", "operator", "duty", "wonderland", "admin", "root1", "kiosk", "hall"]
)
def test_what_may_be_a_name_is_not(word: str) -> None:
    assert word not in vocabulary.words()
