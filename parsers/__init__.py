"""What controllers print: the catalogue of commands, one template a command, the typed facts."""

from parsers.facts.core import Facts, Refused, Unreadable
from parsers.reading import UnknownCommand, read

__all__ = ["Facts", "Refused", "UnknownCommand", "Unreadable", "read"]
