"""Every kind of change has words that say what it is about, how it is and how it was."""

from __future__ import annotations

from collections import Counter
from datetime import date, timedelta
from typing import Any

import pytest

from collector.finding import Verdict
from collector.nights.change import Change, Kind
from collector.nights.timeline import FleetNight, Moved, Moves, Stretch
from collector.report import change_wording as words
from collector.report.change_wording import Line

NIGHT = date(2027, 1, 31)
BEFORE = NIGHT - timedelta(days=1)


def change(kind: Kind, subject: str = "", before: str = "", after: str = "", **more: Any) -> Change:
    return Change("quay", NIGHT, more.pop("since", BEFORE), kind, subject, before, after, **more)


def line(*changes: Change) -> Line:
    [found] = words.lines(changes)
    return found


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (change(Kind.VERDICT, "", "go", "no-go", worse=True), Line("verdict", "no-go", "go", worse=True)),
        (change(Kind.TARGET, "", "17.9.5", "17.12.4"), Line("target", "17.12.4", "17.9.5")),
        (change(Kind.ROLE, "", "a active", "b active"), Line("switchover", "b active", "a active")),
        (change(Kind.RELEASE, "a", "17.9.5", "17.12.4"), Line("a, release", "17.12.4", "17.9.5")),
        (change(Kind.RELEASE, "", "17.9.5", "17.12.4"), Line("both members, release", "17.12.4", "17.9.5")),
        (change(Kind.INSTALL_MODE, "a", "install", "bundle"), Line("a, install mode", "bundle", "install")),
        (change(Kind.ROM_MONITOR, "a", "16.12(3r)", "17.12.1r"), Line("a, ROM monitor", "17.12.1r", "16.12(3r)")),
        (change(Kind.BOOT, "a", "bootflash:x", ""), Line("a, boot variable", "empty", "bootflash:x")),
        (change(Kind.INSTALL_STATE, "a", "", "IMG I 2"), Line("a, installed software", came="IMG I 2")),
        (change(Kind.NEIGHBOURS, "a", "up", "down"), Line("a, redundancy link", came="down", went="up")),
        (change(Kind.CERTIFICATE, "a", "x", ""), Line("a, certificate", went="x")),
        (change(Kind.REACHED, "a", worse=True), Line("a", "no answer", worse=True)),
        (change(Kind.REACHED, "", worse=False), Line("both members", "answers again", worse=False)),
        (change(Kind.FINDING, "outlook", "", "block", worse=True), Line("outlook", "block", "not asked", worse=True)),
        (change(Kind.FINDING, "outlook", "block", ""), Line("outlook", "not asked", "block")),
        (
            change(Kind.ACCESS_POINTS, "", "3", "2", gained=("hall-9",), lost=("hall-1", "hall-2")),
            Line("access points", "2", "3", "hall-9", "hall-1, hall-2"),
        ),
    ],
    ids=lambda each: each.kind.value if isinstance(each, Change) else "",
)
def test_a_change_in_words(found: Change, said: Line) -> None:
    assert line(found) == said


def test_every_kind_has_a_name() -> None:
    assert all(words.subject(kind, "flash-space") for kind in Kind)


def test_findings_that_changed_alike_are_one_line() -> None:
    alike = [change(Kind.FINDING, id, "pass", "unknown", worse=True) for id in ("clock", "pair-link")]
    other = change(Kind.FINDING, "flash-space", "pass", "block", worse=True)
    assert [(each.about, each.now) for each in words.lines([other, *alike])] == [
        ("flash-space", "block"),
        ("clock, pair-link", "unknown"),
    ]


def test_only_what_was_unknown_for_longer_than_the_rest_says_so() -> None:
    longer = change(Kind.RELEASE, "a", "17.9.5", "17.12.4", since=date(2027, 1, 12))
    assert [each.since for each in words.lines([change(Kind.TARGET, "", "x", "y"), longer])] == [
        "",
        "last known on 2027-01-12",
    ]
    assert line(longer).said == ", was 17.9.5"
    assert words.lines([change(Kind.TARGET, "", "x", "y"), longer])[1].said == ", was 17.9.5 (last known on 2027-01-12)"


def test_of_many_access_points_the_first_are_named() -> None:
    names = tuple(f"hall-{number:04}" for number in range(1200))
    found = line(change(Kind.ACCESS_POINTS, "", "0", "1200", gained=names))
    assert found.came == f"{', '.join(names[:10])} and 1,190 more"


def test_nights_without_a_sweep_between_others_are_counted() -> None:
    def stretch(nights: int) -> Stretch:
        return Stretch(Verdict.GO, date(2027, 1, 1), date(2027, 1, 14), nights)

    assert (words.unswept(stretch(14)), words.unswept(stretch(12))) == ("", ", and 2 without a sweep")


def test_verdicts_are_not_what_changed_most() -> None:
    subjects = Counter({(Kind.VERDICT, ""): 9, (Kind.RELEASE, ""): 2, (Kind.FINDING, "clock"): 2})
    assert words.most(subjects, 1) == "clock (2)"
    assert words.most_often([FleetNight(NIGHT, subjects=subjects)]) == ["What changed most: clock (2), release (2)"]
    assert words.most(Counter(), 3) == ""


@pytest.mark.parametrize(
    ("verdicts", "sentence"),
    [
        ([], "2027-01-31: nothing changed on 7 pairs"),
        ([(Verdict.GO, Verdict.GO)], "2027-01-31: 1 change on 1 of 7 pairs, and no verdict is another than before"),
        (
            [(Verdict.GO, Verdict.NO_GO), (Verdict.NO_GO, Verdict.GO), (Verdict.UNDECIDED, Verdict.GO)],
            "2027-01-31: 3 changes on 3 of 7 pairs, 1 of them worse, 2 of them better than before",
        ),
    ],
)
def test_how_much_changed_in_a_sentence(verdicts: list[tuple[Verdict, Verdict]], sentence: str) -> None:
    moved = (Moved(NIGHT, (change(Kind.TARGET, "", "x", "y"),)),)
    found = [Moves("quay", "Harbour Quay", was, now, moved) for was, now in verdicts]
    assert words.total(found, 7, NIGHT, NIGHT) == sentence
