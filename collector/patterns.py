"""What must not leave a site and has a shape of its own: addresses, serial numbers, user names, keys, domain names."""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Callable, Container, Iterator
from dataclasses import dataclass

from collector.standins import Kind, mac_digits

# No controller prints a longer line. Keeps the cost of a hostile capture small: such a one is never recorded.
_LONGEST_LINE = 4_000


@dataclass(frozen=True)
class Found:
    """A part of a line, from `start` up to `end`, and what it is; `what` says so where it is a secret."""

    start: int
    end: int
    text: str
    kind: Kind
    what: str = ""


@dataclass(frozen=True)
class Pattern:
    """A shape; the group `value` is what it is about.

    `prose` says that a value of the controllers' own words is none of it: `Private key Info : Available`.
    """

    kind: Kind
    shape: re.Pattern[str]
    what: str = ""
    prose: bool = True


# What closes a bracket is no value: [WPA2][PSK][AES].
_VALUE = r"(?P<value>(?!\])[^\s\"',;]+)"
_LEVELS = r"(?:(?:ascii|hex|encrypted|clear|cleartext|unencrypted|set-key|level|aes|[0-9]{1,2})[ \t]+)*"
# What goes on behind a hyphen is a name or another word: pier-community-centre-01.
_NAMED = r"[\w-]*(?:password|passwd|passphrase|secret|community|psk)"
_SECRETS = (
    (
        "a password or a community string",
        False,
        rf"(?i)(?<![^\W_])(?:{_NAMED}|credential|token)(?![\w-])[ \t]*[:=]?[ \t]*\"?{_LEVELS}{_VALUE}",
    ),
    ("a key", True, rf"(?i)(?<![^\W_])[\w-]*key(?:-string|-hash)?[ \t:=]+{_LEVELS}{_VALUE}"),
    ("a key", False, rf"(?i)\b(?:auth|priv)[ \t]+(?:md5|sha\S*|3?des|aes(?:[ \t]+[0-9]+)?)[ \t]+{_VALUE}"),
    ("a key", False, rf"\w*(?:SEED|_KEY|TOKEN|RANDOM)\w*[ \t]*=[ \t]*\"?{_VALUE}"),
    ("a hash", False, r"(?P<value>\$(?:[0-9]{1,2}[aby]?|[a-z0-9-]{2,16})\$[^\s\"',;]+)"),
    ("a fingerprint", False, r"(?<!\w)(?P<value>(?:[0-9A-Fa-f]{8}[ \t]){2,}[0-9A-Fa-f]{4,8})(?!\w)"),
    ("a fingerprint", False, r"(?<![\w:])(?P<value>(?:[0-9A-Fa-f]{2}:){9,}[0-9A-Fa-f]{2})(?![\w:])"),
    (
        "a long number in hexadecimal",
        False,
        r"(?<![^\W_])(?:0x)?(?P<value>(?=[0-9]*[A-Fa-f])[0-9A-Fa-f]{16,})(?![^\W_])",
    ),
    (
        "a long text in base 64",
        False,
        r"(?<![\w+/=])(?![A-Z][A-Za-z]+[0-9]{1,3}(?:/[0-9]{1,3})*(?![\w/]))(?P<value>(?=[A-Z0-9+/]{0,200}[a-z])(?=[a-z0-9+/]{0,200}[A-Z])(?=[A-Za-z+/]{0,200}[0-9])"
        r"[A-Za-z0-9+/]{20,}={0,2})(?![\w+/=])",
    ),
)
_BLOCK = re.compile(r"-----(?:BEGIN|END) ")
_NO_DOMAINS = (
    "bin|pkg|conf|cfg|txt|log|gz|tar|tgz|zip|core|prv|xml|json|pcap|lic|dat|csv|pem|crt|cer|key|p12|pfx|db|sh|py|tcl|"
    "lua|html|old|bak|tmp|md5|sig|ssa|spa|smu|apsp|apdp|trc|bz2|xz|out|raw|img|iso|cap"
)
_SHAPES = (
    (Kind.DOMAIN, r"(?<![\w.+-])(?P<value>[\w.+-]+@[\w-]+(?:\.[\w-]+)+)"),
    (Kind.DOMAIN, r"(?i)(?<!\w)(?:https?|ldaps?|s?ftps?|tftp|scp|rcp)://(?P<value>[^\s\"'<>,;]+)"),
    (
        Kind.DOMAIN,
        rf"(?i)(?<![\w.-])(?P<value>(?:[a-z0-9][\w-]{{0,62}}\.)+(?!(?:{_NO_DOMAINS})(?![\w-]))[a-z]{{2,24}})"
        r"(?![\w-]|\.\w)",
    ),
    (
        Kind.HOST,
        r"^[ \t]*(?P<value>[A-Za-z0-9][\w.-]*?)(?:-stby)?(?:\([^()\n]*\))?"
        r"(?:[#>](?=[ \t]*(?:sh(?:ow?)?[ \t]|dir[ \t]|$))|[ \t]+uptime is[ \t])",
    ),
    (
        Kind.SERIAL,
        r"(?i)(?<!\w)(?:serial[ \t-]?(?:number|no\.?|num)?(?:[ \t]*\([^()\n]*\))?|processor board id|SN)[ \t]*[:=#]?"
        r"[ \t]*(?P<value>(?=[a-z-]{0,20}[0-9])[0-9a-z-]{2,})",
    ),
    (
        Kind.USER,
        r"(?i)(?<![\w-])(?:by|username|user(?:[ -]?name)?|login)[ \t]*[:=]?[ \t]+(?P<value>[^\s,;:=()\"']+)",
    ),
    (Kind.USER, r"(?i)(?<!\w)(?P<value>[\w.+-]+)@(?=vty|console)"),
)
_SUBJECT = (
    r"(?i)(?<![\w-])(?:cn|ou|o|l|st|dc|e|email(?:address)?|name|hostname|serialnumber|unstructured\w*)[ \t]*[=:][ \t]*"
    r"(?P<value>[^,+=\n]*[^,+=\s])"
)

SECRETS = tuple(Pattern(Kind.SECRET, re.compile(shape), what, prose) for what, prose, shape in _SECRETS)
NAMES = tuple(Pattern(kind, re.compile(shape)) for kind, shape in _SHAPES)
CERTIFICATE = Pattern(Kind.CERTIFICATE, re.compile(_SUBJECT), prose=False)

_MAC = re.compile(
    r"(?<![0-9A-Fa-f.:-])(?P<value>(?:[0-9A-Fa-f]{4}\.){2}[0-9A-Fa-f]{4}|[0-9A-Fa-f]{2}([:-])(?:[0-9A-Fa-f]{2}\2){4}"
    r"[0-9A-Fa-f]{2})(?![0-9A-Fa-f]|[.:-][0-9A-Fa-f])"
)
_BARE_MAC = re.compile(r"(?<![^\W_])(?P<value>[0-9A-Fa-f]{12})(?![^\W_])")
_IPV6 = re.compile(
    r"(?<![\w:.])(?P<value>(?=[0-9A-Fa-f.]*:[0-9A-Fa-f.]*:)[0-9A-Fa-f:]{2,39}(?:[0-9.]{7,15})?)(?![\w:]|\.[0-9])"
)
_IPV4 = re.compile(r"(?<![^\W_])(?<![0-9]\.)(?P<value>[0-9]{1,3}(?:\.[0-9]{1,3}){3})(?![^\W_]|\.[0-9A-Za-z])")
_LOG_TAG = re.compile(r"%[A-Z][A-Z0-9_]*(?:-[A-Z0-9_]+)*-[0-7]-[A-Z0-9_]+(?=:)")
# A moment as NTP counts it: seconds and their fraction.
_NTP_TIME = re.compile(r"(?<![\w.])[0-9A-F]{8}\.[0-9A-F]{8}(?![\w.])")


def found(line: str, patterns: tuple[Pattern, ...], is_prose: Callable[[str], bool]) -> Iterator[Found]:
    """What the patterns find in a line; `is_prose` tells whether a text has none but the controllers' own words."""
    if len(line) > _LONGEST_LINE:
        return
    for pattern in patterns:
        for match in pattern.shape.finditer(line):
            value = match["value"]
            if pattern.prose and (is_prose(value) or is_no_key(value)):
                continue
            yield Found(*match.span("value"), value, pattern.kind, pattern.what)


def addresses(line: str, macs: Container[str], versions: Container[str]) -> Iterator[Found]:
    """The addresses in a line that tell a place or a device.

    Twelve digits without separators are a MAC address where they are one of `macs` or hold both letters and figures.
    Four numbers of which the first three are one of `versions` are an image's version.
    """
    if len(line) > _LONGEST_LINE:
        return
    for match in _MAC.finditer(line):
        if not _is_no_device(match["value"]):
            yield Found(*match.span("value"), match["value"], Kind.MAC)
    for match in _BARE_MAC.finditer(line):
        digits = mac_digits(match["value"])
        if digits in macs or not (digits.isdigit() or digits.isalpha()):
            yield Found(*match.span("value"), match["value"], Kind.MAC)
    for match in _IPV6.finditer(line):
        if is_address(match["value"]) and not _tells_no_place(match["value"]):
            yield Found(*match.span("value"), match["value"], Kind.IPV6)
    for match in _IPV4.finditer(line):
        text = match["value"]
        if is_address(text) and not _tells_no_place(text) and text.rpartition(".")[0] not in versions:
            yield Found(*match.span("value"), text, Kind.IPV4)


def macs(line: str) -> Iterator[re.Match[str]]:
    """The MAC addresses with separators in a line."""
    return _MAC.finditer(line)


def controllers_own(line: str) -> Iterator[tuple[int, int]]:
    """The places of what has a shape of its own and is no secret: the tags of log messages, and NTP's moments."""
    for pattern in (_LOG_TAG, _NTP_TIME):
        for match in pattern.finditer(line):
            yield match.span()


def never_leaves(line: str) -> str | None:
    """What a line holds that no stand-in can take the place of; None where it holds nothing of that kind."""
    if len(line) > _LONGEST_LINE:
        return "more than can be looked through"
    if _BLOCK.search(line):
        return "a block of a key or a certificate"
    if any(char < " " and char != "\t" for char in line):
        return "a control character, behind which anything could hide"
    return None


def is_address(text: str) -> bool:
    """Whether the text is an IPv4 or IPv6 address."""
    try:
        ipaddress.ip_address(text)
    except ValueError:
        return False
    return True


def is_no_key(text: str) -> bool:
    """Whether what stands behind the word `key` is an address; twelve digits without separators may well be a key."""
    return is_address(text) or _MAC.fullmatch(text) is not None


def is_mac(text: str) -> bool:
    """Whether the text is a MAC address, with separators or without."""
    return _MAC.fullmatch(text) is not None or _BARE_MAC.fullmatch(text) is not None


def _is_no_device(mac: str) -> bool:
    return set(mac_digits(mac)) in ({"0"}, {"f"})


def _tells_no_place(text: str) -> bool:
    """Whether an address means the same everywhere: none at all, this host itself, all hosts, a mask."""
    address = ipaddress.ip_address(text)
    if isinstance(address, ipaddress.IPv6Address):
        return address.is_unspecified or address.is_loopback
    ones = f"{int(address):032b}".rstrip("0")
    is_mask = bool(ones) and "0" not in ones
    return address.is_loopback or text.split(".")[0] == "0" or is_mask
