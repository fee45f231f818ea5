"""A year of nights, through judging and the store, comes out as its stories say."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import pytest

from collector.cli import main
from collector.finding import Status, Verdict
from collector.nights import streak
from collector.nights.change import Change, Kind
from collector.nights.drift import walk
from collector.nights.night import Night, Source
from collector.nights.outlook import LOOK_BACK, Forecast, forecast, series
from collector.nights.past import past_of
from collector.report.board import making, site
from collector.report.board.drawn import Standing
from collector.report.board.site import Board
from collector.store.store import Store, opened
from tests.year import running, story
from tests.year.story import KILLED, START, ZONE, Moved, Region

_OUTLOOK = "outlook"
_DAY = timedelta(days=1)
_YEAR = story.year()
_PAIRS = [each.name for each in _YEAR.stories]
_LAST = START + (story.NIGHTS - 1) * _DAY
_UPGRADED, _LATE = date(2026, 8, 13), date(2026, 12, 1)
# Of each pair: on a night, how many nights in a row it has been go, and of how many of the last thirty.
_STREAKS: Mapping[tuple[str, date], tuple[int, tuple[int, int]]] = {
    ("foreshore", _LAST): (51, (30, 30)),
    ("millrace", _LAST): (363, (30, 30)),
    # It has been in the inventory for ten nights.
    ("headland", date(2026, 6, 21)): (10, (10, 10)),
    ("headland", date(2026, 11, 14)): (156, (30, 30)),
    ("headland", date(2026, 11, 20)): (0, (24, 30)),
    ("headland", _LAST): (82, (30, 30)),
    ("sluice", date(2026, 8, 13)): (0, (27, 30)),
    ("sluice", _LAST): (199, (30, 30)),
    # Nobody swept anything on the ninth and the tenth, which breaks no row and counts for nothing.
    ("saltpan", date(2026, 6, 20)): (42, (28, 28)),
    ("saltpan", date(2027, 1, 10)): (8, (25, 30)),
    ("saltpan", _LAST): (57, (30, 30)),
    ("backwater", date(2026, 9, 29)): (192, (30, 30)),
    # The southern collector stood still on the twentieth of November: that the northern one swept is nothing to it.
    ("backwater", date(2026, 11, 30)): (52, (29, 29)),
    # It is in no inventory any more.
    ("backwater", _LAST): (0, (0, 30)),
    ("towpath", date(2026, 11, 19)): (262, (30, 30)),
    ("towpath", _LAST): (362, (30, 30)),
    ("lockgate", date(2026, 7, 25)): (3, (27, 30)),
    ("lockgate", date(2026, 10, 3)): (0, (29, 30)),
    # The deadline came before it on the first of December.
    ("lockgate", _LAST): (89, (30, 30)),
}


@dataclass(frozen=True)
class Lived:
    """The store after the year, and what it gave on the way: on the night of an upgrade, and of a late pair."""

    url: str
    store: Store
    board: Board
    pages: Path
    missed: tuple[str, ...]


@pytest.fixture(scope="module")
def lived(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lived]:
    folder = tmp_path_factory.mktemp("year")
    url, pages = str(folder / "nights.db"), folder / "board"
    with opened(url) as store:
        running.run(_YEAR, store, story.nights(START, _UPGRADED + _DAY))
        board, _ = making.make(url, pages, datetime.combine(_UPGRADED + _DAY, time(7), ZONE), processes=1)
        running.run(_YEAR, store, story.nights(_UPGRADED + _DAY, _LATE + _DAY))
        missed = store.missed("/srv/readypair/south", "south")
        running.run(_YEAR, store, story.nights(_LATE + _DAY))
        yield Lived(url, store, board, pages, missed)


@pytest.fixture
def store(lived: Lived) -> Store:
    return lived.store


@pytest.mark.parametrize("pair", _PAIRS)
def test_every_night_has_the_verdict_that_its_story_says(store: Store, pair: str) -> None:
    told = _YEAR.story(pair)
    verdicts = {night.night: night.verdict for night in store.nights(pair)}
    assert verdicts == {night: told.truth.not_go.get(night, Verdict.GO) for night in told.asked}


@pytest.mark.parametrize("pair", _PAIRS)
def test_every_change_of_its_story_is_told_and_no_other(store: Store, pair: str) -> None:
    found = [change for change in _changes(store, pair) if change.subject != _OUTLOOK]
    expected = _YEAR.story(pair).truth.moved
    assert sorted(_what(each) for each in found) == sorted(_what(each) for each in expected)
    told = {_what(each): each for each in found}
    for moved in expected:
        change = told[_what(moved)]
        assert moved.before in (None, _status(change, change.before)), change
        assert moved.after in (None, _status(change, change.after)), change
        assert (change.gained, change.lost) == (moved.gained, moved.lost)


def test_what_came_while_nobody_swept_is_told_since_the_night_before(store: Store) -> None:
    found = [change for change in _changes(store, "towpath") if change.night == date(2026, 6, 11)]
    assert [change.since for change in found] == [date(2026, 6, 8)]


@pytest.mark.parametrize("pair", _PAIRS)
def test_a_pair_that_will_not_be_go_in_its_window_says_so_in_time(store: Store, pair: str) -> None:
    truth = _YEAR.story(pair).truth
    cautious = {night.night for night in store.nights(pair) if _outlook(store, night) is Status.CAUTION}
    required = {night for spell in truth.caution for night in story.nights(spell.first, spell.until)}
    allowed = {night for spell in truth.may_caution for night in story.nights(spell.first, spell.until)}
    asked = set(_YEAR.story(pair).asked)
    assert (required & asked) - cautious == set()
    assert cautious - required - allowed == set()


@pytest.mark.parametrize("pair", _PAIRS)
def test_a_forecast_leads_nowhere_else_than_to_a_turn_for_the_worse(store: Store, pair: str) -> None:
    """What the outlook says is only worth telling where it becomes a caution, or none any more."""
    found = [change for change in _changes(store, pair) if change.subject == _OUTLOOK]
    assert [change for change in found if change.worse is None] == []


@pytest.mark.parametrize(
    "expected",
    [crossing for told in _YEAR.stories for crossing in told.truth.crossings],
    ids=lambda each: f"{each.member} {each.night}",
)
def test_the_night_on_which_flash_is_full_is_foretold(store: Store, expected: story.Crossing) -> None:
    found = _forecast(store.nights(expected.member[:-2], until=expected.night), expected.member)
    assert isinstance(found, Forecast)
    likely, earliest, latest = found.shortfall
    assert likely is not None
    assert earliest is not None
    assert abs((likely.date() - expected.crossing).days) <= expected.days
    margin = expected.days * _DAY
    assert earliest.date() - margin <= expected.crossing <= (latest.date() if latest else date.max - margin) + margin


@pytest.mark.parametrize(
    ("member", "since"), [(member, since) for told in _YEAR.stories for member, since in told.truth.level.items()]
)
def test_no_date_is_foretold_of_a_flash_that_stays_level(store: Store, member: str, since: date) -> None:
    nights = store.nights(member[:-2])
    foretold = {
        night.night: _forecast(nights[: number + 1], member)
        for number, night in enumerate(nights)
        if night.night >= since and number % 4 == 0
    }
    assert {
        night: found.shortfall.likely
        for night, found in foretold.items()
        if isinstance(found, Forecast) and found.shortfall.likely is not None
    } == {}


@pytest.mark.parametrize(("pair", "night"), _STREAKS, ids=lambda each: str(each))
def test_nights_in_a_row_and_the_share_of_the_last_thirty(store: Store, pair: str, night: date) -> None:
    nights = store.nights(pair, until=night)
    fleet = [each for each in store.fleet_nights(pair) if each <= night]
    assert (streak.streak(nights, fleet), streak.ready_share(nights, fleet)) == _STREAKS[pair, night]


def test_each_collectors_fleet_was_swept_on_every_night_but_a_few(store: Store) -> None:
    for region, pair in ((Region.NORTH, "foreshore"), (Region.SOUTH, "towpath")):
        assert set(story.nights(START)) - set(store.fleet_nights(pair)) == set(story.MISSED[region])
    assert set(story.nights(START)) - set(store.fleet_nights()) == set(story.MISSED[Region.NORTH])


def test_a_sweep_that_was_killed_loses_nothing_and_its_repetition_counts(store: Store) -> None:
    assert [night.source for night in store.nights("millrace", since=KILLED, until=KILLED)] == [Source.SWEEP]
    begun = [each for each in store.sweeps(last=1000) if each.start.started.astimezone(story.ZONE).date() == KILLED]
    assert [(each.start.collector, each.pairs, each.finished is not None) for each in begun] == [
        ("north", 5, True),
        ("north", 2, False),
        ("south", 3, True),
    ]


def test_who_was_not_reached_in_time_is_first_in_line_the_night_after(lived: Lived, store: Store) -> None:
    late = store.nights("lockgate", since=_LATE, until=_LATE)
    assert [(night.in_time, night.verdict, night.asked) for night in late] == [(False, Verdict.UNDECIDED, None)]
    assert "lockgate" in lived.missed
    assert "lockgate" not in store.missed("/srv/readypair/south", "south")


def test_checks_by_hand_count_for_the_night_that_they_belong_to(store: Store) -> None:
    nights = {night.night: night for night in store.nights("saltpan", since=date(2026, 5, 3), until=date(2026, 5, 8))}
    assert {night: (each.source, each.target_release) for night, each in nights.items()} == {
        **dict.fromkeys(story.nights(date(2026, 5, 3), date(2026, 5, 9)), (Source.SWEEP, "17.12.4")),
        story.AFTER_SWEEP: (Source.CHECK, "17.12.4"),
    }


def test_quiet_nights_share_one_state(store: Store) -> None:
    nights = store.nights("millrace")
    assert len(nights) == 363
    assert len({night.aps for night in nights}) == 1
    # The outlook is silent at first, and the window passes.
    assert len({night.state for night in nights}) <= 3


def test_the_board_of_a_night_tells_how_each_pair_stands_and_what_moved(lived: Lived) -> None:
    rows = {row.name: row for row in lived.board.rows}
    assert set(rows) == set(_PAIRS)
    assert lived.board.gone == ()
    assert {name for name, row in rows.items() if row.standing is not Standing.GO} == {"sluice"}
    assert {name: {_what(each) for each in row.changes} for name, row in rows.items() if row.changes} == {
        "sluice": {_what(each) for each in _YEAR.story("sluice").truth.moved if each.night == _UPGRADED}
    }
    assert {name: sorted(each.rule for each in row.troubles) for name, row in rows.items() if row.troubles} == {
        "foreshore": ["outlook"],
        "sluice": ["install-state", "upgrade-path"],
        "saltpan": ["crash-files"],
        "backwater": ["config-sync", "outlook"],
    }
    assert {name: row.window and row.window.start.astimezone(ZONE).isoformat() for name, row in rows.items()} == {
        told.name: told.on(_UPGRADED).window for told in _YEAR.stories
    }
    assert {name: row.in_a_row for name, row in rows.items()} == {
        "foreshore": 164,
        "millrace": 164,
        "headland": 63,
        "sluice": 0,
        "saltpan": 96,
        "backwater": 145,
        "towpath": 164,
        # Since the link came back.
        "lockgate": 22,
    }


def test_the_pages_of_that_night_hold_the_story_of_each_pair(lived: Lived) -> None:
    start = (lived.pages / "index.html").read_text()
    assert all(f"pairs/{pair}.html" in start for pair in _PAIRS)
    upgraded = (lived.pages / "pairs" / "sluice.html").read_text()
    assert "17.9.4a" in upgraded
    assert "17.12.4" in upgraded
    foreshore = (lived.pages / "pairs" / "foreshore.html").read_text()
    assert "falls short on 2026-12-" in foreshore


def test_a_pair_that_nobody_asks_any_more_leaves_the_board(lived: Lived) -> None:
    made = datetime.combine(_LAST + _DAY, time(7), ZONE)
    frame = site.frame_of(lived.store, made)
    sheets = {pair: site.sheet_of(lived.store, pair, frame) for pair in _PAIRS}
    assert {pair for pair, sheet in sheets.items() if sheet is None} == {"backwater"}
    assert {sheet.row.standing for sheet in sheets.values() if sheet is not None} == {Standing.GO}
    assert {pair: sheet.row.in_a_row for pair, sheet in sheets.items() if sheet is not None} == {
        pair: nights for (pair, night), (nights, _) in _STREAKS.items() if night == _LAST and pair != "backwater"
    }


@pytest.mark.parametrize("pair", _PAIRS)
def test_history_tells_a_pairs_nights_changes_and_those_that_nobody_asked_it(
    lived: Lived, capsys: pytest.CaptureFixture[str], pair: str
) -> None:
    told = _YEAR.story(pair)
    data = _printed(lived, capsys, "history", pair, "--since", str(START))
    assert [each["night"] for each in data["nights"]] == [str(night) for night in told.asked]
    moved = [each for each in data["changes"] if each["subject"] != _OUTLOOK]
    assert sorted((each["night"], each["kind"], each["subject"]) for each in moved) == sorted(
        (str(each.night), each.kind.value, each.subject) for each in told.truth.moved
    )
    missed = {(each["why"], each["first"], each["last"]) for each in data["missed"]}
    assert missed == {
        "lockgate": {("not in time", "2026-12-01", "2026-12-01")},
        "backwater": {("not swept", str(story.GONE), str(_LAST))},
    }.get(pair, set())


def test_history_of_the_fleet_counts_its_pairs(lived: Lived, capsys: pytest.CaptureFixture[str]) -> None:
    data = _printed(lived, capsys, "history", "--since", str(START))
    counted = {date.fromisoformat(each["night"]): each for each in data["nights"]}
    for night in lived.store.fleet_nights():
        there = [told for told in _YEAR.stories if night in told.asked and (told.name, night) not in story.NOT_IN_TIME]
        verdicts = [told.truth.not_go.get(night, Verdict.GO) for told in there]
        assert counted[night]["verdicts"] == {each.value: verdicts.count(each) for each in Verdict}, night
    assert counted[date(2026, 11, 20)]["not_asked"] == 0
    # One that was late, and one that has just left the inventory.
    assert counted[_LATE]["not_asked"] == 2
    assert sum(counted[night]["not_asked"] for night in story.nights(date(2026, 12, 15))) == 0


def test_changes_of_two_nights_are_those_of_their_stories(lived: Lived, capsys: pytest.CaptureFixture[str]) -> None:
    data = _printed(lived, capsys, "changes", "--since", "2026-07-19", "--until", "2026-07-20")
    assert data["pairs_seen"] == 8
    [found] = data["pairs"]
    assert (found["pair"], found["was"], found["now"]) == ("lockgate", "go", "no-go")
    assert {(each["kind"], each["subject"]) for each in found["changes"]} >= {
        ("reached", "lockgate-b"),
        ("neighbours", "lockgate-a"),
        ("finding", "pair-link"),
    }
    quiet = _printed(lived, capsys, "changes", "--since", "2026-07-10", "--until", "2026-07-19")
    assert quiet["pairs"] == []


def _printed(lived: Lived, capsys: pytest.CaptureFixture[str], command: str, *arguments: str) -> Any:
    assert main([command, *arguments, "--store", lived.url, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def _changes(store: Store, pair: str) -> list[Change]:
    return list(walk(store.nights(pair), store.state, store.ap_set))


def _what(each: Change | Moved) -> tuple[date, str, str]:
    return each.night, each.kind.value, each.subject


def _status(change: Change, words: str) -> str:
    """What the change says; of a finding its status only, without what is said beside it."""
    return words.split(" ")[0].rstrip(",") if change.kind is Kind.FINDING else words


def _outlook(store: Store, night: Night) -> Status:
    return store.state(night.state).rules[_OUTLOOK].status


def _forecast(nights: Sequence[Night], member: str) -> object:
    """What is foretold of the member's flash on the last of these nights."""
    *before, tonight = nights[-2 * LOOK_BACK :]
    room = next((room for room in tonight.rooms if room.member == member), None)
    if room is None or room.needed is None or tonight.asked is None:
        return None
    points = series(room, past_of(before), tonight.asked, tonight.night)
    return forecast(points) if points else None
