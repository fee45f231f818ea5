from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from collector.finding import Status, Verdict
from collector.nights.change import Kind
from collector.nights.outlook import Forecast, Silence
from collector.report.board import pages, words
from collector.report.board.drawn import Span, Standing, Stretch
from collector.report.board.plans import PlanCard
from collector.report.board.site import Board, Frame, Planned, Sheet, board_of, frame_of, names_of, sheet_of
from tests.collector.report.board.sample import (
    LAST,
    LIGHTER,
    MADE,
    PONTOON,
    QUAY,
    SLIPWAY,
    WAIVED,
    MemoryStore,
    fleet,
    nights,
    rooms,
)
from tests.collector.report.sample import HOSTILE

DAY = timedelta(days=1)


def frame(store: MemoryStore, planned: list[Planned] | None = None, **plans: PlanCard) -> Frame:
    return frame_of(store.store, MADE, planned, plans)


def sheet(store: MemoryStore, name: str, planned: list[Planned] | None = None, **plans: PlanCard) -> Sheet:
    found = sheet_of(store.store, name, frame(store, planned, **plans))
    assert found is not None
    return found


def made(store: MemoryStore, planned: list[Planned] | None = None) -> Board:
    holds = frame(store, planned)
    sheets = {name: sheet_of(store.store, name, holds) for name in names_of(store.store, holds)}
    gone = [name for name, found in sheets.items() if found is None]
    return board_of(holds, (found.row for found in sheets.values() if found is not None), gone)


def test_a_pair_stands_as_it_was_judged_last_night() -> None:
    row = sheet(fleet(), "quay").row
    assert (row.standing, row.asked, row.known) == (Standing.GO, LAST, Verdict.GO)
    assert (row.in_a_row, row.ready, row.counted) == (40, 30, 30)
    assert row.window == QUAY.pair.window


def test_what_it_said_before_last_night_is_no_answer() -> None:
    row = sheet(fleet(), "lighter").row
    assert (row.standing, row.asked, row.known) == (Standing.NOT_ASKED, LAST - DAY, Verdict.UNDECIDED)
    assert row.in_a_row == 0
    assert row.changes == ()


def test_a_go_of_the_night_before_does_not_count_for_last_night() -> None:
    store = MemoryStore()
    store.add(QUAY, LAST - DAY)
    store.add(PONTOON, LAST)
    assert sheet(store, "quay").row.standing is Standing.NOT_ASKED


def test_a_pair_of_another_region_stands_by_its_own_sweeps() -> None:
    store = MemoryStore(elsewhere={"quay"})
    for night in (LAST - 3 * DAY, LAST - DAY):
        store.add(QUAY, night)
    for night in nights(4):
        store.add(PONTOON, night)
    found = sheet(store, "quay")
    assert found.row.standing is Standing.GO
    assert (found.row.in_a_row, found.row.ready, found.row.counted) == (2, 2, 2)
    assert {each.standing for each in found.stretches} == {Standing.GO}


def test_a_region_that_nobody_sweeps_any_more_has_no_answers() -> None:
    store = MemoryStore(elsewhere={"quay", "slipway"})
    for back in (4, 3, 2):
        store.add(QUAY, LAST - back * DAY)
    store.add(PONTOON, LAST)
    assert sheet(store, "quay").row.standing is Standing.NOT_ASKED
    # One that is swept by the week is as new as it can be.
    store = MemoryStore(elsewhere={"quay"})
    for back in (23, 16, 9):
        store.add(QUAY, LAST - back * DAY)
    store.add(PONTOON, LAST)
    assert sheet(store, "quay").row.standing is Standing.GO


def test_a_pair_that_the_deadline_left_was_not_asked() -> None:
    found = sheet(fleet(), "ferry-hq")
    assert (found.row.standing, found.row.asked, found.row.known) == (Standing.NOT_ASKED, None, None)
    assert found.result is None
    store = MemoryStore()
    store.add(QUAY, LAST - DAY)
    store.add(QUAY, LAST, in_time=False)
    row = sheet(store, "quay").row
    assert (row.standing, row.asked, row.known) == (Standing.NOT_ASKED, LAST - DAY, Verdict.GO)
    assert [each.standing for each in sheet(store, "quay").stretches] == [Standing.GO, Standing.NOT_ASKED]


def test_without_a_sweep_of_the_whole_fleet_a_pair_missed_nothing() -> None:
    store = MemoryStore()
    store.add(QUAY, LAST - 9 * DAY, whole=False)
    store.add(PONTOON, LAST, whole=False)
    assert sheet(store, "quay").row.standing is Standing.GO


def test_nights_alike_and_next_to_each_other_are_one_stretch() -> None:
    store = MemoryStore()
    for result, night in zip((QUAY, QUAY, SLIPWAY, PONTOON, PONTOON), nights(5), strict=True):
        store.add(replace(result, pair=QUAY.pair), night)
    assert [(each.span.nights, each.standing, each.rules) for each in sheet(store, "quay").stretches] == [
        (2, Standing.GO, ()),
        (1, Standing.NO_GO, ("install-mode", "flash-space")),
        (2, Standing.NO_GO, ("flash-space",)),
    ]


def test_a_night_that_the_fleet_was_swept_without_it_is_told_and_one_without_a_sweep_is_not() -> None:
    store = MemoryStore()
    for night in (LAST - 6 * DAY, LAST - 5 * DAY, LAST - 3 * DAY, LAST):
        store.add(PONTOON, night)
    for night in (LAST - 5 * DAY, LAST):
        store.add(QUAY, night)
    assert sheet(store, "quay").stretches == (
        Stretch(Span(LAST - 5 * DAY, LAST - 5 * DAY), Standing.GO, ()),
        Stretch(Span(LAST - 3 * DAY, LAST - 3 * DAY), Standing.NOT_ASKED, ()),
        Stretch(Span(LAST, LAST), Standing.GO, ()),
    )


def test_a_year_is_shown_and_no_more() -> None:
    store = MemoryStore()
    for night in nights(400):
        store.add(QUAY, night)
    shown = sheet(store, "quay").shown
    assert shown is not None
    assert (shown.nights, shown.last) == (365, LAST)


def test_what_changed_since_the_night_before() -> None:
    row = sheet(fleet(), "pontoon").row
    told = {(each.kind, each.subject): (each.before, each.after, each.worse) for each in row.changes}
    assert told[Kind.VERDICT, ""] == ("no-go", "go", False)
    assert told[Kind.FINDING, "flash-space"][1] == "block, waived"
    aps = next(each for each in sheet(fleet(), "quay").row.changes if each.kind is Kind.ACCESS_POINTS)
    assert (aps.gained, aps.lost) == (("deck-3",), ("deck-2",))


def test_the_first_night_is_no_change_and_known_as_such() -> None:
    row = sheet(fleet(), HOSTILE).row
    assert row.first
    assert row.changes == ()
    assert not sheet(fleet(), "quay").row.first


def test_troubles_come_with_what_the_report_says_of_them() -> None:
    troubles = sheet(fleet(), "lighter").row.troubles
    assert [(each.rule, each.status, each.waived) for each in troubles] == [
        ("install-mode", Status.UNKNOWN, False),
        ("pair-state", Status.UNKNOWN, False),
    ]
    assert troubles[0].statement == "Nobody can tell the install mode of lighter-b."


def test_a_waived_block_is_told_as_waived_and_what_is_unknown_beside_one_as_unknown() -> None:
    assert [(each.rule, each.waived) for each in sheet(fleet(), "pontoon").row.troubles] == [("flash-space", True)]
    store = MemoryStore()
    unsure = tuple(replace(each, unsure=each.waiver is not None) for each in WAIVED.findings)
    store.add(replace(WAIVED, verdict=Verdict.UNDECIDED, findings=unsure), LAST)
    found = sheet(store, "pontoon")
    assert [(each.rule, each.status) for each in found.row.troubles] == [("flash-space", Status.UNKNOWN)]
    assert found.result is not None
    assert [each.rule for each in found.result.findings if each.decides] == ["flash-space"]


def test_without_a_report_the_verdict_and_the_rules_are_still_there() -> None:
    store = MemoryStore()
    store.add(SLIPWAY, LAST, report=False)
    found = sheet(store, "slipway")
    assert found.result is None
    assert found.row.standing is Standing.NO_GO
    assert {each.rule for each in found.row.troubles} == {"install-mode", "flash-space"}
    assert found.row.window is None


def test_falling_flash_has_a_forecast_and_a_level_one_a_reason_why_not() -> None:
    first, second = sheet(fleet(), "quay").trends
    assert (first.member, second.member) == ("quay-a", "quay-b")
    assert isinstance(first.forecast, Silence)
    assert isinstance(second.forecast, Forecast)
    # 17 GB less 0.3 GB a night since 39 nights: 5.3 GB, which are 1.55 GB above the need after 5 1/6 nights more.
    likely = second.forecast.shortfall.likely
    assert likely is not None
    assert timedelta(days=5) < likely - second.forecast.likely.start < timedelta(days=5, hours=6)
    shown = sheet(fleet(), "quay").flash_shown
    assert shown is not None
    assert shown.last >= likely.date()


def test_a_forecast_far_ahead_does_not_squeeze_the_nights() -> None:
    store = MemoryStore()
    for number, night in enumerate(nights(30)):
        store.add(QUAY, night, rooms=rooms("quay", 19_000_000_000, 7_000_000_000 - 9_000_000 * number))
    shown = sheet(store, "quay").flash_shown
    assert shown is not None
    assert shown.last <= LAST + timedelta(days=364)


def test_a_night_on_which_it_was_not_asked_takes_no_forecast_away() -> None:
    store = MemoryStore()
    for number, night in enumerate(nights(12)):
        store.add(QUAY, night, rooms=rooms("quay", 19_000_000_000, 9_000_000_000 - 300_000_000 * number))
    unknown = tuple(replace(room, free=None, needed=None) for room in rooms("quay", 1, 1))
    store.add(QUAY, LAST + DAY, in_time=False, rooms=unknown)
    trend = sheet(store, "quay").trends[1]
    assert trend.readings[-1].night == LAST
    assert isinstance(trend.forecast, Forecast)


def test_flash_that_is_not_known_has_no_forecast() -> None:
    store = MemoryStore()
    for night in nights(12):
        first, second = rooms("quay", 19_000_000_000, 7_000_000_000)
        last = night == LAST
        store.add(
            QUAY,
            night,
            rooms=(replace(first, free=None) if last else first, replace(second, needed=None) if last else second),
        )
    assert [each.forecast for each in sheet(store, "quay").trends] == [None, None]


def test_certificates_come_with_the_days_that_are_left() -> None:
    (found,) = sheet(fleet(), "quay").certificates
    assert (found.member, found.days) == ("quay-a", 13)


def test_one_pair_that_is_asked_again_makes_the_others_no_newer() -> None:
    store = MemoryStore()
    for result in (QUAY, PONTOON):
        store.add(result, LAST)
    store.add(QUAY, LAST + 5 * DAY, whole=False)
    rows = {row.name: row.heard for row in made(store).rows}
    assert made(store).heard == rows["pontoon"]
    assert rows["quay"] != rows["pontoon"]


def test_what_tells_no_time_is_not_said_to_be_asked_when_it_was_judged() -> None:
    store = MemoryStore()
    store.add(QUAY, LAST)
    assert made(store).dated
    night = store.add(PONTOON, LAST, dated=False)
    assert not made(store).dated
    figures = dict(words.figures(sheet(store, "pontoon"), frame(store)))
    assert "Asked" not in figures
    assert figures["Judged, its captures tell no time"].startswith(night.judged.strftime("%Y-%m-%d"))
    assert "captures tell no time" in pages.index(made(store))


def test_where_no_answer_counts_the_last_one_is_told() -> None:
    store = MemoryStore()
    store.add(QUAY, LAST - 2 * DAY)
    store.add(PONTOON, LAST - DAY)
    for result in (QUAY, PONTOON):
        store.add(result, LAST, in_time=False)
    found = made(store)
    assert {row.standing for row in found.rows} == {Standing.NOT_ASKED}
    assert found.heard == max(row.heard for row in found.rows if row.heard)
    assert made(MemoryStore()).heard is None


def test_pairs_that_nobody_asks_any_more_are_named_and_have_no_row() -> None:
    board = made(fleet())
    assert board.gone == ("gone",)
    assert "gone" not in {row.name for row in board.rows}


def test_the_board_is_by_site_and_the_worst_of_a_site_comes_first() -> None:
    store = MemoryStore()
    for name, result in (("b", SLIPWAY), ("a", QUAY), ("c", QUAY), ("d", LIGHTER)):
        store.add(replace(result, pair=replace(result.pair, name=name, site="East" if name != "c" else "apron")), LAST)
    assert [row.name for row in made(store).rows] == ["c", "b", "d", "a"]


def test_an_inventory_says_which_pairs_there_are_and_when_their_windows_are() -> None:
    window = replace(QUAY.pair.window, start=MADE + DAY) if QUAY.pair.window else None
    planned = [Planned("quay", "Moved Site", window), Planned("new", "New Site", None)]
    board = made(fleet(), planned)
    assert [(row.name, row.site, row.window, row.standing) for row in board.rows] == [
        ("quay", "Moved Site", window, Standing.GO),
        ("new", "New Site", None, Standing.NOT_ASKED),
    ]
    assert set(board.gone) >= {"pontoon", "gone"}


@pytest.mark.parametrize(("every", "days"), [(1, 1.5), (7, 10.5), (3, 4.5)])
def test_a_board_is_fresh_as_long_as_its_sweeps_usually_lie_apart(every: int, days: float) -> None:
    found = tuple(LAST - every * number * DAY for number in range(9, -1, -1))
    assert Frame(MADE, date.min, LAST, found).fresh_for == days * DAY


def test_a_first_night_is_fresh_for_a_day_and_a_half() -> None:
    assert Frame(MADE, date.min, LAST, (LAST,)).fresh_for == 1.5 * DAY
    assert Frame(MADE, date.min, None, ()).fresh_for == 1.5 * DAY


def plan(**otherwise: object) -> PlanCard:
    window = QUAY.pair.window
    assert window is not None
    card = PlanCard("quay", "17.12.4", "fits", MADE, window.start, window.end, (), "pair-quay")
    return replace(card, **otherwise)  # type: ignore[arg-type]


def test_a_plan_is_shown_with_what_it_was_not_made_for() -> None:
    shown = sheet(fleet(), "quay", quay=plan()).plan
    assert shown is not None
    assert (shown.other_target, shown.other_window) == (False, False)
    shown = sheet(fleet(), "quay", quay=plan(target_release="17.9.5", window_start=MADE)).plan
    assert shown is not None
    assert (shown.other_target, shown.other_window) == (True, True)
    assert sheet(fleet(), "quay").plan is None
