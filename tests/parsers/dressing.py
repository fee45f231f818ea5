"""One answer as different sessions would record it, and as an accident would leave it."""

from __future__ import annotations

from collections.abc import Iterator

from parsers import Facts, read
from parsers.transcript import split

_PREAMBLE = (
    "quay-a#show something\n"
    "Load for five secs: 3%/0%; one minute: 2%; five minutes: 2%\n"
    "Time source is NTP, 21:14:09.132 CET Sat Feb 6 2027\n\n"
)
_SYSLOG = "*Feb  6 21:14:09.132: %SYS-5-CONFIG_I: Configured from console by vty0"


def dressed(text: str) -> Iterator[tuple[str, str]]:
    """The same answer in every form that DESIGN section 5 says any output may take, each with its name."""
    lines = text.split("\n")
    yield "as it is", text
    yield "preamble", _PREAMBLE + text
    yield "CR LF", text.replace("\n", "\r\n")
    yield "trailing blanks", "\n".join(f"{line}  " for line in lines)
    yield "doubled blank lines", text.replace("\n\n", "\n\n\n") + "\n\n"
    yield "indented", "\n".join(f" {line}" for line in lines)
    yield "prompt", f"{text}\nquay-a#"
    yield "syslog everywhere", "\n".join(f"{_SYSLOG}\n{line}" for line in lines)
    for number in range(len(lines)):
        yield f"syslog before line {number + 1}", "\n".join([*lines[:number], _SYSLOG, *lines[number:]])


def assert_reads_alike(command: str, text: str) -> None:
    """Every dressing gives the same facts, from the same lines wherever they stand now."""
    plain = read(command, text)
    for name, dressing in dressed(text):
        facts = read(command, dressing)
        assert facts == plain or _without_places(facts) == _without_places(plain), name
        assert cited(facts, dressing) == cited(plain, text), name


def cited(facts: Facts, text: str) -> dict[str, list[str]]:
    """The texts of the lines that each field was read from."""
    lines = split(text)
    return {name: [lines[number - 1].strip() for number in numbers] for name, numbers in facts.at.items()}


def _without_places(facts: Facts) -> dict[str, object]:
    return {name: value for name, value in facts.plain().items() if name != "at"}


def cut(text: str) -> Iterator[tuple[str, str]]:
    """The answer ended before each of its lines."""
    lines = text.splitlines(keepends=True)
    for number in range(len(lines)):
        yield f"cut before line {number + 1}", "".join(lines[:number])


def shortened(text: str) -> Iterator[tuple[str, str]]:
    """The answer without each one of its lines."""
    lines = text.splitlines(keepends=True)
    for number, line in enumerate(lines):
        yield line.strip(), "".join(lines[:number] + lines[number + 1 :])


def garbled(text: str) -> Iterator[tuple[str, str]]:
    """The answer with each of its lines turned into noise, spoilt at one place, or broken off in the middle."""
    lines = text.splitlines(keepends=True)
    for number, line in enumerate(lines):
        own = line.rstrip("\n")
        if not own.strip():
            continue
        places = range(number % 3, len(own), 3)
        spoilt = [f"{own[:place]}{'~x'[place % 2]}{own[place + 1 :]}" for place in places]
        for version in ("~~~~", "~~ ~~", "~~  ~~~", own[: len(own) // 2], *spoilt):
            yield f"line {number + 1}: {version}", "".join([*lines[:number], version + "\n", *lines[number + 1 :]])
