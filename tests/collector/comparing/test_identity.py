"""Access points before against access points after, and pandas as an independent computation of it."""

from __future__ import annotations

import random
from collections.abc import Sequence

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.comparing.identity import mac, match
from parsers.facts.access_points import AccessPoint


def ap(name: str, ethernet: str | None = None, radio: str | None = None) -> AccessPoint:
    return AccessPoint(name=name, ethernet_mac=ethernet, radio_mac=radio)


def names(aps: Sequence[AccessPoint]) -> list[str]:
    return [each.name for each in aps]


def device(number: int, name: str, *, spelling: int = 0) -> AccessPoint:
    """An access point by the number of its device; its addresses in one of two spellings."""
    ethernet, radio = f"0200.5e10.{number:04x}", f"0200.5e80.{number:04x}"
    if spelling:
        ethernet, radio = (each.replace(".", "").upper() for each in (ethernet, radio))
    return ap(name, ethernet, radio)


ROWS = st.lists(
    st.tuples(st.integers(0, 25), st.sampled_from(["hall", "deck", "ramp", "bay"]), st.integers(0, 1)), max_size=40
)


def by_pandas(before: Sequence[AccessPoint], after: Sequence[AccessPoint]) -> tuple[set[str], set[str], set[str]]:
    """Missing, new and renamed devices by their addresses: an outer join of the two tables, each device once."""

    def frame(aps: Sequence[AccessPoint]) -> pd.DataFrame:
        rows = [((each.ethernet_mac or "").replace(".", "").lower(), each.name) for each in aps]
        return pd.DataFrame(rows, columns=["mac", "name"]).drop_duplicates("mac")

    joined = frame(before).merge(frame(after), on="mac", how="outer", suffixes=("_then", "_now"), indicator="side")
    sides = joined["side"].astype(str)
    renamed = joined[(sides == "both") & (joined["name_then"] != joined["name_now"])]
    return (
        set(joined[sides == "left_only"]["mac"]),
        set(joined[sides == "right_only"]["mac"]),
        set(renamed["mac"]),
    )


def macs(aps: Sequence[AccessPoint]) -> set[str]:
    return {str(mac(each.ethernet_mac)) for each in aps}


@given(ROWS, ROWS)
def test_the_sets_are_those_of_pandas(then: list[tuple[int, str, int]], now: list[tuple[int, str, int]]) -> None:
    before, after = (
        [device(number, f"{name}-{number % 7}", spelling=spelling) for number, name, spelling in rows]
        for rows in (then, now)
    )
    found = match(before, after)
    missing, new, renamed = by_pandas(before, after)
    assert (macs(found.missing), macs(found.new)) == (missing, new)
    assert {str(mac(old.ethernet_mac)) for old, _ in found.renamed} == renamed
    assert len(found.stayed) + len(missing) == len(macs(before))
    assert len(found.stayed) + len(new) == len(macs(after))


@pytest.mark.parametrize("seed", range(5))
def test_a_table_of_thousands_is_that_of_pandas(seed: int) -> None:
    dice = random.Random(seed)
    before = [device(number, f"ap-{number:04d}") for number in dice.sample(range(6000), 4000)]
    kept = dice.sample(before, 3700)
    after = [
        ap(f"new-{each.name}" if dice.random() < 0.05 else each.name, each.ethernet_mac, each.radio_mac)
        for each in kept
    ]
    after += [device(number, f"ap-{number:04d}") for number in dice.sample(range(6000, 7000), 200)]
    after += dice.sample(after, 20)
    dice.shuffle(after)
    found = match(before, after)
    missing, new, renamed = by_pandas(before, after)
    assert (macs(found.missing), macs(found.new)) == (missing, new)
    assert {str(mac(old.ethernet_mac)) for old, _ in found.renamed} == renamed
    assert len(missing) == 300


def test_a_new_name_is_no_new_access_point() -> None:
    found = match([device(1, "hall")], [device(1, "hall-east", spelling=1)])
    assert (found.missing, found.new) == ((), ())
    assert [(old.name, new.name) for old, new in found.renamed] == [("hall", "hall-east")]


def test_one_shared_address_is_enough() -> None:
    before = [ap("hall", None, "0200.5e80.0001"), ap("deck", "0200.5e10.0002", None)]
    after = [ap("deck", "0200.5e10.0002", "0200.5e80.0002"), ap("hall", "0200.5e10.0001", "0200.5e80.0001")]
    found = match(before, after)
    assert names([old for old, _ in found.stayed]) == ["hall", "deck"]
    assert (found.missing, found.new, found.renamed) == ((), (), ())


def test_another_device_of_the_same_name_is_another_device() -> None:
    found = match([device(1, "hall")], [device(2, "hall")])
    assert (names(found.missing), names(found.new)) == (["hall"], ["hall"])


def test_the_name_counts_where_a_side_shows_no_address() -> None:
    for then, now in (((None, None), ("0200.5e10.0001", None)), (("0200.5e10.0001", "0"), ("0000.0000.0000", None))):
        found = match([ap("hall", *then)], [ap("hall", *now)])
        assert (found.missing, found.new) == ((), ())


def test_two_devices_of_one_name_are_two() -> None:
    found = match([device(1, "hall"), device(2, "hall")], [device(2, "hall")])
    assert macs(found.missing) == {"02005e100001"}


def test_an_access_point_that_is_listed_twice_is_one() -> None:
    found = match([device(1, "hall"), device(1, "hall")], [device(2, "deck"), device(2, "deck")])
    assert (names(found.missing), names(found.new)) == (["hall"], ["deck"])


@pytest.mark.parametrize(
    ("printed", "digits"),
    [("0200.5E10.0001", "02005e100001"), ("02:00:5e:10:00:01", "02005e100001"), ("0000.0000.0000", None), (None, None)],
)
def test_addresses_compare_whatever_their_spelling(printed: str | None, digits: str | None) -> None:
    assert mac(printed) == digits
