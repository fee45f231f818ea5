"""Times as controllers print them."""

from __future__ import annotations

from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parsers.printed_time import MONTHS, PrintedTime, parse

_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


@pytest.mark.parametrize(
    ("text", "time", "zone"),
    [
        ("21:02:44 CET Fri Feb 5 2027", datetime(2027, 2, 5, 21, 2, 44), "CET"),
        ("21:02:44.132 CET Fri Feb  5 2027", datetime(2027, 2, 5, 21, 2, 44, 132_000), "CET"),
        (" 9:02:44 +01:00 Fri Feb 05 2027 ", datetime(2027, 2, 5, 9, 2, 44), "+01:00"),
        ("10:22:31 CET Jan 5 2034", datetime(2034, 1, 5, 10, 22, 31), "CET"),
        ("10:22:31 Thu Jan 5 2034", datetime(2034, 1, 5, 10, 22, 31), None),
        ("10:22:31 Jan 5 2034", datetime(2034, 1, 5, 10, 22, 31), None),
    ],
)
def test_a_time_with_and_without_its_parts(text: str, time: datetime, zone: str | None) -> None:
    assert parse(text) == PrintedTime(time, zone)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "21:02:44",
        "21:02:44 CET Fri Feb 5 202",
        "21:02:44 CET Fri Feb 5 20270",
        "21:02:44 CET Fri Feb 30 2027",
        "21:02:44 CET Fri Feb 5 0000",
        "24:02:44 CET Fri Feb 5 2027",
        "21:02 CET Fri Feb 5 2027",
        "21:02:44 CET Frx Feb 5 2027",
        "21:02:44 C~T Fri Feb 5 2027",
        "21:02:44 CET Fri Fxb 5 2027",
        "21:02:44 CET Fri Feb 5 2027 by operator",
        "٢1:02:44 CET Fri Feb 5 2027",
    ],
)
def test_what_is_no_whole_time_is_none(text: str) -> None:
    assert parse(text) is None


@given(st.datetimes(), st.sampled_from(["", " CET", " UTC", " GMT+1", " +0100"]), st.booleans())
def test_a_printed_time_is_read_back(time: datetime, zone: str, weekday: bool) -> None:
    day = f" {_WEEKDAYS[time.weekday()]}" if weekday else ""
    clock = f"{time:%H:%M:%S}.{time.microsecond:06}"
    text = f"{clock}{zone}{day} {MONTHS[time.month - 1]} {time.day} {time.year:04}"
    assert parse(text) == PrintedTime(time, zone.strip() or None)
