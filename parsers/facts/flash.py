"""Facts about flash memory."""

from __future__ import annotations

from dataclasses import dataclass

from parsers.facts.core import Facts


@dataclass(frozen=True, kw_only=True)
class File:
    """One file in a directory; its size in bytes; `at` is its line's number."""

    name: str
    bytes: int
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class Directory(Facts):
    """`dir bootflash:` and `dir stby-bootflash:`. Sizes in bytes; `files` is None where only the totals were asked."""

    bytes_total: int | None = None
    bytes_free: int | None = None
    files: tuple[File, ...] | None = None
