from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.finding import Answer, Status
from collector.nights.night import Room
from collector.rules.flash_space import RULE, rooms
from parsers.facts.flash import Directory, File
from parsers.facts.redundancy import Chassis, Redundancy
from tests.collector.rules.building import (
    CUT_OFF,
    IMAGE,
    MISSING,
    REFUSED,
    UNREADABLE,
    Answers,
    Lost,
    changed,
    healthy,
    policy,
    snapshot,
    told,
    unreached,
)

OWN, PEER = "dir bootflash:", "dir stby-bootflash:"
NEED = 3 * IMAGE.bytes


def flash(free: int | None, *staged: int, listed: bool = True) -> Directory:
    """A flash with so many bytes free, and files of the image's name with these sizes."""
    files = tuple(File(name=IMAGE.file, bytes=size, at=4 + n) for n, size in enumerate(staged))
    return Directory(
        bytes_total=26_458_804_224,
        bytes_free=free,
        files=(File(name="packages.conf", bytes=6_723, at=2), *files) if listed else None,
        at={"bytes_free": (9,)} if free is not None else {},
    )


def judged(first: Answers | None = None, second: Answers | None = None) -> Answer:
    return RULE.judge(snapshot(first, second), policy())


def standby_has(directory: Directory) -> Answer:
    """The answer for a pair of which both sessions say this about the standby's flash."""
    return judged({**healthy(1), PEER: directory}, {**healthy(2), OWN: directory})


def test_room_for_all_images_passes() -> None:
    found = judged()
    assert found.status is Status.PASS
    assert "quay-a has 19.5 GB free, and 3 images of 1.25 GB need 3.75 GB" in found.statement
    assert told(found.evidence) == {("quay-a", OWN): (3, 9), ("quay-b", OWN): (3, 9), ("quay-a", PEER): (3, 9)}


def test_the_standby_alone_blocks_and_the_sentence_gives_the_arithmetic() -> None:
    found = standby_has(flash(2_100_000_000, IMAGE.bytes))
    assert found.status is Status.BLOCK
    assert found.statement == (
        "quay-b has 2.1 GB free, and 3 images of 1.25 GB need 3.75 GB, of which 1.25 GB is staged already: "
        "400 MB short."
    )
    assert told(found.evidence) == {("quay-b", OWN): (4, 9), ("quay-a", PEER): (4, 9)}
    assert "Free space" in found.remedy


@pytest.mark.parametrize(
    ("free", "staged", "status"),
    [
        (NEED, (), Status.PASS),
        (NEED - 1, (), Status.BLOCK),
        (NEED - IMAGE.bytes, (IMAGE.bytes,), Status.PASS),
        (NEED - IMAGE.bytes - 1, (IMAGE.bytes,), Status.BLOCK),
        (NEED - IMAGE.bytes, (IMAGE.bytes - 1,), Status.BLOCK),
        (NEED - IMAGE.bytes, (), Status.BLOCK),
    ],
)
def test_a_byte_decides(free: int, staged: tuple[int, ...], status: Status) -> None:
    assert standby_has(flash(free, *staged)).status is status


def test_close_to_the_limit_the_sentence_counts_bytes() -> None:
    said = standby_has(flash(NEED - 1)).statement
    assert "3,749,999,999 bytes free" in said
    assert "3,750,000,000 bytes: 1 byte short" in said


def test_a_file_of_the_images_name_but_another_size_counts_nothing_and_is_told() -> None:
    found = standby_has(flash(2_500_000_000, 700_000_000))
    assert found.status is Status.BLOCK
    assert f"{IMAGE.file} is there with 700,000,000 bytes and doesn't count" in found.statement


def test_without_a_list_of_files_what_hangs_on_a_staged_image_is_unknown() -> None:
    assert standby_has(flash(NEED, listed=False)).status is Status.PASS
    assert standby_has(flash(NEED - IMAGE.bytes, listed=False)).status is Status.UNKNOWN
    assert standby_has(flash(NEED - IMAGE.bytes - 1, listed=False)).status is Status.BLOCK


def test_without_an_image_in_the_inventory_the_need_is_unknown() -> None:
    found = RULE.judge(snapshot(image=None), policy())
    assert found.status is Status.UNKNOWN
    assert "the inventory states no image for 17.12.4" in found.statement


def test_the_policy_says_how_many_images() -> None:
    small = {**healthy(2), OWN: flash(2 * IMAGE.bytes)}
    assert RULE.judge(snapshot(b=small), policy(images_to_hold=2)).status is Status.PASS
    assert RULE.judge(snapshot(b=small), policy(images_to_hold=3)).status is Status.BLOCK


def test_either_sessions_word_is_enough_to_block() -> None:
    assert judged(second={**healthy(2), OWN: flash(0)}).status is Status.BLOCK
    found = judged({**healthy(1), PEER: flash(0)})
    assert found.status is Status.BLOCK
    assert "quay-b has 0 bytes free" in found.statement
    assert "told by quay-a" in found.statement


@pytest.mark.parametrize("second", [{**healthy(2), OWN: REFUSED}, unreached()])
def test_the_active_one_stands_in_for_a_standby_that_refuses_or_is_not_reached(second: Answers) -> None:
    found = judged(second=second)
    assert found.status is Status.PASS
    assert "told by quay-a, since quay-b" in found.statement
    assert judged({**healthy(1), PEER: flash(0)}, second).status is Status.BLOCK
    assert judged({**healthy(1), PEER: REFUSED}, second).status is Status.UNKNOWN


def test_nobody_stands_in_for_the_active_one() -> None:
    assert judged({**healthy(1), OWN: REFUSED}).status is Status.UNKNOWN


def test_the_second_listed_member_may_be_the_active_one() -> None:
    found = judged({**healthy(2), OWN: REFUSED}, {**healthy(1), PEER: flash(0)})
    assert found.status is Status.BLOCK
    assert "quay-a has 0 bytes free" in found.statement


def test_a_session_of_the_active_one_may_refuse_what_the_standby_tells_itself() -> None:
    assert judged({**healthy(1), PEER: REFUSED}).status is Status.PASS


@pytest.mark.parametrize("lost", [CUT_OFF, UNREADABLE, MISSING])
@pytest.mark.parametrize(("number", "command"), [(1, OWN), (1, PEER), (2, OWN)])
def test_a_lost_answer_is_unknown_whatever_the_others_say(number: int, command: str, lost: Lost) -> None:
    answers = {**healthy(number), command: lost}
    found = judged(answers) if number == 1 else judged(None, answers)
    assert found.status is Status.UNKNOWN
    assert f"`{command}` on quay-{'ab'[number - 1]}" in found.statement


def test_every_lost_answer_is_named() -> None:
    said = judged({**healthy(1), PEER: CUT_OFF}, {**healthy(2), OWN: UNREADABLE}).statement
    assert f"`{OWN}` on quay-b" in said
    assert f"`{PEER}` on quay-a" in said


def test_a_figure_that_was_not_shown_is_unknown() -> None:
    assert judged(second={**healthy(2), OWN: flash(None)}).status is Status.UNKNOWN
    assert judged({**healthy(1), PEER: flash(None)}).status is Status.UNKNOWN


def test_where_the_roles_are_not_known_bad_news_counts_and_good_news_does_not() -> None:
    nobody = {"show_redundancy": Redundancy(), "show_chassis_rmi": Chassis()}
    first, second = changed(healthy(1), **nobody), changed(healthy(2), **nobody)
    assert judged(first, second).status is Status.PASS
    assert judged(first, {**second, OWN: REFUSED}).status is Status.UNKNOWN
    found = judged({**first, PEER: flash(0)}, second)
    assert found.status is Status.BLOCK
    assert found.statement.startswith("the standby has 0 bytes free")


@given(st.integers(0, 6 * 10**9), st.lists(st.integers(1, 2 * 10**9) | st.just(IMAGE.bytes), max_size=3))
def test_it_passes_exactly_where_the_images_fit(free: int, sizes: list[int]) -> None:
    fits = free + (IMAGE.bytes if IMAGE.bytes in sizes else 0) >= NEED
    assert standby_has(flash(free, *sizes)).status is (Status.PASS if fits else Status.BLOCK)


def test_a_room_holds_the_figures_that_the_rule_counts_with() -> None:
    found = rooms(snapshot({**healthy(1), PEER: flash(5)}, {**healthy(2), OWN: flash(2_100_000_000)}), policy())
    assert found == (
        Room("quay-a", 19_503_411_200, 26_458_804_224, NEED - IMAGE.bytes),
        Room("quay-b", 2_100_000_000, 26_458_804_224, NEED),
    )


@pytest.mark.parametrize("lost", [REFUSED, CUT_OFF, MISSING])
def test_a_room_is_told_by_the_partner_where_the_standby_tells_none(lost: Lost) -> None:
    first, second = {**healthy(1), PEER: flash(5)}, {**healthy(2), OWN: lost}
    assert rooms(snapshot(first, second), policy())[1] == Room("quay-b", 5, 26_458_804_224, NEED)
    assert rooms(snapshot(healthy(2), {**healthy(1), OWN: lost}), policy())[1] == Room("quay-b", None, None, None)
    nobody = {"show_redundancy": Redundancy(), "show_chassis_rmi": Chassis()}
    unsure = snapshot(changed(first, **nobody), changed(second, **nobody))
    assert rooms(unsure, policy())[1] == Room("quay-b", None, None, None)


def test_of_a_room_what_is_not_known_is_none() -> None:
    assert rooms(snapshot(image=None), policy())[0] == Room("quay-a", 19_503_411_200, 26_458_804_224, None)
    unlisted = rooms(snapshot({**healthy(1), OWN: flash(7, listed=False)}), policy())[0]
    assert unlisted == Room("quay-a", 7, 26_458_804_224, None)
    assert rooms(snapshot({**healthy(1), OWN: flash(None)}), policy())[0].needed is None


@given(st.integers(0, 6 * 10**9), st.lists(st.integers(1, 2 * 10**9) | st.just(IMAGE.bytes), max_size=3))
def test_the_rule_passes_exactly_where_a_room_has_what_it_needs(free: int, sizes: list[int]) -> None:
    told = flash(free, *sizes)
    found = rooms(snapshot({**healthy(1), PEER: told}, {**healthy(2), OWN: told}), policy())[1]
    assert found.free is not None
    assert found.needed is not None
    assert (standby_has(told).status is Status.PASS) is (found.free >= found.needed)


@pytest.mark.parametrize("number", [1, 2])
def test_less_room_below_the_listing_of_a_folder_is_heard(number: int) -> None:
    """It is the same flash: a digit that was spoilt in one of the two figures isn't believed."""
    spoilt = {**healthy(number), "dir bootflash:core": flash(1_411_203_072)}
    found = judged(**{"first" if number == 1 else "second": spoilt})
    assert found.status is Status.BLOCK
    assert ("quay-a" if number == 1 else "quay-b", "dir bootflash:core") in told(found.evidence)


def test_room_below_the_listing_of_a_folder_makes_up_for_nothing() -> None:
    full = {**healthy(1), OWN: flash(1_411_203_072), "dir bootflash:core": flash(19_503_411_200)}
    assert judged(full).status is Status.BLOCK
    assert judged({**full, OWN: CUT_OFF}).status is Status.UNKNOWN
