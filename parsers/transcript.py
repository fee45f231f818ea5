"""The text of one capture as numbered lines, freed of what is not the command's own answer."""

from __future__ import annotations

import re
from dataclasses import dataclass

_PREAMBLE = re.compile(r"\s*(Load for (five|5) secs\b.*|Time source is .*|No time source\b.*)")
_SYSLOG = re.compile(
    r"(?:<\d+>)?(?:\d+: )?(?:[*.]?(?:[A-Z][a-z]{2} +\d{1,2} +(?:\d{4} +)?)?[\d:.]+(?: [A-Z]{2,5})?: )"
    r"%[A-Z][A-Z0-9_]*(?:-[A-Z0-9_]+)*-[0-7]-[A-Z0-9_]+:"
)
_PROMPT = r"[A-Za-z0-9][\w.\-/]*(?:\([^)]*\))?[#>]"
_ECHO = re.compile(rf"\s*{_PROMPT}\s*\S.*")
_BARE_PROMPT = re.compile(rf"\s*{_PROMPT}\s*")
_COLOUR = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")
_REFUSALS = re.compile(
    r"\s*(% ?Invalid input detected at .*|% ?Incomplete command.*|% ?Ambiguous command.*|% ?Unknown command.*"
    r"|% ?Bad IP address or host name.*|% ?This command is not (?:available|supported|authorized).*"
    r"|Command authorization failed.*|% ?Authorization failed.*|% ?Permission denied.*)",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Transcript:
    """A capture's lines. `printed` holds every line as printed, `kept` the numbers (from 1) of the answer's own."""

    printed: tuple[str, ...]
    kept: tuple[int, ...]

    def line(self, number: int) -> str:
        """The line with this number (from 1), without its line ending or trailing blanks; IndexError beyond the end."""
        if not 1 <= number <= len(self.printed):
            raise IndexError(f"line {number} of {len(self.printed)}")
        return self.printed[number - 1]

    @property
    def answer(self) -> list[tuple[int, str]]:
        """The kept lines with their numbers, stripped on both sides."""
        return [(number, self.printed[number - 1].strip()) for number in self.kept]

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
    unified = re.sub(r"\r+\n", "\n", text).replace("\r", "\n")
    lines = [_COLOUR.sub("", line).rstrip() for line in unified.split("\n")]
    while lines and not lines[-1]:
        lines.pop()
    return lines


def of(text: str) -> Transcript:
    """Number a capture's lines and leave out blank lines, echo, prompts, load and time lines, and syslog lines.

    Syslog that breaks in within a line cuts that line off: the part before it is kept, and no template will
    mistake it for the whole.
    """
    printed: list[str] = []
    kept: list[int] = []
    answered = False
    lines = split(text)
    for number, line in enumerate(lines, 1):
        syslog = _SYSLOG.search(line)
        own = line[: syslog.start()].rstrip() if syslog else line
        printed.append(own if syslog and own.strip() else line)
        if not own.strip() or (not answered and (_ECHO.fullmatch(own) or _PREAMBLE.fullmatch(own))):
            continue
        if _BARE_PROMPT.fullmatch(own) and (not answered or number == len(lines)):
            continue
        answered = True
        kept.append(number)
    return Transcript(tuple(printed), tuple(kept))
