"""The catalogue of rules."""

from __future__ import annotations

import argparse

from collector.commands.options import Commands, add_command
from collector.commands.telling import GO, UsageError, console


def add(commands: Commands) -> None:
    """Offer `rules`."""
    command = add_command(commands, "rules", do, "list the rules, or show one in full")
    command.add_argument("id", metavar="ID", nargs="?", help="the rule to show in full")


def do(options: argparse.Namespace) -> int:
    """Show every rule, or all of one."""
    from collector import rules
    from collector.report import terminal

    if options.id is None:
        console().print(terminal.catalogue(rules.CATALOGUE))
        return GO
    rule = rules.find(options.id)
    if rule is None:
        raise UsageError(f"there is no rule {options.id!r}; `readypair rules` lists them")
    console().print(terminal.rule(rule))
    return GO
