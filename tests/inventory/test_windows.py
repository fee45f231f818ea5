from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest

from inventory.problems import InventoryError
from inventory.windows import read_windows

NIGHT = "start: 2027-02-06T23:00:00+01:00, minutes: 240"


def file(folder: Path, text: str) -> Path:
    path = folder / "windows.yaml"
    path.write_text(text)
    return path


def problems(folder: Path, text: str) -> list[str]:
    with pytest.raises(InventoryError) as caught:
        read_windows(file(folder, text))
    assert all(problem.file == folder / "windows.yaml" for problem in caught.value.problems)
    return [f"{problem.key}: {problem.message}" for problem in caught.value.problems]


def test_nights_are_read_the_earliest_first(tmp_path: Path) -> None:
    text = (
        "windows:\n"
        "  - {start: 2027-02-13T23:00:00+01:00, minutes: 120, people: {harbour: 2, islands: 1}}\n"
        f"  - {{name: first Saturday, {NIGHT}, people: 3}}\n"
    )
    first, second = read_windows(file(tmp_path, text))
    assert (first.name, first.people, first.shifts, first.window.minutes) == ("first Saturday", 3, {}, 240)
    assert first.window.start == datetime.fromisoformat("2027-02-06T23:00:00+01:00")
    assert (second.name, second.people, second.shifts) == ("2027-02-13", 3, {"harbour": 2, "islands": 1})


def test_all_mistakes_are_told_at_once_each_with_its_key(tmp_path: Path) -> None:
    text = (
        "windows:\n"
        "  - {start: 2027-02-06T23:00:00, minutes: 0, people: {harbour: x}}\n"
        "  - {start: soon, people: true, hour: 1}\n"
        "  - {start: 2027-02-07T23:00:00+01:00, minutes: 60, people: {}, name: ' '}\n"
        "  - {start: 2027-02-08T23:00:00+01:00, minutes: 60, people: -1}\n"
    )
    whole = "must be a whole number, or a number for each shift such as {harbour: 2, islands: 1}"
    assert problems(tmp_path, text) == [
        "windows.0.start: must say its offset from UTC, such as 2027-02-06T23:00:00+01:00",
        "windows.0.minutes: input should be greater than or equal to 1",
        "windows.0.people.harbour: must be a whole number",
        "windows.1.start: must be a time such as 2027-02-06T23:00:00+01:00",
        "windows.1.minutes: is missing; add it",
        f"windows.1.people: {whole}",
        "windows.1.hour: isn't a key that readypair knows; correct its spelling or take it out",
        "windows.2.name: must not be empty",
        "windows.2.people: must name every shift, at least one, or be a whole number",
        f"windows.3.people: {whole}",
    ]


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("", "windows: is missing; add it"),
        ("windows: []", "windows: must have at least one window"),
        ("windows: 4", "windows: must be a list"),
        (
            f"windows: [{{{NIGHT}, people: 1}}, {{start: 2027-02-07T02:59:00+01:00, minutes: 60, people: 1}}]",
            "windows.1.start: starts before windows.0 ends",
        ),
        (
            f"windows: [{{name: a, {NIGHT}, people: 1}}, "
            "{name: a, start: 2027-02-07T03:00:00+01:00, minutes: 60, people: 1}]",
            "windows.1.name: is called 'a' like windows.0",
        ),
    ],
)
def test_what_makes_no_campaign_is_refused(tmp_path: Path, text: str, problem: str) -> None:
    (found,) = problems(tmp_path, text)
    assert found.startswith(problem)


def test_windows_may_follow_each_other_without_a_break(tmp_path: Path) -> None:
    text = f"windows: [{{{NIGHT}, people: 1}}, {{start: 2027-02-07T03:00:00+01:00, minutes: 60, people: 1}}]"
    assert len(read_windows(file(tmp_path, text))) == 2


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(InventoryError, match=r"nothing\.yaml: can't be read: No such file"):
        read_windows(tmp_path / "nothing.yaml")
