from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from collector.report.plan_drawing import draw
from tests.collector.report.plan_sample import CEST, NO_WINDOW, QUAY, TOO_LONG, after
from tests.collector.report.sample import CET


def test_without_a_window_nothing_is_drawn() -> None:
    assert draw(NO_WINDOW) is None


def test_only_hours_inside_the_drawing_are_written() -> None:
    found = draw(replace(QUAY, window_start=after(-20), window_end=after(260)))
    assert found is not None
    assert [hour.label for hour in found.hours] == ["23:00", "00:00", "01:00", "02:00", "03:00"]
    assert all(found.opens < hour.at < found.closes for hour in found.hours)


def test_a_long_window_has_fewer_ticks() -> None:
    found = draw(replace(QUAY, window_end=after(24 * 60 - 1)))
    assert found is not None
    assert [hour.label for hour in found.hours] == ["00:00", "06:00", "12:00", "18:00"]


def test_an_hour_that_the_clocks_repeat_is_written_twice() -> None:
    # Clocks go back on 31 October 2027 at 03:00 CEST (directive 2000/84/EC).
    opens, closes = datetime(2027, 10, 31, 1, tzinfo=CEST), datetime(2027, 10, 31, 3, tzinfo=CET)
    day = opens - after(0)
    stages = tuple(
        replace(
            each,
            times=replace(
                each.times,
                start=(each.times.start + day).astimezone(CEST),
                finish=(each.times.finish + day).astimezone(CEST),
                p50=(each.times.p50 + day).astimezone(CEST),
                p90=(each.times.p90 + day).astimezone(CEST),
            ),
            turn_back=replace(each.turn_back, last_moment=None),
        )
        if each.times is not None
        else each
        for each in QUAY.stages
    )
    assert QUAY.times is not None
    times = replace(QUAY.times, begin=opens, p90=opens + timedelta(hours=2))
    found = draw(replace(QUAY, window_start=opens, window_end=closes, stages=stages, times=times))
    assert found is not None
    assert [hour.label for hour in found.hours] == ["01:00+02:00", "02:00+02:00", "02:00+01:00", "03:00+01:00"]
    places = [hour.at for hour in found.hours]
    assert places == sorted(places)


def test_a_turn_back_point_outside_the_drawing_is_not_drawn() -> None:
    late = tuple(
        replace(each, turn_back=replace(each.turn_back, last_moment=after(-300))) if each.id == "validate" else each
        for each in QUAY.stages
    )
    found = draw(replace(QUAY, stages=late))
    assert found is not None
    turns = {bar.stage.id: bar.turn for bar in found.bars}
    assert turns["validate"] is None
    assert turns["commit"] is None
    assert turns["restart-aps"] is not None


def test_what_ends_after_the_window_is_drawn_behind_its_edge() -> None:
    found = draw(TOO_LONG)
    assert found is not None
    assert found.bars[-1].most > found.closes
    assert found.bars[-1].label_anchor == "end"
