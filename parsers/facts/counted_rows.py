"""Rows of the tables that list access points, as many of them as the controller counts."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import TypeVar

from parsers import columns
from parsers.columns import Columns
from parsers.facts.core import Unreadable
from parsers.matching import Match, Matches

R = TypeVar("R")
Words = list[re.Match[str]]

# No table has half as many columns, or half as long a heading. Each row costs work for every column, so a heading of
# thousands would take minutes.
_MOST_COLUMNS = 40
_LONGEST_HEADING = 1_000

MAC = r"(?:[0-9A-Fa-f]{4}[.]){2}[0-9A-Fa-f]{4}|(?:[0-9A-Fa-f]{2}[:-]){5}[0-9A-Fa-f]{2}"
"""The shapes of a MAC address."""

IP = r"(?:[0-9]{1,3}[.]){3}[0-9]{1,3}|(?=[^ ]*:[^ ]*:)[0-9A-Fa-f:.]{2,45}"
"""The shapes of an address of either version."""


def counted_rows(
    matches: Matches,
    count: int | None,
    titles: Mapping[str, str],
    read: Callable[[Match, Columns], R | None],
    counted: str = "access points",
) -> list[R]:
    """The table's rows, each read by the heading above it; Unreadable where not all of them can be had.

    `count` is the controller's own figure of its rows, `counted` what it is a figure of.
    """
    found: list[R] = []
    unread = 0
    heading: Columns | None = None
    told: dict[str, Columns | None] = {}
    for match in matches.of("heading", "row"):
        if match.kind == "heading":
            text = match["heading"]
            if text not in told:
                told[text] = _columns(text, titles)
            heading = told[text]
            continue
        row = read(match, heading) if heading is not None else None
        if row is None:
            unread += 1
        else:
            found.append(row)
    if count is None and not found:
        raise Unreadable(f"no line tells the number of {counted}, and no row of a table can be read")
    if count is None and (unread or matches.unmatched):
        raise Unreadable(f"{unread + len(matches.unmatched)} of its lines can't be read")
    if count is not None and count != len(found):
        raise Unreadable(f"the controller counts {count} {counted}, but {len(found)} rows can be read")
    return found


def _columns(heading: str, titles: Mapping[str, str]) -> Columns | None:
    if len(heading) > _LONGEST_HEADING:
        return None
    found = columns.of(heading, titles)
    return found if len(found.names) <= _MOST_COLUMNS else None


def first_word(words: Words, shape: str) -> int | None:
    """The place of the first word of a shape; None where there is none."""
    return next((place for place, word in enumerate(words) if re.fullmatch(shape, word[0])), None)


def between(words: Words, row: str) -> str:
    """The row's text from the first of these words to the last, with the blanks between them."""
    return row[words[0].start() : words[-1].end()] if words else ""
