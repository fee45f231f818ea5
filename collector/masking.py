"""Takes secrets out of what a controller or a recording says before anything is made of it.

Captures are kept, cited, stored, archived and sent on; what isn't in them can't get out by any of these ways. Two kinds
of secrets go: readypair's own, which a controller may echo, and what looks like one (`collector.patterns`). What a
capture tells the parsers stays: neither a name nor a figure that is read is a secret, whatever stands beside it.
"""

from __future__ import annotations

import dataclasses
import logging
import os
import re
import unicodedata
from bisect import bisect
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Any
from urllib.parse import unquote, urlsplit

from collector.blanking import MARK, blanked, lines_of, without, without_own
from collector.capture import Capture, Ending
from parsers import Facts, Unreadable, read, vocabulary

# A shorter one is a part of too many words and numbers; it goes where it stands by itself.
_LONG = 8
# What may differ once a secret is gone: texts for people that no rule looks into, and variables that hold one.
_FREE = re.compile(
    r"lines|location|communications_reason|last_failure_phase|last_disconnect_reason|\w*(?:SEED|_KEY|TOKEN|RANDOM)\w*"
)
# Lines that no fact cites and that matter all the same, such as a heading: each costs some more readings.
_MOST_UNCITED = 2
_SHORTEST = 4
# In a receiver's URL a token may stand anywhere.
_TOKEN = re.compile(r"(?=.*[0-9])(?=.*[^\W\d_])[\w-]{16,}")
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
    for url in environment.get("READYPAIR_NOTIFY", "").split():
        found |= _tokens(url)
    return maskable(found)


def environment_without(environment: Mapping[str, str] = os.environ) -> dict[str, str]:
    """The environment for another program: without what only readypair needs and holds passwords."""
    own = {*_VARIABLES, "READYPAIR_STORE", "READYPAIR_NOTIFY"}
    return {name: value for name, value in environment.items() if name not in own}


def maskable(secrets: Iterable[str | None]) -> frozenset[str]:
    """Those that can be taken out."""
    return frozenset(each for each in secrets if each and why_not(each) is None)


def why_not(secret: str) -> str | None:
    """Why a secret can't be taken out, None where it can: it is everywhere, and its absence would tell what it is."""
    if len(secret) < _SHORTEST:
        return f"has fewer than {_SHORTEST} characters"
    return "is a word that controllers print" if secret.lower() in vocabulary.words() else None


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
    before, after = _facts(capture), _facts(found.capture)
    if _agree(before, after):
        return found.capture
    return _but_for_facts(capture, found.capture, (before, after), long)


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
    # Not every device writes an accent as it was typed.
    own = own | {unicodedata.normalize(form, each) for each in own for form in ("NFC", "NFD")}
    long = frozenset(each for each in own if len(each) >= _LONG)
    return long, own - long


def _of_url(url: str) -> set[str]:
    """The password of a URL as it stands there and as it is meant."""
    try:
        password = urlsplit(url).password
    except ValueError:
        return set()
    return {password, unquote(password)} if password else set()


def _tokens(url: str) -> set[str]:
    """What in a receiver's URL looks like a token, a user's name or a part of the path among them."""
    parts = re.split(r"[/:@?&=,]+", url.partition("://")[2])
    meant = {*parts, *map(unquote, parts)}
    return {each for each in meant if _TOKEN.fullmatch(each)}


def _but_for_facts(
    capture: Capture, blank: Capture, facts: tuple[Facts | str, Facts | str], long: frozenset[str]
) -> Capture:
    """The capture masked in all lines but those in which the parsers would miss something.

    First the lines whose facts came out otherwise stay, then all that a fact cites, then single others: the capture is
    read a few times, however many lines look like secrets.
    """
    before, after = facts
    lines, blanks = lines_of(capture.text), lines_of(blank.text)
    changed = [number for number, line in enumerate(lines) if line != blanks[number]]
    kept = lines_of(without_own(capture.text, long))

    def with_kept(stay: Iterable[int]) -> Capture:
        staying = set(stay)
        shown = (kept[number] if number in staying else each for number, each in enumerate(blanks))
        return replace(capture, text="".join(shown))

    def fits(stay: Iterable[int]) -> bool:
        return _agree(before, _facts(with_kept(stay)))

    cited = [number for number in changed if number + 1 in _citations(before)]
    for stay in ([number for number in cited if number + 1 in _different(before, after)], cited):
        if stay and fits(stay):
            return with_kept(stay)
    if not fits(changed):
        return replace(blank, ending=Ending.CUT_OFF, reason=_CLASH)
    stay, others = cited, [number for number in changed if number not in set(cited)]
    for _ in range(_MOST_UNCITED):
        # The last line that must stay for all before it to be masked.
        place = bisect(range(len(others)), False, key=lambda masked: not fits([*stay, *others[masked + 1 :]]))
        stay, others = [*stay, others[place]], others[:place] + others[place + 1 :]
        if fits(stay):
            return with_kept(stay)
    return replace(blank, ending=Ending.CUT_OFF, reason="too much in it looks like passwords or keys")


def _facts(capture: Capture) -> Facts | str:
    try:
        return read(capture.command, capture.text)
    except Unreadable as error:
        return type(error).__name__


def _agree(before: Facts | str, after: Facts | str) -> bool:
    return _same(*(facts if isinstance(facts, str) else facts.plain() for facts in (before, after)))


def _citations(facts: Facts | str) -> frozenset[int]:
    """The numbers of the lines that the facts came from."""
    if isinstance(facts, str):
        return frozenset()
    return frozenset({*_rows(facts), *(number for numbers in facts.at.values() for number in numbers)})


def _different(before: Facts | str, after: Facts | str) -> frozenset[int]:
    """The numbers of the lines from which something else was read afterwards, or nothing any more."""
    if isinstance(before, str) or isinstance(after, str):
        return _citations(before)
    rows, now = _rows(before), _rows(after)
    found = {number for number, row in rows.items() if number not in now or not _same(row, now[number])}
    fields, then = before.plain(), after.plain()
    for name, numbers in before.at.items():
        if not rows.keys() & set(numbers) and not _same(_at(fields, name), _at(then, name)):
            found |= set(numbers)
    return frozenset(found)


def _at(fields: Mapping[str, Any], name: str) -> Any:
    """A field by its dotted name; what has no such place is looked at with the field that holds it."""
    value: Any = fields
    for part in name.split("."):
        if not isinstance(value, Mapping) or part not in value:
            break
        value = value[part]
    return value


def _rows(facts: Facts) -> dict[int, list[Any]]:
    """What was read from each line that is a row of its own, by the line's number."""
    found: dict[int, list[Any]] = {}
    for item in (item for each in dataclasses.fields(facts) for item in _items(getattr(facts, each.name))):
        plain = dataclasses.asdict(item)
        at = plain.pop("at")
        for number in (at,) if isinstance(at, int) else at:
            found.setdefault(number, []).append(plain)
    return found


def _items(value: Any) -> Iterator[Any]:
    """The values that know the lines that they came from."""
    if dataclasses.is_dataclass(value) and hasattr(value, "at"):
        yield value
    elif isinstance(value, tuple | list):
        for each in value:
            yield from _items(each)


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
