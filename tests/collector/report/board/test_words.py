from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta

from collector.finding import Status, Verdict
from collector.nights.change import Change, Kind
from collector.report.board import words
from collector.report.board.drawn import Standing
from collector.report.board.plans import PlanCard, StageCard
from collector.report.board.site import Board, Frame, Row, Sheet, ShownPlan, Trouble, frame_of, sheet_of
from collector.report.change_wording import lines
from tests.collector.report.board.sample import LAST, MADE, QUAY, MemoryStore, fleet
from tests.collector.report.sample import CET, RULES

FRAME = Frame(MADE, date.min, LAST, (LAST,))
ROW = Row("quay", "Harbour Quay", Standing.GO, asked=LAST, known=Verdict.GO, ready=28, counted=30)
CHANGE = Change("quay", LAST, LAST - timedelta(days=1), Kind.FINDING, "flash-space", "pass", "block", worse=True)


def sheet(name: str) -> Sheet:
    store = fleet()
    found = sheet_of(store.store, name, frame_of(store.store, MADE))
    assert found is not None
    return found


def test_counts_are_told_worst_first_with_every_way_to_stand() -> None:
    rows = [ROW, ROW, replace(ROW, standing=Standing.NO_GO)]
    assert words.counts(rows) == "3 pairs: 1 no-go, 0 undecided, 0 not asked, 2 go"


def test_the_fleet_is_summed_up() -> None:
    board = Board(FRAME, (ROW, replace(ROW, site="North", changes=(CHANGE,))), ())
    assert words.summary(board) == (
        "2 pairs at 2 sites, swept last in the night of 2027-02-06; "
        "on 1 pair something is otherwise than the night before."
    )
    quiet = replace(board, rows=(ROW,))
    assert words.summary(quiet).endswith("2027-02-06; nothing is otherwise than the night before.")
    board = replace(board, frame=replace(FRAME, newest=None))
    assert words.summary(board) == "2 pairs at 2 sites. No sweep of the whole fleet is stored yet."


def test_a_long_list_is_named_in_part_and_found_in_whole() -> None:
    troubles = tuple(Trouble(f"rule-{number}", Status.UNKNOWN, False, "") for number in range(6))
    row = replace(ROW, troubles=(Trouble("clock", Status.BLOCK, False, ""), *troubles))
    assert list(words.troubles(row)) == [("", "clock"), ("unknown: ", "rule-0, rule-1, rule-2 and 3 more")]
    assert words.hidden_rules(row) == "rule-3 rule-4 rule-5"
    four = replace(ROW, troubles=troubles[:4])
    assert list(words.troubles(four)) == [("unknown: ", "rule-0, rule-1, rule-2, rule-3")]
    assert words.hidden_rules(four) == ""


def test_what_is_waived_is_told_last_and_what_hides_an_unknown_is_not_told_as_waived() -> None:
    row = replace(
        ROW,
        troubles=(
            Trouble("clock", Status.BLOCK, True, ""),
            Trouble("pair-state", Status.UNKNOWN, True, ""),
            Trouble("headroom", Status.CAUTION, False, ""),
        ),
    )
    assert list(words.troubles(row)) == [
        ("unknown: ", "pair-state"),
        ("caution: ", "headroom"),
        ("waived: ", "clock"),
    ]


def test_nothing_is_told_of_last_night_where_nobody_asked() -> None:
    row = replace(ROW, standing=Standing.NOT_ASKED, troubles=(Trouble("clock", Status.BLOCK, False, ""),))
    assert list(words.troubles(row)) == []
    assert words.nothing(row) == words.changed(row) == "not known"
    assert words.not_asked(row) == "since 2027-02-06, go then"
    assert words.not_asked(replace(row, asked=None)) == "ever"
    assert words.not_asked(ROW) == ""


def test_a_change_says_how_it_is_and_how_it_was() -> None:
    aps = replace(
        CHANGE, kind=Kind.ACCESS_POINTS, subject="", before="9", after="8", gained=("x",), lost=("a", "b"), worse=None
    )
    packages = replace(CHANGE, kind=Kind.INSTALL_STATE, subject="quay-b", before="IMG C 1", after="IMG I 1", worse=None)
    assert [words.change(each) for each in lines((CHANGE, aps, packages))] == [
        "flash-space: block, was pass (worse)",
        "access points: 8, new x, gone a, b, was 9",
        "quay-b, installed software: new IMG I 1, gone IMG C 1",
    ]
    better = replace(CHANGE, kind=Kind.VERDICT, subject="", before="no-go", after="go", worse=False)
    (line,) = lines((better,))
    assert words.change(line) == "verdict: go, was no-go (better)"
    assert words.direction(line) == "is-better"


def test_changes_of_the_table_are_the_first_two() -> None:
    changes = tuple(replace(CHANGE, after=after) for after in ("block", "unknown", "caution"))
    row = replace(ROW, changes=changes)
    assert words.changed(row) == (
        "flash-space: block, was pass (worse); flash-space: unknown, was pass (worse); and 1 more"
    )
    assert words.changed(ROW) == "nothing"
    assert words.changed(replace(ROW, first=True)) == "first night"


def test_the_latest_night_of_changes_comes_first() -> None:
    earlier = replace(CHANGE, night=LAST - timedelta(days=3), since=LAST - timedelta(days=4), before="caution")
    told = [(night, [words.change(line) for line in found]) for night, found in words.by_night((earlier, CHANGE))]
    assert told == [
        ("2027-02-06", ["flash-space: block, was pass (worse)"]),
        ("2027-02-03", ["flash-space: block, was caution (worse)"]),
    ]


def test_what_moved_long_ago_is_left_to_the_history() -> None:
    timeline = tuple(replace(CHANGE, night=LAST - timedelta(days=back)) for back in range(61, -1, -1))
    told = list(words.by_night(timeline))
    assert (len(told), told[0][0]) == (60, "2027-02-06")
    assert words.before(timeline) == "Before, something moved on 2 nights: see readypair history."
    assert words.before(timeline[2:]) == ""


def test_a_window_that_has_ended_is_told_as_passed() -> None:
    window = sheet("quay").row.window
    assert window is not None
    row = replace(ROW, window=window)
    assert not words.passed(row, replace(FRAME, made=window.end - timedelta(seconds=1)))
    assert words.passed(row, replace(FRAME, made=window.end))


def test_sites_count_their_pairs_and_name_their_next_window() -> None:
    window = sheet("quay").row.window
    assert window is not None
    over = replace(window, start=window.start - timedelta(days=9))
    rows = (replace(ROW, window=window), replace(ROW, window=over), replace(ROW, site="North", window=over))
    harbour, north = words.sites(Board(replace(FRAME, made=window.start), rows, ()))
    assert (harbour.name, harbour.counted[-1], harbour.next) == ("Harbour Quay", (Standing.GO, 2), window.start)
    assert north.next is None


def test_the_nights_are_told_in_a_sentence() -> None:
    assert words.history(sheet("pontoon")) == "Of 40 nights from 2026-12-29 to 2027-02-06 it was no-go on 39, go on 1."


def test_nights_on_which_nobody_swept_are_told_apart() -> None:
    store = MemoryStore()
    for back in (5, 4, 1, 0):
        store.add(QUAY, LAST - timedelta(days=back))
    found = sheet_of(store.store, "quay", frame_of(store.store, MADE))
    assert found is not None
    assert words.history(found) == "Of 6 nights from 2027-02-01 to 2027-02-06 it was go on 4; on 2 nobody swept."


def test_rules_that_the_picture_leaves_out_are_counted() -> None:
    assert words.not_drawn(sheet("slipway"), 1) == "1 more rule: see the table."
    assert words.not_drawn(sheet("slipway"), 2) == ""
    assert words.history_picture(sheet("slipway"), [("clock", 1)]).endswith(
        "clock on 1 night. 1 more rule: see the table."
    )


def test_the_pictures_are_told_in_words() -> None:
    assert words.history_picture(sheet("pontoon"), [("flash-space", 39)]).endswith(
        "it was no-go on 39, go on 1. Kept from go by flash-space on 39 nights."
    )
    told = words.flash_picture(sheet("quay"))
    assert "quay-a had 19 GB free in the night of 2027-02-06, and the images need 3.75 GB." in told
    assert "No forecast: it shows no fall of free flash by 30 nights." in told
    assert "falls short on 2027-02-12" in told


def test_flash_that_is_not_known_is_said_to_be_so() -> None:
    trend = sheet("quay").trends[0]
    unknown = replace(trend, readings=(replace(trend.readings[-1], free=None, needed=None),), forecast=None)
    assert words.trend(unknown, sheet("quay")) == (
        "quay-a had an unknown size free in the night of 2027-02-06, and what the images need isn't known. "
        "No forecast without either figure."
    )


def test_a_certificate_that_ends_before_the_window_is_over_is_said_to() -> None:
    found = sheet("quay")
    (each,) = found.certificates
    assert words.days_left(each, found.row) == "13"
    assert words.days_left(replace(each, days=-1), found.row) == "ended"
    assert found.row.window is not None
    end = found.row.window.end.replace(tzinfo=None)
    early = replace(each, certificate=replace(each.certificate, end=end - timedelta(minutes=1)))
    assert words.days_left(early, found.row) == "13, before the window has ended"
    assert words.days_left(replace(each, certificate=replace(each.certificate, end=end)), found.row) == "13"


def stage(hour: int, **otherwise: object) -> StageCard:
    start = datetime(2027, 2, 6, hour, 0, tzinfo=CET)
    card = StageCard("Expand", False, start, start, start + timedelta(minutes=9), True, start + timedelta(hours=1))
    return replace(card, **otherwise)  # type: ignore[arg-type]


def test_a_plans_moments_are_short_where_they_can_not_be_mistaken() -> None:
    card = PlanCard("quay", "17.12.4", "fits", MADE, None, None, (stage(22), stage(23)), "x")
    assert words.at(card, card.stages[0].start) == "22:00"
    assert words.at(card, None) == "not known"
    assert words.back_by(card, card.stages[1]) == "00:00"
    assert words.back_by(card, stage(22, back_by=None)) == "not known"
    assert words.back_by(card, stage(22, can_turn_back=False)) == "no way back"
    days = replace(card, stages=(stage(0), stage(23, p90=datetime(2027, 2, 7, 2, tzinfo=CET))))
    assert words.at(days, days.stages[0].start) == "Sat 00:00"


def test_a_plan_for_something_else_is_warned_of() -> None:
    card = PlanCard("quay", "17.9.5", "fits", MADE, None, None, (), "x")
    assert len(list(words.plan_warnings(ShownPlan(card, True, True)))) == 2
    assert list(words.plan_warnings(ShownPlan(card, False, False))) == []


def test_rules_are_counted_by_what_they_do_to_pairs() -> None:
    found = {rule.id: numbers for rule, numbers in words.rules([sheet("slipway").row, sheet("pontoon").row], RULES)}
    assert found["flash-space"] == [("Blocks", 0), ("Not known", 0), ("Cautions", 0), ("Waived", 1)]


def test_any_site_fits_behind_the_mark_of_an_address() -> None:
    assert words.quoted("A & B/#=%\udcff") == "A%20%26%20B%2F%23%3D%25%3F"
