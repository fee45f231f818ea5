"""`show wireless stats ap join summary`."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parsers import Unreadable, read
from parsers.facts.joining import JoinRecord, JoinSummary
from tests.parsers.dressing import assert_reads_alike, cut, garbled, shortened

COMMAND = "show wireless stats ap join summary"

SUMMARY = """\
Number of APs: 4

Base MAC        Ethernet MAC    AP Name         IP Address       Status      Last Failure Phase  Last Disconnect Reason
------------------------------------------------------------------------------------------------------------------------
0200.5e20.0010  0200.5e10.0001  quay-ramp-01    203.0.113.1      Joined      Run                 NA
0200.5e20.0020  0200.5e10.0002  Car Deck 2 aft  2001:db8:1::12   Not Joined  Join                Heart beat timer expiry
0200.5e20.0030  NA                              203.0.113.3      Not Joined  -                   -
0200.5e20.0040  0200.5e10.0004  bare                             Joined
"""
RECORDS = (
    JoinRecord(
        base_mac="0200.5e20.0010",
        ethernet_mac="0200.5e10.0001",
        name="quay-ramp-01",
        ip="203.0.113.1",
        status="Joined",
        last_failure_phase="Run",
        last_disconnect_reason="NA",
        at=5,
    ),
    JoinRecord(
        base_mac="0200.5e20.0020",
        ethernet_mac="0200.5e10.0002",
        name="Car Deck 2 aft",
        ip="2001:db8:1::12",
        status="Not Joined",
        last_failure_phase="Join",
        last_disconnect_reason="Heart beat timer expiry",
        at=6,
    ),
    JoinRecord(
        base_mac="0200.5e20.0030",
        ip="203.0.113.3",
        status="Not Joined",
        last_failure_phase="-",
        last_disconnect_reason="-",
        at=7,
    ),
    JoinRecord(base_mac="0200.5e20.0040", ethernet_mac="0200.5e10.0004", name="bare", status="Joined", at=8),
)
HEADING = SUMMARY.split("\n")[2]
ANSWERS = [(COMMAND, SUMMARY)]


def summary(text: str) -> JoinSummary:
    facts = read(COMMAND, text)
    assert isinstance(facts, JoinSummary)
    return facts


def one(row: str) -> JoinRecord:
    (record,) = summary(f"Number of APs: 1\n{HEADING}\n{row}\n").aps
    return record


def test_every_row() -> None:
    facts = summary(SUMMARY)
    assert facts == JoinSummary(count=4, aps=RECORDS)
    assert facts.at == {"count": (1,), "aps": (5, 6, 7, 8)}


def test_every_dress() -> None:
    assert_reads_alike(COMMAND, SUMMARY)


def test_the_heading_may_repeat_and_its_columns_move() -> None:
    lines = SUMMARY.split("\n")
    wider = [line[:32] + "    " + line[32:] for line in lines[2:4]]
    moved = "\n".join([*lines[:6], "", *wider, *(line[:32] + "    " + line[32:] for line in lines[6:8])])
    assert [(ap.name, ap.ip, ap.status) for ap in summary(moved).aps] == [(r.name, r.ip, r.status) for r in RECORDS]


@pytest.mark.parametrize(
    ("row", "wanted"),
    [
        (
            "0200.5e20.0010  0200.5e10.0001  A name longer than its own column 203.0.113.1      Not Joined  "
            "Run                 Heart beat timer expiry",
            ("A name longer than its own column", "203.0.113.1", "Not Joined", "Run", "Heart beat timer expiry"),
        ),
        (
            "0200.5e20.0010  NA              A name longer than its own column 2001:db8::1 Not Joined Join DTLS alert "
            "from the AP",
            ("A name longer than its own column", "2001:db8::1", "Not Joined", "Join", "DTLS alert from the AP"),
        ),
        (
            "0200.5e20.0010  0200.5e10.0001  quay-ramp-01    2001:db8:aaaa:bbbb:cccc:dddd:eeee:1 Joined      NA   NA",
            ("quay-ramp-01", "2001:db8:aaaa:bbbb:cccc:dddd:eeee:1", "Joined", "NA", "NA"),
        ),
        (
            "0200.5e20.0010  A name without any address beside it 203.0.113.1 Joined",
            ("A name without any address beside it", "203.0.113.1", "Joined", None, None),
        ),
        (
            "0200.5e20.0010  0200.5e10.0001  A name longer than its own column 203.0.113.1 Joined      "
            "Image Download      None",
            ("A name longer than its own column", "203.0.113.1", "Joined", "Image Download", "None"),
        ),
    ],
)
def test_a_long_cell_may_push_the_others_out_of_their_columns(row: str, wanted: tuple[str | None, ...]) -> None:
    record = one(row)
    found = (record.name, record.ip, record.status, record.last_failure_phase, record.last_disconnect_reason)
    assert found == wanted
    assert record.base_mac == "0200.5e20.0010"
    assert record.ethernet_mac == ("0200.5e10.0001" if "0200.5e10.0001" in row else None)


def test_colons_in_addresses_of_a_row_out_of_its_columns() -> None:
    record = one("02:00:5e:20:00:10 02:00:5e:10:00:01 A name longer than its own column 203.0.113.1 Joined Run NA")
    assert (record.base_mac, record.ethernet_mac) == ("02:00:5e:20:00:10", "02:00:5e:10:00:01")
    assert (record.name, record.ip) == ("A name longer than its own column", "203.0.113.1")
    bare = one("02:00:5e:20:00:10 203.0.113.1 Not Joined Run NA")
    assert (bare.ethernet_mac, bare.name, bare.ip, bare.status) == (None, None, "203.0.113.1", "Not Joined")


def test_no_access_points_and_no_count() -> None:
    assert summary("Number of APs: 0\n") == JoinSummary(count=0)
    facts = summary(SUMMARY.replace("Number of APs: 4\n", ""))
    assert (facts.count, len(facts.aps)) == (None, 4)


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        (SUMMARY.replace("APs: 4", "APs: 5"), "the controller counts 5 access points, but 4 rows can be read"),
        (SUMMARY.replace("0200.5e20.0020", "0200.5e20.00~0"), "counts 4 access points, but 3 rows can be read"),
        (SUMMARY.replace("Base MAC", "B~se MAC"), "counts 4 access points, but 0 rows can be read"),
        (SUMMARY.replace("203.0.113.3 ", "203.0.113.~ "), "counts 4 access points, but 3 rows can be read"),
        (SUMMARY.replace("Number of APs: 4", "Number of APs: ~"), "1 of its lines can't be read"),
        (SUMMARY + "Number of APs: 3\n", "lines 1 and 9 contradict each other about the count"),
        (HEADING, "no line tells the number of access points, and no row"),
        (
            f"Number of APs: 1\n{HEADING}\n0200.5e20.0010 0200.5e10.0001 A long name 203.0.113.1 Joined~ NA NA\n",
            "counts 1 access points, but 0 rows",
        ),
        (
            f"Number of APs: 1\n{HEADING}\n0200.5e20.0010 0200.5e10.0001 A long name 203.0.113.1 Lost NA NA\n",
            "counts 1 access points, but 0 rows",
        ),
    ],
)
def test_a_summary_that_lost_something_is_unreadable(text: str, problem: str) -> None:
    with pytest.raises(Unreadable, match=problem):
        summary(text)


def test_no_loss_joins_an_access_point_or_hides_one() -> None:
    joined = {ap.base_mac for ap in RECORDS if ap.status == "Joined"}
    tried = 0
    for name, damaged in [*cut(SUMMARY), *shortened(SUMMARY), *garbled(SUMMARY)]:
        try:
            facts = summary(damaged)
        except Unreadable:
            continue
        tried += 1
        assert len(facts.aps) == 4, name
        now = {ap.base_mac for ap in facts.aps if ap.status == "Joined"}
        assert len(now) <= len(joined), name
    assert tried > 50


_WORDS = st.lists(st.from_regex(r"[A-Za-z][A-Za-z0-9_.-]{0,9}", fullmatch=True), min_size=1, max_size=4).map(" ".join)


@given(
    names=st.lists(_WORDS, min_size=1, max_size=5),
    ethernet_mac=st.sampled_from(["", "0200.5e10.0001"]),
    address=st.one_of(st.just(""), st.ip_addresses().map(str)),
    status=st.sampled_from(["Joined", "Not Joined", ""]),
    phase=st.sampled_from(["Run", "Join", "NA", "-", ""]),
    reason=st.one_of(st.just(""), _WORDS),
)
def test_a_table_is_read_back(
    names: list[str], ethernet_mac: str, address: str, status: str, phase: str, reason: str
) -> None:
    layout = "{:<17}{:<17}{:<48}{:<46}{:<12}{:<20}{}\n"
    titles = ("Base MAC", "Ethernet MAC", "AP Name", "IP Address", "Status")
    text = f"Number of APs: {len(names)}\n"
    text += layout.format(*titles, "Last Failure Phase", "Last Disconnect Reason")
    for name in names:
        text += layout.format("0200.5e20.0010", ethernet_mac, name, address, status, phase, reason)
    wanted = [(name, address or None, status or None, phase or None, reason or None) for name in names]
    found = [(ap.name, ap.ip, ap.status, ap.last_failure_phase, ap.last_disconnect_reason) for ap in summary(text).aps]
    assert found == wanted
