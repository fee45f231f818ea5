"""`readypair history` on a store of twelve nights."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from collector import cli
from collector.store.store import opened

README = Path(__file__).parents[3] / "README.md"
FLEET = """
Night       Go  No-go  Undecided  Not asked  Changes      Most of them
───────────────────────────────────────────────────────────────────────────
2027-01-26   1      1          0          1  none
2027-01-27   1      2          0          0  3 on 1 pair  install-state (1)
2027-01-28   0      2          0          1  none

What changed most: install-state (1), installed software (1)
Pairs that changed most: quay (3)
"""


@pytest.fixture(autouse=True)
def as_in_a_pipe(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.delenv("READYPAIR_STORE", raising=False)


@pytest.fixture
def asked(remembered: Path, capsys: pytest.CaptureFixture[str]) -> Any:
    """What the command prints and complains of, and its exit status."""

    def ask(*arguments: str) -> tuple[str, str, int]:
        status = cli.main(["history", *arguments, "--store", str(remembered)])
        out, err = capsys.readouterr()
        return "\n" + "".join(f"{line.rstrip()}\n" for line in out.splitlines()), err, status

    return ask


def test_the_stories_in_the_readme(
    remembered: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Both commands as they stand there, with their answers in full."""
    monkeypatch.setenv("READYPAIR_STORE", str(remembered))
    _, _, block = README.read_text(encoding="utf-8").partition("<!-- example: history -->\n```console\n$ ")
    shown = [each.split("\n", 1) for each in block.partition("```")[0].split("$ ")]
    assert [command.split()[1] for command, _ in shown] == ["history", "changes"]
    for command, answer in shown:
        assert cli.main(command.split()[1:]) == 0
        assert "".join(f"{line.rstrip()}\n" for line in capsys.readouterr().out.splitlines()) == answer


def test_a_night_without_an_answer_names_the_silent_member_first(asked: Any) -> None:
    out, _, _ = asked("quay", "--last", "2")
    [silent] = [number for number, line in enumerate(out.splitlines()) if "quay-b: no answer" in line]
    assert out.splitlines()[silent - 1].split()[1:] == ["verdict:", "undecided,", "was", "go"]
    assert "certificates, hardware-support" in out.splitlines()[silent + 1]
    assert "switchover: quay-b active, was quay-a active" in out


def test_a_pair_that_was_left_for_a_night(asked: Any) -> None:
    out, _, status = asked("lantern")
    assert "2027-01-28                1 night not asked in time\n" in out
    assert "12 nights: 11 go, 1 not asked in time\n" in out
    assert status == 0


def test_the_fleets_nights(asked: Any) -> None:
    assert asked("--since", "2027-01-26", "--until", "2027-01-28") == (FLEET, "", 0)


def test_the_last_nights_are_counted_back_from_the_latest(asked: Any) -> None:
    out, _, _ = asked("--last", "2")
    assert [line.split()[0] for line in out.splitlines() if line.startswith("2027")] == ["2027-01-30", "2027-01-31"]
    out, _, _ = asked("--last", "2", "--until", "2027-01-22")
    assert [line.split()[0] for line in out.splitlines() if line.startswith("2027")] == ["2027-01-21", "2027-01-22"]


def test_a_pairs_nights_as_data(asked: Any) -> None:
    out, err, status = asked("quay", "--json", "--since", "2027-01-26", "--until", "2027-01-27")
    data = json.loads(out)
    assert (err, status) == ("", 0)
    assert {key: data[key] for key in ("schema", "tool", "pair", "site")} == {
        "schema": 1,
        "tool": "readypair",
        "pair": "quay",
        "site": "Harbour Quay",
    }
    assert data["nights"] == [
        {
            "night": "2027-01-27",
            "verdict": "no-go",
            "target_release": "17.12.4",
            "source": "sweep",
            "asked": None,
            "judged": "2027-01-27T21:00:00+00:00",
            "in_time": True,
        }
    ]
    assert data["missed"] == [{"why": "not swept", "first": "2027-01-26", "last": "2027-01-26", "nights": 1}]
    assert data["changes"][1] == {
        "night": "2027-01-27",
        "since": "2027-01-25",
        "kind": "finding",
        "subject": "install-state",
        "before": "pass",
        "after": "block",
        "gained": [],
        "lost": [],
        "worse": True,
    }


def test_the_fleets_nights_as_data(asked: Any) -> None:
    out, _, _ = asked("--json", "--since", "2027-01-27", "--until", "2027-01-27")
    assert json.loads(out)["nights"] == [
        {
            "night": "2027-01-27",
            "verdicts": {"go": 1, "no-go": 2, "undecided": 0},
            "not_asked": 0,
            "changes": 3,
            "pairs_changed": 1,
            "most_changed": [
                {"kind": "finding", "rule": "install-state", "changes": 1},
                {"kind": "install-state", "rule": None, "changes": 1},
                {"kind": "verdict", "rule": None, "changes": 1},
            ],
        }
    ]


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("qauy",), "the store has no pair 'qauy'; near to it are quay"),
        (("zzz",), "the store has no pair 'zzz'; it has lantern, quay, saltmarsh"),
        (("--since", "2027-02-01", "--until", "2027-01-01"), "--since 2027-02-01 is later than --until 2027-01-01"),
    ],
)
def test_a_wrong_question_is_told_so(asked: Any, arguments: tuple[str, ...], sentence: str) -> None:
    out, err, status = asked(*arguments)
    assert (out, status) == ("\n", 2)
    assert err.startswith(f"readypair: {sentence}")


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("--since", "2027-13-01"), "'2027-13-01' must be a date such as 2027-01-31"),
        (("--until", "yesterday"), "'yesterday' must be a date such as 2027-01-31"),
        (("--last", "0"), "'0' must be a whole number from 1 to 36500"),
        (("--last", "3", "--since", "2027-01-01"), "not allowed with argument"),
    ],
)
def test_what_is_no_date_and_no_number_is_told_so(
    asked: Any, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], sentence: str
) -> None:
    with pytest.raises(SystemExit) as ended:
        asked(*arguments)
    assert ended.value.code == 2
    assert sentence in capsys.readouterr().err


def test_nights_that_are_not_stored_are_no_error(asked: Any) -> None:
    assert asked("--since", "2028-01-01") == ("\n", "readypair: no night is stored from 2028-01-01 on\n", 0)
    said = "readypair: no night of quay is stored up to 2020-01-01\n"
    assert asked("quay", "--until", "2020-01-01") == ("\n", said, 0)
    out, err, _ = asked("quay", "--until", "2020-01-01", "--json")
    assert (json.loads(out)["nights"], err) == ([], "")


def test_an_empty_store_holds_no_night(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    empty = tmp_path / "empty.db"
    with opened(str(empty)):
        pass
    assert cli.main(["history", "--store", str(empty)]) == 0
    assert cli.main(["history", "quay", "--store", str(empty)]) == 2
    err = capsys.readouterr().err
    assert err == "readypair: no night is stored\nreadypair: the store has no pair 'quay'; it holds no night yet\n"


def test_without_a_store_there_is_nothing_to_tell(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["history"]) == 2
    assert "name the store with --store" in capsys.readouterr().err


def test_the_first_of_all_dates_is_a_date_like_any_other(asked: Any) -> None:
    for pair in ([], ["quay"]):
        out, err, status = asked(*pair, "--since", "0001-01-01")
        assert (out, err, status) == (asked(*pair, "--since", "2027-01-20")[0], "", 0)
        assert "2027-01-20" in out
