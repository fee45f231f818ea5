"""`show ntp status` and `show clock`."""

from __future__ import annotations

from datetime import datetime

import pytest

from parsers import Unreadable, read
from parsers.facts.clock import Clock, NtpStatus
from tests.parsers.dressing import assert_reads_alike, cut, garbled, shortened

NTP = "show ntp status"
CLOCK = "show clock"

SYNCHRONISED = """\
Clock is synchronized, stratum 3, reference is 192.0.2.1
reference time is EB2A5C31.4DD2F1AA (21:12:01.304 CET Fri Feb 5 2027)
clock offset is -0.4321 msec, root delay is 12.34 msec
loopfilter state is 'CTRL' (Normal Controlled Loop), drift is 0.000003842 s/s
"""
UNSYNCHRONISED = """\
Clock is unsynchronized, stratum 16, no reference clock
nominal freq is 250.0000 Hz, actual freq is 250.0000 Hz, precision is 2**10
clock offset is 0.0000 msec, root delay is 0.00 msec
"""
OFF = "%NTP is not enabled.\n"
TIME = "*21:14:09.132 CET Fri Feb 5 2027\n"
ANSWERS = [(NTP, SYNCHRONISED), (NTP, UNSYNCHRONISED), (NTP, OFF), (CLOCK, TIME)]


def ntp(text: str) -> NtpStatus:
    facts = read(NTP, text)
    assert isinstance(facts, NtpStatus)
    return facts


def clock(text: str) -> Clock:
    facts = read(CLOCK, text)
    assert isinstance(facts, Clock)
    return facts


def test_a_synchronised_clock() -> None:
    facts = ntp(SYNCHRONISED)
    assert facts == NtpStatus(synchronised=True, stratum=3, reference="192.0.2.1", offset_ms=-0.4321)
    assert facts.at == {"synchronised": (1,), "stratum": (1,), "reference": (1,), "offset_ms": (3,)}


def test_a_clock_that_is_not_synchronised() -> None:
    assert ntp(UNSYNCHRONISED) == NtpStatus(synchronised=False, stratum=16, offset_ms=0.0)


@pytest.mark.parametrize("text", [OFF, "NTP is not enabled.", "% NTP is not enabled"])
def test_without_ntp_nothing_is_synchronised(text: str) -> None:
    facts = ntp(text)
    assert facts == NtpStatus(synchronised=False)
    assert facts.at == {"synchronised": (1,)}


@pytest.mark.parametrize("reference", ["2001:db8::1", ".LOCL.", "127.127.1.1"])
def test_any_reference(reference: str) -> None:
    assert ntp(SYNCHRONISED.replace("192.0.2.1", reference)).reference == reference.rstrip(".")


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        (SYNCHRONISED.replace("Clock is", "Cl~ck is"), "no line tells whether the clock is synchronised"),
        (UNSYNCHRONISED.replace("unsync", "~~sync"), "no line tells whether the clock is synchronised"),
        ("Clock is synchronized, stratum 1", "no line tells whether the clock is synchronised"),
        (SYNCHRONISED + UNSYNCHRONISED, "lines 1 and 5 contradict each other about the synchronised"),
        (SYNCHRONISED + OFF, "lines 1 and 5 contradict each other about the synchronised"),
    ],
)
def test_what_does_not_tell_whether_is_unreadable(text: str, problem: str) -> None:
    with pytest.raises(Unreadable, match=problem):
        ntp(text)


@pytest.mark.parametrize("text", [SYNCHRONISED, UNSYNCHRONISED, OFF])
def test_no_loss_synchronises_a_clock_or_moves_it(text: str) -> None:
    before = ntp(text)
    for name, damaged in [*cut(text), *shortened(text), *garbled(text)]:
        try:
            after = ntp(damaged)
        except Unreadable:
            continue
        assert after.synchronised is before.synchronised, name
        assert after.offset_ms in (before.offset_ms, None), name
        assert after.stratum in (before.stratum, None), name


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        (TIME, Clock(time=datetime(2027, 2, 5, 21, 14, 9, 132_000), zone="CET", mark="*")),
        (
            ".21:14:09.132 UTC Fri Feb 5 2027",
            Clock(time=datetime(2027, 2, 5, 21, 14, 9, 132_000), zone="UTC", mark="."),
        ),
        ("21:14:09 CET Fri Feb 5 2027", Clock(time=datetime(2027, 2, 5, 21, 14, 9), zone="CET", mark="")),
        ("21:14:09 Fri Feb 5 2027", Clock(time=datetime(2027, 2, 5, 21, 14, 9), mark="")),
        (
            "21:14:09 CET Fri Feb 5 2027\nTime source is NTP\nSummer time starts 02:00:00 CET Sun Mar 28 2027\n",
            Clock(time=datetime(2027, 2, 5, 21, 14, 9), zone="CET", mark=""),
        ),
        (
            "quay-a#show clock\nLoad for five secs: 3%/0%\nTime source is NTP, 21:14:08.000 CET Fri Feb 5 2027\n\n"
            + TIME,
            Clock(time=datetime(2027, 2, 5, 21, 14, 9, 132_000), zone="CET", mark="*"),
        ),
    ],
)
def test_the_time(text: str, wanted: Clock) -> None:
    assert clock(text) == wanted


def test_where_the_time_was_read() -> None:
    assert clock("\n" + TIME).at == {"time": (2,), "zone": (2,), "mark": (2,)}


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("~" + TIME, "line 1 tells no time"),
        (TIME.replace("Feb", "F~b"), "no line tells the time"),
        (TIME.replace("2027", "202"), "no line tells the time"),
        (TIME + TIME[1:], "lines 1 and 2 contradict each other about the mark"),
        (TIME + TIME.replace("09.132", "10.132"), "lines 1 and 2 contradict each other about the time"),
        (TIME + "~~~~", "line 2 tells no time"),
        ("Summer time starts 02:00:00 CET Sun Mar 28 2027", "no line tells the time"),
    ],
)
def test_what_tells_no_time_is_unreadable(text: str, problem: str) -> None:
    with pytest.raises(Unreadable, match=problem):
        clock(text)


def test_no_garbling_moves_the_clock_or_trusts_it() -> None:
    for name, damaged in garbled(TIME):
        try:
            after = clock(damaged)
        except Unreadable:
            continue
        assert (after.time, after.mark) == (clock(TIME).time, "*"), name


@pytest.mark.parametrize(("command", "text"), ANSWERS)
def test_every_dress(command: str, text: str) -> None:
    assert_reads_alike(command, text)
