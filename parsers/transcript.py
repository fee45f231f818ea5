"""The text of one capture as numbered lines, freed of what is not the command's own answer."""

from __future__ import annotations

import re
from dataclasses import dataclass

_PREAMBLE = re.compile(r"\s*(Load for (five|5) secs\b.*|Time source is .*|No time source\b.*)")
_MESSAGE = re.compile(r"%[A-Z][A-Z0-9_]{0,40}(?:-[A-Z0-9_]{1,40}){0,4}-[0-7]-[A-Z0-9_]{1,80}:")
_STAMP = re.compile(
    r"(?:<\d{1,3}>)?(?:\d{1,12}: )?"
    r"(?:[*.]?(?:[A-Z][a-z]{2} {1,2}\d{1,2} (?:\d{4} )?)?\d[\d:.]{1,18}(?: [A-Z]{2,5})?: |\d{1,4}[ywd]\d{1,2}[wdh]: )\Z"
)
_STAMP_LENGTH = 80
_PROMPT = r"[A-Za-z0-9][\w.\-/]*(?:\([^)]*\))?[#>]"
_ECHO = re.compile(rf"[ \t]*(?:{_PROMPT}[ \t]*)?(?:do[ \t]+)?(?:sh(?:ow?)?|dir)[ \t]\S.*")
_BARE_PROMPT = re.compile(rf"[ \t]*{_PROMPT}[ \t]*")
_COLOUR = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")
_BLANKS = " \t"
_REFUSALS = re.compile(
    r"\s*(% ?Invalid input detected at .*|% ?Incomplete command.*|% ?Ambiguous command.*|% ?Unknown command.*"
    r"|% ?Bad IP address or host name.*|% ?This command is not (?:available|supported|authorized).*"
    r"|Command authorization failed.*|% ?Authorization failed.*|% ?Permission denied.*)",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Transcript:
    """A capture's lines. `printed` holds every line as printed, `kept` the numbers (from 1) of the answer's own.

    `broken` holds those of `kept` that a syslog message cut short: they are part of the answer, but may be half a line.
    """

    printed: tuple[str, ...]
    kept: tuple[int, ...]
    broken: frozenset[int] = frozenset()

    def line(self, number: int) -> str:
        """The line with this number (from 1), without its line ending or trailing blanks; IndexError beyond the end."""
        if not 1 <= number <= len(self.printed):
            raise IndexError(f"line {number} of {len(self.printed)}")
        return self.printed[number - 1]

    @property
    def answer(self) -> list[tuple[int, str]]:
        """The kept lines with their numbers, without blanks on either side."""
        return [(number, self.printed[number - 1].strip(_BLANKS)) for number in self.kept]

    @property
    def refusal(self) -> int | None:
        """The number of the line with which the controller refused the command; None where it didn't."""
        for number, text in self.answer:
            if _REFUSALS.fullmatch(text):
                return number
        return None


def split(text: str) -> list[str]:
    """The lines of a capture, of whatever line ending, without colour escapes or trailing blanks.

    Splits at line feeds only: other separators of Unicode may stand inside a name. A carriage return inside a line
    is a terminal's way back to the line's start, so what follows it stands on a line of its own.
    """
    unified = re.sub(r"\r+\n?", "\n", text)
    lines = [_COLOUR.sub("", line).rstrip(_BLANKS) for line in unified.split("\n")]
    while lines and not lines[-1]:
        lines.pop()
    return lines


def of(text: str) -> Transcript:
    """Number a capture's lines and leave out blank lines, echo, prompts, load and time lines, and syslog lines.

    Only blanks and tabs count as blank: any other character in an empty-looking line is noise that must be seen.
    """
    printed: list[str] = []
    kept: list[int] = []
    broken: set[int] = set()
    answered = False
    lines = split(text)
    for number, line in enumerate(lines, 1):
        own = _before_syslog(line)
        cut = own is not line and bool(own)
        printed.append(own if cut else line)
        if not own or (not answered and (_ECHO.fullmatch(own) or _PREAMBLE.fullmatch(own))):
            continue
        if _BARE_PROMPT.fullmatch(own) and (not answered or number == len(lines)):
            continue
        answered = True
        kept.append(number)
        if cut:
            broken.add(number)
    return Transcript(tuple(printed), tuple(kept), frozenset(broken))


def _before_syslog(line: str) -> str:
    """What stands in a line before a syslog message, without trailing blanks; the line itself where there is none.

    A message without a time stamp is known only at the beginning of a line.
    """
    if "%" not in line:
        return line
    indent = len(line) - len(line.lstrip(_BLANKS))
    for message in _MESSAGE.finditer(line):
        start = message.start()
        if start == indent:
            return ""
        # No stamp holds a per cent sign: so a line full of messages is gone over once, not once for each of them.
        near = line.rfind("%", max(0, start - _STAMP_LENGTH), start) + 1 or max(0, start - _STAMP_LENGTH)
        stamp = _STAMP.search(line[near:start]) if line.endswith(": ", near, start) else None
        if stamp:
            return line[: near + stamp.start()].rstrip(_BLANKS)
    return line
