"""What every simulated controller receives while the tests run: nothing but the catalogue's commands and settings.

Only the modules that try the simulated controllers themselves type by hand, and are left out.
"""

from __future__ import annotations

import os
from collections.abc import Iterator

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


@pytest.fixture(scope="session", autouse=True)
def read_only_wire() -> Iterator[dict[str, str]]:
    """The lines received, each with the test in which it first was; checked when all tests are over."""
    received: dict[str, str] = {}
    add = simulated.Log.add

    def note(log: simulated.Log, member: str, line: str) -> None:
        test = os.environ.get("PYTEST_CURRENT_TEST", "")
        if test and not test.startswith(BY_HAND):
            received.setdefault(line, test)
        add(log, member, line)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(simulated.Log, "add", note)
        yield received
    assert stray(received) == {}
