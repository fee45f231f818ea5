"""Scrubs captures of what must not leave a site, and leaves what the templates and the rules read. No I/O.

Three nets, the finer behind the coarser. The facts tell which values are names, in which line, of what kind. Patterns
tell addresses, serial numbers, user names, keys and what else has a shape of its own. Of what is left, only words of
the controllers' own language (`parsers/words.txt`), the words of facts that are no names (models, states, releases) and
numbers are kept: any other word is replaced as well. What is replaced in one capture is replaced in all of them, and
nothing twice: every place is looked at once.
"""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from collector import patterns
from collector.capture import Capture, Ending
from collector.patterns import Found, Pattern
from collector.standins import Kind, StandIns, lower, mac_digits
from parsers import Facts, Unreadable, catalogue, matching, read, transcript, vocabulary
from parsers.facts.access_points import ApImage, ApSummary
from parsers.facts.certificates import Certificates, Trustpoint
from parsers.facts.counted_rows import MAC
from parsers.facts.history import ConfigurationTime
from parsers.facts.joining import JoinSummary
from parsers.facts.neighbours import ApLoad, ApNeighbours
from parsers.facts.software import Version
from parsers.facts.wireless import RadioSummary, WlanSummary
from parsers.release import Release

# The fields whose values may change. What any other field says must be the same before and after.
CHANGING = frozenset(
    [
        *("name", "ip", "rmi_ip", "mac", "ethernet_mac", "radio_mac", "base_mac", "location", "serial", "reference"),
        *("subject", "issuer", "trustpoints", "by", "lines", "variables", "image_file", "boot", "peer_boot", "files"),
        *("reason", "last_switchover_reason", "last_reload_reason", "communications_reason"),
        *("last_failure_phase", "last_disconnect_reason", "neighbour", "profile", "ssid"),
    ]
)
# Of these names nothing is to be seen but that there are none, or that nobody gave one.
_NOT_GIVEN = {"", "na", "n/a", "-", "--", "none", "unknown", "default location"}
_SHORTEST_NAME = 3
_SHORTEST_WORD = 2


@dataclass(frozen=True)
class Known:
    """What the inventory knows: names to replace, by kind; members' names and what to call them; texts to keep."""

    names: tuple[tuple[Kind, str], ...] = ()
    members: Mapping[str, str] = field(default_factory=dict)
    keep: tuple[str, ...] = ()


@dataclass(frozen=True)
class Replaced:
    """How many different originals of one kind were replaced, at how many places."""

    originals: int
    places: int


@dataclass(frozen=True)
class Suspicion:
    """What still looks like a secret in a scrubbed capture: its kind, and the number of its line from 1."""

    what: str
    line: int


@dataclass(frozen=True)
class Scrubbed:
    """The scrubbed captures in the order of the originals, what was replaced, and what is still suspicious in each.

    `originals` are the texts, in lower case, that must stand nowhere any more; they are secret.
    """

    captures: tuple[Capture, ...]
    report: Mapping[Kind, Replaced]
    suspicions: tuple[tuple[Suspicion, ...], ...]
    originals: frozenset[str] = field(repr=False)


def scrub(captures: Sequence[Capture], known: Known) -> Scrubbed:
    """Scrub the captures of one pair, all together so that what they say of each other still agrees.

    Raises standins.Exhausted where there are more addresses of one kind than there are stand-ins.
    """
    readings = [_Reading.of(capture) for capture in captures]
    scrubber = _Scrubber(readings, known)
    texts = [scrubber.scrubbed(reading) for reading in readings]
    done = tuple(
        replace(
            reading.capture,
            member=known.members.get(reading.capture.member, reading.capture.member),
            text=text,
            reason=scrubber.phrase(reading.capture.reason),
        )
        for reading, text in zip(readings, texts, strict=True)
    )
    suspicions = tuple(tuple(scrubber.suspicions(capture.text)) for capture in done)
    return Scrubbed(done, scrubber.report(), suspicions, scrubber.originals())


def remains(captures: Iterable[Capture], originals: Iterable[str]) -> list[Capture]:
    """The captures in which an original still stands: an address in any notation, a name between borders of words."""
    found = set(originals)
    addresses = {_unnoted(text) for text in found if patterns.is_address(text) or patterns.is_mac(text)}
    names = _Names((text, Kind.WORD) for text in found if _unnoted(text) not in addresses)

    def stands_in(line: str) -> bool:
        told = (_unnoted(lower(each.text)) for each in patterns.addresses(line, addresses, ()))
        return not addresses.isdisjoint(told) or next(names.found(line), None) is not None

    return [c for c in captures if any(stands_in(line) for line in (*c.text.splitlines(), c.reason))]


# What a capture tells of names


@dataclass(frozen=True)
class _Named:
    """A value of the facts that is a name; `line` is its line's number, None where it may stand in any."""

    kind: Kind
    text: str
    line: int | None = None


@dataclass(frozen=True)
class _Reading:
    """A capture, its lines without colours, each with its line ending, and the facts that could be had of it."""

    capture: Capture
    lines: tuple[tuple[str, str], ...]
    facts: Facts | None

    @classmethod
    def of(cls, capture: Capture) -> _Reading:
        return cls(capture, tuple(_lines(capture.text)), _facts(capture))

    @property
    def listed(self) -> list[_Named]:
        """The names that the facts hold."""
        return [
            named
            for named in (_names(self.facts) if self.facts is not None else [])
            if named.text.strip().lower() not in _NOT_GIVEN
        ]


_COLOUR = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")
_LINE = re.compile(r"([^\r\n]*)(\r+\n?|\n|\Z)")


def _lines(text: str) -> Iterator[tuple[str, str]]:
    """The lines and their endings, numbered as the transcript numbers them.

    Colours are dropped: a name that touches one, or holds one, would not be found.
    """
    for found in _LINE.finditer(_COLOUR.sub("", text)):
        if found[0]:
            yield found[1], found[2]


def _facts(capture: Capture) -> Facts | None:
    """What can be read, of a table that was cut off too: any row of it may hold a name."""
    if capture.ending is Ending.MISSING:
        return None
    try:
        return read(capture.command, capture.text)
    except Unreadable:
        return _facts_of_the_rows(capture)


def _facts_of_the_rows(capture: Capture) -> Facts | None:
    """The rows that can be read where the whole can't: first all of them together, then each by itself."""
    row = catalogue.find(capture.command)
    if row is None or row.facts not in (ApSummary, ApImage, JoinSummary):
        return None
    lines = transcript.of(capture.text)
    try:
        matches = matching.match(row.template, lines)
    except (Unreadable, OSError):
        return None
    numbers = {kind: [match.at for match in matches.of(kind)] for kind in ("heading", "row")}
    everything = _only(row.text, lines, [*numbers["heading"], *numbers["row"]])
    if everything is not None:
        return everything
    alone = [_only(row.text, lines, [*numbers["heading"], number]) for number in numbers["row"]]
    found = [facts for facts in alone if isinstance(facts, ApSummary | ApImage | JoinSummary)]
    # Rows of one type only: they are answers to one command.
    return replace(found[0], aps=tuple(ap for facts in found for ap in facts.aps)) if found else None  # type: ignore[arg-type]


def _only(command: str, lines: transcript.Transcript, numbers: Sequence[int]) -> Facts | None:
    kept = set(numbers)
    text = "\n".join(line if number in kept else "" for number, line in enumerate(lines.printed, 1))
    try:
        return read(command, text)
    except Unreadable:
        return None


def _names(facts: Facts) -> Iterator[_Named]:
    match facts:
        case Version(serial=str(serial)):
            yield from _at(facts, "serial", Kind.SERIAL, serial)
        case ApSummary() | ApImage() | JoinSummary() | ApNeighbours() | ApLoad() | RadioSummary():
            yield from (_Named(Kind.ACCESS_POINT, name, line) for name, line in _access_points(facts))
            if isinstance(facts, ApSummary):
                yield from (_Named(Kind.LOCATION, ap.location or "", ap.at) for ap in facts.aps)
        case WlanSummary():
            for wlan in facts.wlans:
                yield from (_Named(Kind.NETWORK, name, wlan.at) for name in (wlan.profile, wlan.ssid or ""))
        case Trustpoint(name=str(name)):
            yield from _at(facts, "name", Kind.CERTIFICATE, name)
        case Certificates():
            for certificate in facts.certificates:
                yield _Named(Kind.SERIAL, certificate.serial or "")
                yield from (_Named(Kind.CERTIFICATE, name) for name in certificate.trustpoints)
        case ConfigurationTime(by=str(user)):
            yield from _at(facts, "by", Kind.USER, user)


def _access_points(
    facts: ApSummary | ApImage | JoinSummary | ApNeighbours | ApLoad | RadioSummary,
) -> Iterator[tuple[str, int]]:
    """The access points' names and their lines; a neighbour without a name is an address, and is replaced as one."""
    if isinstance(facts, ApNeighbours):
        yield from ((row.name, row.at) for row in facts.neighbours)
        yield from ((row.neighbour, row.at) for row in facts.neighbours if not re.fullmatch(MAC, row.neighbour))
        yield from ((row.name, row.at) for row in facts.alone)
    elif isinstance(facts, ApLoad):
        yield from ((row.name, row.at) for row in facts.loads)
    elif isinstance(facts, RadioSummary):
        yield from ((row.name, row.at) for row in facts.radios)
    else:
        yield from ((ap.name or "", ap.at) for ap in facts.aps)


def _at(facts: Facts, field: str, kind: Kind, text: str) -> Iterator[_Named]:
    """The name of a field, on each of the lines that it was read from."""
    yield from (_Named(kind, text, line) for line in facts.lines_of(field) or (None,))


def _kept_words(value: Any) -> Iterator[str]:
    """The texts in facts that are no names and must be the same afterwards, the keys of mappings among them."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for key, item in value.items():
            yield str(key)
            if key not in CHANGING:
                yield from _kept_words(item)
            elif key == "variables" and isinstance(item, Mapping):
                yield from map(str, item)
            elif key in ("name", "location") and _is_no_name(value, key):
                yield from _kept_words(item)
    elif isinstance(value, list | tuple):
        for item in value:
            yield from _kept_words(item)


def _is_no_name(value: Mapping[str, Any], key: str) -> bool:
    """Whether a field called `name` or `location` tells a package, a resource or a slot."""
    return ("type" in value and key == "name") or "component" in value or ("boot" in value and key == "location")


# Names wherever they stand

_TOKEN = re.compile(r"[^\W_]+|[\W_]", re.DOTALL)


class _Names:
    """Names by their words, so that thousands of them are looked for in one walk over a text."""

    def __init__(self, names: Iterable[tuple[str, Kind]]) -> None:
        self._first: dict[str, Any] = {}
        for name, kind in names:
            place = self._first
            for token in _TOKEN.findall(lower(name)):
                place = place.setdefault(token, {})
            place.setdefault("", kind)

    def found(self, line: str) -> Iterator[tuple[int, int, Kind]]:
        """The places of names in a line, the longest at each, from left to right, none within another."""
        tokens = [(token.start(), token.end(), token[0]) for token in _TOKEN.finditer(lower(line))]
        number = 0
        while number < len(tokens):
            end, kind = self._longest(tokens, number) if tokens[number][2] in self._first else (number, None)
            if kind is None:
                number += 1
                continue
            yield tokens[number][0], tokens[end - 1][1], kind
            number = end

    def _longest(self, tokens: Sequence[tuple[int, int, str]], number: int) -> tuple[int, Kind | None]:
        place, end, kind = self._first, number, None
        for ahead in range(number, len(tokens)):
            place = place.get(tokens[ahead][2], {})
            if not place:
                break
            if "" in place:
                end, kind = ahead + 1, place[""]
        return end, kind


_WORD = re.compile(r"[^\W_]+")
_KEPT_WORD = re.compile(
    r"[0-9]+|0x[0-9A-F]{1,8}|[0-9]+[A-Z]{1,2}|[0-9]+(?:ST|ND|RD|TH)|(?:[0-9]+[YWDHMS]){1,4}"
    r"|(?:R|RP|F|FP|P|V|FC|N)[0-9]{1,3}|(?P<stem>[A-Z]+?)[0-9]{1,4}",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class _Place:
    """A part of a line and what stands there afterwards; without a kind it is kept."""

    start: int
    end: int
    text: str
    kind: Kind | None = None
    original: str = ""


class _Scrubber:
    """All captures of a pair, and the stand-ins of their originals."""

    def __init__(self, readings: Sequence[_Reading], known: Known) -> None:
        self._versions = set(_versions(readings))
        self._words = vocabulary.words() | {
            lower(word)
            for text in (*known.keep, *(text for reading in readings for text in _kept(reading)))
            for word in _WORD.findall(text)
            if not word.isdecimal()
        }
        corpus = [line for reading in readings for line, _ in reading.lines]
        self._macs = {mac_digits(found["value"]) for line in corpus for found in patterns.macs(line)}
        self._standins = StandIns(avoid=frozenset(_texts(corpus)) | self._words)
        self._places: dict[Kind, int] = {}
        self._originals: dict[Kind, set[str]] = {}
        for member, standin in known.members.items():
            self._standins.fix(member, standin)
        self._keep = _Names((text, Kind.WORD) for text in known.keep)
        self._names = _Names(
            (named.text.strip(), named.kind)
            for named in self._everywhere(readings, known)
            if self._is_distinctive(named.text)
        )

    def _everywhere(self, readings: Sequence[_Reading], known: Known) -> Iterator[_Named]:
        """The names that are to be replaced wherever they stand, if they can't be taken for anything else."""
        yield from (_Named(Kind.HOST, member) for member in known.members)
        yield from (_Named(kind, text) for kind, text in known.names)
        for reading in readings:
            yield from reading.listed
            for line, _ in reading.lines:
                for found in patterns.found(line, _patterns(reading), self._is_prose):
                    if found.kind is not Kind.SECRET:
                        yield _Named(found.kind, found.text)

    def _is_distinctive(self, text: str) -> bool:
        words = _WORD.findall(text)
        return len(text.strip()) >= _SHORTEST_NAME and not all(self._is_kept(word) for word in words)

    def _is_kept(self, word: str) -> bool:
        """Whether a word is a number or one of the controllers' own."""
        if lower(word) in self._words or (len(word) < _SHORTEST_WORD and word.isascii()):
            return True
        found = _KEPT_WORD.fullmatch(word)
        return found is not None and (found["stem"] is None or lower(found["stem"]) in self._words)

    def _is_prose(self, text: str) -> bool:
        """Whether a text is of the controllers' own words; a number may be anything."""
        return all(lower(word) in self._words for word in _WORD.findall(text))

    # One text

    def scrubbed(self, reading: _Reading) -> str:
        """A capture's text, every line with its own line ending."""
        listed: dict[int, list[_Named]] = {}
        for named in reading.listed:
            if named.line is not None:
                listed.setdefault(named.line, []).append(named)
        shapes = _patterns(reading)
        return "".join(
            self._line(line, shapes, listed.get(number, [])) + ending
            for number, (line, ending) in enumerate(reading.lines, 1)
        )

    def phrase(self, text: str) -> str:
        """A text of readypair's own, such as why a capture is missing."""
        return self._line(text, (*patterns.SECRETS, *patterns.NAMES), []) if text else text

    def _line(self, line: str, shapes: tuple[Pattern, ...], listed: Sequence[_Named]) -> str:
        places = self._taken(line, shapes, listed)
        for place in places:
            if place.kind is not None:
                self._places[place.kind] = self._places.get(place.kind, 0) + 1
                self._originals.setdefault(place.kind, set()).add(place.original)
        return _put(line, places)

    def _taken(self, line: str, shapes: tuple[Pattern, ...], listed: Sequence[_Named]) -> list[_Place]:
        """The places that are replaced or kept, from left to right; of two that overlap, the surer one counts."""
        taken = _Taken(line, self._standin)
        for start, end in patterns.controllers_own(line):
            taken.keep(start, end)
        shaped = list(patterns.found(line, shapes, self._is_prose))
        addresses = list(self._addresses(line))
        for found in (*_listed_places(line, listed), *self._unmistakable(line, shaped, addresses)):
            taken.replace(found.start, found.end, found.kind)
        for start, end, _ in self._keep.found(line):
            taken.keep(start, end)
        for found in (*shaped, *addresses):
            taken.replace(found.start, found.end, found.kind)
        for word in _WORD.finditer(line):
            if not self._is_kept(word[0]):
                taken.replace(word.start(), word.end(), Kind.WORD)
        return taken.places

    def _unmistakable(self, line: str, shaped: Sequence[Found], addresses: Sequence[Found]) -> Iterator[Found]:
        """Secrets, whole domain names, and names; but no name that would take a piece out of an address."""
        yield from (found for found in shaped if found.kind in (Kind.SECRET, Kind.DOMAIN))
        for start, end, kind in self._names.found(line):
            if all(end <= a.start or a.end <= start or (start <= a.start and a.end <= end) for a in addresses):
                yield Found(start, end, line[start:end], kind)

    def _addresses(self, line: str) -> Iterator[Found]:
        return patterns.addresses(line, self._macs, self._versions)

    def _standin(self, text: str, kind: Kind) -> str:
        special = {
            Kind.SECRET: self._standins.secret,
            Kind.MAC: self._standins.mac,
            Kind.IPV4: self._standins.ipv4,
            Kind.IPV6: self._standins.ipv6,
        }
        if kind in special:
            return special[kind](text)
        return self._standins.mail(text) if "@" in text else self._standins.name(text, kind)

    # What came of it

    def report(self) -> dict[Kind, Replaced]:
        """What was replaced, by kind, in the order of the kinds."""
        return {
            kind: Replaced(len({_unnoted(text) for text in self._originals[kind]}), self._places[kind])
            for kind in Kind
            if kind in self._originals
        }

    def originals(self) -> frozenset[str]:
        """The originals that must stand nowhere: not the numbers and the controllers' own words among them."""
        addresses = {text for kind in (Kind.IPV4, Kind.IPV6, Kind.MAC) for text in self._originals.get(kind, ())}
        others = {text for texts in self._originals.values() for text in texts} - addresses
        return frozenset(addresses | {text for text in others if self._is_distinctive(text)})

    def suspicions(self, text: str) -> Iterator[Suspicion]:
        """What in a scrubbed text still looks like a secret, or could hide one."""
        for number, (line, _) in enumerate(_lines(text), 1):
            never = patterns.never_leaves(line)
            if never is not None:
                yield Suspicion(never, number)
            for found in (*patterns.found(line, patterns.SECRETS, self._is_prose), *self._addresses(line)):
                if not self._is_standin(found):
                    yield Suspicion(found.what or f"one of the {found.kind.value}", number)

    def _is_standin(self, found: Found) -> bool:
        return (mac_digits(found.text) if found.kind is Kind.MAC else found.text) in self._standins


def _unnoted(text: str) -> str:
    """An original without what differs between its notations."""
    if patterns.is_address(text):
        return ipaddress.ip_address(text).compressed
    return mac_digits(text) if patterns.is_mac(text) else text


def _patterns(reading: _Reading) -> tuple[Pattern, ...]:
    """What is looked for in a capture: in a list of certificates, whom they are of as well."""
    row = catalogue.find(reading.capture.command)
    certificates = row is not None and row.facts is Certificates
    return (*patterns.SECRETS, *patterns.NAMES, *((patterns.CERTIFICATE,) if certificates else ()))


class _Taken:
    """The places of a line that are spoken for; who comes first has them."""

    def __init__(self, line: str, standin: Callable[[str, Kind], str]) -> None:
        self._line = line
        self._standin = standin
        self._places: list[_Place] = []

    def keep(self, start: int, end: int) -> None:
        if self._is_free(start, end):
            self._places.append(_Place(start, end, self._line[start:end]))

    def replace(self, start: int, end: int, kind: Kind) -> None:
        if self._is_free(start, end):
            original = self._line[start:end]
            self._places.append(_Place(start, end, self._standin(original, kind), kind, lower(original)))

    @property
    def places(self) -> list[_Place]:
        return sorted(self._places, key=lambda place: place.start)

    def _is_free(self, start: int, end: int) -> bool:
        return start < end and all(end <= place.start or place.end <= start for place in self._places)


def _put(line: str, places: Sequence[_Place]) -> str:
    """The line with the places' texts; where these are longer or shorter, blanks behind them keep the columns."""
    tabular = re.search(r"\S[ \t]{2,}\S", line) is not None
    put, done, owed = "", 0, 0
    for place in [*places, _Place(len(line), len(line), "")]:
        between, owed = _adjusted(line[done : place.start], owed, tabular=tabular)
        put += between + place.text
        owed += len(place.text) - (place.end - place.start)
        done = place.end
    return put


def _adjusted(between: str, owed: int, *, tabular: bool) -> tuple[str, int]:
    """The text between two places with as many blanks fewer or more as are owed, and what is owed still."""
    if not tabular or not owed:
        return between, owed
    for run in re.finditer(r" +(?=\S|\Z)", between):
        length = len(run[0])
        if owed < 0 or length > 1:
            new = max(1, length - owed)
            return between[: run.start()] + " " * new + between[run.end() :], owed - (length - new)
    return between, owed


def _listed_places(line: str, listed: Sequence[_Named]) -> Iterator[Found]:
    """Where the names that the facts found in this line stand in it: a name first, a location behind the addresses."""
    for named in listed:
        cells = [found.span() for found in re.finditer(rf"(?<!\S){re.escape(named.text)}(?!\S)", line)]
        if named.kind is Kind.LOCATION:
            behind = max((found.end() for found in patterns.macs(line)), default=0)
            cells = [cell for cell in cells if cell[0] >= behind]
            if len(cells) > 1 and line[behind : cells[0][0]].strip():
                cells = cells[-1:]
        # A profile is often called as its network is: then both cells are names.
        for cell in cells if named.kind is Kind.NETWORK else cells[:1]:
            yield Found(*cell, named.text, named.kind)


def _kept(reading: _Reading) -> Iterator[str]:
    if reading.facts is not None:
        yield from _kept_words({name: value for name, value in reading.facts.plain().items() if name != "at"})


def _versions(readings: Sequence[_Reading]) -> Iterator[str]:
    """The first three numbers of the dotted versions that the facts tell: four such numbers look like an address."""
    for reading in readings:
        for text in _kept(reading):
            for found in re.finditer(r"(?<![0-9.])([0-9]{1,3}\.[0-9]{1,3}\.[0-9]{1,3})(?![0-9])", text):
                yield found[1]
                yield str(Release.parse(found[1]))


def _texts(corpus: Iterable[str]) -> Iterator[str]:
    """What stands in the captures already, in lower case: no stand-in may be any of it."""
    for line in corpus:
        low = lower(line)
        yield from _WORD.findall(low)
        yield from (word.strip(",;()\"'") for word in low.split())
        yield from (mac_digits(found["value"]) for found in patterns.macs(low))
        for found in patterns.addresses(low, (), ()):
            yield ipaddress.IPv6Address(found.text).compressed if found.kind is Kind.IPV6 else found.text
