"""Captures on disk: `FOLDER/<member>/<slug>.txt` and `FOLDER/<member>/manifest.json`."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any, TypeVar

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, ValidationError

from collector import files, folders
from collector.capture import MOST_BYTES, Capture, Ending
from collector.masking import masked
from inventory import names, regular_files
from parsers import catalogue
from parsers.catalogue import Command

MANIFEST = "manifest.json"
SELECTION = "selection.json"
_CAPTURES = "captures"


class RecordingError(ValueError):
    """A recording can't be used; the message names the file and says what to do."""


class _Entry(BaseModel):
    """What the manifest says of one capture; `sha256` is of the file as it was written, in hexadecimal."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    file: str | None = None
    sha256: str | None = None
    started: AwareDatetime | None = None
    seconds: Annotated[float, Field(ge=0, allow_inf_nan=False)] | None = None
    ending: Ending
    reason: str = ""


class _Manifest(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    captures: Mapping[str, _Entry]


class _Selection(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)

    pairs: list[str]


_M = TypeVar("_M", bound=BaseModel)


def write(folder: Path, member: str, captures: Iterable[Capture]) -> Path:
    """Write a member's captures and their manifest, readable by the owner only; returns the member's folder.

    What an earlier sweep left there of commands that are missing now is removed. Should the writing be interrupted,
    the captures count as missing. Raises RecordingError for a name that can't be a folder's, OSError where the disk
    doesn't take it.
    """
    own = folder / checked_name(member)
    folders.make_private(own)
    own.chmod(0o700)
    # Until the last file stands, the manifest lists nothing: a new text must never count under an old entry.
    _write_json(own / MANIFEST, {"captures": {}})
    entries: dict[str, Any] = {}
    for capture in captures:
        file = None if capture.ending is Ending.MISSING else _file(capture.command)
        content = _encoded(capture.text)
        if file:
            files.replace(own / file, content)
        entries[capture.command] = {
            "file": file,
            "sha256": hashlib.sha256(content).hexdigest() if file else None,
            "started": _aware(capture.started).isoformat() if capture.started else None,
            "seconds": capture.seconds,
            "ending": capture.ending.value,
            "reason": capture.reason,
        }
    written = {entry["file"] for entry in entries.values()}
    for file in {_file(command.text) for command in catalogue.COMMANDS} - written:
        (own / file).unlink(missing_ok=True)
    _write_json(own / MANIFEST, {"captures": entries})
    return own


@dataclass(frozen=True)
class MemberRecording:
    """One member's captures in a folder, read as they are asked for; made by `open_member`."""

    folder: Path
    member: str
    manifest: _Manifest | None

    def capture(self, command: Command) -> Capture:
        """The capture of a command; a MISSING one that says so where it isn't there."""
        return _capture(self.folder, self.member, command, self.manifest)


def open_member(own: Path, member: str) -> MemberRecording:
    """A member's recording in its folder, whatever that is called; RecordingError for a manifest that can't be used."""
    manifest = _read_json(own / MANIFEST, _Manifest)
    if manifest:
        _check_files(own / MANIFEST, manifest)
    return MemberRecording(own, member, manifest)


def load(folder: Path, member: str, commands: Iterable[Command]) -> list[Capture]:
    """A member's captures of these commands, in their order; what isn't there is a MISSING capture that says so.

    What looks like a secret in them is masked.

    Where the form of a command that a sweep sends was not recorded but another form of it was (`show chassis` for
    `show chassis rmi`), that one counts as its capture. Raises RecordingError for a manifest that can't be used and
    for a name that can't be a folder's.
    """
    recorded = open_member(folder / checked_name(member), member)
    return [masked(recorded.capture(command)) for command in commands]


def members(folder: Path) -> list[str]:
    """The names of the members that a folder holds recordings of, sorted."""
    try:
        return sorted(path.name for path in folder.iterdir() if path.is_dir() and names.is_folder(path.name))
    except OSError as error:
        raise RecordingError(f"{folder}: can't be read: {error.strerror}; name a folder of captures") from None


def find(folder: Path) -> Path:
    """The folder of the members' folders: the given one, or `captures` in it where `sweep --out` wrote it.

    Raises RecordingError where there is no such folder.
    """
    if folder.exists() and not folder.is_dir():
        raise RecordingError(f"{folder}: is a file; name a folder, such as what `readypair sweep --out` wrote")
    if not folder.is_dir():
        raise RecordingError(f"{folder}: there is no such folder; name what `readypair sweep --out` wrote")
    inner = folder / _CAPTURES
    return inner if inner.is_dir() and not _holds_captures(inner) else folder


def overlaps(out: Path, folder: Path) -> bool:
    """Whether what `--out` writes would go into the folder of members' folders itself."""
    return (out / _CAPTURES).resolve() == folder.resolve()


def write_selection(folder: Path, pairs: Sequence[str]) -> None:
    """Write which pairs were asked, so that a replay of a partial sweep asks for the same ones."""
    folders.make_private(folder)
    _write_json(folder / SELECTION, {"pairs": list(pairs)})


def read_selection(folder: Path) -> list[str] | None:
    """The pairs that were asked; None where the recording doesn't say. Raises RecordingError where it is malformed."""
    selection = _read_json(folder / SELECTION, _Selection)
    return selection.pairs if selection else None


def checked_name(member: str) -> str:
    """The member's name, if it is usable as a folder's name; RecordingError otherwise."""
    if not names.is_folder(member):
        shown = member if len(member) <= names.LONGEST else f"{member[: names.LONGEST]}..."
        raise RecordingError(f"{shown!r} can't be a folder's name; give the member a plain name such as quay-a")
    return member


def _capture(own: Path, member: str, command: Command, manifest: _Manifest | None) -> Capture:
    for form in (command, *_other_forms(command)):
        entry = manifest.captures.get(form.text) if manifest else None
        if entry or os.path.lexists(own / _file(form.text)):
            return _one_form(own, member, command, form, manifest, entry)
    if not own.is_dir():
        return _missing(member, command, f"no recordings of it in {own.parent}")
    return _missing(member, command, f"no recording {_file(command.text)} in {own}")


def _one_form(
    own: Path, member: str, command: Command, form: Command, manifest: _Manifest | None, entry: _Entry | None
) -> Capture:
    path = own / _file(form.text)
    if manifest and not entry:
        return _missing(member, command, f"{path} is not listed in {MANIFEST}")
    if entry and entry.ending is Ending.MISSING:
        return _missing(member, command, entry.reason or f"{MANIFEST} says that it is missing", entry)
    try:
        if not path.is_file():
            return _missing(member, command, f"{path} is not a file that can be read", entry)
        # Whoever made the recording would otherwise have any file of its reader's shown in the reports.
        if path.resolve().parent != own.resolve():
            return _missing(member, command, f"{path} is a link out of its folder; put the file itself there", entry)
        content = regular_files.read(path, MOST_BYTES)
    except OSError as error:
        return _missing(member, command, f"{path} can't be read: {error.strerror}", entry)
    if entry and entry.sha256 and entry.sha256 != hashlib.sha256(content).hexdigest():
        return _missing(member, command, f"{path} has changed since it was recorded", entry)
    text = content.decode("utf-8", "surrogateescape")
    if entry is None:
        return Capture(member, command.text, text)
    return Capture(member, command.text, text, entry.ending, entry.reason, entry.started, entry.seconds)


def _missing(member: str, command: Command, reason: str, entry: _Entry | None = None) -> Capture:
    started, seconds = (entry.started, entry.seconds) if entry else (None, None)
    return Capture(member, command.text, "", Ending.MISSING, reason, started, seconds)


def _other_forms(command: Command) -> list[Command]:
    """The forms of a command that the parser reads alike but a sweep doesn't send: filtered, or with a word less."""
    return [
        other
        for other in catalogue.COMMANDS
        if not other.sent
        and other.facts is command.facts
        and (other.text.startswith(f"{command.text} |") or command.text.startswith(f"{other.text} "))
    ]


def _file(command: str) -> str:
    return f"{catalogue.slug(command)}.txt"


def _holds_captures(folder: Path) -> bool:
    return (folder / MANIFEST).exists() or any(folder.glob("*.txt"))


def _check_files(path: Path, manifest: _Manifest) -> None:
    for command, entry in manifest.captures.items():
        expected = None if entry.ending is Ending.MISSING else _file(command)
        if entry.file != expected:
            said, due = json.dumps(entry.file), json.dumps(expected)
            raise RecordingError(f"{path}: captures.{command}.file is {said} but must be {due}; {_REMEDY}")


_REMEDY = "correct it, sweep again, or delete it to have the captures count as complete and undated"


def _read_json(path: Path, model: type[_M]) -> _M | None:
    """The file as the model; None where there is none."""
    try:
        text = regular_files.read(path, MOST_BYTES).decode("utf-8-sig")
        return model.model_validate(json.loads(text, object_pairs_hook=_unique))
    except (FileNotFoundError, NotADirectoryError):
        return None
    except OSError as error:
        raise RecordingError(f"{path}: can't be read: {error.strerror}; make it readable or sweep again") from None
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False, include_context=False)[0]
        key = ".".join(str(part) for part in first["loc"])
        raise RecordingError(f"{path}: {key + ': ' if key else ''}{first['msg']}; {_REMEDY}") from None
    except (ValueError, RecursionError) as error:
        raise RecordingError(f"{path}: is not valid JSON ({error}); {_REMEDY}") from None


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a key is given twice")
    return found


def _encoded(text: str) -> bytes:
    try:
        return text.encode("utf-8", "surrogateescape")
    except UnicodeEncodeError:
        # A surrogate that stands for no byte: nothing that came off a wire holds one.
        return text.encode("utf-8", "replace")


def _aware(moment: datetime) -> datetime:
    """The moment with its offset; one without any is local time."""
    return moment if moment.tzinfo else moment.astimezone()


def _write_json(path: Path, data: Mapping[str, Any]) -> None:
    files.replace(path, (json.dumps(data, indent=1) + "\n").encode("ascii"))
