"""Facts about flash memory."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from typing import ClassVar, Self

from parsers import printed_time
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
    """`dir bootflash:`. Sizes in bytes. `file_systems` are the names that a heading may give what was asked for.

    `files` has no directories in it. It is None where only the totals were asked, where a line of the listing can't be
    read, and where nothing is listed without a word that there are no files: what stands there is not known then.
    """

    file_systems: ClassVar[tuple[str, ...]] = ("bootflash", "flash")
    folders: ClassVar[tuple[str, ...]] = ("",)

    bytes_total: int | None = None
    bytes_free: int | None = None
    files: tuple[File, ...] | None = None

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Unreadable where no line tells the free space, where the controller says that it has no such file system, and
        where a heading names another one, or another folder: that isn't what was asked about.
        """
        told = Agreement(matches)
        for heading in matches.of("heading"):
            name, colon, folder = heading["what"].partition(":")
            asked = folder.strip().strip("/") in cls.folders
            if not (colon and asked and name.strip().lower() in cls.file_systems):
                raise Unreadable(f"it lists {heading['what'].strip()[:40]}, which isn't what was asked for")
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


@dataclass(frozen=True, kw_only=True)
class StandbyDirectory(Directory):
    """`dir stby-bootflash:`, as Directory."""

    file_systems = ("stby-bootflash", "stby-flash")


@dataclass(frozen=True, kw_only=True)
class CoreDirectory(Directory):
    """`dir bootflash:core`. A folder that doesn't exist holds no files."""

    folders = ("", "core")

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """As Directory, except that the controller's word that there is no such folder is an answer, without totals."""
        found = ((match.at, _NO_FOLDER.fullmatch(match["said"].strip())) for match in matches.of("trouble"))
        absent = [at for at, no_folder in found if no_folder and no_folder[1] in cls.file_systems]
        if absent and len(absent) == len(matches.transcript.kept):
            return cls(files=(), at={"files": tuple(absent)})
        return super().from_matches(matches)


@dataclass(frozen=True, kw_only=True)
class StandbyCoreDirectory(CoreDirectory):
    """`dir stby-bootflash:core`, as CoreDirectory."""

    file_systems = StandbyDirectory.file_systems


_NO_FOLDER = re.compile(r"Error opening ([a-z-]+):/?core/? \(No such file or directory\)\.?")


def _is_listed(matches: Matches) -> bool:
    return not matches.unmatched and bool(matches.of("file")) is not bool(matches.of("empty"))


def _file(match: Match) -> File:
    return File(name=match["name"].strip(), bytes=int(match["bytes"]), modified=_modified(match["date"]), at=match.at)


_MODIFIED = re.compile(
    r"(?P<day>\S+ +\S+ +\S+) +(?P<clock>\S+)(?: +(?P<sign>[+-])(?P<hours>[0-9]{2}):?(?P<minutes>[0-9]{2}))?"
)


def _modified(date: str) -> datetime | None:
    """When a file was modified; None where the date isn't one, or no date was kept."""
    found = _MODIFIED.fullmatch(" ".join(date.split()))
    printed = printed_time.parse(f"{found['clock']} {found['day']}") if found else None
    if found is None or printed is None or found["sign"] is None:
        return printed.time if printed else None
    offset = timedelta(hours=int(found["hours"]), minutes=int(found["minutes"]))
    if offset >= timedelta(days=1):
        return None
    return printed.time.replace(tzinfo=timezone(-offset if found["sign"] == "-" else offset))
