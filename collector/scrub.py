"""Scrubs captures of what must not leave a site, and leaves what the templates and the rules read. No I/O.

Three nets, the finer behind the coarser. The facts tell which values are names, in which line, of what kind. Patterns
tell addresses, serial numbers, user names, keys and what else has a shape of its own. Of all that is left, only words of
the controllers' own language (`parsers/words.txt`), words of facts that are no names (models, states, releases) and
numbers are kept; any other word is replaced as well. What is replaced in one capture is replaced in all of them, and
nothing twice: every place is looked at once.
"""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from collector.capture import Capture, Ending
from collector.standins import Kind, StandIns, lower, mac_digits
from parsers import Facts, Unreadable, catalogue, matching, read, transcript, vocabulary
from parsers.facts.access_points import ApImage, ApSummary
from parsers.facts.certificates import Certificates, Trustpoint
from parsers.facts.history import ConfigurationTime
from parsers.facts.joining import JoinSummary
from parsers.facts.software import Version
from parsers.release import Release

# The fields whose values may change. What any other field says must be the same before and after.
CHANGING = frozenset(
    "serial name ip rmi_ip mac ethernet_mac radio_mac base_mac location subject issuer trustpoints by reference lines "
    "variables image_file boot peer_boot files communications_reason last_switchover_reason last_reload_reason reason "
    "last_failure_phase last_disconnect_reason".split()
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
    """The captures in which an original still stands, between borders of words."""
    sought = _Names()
    for original in originals:
        sought.add(original, Kind.WORD)
    return [
        capture
        for capture in captures
        if any(next(sought.found(line), None) for line in (*capture.text.splitlines(), capture.reason))
    ]


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
            yield _Named(Kind.SERIAL, serial)
        case ApSummary():
            for ap in facts.aps:
                yield _Named(Kind.ACCESS_POINT, ap.name, ap.at)
                yield _Named(Kind.LOCATION, ap.location or "", ap.at)
        case ApImage():
            yield from (_Named(Kind.ACCESS_POINT, ap.name, ap.at) for ap in facts.aps)
        case JoinSummary():
            yield from (_Named(Kind.ACCESS_POINT, record.name or "", record.at) for record in facts.aps)
        case Trustpoint(name=str(name)):
            yield _Named(Kind.CERTIFICATE, name)
        case Certificates():
            for certificate in facts.certificates:
                yield _Named(Kind.SERIAL, certificate.serial or "")
                yield from (_Named(Kind.CERTIFICATE, name) for name in certificate.trustpoints)
        case ConfigurationTime(by=str(user)):
            yield _Named(Kind.USER, user)


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

    def __init__(self) -> None:
        self._first: dict[str, Any] = {}

    def add(self, name: str, kind: Kind) -> None:
        place = self._first
        for token in _TOKEN.findall(lower(name)):
            place = place.setdefault(token, {})
        place.setdefault("", kind)

    def found(self, line: str) -> Iterator[tuple[int, int, Kind]]:
        """The places of names in a line, the longest at each, from left to right, none within another."""
        tokens = [(token.start(), token.end(), token[0]) for token in _TOKEN.finditer(lower(line))]
        number = 0
        while number < len(tokens):
            end, kind = self._longest(tokens, number)
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


# What has a shape of its own

_VALUE = r"(?P<value>[^\s\"',;]+)"
_LEVELS = r"(?:(?:ascii|hex|encrypted|clear|cleartext|unencrypted|set-key|level|aes|[0-9]{1,2})[ \t]+)*"
_SECRETS = (
    (
        "a password or community string",
        re.compile(
            r"(?<![^\W_])(?:[\w-]*(?:password|passwd|passphrase|secret|community|psk)|credential|token)\b"
            rf"[ \t]*[:=]?[ \t]*\"?{_LEVELS}{_VALUE}",
            re.IGNORECASE,
        ),
    ),
    ("a key", re.compile(rf"(?<![^\W_])[\w-]*key(?:-string|-hash)?[ \t:=]+{_LEVELS}{_VALUE}", re.IGNORECASE)),
    (
        "a key",
        re.compile(rf"\b(?:auth|priv)[ \t]+(?:md5|sha\S*|3?des|aes(?:[ \t]+[0-9]+)?)[ \t]+{_VALUE}", re.IGNORECASE),
    ),
    ("a key", re.compile(rf"\w*(?:SEED|_KEY|TOKEN|RANDOM)\w*[ \t]*=[ \t]*\"?{_VALUE}")),
    ("a hash", re.compile(r"(?P<value>\$(?:[0-9]{1,2}[aby]?|[a-z0-9-]{2,16})\$[^\s\"',;]+)")),
    ("a fingerprint", re.compile(r"(?<!\w)(?P<value>(?:[0-9A-Fa-f]{8}[ \t]){2,}[0-9A-Fa-f]{4,8})(?!\w)")),
    ("a fingerprint", re.compile(r"(?<![\w:])(?P<value>(?:[0-9A-Fa-f]{2}:){9,}[0-9A-Fa-f]{2})(?![\w:])")),
    (
        "a long number in hexadecimal",
        re.compile(r"(?<![^\W_])(?:0x)?(?P<value>(?=[0-9]*[A-Fa-f])[0-9A-Fa-f]{16,})(?![^\W_])"),
    ),
    (
        "a long text in base 64",
        re.compile(
            r"(?<![\w+/=])(?P<value>(?=[^\s]{0,200}[a-z])(?=[^\s]{0,200}[A-Z])(?=[^\s]{0,200}[0-9])[A-Za-z0-9+/]{20,}={0,2})(?![\w+/=])"
        ),
    ),
)
_BLOCK = re.compile(r"-----(?:BEGIN|END) ")
# Behind these words a word of the controllers' own language is none: `Private key Info : Available`.
_MAY_BE_PROSE = "a key"
_USER = re.compile(
    r"(?<![\w-])(?:by|username|user(?:[ -]?name)?|login)[ \t]*[:=]?[ \t]+(?P<value>[^\s,;:=()\"']+)"
    r"|(?<!\w)(?P<mailbox>[\w.+-]+)@(?=vty|console)",
    re.IGNORECASE,
)
_MAIL = re.compile(r"(?<![\w.+-])(?P<value>[\w.+-]+@[\w-]+(?:\.[\w-]+)+)")
_LINK = re.compile(r"(?<!\w)(?:https?|ldaps?|s?ftps?|tftp|scp|rcp)://(?P<value>[^\s\"'<>,;]+)", re.IGNORECASE)
_NO_DOMAINS = (
    "bin|pkg|conf|cfg|txt|log|gz|tar|tgz|zip|core|prv|xml|json|pcap|lic|dat|csv|pem|crt|cer|key|p12|pfx|db|sh|py|tcl|lua|"
    "html|old|bak|tmp|md5|sig|ssa|spa|smu|apsp|apdp|trc|bz2|xz|out|raw|img|iso|cap"
)
_DOMAIN = re.compile(
    rf"(?<![\w.-])(?P<value>(?:[A-Za-z0-9](?:[\w-]{{0,62}})\.)+(?!(?:{_NO_DOMAINS})(?![\w-]))[A-Za-z]{{2,24}})(?![\w-]|\.\w)",
    re.IGNORECASE,
)
_SERIAL = re.compile(
    r"(?<!\w)(?:serial[ \t-]?(?:number|no\.?|num)?(?:[ \t]*\([^()\n]*\))?|processor board id|SN)[ \t]*[:=#]?[ \t]*"
    r"(?P<value>(?=[A-Za-z-]{0,20}[0-9])[0-9A-Za-z-]{2,})",
    re.IGNORECASE,
)
_HOST = re.compile(
    r"^[ \t]*(?P<value>[A-Za-z0-9][\w.-]*?)(?:-stby)?(?:\([^()\n]*\))?"
    r"(?:[#>](?=[ \t]*(?:sh(?:ow?)?[ \t]|dir[ \t]|$))|[ \t]+uptime is[ \t])"
)
_SUBJECT = re.compile(
    r"(?<![\w-])(?:cn|ou|o|l|st|dc|e|email(?:address)?|name|hostname|serialnumber|unstructured\w*)[ \t]*[=:][ \t]*"
    r"(?P<value>[^,+=\n]*[^,+=\s])",
    re.IGNORECASE,
)
_MAC = re.compile(
    r"(?<![0-9A-Fa-f.:-])(?P<value>(?:[0-9A-Fa-f]{4}\.){2}[0-9A-Fa-f]{4}|(?:[0-9A-Fa-f]{2}([:-]))(?:[0-9A-Fa-f]{2}\2){4}"
    r"[0-9A-Fa-f]{2})(?![0-9A-Fa-f]|[.:-][0-9A-Fa-f])"
)
_BARE_MAC = re.compile(r"(?<![^\W_])(?P<value>[0-9A-Fa-f]{12})(?![^\W_])")
_IPV6 = re.compile(
    r"(?<![\w:.])(?P<value>(?=[0-9A-Fa-f.]*:[0-9A-Fa-f.]*:)[0-9A-Fa-f:]{2,39}(?:[0-9.]{7,15})?)(?![\w:])"
)
_IPV4 = re.compile(r"(?<![^\W_])(?<![0-9]\.)(?P<value>[0-9]{1,3}(?:\.[0-9]{1,3}){3})(?![^\W_]|\.[0-9A-Za-z])")
_LOG_TAG = re.compile(r"%[A-Z][A-Z0-9_]*(?:-[A-Z0-9_]+)*-[0-7]-[A-Z0-9_]+(?=:)")
# A moment as NTP counts it: seconds and their fraction.
_NTP_TIME = re.compile(r"(?<![\w.])[0-9A-F]{8}\.[0-9A-F]{8}(?![\w.])")
_WORD = re.compile(r"[^\W_]+")
_KEPT_WORD = re.compile(
    r"[0-9]+|0x[0-9A-F]{1,8}|[0-9]+[A-Z]{1,2}|[0-9]+(?:ST|ND|RD|TH)|(?:[0-9]+[YWDHMS]){1,4}|(?:R|RP|F|FP|P|V|FC|N)[0-9]{1,3}"
    r"|(?P<stem>[A-Z]+?)[0-9]{1,4}",
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
        self._inventory = known
        self._releases = set(_releases(readings))
        self._words = vocabulary.words() | {
            lower(word)
            for text in (*known.keep, *(text for reading in readings for text in _kept(reading)))
            for word in _WORD.findall(text)
        }
        corpus = [line for reading in readings for line, _ in reading.lines]
        self._macs = {mac_digits(found["value"]) for line in corpus for found in _MAC.finditer(line)}
        self._standins = StandIns(avoid=frozenset(_texts(corpus)) | self._words)
        self._places: dict[Kind, int] = {}
        self._originals: dict[Kind, set[str]] = {}
        for member, standin in known.members.items():
            self._standins.fix(member, standin)
        self._kept_texts = _Names()
        for text in known.keep:
            self._kept_texts.add(text, Kind.WORD)
        self._names = self._everywhere(readings)

    def _everywhere(self, readings: Sequence[_Reading]) -> _Names:
        """The names that are to be replaced wherever they stand: those that can't be taken for anything else."""
        names = _Names()
        for member in self._inventory.members:
            names.add(member, Kind.HOST)
        found = [_Named(kind, text) for kind, text in self._inventory.names]
        for reading in readings:
            found += reading.listed
            found += (_Named(kind, text) for line, _ in reading.lines for kind, text in self._told(reading, line))
        for named in found:
            if self._is_distinctive(named.text):
                names.add(named.text.strip(), named.kind)
        return names

    def _told(self, reading: _Reading, line: str) -> Iterator[tuple[Kind, str]]:
        """The names that patterns find in a line and that may stand elsewhere without what tells them here."""
        for _, kind, found in self._patterned(reading.capture.command, line):
            if kind in (Kind.HOST, Kind.USER, Kind.SERIAL, Kind.CERTIFICATE, Kind.DOMAIN):
                yield kind, found[2]

    def _is_distinctive(self, text: str) -> bool:
        words = _WORD.findall(text)
        return len(text.strip()) >= _SHORTEST_NAME and not all(self._is_kept(word) for word in words)

    def _is_kept(self, word: str) -> bool:
        """Whether a word is a number or one of the controllers' own."""
        if lower(word) in self._words or (len(word) < _SHORTEST_WORD and word.isascii()):
            return True
        found = _KEPT_WORD.fullmatch(word)
        return found is not None and (found["stem"] is None or lower(found["stem"]) in self._words)

    # One text

    def scrubbed(self, reading: _Reading) -> str:
        """A capture's text, every line with its own line ending."""
        listed: dict[int, list[_Named]] = {}
        for named in reading.listed:
            if named.line is not None:
                listed.setdefault(named.line, []).append(named)
        return "".join(
            self._line(reading.capture.command, line, listed.get(number, [])) + ending
            for number, (line, ending) in enumerate(reading.lines, 1)
        )

    def phrase(self, text: str) -> str:
        """A text of readypair's own, such as why a capture is missing."""
        return self._line("", text, []) if text else text

    def _line(self, command: str, line: str, listed: Sequence[_Named]) -> str:
        places = self._taken(command, line, listed)
        for place in places:
            if place.kind is not None:
                self._places[place.kind] = self._places.get(place.kind, 0) + 1
                self._originals.setdefault(place.kind, set()).add(place.original)
        return _put(line, places)

    def _taken(self, command: str, line: str, listed: Sequence[_Named]) -> list[_Place]:
        """The places that are replaced or kept, from left to right; where two overlap, the surer one counts."""
        taken = _Taken()
        for found in (*_LOG_TAG.finditer(line), *_NTP_TIME.finditer(line)):
            taken.keep(found.start(), found.end(), line)
        for start, end, named in _listed_places(line, listed):
            taken.replace(start, end, named.kind, line, lambda text, kind=named.kind: self._standins.name(text, kind))
        addresses = list(self._addresses(line))
        patterned = list(self._patterned(command, line))
        for make, kind, (start, end, _) in patterned:
            if kind in (Kind.SECRET, Kind.DOMAIN):
                taken.replace(start, end, kind, line, make)
        for start, end, _ in self._kept_texts.found(line):
            taken.keep(start, end, line)
        for start, end, kind in self._names.found(line):
            if all(end <= a or b <= start or (start <= a and b <= end) for a, b, *_ in addresses):
                taken.replace(start, end, kind, line, lambda text, kind=kind: self._standins.name(text, kind))
        for make, kind, (start, end, _) in patterned:
            taken.replace(start, end, kind, line, make)
        for start, end, kind, make in addresses:
            taken.replace(start, end, kind, line, make)
        for found in _WORD.finditer(line):
            if not self._is_kept(found[0]):
                taken.replace(*found.span(), Kind.WORD, line, lambda text: self._standins.name(text, Kind.WORD))
        return taken.places

    def _patterned(self, command: str, line: str) -> Iterator[tuple[Callable[[str], str], Kind, tuple[int, int, str]]]:
        """What the patterns tell: how to replace it, its kind and its place."""
        row = catalogue.find(command) if command else None
        for what, pattern in _SECRETS:
            for found in pattern.finditer(line):
                if not (what == _MAY_BE_PROSE and self._is_prose(found["value"])):
                    yield self._standins.secret, Kind.SECRET, (*found.span("value"), found["value"])
        for found in _MAIL.finditer(line):
            yield self._standins.mail, Kind.DOMAIN, (*found.span("value"), found["value"])
        for kind, pattern in ((Kind.DOMAIN, _LINK), (Kind.DOMAIN, _DOMAIN), (Kind.HOST, _HOST), (Kind.SERIAL, _SERIAL)):
            for found in pattern.finditer(line):
                if not _is_address(found["value"]) and not self._is_prose(found["value"]):
                    yield self._naming(kind), kind, (*found.span("value"), found["value"])
        for found in _USER.finditer(line):
            group = "value" if found["value"] else "mailbox"
            if not self._is_prose(found[group]) and not _is_address(found[group]):
                yield self._naming(Kind.USER), Kind.USER, (*found.span(group), found[group])
        if row is not None and row.facts is Certificates:
            for found in _SUBJECT.finditer(line):
                yield self._naming(Kind.CERTIFICATE), Kind.CERTIFICATE, (*found.span("value"), found["value"])

    def _naming(self, kind: Kind) -> Callable[[str], str]:
        return lambda text: self._standins.name(text, kind)

    def _is_prose(self, value: str) -> bool:
        words = _WORD.findall(value)
        return all(lower(word) in self._words for word in words)

    def _addresses(self, line: str) -> Iterator[tuple[int, int, Kind, Callable[[str], str]]]:
        for pattern in (_MAC, _BARE_MAC):
            for found in pattern.finditer(line):
                digits = mac_digits(found["value"])
                mixed = not digits.isdigit() and not digits.isalpha()
                if set(digits) not in ({"0"}, {"f"}) and (pattern is _MAC or digits in self._macs or mixed):
                    yield *found.span("value"), Kind.MAC, self._standins.mac
        for found in _IPV6.finditer(line):
            if _is_address(found["value"]) and not _tells_no_place(found["value"]):
                yield *found.span("value"), Kind.IPV6, self._standins.ipv6
        for found in _IPV4.finditer(line):
            if self._is_ipv4(found["value"]):
                yield *found.span("value"), Kind.IPV4, self._standins.ipv4

    def _is_ipv4(self, text: str) -> bool:
        """Whether it is an address that tells a place; the version of an image has the same shape."""
        if not _is_address(text) or _tells_no_place(text):
            return False
        return text.rpartition(".")[0] not in self._releases

    # What came of it

    def report(self) -> dict[Kind, Replaced]:
        """What was replaced, by kind, in the order of the kinds."""
        return {
            kind: Replaced(len(self._originals[kind]), self._places[kind]) for kind in Kind if kind in self._originals
        }

    def originals(self) -> frozenset[str]:
        """The originals that can't be taken for anything else; numbers and controllers' own words can."""
        found = {text for texts in self._originals.values() for text in texts}
        return frozenset(
            text
            for text in found
            if any(char.isalpha() or char in ".:" for char in text) and self._is_distinctive(text)
        ) | frozenset(text for kind in (Kind.IPV4, Kind.IPV6, Kind.MAC) for text in self._originals.get(kind, ()))

    def suspicions(self, text: str) -> Iterator[Suspicion]:
        """What in a scrubbed text still looks like a secret, or could hide one."""
        for number, (line, _) in enumerate(_lines(text), 1):
            if any(char < " " and char != "\t" for char in line):
                yield Suspicion("a control character, behind which anything could hide", number)
            if _BLOCK.search(line):
                yield Suspicion("a block of a key or a certificate", number)
            for what, pattern in _SECRETS:
                if any(self._is_suspicious(what, found["value"]) for found in pattern.finditer(line)):
                    yield Suspicion(what, number)
            if any(found["value"] not in self._standins for found in _MAIL.finditer(line)):
                yield Suspicion("a mail address", number)
            for _, _, kind, _ in self._addresses(line):
                if not self._all_given(kind, line):
                    yield Suspicion(f"one of the {kind.value}", number)

    def _is_suspicious(self, what: str, value: str) -> bool:
        return value not in self._standins and not (what == _MAY_BE_PROSE and self._is_prose(value))

    def _all_given(self, kind: Kind, line: str) -> bool:
        texts = [line[start:end] for start, end, found, _ in self._addresses(line) if found is kind]
        return all((mac_digits(text) if kind is Kind.MAC else text) in self._standins for text in texts)


class _Taken:
    """The places of a line that are spoken for; who comes first has them."""

    def __init__(self) -> None:
        self._places: list[_Place] = []

    def keep(self, start: int, end: int, line: str) -> None:
        self._take(_Place(start, end, line[start:end]))

    def replace(self, start: int, end: int, kind: Kind, line: str, make: Callable[[str], str]) -> None:
        if self._is_free(start, end):
            original = line[start:end]
            self._take(_Place(start, end, make(original), kind, lower(original)))

    @property
    def places(self) -> list[_Place]:
        return sorted(self._places, key=lambda place: place.start)

    def _take(self, place: _Place) -> None:
        if self._is_free(place.start, place.end):
            self._places.append(place)

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


def _listed_places(line: str, listed: Sequence[_Named]) -> Iterator[tuple[int, int, _Named]]:
    """Where the names that the facts found in this line stand in it: a name first, a location behind the addresses."""
    for named in listed:
        cells = [found.span() for found in re.finditer(rf"(?<!\S){re.escape(named.text)}(?!\S)", line)]
        if named.kind is Kind.LOCATION:
            behind = max((found.end() for found in _MAC.finditer(line)), default=0)
            cells = [cell for cell in cells if cell[0] >= behind]
            if len(cells) > 1 and line[behind : cells[0][0]].strip():
                cells = cells[-1:]
        if cells:
            yield *cells[0], named


def _kept(reading: _Reading) -> Iterator[str]:
    if reading.facts is not None:
        yield from _kept_words({name: value for name, value in reading.facts.plain().items() if name != "at"})


def _releases(readings: Sequence[_Reading]) -> Iterator[str]:
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
        yield from (mac_digits(found["value"]) for found in _MAC.finditer(low))
        yield from (found["value"] for found in _IPV4.finditer(low))
        yield from (
            ipaddress.IPv6Address(found["value"]).compressed
            for found in _IPV6.finditer(low)
            if _is_address(found["value"])
        )


def _is_address(text: str) -> bool:
    try:
        ipaddress.ip_address(text)
    except ValueError:
        return False
    return True


def _tells_no_place(text: str) -> bool:
    """Whether an address means the same everywhere: none at all, this host itself, all hosts, a mask."""
    address = ipaddress.ip_address(text)
    if isinstance(address, ipaddress.IPv6Address):
        return address.is_unspecified or address.is_loopback
    ones = f"{int(address):032b}".rstrip("0")
    is_mask = bool(ones) and "0" not in ones
    return address.is_loopback or text.split(".")[0] == "0" or is_mask
