"""Who of the access points is back, and on which image."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import partial

import pytest

from collector.comparing.comparison import Difference, Kind, Topic
from tests.collector.comparing.played import after, before, compared, edited, of_topic, troubles
from tests.demo_fleet import with_capture

SUMMARY, IMAGE = "show ap summary", "show ap image"
ACTIVE, FIRST = "quay-b", "quay-ramp-one-01"


def without(text: str, *names: str) -> str:
    """A table without these rows, and without them in its count."""
    rows = [line for line in text.splitlines(keepends=True) if line.startswith(names)]
    for row in rows:
        text = text.replace(row, "")
    return re.sub(r"(Number of APs\s*: )(\d+)", lambda found: f"{found[1]}{int(found[2]) - len(rows)}", text)


def replaced(old: str, by: str, text: str) -> str:
    return text.replace(old, by, 1)


def of(kind: Kind, topic: Topic, *edits: tuple[str, str, str]) -> list[Difference]:
    """What is found where the answers after are edited so: command, what is replaced, by what."""
    new = after()
    for command, old, by in edits:
        new = edited(new, ACTIVE, command, partial(replaced, old, by))
    return [each for each in of_topic(compared(before(), new), topic) if each.kind is kind]


def test_who_is_missing_is_named_with_both_sides_lines() -> None:
    names = (FIRST, "quay-car-deck-02")
    new = edited(after(), ACTIVE, SUMMARY, lambda text: without(text, *names))
    (told,) = [each for each in of_topic(compared(before(), new), Topic.ACCESS_POINTS) if each.kind is Kind.FAULT]
    assert told.statement == "2 access points of 24 are missing: quay-car-deck-02, quay-ramp-one-01."
    assert told.names == ("quay-car-deck-02", FIRST)
    assert [(each.member, each.command) for each in told.before] == [("quay-a", SUMMARY)]
    assert [line.split()[0] for line in told.before[0].lines[1:]] == [FIRST, "quay-car-deck-02"]
    assert {(each.member, each.command) for each in told.after} >= {(ACTIVE, SUMMARY)}
    assert told.remedy


def test_of_many_missing_ten_are_named_and_all_are_kept() -> None:
    new = edited(after(), ACTIVE, SUMMARY, lambda text: without(text, "quay-"))
    (told,) = [each for each in of_topic(compared(before(), new), Topic.ACCESS_POINTS) if each.kind is Kind.FAULT]
    assert told.statement.count(",") == 9
    assert f" and {len(told.names) - 10} more" in told.statement


def test_who_came_in_somebodys_place_is_to_explain() -> None:
    (told,) = of(
        Kind.TO_EXPLAIN,
        Topic.ACCESS_POINTS,
        (SUMMARY, "0200.5e10.0001  0200.5e80.0010", "0200.5e10.9991  0200.5e80.9990"),
    )
    assert told.statement == f"1 access point is another device of the same name: {FIRST}."


def test_who_is_new_is_to_explain() -> None:
    old = edited(before(), "quay-a", SUMMARY, lambda text: without(text, FIRST))
    (told,) = [e for e in of_topic(compared(old, after()), Topic.ACCESS_POINTS) if e.kind is Kind.TO_EXPLAIN]
    assert told.statement == f"1 access point is new: {FIRST}."


def test_who_is_listed_but_not_registered_is_not_back() -> None:
    away = ("Registered  ", "Not Joined  ")
    (told,) = of(Kind.FAULT, Topic.ACCESS_POINTS, (SUMMARY, *away))
    assert told.statement == f"1 access point is not registered now: {FIRST}."
    old = edited(before(), "quay-a", SUMMARY, lambda text: text.replace(*away, 1))
    new = edited(after(), ACTIVE, SUMMARY, lambda text: text.replace(*away, 1))
    assert troubles(compared(old, new)) == {Topic.ACCESS_POINTS: {Kind.TO_EXPLAIN}}


@pytest.mark.parametrize(
    ("image", "kind", "words"),
    [
        ("17.9.4.27", Kind.FAULT, f"1 access point is not on 17.12.4 but 1 on 17.9.4: {FIRST}."),
        ("N/A      ", Kind.UNKNOWN, f"The image of 1 access point isn't shown: {FIRST}."),
    ],
)
def test_who_has_another_image(image: str, kind: Kind, words: str) -> None:
    def other(text: str) -> str:
        return re.sub(rf"(?m)^({FIRST} +)(17\.12\.4\S*)", lambda f: f"{f[1]}{image[: len(f[2])]:<{len(f[2])}}", text)

    found = compared(before(), edited(after(), ACTIVE, IMAGE, other))
    assert troubles(found) == {Topic.AP_IMAGES: {kind}}
    assert [each.statement for each in of_topic(found, Topic.AP_IMAGES)] == [words]


def test_an_image_shows_no_letter() -> None:
    assert Topic.AP_IMAGES not in troubles(compared(before(), before(), "17.9.4a"))


def test_a_row_that_is_lost_makes_all_unknown() -> None:
    found = compared(before(), edited(after(), ACTIVE, SUMMARY, lambda text: re.sub(rf"(?m)^{FIRST}.*\n", "", text)))
    assert troubles(found)[Topic.ACCESS_POINTS] == {Kind.UNKNOWN}


def test_a_table_of_which_nobody_saw_the_end_is_unknown() -> None:
    def uncounted(text: str) -> str:
        return re.sub(r"Number of APs: \d+\n", "", text)

    new = edited(after(), ACTIVE, SUMMARY, uncounted)
    assert Topic.ACCESS_POINTS not in troubles(compared(before(), new))
    own = next(member for member in new.members if member.name == ACTIVE).captures[SUMMARY]
    undated = with_capture(new, replace(own, started=None, seconds=None))
    assert troubles(compared(before(), undated))[Topic.ACCESS_POINTS] == {Kind.UNKNOWN}
