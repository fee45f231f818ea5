from __future__ import annotations

from dataclasses import replace

import pytest

from collector.finding import Answer, Status
from collector.rules.image_staged import RULE
from parsers.facts.flash import Directory, File
from parsers.facts.redundancy import Chassis, Redundancy
from parsers.facts.software import Version
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
from tests.collector.rules.lessening import bettered

OWN, PEER = "dir bootflash:", "dir stby-bootflash:"


def flash(*sizes: int, listed: bool = True) -> Directory:
    """A flash with files of the image's name and these sizes, beside another file."""
    files = tuple(File(name=IMAGE.file, bytes=size, at=4 + n) for n, size in enumerate(sizes))
    other = File(name="packages.conf", bytes=IMAGE.bytes, at=2)
    return Directory(bytes_total=10**11, bytes_free=10**10, files=(other, *files) if listed else None)


def judged(first: Answers | None = None, second: Answers | None = None) -> Answer:
    return RULE.judge(snapshot(first, second), policy())


def standby_has(directory: Directory) -> tuple[Answers, Answers]:
    """A pair of which both sessions say this of the standby's flash."""
    return {**healthy(1), PEER: directory}, {**healthy(2), OWN: directory}


def test_a_whole_image_on_both_passes() -> None:
    found = judged()
    assert found.status is Status.PASS
    assert found.statement == (
        f"quay-a holds {IMAGE.file} with the 1,250,000,000 bytes that the inventory states; quay-b likewise."
    )
    assert told(found.evidence) == {("quay-a", OWN): (3,), ("quay-b", OWN): (3,), ("quay-a", PEER): (3,)}


def test_an_image_that_is_not_there_yet_is_a_caution() -> None:
    found = judged(*standby_has(flash()))
    assert found.status is Status.CAUTION
    assert found.statement == f"quay-b doesn't hold {IMAGE.file} yet."
    assert "checksum" in found.remedy


@pytest.mark.parametrize("size", [IMAGE.bytes - 1, IMAGE.bytes + 1, 0])
def test_another_size_on_the_standby_alone_blocks(size: int) -> None:
    found = judged(*standby_has(flash(size)))
    assert found.status is Status.BLOCK
    assert found.statement.startswith(
        f"quay-b holds {IMAGE.file} with {size:,} bytes, where the inventory states 1,250,000,000: "
    )
    assert ("a copy cut off" in found.statement) is (size < IMAGE.bytes)
    assert told(found.evidence) == {("quay-b", OWN): (4,), ("quay-a", PEER): (4,)}
    assert "Don't activate that file" in found.remedy


def test_of_two_files_of_the_name_the_wrong_one_counts() -> None:
    assert judged(*standby_has(flash(IMAGE.bytes, 7))).status is Status.BLOCK


def test_files_that_were_not_listed_are_unknown() -> None:
    assert judged(*standby_has(flash(listed=False))).status is Status.UNKNOWN


def test_without_an_image_in_the_inventory_it_is_unknown() -> None:
    found = RULE.judge(snapshot(image=None), policy())
    assert found.status is Status.UNKNOWN
    assert "the inventory states no image for 17.12.4" in found.statement
    assert "inventory" in found.remedy


def test_a_pair_that_runs_the_target_needs_no_image() -> None:
    there = Version(release="17.12.4", at={"release": (1,)})
    first, second = (changed(healthy(n), show_version=there) for n in (1, 2))
    for image in (IMAGE, None):
        found = RULE.judge(snapshot({**first, OWN: flash(1)}, second, image=image), policy())
        assert found.status is Status.NOT_APPLICABLE
        assert found.statement == "Both members run 17.12.4 already."
        assert told(found.evidence) == {("quay-a", "show version"): (1,), ("quay-b", "show version"): (1,)}
    assert judged({**first, OWN: flash(1)}, healthy(2)).status is Status.BLOCK
    assert judged({**first, OWN: flash(1)}, {**second, "show version": CUT_OFF}).status is Status.BLOCK


def test_either_sessions_word_is_enough() -> None:
    assert judged(second={**healthy(2), OWN: flash(1)}).status is Status.BLOCK
    found = judged({**healthy(1), PEER: flash(1)})
    assert found.status is Status.BLOCK
    assert "told by quay-a" in found.statement


@pytest.mark.parametrize("second", [{**healthy(2), OWN: REFUSED}, unreached()])
def test_the_active_one_stands_in_for_the_standby(second: Answers) -> None:
    found = judged(second=second)
    assert found.status is Status.PASS
    assert "told by quay-a, since quay-b" in found.statement
    assert judged({**healthy(1), PEER: flash(1)}, second).status is Status.BLOCK
    assert judged({**healthy(1), PEER: flash()}, second).status is Status.CAUTION
    assert judged({**healthy(1), PEER: REFUSED}, second).status is Status.UNKNOWN


def test_nobody_stands_in_for_the_active_one() -> None:
    assert judged({**healthy(1), OWN: REFUSED}).status is Status.UNKNOWN


@pytest.mark.parametrize("lost", [CUT_OFF, UNREADABLE, MISSING])
@pytest.mark.parametrize(("number", "command"), [(1, OWN), (1, PEER), (2, OWN)])
def test_a_lost_listing_is_unknown(number: int, command: str, lost: Lost) -> None:
    answers = {**healthy(number), command: lost}
    found = judged(answers) if number == 1 else judged(None, answers)
    assert found.status is Status.UNKNOWN
    assert f"`{command}` on quay-{'ab'[number - 1]}" in found.statement


def test_where_the_roles_are_not_known_bad_news_counts() -> None:
    nobody = {"show_redundancy": Redundancy(), "show_chassis_rmi": Chassis()}
    first, second = changed(healthy(1), **nobody), changed(healthy(2), **nobody)
    found = judged({**first, PEER: flash(1)}, second)
    assert found.status is Status.BLOCK
    assert found.statement.startswith("the standby holds")


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (healthy(1), healthy(2)),
        (healthy(1), {**healthy(2), OWN: flash(1)}),
        ({**healthy(1), PEER: flash(1)}, healthy(2)),
        ({**healthy(1), PEER: flash()}, healthy(2)),
        ({**healthy(1), PEER: flash(1)}, {**healthy(2), OWN: REFUSED}),
    ],
)
def test_no_loss_makes_it_better(first: Answers, second: Answers) -> None:
    # A row that is lost among the files can't be noticed here: the parser gives no list then.
    assert bettered(RULE, first, second, policy(), rows=False) == []


def test_a_release_that_is_lost_makes_nothing_better() -> None:
    there = Version(release="17.12.4")
    pair = [changed(healthy(n), show_version=there) for n in (1, 2)]
    assert bettered(RULE, pair[0], pair[1], policy(), rows=False) == []
    assert judged(changed(pair[0], show_version=replace(there, release=None)), pair[1]).status is Status.PASS
