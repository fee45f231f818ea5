"""Verifies an archive by itself: no store, no network, and nothing of it ever comes to a disk."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import chain
from typing import Any

from collector.evidence.archive import MANIFEST, SUMS, NotAnArchive, against_manifest, digest, read
from collector.evidence.dossier import SCHEMA
from collector.evidence.shape import faults_of_shape
from collector.report import evidence_page
from collector.report.visible import encodable
from parsers import transcript

EVIDENCE = "evidence.json"
REPORT = "report.html"
_DEEPEST = 40
# JSON takes many times its size in memory, and the more the more values it is of. A window's evidence is about 400,000
# bytes of 10,000 values.
_MOST_BYTES = 24 * 1024 * 1024
_MOST_VALUES = 500_000
_MOST_FAULTS = 1_000


@dataclass(frozen=True)
class Verified:
    """What came of it: the faults, a clause each, and how much was looked at.

    `lines` are the cited lines that were found in their captures; `unchecked` those whose captures aren't in the
    archive. `made_by` is the readypair that made the report where that is another version and so nobody looked at
    the report; empty where it was looked at.
    """

    faults: tuple[str, ...]
    files: int
    lines: int
    pair: str
    date: str
    unchecked: int = 0
    made_by: str = ""


def verify(data: bytes) -> Verified:
    """Look at everything in an archive; NotAnArchive where it is none, or can't be read."""
    found = read(data)
    faults = [*found.faults, *against_manifest(found.files)]
    faults += [f"{name} is missing" for name in (EVIDENCE, REPORT, SUMS) if name not in found.files]
    told = _document(found.files)
    if told is None:
        return Verified(_some((*faults, f"{EVIDENCE} isn't one of readypair's")), len(found.files), 0, "", "")
    shape = [f"{EVIDENCE} is nested deeper than {_DEEPEST} levels"] if _is_too_deep(told) else faults_of_shape(told)
    if shape:
        return Verified(_some((*faults, *shape)), len(found.files), 0, "", "")
    cited = list(_cited(told))
    faults += list(_of_captures(told, found.files))
    printed = _Printed(found.files)
    wrong = (fault for item in cited for fault in _of_lines(item, printed))
    return Verified(
        faults=_some(chain(faults, wrong, _of_report(told, found.files))),
        files=len(found.files),
        lines=sum(len(item["numbers"]) for item in cited if item.get("file") is not None),
        pair=told["pair"],
        date=told["date"],
        unchecked=sum(len(item["lines"]) for item in cited if item.get("file") is None),
        made_by="" if _is_of_this_version(told) else told["versions"]["readypair"],
    )


def is_too_large(evidence: bytes) -> bool:
    """Whether `evidence.json` is larger than `verify` reads."""
    return len(evidence) > _MOST_BYTES or sum(evidence.count(each) for each in (b",", b"[", b"{")) > _MOST_VALUES


def _some(faults: Iterable[str]) -> tuple[str, ...]:
    """Each fault once, and no more of them than somebody reads: an archive may have as many as it has bytes."""
    told: dict[str, None] = {}
    for fault in faults:
        if len(told) == _MOST_FAULTS and fault not in told:
            return (*told, f"and there is more wrong with it than these {_MOST_FAULTS:,} faults")
        told[fault] = None
    return tuple(told)


def _document(files: Mapping[str, bytes]) -> dict[str, Any] | None:
    data = files.get(EVIDENCE, b"")
    try:
        told = None if is_too_large(data) else json.loads(data)
    except (ValueError, RecursionError):
        return None
    if not isinstance(told, dict) or told.get("tool") != "readypair" or type(told.get("schema")) is not int:
        return None
    if told["schema"] != SCHEMA:
        raise NotAnArchive(f"it was made by another readypair (schema {told['schema']}); verify it with that one")
    return told


def _is_too_deep(told: Any) -> bool:
    level = [told]
    for _ in range(_DEEPEST):
        level = [
            inner
            for each in level
            for inner in (each.values() if isinstance(each, dict) else each)
            if isinstance(inner, dict | list)
        ]
        if not level:
            return False
    return True


def _cited(value: Any) -> Iterator[dict[str, Any]]:
    """Everything that cites lines of a file, wherever it stands."""
    if isinstance(value, list):
        for each in value:
            yield from _cited(each)
    elif isinstance(value, dict):
        if "numbers" in value and "lines" in value:
            yield value
        for each in value.values():
            yield from _cited(each)


class _Printed:
    """The lines of the archive's captures, each capture split once however often it is cited."""

    def __init__(self, files: Mapping[str, bytes]) -> None:
        self._files = files
        self._split: dict[str, list[str]] = {}

    def lines(self, name: str) -> list[str] | None:
        """The lines of a file as somebody is shown them; None where there is no such file."""
        if name not in self._files:
            return None
        if name not in self._split:
            text = self._files[name].decode("utf-8", "surrogateescape")
            self._split[name] = [encodable(line) for line in transcript.split(text)]
        return self._split[name]


def _of_lines(item: Mapping[str, Any], captures: _Printed) -> Iterator[str]:
    """Whether each cited line stands in the capture that it is cited from, at its number."""
    name, numbers, lines = item.get("file"), item["numbers"], item["lines"]
    if name is None and isinstance(numbers, list) and isinstance(lines, list):
        return
    if not isinstance(name, str) or not isinstance(numbers, list) or not isinstance(lines, list):
        yield f"{EVIDENCE} cites lines in a way that isn't readypair's"
        return
    if len(numbers) != len(lines) or not all(type(number) is int for number in numbers):
        yield f"{EVIDENCE} cites lines of {name} without their numbers"
        return
    printed = captures.lines(name)
    if printed is None:
        yield f"{EVIDENCE} cites {name}, which isn't in the archive"
        return
    for number, line in zip(numbers, lines, strict=True):
        if not 1 <= number <= len(printed) or printed[number - 1] != line:
            yield f"{EVIDENCE} cites line {number} of {name}, which says something else"


def _of_captures(told: Mapping[str, Any], files: Mapping[str, bytes]) -> Iterator[str]:
    """Whether the list of captures and the captures agree."""
    rows = told.get("captures")
    rows = rows if isinstance(rows, list) else []
    listed = {row["file"]: row for row in rows if isinstance(row, dict) and isinstance(row.get("file"), str)}
    here = {name for name in files if name.startswith("captures/")}
    yield from (f"{name} isn't among the captures of {EVIDENCE}" for name in sorted(here - listed.keys()))
    yield from (f"{EVIDENCE} lists {name}, which isn't in the archive" for name in sorted(listed.keys() - here))
    for name in sorted(here & listed.keys()):
        if listed[name].get("sha256") != digest(files[name]):
            yield f"{name} isn't the capture that {EVIDENCE} lists: its SHA-256 differs"
    yield from _of_copies(told.get("files"), files)


def _of_copies(rows: Any, files: Mapping[str, bytes]) -> Iterator[str]:
    for row in rows if isinstance(rows, list) else []:
        name = row.get("name") if isinstance(row, dict) and row.get("copied") else None
        if isinstance(name, str) and (name not in files or row.get("sha256") != digest(files[name])):
            yield f"{name} isn't the file that {EVIDENCE} lists: its SHA-256 differs"


def _of_report(told: Mapping[str, Any], files: Mapping[str, bytes]) -> Iterator[str]:
    """Whether the report is of this evidence; where this readypair has the same templates, whether it is made of it."""
    if REPORT not in files or EVIDENCE not in files:
        return
    sha256 = digest(files[EVIDENCE])
    if sha256.encode() not in files[REPORT]:
        yield f"{REPORT} is of other evidence: it doesn't bear the SHA-256 of {EVIDENCE}"
        return
    if not _is_of_this_version(told):
        return
    try:
        same = evidence_page.page(told, sha256).encode("utf-8") == files[REPORT]
    except evidence_page.UNSHOWABLE:
        yield f"{EVIDENCE} lacks what a report is made of"
        return
    if not same:
        yield f"{REPORT} doesn't say what {EVIDENCE} says"


def _is_of_this_version(told: Mapping[str, Any]) -> bool:
    return bool(told["versions"]["report"] == evidence_page.template_digest())


__all__ = ["EVIDENCE", "MANIFEST", "REPORT", "Verified", "is_too_large", "verify"]
