"""From a command and its text to facts."""

from __future__ import annotations

from parsers import catalogue, matching, transcript
from parsers.facts.core import Facts, Refused, Unreadable


class UnknownCommand(ValueError):  # noqa: N818 - named like its sisters Refused and Unreadable
    """The command isn't in the catalogue."""


def read(command: str, text: str) -> Facts:
    """The facts of one capture, in the type that the catalogue names for the command.

    Raises UnknownCommand for a command that the catalogue doesn't have, Refused where the controller refused it, and
    Unreadable where the text isn't an answer to it. Nothing else.
    """
    row = catalogue.find(command)
    if row is None:
        raise UnknownCommand(f"{command!r} is not in the catalogue of commands")
    lines = transcript.of(text)
    refusal = lines.refusal
    if refusal is not None:
        raise Refused(f"the controller refused it: {lines.line(refusal).strip()}")
    if not lines.kept:
        raise Unreadable("the answer is empty")
    return row.facts.from_matches(matching.match(row.template, lines))
