from __future__ import annotations

import pytest

from collector.finding import Answer, Status
from collector.rules.config_sync import RULE
from parsers.facts.redundancy import ConfigSync
from tests.collector.rules.building import (
    CUT_OFF,
    MISSING,
    REFUSED,
    UNREADABLE,
    Answers,
    Lost,
    healthy,
    policy,
    snapshot,
    told,
    unreached,
)
from tests.collector.rules.losing import made_better

LISTS = {
    "show redundancy config-sync failures mcl": "the mismatched-command list",
    "show redundancy config-sync failures bem": "the list of best-effort failures",
    "show redundancy config-sync failures prc": "the list of parser-return failures",
    "show redundancy config-sync ignored failures mcl": "the ignored mismatched-command list",
}
MCL = "show redundancy config-sync failures mcl"
LINES = (
    "00:06:31: Config Sync: Starting lines from MCL file:",
    '! <submode> "interface"',
    "- channel-group 7 mode active",
)


def full(number: int, command: str = MCL, lines: tuple[str, ...] = LINES) -> Answers:
    """A member one of whose lists isn't empty."""
    at = {"lines": tuple(range(4, 4 + len(lines)))}
    return {**healthy(number), command: ConfigSync(empty=False, lines=lines, at=at)}


def judged(first: Answers | None = None, second: Answers | None = None) -> Answer:
    return RULE.judge(snapshot(first, second), policy())


def test_empty_lists_pass() -> None:
    found = judged()
    assert found.status is Status.PASS
    assert set(told(found.evidence)) == {(name, command) for name in ("quay-a", "quay-b") for command in LISTS}


@pytest.mark.parametrize("command", LISTS)
@pytest.mark.parametrize("number", [1, 2])
def test_any_list_that_is_not_empty_on_either_blocks(command: str, number: int) -> None:
    pair: list[Answers] = [healthy(1), healthy(2)]
    pair[number - 1] = full(number, command)
    found = judged(*pair)
    name = ("quay-a", "quay-b")[number - 1]
    wanted = f"{LISTS[command]} isn't empty: 3 lines, the first of them `- channel-group 7 mode active`"
    assert found.status is Status.BLOCK
    assert found.statement == f"{wanted}, as {name} tells it."
    assert told(found.evidence) == {(name, command): (4, 5, 6)}
    assert "reloads the standby" in found.remedy


def test_one_line_and_lines_without_a_command_are_named() -> None:
    assert "1 line, `- no shutdown`" in judged(full(1, lines=("- no shutdown",))).statement
    assert f"2 lines, the first of them `{LINES[0]}`" in judged(full(1, lines=LINES[:2])).statement
    assert "its lines couldn't be read" in judged(full(1, lines=())).statement


@pytest.mark.parametrize("empty", [None, True])
def test_lines_count_whatever_is_said_of_them(empty: bool | None) -> None:
    assert judged(None, {**healthy(2), MCL: ConfigSync(empty=empty, lines=LINES)}).status is Status.BLOCK


@pytest.mark.parametrize("command", LISTS)
def test_a_list_that_is_not_said_to_be_empty_is_unknown(command: str) -> None:
    found = judged({**healthy(1), command: ConfigSync()})
    assert found.status is Status.UNKNOWN
    assert f"`{command}` on quay-a doesn't say whether the list is empty" in found.statement


def test_the_actives_lists_stand_in_for_those_that_the_standby_refuses() -> None:
    found = judged(None, {**healthy(2), **dict.fromkeys(LISTS, REFUSED)})
    assert found.status is Status.PASS
    assert found.statement.endswith(
        f"since quay-b refused {', '.join(f'`{c}`' for c in list(LISTS)[:3])} and `{list(LISTS)[3]}`."
    )
    assert judged(None, unreached()).status is Status.PASS


@pytest.mark.parametrize("lost", [CUT_OFF, UNREADABLE, MISSING])
@pytest.mark.parametrize("command", LISTS)
def test_a_list_that_was_lost_is_unknown_and_named(command: str, lost: Lost) -> None:
    found = judged(None, {**healthy(2), command: lost})
    assert found.status is Status.UNKNOWN
    assert f"`{command}` on quay-b can't be used: {lost.problem}" in found.statement


def test_a_refused_list_that_the_active_lost_too_is_unknown() -> None:
    assert judged({**healthy(1), MCL: CUT_OFF}, {**healthy(2), MCL: REFUSED}).status is Status.UNKNOWN


def test_the_standbys_lists_do_not_stand_in_for_the_actives() -> None:
    assert judged({**healthy(1), MCL: REFUSED}).status is Status.UNKNOWN
    assert judged(unreached(), healthy(2)).status is Status.UNKNOWN


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (healthy(1), healthy(2)),
        *((full(1, command), healthy(2)) for command in LISTS),
        *((healthy(1), full(2, command)) for command in LISTS),
        (full(1), {**healthy(2), MCL: REFUSED}),
        (full(1), unreached()),
    ],
)
def test_no_loss_makes_it_better(first: Answers, second: Answers) -> None:
    assert made_better(RULE, first, second, policy()) == []
