"""What the disk didn't take of `--out`: it costs no verdict, and is said once all are told."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from collector.commands.telling import WRONG_QUESTION, complain, disk_trouble

_MOST_NAMED = 5


class Unwritten:
    """What of `--out` couldn't be written while everything else went on."""

    def __init__(self) -> None:
        self._sentences: dict[str, None] = {}
        self._members: dict[str, None] = {}

    @property
    def nothing(self) -> bool:
        """Whether the disk took all that was written so far."""
        return not self._sentences

    @contextmanager
    def attempt(self) -> Iterator[None]:
        """What the disk doesn't take within is remembered, and ends nothing."""
        try:
            yield
        except OSError as error:
            self._sentences.setdefault(disk_trouble(error))

    def captures(self, member: str, error: OSError) -> None:
        """The captures of a member couldn't be written; "" for the list of the pairs that are asked."""
        # One sentence for all of them: a full disk refuses a thousand folders for one reason.
        if not self._members:
            self._sentences.setdefault(disk_trouble(error))
        self._members.setdefault(member)

    def ended(self, status: int) -> int:
        """Say what wasn't written; the exit status, another one where there is anything."""
        for sentence in self._sentences:
            complain(sentence, WRONG_QUESTION)
        members = [member for member in self._members if member]
        if members:
            shown = ", ".join(members[:_MOST_NAMED]) + (" and others" if len(members) > _MOST_NAMED else "")
            complain(f"the captures of {len(members)} members were not written whole: {shown}", WRONG_QUESTION)
        return WRONG_QUESTION if self._sentences else status
