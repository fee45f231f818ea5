"""The year's captures move as those of real controllers do, and nothing else about them is left to chance."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from collector.capture import Capture, Ending
from collector.nights.night import night_of
from tests.year import captures, story
from tests.year.story import START, Region

_YEAR = story.year()
# Before and after the clocks go on and back, and an ordinary night.
_NIGHTS = [date(2026, 3, 28), date(2026, 3, 29), date(2026, 7, 1), date(2026, 10, 24), date(2026, 10, 25)]


@pytest.mark.parametrize("night", _NIGHTS)
@pytest.mark.parametrize("region", Region)
def test_every_capture_belongs_to_the_night_of_its_sweep(region: Region, night: date) -> None:
    [asking] = [each for each in _YEAR.askings(night) if each.region is region]
    for pair in asking.pairs:
        own = captures.of_night(_YEAR.story(pair), night, asking, 1)
        assert {night_of(each.started) for member in own.values() for each in member if each.started} == {night}


def test_a_seed_gives_the_same_night_again_and_another_seed_another() -> None:
    [first, again, other] = [_night("foreshore", date(2026, 7, 1), seed) for seed in (1, 1, 2)]
    assert first == again
    assert first["foreshore-a"]["show clock"] != other["foreshore-a"]["show clock"]
    assert first["foreshore-a"]["show boot"].text == other["foreshore-a"]["show boot"].text


def test_what_moves_by_itself_moves_and_the_rest_stays() -> None:
    tonight, tomorrow = (_night("millrace", date(2026, 7, day), 1)["millrace-a"] for day in (1, 2))
    moved = {command for command in tonight if tonight[command].text != tomorrow[command].text}
    assert moved >= {
        "show version",
        "show redundancy",
        "show clock",
        "show ntp status",
        "dir bootflash:",
        "dir stby-bootflash:",
        "show platform resources",
        "show platform software status control-processor brief",
    }
    assert moved.isdisjoint({"show romvar", "show install summary", "show crypto pki certificates"})
    assert not any("running-config" in command for command in moved)


def test_lines_of_the_log_break_in_now_and_then() -> None:
    nights = list(story.nights(START, START + timedelta(days=60)))
    broken = [
        night
        for night in nights
        if any(": %" in each.text for each in _night("saltpan", night, 1)["saltpan-a"].values())
    ]
    assert 3 < len(broken) < 30


def test_access_points_stand_in_another_order_now_and_then() -> None:
    told = _YEAR.story("millrace")
    texts = {
        _night("millrace", night, 1)["millrace-a"]["show ap summary"].text
        for night in story.nights(START, START + timedelta(days=30))
    }
    assert len(texts) > 2
    assert all(ap.name in text for text in texts for ap in told.base.access_points)


@pytest.mark.parametrize(("night", "zone"), [(date(2026, 3, 28), "CET"), (date(2026, 3, 29), "CEST")])
def test_clocks_keep_summer_time(night: date, zone: str) -> None:
    assert f" {zone} " in _night("foreshore", night, 1)["foreshore-a"]["show clock"].text


def test_who_is_late_or_silent_has_no_captures() -> None:
    for night, reason in ((date(2026, 12, 1), "deadline"), (date(2026, 10, 3), "doesn't answer")):
        for own in _night("lockgate", night, 1).values():
            assert {each.ending for each in own.values()} == {Ending.MISSING}
            assert all(reason in each.reason for each in own.values())


@pytest.mark.parametrize(
    ("up", "printed"),
    [
        (timedelta(seconds=59), "0 minutes"),
        (timedelta(minutes=61), "1 hour, 1 minute"),
        (timedelta(days=15), "2 weeks, 1 day, 0 minutes"),
        (timedelta(days=374, hours=2), "1 year, 1 week, 2 days, 2 hours, 0 minutes"),
    ],
)
def test_uptimes_are_printed_without_what_is_none(up: timedelta, printed: str) -> None:
    assert captures.uptime(up) == printed


def _night(pair: str, night: date, seed: int) -> dict[str, dict[str, Capture]]:
    told = _YEAR.story(pair)
    [asking] = [each for each in _YEAR.askings(night) if told.name in each.pairs and each.whole and each.finished]
    own = captures.of_night(told, night, asking, seed)
    return {member: {each.command: each for each in found} for member, found in own.items()}
