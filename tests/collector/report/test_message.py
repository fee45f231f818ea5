"""The message: what it says first, that it stays short, and that nothing in it is more than text."""

from __future__ import annotations

import email.header
import unicodedata
from dataclasses import replace

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from collector.finding import Verdict
from collector.nights.news import News, Turn, standing
from collector.notify import Tone
from collector.ordering import Step, When
from collector.report.message import LONGEST, of_changes, of_fleet
from collector.result import PairResult
from tests.collector.report.sample import (
    BUNDLE,
    LATE,
    RESULT,
    SHORT,
    STARTED,
    STEERING,
    UNHEARD,
    UNTOLD,
    fleet_of,
    pair,
)

STEP = Step("flash-space", "Free space on pontoon-b.", When.IN_A_WINDOW, True)


def pontoon(*troubles: object, verdict: Verdict = Verdict.NO_GO, steps: tuple[Step, ...] = (STEP,)) -> PairResult:
    return replace(pair("pontoon", "North Pontoon", verdict, *troubles), steps=steps)  # type: ignore[arg-type]


WORSE = News(pontoon(SHORT), Turn.WORSE, Verdict.GO, against=(SHORT,))
AGAIN = News(RESULT.pairs[0], Turn.AGAIN, Verdict.NO_GO, no_longer=("config-sync", "clock"))


def test_a_message_says_what_changed_and_what_to_do_first() -> None:
    message = of_changes([WORSE, AGAIN], RESULT)
    assert message.subject == "readypair: 1 pair no longer goes, 1 goes again"
    assert message.tone is Tone.WORSE
    assert message.body == (
        "pontoon (North Pontoon): was go, is no-go; window 2027-02-06 23:00+01:00\n"
        "  flash-space (block): On pontoon-b 2503411200 bytes are free, and 3 images of 1250000000 bytes need "
        "3750000000: 1246588800 are missing.\n"
        "  to do first (in a window; may reload or drop clients): Free space on pontoon-b.\n"
        "\n"
        "quay (Harbour Quay): was no-go, is go; window 2027-02-06 23:00+01:00\n"
        "  no longer: config-sync, clock\n"
        "\n"
        "7 pairs: 2 go, 4 no-go, 1 undecided\n"
        "Swept 2027-02-06 21:14+01:00, inventory/demo"
    )


@pytest.mark.parametrize(
    ("turns", "subject"),
    [
        ([Turn.WORSE] * 2 + [Turn.AGAIN], "2 pairs no longer go, 1 goes again"),
        ([Turn.AGAIN] * 2, "2 pairs go again"),
        ([Turn.FORECAST, Turn.OTHERWISE], "1 pair is forecast not to go in its window, 1 changed otherwise"),
        ([Turn.FIRST], "1 pair not told of before doesn't go"),
        ([Turn.FIRST] * 3, "3 pairs not told of before don't go"),
        ([], "nothing changed"),
    ],
)
def test_the_subject_counts_the_pairs(turns: list[Turn], subject: str) -> None:
    assert of_changes([replace(WORSE, turn=turn) for turn in turns], RESULT).subject == f"readypair: {subject}"


@pytest.mark.parametrize(
    ("turns", "tone"),
    [
        ([], Tone.NEITHER),
        ([Turn.AGAIN], Tone.BETTER),
        ([Turn.AGAIN, Turn.OTHERWISE], Tone.WORSE),
        ([Turn.FORECAST], Tone.WORSE),
    ],
)
def test_the_tone_is_that_of_the_worst(turns: list[Turn], tone: Tone) -> None:
    assert of_changes([replace(WORSE, turn=turn) for turn in turns], RESULT).tone is tone


def test_a_silent_member_is_told_with_the_reason() -> None:
    lighter = UNHEARD.pairs[0]
    body = of_changes([News(lighter, Turn.WORSE, Verdict.GO, silent=("lighter-b",), back=("lighter-a",))], UNHEARD).body
    assert "  no answer: lighter-b: its host key isn't known: run `readypair trust`\n" in body
    assert "  answers again: lighter-a\n" in body
    assert "  to do first (any time): Mend boot-variable.\n" in body


def test_who_only_has_to_be_reached_is_told_so() -> None:
    lighter = replace(UNHEARD.pairs[0], steps=(replace(UNHEARD.pairs[0].steps[0], rule="install-mode"),))
    assert (
        "  to do first: find out why there is no answer\n" in of_changes([replace(WORSE, pair=lighter)], UNHEARD).body
    )


def test_a_forecast_is_told_with_its_remedy() -> None:
    feared = replace(SHORT, statement="pontoon-b is short of room from 2027-02-20 on.", remedy="Free space.")
    item = News(pontoon(verdict=Verdict.GO, steps=()), Turn.FORECAST, Verdict.GO, forecast=feared)
    assert of_changes([item], RESULT).body.startswith(
        "pontoon (North Pontoon): go; window 2027-02-06 23:00+01:00\n"
        "  forecast: pontoon-b is short of room from 2027-02-20 on.\n"
        "  to do: Free space.\n"
    )


def test_only_the_first_reasons_are_told() -> None:
    body = of_changes([replace(WORSE, against=(SHORT, BUNDLE, UNTOLD, UNTOLD))], RESULT).body
    assert "  install-mode (block): slipway-b runs in bundle mode.\n  and 2 more rules\n" in body


def test_pairs_that_were_not_asked_are_named() -> None:
    assert "\n1 not reached in time: tender\n" in of_changes([WORSE], LATE).body
    assert "tender" not in of_fleet(standing(LATE.pairs, STARTED), LATE).body.partition("\n\n8 pairs: ")[0]


def test_the_fleet_is_told_where_nobody_knows_what_changed() -> None:
    message = of_fleet(standing(RESULT.pairs, STARTED), RESULT)
    assert (message.subject, message.tone) == ("readypair: 5 of 7 pairs don't go", Tone.WORSE)
    assert message.body.startswith("pontoon (North Pontoon): no-go; window")
    all_go = replace(RESULT, pairs=RESULT.pairs[:1])
    assert of_fleet([], all_go).subject == "readypair: the only pair goes"
    assert of_fleet([], replace(RESULT, pairs=RESULT.pairs[:1] * 2)).subject == "readypair: all 2 pairs go"
    assert of_fleet([], all_go).tone is Tone.BETTER


def test_a_large_fleet_makes_no_longer_a_message() -> None:
    fleet = fleet_of(1000)
    message = of_fleet(standing(fleet.pairs, STARTED), fleet)
    assert LONGEST - 400 < len(message.body) <= LONGEST
    shown = message.body.count("window 2027-")
    assert f"\nand {714 - shown} more pairs: " in message.body
    assert message.body.endswith("Swept 2027-02-06 21:14+01:00, inventory/demo")


def test_a_long_remedy_is_cut_where_a_sentence_ends() -> None:
    sentences = "Free space on that member's flash by the vendor's clean-up procedure, old images first. " * 3
    body = of_changes([replace(WORSE, pair=pontoon(SHORT, steps=(replace(STEP, remedy=sentences),)))], RESULT).body
    assert (
        "clients): Free space on that member's flash by the vendor's clean-up procedure, old images first. …\n" in body
    )


@given(st.text(st.characters(exclude_categories=())), st.text(st.characters(exclude_categories=())))
@example("quay " * 900, "\x1b" * 4000)
def test_no_text_makes_it_long_or_steers(name: str, text: str) -> None:
    hostile = replace(SHORT, statement=text, remedy=text)
    item = News(
        replace(pair(name, text, Verdict.NO_GO, hostile), steps=(replace(STEP, remedy=text),)),
        Turn.WORSE,
        Verdict.GO,
        against=(hostile,) * 3,
        no_longer=(name,),
        forecast=hostile,
        silent=(f"{name}-a", f"{name}-b"),
        back=(f"{name}-a",),
    )
    late = replace(item.pair, in_time=False)
    result = replace(RESULT, pairs=(item.pair, late, late), inventory=text)
    for message in (of_changes([item] * 3, result), of_fleet([item], result)):
        assert len(message.body) <= LONGEST
        assert not [each for each in message.body.replace("\n", "") if unicodedata.category(each)[0] == "C"]
        assert message.subject.isprintable()
        assert email.header.Header(message.subject).encode().count("\n") == 0


def test_what_would_steer_is_spelled_out() -> None:
    body = of_changes(
        [replace(WORSE, pair=replace(WORSE.pair, pair=replace(WORSE.pair.pair, site=STEERING)))], RESULT
    ).body
    assert "AP-\\x1b[2J\\x1b]0;gone\\x07[bold]deck[/bold] [/] \\u202eback" in body
