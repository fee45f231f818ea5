"""Texts made to take long: one line, or the end of one that almost fits, over and over until a size is reached."""

from __future__ import annotations

import re
from collections.abc import Iterator

from parsers import catalogue
from tests.fuzzing.seeds import seeds

# The longest line that is matched at all.
_LONGEST_LINE = 4_000
_SPOILT = "~\x01"

RUNS = (
    "x", " ", "\t", "7", "a#", "a(", "a(b)", "(", "[", "]", ")", "-", "- ", "=", "= ", ":", ".", ",", "%", "%A", "%A-",
    "%A-5-B: ", "\x1b[", "\x1b[9", "\x1b[31m", "a ", "a  ", "A ", "a=", "a =", "a:", "9 ", "9.",
    "9:", "9(", "(9%)", "*", "do ", "show ", "sh dir ", "Load for five secs ", "\xa0", "\u2028", "\0",
    "0200.5e10.", "02:00:5e:10:", "AP Name ", "Number of APs", "Version ", "\ud83d", "\udcff", "Feb 5 22:00:00: %",
    "<1>1: *Feb  5 2027 22:00:00.000 CET: ", "1:", "9d9h: ",
)  # fmt: skip
_WHOLE = ("\n", "\r", "\r\n", "\r\r\n", "\n\r", " \n", "x\n", "a#\n", "a#\r", "%A-5-B: c\n", "9\n", "-----\n", "a b\n")

_BLANKS = " " * 3_800
_SYSLOG = "11:11:11:%A-5-B: "
_AP_HEADING = "AP Name Slots AP Model Ethernet MAC Radio MAC Location Country IP Address State"
_AP_ROW = "ap 2 M 0200.5e10.0143 0200.5e80.1430 Loc NL 203.0.113.3 Registered\n"

FOUND: tuple[tuple[str, str], ...] = (
    ("show boot", f"Configuration register is 0x102{_BLANKS}~"),
    ("show boot", _SYSLOG * 120_000 + "\n"),
    ("show chassis", "2 Member 0000.0000.0000 0 V00 Removed " + "1.1.1.1.1.1 " * 300 + "~"),
    ("show chassis", "2 Member 0000.0000.0000 0 " + "7" * 3_900 + "~"),
    ("show issu state detail", f"A{_BLANKS}~"),
    ("show redundancy", f"A{_BLANKS}~"),
    ("show redundancy", f"Active Location ={_BLANKS}~"),
    ("show ap summary", f"-----{_BLANKS}~"),
    ("show ap image", f"Number of APs{_BLANKS}~"),
    ("show ap dot11 5ghz load-info", f"A Summary{_BLANKS}~"),
    ("show ap neighbor summary", f"A Summary{_BLANKS}~"),
    ("show redundancy config-sync failures mcl", f"A List{_BLANKS}~"),
    ("show redundancy switchover history", f"Switchover History{_BLANKS}~"),
    ("show install summary", f"[ R0 ] Installed Package(s) Information{_BLANKS}~"),
    ("show chassis", "2 Standby 0011.2233.4466 1 V02 Ready 169.254.1.3\n" * 12_000),
    ("show redundancy", "Communications = Up\n" * 18_000),
    ("show redundancy", "Current Processor Information :\nImage Version = a\n" + "Version 1.1, " * 300_000 + "\n"),
    (
        "show platform software status control-processor brief",
        "".join(f"A{slot}: online, statistics updated 1 seconds ago\n" for slot in range(12_000)),
    ),
)
"""Texts that once took seconds, minutes or for ever, each with its command; a line without an end is to be repeated."""


def megabytes() -> Iterator[tuple[str, str, str]]:
    """The longest texts that are read at all, and ones of ten megabytes: command, name, text."""
    for command in ("show boot", "show ap summary", "show crypto pki certificates"):
        yield command, "five megabytes in one line of messages", _SYSLOG * (5_000_000 // len(_SYSLOG))
    yield "show ap summary", "five megabytes of rows", f"{_AP_HEADING}\n" + _AP_ROW * (4_999_000 // len(_AP_ROW))
    yield "show crypto pki certificates", "five megabytes of lines that may stand anywhere", "CN = a b\n" * 20_000
    yield "show clock", "as many lines as are read", "Summer time starts 02:00:00 CET Sun Mar 28 2027\n" * 20_000
    words = "AP Name  Slot  Neighbor AP  Channel  RSSI\n" + ("a " * 1_990 + "1 ap2 0 36 -60\n") * 3_700
    yield "show ap neighbor summary", "as many characters as are read, in rows of thousands of words", words
    for command in ("show ap neighbor summary", "show wireless summary"):
        yield command, "ten megabytes of lines of blanks", f"A{_BLANKS}~\n" * (10_000_000 // 3_803)
    for row in catalogue.COMMANDS:
        yield row.text, "ten megabytes in one line", "x" * 10_000_000


def whole_texts(command: str, size: int, most_lines: int) -> Iterator[tuple[str, str]]:
    """Texts of this many characters with as many lines as are read, or with one line, each with its name."""
    for run in _WHOLE:
        yield f"many {run!r}", run * min(size // len(run), most_lines // max(run.count("\n"), run.count("\r")))
    for run in ("x", " ", "7", "\x1b[", "%A-5-B: ", "a(", "(", "show ", "- "):
        yield f"one line of {run!r}", run * (size // len(run))
    for line in lines_of(command):
        yield f"many {line!r}", _many(line, size, most_lines)
        yield f"many {_spoilt(line)!r}", _many(_spoilt(line), size, most_lines)
    for text in (seeds(command)[-1], *seeds(command)[:: max(1, len(seeds(command)) // 4)]):
        yield f"an answer of {len(text)} characters over and over", _many(text, size, most_lines)


def long_lines(command: str) -> Iterator[tuple[str, str]]:
    """Lines as long as are matched: runs, and the command's own lines with each part of theirs stretched."""
    for run in RUNS:
        line = run * (_LONGEST_LINE // len(run))
        yield f"{run!r} over and over", line
        yield f"{run!r} over and over, spoilt", _spoilt(line[:-2])
    for line in lines_of(command):
        for part in re.finditer(r"[ \t]+|\w+|[^\w\s]+|\S+", line):
            yield f"{line!r} stretched at {part.start()}", _stretched(line, part.start(), part.end())
            yield f"{line!r} stretched at {part.start()}, spoilt", _spoilt(_stretched(line, *part.span())[:-2])
            yield f"{line!r} up to {part.end()}, blanks", _spoilt(line[: part.end()].ljust(_LONGEST_LINE - 2))


def lines_of(command: str) -> list[str]:
    """The command's own lines, one for each shape: with all figures and all names being alike."""
    shapes: dict[str, str] = {}
    for text in seeds(command):
        for line in text.split("\n"):
            own = line.strip()
            if own and len(own) < 400:
                shapes.setdefault(re.sub(r"[A-Z]?[a-z]+", "a", re.sub(r"[0-9]+", "9", own)), own)
    return list(shapes.values())


def _many(piece: str, size: int, most_lines: int) -> str:
    piece = piece.rstrip("\n") + "\n"
    return piece * max(1, min(size // len(piece), most_lines // piece.count("\n")))


def _stretched(line: str, start: int, end: int) -> str:
    part = line[start:end]
    room = _LONGEST_LINE - len(line) + len(part)
    return line[:start] + (part * (room // len(part) + 1))[:room] + line[end:]


def _spoilt(line: str) -> str:
    return line + _SPOILT
