"""`waivers.yaml`: what it may say, until when a waiver holds, and what each mistake is called."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest

from inventory.opening import open_inventory
from inventory.pairs import Member, Pair, Window
from inventory.problems import InventoryError
from inventory.waivers import Waiver, read_waivers

RULES = {"flash-space": True, "pair-state": False}
WAIVER = '{pair: quay, rule: flash-space, who: R. Vane, why: "New flash is ordered.", until: 2027-03-31}'
CET = timezone(timedelta(hours=1))
MEMBERS = (Member("quay-a", "192.0.2.11", 22), Member("quay-b", "192.0.2.12", 22))
PAIR = Pair("quay", "Harbour Quay", MEMBERS, "17.12.4")


def written(folder: Path, *waivers: str) -> Path:
    path = folder / "waivers.yaml"
    path.write_text("waivers:\n" + "".join(f"  - {waiver}\n" for waiver in waivers))
    return path


def problems(path: Path) -> list[str]:
    with pytest.raises(InventoryError) as raised:
        read_waivers(path, RULES)
    return [str(problem).removeprefix(f"{path.parent}/") for problem in raised.value.problems]


def waiver(until: date, pair: str = "quay") -> Waiver:
    return Waiver(pair, "flash-space", "R. Vane", "New flash is ordered.", until)


def test_an_inventory_without_the_file_has_none(folder: Path) -> None:
    assert open_inventory(folder, RULES).waivers == ()


@pytest.mark.parametrize("text", ["", "waivers: []\n", "waivers:\n  # - pair: quay\n"])
def test_an_empty_file_has_none(tmp_path: Path, text: str) -> None:
    (tmp_path / "waivers.yaml").write_text(text)
    assert read_waivers(tmp_path / "waivers.yaml", RULES) == ()


def test_an_inventory_has_its_waivers(folder: Path) -> None:
    written(folder, WAIVER)
    assert open_inventory(folder, RULES).waivers == (waiver(date(2027, 3, 31)),)


@pytest.mark.parametrize(
    ("until", "expected"),
    [
        ("2027-03-31", date(2027, 3, 31)),
        ('"2027-03-31"', date(2027, 3, 31)),
        ("2027-03-31T06:00:00+02:00", datetime(2027, 3, 31, 4, tzinfo=UTC)),
        ("2027-03-31 06:00:00 +02:00", datetime(2027, 3, 31, 4, tzinfo=UTC)),
    ],
)
def test_a_date_or_a_time_ends_it(tmp_path: Path, until: str, expected: date) -> None:
    (read,) = read_waivers(written(tmp_path, WAIVER.replace("2027-03-31", until)), RULES)
    assert read.until == expected
    assert isinstance(read.until, datetime) == isinstance(expected, datetime)


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("rule: flash-space, ", "", "waivers.0.rule: is missing; add it"),
        ("who: R. Vane, ", "", "waivers.0.who: is missing; add it"),
        ("who: R. Vane", 'who: " "', "waivers.0.who: must not be empty"),
        ("who: R. Vane", "who: 7", "waivers.0.who: must be text"),
        ("flash-space", "flash", "waivers.0.rule: there is no rule 'flash'; `readypair rules` lists them"),
        ("flash-space", "pair-state", "waivers.0.rule: nobody may waive pair-state; mend what it says and take"),
        ("2027-03-31", "2027-02-30", "waivers.0.until: must be a date such as 2027-03-31"),
        ("2027-03-31", "soon", "waivers.0.until: must be a date such as 2027-03-31"),
        ("2027-03-31", "20270331", "waivers.0.until: must be a date such as 2027-03-31"),
        ("2027-03-31", "9999-12-31", "waivers.0.until: must be a date such as 2027-03-31"),
        ("2027-03-31", "2027-03-31T06:00:00", "waivers.0.until: must say its offset from UTC"),
        ("why:", "reason:", "waivers.0.reason: isn't a key that readypair knows"),
        (WAIVER, "quay", "waivers.0: must hold keys and values"),
    ],
)
def test_each_mistake_names_file_and_key(tmp_path: Path, old: str, new: str, expected: str) -> None:
    assert old in WAIVER
    found = problems(written(tmp_path, WAIVER.replace(old, new)))
    assert any(line.startswith(f"waivers.yaml: {expected}") for line in found), found


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("- quay\n", "waivers.yaml: must hold keys and values, not a list or a single value"),
        ("waivers: quay\n", "waivers.yaml: waivers: must be a list"),
        ("waiver: []\n", "waivers.yaml: waiver: isn't a key that readypair knows; correct its spelling or take it out"),
    ],
)
def test_the_file_has_one_shape(tmp_path: Path, text: str, expected: str) -> None:
    (tmp_path / "waivers.yaml").write_text(text)
    assert problems(tmp_path / "waivers.yaml") == [expected]


def test_all_mistakes_of_waivers_and_policy_come_at_once(folder: Path) -> None:
    written(folder, WAIVER.replace("flash-space", "pair-state"), WAIVER.replace("2027-03-31", "soon"))
    policy = folder / "policy.yaml"
    policy.write_text(policy.read_text().replace("rules: {}", "rules: {pair-state: off}"))
    with pytest.raises(InventoryError) as raised:
        open_inventory(folder, RULES)
    assert [problem.key for problem in raised.value.problems] == [
        "rules.pair-state",
        "waivers.0.rule",
        "waivers.1.until",
    ]


@pytest.mark.parametrize("weight", ["off", "caution", '"off"'])
def test_what_nobody_may_waive_nobody_may_ease(folder: Path, weight: str) -> None:
    policy = folder / "policy.yaml"
    policy.write_text(policy.read_text().replace("rules: {}", f"rules: {{pair-state: {weight}}}"))
    with pytest.raises(InventoryError) as raised:
        open_inventory(folder, RULES)
    assert [str(problem) for problem in raised.value.problems] == [
        f"{policy}: rules.pair-state: nobody may turn pair-state off or ease it; take it out, or weigh it as block"
    ]


def test_what_nobody_may_waive_may_be_weighed_as_block(folder: Path) -> None:
    policy = folder / "policy.yaml"
    policy.write_text(policy.read_text().replace("rules: {}", "rules: {pair-state: block}"))
    assert open_inventory(folder, RULES).policy.rules == {"pair-state": "block"}


@pytest.mark.parametrize(
    ("glob", "pair", "expected"), [("quay", "quay", True), ("qu*", "quay", True), ("Quay", "quay", False)]
)
def test_a_glob_matches_names(glob: str, pair: str, expected: bool) -> None:
    assert waiver(date(2027, 3, 31), glob).matches(pair) is expected


def test_a_date_holds_to_the_end_of_that_day_by_the_windows_clock() -> None:
    planned = Pair("quay", "Q", MEMBERS, "17.12.4", None, Window(datetime(2027, 2, 6, 23, tzinfo=CET), 240))
    end = datetime(2027, 3, 31, 23, tzinfo=UTC)
    assert waiver(date(2027, 3, 31)).holds(planned, end - timedelta(seconds=1))
    assert not waiver(date(2027, 3, 31)).holds(planned, end)


def test_without_a_window_a_date_holds_by_the_clock_of_who_judges() -> None:
    end = datetime(2027, 4, 1, tzinfo=CET)
    assert waiver(date(2027, 3, 31)).holds(PAIR, end - timedelta(seconds=1))
    assert not waiver(date(2027, 3, 31)).holds(PAIR, end)


def test_a_time_holds_up_to_that_time() -> None:
    end = datetime(2027, 3, 31, 6, tzinfo=CET)
    assert waiver(end).holds(PAIR, end - timedelta(seconds=1))
    assert not waiver(end).holds(PAIR, end)
