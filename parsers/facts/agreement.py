"""Takes a field's value out of the lines that tell it, which must all tell the same."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TypeVar

from parsers.facts.core import Unreadable
from parsers.matching import Match, Matches

T = TypeVar("T")


class Agreement:
    """Reads fields from the matches of one capture and remembers in `at` which lines told each of them."""

    def __init__(self, matches: Matches) -> None:
        self._matches = matches
        self._at: dict[str, tuple[int, ...]] = {}

    @property
    def at(self) -> Mapping[str, tuple[int, ...]]:
        """The lines of every field that was told, by the field's name."""
        return self._at

    def text(self, field: str, kind: str) -> str | None:
        """The `value` of the lines of a kind, without blanks around it; None where it is empty or there is no line."""
        return self.value(field, self._matches.of(kind), lambda match: match["value"].strip() or None)

    def value(self, field: str, found: Sequence[Match], read: Callable[[Match], T | None]) -> T | None:
        """What these matches say about a field, as `read` understands it; None where it understands none of them.

        Unreadable where they contradict each other: to believe the first would be to guess.
        """
        told = [read(match) for match in found]
        for match, value in zip(found, told, strict=True):
            if value != told[0]:
                what = field.replace("_", " ")
                raise Unreadable(f"lines {found[0].at} and {match.at} contradict each other about the {what}")
        if not told or told[0] is None:
            return None
        self._at[field] = tuple(match.at for match in found)
        return told[0]
