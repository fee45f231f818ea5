"""`readypair changes` on a store of twelve nights."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from collector import cli

CHANGES = """
2027-01-25 to 2027-01-27: 3 changes on 1 of 3 pairs, 1 of them worse than before

quay, Harbour Quay: no-go, was go
  2027-01-27  verdict: no-go, was go
              install-state: block, was pass
              both members, installed software:
                new: IMG I 17.12.04.0.1
"""


@pytest.fixture(autouse=True)
def as_in_a_pipe(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")


@pytest.fixture
def asked(remembered: Path, capsys: pytest.CaptureFixture[str]) -> Any:
    """What the command prints and complains of, and its exit status."""

    def ask(*arguments: str) -> tuple[str, str, int]:
        status = cli.main(["changes", *arguments, "--store", str(remembered)])
        out, err = capsys.readouterr()
        return "\n" + "".join(f"{line.rstrip()}\n" for line in out.splitlines()), err, status

    return ask


def test_what_changed_over_some_nights(asked: Any) -> None:
    assert asked("--since", "2027-01-25", "--until", "2027-01-27") == (CHANGES, "", 0)


def test_by_default_it_is_about_the_latest_night(asked: Any) -> None:
    out, _, status = asked()
    assert (out.splitlines()[1], status) == (
        "2027-01-31: 12 changes on 1 of 3 pairs, 1 of them better than before",
        0,
    )


def test_what_came_and_went_leaves_no_other_verdict(asked: Any) -> None:
    out, _, _ = asked("--since", "2027-01-27", "--until", "2027-01-29")
    head = "2027-01-27 to 2027-01-29: 6 changes on 1 of 3 pairs, and no verdict is another than before"
    assert (" ".join(out.split("\n\n")[0].split()), "quay, Harbour Quay: go\n" in out) == (head, True)


def test_quiet_nights_are_told_so(asked: Any) -> None:
    assert asked("--since", "2027-01-28", "--until", "2027-01-28")[0] == "\n2027-01-28: nothing changed on 2 pairs\n"


def test_pairs_and_sites_narrow_it(asked: Any) -> None:
    assert asked("--last", "12", "--pairs", "l*")[0] == "\n2027-01-20 to 2027-01-31: nothing changed on 1 pair\n"
    assert "31 changes on 1 of 1 pair" in asked("--last", "12", "--site", "harbour quay")[0]


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--last", "36500"), ("2027-01-20", "2027-01-31")),
        (("--since", "0001-01-01"), ("2027-01-20", "2027-01-31")),
        (("--since", "2027-01-28", "--until", "9999-12-31"), ("2027-01-28", "2027-01-31")),
        (("--since", "0001-01-01", "--until", "2027-01-22"), ("2027-01-20", "2027-01-22")),
    ],
)
def test_nothing_is_claimed_of_nights_that_nobody_swept(
    asked: Any, arguments: tuple[str, ...], told: tuple[str, str]
) -> None:
    out, err, status = asked(*arguments)
    assert (out.splitlines()[1].split(":")[0], err, status) == (" to ".join(told), "", 0)
    data = json.loads(asked(*arguments, "--json")[0])
    assert (data["since"], data["until"]) == told


def test_changes_as_data(asked: Any) -> None:
    out, _, _ = asked("--since", "2027-01-24", "--until", "2027-01-24", "--json")
    data = json.loads(out)
    assert (data["schema"], data["since"], data["until"], data["pairs_seen"]) == (1, "2027-01-24", "2027-01-24", 3)
    [pair] = data["pairs"]
    assert (pair["pair"], pair["site"], pair["was"], pair["now"]) == ("quay", "Harbour Quay", "go", "go")
    assert pair["changes"][1] == {
        "night": "2027-01-24",
        "since": "2027-01-23",
        "kind": "access-points",
        "subject": "",
        "before": "24",
        "after": "22",
        "gained": ["quay-ramp-one-25"],
        "lost": ["quay-car-deck-02", "quay-ramp-one-01", "quay-waiting-hall-24"],
        "worse": None,
    }


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("--pairs", "x*"), "no pair stored fits --pairs 'x*'; it has lantern, quay, saltmarsh"),
        (("--pairs", "quay", "--site", "Lantern Pier"), "no pair stored fits --pairs 'quay' and --site 'Lantern Pier'"),
    ],
)
def test_a_wrong_question_is_told_so(asked: Any, arguments: tuple[str, ...], sentence: str) -> None:
    out, err, status = asked(*arguments)
    assert (out, status) == ("\n", 2)
    assert err.startswith(f"readypair: {sentence}")


def test_nights_that_are_not_stored_are_no_error(asked: Any) -> None:
    assert asked("--since", "2028-01-01") == ("\n", "readypair: no night is stored from 2028-01-01 on\n", 0)
    data = json.loads(asked("--since", "2028-01-01", "--json")[0])
    assert (data["pairs_seen"], data["pairs"]) == (0, [])
