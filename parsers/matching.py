"""Runs one TTP template over numbered lines, so that every match knows the line it came from.

TTP has no line numbers of its own. Each kept line therefore goes in as `<number> <stripped text>`, and each template
line begins with `{{ at | DIGIT }}`. Every kind of line is a group of its own, `<group name="kind*">`, of one or more
alternative template lines marked `{{ _start_ }}`; what belongs together is put together by line number in the facts
type. So the lines that no group matched are known too.

To know when writing a template (from TTP's source): a line that fits two groups is a match of both; where it fits two
alternatives of one group, which of them counts depends on the lines before, so alternatives must exclude each other.
A digit in a template's text stands for any number unless the line holds `_exact_`. A bar can't stand inside `re(...)`:
give the pattern a name under `<vars>`. Write patterns as raw strings. A class that a line's end fits runs on into the
next line: `[^:]` does, `[^:\\n]` doesn't. No two parts of a pattern that can match the same long run of characters may
follow each other: captures come from outside, and TTP has no time limit.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from parsers.transcript import Transcript

# No controller prints a longer line; a longer one is matched by nothing. Keeps the cost of a hostile capture small.
_LONGEST_LINE = 4_000

# No file has such a name: TTP would read the file whose path is the text that it is given.
_NEVER_A_PATH = "\0\n"

# TTP keeps its state in a dictionary of the module: one parse at a time in a process.
_ONE_AT_A_TIME = threading.RLock()


@dataclass(frozen=True)
class Match:
    """One line that a group of the template matched: the group's name, the line's number, the values by name."""

    kind: str
    at: int
    values: dict[str, str]

    def __getitem__(self, name: str) -> str:
        return self.values[name]

    def get(self, name: str) -> str | None:
        """The value, or None where the line didn't hold it or it is empty."""
        return self.values.get(name) or None


@dataclass(frozen=True)
class Matches:
    """All matches of one capture, in the order of the lines, and the transcript they came from."""

    transcript: Transcript
    found: tuple[Match, ...]

    def of(self, *kinds: str) -> list[Match]:
        """The matches of these kinds, in the order of the lines."""
        return [match for match in self.found if match.kind in kinds]

    def first(self, kind: str) -> Match | None:
        """The first match of a kind; None where there is none."""
        return next((match for match in self.found if match.kind == kind), None)

    @property
    def unmatched(self) -> list[int]:
        """The numbers of the answer's lines that no group of the template matched."""
        seen = {match.at for match in self.found}
        return [number for number in self.transcript.kept if number not in seen]


def match(template: str, transcript: Transcript) -> Matches:
    """Match the transcript's answer against a template of parsers/templates (named without its ending)."""
    numbered = "".join(
        f"{number} {text}\n"
        for number, text in transcript.answer
        if number not in transcript.broken and len(text) <= _LONGEST_LINE
    )
    with _ONE_AT_A_TIME:
        parser = _parser(template)
        try:
            parser.add_input(_NEVER_A_PATH + numbered)
            parser.parse(one=True)
            result = parser.result(structure="flat_list")
        finally:
            parser.clear_input()
            parser.clear_result()
    groups: dict[str, Any] = result[0] if result else {}
    found = [
        Match(kind, int(row.pop("at")), row)
        for kind, rows in groups.items()
        for row in (rows if isinstance(rows, list) else [rows])
    ]
    return Matches(transcript, tuple(sorted(found, key=lambda match: match.at)))


@cache
def _parser(template: str) -> Any:
    from ttp import ttp

    source = resources.files("parsers") / "templates" / f"{template}.ttp"
    return ttp(template=source.read_text(encoding="utf-8"), log_level="CRITICAL")
