from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from collector.finding import Status
from collector.rules.boot_variable import RULE
from parsers.facts.redundancy import Chassis, Redundancy
from parsers.facts.software import Boot
from tests.collector.rules.building import (
    CUT_OFF,
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

IMAGE_FIRST = ("bootflash:wx-universal.17.06.06.bin", "bootflash:packages.conf")


def boots(number: int, **changes: Any) -> dict[str, Any]:
    """A healthy member whose `show boot` says something else."""
    boot = healthy(number)["show boot"]
    assert isinstance(boot, Boot)
    return changed(healthy(number), show_boot=replace(boot, **changes))


def redundancy(number: int, this: tuple[str, ...] | None, peer: tuple[str, ...] | None) -> dict[str, Any]:
    """A healthy member whose `show redundancy` has other `BOOT` lines."""
    facts = healthy(number)["show redundancy"]
    assert isinstance(facts, Redundancy)
    assert facts.this is not None
    assert facts.peer is not None
    changes = replace(facts, this=replace(facts.this, boot=this), peer=replace(facts.peer, boot=peer))
    return changed(healthy(number), show_redundancy=changes)


def judged(first: Answers | None = None, second: Answers | None = None) -> tuple[Status, str]:
    found = RULE.judge(snapshot(first, second), policy())
    return found.status, found.statement


@pytest.mark.parametrize("entry", ["bootflash:packages.conf", "bootflash:/packages.conf", "flash:packages.conf"])
def test_the_packages_file_on_flash_passes(entry: str) -> None:
    found = RULE.judge(snapshot(b=boots(2, boot=(entry, "bootflash:old.bin"))), policy())
    assert found.status is Status.PASS
    assert told(found.evidence)["quay-b", "show boot"] == (1,)


@pytest.mark.parametrize(
    "entry",
    [
        "bootflash:wx-universal.17.06.06.bin",
        "packages.conf",
        "bootflash:old/packages.conf",
        "bootflash:packages.conf.bak",
        "usb0:packages.conf",
        "tftp://192.0.2.9/packages.conf",
        "stby-bootflash:packages.conf",
    ],
)
def test_any_other_first_entry_blocks(entry: str) -> None:
    status, said = judged(second=boots(2, boot=(entry, "bootflash:packages.conf")))
    assert status is Status.BLOCK
    assert f"quay-b boots from {entry} first" in said


def test_an_empty_boot_variable_blocks() -> None:
    assert judged(second=boots(2, boot=())) == (
        Status.BLOCK,
        "quay-b's boot variable is empty.",
    )


def test_manual_boot_blocks_and_an_unknown_setting_is_unknown() -> None:
    status, said = judged(second=boots(2, manual_boot=True))
    assert (status, said) == (Status.BLOCK, "quay-b has manual boot on.")
    status, said = judged(second=boots(2, manual_boot=None))
    assert status is Status.UNKNOWN
    assert "quay-b's manual boot setting isn't known" in said


def test_a_boot_variable_that_was_not_shown_is_unknown() -> None:
    assert judged(second=boots(2, boot=None))[0] is Status.UNKNOWN


def test_what_the_active_one_tells_of_the_standby_blocks() -> None:
    status, said = judged(first=boots(1, peer_boot=IMAGE_FIRST))
    assert status is Status.BLOCK
    assert said == f"quay-b boots from {IMAGE_FIRST[0]} first, not from the packages file on flash, told by quay-a."
    status, said = judged(first=boots(1, peer_manual_boot=True))
    assert (status, said) == (Status.BLOCK, "quay-b has manual boot on, told by quay-a.")


@pytest.mark.parametrize("number", [1, 2])
@pytest.mark.parametrize("block", ["this", "peer"])
def test_a_boot_line_of_the_redundancy_blocks(number: int, block: str) -> None:
    good = ("bootflash:packages.conf",)
    lines = (IMAGE_FIRST, good) if block == "this" else (good, IMAGE_FIRST)
    answers = redundancy(number, *lines)
    status, said = judged(answers) if number == 1 else judged(None, answers)
    about = "quay-a" if (number == 1) == (block == "this") else "quay-b"
    assert status is Status.BLOCK
    assert said.startswith(f"{about} boots from {IMAGE_FIRST[0]}")


def test_a_processor_without_a_boot_line_says_nothing() -> None:
    assert judged(redundancy(1, None, ()))[0] is Status.PASS


def test_a_standby_that_is_not_ready_to_show_it_says_nothing_either() -> None:
    assert judged(boots(1, peer_boot=None))[0] is Status.PASS


@pytest.mark.parametrize("second", [changed(healthy(2), show_boot=REFUSED), unreached()])
def test_the_active_one_stands_in_for_a_standby_that_refuses_or_is_not_reached(second: Answers) -> None:
    status, said = judged(second=second)
    assert status is Status.PASS
    assert "quay-b boots from bootflash:packages.conf, told by quay-a, since quay-b" in said
    assert judged(boots(1, peer_boot=IMAGE_FIRST), second)[0] is Status.BLOCK
    assert judged(boots(1, peer_manual_boot=True), second)[0] is Status.BLOCK


def test_nobody_stands_in_where_nobody_tells() -> None:
    first = {**redundancy(1, ("bootflash:packages.conf",), None), "show boot": boots(1, peer_boot=None)["show boot"]}
    status, said = judged(first, unreached())
    assert status is Status.UNKNOWN
    assert "quay-b's boot variable isn't known: quay-b gave no answer" in said


@pytest.mark.parametrize("lost", [CUT_OFF, UNREADABLE, MISSING])
@pytest.mark.parametrize("number", [1, 2])
def test_a_lost_answer_is_unknown_whatever_the_partner_says(number: int, lost: Lost) -> None:
    answers = changed(healthy(number), show_boot=lost)
    assert (judged(answers) if number == 1 else judged(None, answers))[0] is Status.UNKNOWN


def test_where_the_roles_are_not_known_bad_news_of_the_standby_counts_and_good_news_does_not() -> None:
    nameless = {"show_redundancy": Redundancy(), "show_chassis_rmi": Chassis()}
    first, second = changed(healthy(1), **nameless), changed(healthy(2), show_boot=REFUSED, **nameless)
    assert judged(first, second)[0] is Status.UNKNOWN
    status, said = judged(changed(boots(1, peer_boot=IMAGE_FIRST), **nameless), changed(healthy(2), **nameless))
    assert status is Status.BLOCK
    assert said.startswith("the standby boots from")


def test_a_missing_line_about_manual_boot_is_off_where_the_partner_proves_that_none_is_printed() -> None:
    silent = boots(2, manual_boot=None, manual_boot_unmentioned=True)
    assert judged(second=silent)[0] is Status.UNKNOWN
    # The partner's answer goes on beyond the place where the line would be, so their release prints none.
    assert judged(boots(1, manual_boot_unmentioned=True), silent)[0] is Status.PASS
    # The partner's answer has the line, so their release prints it, and the standby's was lost.
    assert judged(boots(1, manual_boot=False), silent)[0] is Status.UNKNOWN


def test_the_active_one_whose_answer_stops_before_the_standby_is_not_taken_for_silent() -> None:
    # Behind that place stands what it tells of the standby, which may be that it boots from something else.
    cut = boots(1, manual_boot=None, manual_boot_unmentioned=True, peer_boot=None)
    assert judged(cut, boots(2, manual_boot_unmentioned=True))[0] is Status.UNKNOWN


def test_a_missing_line_about_manual_boot_is_off_where_the_session_saw_the_answer_end() -> None:
    pair = snapshot(b=boots(2, manual_boot=None, manual_boot_unmentioned=True))
    first, second = pair.members
    seen = {**second.readings, "show boot": replace(second.readings["show boot"], whole=True)}
    assert RULE.judge(replace(pair, members=(first, replace(second, readings=seen))), policy()).status is Status.PASS


@pytest.mark.parametrize(
    ("register", "said"),
    [
        ("0x100", "it would stay in the ROM monitor"),
        ("0x0", "it would stay in the ROM monitor"),
        ("0x2140", "it would stay in the ROM monitor"),
        ("0x2142", "it would ignore its configuration"),
        ("0x142", "it would ignore its configuration"),
    ],
)
def test_a_register_that_keeps_it_from_coming_up_as_configured_blocks(register: str, said: str) -> None:
    """What the bits mean is common practice, no source."""
    found = RULE.judge(snapshot(b=boots(2, config_register=register)), policy())
    assert found.status is Status.BLOCK
    assert found.statement == f"quay-b's configuration register is {register} at its next reload: {said}."
    assert told(found.evidence) == {("quay-b", "show boot"): (3,)}
    status, statement = judged(boots(1, peer_config_register=register))
    assert (status, said in statement, "told by quay-a" in statement) == (Status.BLOCK, True, True)


def test_the_register_of_the_next_reload_counts_where_it_is_printed() -> None:
    assert judged(boots(1, next_config_register="0x2142"))[0] is Status.BLOCK
    assert judged(boots(1, peer_next_config_register="0x100"))[0] is Status.BLOCK
    assert judged(boots(1, config_register="0x142", next_config_register="0x102"))[0] is Status.PASS


def test_a_register_that_was_not_shown_is_unknown_unless_the_whole_answer_speaks_of_none() -> None:
    silent = boots(2, config_register=None, config_register_unmentioned=True)
    status, said = judged(second=silent)
    assert status is Status.UNKNOWN
    assert "quay-b's configuration register isn't known" in said
    pair = snapshot(b=silent)
    first, second = pair.members
    seen = {**second.readings, "show boot": replace(second.readings["show boot"], whole=True)}
    assert RULE.judge(replace(pair, members=(first, replace(second, readings=seen))), policy()).status is Status.PASS


def test_a_register_that_the_active_one_should_tell_of_a_refusing_standby_is_missed() -> None:
    refusing = changed(healthy(2), show_boot=REFUSED)
    assert judged(boots(1, peer_config_register="0x100"), refusing)[0] is Status.BLOCK
    assert judged(boots(1, peer_config_register=None), refusing)[0] is Status.UNKNOWN


@pytest.mark.parametrize(("teller", "block"), [(1, "this"), (2, "peer")])
def test_what_show_redundancy_tells_of_a_register_is_heard(teller: int, block: str) -> None:
    """A line that `show boot` lost, or another member's `show boot`, doesn't hide it."""
    said = healthy(teller)["show redundancy"]
    assert isinstance(said, Redundancy)
    processor = getattr(said, block)
    tells = {
        **healthy(teller),
        "show redundancy": replace(said, **{block: replace(processor, config_register="0x2142")}),
    }
    first, second = (tells if number == teller else healthy(number) for number in (1, 2))
    status, statement = judged(first, second)
    assert status is Status.BLOCK
    assert "quay-a's configuration register is 0x2142" in statement
    announced = boots(1, config_register="0x2142", next_config_register="0x102")
    first = {**first, "show boot": announced["show boot"]}
    # `show redundancy` may tell of the one that counts only until then.
    assert judged(first, second)[0] is Status.PASS
