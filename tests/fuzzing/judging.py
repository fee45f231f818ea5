"""What counts as a failure of `parsers.read`: any exception but its own, and more time than a text's length earns."""

from __future__ import annotations

import contextlib
import time
import traceback
from dataclasses import dataclass

from parsers import Facts, Unreadable, catalogue, read

# An honest answer takes about a microsecond of CPU for each character, and three with every branch being counted.
_SECONDS_FOR_ANY = 0.1
_SECONDS_FOR_A_CHARACTER = 10e-6


@dataclass(frozen=True)
class Failure:
    """One text that `read` didn't deal with: what kind of failure (one word for all texts alike), and what it said."""

    kind: str
    text: str


def failure(command: str, text: str, *, timed: bool = False) -> Failure | None:
    """What is wrong with reading this text; None where nothing is. Only with `timed` does slowness count."""
    started = time.process_time()
    try:
        _checked(command, text)
    except Unreadable:
        pass
    except Exception as error:
        return Failure(_kind(error), "".join(traceback.format_exception(error)))
    seconds = time.process_time() - started
    if timed and seconds > _allowed(text):
        again = _seconds(command, text)
        if again > _allowed(text):
            return Failure("slow", f"{again:.2f} seconds of CPU for {len(text):,} characters\n")
    return None


def _checked(command: str, text: str) -> Facts:
    """The facts, of the type that the catalogue names, that cite lines which the text has."""
    facts = read(command, text)
    row = catalogue.find(command)
    assert row is not None
    assert isinstance(facts, row.facts), f"facts of the type {type(facts)}"
    last = text.replace("\r", "\n").count("\n") + 1
    assert all(1 <= number <= last for numbers in facts.at.values() for number in numbers), "cites no line of the text"
    facts.plain()
    return facts


def _kind(error: Exception) -> str:
    frames = traceback.extract_tb(error.__traceback__)
    inner = next((frame for frame in reversed(frames) if "parsers" in frame.filename), frames[-1])
    return f"{type(error).__name__}-{inner.filename.rsplit('/', 1)[-1].removesuffix('.py')}-{inner.name}"


def _allowed(text: str) -> float:
    return _SECONDS_FOR_ANY + _SECONDS_FOR_A_CHARACTER * len(text)


def _seconds(command: str, text: str) -> float:
    started = time.process_time()
    with contextlib.suppress(Unreadable):
        read(command, text)
    return time.process_time() - started
