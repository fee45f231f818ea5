"""The connection plugin that asks a recording in place of a controller."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from collector import recording
from collector.capture import Capture
from parsers.catalogue import Command

if TYPE_CHECKING:
    from nornir.core.configuration import Config


class RecordedMember:
    """A member as its recording describes it."""

    def __init__(self, recorded: recording.MemberRecording) -> None:
        self._recorded = recorded

    def ask(self, command: Command) -> Capture:
        """The recorded answer to a command; a MISSING capture that says so where there is none."""
        return self._recorded.capture(command)


class RecordedSession:
    """Nornir's connection plugin for recordings. `extras` hold `folder` (see `recording.find`) and `member`."""

    def __init__(self) -> None:
        self._member: RecordedMember | None = None

    @property
    def connection(self) -> RecordedMember:
        """What answers; RuntimeError while the plugin isn't open."""
        if self._member is None:
            raise RuntimeError("the recording isn't open")
        return self._member

    def open(
        self,
        hostname: str | None,
        username: str | None,
        password: str | None,
        port: int | None,
        platform: str | None,
        extras: dict[str, Any] | None = None,
        configuration: Config | None = None,
    ) -> None:
        """Open the recording; RecordingError where its manifest or the member's name can't be used."""
        given = extras or {}
        missing = [key for key in ("folder", "member") if not given.get(key)]
        if missing:
            raise recording.RecordingError(f"the extras of a recorded session lack {' and '.join(missing)}")
        member = recording.checked_name(str(given["member"]))
        self._member = RecordedMember(recording.open_member(Path(given["folder"]) / member, member))

    def close(self) -> None:
        """Forget the recording."""
        self._member = None
