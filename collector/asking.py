"""What the sweep asks a member through, whether it answers over SSH or out of a recording."""

from __future__ import annotations

from typing import Protocol

from collector.capture import Capture
from parsers.catalogue import Command


class Asking(Protocol):
    """The `connection` of every connection plugin that a sweep may use."""

    def ask(self, command: Command) -> Capture:
        """The member's answer to one command of the catalogue; what can't be had is a capture that says why."""
        ...
