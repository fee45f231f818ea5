"""News: what of a sweep is told, what isn't worth telling again, and in which order."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.finding import Finding, Status, Verdict
from collector.nights.news import News, Turn, news, standing
from collector.nights.night import MemberState, PairState, RuleState
from collector.result import PairResult
from tests.collector.report.sample import BUNDLE, RESULT, SHORT, STARTED, UNHEARD, UNTOLD, WAIVER, finding, pair

FEARED = replace(
    finding("config-sync", Status.CAUTION, "quay-b is short of room from 2027-02-20 on.", "Free space."),
    rule="outlook",
    weight="caution",
)


def quay(verdict: Verdict, *troubles: Finding, days: int = 0) -> PairResult:
    made = pair("quay", "Harbour Quay", verdict, *troubles, days=days)
    return replace(made, findings=(*made.findings, *(each for each in troubles if each.rule == "outlook")))


def told(result: PairResult) -> PairState:
    """What the store kept of it."""
    return PairState(
        result.verdict,
        result.target_release,
        {each.rule: RuleState(each.status, each.decides, each.waiver is not None) for each in result.findings},
        {member.name: MemberState(reached=member.reached) for member in result.members},
    )


def since(before: PairResult, now: PairResult) -> News | None:
    found = news([now], {now.pair.name: told(before)}, STARTED)
    return found[0] if found else None


GO = quay(Verdict.GO)
NO_GO = quay(Verdict.NO_GO, SHORT)
SILENT = replace(
    quay(Verdict.UNDECIDED, UNTOLD),
    members=(GO.members[0], replace(GO.members[1], reached=False)),
    left_unknown=("install-mode",),
)


@pytest.mark.parametrize("result", [*RESULT.pairs, SILENT, UNHEARD.pairs[0]])
def test_what_is_as_it_was_is_no_news(result: PairResult) -> None:
    assert since(result, result) is None


def test_a_pair_that_no_longer_goes() -> None:
    assert since(GO, NO_GO) == News(NO_GO, Turn.WORSE, Verdict.GO, against=(SHORT,))


def test_a_pair_that_goes_again() -> None:
    assert since(NO_GO, GO) == News(GO, Turn.AGAIN, Verdict.NO_GO, no_longer=("flash-space",))


def test_a_pair_that_does_not_go_for_another_reason() -> None:
    other = quay(Verdict.NO_GO, BUNDLE)
    expected = News(other, Turn.OTHERWISE, Verdict.NO_GO, against=(BUNDLE,), no_longer=("flash-space",))
    assert since(NO_GO, other) == expected


def test_a_pair_that_nobody_was_told_of() -> None:
    assert news([NO_GO, GO], {}, STARTED) == [News(NO_GO, Turn.FIRST, against=(SHORT,))]
    assert standing([NO_GO, GO], STARTED) == news([NO_GO, GO], {}, STARTED)


def test_a_member_that_no_longer_answers_is_told_once_and_not_rule_by_rule() -> None:
    assert since(GO, SILENT) == News(SILENT, Turn.WORSE, Verdict.GO, silent=("quay-b",))
    assert since(SILENT, GO) == News(GO, Turn.AGAIN, Verdict.UNDECIDED, no_longer=("install-mode",), back=("quay-b",))


def test_a_block_that_was_not_known_before_is_news_but_not_the_other_way_round() -> None:
    unknown = replace(SHORT, status=Status.UNKNOWN)
    first, second = quay(Verdict.NO_GO, BUNDLE, unknown), quay(Verdict.NO_GO, BUNDLE, SHORT)
    assert since(first, second) == News(second, Turn.OTHERWISE, Verdict.NO_GO, against=(SHORT,))
    assert since(second, first) is None
    # Beside its waived block something wasn't known, which decided; without the waiver there is more to do.
    waived = quay(Verdict.UNDECIDED, BUNDLE, replace(SHORT, waiver=WAIVER, unsure=True))
    assert since(waived, second) == News(second, Turn.OTHERWISE, Verdict.UNDECIDED, against=(SHORT,))


def test_a_verdict_is_news_by_itself() -> None:
    undecided = quay(Verdict.UNDECIDED, replace(SHORT, status=Status.UNKNOWN))
    assert since(NO_GO, undecided) == News(undecided, Turn.OTHERWISE, Verdict.NO_GO)


def test_blocks_come_before_what_is_not_known() -> None:
    found = since(GO, quay(Verdict.NO_GO, UNTOLD, SHORT))
    assert found
    assert [each.rule for each in found.against] == ["flash-space", "install-mode"]


def test_a_waiver_that_ended_is_news() -> None:
    waived = quay(Verdict.GO, replace(SHORT, waiver=WAIVER))
    assert since(waived, NO_GO) == News(NO_GO, Turn.WORSE, Verdict.GO, against=(SHORT,))
    assert since(NO_GO, waived) == News(waived, Turn.AGAIN, Verdict.NO_GO, no_longer=("flash-space",))


def test_what_only_cautions_is_no_news() -> None:
    assert since(GO, quay(Verdict.GO, replace(SHORT, status=Status.CAUTION, weight="caution"))) is None


def test_a_pair_that_is_newly_forecast_not_to_go_is_news_once() -> None:
    feared = quay(Verdict.GO, FEARED)
    assert since(GO, feared) == News(feared, Turn.FORECAST, Verdict.GO, forecast=FEARED)
    assert since(feared, feared) is None
    assert since(feared, GO) is None


def test_a_rule_that_the_store_does_not_know_yet_counts_as_passed() -> None:
    before = told(GO)
    (found,) = news([NO_GO], {"quay": replace(before, rules={})}, STARTED)
    assert found.against == (SHORT,)


def test_the_worst_come_first_and_of_those_the_soonest_window() -> None:
    def named(name: str, verdict: Verdict, *troubles: Finding, days: int = 1) -> PairResult:
        return pair(name, "Pier", verdict, *troubles, days=days)

    pairs = [
        named("again", Verdict.GO),
        named("new", Verdict.NO_GO, SHORT),
        named("worse-later", Verdict.NO_GO, SHORT, days=3),
        named("worse-past", Verdict.NO_GO, SHORT, days=-5),
        named("worse-soon", Verdict.NO_GO, SHORT, days=2),
        named("other", Verdict.NO_GO, BUNDLE),
    ]
    was = {each.pair.name: told(replace(GO, members=each.members)) for each in pairs if each.pair.name != "new"}
    was |= {name: told(NO_GO) for name in ("again", "other")}
    no_window = replace(pairs[2], pair=replace(pairs[2].pair, name="worse-none", window=None))
    was["worse-none"] = was["worse-later"]
    found = news([no_window, *pairs], was, STARTED + timedelta(days=1))
    assert [each.pair.pair.name for each in found] == [
        "worse-soon",
        "worse-later",
        "worse-none",
        "worse-past",
        "new",
        "other",
        "again",
    ]


@given(st.permutations(range(len(RESULT.pairs))))
def test_the_order_does_not_hang_on_the_inventorys(order: list[int]) -> None:
    shuffled = [RESULT.pairs[number] for number in order]
    assert standing(shuffled, STARTED) == standing(RESULT.pairs, STARTED)
