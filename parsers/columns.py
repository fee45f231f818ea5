"""Tables whose columns begin where the heading says, for rows in which a column may be empty or hold blanks."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache


@dataclass(frozen=True)
class Columns:
    """The columns of one heading: their names in order, and the places (from 0) at which they begin.

    A column that the heading has and the caller doesn't know is named `?`.
    """

    names: tuple[str, ...]
    starts: tuple[int, ...]

    def __contains__(self, name: str) -> bool:
        return name in self.names

    def before(self, name: str, other: str) -> bool:
        """Whether the one column stands before the other; ValueError where one is missing."""
        return self.names.index(name) < self.names.index(other)

    def cut(self, row: str) -> dict[str, str] | None:
        """The row's cells by column, empty ones too; None where a cell doesn't keep to its column."""
        if any(start <= len(row) and not row[start - 1].isspace() for start in self.starts[1:]):
            return None
        ends = (*self.starts[1:], None)
        return {name: row[start:end].strip() for name, start, end in zip(self.names, self.starts, ends, strict=True)}


def of(heading: str, titles: Mapping[str, str]) -> Columns:
    """The columns of a heading; `titles` maps a title as printed, in any case, to the name of its column."""
    found = list(_pattern(tuple(titles)).finditer(heading))
    names = {title.lower(): name for title, name in titles.items()}
    return Columns(
        tuple(names.get(" ".join(title[0].split()).lower(), "?") for title in found),
        tuple(title.start() for title in found),
    )


@cache
def _pattern(titles: tuple[str, ...]) -> re.Pattern[str]:
    known = "|".join(re.escape(title).replace(r"\ ", " +") for title in sorted(titles, key=len, reverse=True))
    return re.compile(rf"(?<!\S)(?:(?:{known})(?!\S)|\S+)", re.IGNORECASE)
