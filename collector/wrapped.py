"""Finds readypair's own secrets where a terminal broke them over lines."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

# A shorter one is put together by chance too often.
_SHORTEST = 8
_NOT_SHOWN = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]|[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_OF_A_LINE = re.compile(r"[^\r\n]+")


def without_wrapped(text: str, known: Iterable[str], mark: str) -> str:
    """The text with the mark for each piece of a known secret that goes on in the next line; no line is lost.

    Blanks don't count: a line may be broken at one, and the next may begin with some.
    """
    shown = _joined(text)
    wanted = {joined for joined in map(_joined, known) if len(joined) >= _SHORTEST and joined in shown}
    if not wanted:
        return text
    places = list(_places(text))
    pieces = {piece for each in wanted for piece in _pieces(text, shown, each, places)}
    done = len(text)
    for start, end in sorted(pieces, reverse=True):
        text = text[:start] + mark + text[min(end, done) :]
        done = start
    return text


def _joined(text: str) -> str:
    return "".join(_NOT_SHOWN.sub("", text).split())


def _places(text: str) -> Iterator[int]:
    """Where in the text each character stands that is seen."""
    begin = 0
    for start, end in (*(found.span() for found in _NOT_SHOWN.finditer(text)), (len(text), len(text))):
        yield from (place for place in range(begin, start) if not text[place].isspace())
        begin = end


def _pieces(text: str, shown: str, secret: str, places: list[int]) -> Iterator[tuple[int, int]]:
    found = shown.find(secret)
    while found >= 0:
        start, end = places[found], places[found + len(secret) - 1] + 1
        lines = [each for each in _OF_A_LINE.finditer(text, start, end) if each[0].strip()]
        if len(lines) > 1:
            yield from (each.span() for each in lines)
        found = shown.find(secret, found + len(secret))
