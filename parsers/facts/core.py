"""What every facts type has: the lines that its values came from, and a plain form for JSON."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Self

from parsers.matching import Matches


class Unreadable(Exception):  # noqa: N818 - it is a state of a text, and the contract names it
    """The text isn't an answer to the command that the parser understands; the message says what was missing."""


class Refused(Unreadable):
    """The controller answered that this account or this session may not run the command."""


@dataclass(frozen=True, kw_only=True)
class Facts:
    """The facts of one capture.

    `at` maps a field's name (dotted for a nested one: `peer.state`) to the numbers, from 1, of the lines that it was
    read from. A field that the text didn't show is None and has no entry in `at`.
    """

    at: Mapping[str, tuple[int, ...]] = field(default_factory=dict, repr=False, compare=False)

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Build the facts from a template's matches; Unreadable where what makes the answer is missing."""
        raise NotImplementedError

    def lines_of(self, *fields: str) -> tuple[int, ...]:
        """The numbers of the lines that these fields were read from, in order, each once."""
        return tuple(sorted({number for name in fields for number in self.at.get(name, ())}))

    def plain(self) -> dict[str, Any]:
        """The facts as JSON-ready data under the names of the fields, with `at` last."""
        named = {f.name: _plain(getattr(self, f.name)) for f in dataclasses.fields(self) if f.name != "at"}
        return {**named, "at": {name: list(numbers) for name, numbers in self.at.items()}}


def _plain(value: Any) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        # `at` of an item is its own line number: kept out of the item, whose names are a contract.
        return {f.name: _plain(getattr(value, f.name)) for f in dataclasses.fields(value) if f.name != "at"}
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, datetime):
        return value.isoformat()
    return value
