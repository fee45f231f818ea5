"""`show redundancy switchover history`, and the two lines that tell when the configuration was changed and saved."""

from __future__ import annotations

from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parsers import Unreadable, read
from parsers.facts.history import ConfigurationTime, Switchover, SwitchoverHistory
from tests.parsers.dressing import assert_reads_alike, cut, garbled, shortened

HISTORY = "show redundancy switchover history"
CHANGED = "show running-config | include Last configuration change"
SAVED = "show running-config | include NVRAM config last updated"

HEAD = """\
Index  Previous  Current  Switchover             Switchover
       active    active   reason                 time
-----  --------  -------  ----------             ----------
"""
TABLE = f"""\
{HEAD}   1       1        2     user_forced            09:16:26 CET Sat Jan 30 2027
   2       2        1     active unit removed    18:01:02 CET Mon Feb 1 2027
   3       1        2     user forced
"""
NONE = "No switchover history available\n"
CHANGE = "! Last configuration change at 21:02:44 CET Fri Feb 5 2027 by operator\n"
SAVE = "! NVRAM config last updated at 21:05:10 CET Fri Feb 5 2027\n"
ANSWERS = [(HISTORY, HEAD), (HISTORY, TABLE), (HISTORY, NONE), (CHANGED, CHANGE), (SAVED, SAVE)]


def history(text: str) -> SwitchoverHistory:
    facts = read(HISTORY, text)
    assert isinstance(facts, SwitchoverHistory)
    return facts


def configuration(text: str, command: str = CHANGED) -> ConfigurationTime:
    facts = read(command, text)
    assert isinstance(facts, ConfigurationTime)
    return facts


def test_switchovers_with_their_reasons_and_times() -> None:
    facts = history(TABLE)
    assert facts.switchovers == (
        Switchover(
            index=1,
            previous_active=1,
            current_active=2,
            reason="user_forced",
            time=datetime(2027, 1, 30, 9, 16, 26),
            at=4,
        ),
        Switchover(
            index=2,
            previous_active=2,
            current_active=1,
            reason="active unit removed",
            time=datetime(2027, 2, 1, 18, 1, 2),
            at=5,
        ),
        Switchover(index=3, previous_active=1, current_active=2, reason="user forced", at=6),
    )
    assert facts.at == {"switchovers": (4, 5, 6)}


def test_a_long_reason_may_push_the_time_out_of_its_column() -> None:
    (row,) = history(f"{HEAD} 1 1 2 a reason that is longer than its column 09:16:26 CET Sat Jan 30 2027").switchovers
    assert (row.reason, row.time) == ("a reason that is longer than its column", datetime(2027, 1, 30, 9, 16, 26))


def test_the_head_alone_says_that_there_were_none() -> None:
    facts = history(HEAD)
    assert facts.switchovers == ()
    assert facts.at == {"switchovers": (1, 2, 3)}


@pytest.mark.parametrize(
    "said",
    [
        "No switchover history",
        "No switchover history available.",
        "No switchovers have occurred",
        "There is no switchover history",
        "Redundancy switchover history is empty",
    ],
)
def test_a_sentence_says_that_there_were_none(said: str) -> None:
    facts = history(said)
    assert facts.switchovers == ()
    assert facts.at == {"switchovers": (1,)}
    assert history(HEAD + said).at == {"switchovers": (4,)}


@pytest.mark.parametrize(("command", "text"), ANSWERS)
def test_every_dress(command: str, text: str) -> None:
    assert_reads_alike(command, text)


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        (HEAD + "~~~~\n", "line 4 of the history can't be read"),
        (TABLE.replace("   1       1 ", "   x       1 "), "line 4 of the history can't be read"),
        (TABLE.replace("user forced", ""), "line 6 of the history can't be read"),
        (TABLE.replace("Jan 30", "Jan 32"), "line 4 of the history doesn't tell reason and time apart"),
        (TABLE.replace("09:16:26 CET Sat Jan 30 2027", "09"), "line 4 of the history doesn't tell reason and time"),
        (HEAD + "1 1 2 user forced 09:16:26 CET Sat Jan 32 2027", "line 4 of the history doesn't tell reason and time"),
        (TABLE.replace("   2       2 ", "   3       2 "), "don't count from 1 without a gap"),
        (TABLE.replace("   1       1 ", "   4       1 "), "don't count from 1 without a gap"),
        (TABLE + NONE, "it lists switchovers and says that there are none"),
        ("Switchover history:\n", "not the whole head of an empty table"),
        (HEAD.replace("active    active   reason", "act~ve    active   reason"), "line 2 of the history can't be read"),
    ],
)
def test_a_history_that_lost_something_is_unreadable(text: str, problem: str) -> None:
    with pytest.raises(Unreadable, match=problem):
        history(text)


def test_no_loss_but_that_of_the_end_hides_a_switchover() -> None:
    before = history(TABLE).switchovers
    tried = 0
    for name, damaged in [*shortened(TABLE), *garbled(TABLE)]:
        try:
            after = history(damaged).switchovers
        except Unreadable:
            continue
        tried += 1
        last = name.startswith("3 ")
        assert len(after) == len(before) - last, name
        for row, was in zip(after, before, strict=False):
            assert row.time in (was.time, None), name
    assert tried > 5


@pytest.mark.parametrize("lines", [0, 1, 2])
def test_a_head_that_was_cut_shows_nothing(lines: int) -> None:
    with pytest.raises(Unreadable):
        history("".join(HEAD.splitlines(keepends=True)[:lines]))


def test_what_is_cut_off_the_table_takes_only_the_latest_away() -> None:
    before = history(TABLE).switchovers
    for name, damaged in list(cut(TABLE))[3:]:
        after = history(damaged).switchovers
        assert after == before[: len(after)], name


_REASON = st.lists(st.from_regex(r"[A-Za-z][A-Za-z_-]{0,9}", fullmatch=True), min_size=1, max_size=5).map(" ".join)


@given(reasons=st.lists(_REASON, max_size=6), time=st.one_of(st.just(""), st.just("09:16:26 CET Sat Jan 30 2027")))
def test_a_history_is_read_back(reasons: list[str], time: str) -> None:
    rows = (f"{index:4}{1:8}{2:9}     {reason:<22} {time}\n" for index, reason in enumerate(reasons, 1))
    facts = history(HEAD + "".join(rows))
    wanted = datetime(2027, 1, 30, 9, 16, 26) if time else None
    assert [(row.reason, row.time) for row in facts.switchovers] == [(reason, wanted) for reason in reasons]


def test_when_the_configuration_was_changed_and_saved() -> None:
    facts = configuration(CHANGE)
    assert facts == ConfigurationTime(time=datetime(2027, 2, 5, 21, 2, 44), zone="CET", by="operator")
    assert facts.at == {"time": (1,), "zone": (1,), "by": (1,)}
    assert configuration(SAVE, SAVED) == ConfigurationTime(time=datetime(2027, 2, 5, 21, 5, 10), zone="CET")
    assert configuration("Building configuration...\n" + CHANGE) == facts
    assert "zone" not in configuration("! Last configuration change at 21:02:44 Fri Feb 5 2027").at


@pytest.mark.parametrize(
    ("command", "text", "problem"),
    [
        (CHANGED, SAVE, "line 1 tells no time of the configuration"),
        (SAVED, CHANGE, "line 1 tells no time of the configuration"),
        (CHANGED, CHANGE.replace("Feb 5", "Feb x"), "no line tells the time of the configuration"),
        (CHANGED, CHANGE.replace(" 2027 by operator", " 20"), "no line tells the time of the configuration"),
        (CHANGED, CHANGE + CHANGE.replace("21:02", "21:03"), "lines 1 and 2 contradict each other about the time"),
        (CHANGED, CHANGE + " description ! Last configuration change", "line 2 tells no time"),
        (CHANGED, "Building configuration...", "no line tells the time of the configuration"),
    ],
)
def test_what_tells_no_time_is_unreadable(command: str, text: str, problem: str) -> None:
    with pytest.raises(Unreadable, match=problem):
        configuration(text, command)


def test_no_garbling_gives_another_time() -> None:
    for name, damaged in garbled(CHANGE):
        try:
            assert configuration(damaged).time == configuration(CHANGE).time, name
        except Unreadable:
            continue
