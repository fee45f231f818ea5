from __future__ import annotations

import re

from hypothesis import example, given
from hypothesis import strategies as st

from collector.report.board.addresses import stem

SAFE = re.compile(r"[a-z0-9]+(?:--?[a-z0-9]+|_[a-z0-9]+)*")


def test_a_plain_name_stands_for_itself() -> None:
    for name in ("quay", "ferry-hq", "flash-space", "a_1", "0"):
        assert stem(name) == name


def test_another_keeps_its_letters_beside_a_digest() -> None:
    assert stem("Harbour Quay/2").startswith("harbour-quay-2--")
    assert stem("渡船").startswith("pair--")


def test_names_that_one_file_system_or_another_would_mix_up_differ() -> None:
    names = [
        "a/b",
        "a-b",
        "a b",
        "A-b",
        "a-B",
        "a--b",
        "a.b",
        "a%2fb",
        "..",
        ".",
        "",
        "-",
        "渡船",
        "船",
        "\udcff",
        "\udcfe",
    ]
    stems = [stem(name) for name in names]
    assert len({each.casefold() for each in stems}) == len(names)
    assert all(SAFE.fullmatch(each) for each in stems)


def test_no_name_is_a_device() -> None:
    # The reserved names of Windows' file systems, as its documentation of naming files lists them.
    for name in ("con", "prn", "aux", "nul", *(f"{port}{number}" for port in ("com", "lpt") for number in range(10))):
        assert stem(name) != name
        assert stem(name).startswith(f"{name}--")


@given(st.text(max_size=200), st.text(max_size=200))
@example("quay--0123456789abcdef", "quay")
def test_no_two_names_share_a_page(one: str, other: str) -> None:
    assert SAFE.fullmatch(stem(one))
    assert len(stem(one)) <= 80
    assert (stem(one) == stem(other)) == (one == other)


@given(st.text(max_size=80))
def test_the_name_of_a_page_is_no_other_pairs_own_name(name: str) -> None:
    assert stem(stem(name)) == stem(name) if stem(name) == name else stem(stem(name)) != stem(name)
