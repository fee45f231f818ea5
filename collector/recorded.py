"""The connection plugin that asks a recording in place of a controller."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from collector import recording
from collector.asking import Login, Session
from collector.capture import Capture
from collector.masking import masked
from parsers.catalogue import Command


class RecordedMember:
    """A member as its recording describes it."""

    def __init__(self, recorded: recording.MemberRecording) -> None:
        self._recorded = recorded

    def ask(self, command: Command) -> Capture:
        """The recorded answer to a command; a MISSING capture that says so where there is none."""
        return masked(self._recorded.capture(command))

    def renewed(self) -> dict[str, Capture]:
        """None: a recording is never lost."""
        return {}

    def doubted(self) -> dict[str, str]:
        """None: what was doubted is recorded so."""
        return {}


class RecordedSession(Session[RecordedMember]):
    """Nornir's connection plugin for recordings. `extras` hold `folder` (see `recording.find`) and `member`."""

    def begin(self, login: Login, extras: dict[str, Any]) -> RecordedMember:
        """Open the recording; RecordingError where its manifest or the member's name can't be used."""
        missing = [key for key in ("folder", "member") if not extras.get(key)]
        if missing:
            raise recording.RecordingError(f"the extras of a recorded session lack {' and '.join(missing)}")
        member = recording.checked_name(str(extras["member"]))
        return RecordedMember(recording.open_member(Path(extras["folder"]) / member, member))
