"""No random damage makes a pair go that shouldn't: a short run, and each case that longer ones have found.

`python -m tests.damage` is the long run.
"""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from collector import rules
from collector.capture import Capture
from collector.demo import EVENING
from collector.finding import Answer, Status, Verdict
from collector.snapshot import Snapshot
from inventory.policy import Policy
from tests.damage.kinds import Said, all_of, damaged
from tests.damage.pairs import FAULTS, Key, Trial, generated, made
from tests.damage.trying import counted, goes, is_fit, snapshot, unfit
from tests.fleet.description import File, PairDescription
from tests.fleet.making import access_point_rows, healthy_pair

VERSION, BOOT, FLASH = "show version", "show boot", "dir bootflash:"
A, B = "pier-a", "pier-b"


def trial(first: dict[str, Any] | None = None, *, model: str = "WX-9840", **pair: Any) -> Trial:
    """A pair whose active member has these values, beside its healthy twin."""
    return made(_pier(model), _pier(model, first, **pair), "by hand")


def _pier(model: str, first: dict[str, Any] | None = None, **pair: Any) -> PairDescription:
    rows = pair.pop("access_points", access_point_rows("pier", ("Ramp", "Hall"), 3, 1))
    return healthy_pair("pier", "Pier", 1, model=model, first=first, access_points=rows, **pair)


def with_text(tried: Trial, key: Key, old: str, new: str) -> Said:
    said = all_of(tried)
    assert old in said[key].text
    return {**said, key: replace(said[key], text=said[key].text.replace(old, new))}


def with_partners(tried: Trial, command: str) -> Said:
    """The standby's answer in the place of the active one's."""
    said = all_of(tried)
    return {**said, (A, command): replace(said[B, command], member=A)}


def goes_with(tried: Trial, said: Said) -> bool:
    assert tried.healthy
    assert tried.verdict is not Verdict.GO
    return goes(snapshot(tried.snapshot, said)[0])


def test_no_damage_makes_a_pair_go() -> None:
    tried = unfit(generated(10, seed=7))
    count = counted(range(150), tried, seed=7)
    assert len(tried) >= 6
    assert len(count.by_kind) >= 15
    assert count.unchanged < count.damages // 4
    assert [str(case) for case in count.false] == []


def test_a_damage_can_be_drawn_again() -> None:
    tried = generated(1, seed=7)[0]
    assert damaged(tried, random.Random("damage")) == damaged(tried, random.Random("damage"))


@pytest.mark.parametrize("age", [timedelta(minutes=30), timedelta(days=9)])
def test_an_old_answer_with_its_time_hides_nothing(age: timedelta) -> None:
    tried = trial({"install_mode": "BUNDLE"})
    old = Capture(A, VERSION, tried.old[A, VERSION], started=EVENING - age, seconds=0.2)
    assert not goes_with(tried, {**all_of(tried), (A, VERSION): old})


@pytest.mark.parametrize(
    ("first", "model", "command"),
    [
        ({"install_mode": "BUNDLE"}, "WX-9840", VERSION),
        ({"config_register": "0x142"}, "WX-9840", BOOT),
        ({"link_interface": "GigabitEthernet2"}, "WX-VC", "show romvar"),
        ({"flash_free": 767_192_282}, "WX-9840", FLASH),
    ],
)
def test_the_partners_answer_hides_nothing(first: dict[str, Any], model: str, command: str) -> None:
    tried = trial(first, model=model)
    assert not goes_with(tried, with_partners(tried, command))


def test_a_line_that_tells_of_the_register_is_missed() -> None:
    tried = trial({"config_register": "0x142"})
    assert not goes_with(tried, with_text(tried, (A, BOOT), "\nConfiguration register is 0x142\n", "\n"))


def test_a_digit_in_one_of_two_figures_of_the_flash_hides_nothing() -> None:
    tried = trial({"flash_free": 1_411_203_072})
    assert not goes_with(tried, with_text(tried, (A, FLASH), "1411203072 bytes free", "9411203072 bytes free"))


def test_the_folders_listing_tells_of_a_standby_that_refuses_the_flashs() -> None:
    twin = _pier("WX-9840")
    limited = replace(twin.standby_member, refuses=frozenset({FLASH}))
    full = replace(twin, members=(twin.active_member, replace(limited, flash_free=1_749_883_277)))
    twin = replace(twin, members=(twin.active_member, limited))
    tried = made(twin, full, "flash full")
    assert not goes_with(tried, with_text(tried, (A, "dir stby-bootflash:"), "(1749883277", "(9749883277"))


def test_another_folder_is_no_listing_of_the_flash() -> None:
    tried = trial({"files": (File("wx-universal.17.12.04.bin", 1_151_699_626),)})
    said = all_of(tried)
    core = replace(said[A, "dir bootflash:core"], command=FLASH)
    assert not goes_with(tried, {**said, (A, FLASH): core})


def test_rows_that_were_lost_with_their_count_are_missed() -> None:
    rows = access_point_rows("pier", ("Ramp", "Hall"), 3, 1)
    tried = trial(access_points=(rows[0], replace(rows[1], model="WX-AP11"), rows[2]))
    text = all_of(tried)[A, "show ap summary"].text
    lost = [line for line in text.splitlines() if line.startswith(("Number of", "pier-hall"))]
    said = with_text(tried, (A, "show ap summary"), f"{lost[0]}\n", "")
    cut = said[A, "show ap summary"].text.replace(f"{lost[1]}\n", "")
    assert not goes_with(tried, {**said, (A, "show ap summary"): replace(said[A, "show ap summary"], text=cut)})


def test_what_nobody_can_know_is_counted_apart() -> None:
    """Every answer that told the fault is a healthy pair's, tonight: that pair goes, and it can't be told from it."""
    tried = trial({"install_mode": "BUNDLE"})
    healthy = with_text(tried, (A, VERSION), "mode is BUNDLE", "mode is INSTALL")
    assert goes_with(tried, healthy)
    assert is_fit(tried, healthy)
    assert not is_fit(tried, all_of(tried))
    assert not is_fit(tried, {**healthy, (A, VERSION): replace(healthy[A, VERSION], started=EVENING - timedelta(1))})


def test_a_rule_that_takes_silence_for_good_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """The trial itself can fail: here the installed software passes as soon as one member's answer can't be read."""

    def credulous(snapshot: Snapshot, policy: Policy) -> Answer:
        if any(member.readings["show install summary"].facts is None for member in snapshot.members):
            return Answer(Status.PASS, "No news is good news.")
        return sound.judge(snapshot, policy)

    (sound,) = (rule for rule in rules.CATALOGUE if rule.id == "install-state")
    blind = tuple(replace(rule, judge=credulous) if rule is sound else rule for rule in rules.CATALOGUE)
    tried = trial(auto_abort="01:49:42")
    assert counted(range(60), [tried], seed=3).false == ()
    monkeypatch.setattr(rules, "CATALOGUE", blind)
    assert counted(range(60), [tried], seed=3).false != ()


def test_there_are_as_many_kinds_of_fault_as_of_rules_that_decide() -> None:
    deciding = {rule for each in generated(10, seed=7) for rule in each.deciding}
    assert len(deciding) >= 5
    assert len(FAULTS) >= sum(rule.weight == "block" for rule in rules.CATALOGUE)
