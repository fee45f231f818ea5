"""Stand-ins: one for each original, of its shape, with nothing of it."""

from __future__ import annotations

import ipaddress
import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.standins import Kind, StandIns, lower, mac_digits, mac_notations

names = st.text(string.ascii_letters + string.digits + " -_.ÖöÆ", min_size=1, max_size=12)
macs = st.binary(min_size=6, max_size=6).map(lambda raw: raw.hex(":"))
# RFC 5737 and RFC 2544.
RANGES = [ipaddress.ip_network(text) for text in ("192.0.2.0/24", "198.51.100.0/24", "203.0.113.0/24", "198.18.0.0/15")]


def shape(text: str) -> str:
    return "".join("9" if c in string.digits else ("A" if c.isupper() else "a") if c.isalnum() else c for c in text)


@given(st.lists(names, unique_by=lower, max_size=30))
def test_names_have_one_stand_in_each_and_each_its_own(originals: list[str]) -> None:
    standins = StandIns(avoid=frozenset(map(lower, originals)))
    given_once = [standins.name(text, Kind.ACCESS_POINT) for text in originals]
    assert [standins.name(text, Kind.LOCATION) for text in originals] == given_once
    assert len(set(map(lower, given_once))) == len(originals)
    assert not set(map(lower, given_once)) & set(map(lower, originals))


@given(st.lists(names, unique_by=lower, min_size=1, max_size=5))
def test_names_keep_their_shape_where_it_has_room(originals: list[str]) -> None:
    standins = StandIns()
    for text in originals:
        new = standins.name(text, Kind.HOST)
        assert shape(new) == shape(text) or sum(c.isalnum() for c in text) <= 1


def test_a_stand_in_holds_nothing_of_its_original_but_the_shape() -> None:
    first, second = StandIns(), StandIns()
    assert first.name("Quay-07", Kind.HOST) == second.name("Mole-42", Kind.HOST)


def test_names_that_differ_in_case_share_a_stand_in_whose_case_follows() -> None:
    standins = StandIns()
    assert standins.name("quay-a", Kind.HOST).upper() == standins.name("QUAY-A", Kind.HOST)


def test_a_name_without_room_for_another_gets_a_longer_stand_in() -> None:
    standins = StandIns()
    found = {standins.name(str(number), Kind.LOCATION) for number in range(10)}
    assert len(found) == 10


def test_a_serial_number_of_hexadecimal_digits_stays_one() -> None:
    assert set(StandIns().name("4F00A2", Kind.SERIAL)) <= set(string.hexdigits)


@given(st.lists(st.ip_addresses(v=4).map(str), unique=True, max_size=20))
def test_ipv4_addresses_come_out_of_the_ranges_for_documentation(originals: list[str]) -> None:
    standins = StandIns(avoid=frozenset(originals))
    new = [standins.ipv4(text) for text in originals]
    assert len(set(new)) == len(originals)
    assert not set(new) & set(originals)
    for old, standin in zip(originals, new, strict=True):
        address = ipaddress.ip_address(standin)
        if ipaddress.ip_address(old).is_link_local:
            assert address.is_link_local
        else:
            assert any(address in network for network in RANGES)
            assert len(standin) == min(max(len(old), 9), 14)


def test_more_ipv4_addresses_than_the_small_ranges_hold() -> None:
    standins = StandIns()
    originals = [f"10.{number // 250}.7.{number % 250}" for number in range(3000)]
    assert len({standins.ipv4(text) for text in originals}) == 3000


def test_ipv6_addresses_have_one_stand_in_in_every_notation() -> None:
    standins = StandIns()
    assert standins.ipv6("2620:0:ccc::2") == standins.ipv6("2620:0000:0CCC:0:0:0:0:2")
    assert ipaddress.ip_address(standins.ipv6("2620::9")) in ipaddress.ip_network("2001:db8::/32")  # RFC 3849
    assert ipaddress.ip_address(standins.ipv6("fe80::a8bb:1")).is_link_local


@given(st.lists(macs, unique=True, max_size=20))
def test_mac_addresses_have_one_stand_in_in_every_notation(originals: list[str]) -> None:
    standins = StandIns(avoid=frozenset(map(mac_digits, originals)))
    new = [standins.mac(text) for text in originals]
    assert len(set(new)) == len(originals)
    for old, standin in zip(originals, new, strict=True):
        # Locally administered: RFC 7042, section 2.1.
        assert int(standin[:2], 16) & 0b11 == 0b10
        for notation in mac_notations(old):
            assert mac_digits(standins.mac(notation)) == mac_digits(standin)
            assert len(standins.mac(notation)) == len(notation)
        assert standins.mac(old.upper()) == standin.upper()


@pytest.mark.parametrize("original", ["$9$abc$def", "0822455D0A16", "public"])
def test_a_secrets_stand_in_says_that_it_is_one(original: str) -> None:
    standins = StandIns()
    assert standins.secret(original) == "key-001" == standins.secret(original)
    assert standins.secret("another") == "key-002"
    assert "key-002" in standins
    assert original not in standins
