from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from rich.console import Console, RenderableType

from collector.finding import Verdict
from collector.plan.plan import Plan, StageTimes
from collector.report import plan_terminal
from collector.report.plan_wording import clock, hours, some, span, turning_back, window
from tests.collector.report.plan_sample import (
    CEST,
    HOSTILE_PLAN,
    NARROW,
    NO_WINDOW,
    OPENS,
    QUAY,
    TOO_LONG,
    planned,
)
from tests.collector.report.sample import CET


def printed(part: RenderableType, *, width: int = 80, encoding: str = "utf-8") -> str:
    raw = io.BytesIO()
    file = io.TextIOWrapper(raw, encoding=encoding, errors="strict")
    Console(file=file, width=width, highlight=False, markup=False, emoji=False).print(part)
    file.flush()
    return raw.getvalue().decode(encoding)


def told(plan: Plan, verdict: Verdict = Verdict.GO) -> str:
    return printed(plan_terminal.plan(planned(plan, verdict)))


def row(text: str, stage: str) -> str:
    """The line of a stage in the timeline, which begins with its start."""
    return next(line for line in text.splitlines() if re.match(rf"(\d\d:\d\d|\?) *[|]?{stage}\b", line))


def bar(text: str, stage: str) -> str:
    """The drawn part of that line: what stands below the first hour's label."""
    heading = next(line for line in text.splitlines() if line.startswith("Start"))
    return row(text, stage)[heading.index("23:00") :]


def test_the_head_says_at_once_whether_it_fits() -> None:
    lines = told(QUAY).splitlines()
    assert lines[0].strip() == "quay, Harbour Quay, to 17.12.4: fits"
    assert "Sat 6 Feb 2027 23:00+01:00 to Sun 03:00 (4 h, Europe/Oslo)" in lines[1]
    assert "01:13 in 5 of 10 cases, 01:31 in 9 of 10; expected 01:14" in lines[2]
    assert "1 h 29 min to spare in 9 of 10 cases" in lines[3]
    assert "by 00:29; by 23:46 if even turning back at the end must still fit" in lines[4]


def test_each_stage_has_its_row_with_clock_times_last_moment_and_spare_time() -> None:
    text = told(QUAY)
    assert row(text, "reload-other").split()[:6] == ["23:33", "reload-other", "00:02", "00:12", "01:50", "1h38"]
    assert row(text, "restart-aps").split()[:7] == ["00:03", "restart-aps", "*", "00:38", "00:52", "01:14", "0h22"]
    assert row(text, "validate").split()[:6] == ["00:39", "validate", "01:10", "01:28", "01:14", "-0h14"]
    assert row(text, "commit").split()[:6] == ["01:11", "commit", "01:13", "01:31", "none", "-"]


def test_the_bars_lie_where_the_times_are() -> None:
    text = told(QUAY)
    cells = len(bar(text, "commit"))

    def cell(minutes: int) -> int:
        return minutes * cells // 240

    assert bar(text, "reload-standby").startswith("█" * (cell(20) + 1))
    assert bar(text, "restart-aps").index("█") == cell(63)
    assert bar(text, "restart-aps").rindex("█") == cell(98)
    assert bar(text, "restart-aps").rindex("░") == cell(112)
    assert bar(text, "restart-aps").index("◂") == cell(134)
    assert bar(text, "validate").index("◂") < bar(text, "validate").rindex("░")
    assert "◂" not in bar(text, "commit")
    assert all(bar(text, id)[-1] == "│" for id in ("reload-standby", "restart-aps", "commit"))


def test_a_plan_that_does_not_fit_says_by_how_much_and_what_would_mend_it() -> None:
    text = told(TOO_LONG)
    assert "to 17.12.4: too long" in text
    assert "31 min too little for 9 of 10 cases" in text
    assert "block  too-long" in text
    assert "What to do: A window of 151 minutes." in text
    # The last stage ends behind the window's edge.
    assert "░" in row(text, "commit").split("│")[-1]


def test_a_last_moment_before_the_stage_itself_is_no_time_of_day() -> None:
    stages = tuple(
        replace(each, turn_back=replace(each.turn_back, last_moment=OPENS - timedelta(hours=4), in_time=False))
        if each.id == "validate"
        else each
        for each in QUAY.stages
    )
    text = told(replace(QUAY, stages=stages))
    assert "too late" in row(text, "validate")
    assert "19:00" not in text
    assert turning_back(stages[8], clock(QUAY)).endswith("That is before this stage begins.")


def test_what_is_not_known_is_marked_in_its_place_and_told_below() -> None:
    text = told(NARROW)
    assert "to 17.12.4: incomplete" in text
    assert "not known; what is known takes 1 h 52 min in 9 of 10 cases" in text
    assert row(text, "validate").split()[:5] == ["?", "validate", "?", "?", "01:14"]
    assert "When validation ends.\n" in "\n".join(line.rstrip() for line in text.splitlines())
    assert "Needed: `timings.validate` in the policy." in text


def test_without_a_window_durations_stand_in_place_of_clock_times() -> None:
    text = told(NO_WINDOW)
    assert "none in the inventory" in text
    assert "Back by" not in text
    assert re.search(r"^validate +not known +not known +the policy has no `timings.validate`", text, re.M)


def test_a_pair_that_is_not_ready_is_blocked_whatever_its_times() -> None:
    assert "to 17.12.4: blocked" in told(QUAY, Verdict.NO_GO)
    assert "to 17.12.4: incomplete" in told(QUAY, Verdict.UNDECIDED)


def test_batches_and_holes_are_told_the_critical_ones_first() -> None:
    text = told(QUAY)
    assert "2 rounds of access point restarts: proven to be the fewest." in text
    assert text.index("gate-1        Harbour Quay, critical") < text.index("hall-3        hall")
    assert "3 rounds more than the batches; takes more than" in text
    assert "clients on them: not known" in text


def test_fewest_found_is_not_called_proven() -> None:
    assert QUAY.batches is not None
    text = " ".join(told(replace(QUAY, batches=replace(QUAY.batches, bound=1))).split())
    assert "the fewest found; with fewer than 1 it can't be done" in text
    assert "proven" not in text


def test_the_cautions_stand_below_every_plan() -> None:
    for plan in (QUAY, TOO_LONG, NARROW, NO_WINDOW):
        text = " ".join(told(plan).split())
        assert "This can drop clients" in text
        assert "Where lives or safety depend on the network, agree the outage beforehand" in text
        assert "The vendor's procedure and the change process rule over this paper." in text


def test_nothing_is_wider_than_the_terminal_and_nothing_steers_it() -> None:
    for plan in (QUAY, TOO_LONG, NARROW, NO_WINDOW, HOSTILE_PLAN):
        text = told(plan)
        assert max(len(line) for line in text.splitlines()) <= 80
        assert not any(character in text for character in "\x1b\x07\u202e")


def test_a_terminal_without_such_characters_gets_plain_ones() -> None:
    text = printed(plan_terminal.plan(planned(QUAY)), encoding="ascii")
    assert "###" in row(text, "reload-standby")
    assert "<" in row(text, "reload-standby")


def test_a_turn_back_that_may_come_too_late_stands_out() -> None:
    raw = io.StringIO()
    Console(file=raw, width=80, force_terminal=True, color_system="standard", highlight=False).print(
        plan_terminal.plan(planned(QUAY))
    )
    red = [line for line in raw.getvalue().splitlines() if "\x1b[1;31m01:14" in line]
    assert len(red) == 1
    assert "validate" in red[0]


def test_offsets_are_shown_where_they_change_inside_the_window() -> None:
    # Clocks go back on 31 October 2027 at 03:00 CEST (directive 2000/84/EC): 02:30 comes twice.
    first, second = datetime(2027, 10, 31, 2, 30, tzinfo=CEST), datetime(2027, 10, 31, 2, 30, tzinfo=CET)
    stages = tuple(
        replace(each, times=StageTimes(first, second, second, second)) if each.id == "reload-standby" else each
        for each in QUAY.stages
    )
    plan = replace(QUAY, window_start=first, window_end=second + timedelta(hours=2), stages=stages)
    found = clock(plan)
    assert (found.at(first), found.at(second)) == ("Sun 02:30+02:00", "Sun 02:30+01:00")
    assert window(plan).startswith("Sun 31 Oct 2027 02:30+02:00 to 04:30+01:00")
    assert clock(QUAY).at(first) == "02:30"


def test_a_last_moment_is_never_told_later_than_it_is() -> None:
    moment = OPENS + timedelta(minutes=5, seconds=50)
    assert (clock(QUAY).at(moment), clock(QUAY).by(moment)) == ("23:06", "23:05")


@pytest.mark.parametrize(
    ("seconds", "words", "narrow"),
    [
        (0, "0 s", "0h00"),
        (45, "45 s", "0h00"),
        (60, "1 min", "0h01"),
        (5340, "1 h 29 min", "1h29"),
        (-840, "-14 min", "-0h14"),
        (90000, "1 d 1 h", "25h00"),
        (-30, "-30 s", "-0h01"),
    ],
)
def test_durations_are_written_as_people_say_them(seconds: float, words: str, narrow: str) -> None:
    assert (span(seconds), hours(seconds)) == (words, narrow)


def test_long_lists_are_shortened() -> None:
    assert some(["a", "b", "c"], 2) == "a, b and 1 more"
    assert some(["a", "b"], 2) == "a, b"


def test_all_pairs_stand_in_one_table_with_their_first_reason() -> None:
    plans = [planned(QUAY), planned(TOO_LONG), planned(NARROW), planned(NO_WINDOW, Verdict.NO_GO)]
    lines = printed(plan_terminal.fleet(plans)).splitlines()
    assert lines[2].split() == ["quay", "2027-02-06", "23:00", "01:31", "1h29", "fits", "nothing"]
    assert "too long" in lines[3]
    assert "too-long" in lines[3]
    assert lines[4].rstrip().endswith("1 unknown")
    assert "none" in lines[5]
