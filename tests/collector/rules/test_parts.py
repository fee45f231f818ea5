from __future__ import annotations

from itertools import pairwise

import pytest

from collector.finding import Evidence, Status
from collector.rules.parts import Part, answer, merged, sentence, with_capital, worst


def lines(*numbers: int) -> Evidence:
    return Evidence("quay-a", "show boot", numbers, tuple(f"line {number}" for number in numbers))


def test_the_worst_status_decides() -> None:
    best_first = (Status.NOT_APPLICABLE, Status.PASS, Status.CAUTION, Status.UNKNOWN, Status.BLOCK)
    for better, worse in pairwise(best_first):
        assert worst((better, worse)) is worse
        assert worst((worse, better)) is worse


def test_nothing_found_is_unknown() -> None:
    assert worst(()) is Status.UNKNOWN
    assert answer([]).status is Status.UNKNOWN


def test_a_pass_shows_only_what_passed() -> None:
    found = answer([Part(Status.NOT_APPLICABLE, "one doesn't count"), Part(Status.PASS, "the other is fine")])
    assert (found.status, found.statement) == (Status.PASS, "the other is fine.")


def test_a_block_shows_the_lesser_troubles_after_it_and_no_good_news() -> None:
    found = answer(
        [
            Part(Status.PASS, "a is fine", (lines(1),), ""),
            Part(Status.CAUTION, "b is odd", (lines(4),), "Look at b."),
            Part(Status.BLOCK, "c is bad", (lines(3),), "Mend c."),
            Part(Status.UNKNOWN, "d isn't known"),
        ]
    )
    assert found.status is Status.BLOCK
    assert found.statement == "c is bad; d isn't known; b is odd."
    assert found.remedy == "Mend c. Look at b."
    assert found.evidence == (lines(3, 4),)


def test_the_same_remedy_and_the_same_clause_stand_once() -> None:
    found = answer([Part(Status.BLOCK, "bad", (), "Mend it."), Part(Status.BLOCK, "bad", (), "Mend it.")])
    assert (found.statement, found.remedy) == ("bad.", "Mend it.")


def test_a_caution_that_two_remedies_share_stands_once_behind_both() -> None:
    shared = "It can reload a controller: agree it."
    parts = [Part(Status.BLOCK, clause, (), f"Mend {clause} (by v. 1.2). {shared}") for clause in ("a", "b")]
    assert answer(parts).remedy == f"Mend a (by v. 1.2). Mend b (by v. 1.2). {shared}"


def test_only_blocks_that_are_all_mended_by_another_plan_touch_no_controller() -> None:
    replan = Part(Status.BLOCK, "the target is old", remedy="Choose another.", replan=True)
    unknown = Part(Status.UNKNOWN, "a isn't known")
    assert answer([replan, unknown]).replan
    assert not answer([replan, Part(Status.BLOCK, "a is old", remedy="Upgrade a.")]).replan
    assert not answer([unknown]).replan


def test_what_holds_for_both_members_is_said_once() -> None:
    parts = [Part(Status.PASS, f"quay-{m} runs 17.9.4a", about=f"quay-{m}") for m in "ab"]
    assert answer(parts).statement == "quay-a runs 17.9.4a; quay-b likewise."


def test_what_differs_is_said_of_each() -> None:
    parts = [Part(Status.PASS, f"{m} runs {r}", about=m) for m, r in (("quay-a", "17.9.4"), ("quay-b", "17.9.5"))]
    assert sentence(part.clause for part in parts) == answer(parts).statement


def test_evidence_of_one_capture_is_one_block_of_lines_in_order() -> None:
    other = Evidence("quay-b", "show boot", (2,), ("line 2",))
    assert merged([lines(5), other, lines(1, 5)]) == (lines(1, 5), other)


@pytest.mark.parametrize(
    ("statement", "begun"),
    [
        ("the list isn't empty.", "The list isn't empty."),
        ("quay-a's boot variable is empty.", "quay-a's boot variable is empty."),
        ("quay-b has manual boot on.", "quay-b has manual boot on."),
        ("quay is the site.", "Quay is the site."),
        ("quay-away is no member.", "Quay-away is no member."),
        ("`show boot` on quay-a can't be used.", "`show boot` on quay-a can't be used."),
        ("", ""),
    ],
)
def test_a_statement_begins_with_a_capital_or_with_a_members_own_name(statement: str, begun: str) -> None:
    assert with_capital(statement, ["quay-a", "quay-b"]) == begun
