"""Releases and ROM monitors in order."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st
from packaging.version import Version

from parsers.release import Release, RomMonitor, plain, train

numbers = st.tuples(*[st.integers(0, 9999)] * 3)


@given(numbers, numbers)
def test_plain_numeric_releases_are_ordered_as_packaging_orders_versions(
    one: tuple[int, int, int], other: tuple[int, int, int]
) -> None:
    """Source: PyPA version specifiers, as packaging.version implements them."""
    first, second = (".".join(map(str, each)) for each in (one, other))
    assert (Release.parse(first) < Release.parse(second)) is (Version(first) < Version(second))
    assert (Release.parse(first) == Release.parse(second)) is (Version(first) == Version(second))
    assert (Release.parse(first) >= Release.parse(second)) is (Version(first) >= Version(second))


@given(numbers, st.integers(1, 4))
def test_padding_changes_nothing(parts: tuple[int, int, int], width: int) -> None:
    padded = ".".join(f"{part:0{width}d}" for part in parts)
    assert plain(padded) == str(Version(padded))


@given(numbers, st.sampled_from(["", "a", "b"]), st.lists(st.integers(0, 999_999_999), max_size=3))
def test_a_build_is_its_release(parts: tuple[int, int, int], letter: str, build: list[int]) -> None:
    text = ".".join(map(str, parts)) + letter
    built = text + "".join(f".{number}" for number in build)
    assert Release.parse(built) == Release.parse(text)
    assert hash(Release.parse(built)) == hash(Release.parse(text))
    assert plain(built) == text


def test_releases_are_ordered_as_the_contract_says() -> None:
    """DESIGN section 4."""
    ordered = ["16.12.9", "17.3.1", "17.9.4", "17.9.4a", "17.9.4b", "17.9.5", "17.9.10", "17.12.3", "18.1.1"]
    for lower, higher in itertools.combinations(ordered, 2):
        assert Release.parse(lower) < Release.parse(higher)
    assert plain("17.03.01") == "17.3.1"
    assert plain(" 17.09.04a ") == "17.9.4a"
    assert plain("17.12.03.0.1234") == "17.12.3"
    assert Release.parse("17.09.04a").train == "17.9"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "17",
        "17.9",
        "17.9.",
        "17.9.x",
        "17.9.4A",
        "17.9.4#",
        "v17.9.4",
        "17..4",
        "-1.2.3",
        "17.9.4 a",
        "17.9.4a.",
        "١٧.٩.٤",
    ],
)
def test_what_is_no_release_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="is not a release"):
        Release.parse(text)


def test_a_train_is_two_numbers() -> None:
    assert train("17.09") == "17.9"
    for text in ("17", "17.9.4", "17.9a", ""):
        with pytest.raises(ValueError, match="is not a train"):
            train(text)


def test_rom_monitors_are_ordered_by_numbers_then_letters() -> None:
    """Common practice, no source."""
    ordered = ["16.9(1r)", "16.10(4r)", "16.12(3r)", "16.12(5r)", "17.3(1r)", "17.3.2r", "17.12.1r", "17.12.10r"]
    for lower, higher in itertools.combinations(ordered, 2):
        assert RomMonitor.parse(lower) < RomMonitor.parse(higher)
        assert RomMonitor.parse(higher) > RomMonitor.parse(lower)


def test_one_rom_monitor_has_several_spellings() -> None:
    spellings = ["16.12(3r)", "16.12(3)r", "16.12.3r", "16.12(3)", " 16.12.03r "]
    assert len({RomMonitor.parse(text) for text in spellings}) == 1
    assert str(RomMonitor.parse("16.12(3r)")) == "16.12(3r)"


def test_what_follows_a_rom_monitors_numbers_counts_by_number() -> None:
    assert RomMonitor.parse("17.3.1rs9") < RomMonitor.parse("17.3.1rs10")
    assert RomMonitor.parse("17.3.1.9r") < RomMonitor.parse("17.3.1.10r")
    assert RomMonitor.parse("17.3.1r") < RomMonitor.parse("17.3.1.1r")
    assert RomMonitor.parse("17.3.1r") != "17.3.1r"


@pytest.mark.parametrize(
    "text", ["", "17", "17.x", "17.12.1R", "17.12(3r", "17.12.1r#", "ROMMON", "17.12 1r", "17.12.1x", "16.12(3x)"]
)
def test_what_is_no_rom_monitor_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="is not a ROM monitor version"):
        RomMonitor.parse(text)
