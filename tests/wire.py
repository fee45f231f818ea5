"""What every simulated controller receives while the tests run: nothing but the catalogue's commands and settings.

That goes for controllers in this process and in all others that the tests start: the demo, plays, a killed sweep. Only
the modules that try the simulated controllers themselves type by hand, and are left out.

`python -m tests.wire FILE` looks through the log of anything else that ran with `READYPAIR_WIRE_LOG=FILE`.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest

from collector import simulated
from parsers import catalogue, terminal

BY_HAND = ("tests/collector/test_simulated.py", "tests/collector/test_playing.py")
# A secret is shown so, whatever it is.
_SECRET = "*" * 8


def allowed() -> frozenset[str]:
    """Every line that readypair may type, to the letter."""
    sent = (command.text for command in catalogue.COMMANDS if command.sent)
    return frozenset((*sent, *terminal.SETTINGS, terminal.ENABLE, _SECRET))


def stray(received: dict[str, str]) -> dict[str, str]:
    """The lines that may not be typed, each with the test in which it was first received."""
    return {line: test for line, test in received.items() if line not in allowed() and not test.startswith(BY_HAND)}


def of_other_processes(rows: Iterable[str]) -> dict[str, str]:
    """The lines in a log of the wire that other processes than this one received, each with the first such process."""
    received: dict[str, str] = {}
    for row in map(json.loads, rows):
        if row["process"] != os.getpid():
            received.setdefault(row["line"], f"process {row['process']}")
    return received


@pytest.fixture(scope="session", autouse=True)
def read_only_wire(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, str]]:
    """The lines received in this process, each with the test in which it first was; all are checked at the end."""
    received: dict[str, str] = {}
    add = simulated.Log.add
    file = Path(os.environ.get(simulated.WIRE_LOG) or tmp_path_factory.mktemp("wire") / "received")

    def note(log: simulated.Log, member: str, line: str) -> None:
        test = os.environ.get("PYTEST_CURRENT_TEST", "")
        if test and not test.startswith(BY_HAND):
            received.setdefault(line, test)
        add(log, member, line)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(simulated.Log, "add", note)
        patch.setenv(simulated.WIRE_LOG, str(file))
        yield received
    assert stray(received) == {}
    rows = file.read_text().splitlines() if file.exists() else []
    assert stray(of_other_processes(rows)) == {}


def main() -> int:
    """Print how many lines a log of the wire has, and those that may not be typed; 1 where there are any."""
    rows = Path(sys.argv[1]).read_text().splitlines()
    found = stray(of_other_processes(rows))
    print(f"{len(rows):,} lines received, {len(found)} that may not be typed", *found, sep="\n")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
