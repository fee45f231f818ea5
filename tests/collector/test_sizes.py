from __future__ import annotations

import pytest

from collector.sizes import about, exactly, rounded


@pytest.mark.parametrize(
    ("count", "words"),
    [
        (0, "0 bytes"),
        (1, "1 byte"),
        (999, "999 bytes"),
        (1000, "1 kB"),
        (1_250_000_000, "1.25 GB"),
        (999_999, "1000 kB"),
    ],
)
def test_a_size_in_the_largest_unit_that_it_fills(count: int, words: str) -> None:
    assert rounded(count) == words


def test_a_size_to_the_byte() -> None:
    assert [exactly(count) for count in (0, 1, 3_749_999_999)] == ["0 bytes", "1 byte", "3,749,999,999 bytes"]


@pytest.mark.parametrize(
    ("count", "words"), [(41_234_567, "41.2 MB"), (999_999, "1 MB"), (123_456, "123 kB"), (0.4, "0 bytes")]
)
def test_an_estimate_has_three_digits(count: float, words: str) -> None:
    assert about(count) == words
