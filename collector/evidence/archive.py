"""The archive itself: a ZIP file of which there is one form only, so that the same files give the same bytes.

Nothing in it is compressed: deflate differs from one zlib to the next. So a reader needs no more memory than the file
has bytes, and whoever packs what was read again must get the same bytes, or something was hidden in it.
"""

from __future__ import annotations

import hashlib
import io
import json
import re
import struct
import zipfile
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

SCHEMA = 1
MANIFEST = "manifest.json"
SUMS = "SHA256SUMS"
MOST_BYTES = 128 * 1024 * 1024
"""No archive is larger: one that is wasn't written by `packed`."""

_MOST_ENTRIES = 20_000
_LONGEST_NAME = 240
# A directory of so many entries is smaller; one that isn't takes many times its size in memory, or minutes.
_LONGEST_DIRECTORY = 4 * 1024 * 1024
# So is a manifest of them, and JSON takes many times its size, too.
_LONGEST_MANIFEST = 400 * _MOST_ENTRIES
_SHOWN = 300
_SAFE = re.compile(r"[A-Za-z0-9_][A-Za-z0-9._-]*")
_FIRST, _LAST = datetime(1980, 1, 1, tzinfo=UTC), datetime(2107, 12, 31, 23, 59, 58, tzinfo=UTC)
# The end of the directory, and what may stand before it: APPNOTE.TXT 6.3.10, sections 4.3.15 and 4.3.16.
_END, _END_MARK = struct.Struct("<4s4H2LH"), b"PK\x05\x06"
_LONG_END_SIZE, _LONG_END_MARK = 20, b"PK\x06\x07"
_UNIX = 3
_FILE_FOR_ITS_OWNER = 0o100600


class NotAnArchive(ValueError):  # noqa: N818 - what it is instead is no error of ours
    """The file is no archive of evidence, or can't be read as one; the message is a clause."""


class TooLarge(ValueError):  # noqa: N818 - it says what the files are
    """The files together are more than an archive holds."""


@dataclass(frozen=True)
class Archive:
    """The files of an archive by their names below its folder, and what is wrong with its form, a clause a fault."""

    folder: str
    files: Mapping[str, bytes]
    faults: tuple[str, ...]


def digest(data: bytes) -> str:
    """The SHA-256 in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def as_json(value: Any) -> bytes:
    """A value as JSON that is the same whenever the value is."""
    text = json.dumps(value, indent=2, sort_keys=True, ensure_ascii=False, allow_nan=False)
    return (text + "\n").encode("utf-8")


def safe_name(text: str) -> str:
    """The text as a part of a file's name on every system; one that isn't its own name gets a mark of what it was."""
    if _SAFE.fullmatch(text) and len(text) <= 100 and not text.endswith("."):
        return text
    kept = re.sub(r"[^A-Za-z0-9_-]+", "-", text).strip("-")[:60] or "unnamed"
    return f"{kept}-{digest(text.encode('utf-8', 'surrogatepass'))[:8]}"


def packed(folder: str, files: Mapping[str, bytes], moment: datetime) -> bytes:
    """The archive of these files in this folder, with their manifest; every file bears this moment, in UTC.

    TooLarge where that comes to more than MOST_BYTES.
    """
    listed = {MANIFEST: _manifest(files), **files}
    everything = {**listed, SUMS: _sums(listed)}
    if sum(len(name) + len(data) + 1000 for name, data in everything.items()) > MOST_BYTES:
        raise TooLarge
    return _zipped(folder, everything, _stamp(moment))


def read(data: bytes) -> Archive:
    """The archive that these bytes are, read without unpacking anything to a disk; NotAnArchive where they are none."""
    if len(data) > MOST_BYTES:
        raise NotAnArchive(f"it is larger than {MOST_BYTES:,} bytes, and no archive of evidence is")
    if _directory_size(data) > _LONGEST_DIRECTORY:
        raise NotAnArchive(f"its directory is of more than {_MOST_ENTRIES:,} files, or holds more than their names")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as found:
            return _read(found, data)
    except NotAnArchive:
        raise
    except (zipfile.BadZipFile, zipfile.LargeZipFile, NotImplementedError, RuntimeError, OSError, EOFError) as error:
        raise NotAnArchive(f"it can't be read as a ZIP file ({_first_line(error)})") from None
    except (ValueError, OverflowError, IndexError, struct.error) as error:
        raise NotAnArchive(f"it can't be read as a ZIP file ({type(error).__name__})") from None


def against_manifest(files: Mapping[str, bytes]) -> list[str]:
    """What disagrees between the files and their manifest, a clause a fault; NotAnArchive where that is missing."""
    listed = _listed(files)
    faults = [f"{name} is in the archive and not in {MANIFEST}" for name in sorted(files.keys() - listed.keys())]
    for name, (size, sha256) in listed.items():
        if name not in files:
            faults.append(f"{name} is in {MANIFEST} and not in the archive")
        elif len(files[name]) != size:
            faults.append(f"{name} has {len(files[name]):,} bytes, {MANIFEST} says {size:,}")
        elif digest(files[name]) != sha256:
            faults.append(f"{name} isn't the file that {MANIFEST} was made of: its SHA-256 differs")
    own = {name: data for name, data in files.items() if name != SUMS}
    if SUMS in files and files[SUMS] != _sums(own):
        faults.append(f"{SUMS} doesn't list every file with its SHA-256")
    return faults


def _manifest(files: Mapping[str, bytes]) -> bytes:
    rows = [{"name": name, "bytes": len(data), "sha256": digest(data)} for name, data in sorted(files.items())]
    return as_json({"schema": SCHEMA, "tool": "readypair", "files": rows})


def _sums(files: Mapping[str, bytes]) -> bytes:
    """As `sha256sum` writes them."""
    return "".join(f"{digest(data)}  {name}\n" for name, data in sorted(files.items())).encode("ascii")


def _zipped(folder: str, files: Mapping[str, bytes], stamp: tuple[int, int, int, int, int, int]) -> bytes:
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w", zipfile.ZIP_STORED) as archive:
        for name, data in sorted(files.items()):
            info = zipfile.ZipInfo(f"{folder}/{name}", stamp)
            info.compress_type = zipfile.ZIP_STORED
            # Python would set it by the system that it runs on.
            info.create_system = _UNIX
            info.external_attr = _FILE_FOR_ITS_OWNER << 16
            archive.writestr(info, data)
    return written.getvalue()


def _stamp(moment: datetime) -> tuple[int, int, int, int, int, int]:
    """As ZIP files keep it: from 1980 to 2107, in steps of two seconds."""
    kept = min(max(moment.astimezone(UTC), _FIRST), _LAST)
    return kept.year, kept.month, kept.day, kept.hour, kept.minute, kept.second // 2 * 2


def _directory_size(data: bytes) -> int:
    """How large the directory claims to be, in bytes, before anybody reads it; 0 where there is no end of one.

    The end is where `zipfile` looks for it. One for archives of more than four gigabytes counts as larger than any.
    """
    end = len(data) - _END.size
    if end < 0 or data[end : end + 4] != _END_MARK or data[-2:] != b"\0\0":
        end = data.rfind(_END_MARK, max(len(data) - _END.size - 0xFFFF, 0))
    if end < 0 or len(data) - end < _END.size:
        return 0
    if data[max(end - _LONG_END_SIZE, 0) : end].startswith(_LONG_END_MARK):
        return _LONGEST_DIRECTORY + 1
    size: int = _END.unpack_from(data, end)[5]
    return size


def _read(found: zipfile.ZipFile, data: bytes) -> Archive:
    entries = found.infolist()
    if not entries or len(entries) > _MOST_ENTRIES:
        raise NotAnArchive(f"it holds {len(entries):,} files")
    faults = _of_the_form(entries)
    folder = entries[0].orig_filename.split("/", 1)[0]
    plain = [entry for entry in entries if _is_plain(entry)]
    if sum(entry.file_size for entry in plain) > len(data):
        raise NotAnArchive("its files claim to hold more bytes than the whole archive")
    good = [entry for entry in plain if _name_fault(entry, folder) is None]
    files: dict[str, bytes] = {}
    for entry in good:
        try:
            files.setdefault(entry.orig_filename[len(folder) + 1 :], found.read(entry))
        except (zipfile.BadZipFile, NotImplementedError, RuntimeError, OSError, EOFError, ValueError) as error:
            faults.append(f"{_shown(entry.orig_filename)} can't be read ({_first_line(error)})")
    if not faults and _zipped(folder, files, entries[0].date_time) != data:
        faults.append("it holds more than its files: bytes before, between or after them, or notes on them")
    return Archive(folder, files, tuple(faults))


def _of_the_form(entries: Sequence[zipfile.ZipInfo]) -> list[str]:
    folder = entries[0].orig_filename.split("/", 1)[0]
    faults: list[str] = []
    for entry in entries:
        shown = _shown(entry.orig_filename)
        named = _name_fault(entry, folder)
        if named is not None:
            faults.append(f"{shown} {named}")
        if entry.flag_bits & 0x1:
            faults.append(f"{shown} is encrypted")
        elif entry.compress_type != zipfile.ZIP_STORED or entry.compress_size != entry.file_size:
            faults.append(f"{shown} is compressed; no file of an archive of evidence is")
        elif entry.external_attr != _FILE_FOR_ITS_OWNER << 16 or entry.create_system != _UNIX:
            faults.append(f"{shown} is something else than a file for its owner, such as a link")
    return faults + _doubles(entry.orig_filename for entry in entries)


def _doubles(names: Iterable[str]) -> list[str]:
    """Names that are there twice, and those that are one on a system which doesn't tell capitals."""
    counted = Counter(names)
    faults = [f"{_shown(name)} is in it {number} times" for name, number in sorted(counted.items()) if number > 1]
    folded: dict[str, list[str]] = {}
    for name in sorted(counted):
        folded.setdefault(name.casefold(), []).append(name)
    return faults + [
        f"{' and '.join(map(_shown, twins))} are one file where capitals don't count"
        for twins in folded.values()
        if len(twins) > 1
    ]


def _name_fault(entry: zipfile.ZipInfo, folder: str) -> str | None:
    """What is wrong with a name; nothing of ours is outside one folder, or has a name that some system can't keep."""
    name = entry.orig_filename
    top, *parts = name.split("/")
    if top != folder or not parts:
        return f"isn't in the folder {_shown(folder)}"
    if len(name) > _LONGEST_NAME or not all(_SAFE.fullmatch(part) for part in (top, *parts)):
        return "has a name that leads elsewhere, or that not every system can keep"
    return None


def _is_plain(entry: zipfile.ZipInfo) -> bool:
    stored = entry.compress_type == zipfile.ZIP_STORED and entry.compress_size == entry.file_size
    return stored and not entry.flag_bits & 0x1


def _listed(files: Mapping[str, bytes]) -> dict[str, tuple[int, str]]:
    """The manifest's files, and itself aside the sums: name to size and digest."""
    if MANIFEST not in files:
        raise NotAnArchive(f"it has no {MANIFEST}")
    if len(files[MANIFEST]) > _LONGEST_MANIFEST:
        raise NotAnArchive(f"its {MANIFEST} is larger than any of readypair's")
    try:
        data = json.loads(files[MANIFEST])
        schema, tool, rows = data["schema"], data["tool"], data["files"]
        listed = {str(row["name"]): (int(row["bytes"]), str(row["sha256"])) for row in rows}
    except (ValueError, TypeError, KeyError, OverflowError, RecursionError):
        raise NotAnArchive(f"its {MANIFEST} isn't one of readypair's") from None
    if tool != "readypair" or not isinstance(schema, int):
        raise NotAnArchive(f"its {MANIFEST} isn't one of readypair's")
    if schema != SCHEMA:
        raise NotAnArchive(f"it was made by another readypair (schema {schema}); verify it with that one")
    own = {MANIFEST: (len(files[MANIFEST]), digest(files[MANIFEST]))}
    sums = {SUMS: (len(files[SUMS]), digest(files[SUMS]))} if SUMS in files else {SUMS: (0, "")}
    return {**listed, **own, **sums}


def _first_line(error: BaseException) -> str:
    return _shown((str(error).splitlines() or [type(error).__name__])[0][:200])


def _shown(name: str) -> str:
    short = name if len(name) <= _SHOWN else f"{name[:_SHOWN]}... ({len(name):,} characters)"
    return short if short.isprintable() else ascii(short)
