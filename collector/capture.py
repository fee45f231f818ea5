"""A capture: what one command printed on one member, when, how long it took and how it ended."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

MOST_BYTES = 20_000_000
"""The longest answer that a session takes, and that a recording or a file of one may hold."""


class Ending(StrEnum):
    """How a capture ended."""

    COMPLETE = "complete"
    CUT_OFF = "cut-off"
    MISSING = "missing"


@dataclass(frozen=True)
class Capture:
    """The text that one command printed, exactly as printed between the echoed command and the next prompt.

    What looked like a secret in it is masked (see collector.masking); no line is added or lost by that.
    `reason` says in one clause why a capture is cut off or missing. `started` is None for an undated one;
    `seconds` is how long the answer took.
    """

    member: str
    command: str
    text: str = ""
    ending: Ending = Ending.COMPLETE
    reason: str = ""
    started: datetime | None = None
    seconds: float | None = None
