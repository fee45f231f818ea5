"""Takes secrets out of what a controller or a recording says before anything is made of it.

Captures are kept, cited, stored, archived and sent on; what isn't in them can't get out by any of these ways. Two kinds
of secrets go: readypair's own, which a controller may echo, and what looks like one (`collector.patterns`). What a
capture tells the parsers stays: neither a name nor a figure that is read is a secret, whatever stands beside it.
"""

from __future__ import annotations

import logging
import os
import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any
from urllib.parse import unquote, urlsplit

from collector.blanking import MARK, blanked, is_prose, lines_of, without
from collector.capture import Capture, Ending
from parsers import Unreadable, read

# A shorter one is a part of too many words and numbers; it goes where it stands by itself.
_LONG = 8
# What may differ once a secret is gone: texts for people that no rule looks into, and variables that hold one.
_FREE = re.compile(
    r"lines|location|communications_reason|last_failure_phase|last_disconnect_reason|\w*(?:SEED|_KEY|TOKEN|RANDOM)\w*"
)
_MOST_LINES = 64
_VARIABLES = ("READYPAIR_PASSWORD", "READYPAIR_SECRET")
_URLS = ("READYPAIR_STORE", "READYPAIR_NOTIFY", *(f"{kind}_proxy" for kind in ("http", "https", "all", "ftp")))
_CLASH = "one of readypair's own passwords stands where a fact is read; give readypair's account another one"


# Those that came from a prompt, a keyring or an inventory; a process has few.
_HEARD_OF: set[str] = set()


def beware(*secrets: str | None) -> None:
    """Let no sentence and no log line hold these secrets from now on."""
    _HEARD_OF.update(maskable(secrets))


class Masking(logging.Filter):
    """Masks what a logger says: the libraries below name what the other side said, whatever that holds."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Let every record pass, without its secrets."""
        record.msg, record.args = quoted(record.getMessage()), None
        return True


def of_environment(environment: Mapping[str, str] = os.environ) -> frozenset[str]:
    """The passwords that the environment holds, those in its URLs among them."""
    found = {environment.get(name, "") for name in (*_VARIABLES, "PGPASSWORD")}
    for name in (*_URLS, *(name.upper() for name in _URLS)):
        for url in environment.get(name, "").split():
            found |= _of_url(url)
    return maskable(found)


def environment_without(environment: Mapping[str, str] = os.environ) -> dict[str, str]:
    """The environment for another program: without what only readypair needs and holds passwords."""
    own = {*_VARIABLES, "READYPAIR_STORE", "READYPAIR_NOTIFY"}
    return {name: value for name, value in environment.items() if name not in own}


def maskable(secrets: Iterable[str | None]) -> frozenset[str]:
    """Those that can be taken out: a word of the controllers' own or a short number would be told by its absence."""
    return frozenset(each for each in secrets if each and not is_prose(each))


def masked(capture: Capture, own: Iterable[str] = ()) -> Capture:
    """The capture with a mark for every secret, `own` ones among them; what the parsers read in it stays the same.

    Where one of `own` stands for a fact the capture counts as cut off: better nothing is known than a password is told.
    """
    own = frozenset(own) | of_environment()
    long, short = _by_length(own)
    capture = replace(capture, reason=_told(capture.reason, own)) if capture.reason else capture
    found = blanked(capture, long, short)
    if not found.lines or capture.ending is Ending.MISSING:
        return capture
    before = _facts(capture)
    if _same(before, _facts(found.capture)):
        return found.capture
    return _but_for_facts(capture, found.capture, before, long)


def phrase(text: str, own: Iterable[str] = ()) -> str:
    """A sentence without readypair's own secrets."""
    return _told(text, frozenset(own) | of_environment() | _HEARD_OF)


def quoted(text: str, own: Iterable[str] = ()) -> str:
    """What somebody else said, in one line, without readypair's own secrets and without what looks like one."""
    long, short = _by_length(frozenset(own) | of_environment() | _HEARD_OF)
    return blanked(Capture("", "", text), long, short, prose=True).capture.text


def _told(text: str, own: frozenset[str]) -> str:
    long, short = _by_length(own)
    return str(without(text, short, long))


def _by_length(own: frozenset[str]) -> tuple[frozenset[str], frozenset[str]]:
    long = frozenset(each for each in own if len(each) >= _LONG)
    return long, own - long


def _of_url(url: str) -> set[str]:
    """The password of a URL as it stands there and as it is meant, and a user's name that is a token."""
    try:
        password = urlsplit(url).password
    except ValueError:
        return set()
    return {password, unquote(password)} if password else set()


def _but_for_facts(capture: Capture, blank: Capture, before: Any, long: frozenset[str]) -> Capture:
    """The capture masked in all lines but those in which the parsers would miss something."""
    lines, blanks = lines_of(capture.text), lines_of(blank.text)
    changed = [number for number, line in enumerate(lines) if line != blanks[number]]
    if len(changed) > _MOST_LINES:
        return replace(blank, ending=Ending.CUT_OFF, reason="too much in it looks like passwords or keys")
    for number in changed:
        alone = "".join((*lines[:number], blanks[number], *lines[number + 1 :]))
        if not _same(before, _facts(replace(capture, text=alone))):
            blanks[number] = str(without(lines[number], (), long))
    done = replace(capture, text="".join(blanks))
    if _same(before, _facts(done)):
        return done
    return replace(done, ending=Ending.CUT_OFF, reason=_CLASH)


def _facts(capture: Capture) -> Any:
    try:
        return read(capture.command, capture.text).plain()
    except Unreadable as error:
        return type(error).__name__


def _same(before: Any, after: Any, *, free: bool = False) -> bool:
    """Whether the facts are the same, marks in texts that are free to differ aside."""
    if isinstance(before, Mapping) and isinstance(after, Mapping):
        return before.keys() == after.keys() and all(
            _same(value, after[key], free=free or _FREE.fullmatch(str(key)) is not None)
            for key, value in before.items()
        )
    if isinstance(before, list) and isinstance(after, list):
        return len(before) == len(after) and all(_same(*both, free=free) for both in zip(before, after, strict=True))
    return bool(before == after) or (free and isinstance(after, str) and MARK in after)
