"""What the parser understands of one command's output."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from collector.commands.options import Commands, add_command
from collector.commands.telling import GO, NOT_GO, UsageError, complain, console, print_json


def add(commands: Commands) -> None:
    """Offer `read`."""
    command = add_command(commands, "read", do, "show what the parser understands of one command's output")
    command.add_argument("text", metavar="COMMAND", help="the command that printed it, in quotes")
    command.add_argument("file", metavar="FILE", help="the file with the output; - reads standard input")
    command.add_argument("--json", action="store_true", help="print the facts as JSON")


def do(options: argparse.Namespace) -> int:
    """Show the facts with the lines they came from; NOT_GO where the output can't be read."""
    from parsers import Unreadable, catalogue, transcript
    from parsers import read as read_facts

    row = catalogue.find(options.text)
    if row is None:
        known = ", ".join(repr(command.text) for command in catalogue.COMMANDS)
        raise UsageError(f"{options.text!r} is not in the catalogue of commands; it has {known}")
    text = _input(options.file)
    try:
        facts = read_facts(row.text, text)
    except Unreadable as error:
        return complain(f"{options.file}: can't be read as {row.text!r}: {error}", NOT_GO)
    if options.json:
        print_json(facts.plain())
    else:
        from collector.report import terminal

        console().print(terminal.facts(row.text, facts, transcript.split(text)))
    return GO


def _input(name: str) -> str:
    """What the file or, for -, standard input holds; either may be a pipe or a device that never ends."""
    from collector.capture import MOST_BYTES

    if name == "-":
        content = sys.stdin.buffer.read(MOST_BYTES + 1)
    else:
        with Path(name).open("rb") as file:
            content = file.read(MOST_BYTES + 1)
    if len(content) > MOST_BYTES:
        where = "standard input" if name == "-" else name
        raise UsageError(
            f"{where}: is larger than {MOST_BYTES // 1_000_000} MB, and no answer is; give the output of that one "
            "command"
        )
    return content.decode("utf-8", "surrogateescape")
