"""Takes secrets out of texts that are kept or handed on, with a mark in their place; the lines keep their numbers.

What looks like one is told by the same patterns as in a recording that may leave a site (`collector.patterns`). Of a
certificate, the fingerprint and the serial number are no secrets, and may matter to the ticket: they stay.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from collector import patterns
from collector.capture import Capture
from collector.patterns import SECRETS, Found
from collector.wrapped import without_wrapped
from parsers import vocabulary

MARK = "[removed]"

_TOO_LONG = "[line removed: too long to be looked through for secrets]"
_LONGEST = 4_000
_COLOUR = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")
_HIDING = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_UNSEEN = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")
_LINE = re.compile(r"([^\r\n]*)(\r+\n?|\n|\Z)")
_WORD = re.compile(r"[A-Za-z]+")
_KEY_BLOCK = re.compile(r"-----(BEGIN|END) [A-Z ]*PRIVATE KEY")
_OF_A_CERTIFICATE = re.compile(r"(?i)certificate hash|fingerprint|serial number")
# What a line must hold for any of the patterns to find something in it: nearly all lines are done with at a glance.
_HINT = re.compile(
    r"(?i)pass|secret|commun|psk|cred|token|key|auth|priv|seed|random|\$[0-9a-z-]|[0-9a-z+/]{16}|[\x00-\x08\x0b-\x1f\x7f]"
)
# A number of fewer digits is a size or a slot.
_SHORTEST_NUMBER = 6
_SHORTEST_BESIDE_FIGURES = 3
_SHORTEST_VALUE = 4


@dataclass(frozen=True)
class Blanked:
    """A capture without its secrets: how many lines were changed, and what was taken out of them."""

    capture: Capture
    lines: int
    values: frozenset[str]


def blanked(capture: Capture, known: Iterable[str] = (), told: Iterable[str] = (), *, prose: bool = False) -> Blanked:
    """The capture with a mark for everything that looks like a secret.

    Likewise for every one of the `known` ones wherever it stands, and for what another capture `told` to be one where
    it stands by itself. In `prose`, words of the controllers' own are no secrets: `password expired`.
    """
    values: set[str] = set()
    known = tuple(known)
    secrets = _shape(known, told)
    if secrets is not None and not _HIDING.search(capture.text) and not secrets.search(capture.text):
        # One glance at the whole is cheaper than one at each line.
        secrets = None
    changed = 0
    in_block = False
    parts: list[str] = []
    for found in _LINE.finditer(capture.text):
        line, ending = found[1], found[2]
        block = _KEY_BLOCK.search(line)
        in_block = block[1] == "BEGIN" if block else in_block
        blank = MARK if in_block and not block else _line(line, secrets, values, prose=prose)
        changed += blank != line
        parts.append(blank + ending)
    text = "".join(parts)
    whole = without_wrapped(text, known, MARK)
    return Blanked(replace(capture, text=whole), changed + (whole != text), frozenset(values))


def lines_of(text: str) -> list[str]:
    """The lines with their endings; a mark changes neither their number nor their order."""
    return [found[0] for found in _LINE.finditer(text) if found[0]]


def looks_secret(text: str) -> bool:
    """Whether any line of a text would be changed."""
    return blanked(Capture("", "", text)).lines > 0


def without(data: Any, values: Iterable[str], known: Iterable[str] = ()) -> Any:
    """JSON-ready data with a mark for each of these values where it stands by itself, and for `known` ones anywhere."""
    shape = _shape(known, values)
    return data if shape is None else _replaced(data, shape)


def without_own(text: str, known: Iterable[str]) -> str:
    """The text with a mark for each of the `known` wherever it stands, and for nothing else; lines keep their numbers.

    A line in which what can't be seen stands between the characters of one goes as a whole.
    """
    known = tuple(known)
    shape = _shape(known, ())
    if shape is None:
        return text
    lines = ((found[1], found[2]) for found in _LINE.finditer(text))
    parts = (
        (MARK if shape.search(_plain(line)) and not shape.search(line) else shape.sub(MARK, line)) + ending
        for line, ending in lines
    )
    return without_wrapped("".join(parts), known, MARK)


def _plain(line: str) -> str:
    """The line as it is seen."""
    return _UNSEEN.sub("", _COLOUR.sub("", line))


def _replaced(data: Any, shape: re.Pattern[str]) -> Any:
    if isinstance(data, str):
        return shape.sub(MARK, data)
    if isinstance(data, Mapping):
        return {key: _replaced(value, shape) for key, value in data.items()}
    if isinstance(data, list | tuple):
        return [_replaced(value, shape) for value in data]
    return data


def _shape(anywhere: Iterable[str], alone: Iterable[str]) -> re.Pattern[str] | None:
    """What finds the longest of these texts; those of `alone` only where they are no part of a longer word."""
    shapes = {each: re.escape(each) for each in alone if len(each) >= _SHORTEST_VALUE}
    shapes = {each: rf"(?<!\w){shape}(?!\w)" for each, shape in shapes.items()}
    shapes |= {each: re.escape(each) for each in anywhere if len(each) >= _SHORTEST_VALUE}
    ordered = sorted(shapes, key=lambda each: (-len(each), each))
    return re.compile("|".join(shapes[each] for each in ordered)) if shapes else None


def _line(line: str, known: re.Pattern[str] | None, values: set[str], *, prose: bool) -> str:
    if len(line) > _LONGEST:
        return _TOO_LONG
    if not _HINT.search(line) and (known is None or not known.search(line)):
        return line
    shown = _COLOUR.sub("", line)
    if known is not None and known.search(shown):
        line = shown = known.sub(MARK, shown)
    # What can't be seen may stand in the middle of a secret.
    hidden = _UNSEEN.sub("", shown)
    if hidden != shown and known is not None and known.search(hidden):
        return MARK
    found = _secrets(shown, prose=prose)
    if not found:
        return MARK if hidden != shown and _secrets(hidden, prose=prose) else line
    values.update(each.text for each in found)
    for start, end in reversed(_joined(found)):
        shown = shown[:start] + MARK + shown[end:]
    return shown


def _secrets(line: str, *, prose: bool) -> list[Found]:
    found = [
        Found(*match.span("value"), match["value"], pattern.kind, pattern.what)
        for pattern in SECRETS
        for match in pattern.shape.finditer(line)
        if not (prose and is_prose(match["value"]))
        if not (pattern.prose and (is_prose(match["value"]) or patterns.is_no_key(match["value"])))
    ]
    return [each for each in found if not _is_harmless(each, line)]


def _is_harmless(found: Found, line: str) -> bool:
    if found.what == "a fingerprint" or MARK in found.text:
        return True
    return found.what == "a long number in hexadecimal" and _OF_A_CERTIFICATE.search(line) is not None


def is_prose(text: str) -> bool:
    """Whether a value has none but the controllers' own words; figures make a word of it only where they are few."""
    words = _WORD.findall(text)
    figures = sum(character.isdigit() for character in text)
    if figures >= _SHORTEST_NUMBER:
        return False
    if figures and len(text) >= _SHORTEST_NUMBER and any(len(word) < _SHORTEST_BESIDE_FIGURES for word in words):
        return False
    return all(word.lower() in vocabulary.words() for word in words)


def _joined(found: Iterable[Found]) -> list[tuple[int, int]]:
    """The places in their order, those that touch each other as one."""
    joined: list[tuple[int, int]] = []
    for start, end in sorted((each.start, each.end) for each in found):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((start, end))
    return joined
