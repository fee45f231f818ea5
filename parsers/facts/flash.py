"""Facts about flash memory."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Self

from parsers.facts.agreement import Agreement
from parsers.facts.core import Facts, Unreadable
from parsers.matching import Match, Matches


@dataclass(frozen=True, kw_only=True)
class File:
    """One file in a directory; its size in bytes; `modified` knows its offset if one was printed; `at` is its line."""

    name: str
    bytes: int
    modified: datetime | None = None
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class Directory(Facts):
    """`dir bootflash:` and `dir stby-bootflash:`. Sizes in bytes.

    `files` has no directories in it. It is None where only the totals were asked, and where a line of the listing
    can't be read: what stands there is not known then.
    """

    bytes_total: int | None = None
    bytes_free: int | None = None
    files: tuple[File, ...] | None = None

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Unreadable where no line tells the free space, or the controller says that it has no such file system."""
        told = Agreement(matches)
        trouble = matches.first("trouble")
        if trouble is not None:
            raise Unreadable(f"the controller answered: %{trouble['said']}")
        total = told.value("bytes_total", matches.of("space"), lambda match: int(match["total"]))
        free = told.value("bytes_free", matches.of("space"), lambda match: int(match["free"]))
        if total is None or free is None:
            raise Unreadable("no line tells the free space")
        if free > total:
            raise Unreadable(f"it tells more free bytes ({free}) than there are ({total})")
        rows = [match for match in matches.of("file") if not match["permissions"].startswith("d")]
        files = tuple(_file(match) for match in rows) if _is_listed(matches) else None
        at = {**told.at, "files": tuple(file.at for file in files)} if files else told.at
        return cls(bytes_total=total, bytes_free=free, files=files, at=at)


def _is_listed(matches: Matches) -> bool:
    return not matches.unmatched and bool(matches.of("heading", "file", "empty"))


def _file(match: Match) -> File:
    return File(name=match["name"].strip(), bytes=int(match["bytes"]), at=match.at)
