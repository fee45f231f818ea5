"""Reads texts made to take long, each under a limit of its own on the process's CPU: `python -m tests.fuzzing.limited`.

The kernel ends the process at a text that needs more; the last line printed names it. The long lines are repeated to a
hundred thousand characters, for which an honest answer takes less than a tenth of a second and a pattern that tries a
run of blanks in every way takes several: so they need no megabytes to tell them apart.
"""

from __future__ import annotations

import contextlib
import resource
from collections.abc import Iterator
from random import Random

from parsers import Unreadable, catalogue, read
from tests.fuzzing.slow import FOUND, RUNS, long_lines, megabytes

_SECONDS_FOR_LINES = 1
_SECONDS_FOR_MEGABYTES = 5
_CHARACTERS = 100_000
_LINES_OF_EACH = 4
_LONGEST_LINE = 4_000


def main() -> None:
    """Read all of them."""
    for command, line in FOUND:
        _read(command, f"found: {line[:40]!r}", _long(line), _SECONDS_FOR_LINES)
    for row in {row.template: row for row in catalogue.COMMANDS}.values():
        for name, line in _some(row.text):
            _read(row.text, name, _many(line), _SECONDS_FOR_LINES)
    for command, name, text in megabytes():
        _read(command, name, text, _SECONDS_FOR_MEGABYTES)
    print("all read")


def _some(command: str) -> Iterator[tuple[str, str]]:
    """A few of the command's own stretched lines, the same in every run, and one that holds many kinds of runs."""
    yield "runs of all kinds", "~".join(run * (80 // len(run)) for run in RUNS)[:_LONGEST_LINE]
    yield from Random(command).sample(list(long_lines(command)), _LINES_OF_EACH)


def _long(found: str) -> str:
    """A million characters: of fewer the patterns that once were took less than the least limit that can be set."""
    return found if found.endswith("\n") else f"{found}\n" * (1_000_000 // (len(found) + 1))


def _many(line: str) -> str:
    return f"{line}\n" * (_CHARACTERS // (len(line) + 1) or 1)


def _read(command: str, name: str, text: str, seconds: int) -> None:
    print(f"{command}: {name}", flush=True)
    used = resource.getrusage(resource.RUSAGE_SELF)
    _, most = resource.getrlimit(resource.RLIMIT_CPU)
    resource.setrlimit(resource.RLIMIT_CPU, (int(used.ru_utime + used.ru_stime) + 1 + seconds, most))
    with contextlib.suppress(Unreadable):
        read(command, text)


if __name__ == "__main__":
    main()
