from __future__ import annotations

import argparse

import pytest

from collector.commands.options import deadline_option


@pytest.mark.parametrize(
    ("given", "seconds"),
    [
        ("45m", 2700),
        ("2h", 7200),
        ("90s", 90),
        ("1h30m", 5400),
        ("1h30m5s", 5405),
        ("1h5s", 3605),
        ("45", 2700),
        ("0m5s", 5),
        (None, None),
    ],
)
def test_a_deadline_is_a_duration(given: str | None, seconds: float | None) -> None:
    arguments = ["--deadline", given] if given else []
    assert deadline_option().parse_args(arguments).deadline == seconds


@pytest.mark.parametrize(
    "given",
    [
        "",
        "0",
        "0s",
        "-5m",
        "m",
        "h5",
        "5m2h",
        "1.5h",
        "5 m",
        "soon",
        "5d",
        "1h30",
        "\u0665m",
        "9" * 5000,
        "1e3",
        "45m\n",
    ],
)
def test_what_is_no_duration_is_wrong_usage(given: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        deadline_option().parse_args([f"--deadline={given}"])
    assert ended.value.code == 2
    assert "must be a duration such as 45m, 2h, 1h30m or 90s, or minutes" in capsys.readouterr().err


def test_it_is_none_of_argparses_own_making() -> None:
    with pytest.raises(argparse.ArgumentError):
        argparse.ArgumentParser(exit_on_error=False, parents=[deadline_option()]).parse_args(["--deadline", "x"])
