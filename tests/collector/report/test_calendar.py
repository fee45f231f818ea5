"""The iCalendar file as another library reads it (`ics`, which has its own grammar), and against RFC 5545's words."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from ics import Calendar, Event

from collector.plan.plan import Plan
from collector.report.calendar import calendar
from tests.collector.report.plan_sample import HOSTILE_PLAN, NARROW, NO_WINDOW, OPENS, QUAY, TOO_LONG, after


def text(*plans: Plan) -> str:
    written = calendar(plans)
    assert written is not None
    return written.decode("utf-8")


def events(*plans: Plan) -> dict[str, Event]:
    return {str(event.name): event for event in Calendar(text(*plans)).events}


def test_the_window_and_every_hold_point_stand_in_it_at_their_moments() -> None:
    found = events(QUAY)
    assert set(found) == {
        "quay: begin to prepare (expand, stage-aps) at the latest",
        "quay: window, to 17.12.4",
        *(
            f"quay: hold point after {id}"
            for id in (
                "reload-standby",
                "synchronise",
                "switch-over",
                "reload-other",
                "restart-aps",
                "validate",
                "commit",
            )
        ),
    }
    window = found["quay: window, to 17.12.4"]
    assert (window.begin.datetime, window.end.datetime) == (OPENS, OPENS + timedelta(hours=4))
    hold = found["quay: hold point after reload-other"]
    assert (hold.begin.datetime, hold.end.datetime) == (after(63), after(72))
    assert "Turn back when: The other member doesn't come back by the last moment" in str(hold.description)
    assert "Turning back: Begin it by 01:50." in str(hold.description)
    assert "agree the outage beforehand" in str(window.description)
    assert str(window.location) == "Harbour Quay"
    assert found["quay: begin to prepare (expand, stage-aps) at the latest"].begin.datetime == after(-90)


def test_moments_are_right_across_a_change_of_daylight_saving() -> None:
    # Clocks go back on 31 October 2027 at 03:00 CEST, 01:00 UTC (directive 2000/84/EC).
    summer, winter = "2027-10-31T01:00:00+02:00", "2027-10-31T05:00:00+01:00"
    plan = replace(QUAY, window_start=datetime.fromisoformat(summer), window_end=datetime.fromisoformat(winter))
    window = events(plan)["quay: window, to 17.12.4"]
    assert window.begin.datetime == datetime(2027, 10, 30, 23, tzinfo=UTC)
    assert window.duration == timedelta(hours=5)


def test_stages_without_times_have_no_hold_point() -> None:
    assert "quay: hold point after validate" not in events(NARROW)
    assert "quay: hold point after restart-aps" in events(NARROW)


def test_without_any_window_there_is_no_calendar() -> None:
    assert calendar([NO_WINDOW]) is None
    assert len(events(NO_WINDOW, QUAY)) == len(events(QUAY))


def test_a_moved_window_keeps_its_identity_and_another_pair_has_its_own() -> None:
    moved = replace(QUAY, window_start=after(1440), window_end=after(1680))
    other = replace(QUAY, pair=replace(QUAY.pair, name="pontoon"))

    def identities(plan: Plan) -> list[str]:
        return sorted(event.uid for event in Calendar(text(plan)).events)

    assert identities(moved) == identities(QUAY)
    assert not set(identities(other)) & set(identities(QUAY))
    assert len(set(identities(QUAY))) == 9


def test_lines_are_those_of_rfc_5545() -> None:
    written = text(QUAY, HOSTILE_PLAN)
    # 3.1: lines end in CR LF and have at most 75 octets; 3.3.11: no control character in a text.
    assert written.endswith("END:VCALENDAR\r\n")
    lines = written.split("\r\n")
    assert max(len(line.encode()) for line in lines) <= 75
    assert not re.search(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]", written)
    assert not any("\n" in line or "\r" in line for line in lines)
    # 3.6: the two required properties of a calendar; 3.6.1: those of an event.
    assert lines[:3] == ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//readypair//plan//EN"]
    events = written.count("BEGIN:VEVENT\r\n")
    assert events == 18
    assert all(written.count(f"\r\n{name}:") == events for name in ("UID", "DTSTAMP", "DTSTART"))


def test_what_a_controller_or_an_inventory_says_is_only_text() -> None:
    plan = replace(TOO_LONG, pair=replace(TOO_LONG.pair, name="quay\r\nEND:VEVENT\r\nBEGIN:VEVENT", site="a;b,c\\d"))
    found = events(plan)
    assert len(found) == 9
    assert all("END:VEVENT" in name for name in found)
    assert {str(event.location) for event in found.values()} == {"a;b,c\\d"}
