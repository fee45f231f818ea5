from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta, timezone
from random import Random
from typing import Any

import pytest

from collector import rules
from collector.demo import EVENING
from collector.finding import Answer, Finding, Status, Verdict
from collector.nights.past import Past, Point
from collector.rules.outlook import RULE, judge_after
from collector.rules.rule import Found
from collector.snapshot import Snapshot
from collector.verdict import verdict, weigh
from collector.waiving import waive
from inventory.pairs import Window
from inventory.waivers import Waiver
from parsers.facts.flash import Directory, File
from parsers.facts.redundancy import Chassis, Redundancy
from tests.collector.rules.building import (
    CUT_OFF,
    IMAGE,
    MISSING,
    REFUSED,
    UNREADABLE,
    Answers,
    Lost,
    changed,
    healthy,
    policy,
    snapshot,
    told,
    unreached,
)

OWN, PEER = "dir bootflash:", "dir stby-bootflash:"
DAY = timedelta(days=1)
MB = 10**6
NEEDED = 3 * IMAGE.bytes
# Ten nights from the evening on which everything is judged.
WINDOW = Window(EVENING + 10 * DAY, 240)


def flash(free: int | None, *, listed: bool = True) -> Directory:
    """With so many bytes free and nothing staged."""
    files = (File(name="packages.conf", bytes=6_723, at=2),) if listed else None
    return Directory(bytes_total=26_458_804_224, bytes_free=free, files=files, at={"bytes_free": (9,)} if free else {})


def nights(now: int, a_night: float, count: int = 21, noise: int = 0) -> tuple[Point, ...]:
    """The nights before this one, down to `now`, each with normally distributed noise."""
    random = Random(5)
    return tuple(
        Point(EVENING - left * DAY, round(now + a_night * left + random.gauss(0, noise)), NEEDED)
        for left in range(count - 1, 0, -1)
    )


def pair(
    a: Sequence[Point] = (),
    b: Sequence[Point] = (),
    *,
    free: int = 4_060 * MB,
    first: Answers | None = None,
    second: Answers | None = None,
    window: Window | None = WINDOW,
    **more: Any,
) -> Snapshot:
    """The pair with these earlier nights; both members have `free` bytes tonight where they don't say otherwise."""
    mine = {**healthy(1), OWN: flash(free), PEER: flash(free)}
    others = {**healthy(2), OWN: flash(free)}
    described = snapshot({**mine, **(first or {})}, {**others, **(second or {})}, window=window, **more)
    flashes = {name: tuple(points) for name, points in (("quay-a", a), ("quay-b", b)) if points}
    return replace(described, past=Past(flashes))


def judged(described: Snapshot, **of_policy: Any) -> Answer:
    return RULE.judge(described, policy(**of_policy))


def test_what_falls_short_before_the_window_is_trouble_with_figures() -> None:
    found = judged(pair(nights(4_060 * MB, 0), nights(4_060 * MB, 41 * MB, noise=30 * MB)))
    assert found.status is Status.BLOCK
    assert found.statement == (
        "free flash of quay-b falls by 39.3 MB a night (36.7 MB to 41.7 MB by 21 nights), to about 3.67 GB "
        "(3.63 GB to 3.73 GB) of the 3.75 GB needed on 2027-02-15, and falls short on 2027-02-13 "
        "(2027-02-13 to 2027-02-15)."
    )
    assert told(found.evidence) == {("quay-b", OWN): (9,)}
    assert "before that date" in found.remedy
    assert "`" not in found.remedy


def test_a_site_may_weigh_it_as_a_block() -> None:
    described = pair(nights(4_060 * MB, 41 * MB), nights(4_060 * MB, 41 * MB))
    by_default = {each.rule: each for each in rules.judge(described, policy())}
    assert by_default["outlook"].status is Status.CAUTION
    assert verdict(tuple(by_default.values())) is Verdict.GO
    assert by_default["outlook"].statement.startswith("Free flash of quay-a falls by 41 MB a night")
    assert verdict(rules.judge(described, policy(rules={"outlook": "block"}))) is Verdict.NO_GO


def test_both_members_are_told_of() -> None:
    said = judged(pair(nights(4_060 * MB, 41 * MB), nights(4_060 * MB, 60 * MB))).statement
    assert "free flash of quay-a falls by 41 MB" in said
    assert "free flash of quay-b falls by 60 MB" in said


def test_what_only_the_steepest_fall_makes_short_is_a_caution_that_no_site_blocks_on() -> None:
    described = pair(nights(4_060 * MB, 1 * MB), nights(4_060 * MB, 29 * MB, noise=30 * MB))
    found = judged(described)
    assert found.status is Status.CAUTION
    assert "of the 3.75 GB needed" in found.statement
    assert found.remedy
    assert verdict(rules.judge(described, policy(rules={"outlook": "block"}))) is Verdict.GO


def test_what_lasts_beyond_the_window_passes_with_its_date() -> None:
    found = judged(pair(nights(4_060 * MB, 12 * MB), nights(4_060 * MB, 13 * MB)))
    assert found.status is Status.PASS
    assert found.statement == (
        "free flash of quay-a falls by 12 MB a night (by 21 nights), to about 3.94 GB of the 3.75 GB needed on "
        "2027-02-15, and falls short on 2027-03-03; free flash of quay-b falls by 13 MB a night (by 21 nights), to "
        "about 3.93 GB of the 3.75 GB needed on 2027-02-15, and falls short on 2027-03-01."
    )
    assert found.remedy == ""


def test_the_dates_are_those_of_the_pairs_own_zone() -> None:
    falls = nights(4_060 * MB, 41 * MB)
    described = pair(falls, falls)
    elsewhere = replace(described, pair=replace(described.pair, time_zone="Pacific/Auckland"))
    assert "needed on 2027-02-15" in judged(described).statement
    assert "needed on 2027-02-16" in judged(elsewhere).statement


@pytest.mark.parametrize("days", [8, 9, 13, 14])
def test_the_night_of_the_window_decides(days: int) -> None:
    """The need is met for twelve nights: 480 MB at 40 MB a night."""
    falls = nights(NEEDED + 480 * MB, 40 * MB)
    window = Window(EVENING + days * DAY, 240)
    found = judged(pair(falls, falls, free=NEEDED + 480 * MB, window=window))
    assert found.status is (Status.PASS if days <= 12 else Status.BLOCK)


def test_silence_on_one_member_is_no_pass_and_hides_no_trouble() -> None:
    quiet = judged(pair(nights(4_060 * MB, 12 * MB), nights(4_060 * MB, 41 * MB, count=3)))
    assert quiet.status is Status.NOT_APPLICABLE
    assert "free flash of quay-a falls by 12 MB a night" in quiet.statement
    assert "quay-b has 3 nights of the 7 that a forecast takes" in quiet.statement
    assert judged(pair(nights(4_060 * MB, 41 * MB), ())).status is Status.BLOCK


@pytest.mark.parametrize(
    ("described", "said"),
    [
        (pair(window=None), "no window is planned, so there is no date to look ahead to."),
        (pair(window=Window(EVENING, 240)), "the window has begun already, so there is nothing to look ahead to."),
        (pair(), "no earlier night of this pair is known: a store remembers them (`--store`)."),
        (
            pair(nights(4_060 * MB, 41 * MB, count=6), nights(4_060 * MB, 41 * MB, count=6)),
            "quay-a has 6 nights of the 7 that a forecast takes; quay-b likewise.",
        ),
        (
            pair(nights(4_060 * MB, 0), nights(4_060 * MB, -41 * MB)),
            "quay-a shows no fall of free flash by 21 nights; quay-b likewise.",
        ),
        (
            pair(nights(3_000 * MB, 41 * MB), nights(3_000 * MB, 41 * MB), free=3_000 * MB),
            "quay-a has too little free flash tonight already: see flash-space; quay-b likewise.",
        ),
    ],
)
def test_silence_says_why(described: Snapshot, said: str) -> None:
    found = judged(described)
    assert (found.status, found.statement, found.remedy) == (Status.NOT_APPLICABLE, said, "")


def test_a_policy_that_turns_the_flash_off_wants_no_forecast_of_it() -> None:
    falls = nights(4_060 * MB, 41 * MB)
    found = judged(pair(falls, falls), rules={"flash-space": "off"})
    assert found.status is Status.NOT_APPLICABLE
    assert found.statement == "the policy turns flash-space off, so where free flash leads decides nothing."


def test_of_a_standby_that_refuses_its_partner_tells() -> None:
    falls = nights(4_060 * MB, 41 * MB)
    for second in ({**healthy(2), OWN: REFUSED}, unreached()):
        found = judged(pair(nights(4_060 * MB, 1 * MB), falls, second=second))
        assert found.status is Status.BLOCK
        assert told(found.evidence) == {("quay-a", PEER): (9,)}


@pytest.mark.parametrize("lost", [CUT_OFF, UNREADABLE, MISSING])
def test_what_was_lost_tonight_is_not_known_whatever_the_partner_tells(lost: Lost) -> None:
    """The partner says that there is room enough: so it could have said while the standby itself did not."""
    slow = nights(4_060 * MB, 1 * MB)
    found = judged(pair(slow, slow, second={OWN: lost}))
    assert found.status is Status.UNKNOWN
    assert "where free flash of quay-b leads isn't known: `dir bootflash:` on quay-b can't be used" in found.statement
    for count, status in ((7, Status.UNKNOWN), (6, Status.NOT_APPLICABLE)):
        few = nights(4_060 * MB, 1 * MB, count=count)
        assert judged(pair(slow, few, second={OWN: lost})).status is status


def test_without_tonights_figure_nothing_is_known_where_earlier_nights_would_tell() -> None:
    falls = nights(4_060 * MB, 41 * MB)
    nobody = {"show_redundancy": Redundancy(), "show_chassis_rmi": Chassis()}
    for second in ({OWN: REFUSED}, {OWN: flash(None)}):
        first, other = changed(healthy(1), **nobody), changed(healthy(2), **nobody)
        found = judged(pair(nights(4_060 * MB, 0), falls, first=first, second={**other, **second}))
        assert found.status is Status.UNKNOWN
    for second in ({OWN: REFUSED}, {OWN: flash(None)}):
        described = pair(falls, falls[:3], first={PEER: REFUSED}, second=second)
        assert (
            "quay-b has too few earlier nights"
            in judged(replace(described, past=Past({"quay-b": falls[:3]}))).statement
        )


def test_without_a_known_need_nothing_is_known() -> None:
    falls = nights(4_060 * MB, 41 * MB)
    assert judged(pair(falls, falls, image=None)).status is Status.UNKNOWN
    unlisted = judged(pair(falls, nights(4_060 * MB, 0), first={OWN: flash(4_060 * MB, listed=False)}))
    assert unlisted.status is Status.UNKNOWN
    assert "where free flash of quay-a leads isn't known: it isn't known how much is needed" in unlisted.statement
    assert told(unlisted.evidence) == {("quay-a", OWN): (9,)}


def test_the_captures_say_from_when_the_figure_is() -> None:
    """Captures of an evening, judged again a week later: the nights in between are not before them."""
    falls = nights(4_060 * MB, 41 * MB)
    later = tuple(Point(EVENING + days * DAY, 9_000 * MB, NEEDED) for days in range(1, 7))
    described = pair((*falls, *later), (*falls, *later))
    assert judged(replace(described, moment=EVENING + 7 * DAY)).statement == judged(described).statement


WAIVED = Waiver("qu*", "config-sync", "R. Vane", "why", (WINDOW.start - DAY).date())


def block(waiver: Waiver | None, rule: str = "config-sync") -> Finding:
    return Finding(rule, "?", Status.BLOCK, "It blocks.", "Mend it.", waiver=waiver)


def heard(findings: Sequence[Finding], waivers: Sequence[Waiver], window: Window | None = WINDOW) -> Answer:
    return judge_after(pair(window=window), policy(), Found(findings, waivers))


def test_a_waiver_that_ends_before_the_window_is_trouble() -> None:
    found = heard([block(WAIVED)], [WAIVED])
    assert found.status is Status.BLOCK
    assert found.statement == "the waiver of config-sync by R. Vane ends on 2027-02-14, before the window."
    assert "renew the waiver" in found.remedy


@pytest.mark.parametrize(
    ("until", "status"),
    [
        (WINDOW.start.date() - DAY, Status.BLOCK),
        (WINDOW.start.date(), Status.NOT_APPLICABLE),
        (WINDOW.start, Status.BLOCK),
        (WINDOW.start + timedelta(minutes=1), Status.NOT_APPLICABLE),
    ],
)
def test_a_waiver_has_to_hold_when_the_window_starts(until: date, status: Status) -> None:
    waiver = replace(WAIVED, until=until)
    assert heard([block(waiver)], [waiver]).status is status


def test_a_time_at_which_a_waiver_ends_is_told_with_its_offset() -> None:
    waiver = replace(WAIVED, until=datetime(2027, 2, 14, 6, tzinfo=timezone(2 * timedelta(hours=1))))
    assert "ends on 2027-02-14 06:00+02:00, before the window" in heard([block(waiver)], [waiver]).statement


def test_another_waiver_may_take_over() -> None:
    later = replace(WAIVED, until=date(2027, 6, 30))
    assert heard([block(WAIVED)], [WAIVED, later]).status is Status.NOT_APPLICABLE
    for no_help in (replace(later, pair="lantern"), replace(later, rule="headroom")):
        assert heard([block(WAIVED)], [WAIVED, no_help]).status is Status.BLOCK


def test_what_nobody_waives_and_a_window_that_is_over_are_none_of_its_business() -> None:
    assert heard([block(None)], [WAIVED]).status is Status.NOT_APPLICABLE
    assert heard([], [WAIVED]).status is Status.NOT_APPLICABLE
    assert heard([block(WAIVED)], [WAIVED], window=None).status is Status.NOT_APPLICABLE
    assert heard([block(WAIVED)], [WAIVED], window=Window(EVENING - DAY, 240)).status is Status.NOT_APPLICABLE


def test_a_waived_block_is_looked_back_at_by_all_rules_together() -> None:
    waiver = Waiver("quay", "flash-space", "R. Vane", "why", (WINDOW.start - DAY).date())
    described = pair(free=1)
    found = {each.rule: each for each in rules.judge(described, policy(), [waiver])}
    assert found["flash-space"].waiver == waiver
    assert found["outlook"].status is Status.CAUTION
    assert "The waiver of flash-space by R. Vane ends on 2027-02-14" in found["outlook"].statement
    assert found["outlook"].evidence == found["flash-space"].evidence != ()
    assert verdict(tuple(found.values())) is Verdict.GO


def test_it_may_be_waived_itself() -> None:
    falls = nights(4_060 * MB, 41 * MB)
    finding = weigh(RULE, judged(pair(falls, falls)), policy(rules={"outlook": "block"}))
    waiver = Waiver("quay", "outlook", "R. Vane", "why", date(2027, 6, 30))
    assert waive(RULE, finding, pair().pair, [waiver], EVENING).waiver == waiver
