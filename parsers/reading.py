"""From a command and its text to facts."""

from __future__ import annotations

from parsers import catalogue, matching, transcript
from parsers.facts.core import Facts, Refused, Unreadable

# Far beyond the largest fleet that one controller serves; keeps a hostile or mistaken file from taking minutes.
_MOST_CHARACTERS = 6_000_000
_MOST_LINES = 100_000
# What isn't a list of access points is about the controller itself: its files, its certificates, its own state.
_LISTS = ("ap_summary", "ap_image", "join_summary", "ap_load", "radio_summary")
_MOST_LINES_OF_ITSELF = 25_000
# This one has a row for every neighbour of every access point: 6,000 of them with 20 each are 120,000 rows of some
# hundred characters. As many rows more would take longer than a text may.
_LIST_OF_NEIGHBOURS = "ap_neighbours"
_MOST_CHARACTERS_OF_NEIGHBOURS = 15_000_000
_MOST_LINES_OF_NEIGHBOURS = 130_000


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
    _check_length(text, *_limits(row))
    lines = transcript.of(text)
    refusal = lines.refusal
    if refusal is not None:
        raise Refused(f"the controller refused it: {lines.line(refusal).strip()}")
    if not lines.kept:
        raise Unreadable("the answer is empty")
    return row.facts.from_matches(matching.match(row.template, lines))


def _check_length(text: str, most_characters: int, most_lines: int) -> None:
    for length, most, unit in (
        (len(text), most_characters, "characters"),
        (max(text.count("\n"), text.count("\r")), most_lines, "lines"),
    ):
        if length > most:
            raise Unreadable(
                f"it has {length:,} {unit}, and no more than {most:,} are read of this command"
                " (run it by hand to see what it prints so much of)"
            )


def _limits(row: catalogue.Command) -> tuple[int, int]:
    """The most characters and the most lines that are read of an answer to this command."""
    if row.template == _LIST_OF_NEIGHBOURS:
        return _MOST_CHARACTERS_OF_NEIGHBOURS, _MOST_LINES_OF_NEIGHBOURS
    return _MOST_CHARACTERS, _MOST_LINES if row.template in _LISTS else _MOST_LINES_OF_ITSELF
