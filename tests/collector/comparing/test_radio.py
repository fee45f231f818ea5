"""Clients, radios and WLANs before and after."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from collector.comparing.comparison import Comparison, Difference, Kind, Topic
from collector.comparing.figures import Figures, figures
from collector.snapshot import Snapshot, member_snapshot
from tests.collector.comparing.played import after, before, compared, edited, of_topic, troubles

FIVE, TWO, WLANS = "show ap dot11 5ghz summary", "show ap dot11 24ghz summary", "show wlan summary"
ACTIVE = "quay-b"


def with_clients(snapshot: Snapshot, member: str, number: int) -> Snapshot:
    def edit(text: str) -> str:
        return re.sub(r"Current Clients : \d+", f"Current Clients : {number:03d} ", text)

    return edited(snapshot, member, "show wireless summary", edit)


def at(snapshot: Snapshot, moment: str) -> Snapshot:
    """The snapshot as if it had been taken at another time; its clocks are no matter here."""
    taken = datetime.fromisoformat(moment)
    first, second = (
        member_snapshot(each.name, [replace(capture, started=taken) for capture in each.captures.values()])
        for each in snapshot.members
    )
    return replace(snapshot, members=(first, second), moment=taken + timedelta(seconds=20))


def clients(old: Snapshot, new: Snapshot, *counts: Snapshot) -> Difference:
    (found,) = of_topic(compared(old, new, counts=counts), Topic.CLIENTS)
    return found


def radios(edit: str, to: str, command: str = FIVE) -> Comparison:
    return compared(before(), edited(after(), ACTIVE, command, lambda text: text.replace(edit, to, 1)))


@pytest.mark.parametrize(("number", "kind"), [(149, Kind.IN_ORDER), (148, Kind.FAULT), (0, Kind.FAULT)])
def test_the_policys_share_of_212_clients_is_148_and_a_bit(number: int, kind: Kind) -> None:
    # 70% of 212 are 148.4.
    new = at(with_clients(after(), ACTIVE, number), "2027-02-07T23:10:00+01:00")
    found = clients(before(), new)
    assert found.kind is kind
    assert "the policy asks for 70%" in found.statement


def test_more_clients_than_before_are_no_trouble() -> None:
    assert clients(before(), with_clients(after(), ACTIVE, 900)).kind is Kind.IN_ORDER


def test_a_baseline_that_counted_nobody_asks_for_nobody() -> None:
    found = clients(with_clients(before(), "quay-a", 0), with_clients(after(), ACTIVE, 0))
    assert (found.kind, found.statement) == (Kind.IN_ORDER, "0 clients now, 0 at 23:00 on 2027-02-06.")


@pytest.mark.parametrize(
    ("hour", "kind"),
    [
        ("03:30", Kind.TO_EXPLAIN),
        ("22:24", Kind.TO_EXPLAIN),
        ("22:25", Kind.FAULT),
        ("00:25", Kind.FAULT),
        ("00:26", Kind.TO_EXPLAIN),
    ],
)
def test_fewer_clients_are_a_fault_by_a_count_of_about_the_same_hour_only(hour: str, kind: Kind) -> None:
    new = at(with_clients(after(), ACTIVE, 20), "2027-02-07T23:25:00+01:00")
    found = clients(at(before(), f"2027-02-05T{hour}:00+01:00"), new)
    assert found.kind is kind
    assert f"212 at {hour} on 2027-02-05" in found.statement


def test_of_several_baselines_the_one_of_the_nearest_hour_counts() -> None:
    new = at(with_clients(after(), ACTIVE, 20), "2027-02-07T03:00:00+01:00")
    night = with_clients(at(before(), "2027-01-30T03:10:00+01:00"), "quay-a", 25)
    evening = at(before(), "2027-02-06T23:00:00+01:00")
    found = clients(evening, new, night, evening)
    assert (found.kind, found.statement[:41]) == (Kind.IN_ORDER, "20 clients now, 25 at 03:10 on 2027-01-30")
    assert clients(evening, new, evening).kind is Kind.TO_EXPLAIN


def test_hours_are_those_of_the_pairs_own_zone() -> None:
    found = clients(at(before(), "2027-02-06T22:30:00+00:00"), after())
    assert "212 at 23:30 on 2027-02-06" in found.statement


def test_a_nearest_baseline_that_does_not_tell_is_unknown() -> None:
    mute = edited(before(), "quay-a", "show wireless summary", lambda text: text.replace("Current Clients", "Current"))
    assert clients(mute, after()).kind is Kind.UNKNOWN
    assert clients(before(), edited(after(), ACTIVE, "show wireless summary", lambda text: "")).kind is Kind.UNKNOWN


@pytest.mark.parametrize(
    ("row", "to", "kind", "words"),
    [
        ("1     Enabled      Up  ", "1     Enabled      Down", Kind.FAULT, "1 radio that was up before: down: quay-"),
        ("1     Enabled      Up  ", "1     Disabled     Down", Kind.TO_EXPLAIN, "switched off: quay-"),
        ("1     Enabled      Up  ", "1     Enabled          ", Kind.UNKNOWN, "listed without a state: quay-"),
    ],
)
def test_a_radio_that_is_not_up_any_more(row: str, to: str, kind: Kind, words: str) -> None:
    found = radios(row, to)
    assert troubles(found) == {Topic.RADIOS: {kind}}
    (told,) = [each for each in of_topic(found, Topic.RADIOS) if each.kind is kind]
    assert words in told.statement
    assert told.names == ("quay-ramp-one-01 slot 1",)
    assert [len(side) for side in (told.before, told.after)] == [1, 1]


def test_a_radio_that_is_gone() -> None:
    def without(text: str) -> str:
        row = next(line for line in text.splitlines(keepends=True) if re.match(r"quay-ramp-one-05 .* 2 ", line))
        return re.sub(r"(: )28", r"\g<1>27", text.replace(row, ""))

    found = compared(before(), edited(after(), ACTIVE, FIVE, without))
    (told,) = [each for each in of_topic(found, Topic.RADIOS) if each.kind is Kind.FAULT]
    assert told.names == ("quay-ramp-one-05 slot 2",)


def test_a_radio_that_was_down_before_may_be_down() -> None:
    def down(text: str) -> str:
        return text.replace("1     Enabled      Up  ", "1     Enabled      Down", 1)

    found = compared(edited(before(), "quay-a", FIVE, down), edited(after(), ACTIVE, FIVE, down))
    assert Topic.RADIOS not in troubles(found)


def test_the_radios_of_a_missing_access_point_are_no_news_and_a_renamed_ones_are_known() -> None:
    def renamed(text: str) -> str:
        return text.replace("quay-ramp-one-01", "quay-ramp-two-01")

    new = after()
    for command in ("show ap summary", "show ap image", FIVE, TWO):
        new = edited(new, ACTIVE, command, renamed)
    found = compared(before(), new)
    assert troubles(found) == {Topic.ACCESS_POINTS: {Kind.TO_EXPLAIN}}
    (told,) = [each for each in of_topic(found, Topic.ACCESS_POINTS) if each.kind is Kind.TO_EXPLAIN]
    assert told.statement == "1 access point has another name: quay-ramp-one-01 is quay-ramp-two-01."


@pytest.mark.parametrize(
    ("row", "to", "kind", "words"),
    [
        ("UP      [WPA2][802", "DOWN    [WPA2][802", Kind.FAULT, "1 WLAN is disabled now: crew"),
        ("DOWN    [WPA2][PSK", "UP      [WPA2][PSK", Kind.TO_EXPLAIN, "1 WLAN is enabled now: crane-telemetry"),
        ("1     crew  ", "1     crews ", Kind.TO_EXPLAIN, "1 WLAN is named otherwise: crews"),
        ("1     crew  ", "9     crew  ", Kind.FAULT, "1 WLAN is gone: crew"),
        ("UP      [WPA2][802", "        [WPA2][802", Kind.UNKNOWN, "1 WLAN is listed without a status: crew"),
    ],
)
def test_wlans(row: str, to: str, kind: Kind, words: str) -> None:
    found = compared(before(), edited(after(), ACTIVE, WLANS, lambda text: text.replace(row, to, 1)))
    assert kind in troubles(found)[Topic.WLANS]
    assert any(words in each.statement for each in of_topic(found, Topic.WLANS) if each.kind is kind)


def test_the_figures_of_a_baseline() -> None:
    assert figures(before()) == Figures(24, 212, 52, 52, 3, 2)
    mute = edited(before(), "quay-a", "show redundancy", lambda text: "")
    assert figures(mute) == Figures(None, None, None, None, None, None)


def test_the_radios_of_a_missing_access_point_are_no_news() -> None:
    name, new = "quay-ramp-one-01", after()
    for command in ("show ap summary", "show ap image", FIVE, TWO):
        new = edited(new, ACTIVE, command, lambda text: counted_without(text, name))
    found = compared(before(), new)
    assert troubles(found) == {Topic.ACCESS_POINTS: {Kind.FAULT}}
    (told,) = of_topic(found, Topic.RADIOS)
    assert told.statement == "50 radios that were up are up, those of missing access points aside."


def counted_without(text: str, name: str) -> str:
    """A table without the rows of an access point; what counts access points counts one less."""
    rows = [line for line in text.splitlines(keepends=True) if line.startswith(name)]
    for row in rows:
        text = text.replace(row, "")
    return re.sub(
        r"(?m)^((?:Total )?[Nn]umber of [A-Za-z']+ *: )(\d+)", lambda f: f"{f[1]}{int(f[2]) - 1}", text, count=1
    )
