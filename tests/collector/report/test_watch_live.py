"""The live picture, the log and the messages of a watch, by polls of a play that nobody had to ask."""

from __future__ import annotations

import io
import json
from datetime import timedelta

import pyte
import pytest

from collector.notify import Tone
from collector.report import watch_message, watch_terminal
from collector.report.watch_live import Json, Live, Log
from collector.report.watch_wording import rows
from collector.watching.following import follow
from collector.watching.sighting import Happening, WatchState, restored_happening, restored_sighting
from tests.collector.watching.polls import polled, start

STREAMS = [pytest.param(80, 24), pytest.param(60, 40), pytest.param(132, 50)]


def states(failure: str | None = None, seconds: float = 60) -> list[tuple[WatchState, tuple[Happening, ...]]]:
    state, found = start(), []
    for sighting in polled(seconds, failure)[1]:
        state, happened = follow(state, sighting)
        found.append((state, happened))
    return found


@pytest.mark.parametrize(("columns", "lines"), STREAMS)
@pytest.mark.parametrize("failure", [None, "aps-missing"])
def test_what_is_drawn_bit_by_bit_is_the_whole_picture(failure: str | None, columns: int, lines: int) -> None:
    out = io.StringIO()
    live = Live(out, lambda: (columns, lines))
    screen = pyte.Screen(columns, lines)
    stream = pyte.Stream(screen)
    for state, happened in states(failure):
        live.polled(state, happened)
        stream.feed(out.getvalue().replace("\n", "\r\n"))
        out.truncate(0)
        out.seek(0)
        picture = watch_terminal.lines(watch_terminal.picture(state, live._remedies), columns, colours=False)
        picture = picture[: lines - 1]
        shown = [line.rstrip() for line in screen.display]
        at = screen.cursor.y
        assert shown[at - len(picture) : at] == [line.rstrip() for line in picture]
        assert all(len(line) <= columns for line in picture)


def test_a_poll_without_news_sends_only_the_lines_that_changed() -> None:
    out = io.StringIO()
    live = Live(out, lambda: (80, 24))
    quiet = []
    for state, happened in states():
        before = len(out.getvalue())
        live.polled(state, happened)
        if not happened:
            quiet.append(len(out.getvalue()) - before)
    assert len(quiet) > 40
    # Two lines of 80 columns, their colours and the way there, as a rule; some polls move the members' rows too.
    assert sorted(quiet)[len(quiet) // 2] < 400


def test_another_width_draws_all_anew_with_the_last_lines_of_the_log() -> None:
    out, width = io.StringIO(), 80
    live = Live(out, lambda: (width, 24))
    found = states()[:12]
    for state, happened in found:
        live.polled(state, happened)
    width = 100
    before = len(out.getvalue())
    live.polled(found[-1][0], ())
    sent = out.getvalue()[before:]
    assert sent.startswith("\x1b[H\x1b[2J")
    assert "Expand the image" in sent
    assert "quay to 17.12.4" in sent


def test_the_picture_says_how_old_it_is_where_a_member_is_silent() -> None:
    reloading = next(state for state, _ in states() if state.latest and not state.latest.member("quay-b").answered)
    away = next(state for state, _ in states() if state.away and state.away[0].polls > 3)
    row = next(row for row in rows(away, {}) if row.label == "quay-b")
    assert row.text.startswith("nothing heard since 23:08, 3 min: the connection was refused")
    assert row.severity == "warning"
    assert reloading.away


def test_a_warning_stands_with_what_to_do() -> None:
    live = Live(io.StringIO(), lambda: (80, 24))
    warned = None
    for state, happened in states("standby-never-hot"):
        live.polled(state, happened)
        if state.warned and any(each.id == "standby-never-hot" for each in state.warned):
            warned = state
            break
    assert warned is not None
    texts = [row.text for row in rows(warned, live._remedies)]
    assert any(text.startswith("What to do: ") for text in texts)


def test_the_log_has_a_line_for_each_happening_and_one_every_five_minutes_without() -> None:
    out = io.StringIO()
    log = Log(out)
    happened = 0
    moments = []
    for state, happenings in states():
        log.polled(state, happenings)
        happened += len(happenings)
        if state.latest:
            moments.append(state.latest.moment)
    lines = out.getvalue().splitlines()
    beats = [line for line in lines if "access points" in line and "last moment" in line]
    assert len(lines) > happened
    assert len(lines) - happened <= (moments[-1] - moments[0]) / timedelta(minutes=5)
    assert beats


def test_json_has_an_object_a_line_that_comes_back_as_it_was() -> None:
    out = io.StringIO()
    printer = Json(out)
    found = states()
    for state, happenings in found:
        printer.polled(state, happenings)
    printer.ended(found[-1][0])
    said = [json.loads(line) for line in out.getvalue().splitlines()]
    assert [restored_sighting(each["sighting"]) for each in said if "sighting" in each] == [s.latest for s, _ in found]
    told = [restored_happening(each["happening"]) for each in said if "happening" in each]
    assert told == [each for _, happenings in found for each in happenings]
    assert len(said[-1]["stages"]) == len(found[-1][0].runs)


def test_messages_tell_of_what_matters_and_of_nothing_else() -> None:
    messages = [(watch_message.of_poll(state, happened), happened) for state, happened in states("auto-abort")]
    assert not [
        happened for message, happened in messages if message is None and any(h.severity != "note" for h in happened)
    ]
    assert not [message for message, happened in messages if message is not None and not happened]
    worst = [message for message, _ in messages if message is not None and "auto abort" in message.subject]
    assert worst
    assert worst[0].tone is Tone.WORSE
    assert worst[0].subject == "readypair: quay to 17.12.4: auto abort"
    assert "What to do: " in worst[0].body
    good = [message for state, happened in states() if (message := watch_message.of_poll(state, happened))]
    assert good[-1].tone is Tone.BETTER
    assert len(good) < 15
